"""Nitrate in feed and water: ions, moisture bases, publishers' classes, feed and water together.

Everything inside Sideoats is nitrate-nitrogen (NO3-N) in parts per million of dry matter. A number gets there only
through `nitrate_nitrogen_dry`, which refuses a value whose ion or moisture basis is not stated.

A result at a bound belongs to the class that ends there ("0 to 0.3 %"), unless the publisher prints the class below as
"under" that bound ("< 700"): then to the class that begins there. What lies within rounding (`ROUNDING`) of a bound is
taken to be at it, so that no path of units moves a result into another class.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sideoats.errors import FactError, InputError
from sideoats.facts import Fact
from sideoats.forage.stock import PREGNANT, STRESSED
from sideoats.records import dataclass

Floats = NDArray[np.float64]

# Standard atomic weights, abridged (IUPAC, Commission on Isotopic Abundances and Atomic Weights, 2021).
NITROGEN, OXYGEN, POTASSIUM, SULFUR = 14.007, 15.999, 39.098, 32.06
_NITRATE = NITROGEN + 3 * OXYGEN
_NITROGEN_PART = {"NO3-N": 1.0, "NO3": NITROGEN / _NITRATE, "KNO3": NITROGEN / (POTASSIUM + _NITRATE)}
IONS = tuple(_NITROGEN_PART)
BASES = ("dry", "as-fed")
SULFUR_PART_OF_SULFATE = SULFUR / (SULFUR + 4 * OXYGEN)
PPM_OF_PERCENT = 10_000.0
PURE = 1e6 * NITROGEN / _NITRATE  # ppm NO3-N of the nitrate ion itself (derived)
ROUNDING = 1e-9
AT, OVER = "at", "over"  # whether a class begins at its bound or over it
LITRES_OF_GALLON = 3.785411784

WHY = (
    "a nitrate number without its ion and moisture basis cannot be judged: 3,000 ppm as NO3-N is well above the "
    "Nebraska line for hay, 3,000 ppm as NO3 is under a third of it"
)


def ion_factor(given: str, wanted: str) -> float:
    """Factor from a concentration of one ion or salt to another that carries the same nitrogen.

    ``value_wanted = value_given * ion_factor(given, wanted)``; ions are "NO3-N", "NO3", "KNO3".
    """
    for ion in (given, wanted):
        if ion not in _NITROGEN_PART:
            raise InputError(
                f"{ion!r} is not a form of nitrate", where="form", expected="one of " + ", ".join(IONS), todo=WHY
            )
    return _NITROGEN_PART[given] / _NITROGEN_PART[wanted]


def _stated(words: Any, allowed: Sequence[str], where: str, shape: tuple[int, ...]) -> NDArray[np.object_]:
    texts = np.broadcast_to(np.asarray(words, dtype=object), shape)
    for text in set(texts.reshape(-1).tolist()):
        if text not in allowed:
            shown = "is not stated" if text in (None, "") else f"{str(text)[:40]!r} is not known"
            raise InputError(shown, where=where, expected="one of " + ", ".join(allowed), todo=WHY)
    return texts


def nitrate_nitrogen_dry(value: ArrayLike, *, form: Any, basis: Any, moisture: ArrayLike = np.nan) -> Floats:
    """A laboratory's nitrate result as NO3-N in ppm of dry matter.

    ``C_dry = C_as_fed / (1 - moisture)``; ions by `ion_factor`.

    Parameters
    ----------
    value : [ppm = mg/kg] as printed by the laboratory, scalar or array; NaN stays NaN
    form : "NO3-N", "NO3" or "KNO3", one or one for each value. There is no default
    basis : "dry" or "as-fed", one or one for each value. There is no default
    moisture : share of the as-fed weight that is water, 0 to 1; needed for every as-fed value

    Returns
    -------
    ppm NO3-N of dry matter, shaped as `value`

    Raises
    ------
    InputError : an ion or basis that is not stated or not known, an as-fed value without moisture, a negative value,
        more than pure nitrate
    """
    values = np.asarray(value, dtype=np.float64)
    forms = _stated(form, IONS, "form", values.shape)
    bases = _stated(basis, BASES, "basis", values.shape)
    water = np.broadcast_to(np.asarray(moisture, dtype=np.float64), values.shape)
    wet = (bases == "as-fed") & ~np.isnan(values)
    if (wet & np.isnan(water)).any():
        raise InputError(
            "is not stated for a result as fed",
            where="moisture",
            expected="the moisture of the sample, such as 12%",
            todo="a wet result must be brought to dry matter before any class can be read",
        )
    if (wet & ((water < 0) | (water >= 1))).any():
        raise InputError("is not a share of the as-fed weight", where="moisture", expected="0 to under 100 %")
    if (values < 0).any() or np.isinf(values).any():
        raise InputError("is negative or not finite", where="nitrate", expected="ppm of 0 or more")
    dry_part = np.where(bases == "as-fed", 1.0 - water, 1.0)
    part = np.array([_NITROGEN_PART[f] for f in forms.reshape(-1)], dtype=np.float64).reshape(values.shape)
    # a factor of its own for each ion would round twice; dividing once keeps 0.3 % NO3 at 0.3 % on the way back
    level = np.asarray(values * part / dry_part, dtype=np.float64)
    if (np.nan_to_num(level) > PURE * (1 + ROUNDING)).any():
        raise InputError(
            "is more than pure nitrate holds",
            where="nitrate",
            expected=f"at most {PURE:,.0f} ppm NO3-N of dry matter",
            todo="check the number, its unit and its moisture",
        )
    return level


def by_risk(at_risk: ArrayLike) -> NDArray[np.int8]:
    """Risk as `stock.PLAIN` to `stock.PREGNANT`; True is `PREGNANT`, the strictest."""
    given = np.asarray(at_risk)
    return np.asarray(given * PREGNANT if given.dtype == bool else given, dtype=np.int8)


@dataclass(frozen=True)
class ClassTable:
    """One publisher's classes of nitrate in feed, as printed.

    Attributes
    ----------
    publisher : key of the table
    fact_id, provenance, citation : where it stands
    binds : a source was read for it, or the district set its own line; a table from memory or without a source cautions
    unit_ppm : ppm in one unit of the table (1 for ppm, 10,000 for %)
    ion : the ion the bounds are printed in; all bounds are on dry matter
    bounds : (class,) lower bound of each class in the table's own unit, the first 0
    begins : (class,) True where a result at that bound is in the class: the one below is printed as "under" it
    labels, meanings : (class,) words
    share : (class,) largest share of ration dry matter for animals not at special risk; 1 no limit, 0 do not feed,
        NaN not as the only feed with no share printed
    share_at_risk : (class,) the same for pregnant animals
    share_stressed : (class,) the same for stock that is stressed and not pregnant
    """

    publisher: str
    fact_id: str
    provenance: str
    citation: str
    binds: bool
    unit_ppm: float
    ion: str
    bounds: Floats
    begins: NDArray[np.bool_]
    labels: tuple[str, ...]
    meanings: tuple[str, ...]
    share: Floats
    share_at_risk: Floats
    share_stressed: Floats

    @classmethod
    def of(cls, fact: Fact) -> ClassTable:
        """The table of a fact under ``forage/nitrate_class``."""
        words = fact.unit.split()
        if len(words) != 3 or words[0] not in ("ppm", "%") or words[1] not in IONS or words[2] != "dry":
            raise FactError(f"fact {fact.id}: unit {fact.unit!r}; expected such as 'ppm NO3-N dry'")
        bounds = np.array(fact.column("from"), dtype=np.float64)
        if bounds[0] != 0 or (np.diff(bounds) <= 0).any():
            raise FactError(f"fact {fact.id}: bounds must begin at 0 and rise")
        return cls(
            publisher=fact.id.rpartition(".")[2],
            fact_id=fact.id,
            provenance=fact.provenance,
            citation=fact.citation,
            binds=fact.overridden or fact.provenance in ("read", "derived"),
            unit_ppm=PPM_OF_PERCENT if words[0] == "%" else 1.0,
            ion=words[1],
            bounds=bounds,
            begins=np.array(fact.column("begins") if "begins" in fact.columns else [OVER] * len(bounds)) == AT,
            labels=tuple(fact.column("label")),
            meanings=tuple(fact.column("meaning")),
            share=np.array(fact.column("share"), dtype=np.float64),
            share_at_risk=np.array(fact.column("at_risk"), dtype=np.float64),
            share_stressed=np.array(fact.column("stressed" if "stressed" in fact.columns else "share"), np.float64),
        )

    @property
    def bounds_nitrogen(self) -> Floats:
        """(class,) lower bounds as ppm NO3-N of dry matter."""
        return np.asarray(self.bounds * self.unit_ppm * ion_factor(self.ion, "NO3-N"), dtype=np.float64)

    @property
    def edges(self) -> Floats:
        """(class,) levels [ppm NO3-N dry] from which on a result is in the class: its bound, or just over it."""
        return np.asarray(self.bounds_nitrogen * np.where(self.begins, 1.0 - ROUNDING, 1.0 + ROUNDING), np.float64)

    def classify(self, nitrate_nitrogen: ArrayLike) -> NDArray[np.int64]:
        """Class index of each value [ppm NO3-N dry]; -1 where the value is NaN."""
        values = np.asarray(nitrate_nitrogen, dtype=np.float64)
        index = np.searchsorted(self.edges, np.nan_to_num(values, nan=0.0), side="right") - 1
        return np.where(np.isnan(values), -1, np.maximum(index, 0)).astype(np.int64)

    def largest_share(self, nitrate_nitrogen: ArrayLike, at_risk: ArrayLike) -> tuple[Floats, NDArray[np.bool_]]:
        """Largest printed share of ration dry matter, and whether the feed may be the only one, for animals by risk.

        Returns (share, alone). A class for which no share is printed (or was not seen) may not be the only feed, and
        allows no more than the class below it. NaN and False for an unknown value.
        """
        index = self.classify(nitrate_nitrogen)
        risk = np.broadcast_to(by_risk(at_risk), index.shape)
        columns = np.stack([self.printed_for(r) for r in range(PREGNANT + 1)])
        printed, allowed = columns[risk, index], np.fmin.accumulate(columns, axis=1)[risk, index]
        unknown = index < 0
        return np.where(unknown, np.nan, allowed), np.where(unknown, False, printed == 1.0)

    def printed_for(self, risk: int) -> Floats:
        """(class,) the shares that it prints for animals of that risk."""
        return self.share_at_risk if risk == PREGNANT else self.share_stressed if risk == STRESSED else self.share

    def ceiling(self, at_risk: ArrayLike) -> float:
        """Level [ppm NO3-N dry] from which on the table limits a feed for these animals; infinite where it
        never does."""
        printed = self.printed_for(int(by_risk(at_risk)))
        limited = np.flatnonzero(printed != 1.0)
        return float(self.bounds_nitrogen[limited[0]]) if limited.size else float("inf")

    def never_line(self, at_risk: ArrayLike) -> float:
        """Level [ppm NO3-N dry] from which on none is fed to these animals; infinite where the table never says so."""
        barred = np.flatnonzero(self.printed_for(int(by_risk(at_risk))) == 0.0)
        return float(self.edges[barred[0]]) if barred.size else float("inf")


@dataclass(frozen=True)
class Ruling:
    """What the tables together allow, (n,) each.

    Attributes
    ----------
    share : largest share of ration dry matter, 0 to 1
    alone : may be the only feed
    by : publisher whose row limits most ("" where none does)
    ceiling : [ppm NO3-N dry] level that the whole ration, water counted, must stay under
    ceiling_by : publisher of that level
    """

    share: Floats
    alone: NDArray[np.bool_]
    by: NDArray[np.object_]
    ceiling: Floats
    ceiling_by: NDArray[np.object_]


def last_line(followed: ClassTable, every: Iterable[ClassTable]) -> ClassTable:
    """The table by which cattle not at special risk get none at all: the one followed, or where it prints no such line
    the strictest that binds and does."""
    if np.isfinite(followed.never_line(False)):
        return followed
    return min((t for t in every if t.binds), key=lambda t: t.never_line(False), default=followed)


def rule(
    nitrate_nitrogen: ArrayLike,
    at_risk: ArrayLike,
    followed: ClassTable,
    every: Iterable[ClassTable],
    targets: dict[str, float],
) -> Ruling:
    """The strictest reading that binds each lot.

    Animals not at special risk: the table the district follows, and where it prints no line from which nothing is fed,
    the strictest such line. All others: the strictest of all tables that bind, by what each prints for pregnant
    animals, for stressed stock, or for all. A table from memory or without a source binds nobody unless it is the one
    followed, and then never alone.

    Parameters
    ----------
    nitrate_nitrogen : (n,) ppm NO3-N dry; NaN rules out feeding
    at_risk : (n,) or one, as `by_risk` takes it
    followed, every : tables
    targets : dilution target [ppm NO3-N dry] by publisher; key "" is the district's own choice
    """
    values = np.atleast_1d(np.asarray(nitrate_nitrogen, dtype=np.float64))
    grade = np.broadcast_to(by_risk(at_risk), values.shape)
    risk = grade > 0
    tables = list(every)
    share, alone = np.ones(values.shape), np.ones(values.shape, bool)
    by = np.full(values.shape, "", dtype=object)
    ceiling, ceiling_by = np.full(values.shape, np.inf), np.full(values.shape, "", dtype=object)
    for table in [followed, *(t for t in tables if t.publisher != followed.publisher)]:
        first = table.publisher == followed.publisher
        counts = np.where(risk, table.binds, first or (table.binds and not followed.binds))
        limit, may = table.largest_share(values, grade)
        tighter = counts & ((limit < share) | (alone & ~may & (by == "")))
        by = np.where(tighter, table.publisher, by)
        share = np.where(counts, np.fmin(share, limit), share)
        alone &= may | ~counts
        level = np.array([table.ceiling(r) for r in range(PREGNANT + 1)])[grade]
        lower = counts & (level < ceiling)
        ceiling, ceiling_by = np.where(lower, level, ceiling), np.where(lower, table.publisher, ceiling_by)
    for publisher, target in targets.items():
        lower = (risk | (publisher == "")) & (target < ceiling)
        ceiling = np.where(lower, target, ceiling)
        ceiling_by = np.where(lower, publisher or "the district's dilution target", ceiling_by)
    last = last_line(followed, tables)
    never = (values >= last.never_line(False)) & (share > 0)
    by = np.where(never, last.publisher, by)
    unknown = np.isnan(values)
    share = np.where(never | unknown, 0.0, share)
    return Ruling(share, np.where(share > 0, alone, False), by, ceiling, ceiling_by)


def feed_plus_water(
    feed: ArrayLike, intake_kg: ArrayLike, water: ArrayLike, water_litres: ArrayLike
) -> tuple[Floats, Floats]:
    """Nitrate-nitrogen eaten and drunk, and the level in feed alone that would equal it.

    ``grams = feed * intake / 1000 + water * litres / 1000``; ``equivalent = 1000 * grams / intake`` (derived).

    Parameters
    ----------
    feed : [ppm NO3-N dry]
    intake_kg : [kg dry matter/day]
    water : [mg/L = ppm NO3-N]; NaN counts as none
    water_litres : [L/day]

    Returns
    -------
    grams a day, equivalent ppm NO3-N of dry matter
    """
    intake = np.asarray(intake_kg, dtype=np.float64)
    drunk = np.nan_to_num(np.asarray(water, dtype=np.float64)) * np.nan_to_num(
        np.asarray(water_litres, dtype=np.float64)
    )
    grams = (np.asarray(feed, dtype=np.float64) * intake + drunk) / 1000.0
    return grams, 1000.0 * grams / intake


def after_ensiling(nitrate_nitrogen: ArrayLike, loss_low: float, loss_high: float) -> tuple[Floats, Floats]:
    """Range of ppm NO3-N left after ensiling, (least, most), from the published range of losses (shares).

    Never a licence to feed: the silage is tested again before it is fed.
    """
    values = np.asarray(nitrate_nitrogen, dtype=np.float64)
    return values * (1 - loss_high), values * (1 - loss_low)


def water_class(nitrate_nitrogen: ArrayLike, bounds: Sequence[float], labels: Sequence[str]) -> NDArray[np.object_]:
    """Word for nitrate in water [ppm NO3-N], a result at a bound in the stricter class; "" where unknown."""
    values = np.atleast_1d(np.asarray(nitrate_nitrogen, dtype=np.float64))
    edges = np.asarray(bounds, dtype=np.float64) * (1.0 - ROUNDING)
    index = np.searchsorted(edges, np.nan_to_num(values), side="right") - 1
    words = np.array([*labels], dtype=object)[np.maximum(index, 0)]
    return np.where(np.isnan(values), "", words)
