"""Feeds on hand as the columns of a ration: book values, the laboratory's over them, and what hazards keep out.

A feed is kept out, whatever it costs, when its nitrate class feeds none of it to these animals, when it is known to
accumulate nitrate and has no test, or one of which nobody says how many bales it was cored from, when its aflatoxin is
over the action level for the class, or when it must hold
nitrogen that is no protein.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.cattle.nutrition_book import BOOKED, PARTS, Book
from sideoats.cattle.ration import Feeds, price_of_dry_matter
from sideoats.errors import InputError
from sideoats.facts import Facts
from sideoats.forage import lots, nitrate
from sideoats.forage.nitrate_tables import dilution_targets, lowest_edge, publisher_name, tables
from sideoats.words import Measured, Name, Said, Share, say

Floats = NDArray[np.float64]
_NOT_BALED = frozenset({"silage", "haylage", "pasture", "green"})  # mixed or standing: no bale is a day's feed
_STANDING = frozenset({"range", "stubble", "hulls"})  # grazed, or fed in a bunk: nothing is lost at a hay feeder
_AFLATOXIN_CLASS = {
    "pregnant-cow": "breeding cattle", "pregnant-heifer": "breeding cattle", "lactating-cow": "breeding cattle",
    "open-cow": "breeding cattle", "bull": "breeding cattle", "finishing": "finishing cattle", "growing": "immature",
    "calf": "immature", "unknown": "unknown",
}  # fmt: skip


@dataclass(frozen=True, eq=False)
class OneFeed:
    """One feed of one herd: shares of dry matter; `untested` where its nitrate is a guess, NaN where not even that;
    `suspect` baled roughage that accumulates nitrate, or that no table knows; `measured` the parts that its own record
    gives; `cube` what the protein of a range cube rests on (record, tag, usual); `baled` hay or straw, some of
    which is lost at the feeder; `row` of the table, or its own name."""

    name: str
    kind: str
    price: float
    dry_matter: float
    tdn: float
    protein: float
    calcium: float
    phosphorus: float
    sulfur: float
    starch: float
    fat: float
    nitrate: float
    untested: bool
    cores: float
    bales: float
    aflatoxin: float
    most_share: float
    most_lb: float
    suspect: bool = False
    measured: frozenset[str] = frozenset()
    cube: str = ""
    baled: bool = False
    row: str = ""


def _given(record: Mapping[str, Any], key: str) -> float:
    value = record.get(key)
    return float("nan") if value is None else float(value)


def read_feed(record: Mapping[str, Any], book: Book, days: float = np.nan, head: float = np.nan) -> OneFeed:
    """A feed from its record, with book values where the record says nothing.

    Parameters
    ----------
    record : name, and as known price [USD/ton as fed] or bale_price [USD] with bale_weight [lb], dry_matter, tdn,
        protein, calcium, phosphorus, sulfur, starch, fat [shares],
        nitrate [ppm] with form, basis and moisture, cores, bales, aflatoxin [ppb], most [share], on_hand [ton]
    days, head : over which and among how many what is on hand must last; unlimited where NaN

    Raises
    ------
    InputError : nitrate without its form or basis; a feed that is not in the table and lacks its composition
    """
    name = str(record["name"])
    row, cube = book.find(name), ""
    made = book.cube(name, _given(record, "protein"))
    if made is not None:
        row, cube = made
    parts = {part: _given(record, part) for part in (*PARTS, "price")}
    parts["price"] = _ton_price(record, parts["price"])
    lacking = [part for part, value in parts.items() if np.isnan(value)]
    if lacking and row is None:
        from difflib import get_close_matches  # only where something is wrong

        near = get_close_matches(name.lower(), book.rows, 3, 0.4)
        raise InputError(
            f"{name[:40]!r} is no feed of the table, and {', '.join(lacking)} of it not given",
            where="feeds",
            expected="a feed of the table" + (f" (did you mean {' or '.join(near)}?)" if near else ""),
            todo="or give all of these in its record; feeds in the table: " + ", ".join(book.rows),
        )
    parts |= {part: float(row[part]) for part in lacking if row is not None}
    if not 0 < parts["dry_matter"] <= 1:
        raise InputError(
            f"dry_matter of {name[:40]!r} is {parts['dry_matter']:g}", where="feeds", expected="0 to 100 %"
        )
    kind = str(row["kind"]) if row is not None else _kind(name, parts["tdn"], book)
    for part, largest in book.most.items() if kind != "mineral" else ():
        if parts[part] > largest:
            raise InputError(
                f"{part} of {name[:40]!r} is read as {100 * parts[part]:g} %",
                where="feeds",
                expected=f"at most {100 * largest:g} % in a feed that is not a mineral",
                todo="write the % sign: 0.4%",
            )
    for part, largest in book.most_of_forage.items() if kind == "roughage" else ():
        if parts[part] > largest:
            raise InputError(
                f"{part} of {name[:40]!r} is read as {100 * parts[part]:g} %",
                where="feeds",
                expected=f"at most {100 * largest:g} % in a forage",
                todo="read the slip again",
            )
    starch, fat = (float(row[k]) for k in ("starch", "fat")) if row is not None else book.described[kind]
    richer = {"starch": starch, "fat": fat}
    parts |= {part: v if np.isnan(own := _given(record, part)) else own for part, v in richer.items()}
    level = _given(record, "nitrate")
    if not np.isnan(level):
        tested = nitrate.nitrate_nitrogen_dry(
            level, form=record.get("form"), basis=record.get("basis"), moisture=_given(record, "moisture")
        )
        level = float(tested)
    untested = bool(np.isnan(level))
    if untested and row is not None:
        level = float(row["nitrate"])
    baled = kind == "roughage" and not set(re.split(r"[^a-z]+", name.lower())) & _NOT_BALED
    most = _given(record, "most")
    on_hand = _given(record, "on_hand") * 2000 * parts["dry_matter"] / (days * head)
    return OneFeed(
        name=name,
        kind=kind,
        nitrate=level,
        untested=untested,
        cores=_given(record, "cores"),
        bales=_given(record, "bales"),
        aflatoxin=_given(record, "aflatoxin"),
        most_share=_largest(name, kind, book) if np.isnan(most) else most,
        most_lb=np.inf if np.isnan(on_hand) else on_hand,
        **parts,
        suspect=baled and (row is None or bool(np.isnan(float(row["nitrate"])))),
        measured=frozenset(part for part in BOOKED if not np.isnan(_given(record, part)))
        | (frozenset({"protein"}) if cube == "tag" else frozenset()),
        cube=cube,
        row=name if row is None else str(row["feed"]),
        baled=baled and not set(re.split(r"[^a-z]+", name.lower())) & _STANDING,
    )


def _ton_price(record: Mapping[str, Any], price: float) -> float:
    """USD a ton, of a bale's price and weight where it is priced by the bale."""
    bale, weight = _given(record, "bale_price"), _given(record, "bale_weight")
    if np.isnan(bale):
        return price
    name = str(record["name"])[:40]
    if not np.isnan(price):
        raise InputError(f"{name!r} is priced by the ton and by the bale", where="feeds", expected="one of them")
    if np.isnan(weight):
        raise InputError(
            f"bale_weight of {name!r} is missing",
            where="feeds",
            expected="bale_weight=1150 lb",
            todo="weigh a few: a price by the bale says nothing without it",
        )
    return bale * 2000.0 / weight


def _kind(name: str, tdn: float, book: Book) -> str:
    """Kind of a feed that is described and not in the table: rich feeds that are no forage count as grain."""
    if tdn <= 0:
        return "mineral"
    words = set(re.split(r"[^a-z]+", name.lower()))
    return "roughage" if tdn < book.rich or words & book.forage_words else "grain"


def _largest(name: str, kind: str, book: Book) -> float:
    words = set(re.split(r"[^a-z]+", name.lower()))
    named = [share for wanted, share in book.largest_named.items() if set(wanted.split()) <= words]
    return min([book.largest_share[kind], *named])


@dataclass(frozen=True, eq=False)
class Screened:
    """Feeds of n herds ready for `sideoats.cattle.ration.solve`.

    Attributes
    ----------
    feeds : (herd, feed) arrays; a feed that is absent or kept out has most_lb 0
    ceiling : (herd,) [ppm NO3-N dry] that the ration must stay under
    ceiling_by : (herd,) publisher of it
    aflatoxin : (herd,) action level [ppb]
    out : per herd, feed name -> the sentence why it is kept out
    guessed : per herd, names of feeds whose nitrate is a guess
    untested : per herd, names of feeds that are kept out only for want of a test or of a word on its cores
    """

    feeds: Feeds
    ceiling: Floats
    ceiling_by: NDArray[np.object_]
    aflatoxin: Floats
    out: list[dict[str, Said]]
    guessed: list[list[str]]
    untested: list[list[str]]


def screen(held: Sequence[Sequence[OneFeed]], animals: Sequence[Any], risk: NDArray[np.int8], facts: Facts) -> Screened:
    """Apply nitrate classes, hottest credible bales and aflatoxin levels to the feeds of every herd.

    A baled roughage that accumulates nitrate counts at its hottest credible bale whatever its test, as in
    `hay-nitrate`, because one round bale is a day's feed; with no word of the cores behind its test it is kept out.
    Other feeds count so only above the lowest class.
    """
    herds, width = len(held), max([len(h) for h in held] + [1])

    def grid(part: str, blank: float = 0.0) -> Floats:
        out = np.full((herds, width), blank)
        for i, feeds in enumerate(held):
            out[i, : len(feeds)] = [getattr(f, part) for f in feeds]
        return out

    def of_kind(kind: str) -> Floats:
        out = np.zeros((herds, width))
        for i, feeds in enumerate(held):
            out[i, : len(feeds)] = [float(f.kind == kind) for f in feeds]
        return out

    here = grid("dry_matter") > 0
    level = grid("nitrate")
    table, every = tables(facts, None)
    wide_risk = np.repeat(risk, width)
    ruling = nitrate.rule(level.reshape(-1), wide_risk, table, every.values(), dilution_targets(facts))
    share, by = ruling.share.reshape(level.shape), ruling.by.reshape(level.shape)
    ceiling, ceiling_by = ruling.ceiling.reshape(level.shape)[:, 0], ruling.ceiling_by.reshape(level.shape)[:, 0]
    lowest = np.where(risk > 0, lowest_edge(every.values()), float(table.bounds_nitrogen[1]))
    suspect = grid("suspect") > 0
    safe = np.where(suspect, 0.0, np.minimum(ceiling, lowest)[:, None])
    counted = _counted(level, safe, grid("cores", 1.0), grid("bales", np.nan), facts)
    unsampled = suspect & np.isnan(grid("cores", np.nan)) & (level > 0)
    action, limit = _aflatoxin(animals, grid("aflatoxin", np.nan), facts)
    npn = grid("protein") > facts.value("cattle/feeds.npn")
    harmful = _harmful(held, animals, level.shape, facts)
    barred = here & ((share <= 0) | np.isnan(level) | unsampled | action | npn | harmful)
    out = [_reasons(feeds, i, share, by, level, unsampled, action, npn, harmful, facts) for i, feeds in enumerate(held)]
    dry = np.where(here, grid("dry_matter"), 1.0)
    feeds = Feeds(
        price=price_of_dry_matter(grid("price"), dry),
        tdn=grid("tdn"),
        protein=grid("protein"),
        calcium=grid("calcium"),
        phosphorus=grid("phosphorus"),
        sulfur=grid("sulfur"),
        nitrate=np.nan_to_num(counted),
        aflatoxin=np.nan_to_num(grid("aflatoxin")),
        forage=of_kind("roughage"),
        grain=of_kind("grain"),
        starch=grid("starch"),
        fat=grid("fat"),
        most_lb=np.where(here & ~barred, grid("most_lb"), 0.0),
        most_share=np.minimum(grid("most_share"), np.nan_to_num(share)),
        least_lb=np.zeros(level.shape),
        fills=np.where(of_kind("mineral") > 0, 0.0, 1.0),
    )
    guessed = [[f.name for f in feeds_of if f.untested and f.name not in out[i]] for i, feeds_of in enumerate(held)]
    unknown = (np.isnan(level) | unsampled & (share > 0)) & ~(action | npn | harmful) & here
    untested = [[f.name for k, f in enumerate(feeds_of) if unknown[i, k]] for i, feeds_of in enumerate(held)]
    return Screened(feeds, ceiling, ceiling_by, limit, out, guessed, untested)


def _counted(level: Floats, safe: Floats, cores: Floats, bales: Floats, facts: Facts) -> Floats:
    measured = facts["forage/lot.spread"].rows[0]
    weight, assurance = map(float, facts["forage/lot.hottest"].column("amount"))
    hot = np.isfinite(level) & (np.nan_to_num(level) >= safe * (1 - nitrate.ROUNDING))
    if not hot.any():
        return level
    _, lowest, highest, count = measured
    spread = lots.log_spread_from_range(float(lowest), float(highest), int(count))
    out = level.copy()
    many = np.where(np.isnan(bales), float(count), bales)[hot]  # of which nobody says: as many as in that lot
    out[hot] = lots.hottest_credible(
        level[hot],
        np.nan_to_num(cores[hot], nan=1.0),
        many,
        np.full(many.shape, spread),
        np.full(many.shape, weight),
        assurance,
    )
    return out


def _harmful(
    held: Sequence[Sequence[OneFeed]], animals: Sequence[Any], shape: tuple[int, ...], facts: Facts
) -> NDArray[np.bool_]:
    """(herd, feed) True for a feed that the class is not given, by the words of its name."""
    pairs = [(set(str(feed).split()), str(of)) for feed, of in facts["cattle/feeds.not_for"].rows]
    out = np.zeros(shape, bool)
    for i, (feeds, animal) in enumerate(zip(held, animals, strict=True)):
        for k, feed in enumerate(feeds):
            words = set(re.split(r"[^a-z]+", feed.name.lower()))
            out[i, k] = any(animal == of and wanted <= words for wanted, of in pairs)
    return out


def _aflatoxin(animals: Sequence[Any], level: Floats, facts: Facts) -> tuple[NDArray[np.bool_], Floats]:
    rows = {str(r[0]): float(r[2]) for r in facts["forage/aflatoxin"].rows}
    limit = np.array([rows[_AFLATOXIN_CLASS.get(str(a), "unknown")] for a in animals], dtype=np.float64)
    return np.nan_to_num(level) >= limit[:, None], limit


def _reasons(
    feeds: Sequence[OneFeed],
    i: int,
    share: Floats,
    by: NDArray[np.object_],
    level: Floats,
    unsampled: NDArray[np.bool_],
    action: NDArray[np.bool_],
    npn: NDArray[np.bool_],
    harmful: NDArray[np.bool_],
    facts: Facts,
) -> dict[str, Said]:
    out = {}
    for k, feed in enumerate(feeds):
        if npn[i, k]:
            out[feed.name] = say("ration.out.npn", protein=Share(feed.protein))
        elif harmful[i, k]:
            out[feed.name] = say("ration.out.harmful")
        elif np.isnan(level[i, k]):
            out[feed.name] = say("ration.out.untested")
        elif share[i, k] <= 0:
            by_name = Name(publisher_name(facts, by[i, k]))
            out[feed.name] = say("ration.out.nitrate", level=Measured(float(level[i, k]), unit="ppm"), by=by_name)
        elif unsampled[i, k]:
            out[feed.name] = say("ration.out.unsampled", level=Measured(float(level[i, k]), unit="ppm"))
        elif action[i, k]:
            out[feed.name] = say("ration.out.aflatoxin", level=Measured(feed.aflatoxin, unit="ppb"))
    return out
