"""The laboratory's slips of a lot: which can be read, what each says in one unit, and what they say together.

Nitrate does not leave dry hay, so a later and lower result is a second sample of the same lot and not a cure: the level
that a class is read at is the highest of the composites, all cores and bales are pooled for what the hottest bale may
hold, where what disagrees widens the spread, and a result goes only when a correction
withdraws it from the ledger, or when it is of other hay: sampled long before this was put up, and this was sampled too.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import fields
from datetime import date, timedelta
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.errors import InputError
from sideoats.facts import Facts
from sideoats.forage import lots, nitrate
from sideoats.records import dataclass
from sideoats.words import LongDay, Measured, Reader, Said, Share, Terms, say, sentence

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Read = tuple[date | None, float, float]
READER = Reader()


@dataclass(frozen=True)
class Slip:
    """One result as printed: ppm of a composite or of single bales, in an ion and on a moisture basis."""

    result: float | None
    single_bales: tuple[float, ...]
    form: str
    basis: str
    moisture: float | None
    cores: float | None
    state: str
    on: date | None

    @classmethod
    def of(cls, record: Mapping[str, Any], *, state: str = "baled", on: date | None = None) -> Slip:
        """A slip from named values; what is absent is None or ""."""
        return cls(
            result=record.get("result"),
            single_bales=tuple(record.get("single_bales") or ()),
            form=str(record.get("form") or ""),
            basis=str(record.get("basis") or ""),
            moisture=record.get("moisture"),
            cores=record.get("cores"),
            state=str(record.get("state") or state),
            on=record.get("on") or on,
        )

    @property
    def printed(self) -> tuple[tuple[float, bool], ...]:
        """Every ppm on it, and whether it is that of one bale."""
        whole = () if self.result is None else ((self.result, False),)
        return (*whole, *((value, True) for value in self.single_bales))

    @property
    def highest(self) -> float:
        """The highest ppm on it; 0 where there is none."""
        return max((value for value, _ in self.printed), default=0.0)

    def same_as(self, other: Slip) -> bool:
        """Whether both print the same."""
        return (self.printed, self.form, self.basis, self.moisture) == (
            other.printed,
            other.form,
            other.basis,
            other.moisture,
        )

    def lacking(self) -> tuple[str, ...]:
        """Which of form, basis and moisture it does not state and cannot be read without."""
        out = tuple(name for name in ("form", "basis") if not getattr(self, name))
        return (*out, "moisture") if self.basis == "as-fed" and self.moisture is None else out


def doubt(slip: Slip, facts: Facts) -> Said | None:
    """Why a slip that states all it needs cannot be right, and what to ask; None where nothing speaks against it."""
    if slip.moisture is not None and (slip.basis == "as-fed" or slip.moisture > 0):
        state = slip.state or "baled"
        usual = facts[f"forage/moisture.{state}"]
        if not usual.low <= slip.moisture <= usual.high:
            return say(
                f"slip.moisture.{state}",
                moisture=Share(slip.moisture),
                low=Share(usual.low, fact=usual.id),
                high=Share(usual.high, fact=usual.id),
            )
    least, spread = map(float, facts["forage/lot.slip"].column("amount"))
    low = [value for value, _ in slip.printed if 0 < value < least]
    if low:
        return say("slip.too_little", least=_ppm(low[0]))
    nonzero = [v for v in slip.single_bales if v > 0]
    if nonzero and min(nonzero) < 2 * least and max(nonzero) > spread * min(nonzero):
        return say("slip.comma", low=_ppm(min(nonzero)), high=_ppm(max(nonzero)))
    if not slip.lacking() and slip.highest * _factor(slip) > nitrate.PURE:
        return say("slip.pure", level=_ppm(slip.highest))
    return None


def refused(slip: Slip, facts: Facts, where: str) -> None:
    """Refuse a slip of a phone-in that cannot be right (raise InputError)."""
    why = doubt(slip, facts)
    if why is not None:
        told = sentence(why, READER)
        raise InputError(told, where=where, expected="what the laboratory printed", todo="read the slip again")


def _ppm(value: float) -> Measured:
    return Measured(float(value), unit="ppm")


_STATES = ("baled", "standing", "silage")


def _factor(slip: Slip) -> float:
    dry = 1.0 - (slip.moisture or 0.0) if slip.basis == "as-fed" else 1.0
    return nitrate.ion_factor(slip.form, "NO3-N") / dry if dry > 0 else float("inf")


@dataclass(frozen=True)
class Sample:
    """What n lots were found to hold, (n,) each; levels in ppm NO3-N of dry matter.

    Attributes
    ----------
    level : the highest of the lot's results and of the mean of its single bales; NaN unknown
    centre : the middle of all results on a log scale, each by the bales behind it; never under a hotter older sample
    squares, results : how far the results lie apart about it, and how many they are (`lots.pool_results`)
    singles, apart, seen : bales tested alone, how far these lie apart, and the hottest of them; 0, 0 and NaN for none
    cores : bales behind all the results; a sample that does not state them counts as 1
    stated : how many bales (spots of a standing crop) were sampled is known
    """

    level: Floats
    centre: Floats
    squares: Floats
    results: Floats
    singles: Floats
    apart: Floats
    seen: Floats
    cores: Floats
    stated: Bools

    def sampled(self) -> dict[str, Any]:
        """These attributes by name."""
        return {f.name: getattr(self, f.name) for f in fields(Sample)}


@dataclass(frozen=True)
class Pooled(Sample):
    """What the slips of n lots say together.

    Attributes
    ----------
    unread : why a slip of the lot cannot be read, None where all can be; such a lot is not cleared
    age : days since the newest slip, NaN where no day is known
    told : (day or None, level, bales behind it) of each slip that was read, oldest first
    other : the same, of those that are of hay which lay there before; they count for nothing
    """

    unread: NDArray[np.object_]
    age: Floats
    told: list[list[Read]]
    other: list[list[Read]]


def _of_other_hay(held: Sequence[Slip], on: date, put_up: float, cutting: float) -> list[Slip]:
    """Slips of hay that lay there before: sampled earlier than this could have been cut and cured, where this hay has a
    test of its own. What stood or lay in the swath a few weeks before is this hay, and its test counts.
    """
    ages = {id(s): (on - s.on).days for s in held if s.on is not None}
    if not any(0 <= age <= put_up for age in ages.values()):
        return []
    return [s for s in held if ages.get(id(s), 0.0) > put_up + cutting]


def pool(
    held: Sequence[Sequence[Slip]],
    facts: Facts,
    on: date,
    keeps: Floats | None = None,
    put_up: Floats | None = None,
) -> Pooled:
    """The slips of every lot brought to one ion and to dry matter, and put together.

    Parameters
    ----------
    held : the slips of each lot; none, one or many
    on : today; a slip of a later day is not believed
    keeps : (n,) days for which a slip is of the hay that lies there; for ever where None. An older one lends a newer
        one neither its cores nor its bales, and counts only where it is higher
    put_up : (n,) days since the hay was put up; NaN, or None, where nobody says. A slip of other hay does not count
    """
    n = len(held)
    since, cutting = (
        np.full(n, np.nan) if put_up is None else put_up,
        float(dict(facts["forage/lot.days"].rows)["cutting"]),
    )
    others = [_of_other_hay(of_lot, on, float(d), cutting) for of_lot, d in zip(held, since, strict=True)]
    kept = np.full(n, np.inf) if keeps is None else keeps
    for name in (*(f"moisture.{s}" for s in _STATES), "lot.slip"):
        _ = facts[f"forage/{name}"]  # read for all lots alike, so that no lot's sources depend on its neighbours
    unread, age = np.full(n, None, dtype=object), np.full(n, np.nan)
    rows, values, slips, single = [], [], [], []
    for i, of_lot in enumerate(held):
        for slip in of_lot:
            why = _unreadable(slip, facts, on)
            unread[i] = unread[i] or why
            if why is not None:
                continue
            if slip.on is not None and slip not in others[i]:
                age[i] = np.fmin(age[i], (on - slip.on).days)
            for value, alone in slip.printed:
                rows.append(i)
                values.append(value)
                slips.append(slip)
                single.append(alone)
    dry = nitrate.nitrate_nitrogen_dry(
        np.array(values, dtype=np.float64),
        form=np.array([s.form for s in slips] or [], dtype=object),
        basis=np.array([s.basis for s in slips] or [], dtype=object),
        moisture=np.array([np.nan if s.moisture is None else s.moisture for s in slips], dtype=np.float64),
    )
    old = np.array([s.on is not None and (on - s.on).days > kept[i] for i, s in zip(rows, slips, strict=True)], bool)
    gone = {id(slip) for of_lot in others for slip in of_lot}
    return _together(n, rows, dry, slips, np.array(single, dtype=bool), old, gone, unread, age)


def _unreadable(slip: Slip, facts: Facts, on: date) -> Said | None:
    """Why a slip cannot be read; None where it can."""
    if lacking := slip.lacking():
        return say("slip.lacking", what=Terms(lacking, of="slip"))
    if slip.on is not None and slip.on > on:
        return say("slip.ahead", day=LongDay(slip.on))
    return doubt(slip, facts)


def _together(
    n: int,
    rows: list[int],
    dry: Floats,
    slips: list[Slip],
    single: Bools,
    old: Bools,
    gone: set[int],
    unread: NDArray[np.object_],
    age: Floats,
) -> Pooled:
    composite = np.full(n, np.nan)
    stated = np.zeros(n, dtype=bool)
    pieces: list[list[tuple[float, float]]] = [[] for _ in range(n)]
    older: list[list[tuple[float, float]]] = [[] for _ in range(n)]
    bales: list[list[float]] = [[] for _ in range(n)]
    newer: list[list[float]] = [[] for _ in range(n)]
    told: list[dict[int, tuple[date | None, list[float], float]]] = [{} for _ in range(n)]
    other: list[dict[int, tuple[date | None, list[float], float]]] = [{} for _ in range(n)]
    of_now = set(np.array(rows, dtype=np.int64)[~old].tolist())  # lots that have a test of the hay that lies there now
    for i, level, slip, alone, past in zip(rows, dry.tolist(), slips, single.tolist(), old.tolist(), strict=True):
        count = float(len(slip.single_bales)) if alone else float(slip.cores or 1.0)
        of_other = id(slip) in gone
        (other if of_other else told)[i].setdefault(id(slip), (slip.on, [], count))[1].append(level)
        if of_other:
            continue
        if alone:
            bales[i].append(level)
        else:
            composite[i] = np.fmax(composite[i], level)
        piece = (level, 1.0 if alone else count)
        if past and i in of_now:
            older[i].append(piece)
            continue
        pieces[i].append(piece)
        if alone:
            newer[i].append(level)
        else:
            stated[i] |= slip.cores is not None
    _, apart, singles, seen = lots.core_summary(bales)
    _, _, alone_now, _ = lots.core_summary(newer)
    centre, squares, results, cores = lots.pool_results(pieces)
    mean = np.array(
        [max((np.mean(b) for b in (every, new) if b), default=np.nan) for every, new in zip(bales, newer, strict=True)]
    )
    return Pooled(
        level=np.fmax(mean, composite),
        centre=np.fmax(centre, lots.pool_results(older)[0]),
        squares=squares,
        results=results,
        singles=singles.astype(np.float64),
        apart=apart,
        seen=seen,
        cores=np.maximum(cores, 1.0),
        stated=stated | (alone_now > 0),
        unread=unread,
        age=age,
        told=[_in_order(t.values()) for t in told],
        other=[_in_order(t.values()) for t in other],
    )


def _in_order(found: Iterable[tuple[date | None, list[float], float]]) -> list[Read]:
    """Day, mean level and bales of each slip, oldest first; what is told now without a day is the newest."""
    rows = [(day, float(np.mean(levels)), count) for day, levels, count in found]
    return sorted(rows, key=lambda row: row[0] or date.max)


def day_before(on: date, days: float) -> date | None:
    """The day so many days before `on`; None where they are not known."""
    return on - timedelta(days=int(days)) if np.isfinite(days) else None
