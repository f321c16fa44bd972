"""Feeds on hand as the columns of a ration: book values, the laboratory's over them, and what hazards keep out.

A feed is kept out, whatever it costs, when its nitrate class feeds none of it to these animals, when it is known to
accumulate nitrate and has no test, or when its aflatoxin is over the action level for the class.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.cattle.ration import Feeds, price_of_dry_matter
from sideoats.errors import InputError
from sideoats.facts import Facts
from sideoats.forage import lots, nitrate
from sideoats.forage.nitrate_tables import ALWAYS, dilution_targets, publisher_name, tables

Floats = NDArray[np.float64]
_PARTS = ("dry_matter", "tdn", "protein", "calcium", "phosphorus", "sulfur")
_AFLATOXIN_CLASS = {
    "pregnant-cow": "breeding cattle", "pregnant-heifer": "breeding cattle", "lactating-cow": "breeding cattle",
    "open-cow": "breeding cattle", "bull": "breeding cattle", "finishing": "finishing cattle", "growing": "immature",
    "calf": "immature", "unknown": "unknown",
}  # fmt: skip


@dataclass(frozen=True)
class Book:
    """The feed table by name: shares of dry matter, USD/ton as fed, ppm NO3-N."""

    rows: Mapping[str, Mapping[str, Any]]
    largest_share: Mapping[str, float]
    names: Mapping[frozenset[str], str]
    plain: frozenset[str]
    most: Mapping[str, float]

    @classmethod
    def of(cls, facts: Facts) -> Book:
        """Read from ``cattle/feeds``."""
        fact = facts["cattle/feeds.composition"]
        names = fact.columns[1:]
        rows = {str(r[0]): dict(zip(names, r[1:], strict=True)) for r in fact.rows}
        for row in rows.values():
            for part in _PARTS:
                row[part] = float(row[part]) / 100.0
        limits = {str(k): float(v) for k, v in facts["cattle/feeds.largest_share"].rows}
        known = {frozenset(feed.split()): feed for feed in rows}
        for name, feed in facts["cattle/feeds.other_names"].rows:
            known[frozenset(str(name).split())] = str(feed)
        most = {str(part): float(share) for part, share in facts["cattle/feeds.most_of_an_organic_feed"].rows}
        return cls(rows, limits, known, frozenset(facts["cattle/feeds.plain_words"].text.split()), most)

    def find(self, name: str) -> Mapping[str, Any] | None:
        """The row that goes by this name, plain words and numbers left out; None where there is none.

        Corn stalks, corn silage and corn gluten feed are not corn: a word that is not plain makes another feed, so that
        no hot roughage is taken for a clean grain.
        """
        words = frozenset(re.split(r"[^a-z0-9%]+", name.lower())) - {""}
        bare = frozenset(w for w in words - self.plain if not any(c.isdigit() for c in w))
        feed = self.names.get(words) or self.names.get(bare)
        return None if feed is None else self.rows[feed]


@dataclass(frozen=True)
class OneFeed:
    """One feed of one herd: shares of dry matter; `untested` where its nitrate is a guess, NaN where not even that."""

    name: str
    kind: str
    price: float
    dry_matter: float
    tdn: float
    protein: float
    calcium: float
    phosphorus: float
    sulfur: float
    nitrate: float
    untested: bool
    cores: float
    bales: float
    aflatoxin: float
    most_share: float
    most_lb: float


def _given(record: Mapping[str, Any], key: str) -> float:
    value = record.get(key)
    return float("nan") if value is None else float(value)


def read_feed(record: Mapping[str, Any], book: Book, days: float = np.nan, head: float = np.nan) -> OneFeed:
    """A feed from its record, with book values where the record says nothing.

    Parameters
    ----------
    record : name, and as known price [USD/ton as fed], dry_matter, tdn, protein, calcium, phosphorus, sulfur [shares],
        nitrate [ppm] with form, basis and moisture, cores, bales, aflatoxin [ppb], most [share], on_hand [ton]
    days, head : over which and among how many what is on hand must last; unlimited where NaN

    Raises
    ------
    InputError : nitrate without its form or basis; a feed that is not in the table and lacks its composition
    """
    name = str(record["name"])
    row = book.find(name)
    parts = {part: _given(record, part) for part in (*_PARTS, "price")}
    lacking = [part for part, value in parts.items() if np.isnan(value)]
    if lacking and row is None:
        raise InputError(
            f"{' and '.join(lacking)} of {name[:40]!r} not known", where="feeds",
            expected=", ".join(f"{part}=..." for part in lacking) + " in its record",
            todo="feeds in the table: " + ", ".join(book.rows),
        )  # fmt: skip
    parts |= {part: float(row[part]) for part in lacking if row is not None}
    if not 0 < parts["dry_matter"] <= 1:
        raise InputError(
            f"dry_matter of {name[:40]!r} is {parts['dry_matter']:g}", where="feeds", expected="0 to 100 %"
        )
    kind = str(row["kind"]) if row is not None else "roughage" if parts["tdn"] > 0 else "mineral"
    for part, largest in book.most.items() if kind != "mineral" else ():
        if parts[part] > largest:
            raise InputError(
                f"{part} of {name[:40]!r} is read as {100 * parts[part]:g} %", where="feeds",
                expected=f"at most {100 * largest:g} % in a feed that is not a mineral", todo="write the % sign: 0.4%",
            )  # fmt: skip
    level = _given(record, "nitrate")
    if not np.isnan(level):
        tested = nitrate.nitrate_nitrogen_dry(
            level, form=record.get("form"), basis=record.get("basis"), moisture=_given(record, "moisture")
        )
        level = float(tested)
    untested = bool(np.isnan(level))
    if untested and row is not None:
        level = float(row["nitrate"])
    most = _given(record, "most")
    on_hand = _given(record, "on_hand") * 2000 * parts["dry_matter"] / (days * head)
    return OneFeed(
        name=name, kind=kind, nitrate=level, untested=untested, cores=_given(record, "cores"), bales=_given(record,
        "bales"),
        aflatoxin=_given(record, "aflatoxin"), most_share=book.largest_share[kind] if np.isnan(most) else most,
        most_lb=np.inf if np.isnan(on_hand) else on_hand, **parts,
    )  # fmt: skip


@dataclass(frozen=True)
class Screened:
    """Feeds of n herds ready for `sideoats.cattle.ration.solve`.

    Attributes
    ----------
    feeds : (herd, feed) arrays; a feed that is absent or kept out has most_lb 0
    ceiling : (herd,) [ppm NO3-N dry] that the ration must stay under
    ceiling_by : (herd,) publisher of it
    aflatoxin : (herd,) action level [ppb]
    out : per herd, feed name -> why it is kept out
    guessed : per herd, names of feeds whose nitrate is a guess
    """

    feeds: Feeds
    ceiling: Floats
    ceiling_by: NDArray[np.object_]
    aflatoxin: Floats
    out: list[dict[str, str]]
    guessed: list[list[str]]


def screen(
    held: Sequence[Sequence[OneFeed]], animals: Sequence[Any], risk: NDArray[np.bool_], facts: Facts
) -> Screened:
    """Apply nitrate classes, hottest credible bales and aflatoxin levels to the feeds of every herd.

    A feed in the lowest class counts at its test; one above it counts at its hottest credible bale, as in
    `hay-nitrate`, because one round bale is a day's feed.
    """
    herds, width = len(held), max([len(h) for h in held] + [1])

    def grid(part: str, blank: float = 0.0) -> Floats:
        out = np.full((herds, width), blank)
        for i, feeds in enumerate(held):
            out[i, : len(feeds)] = [getattr(f, part) for f in feeds]
        return out

    here = grid("dry_matter") > 0
    level = grid("nitrate")
    table, every = tables(facts, None)
    wide_risk = np.repeat(risk, width)
    ruling = nitrate.rule(level.reshape(-1), wide_risk, table, every.values(), every[ALWAYS], dilution_targets(facts))
    share, by = ruling.share.reshape(level.shape), ruling.by.reshape(level.shape)
    ceiling, ceiling_by = ruling.ceiling.reshape(level.shape)[:, 0], ruling.ceiling_by.reshape(level.shape)[:, 0]
    plain, strict = ([t.bounds_nitrogen[1] for t in group] for group in ([table, every[ALWAYS]], every.values()))
    lowest = np.where(risk, min(plain + strict), min(plain))
    counted = _counted(level, np.minimum(ceiling, lowest), grid("cores", 1.0), grid("bales", np.nan), facts)
    action, limit = _aflatoxin(animals, grid("aflatoxin", np.nan), facts)
    barred = here & ((share <= 0) | np.isnan(level) | action)
    out = [_reasons(feeds, i, share, by, level, action) for i, feeds in enumerate(held)]
    dry = np.where(here, grid("dry_matter"), 1.0)
    feeds = Feeds(
        price=price_of_dry_matter(grid("price"), dry), tdn=grid("tdn"), protein=grid("protein"),
        calcium=grid("calcium"),
        phosphorus=grid("phosphorus"), sulfur=grid("sulfur"), nitrate=np.nan_to_num(counted),
        aflatoxin=np.nan_to_num(grid("aflatoxin")), most_lb=np.where(here & ~barred, grid("most_lb"), 0.0),
        most_share=np.minimum(grid("most_share"), np.nan_to_num(share)),
    )  # fmt: skip
    guessed = [[f.name for f in feeds_of if f.untested and f.name not in out[i]] for i, feeds_of in enumerate(held)]
    return Screened(feeds, ceiling, ceiling_by, limit, out, guessed)


def _counted(level: Floats, safe: Floats, cores: Floats, bales: Floats, facts: Facts) -> Floats:
    _, lowest, highest, count = facts["forage/lot.spread"].rows[0]
    spread = lots.log_spread_from_range(float(lowest), float(highest), int(count))
    few, weight, assurance = (facts.value(f"forage/lot.{k}") for k in ("bales_assumed", "spread_weight", "assurance"))
    hot = np.nan_to_num(level) >= safe[:, None] * (1 - nitrate.ROUNDING)
    if not hot.any():
        return level
    out = level.copy()
    many = np.where(np.isnan(bales), few, bales)[hot]
    out[hot] = lots.hottest_credible(
        level[hot], np.nan_to_num(cores[hot], nan=1.0), many, np.full(many.shape, spread), np.full(many.shape, weight),
        assurance,
    )  # fmt: skip
    return out


def _aflatoxin(animals: Sequence[Any], level: Floats, facts: Facts) -> tuple[NDArray[np.bool_], Floats]:
    rows = {str(r[0]): float(r[2]) for r in facts["forage/aflatoxin"].rows}
    limit = np.array([rows[_AFLATOXIN_CLASS.get(str(a), "unknown")] for a in animals], dtype=np.float64)
    return np.nan_to_num(level) >= limit[:, None], limit


def _reasons(
    feeds: Sequence[OneFeed], i: int, share: Floats, by: NDArray[np.object_], level: Floats, action: NDArray[np.bool_]
) -> dict[str, str]:
    out = {}
    for k, feed in enumerate(feeds):
        if np.isnan(level[i, k]):
            out[feed.name] = "it is known to accumulate nitrate, or is not in the table, and has no test"
        elif share[i, k] <= 0:
            out[feed.name] = (
                f"{level[i, k]:,.0f} ppm NO3-N: no share of it for these animals, by {publisher_name(by[i, k])}"
            )
        elif action[i, k]:
            out[feed.name] = f"aflatoxin {feed.aflatoxin:,.0f} ppb is at or over the action level for the class"
    return out
