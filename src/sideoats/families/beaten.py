"""A count in soybeans by drop cloth or sweep net, the printed thresholds for it by stage and way of counting, the case.

The facts: <pest>.stage_loss with columns stage, weight and most; the choice <pest>_threshold.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.errors import FactError, InputError
from sideoats.facts import Fact, Facts
from sideoats.families.counted import Counted, count_means, one_count
from sideoats.families.feeding import by_stage, feeding_case
from sideoats.families.treated import Printed, Worth, published
from sideoats.families.treating import Case
from sideoats.insects.thresholds import Reference
from sideoats.question import Context, Table
from sideoats.records import dataclass
from sideoats.words import Measured, Name, Said, Term, say

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
RIPE = ("R7", "R8")  # stages at which nothing is left to save
SWEEPS = 25.0  # the number that a count by net is told for


@dataclass(frozen=True)
class Sampled:
    """A count by drop cloth or sweep net: per foot of row, or per 25 sweeps; arrays (place,).

    Attributes
    ----------
    counted : in that unit
    unit, sample : words of the unit, and of what was looked at
    swept : True for the net
    feet : feet of row that hold as many as one unit: 1 for a cloth, the published equivalent for the net
    """

    counted: Counted
    unit: NDArray[np.object_]
    sample: NDArray[np.object_]
    swept: Bools
    feet: Floats


def beaten(table: Table, context: Context, name: str, what: str, *, choice: str, foot: float) -> Sampled:
    """The count of `what`, drawn against a part of the threshold of `choice` a foot of row; `foot` per 25 sweeps equal
    one a foot.
    """
    usual = np.full(len(table), context.facts.value("insects/counting.usual_share") * _by_foot(context.facts, choice))
    units = context.facts.value("insects/counting.usual_units")
    counted = count_means(table, context, counts="counts", mean="mean", units=units)
    counted = counted.scored(context, name, table.keys)
    feet, sweeps, told = table.number("row_feet"), table.number("sweeps"), table.text("method")
    swept = (told == "sweep") | ((told == "") & ~np.isnan(sweeps) & np.isnan(feet))
    size = np.where(swept, np.where(np.isnan(sweeps), SWEEPS, sweeps) / SWEEPS, np.where(np.isnan(feet), 1.0, feet))
    times = np.where(swept, foot, 1.0)
    unit = np.where(swept, f"{what}/25 sweeps", f"{what}/ft").astype(object)
    sample = np.where(swept, "set of sweeps", "cloth").astype(object)
    return Sampled(counted.per(size).against(usual * times, context.facts), unit, sample, swept, 1.0 / times)


def beaten_case(
    table: Table,
    context: Context,
    name: str,
    seen: Sampled,
    *,
    bushels: Floats,
    worth: Worth,
    reference: Reference,
    line: tuple[NDArray[np.object_], Floats, Floats],
    reasons: tuple[Said, ...],
    **more: Any,
) -> Case:
    """The case of a pest beaten on to a cloth or swept: bushels for each one by stage, and the printed thresholds.

    Parameters
    ----------
    bushels : (place, draw) that one a foot of row costs
    line : whose threshold stands, its low and high in the unit of the count
    reasons : the question's own, before those of the thresholds
    more : further fields of `feeding_case`
    """
    facts, prefix, stage = context.facts, f"insects/{name.replace('-', '_')}", table.text("stage")
    by, low, high = line
    untold = [table.known(way) for way in ("method", "row_feet", "sweeps")]
    known = ~seen.counted.unknown & table.known("stage")
    return feeding_case(
        table,
        context,
        name,
        seen.counted,
        slope=(worth.price * seen.feet)[:, None] * bushels,
        most=by_stage(table, facts[f"{prefix}.stage_loss"], "most"),
        worth=worth,
        crops=("soybean", "soybean"),
        unit=seen.unit,
        sample=seen.sample,
        printed=Printed(Name(by), low, high),
        known=known,
        stage=Term(stage, of="canopy_counts.stage"),
        over=np.isin(stage, RIPE) & known,
        own=("few.need",),
        heads=((seen.counted.unknown, f"{name}.uncounted.need"),),
        reasons=(
            say(f"{name}.because.young").where(stage == "vegetative"),
            say("treat.assumed.cloth").where(known & ~seen.swept & ~np.any(untold, axis=0)),
            *reasons,
            *published(reference, by, low, high, seen.unit, money=False),
            *rivals(table, facts, f"{prefix}_threshold", seen.swept, by, seen.unit),
        ),
        **more,
    )


def _by_foot(facts: Facts, choice: str) -> float:
    """What is printed a foot of row where pods set: the district's publisher's, else the first that prints one."""
    among = facts.choices[choice].among
    for name in (facts.choose(choice)[0], *among):
        for stage, per, low, _ in facts[among[name]].rows:
            if stage == "R3" and per == "row-ft":
                return float(low)
    raise FactError(f"{choice}: no publisher prints a threshold a foot of row at R3")


def check_beaten(values: dict[str, Any], name: str) -> None:
    """Refuse no count or two, and a way of counting that what was told about it contradicts.

    Sweeps say that the net was used and feet of row that a cloth was: taken for the other, a count is off by ten.
    """
    one_count(values, question=name, ways=("counts", "mean"), single="counts", sized=False)
    told = {"cloth": values["row_feet"] is not None, "sweep": values["sweeps"] is not None}
    ways = sorted({way for way, said in told.items() if said} | ({values["method"]} - {None, ""}))
    if len(ways) > 1:
        raise InputError(
            "both a drop cloth (method=cloth or row_feet) and a sweep net (method=sweep or sweeps) told",
            where=f"{name} method",
            expected="one way of counting",
            todo="ask whether the insects were beaten on to a cloth or swept, and leave out the other",
        )


def printed(table: Table, facts: Facts, choice: str, swept: Bools) -> tuple[NDArray[np.object_], Floats, Floats]:
    """Whose threshold stands for the stage and the way of counting, and its low and high in the unit of the count.

    The publisher asked for first, then the district's, then the next that prints one; "" and NaN where none does.
    """
    among, district = facts.choices[choice].among, facts.choose(choice)[0]
    asked = table.text("publisher")
    if wrong := sorted(set(asked[asked != ""].tolist()) - set(among)):
        raise InputError(
            f"no table on file of {wrong[0]!r}",
            where="publisher",
            expected=" or ".join(among),
            todo="leave it out for the district's",
        )
    n = len(table)
    by, low, high = np.full(n, "", dtype=object), np.full(n, np.nan), np.full(n, np.nan)
    first = np.where(asked == "", district, asked)
    for turn in (first, np.full(n, district, dtype=object), *(np.full(n, name, dtype=object) for name in among)):
        for name in among:
            rows = np.isnan(low) & (turn == name)
            if not rows.any():
                continue
            found = _printed_by(table, facts.by_id[among[name]], swept)
            use = rows & ~np.isnan(found[0])
            by[use] = facts.whose(choice, name)
            low, high = np.where(use, found[0], low), np.where(use, found[1], high)
            if use.any():
                facts[among[name]]
    return by, low, high


def rivals(
    table: Table, facts: Facts, choice: str, swept: Bools, by: NDArray[Any], unit: Any, times: float = 1.0
) -> tuple[Said, ...]:
    """What the other publishers print for the stage and the way of counting, `times` for shares told in per cent.

    `by` is whose stands (place,).
    """
    told = []
    for name, fact in facts.choices[choice].among.items():
        low, high = (times * end for end in _printed_by(table, facts.by_id[fact], swept))
        who, other = facts.whose(choice, name), np.isfinite(low)
        span = {"by": Name(who), "high": Measured(high, unit=unit)}
        told += [
            say("treat.because.rival", **span).where(other & (by != who) & (low == high)),
            say("treat.because.rival-range", low=Measured(low), **span).where(other & (by != who) & (high > low)),
        ]
    return tuple(told)


def _printed_by(table: Table, fact: Fact, swept: Bools) -> tuple[Floats, Floats]:
    """(place,) one publisher's low and high, per foot of row or per 25 sweeps."""
    lines: dict[tuple[str, bool], tuple[float, float]] = {}
    for stage, per, low, high in fact.rows:
        net = str(per).endswith("sweeps")
        times = SWEEPS / float(str(per).split()[0]) if net else 1.0
        lines[str(stage), net] = (float(low) * times, float(high) * times)
    none = (np.nan, np.nan)
    found = [lines.get((str(stage), bool(net)), none) for stage, net in zip(table.text("stage"), swept, strict=True)]
    both = np.array(found, dtype=float).reshape(-1, 2)
    return both[:, 0], both[:, 1]
