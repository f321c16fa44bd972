"""Does the drill sow what it should?"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.call import ACT, WAIT
from sideoats.errors import InputError
from sideoats.question import Answers, Context, Question, Table
from sideoats.schema import Field
from sideoats.wheat import drill, seed
from sideoats.wheat.questions._common import ROW_SPACING, known_or

Floats = NDArray[np.float64]
INPUTS = (
    Field("target", "number", "rate wanted", unit="lb/ac", low=1, high=400, required=True, example="75 lb/ac"),
    ROW_SPACING,
    Field("rows", "number", "rows (tubes) caught; one if absent", bare=True, low=1, high=200),
    Field("catch", "number", "seed caught from those rows together", unit="g", low=0.1, high=200_000, example="350 g"),
    Field("catches", "numbers", "seed caught row by row, instead", unit="g", low=0, high=50_000, example="52,49,55 g"),
    Field("course", "number", "length driven, or stood for by the wheel turns", unit="ft", low=1, high=20_000),
    Field("turns", "number", "turns of the drive wheel, instead of the course", bare=True, low=0.5, high=10_000),
    Field("wheel", "number", "rolling circumference of the drive wheel, measured under load", unit="inch", low=10,
          high=600, example="88 in"),
    Field("seeds", "number", "seeds found in a length of row, instead of a catch", bare=True, low=1, high=100_000),
    Field("row_length", "number", "length of row dug over for the seeds", unit="ft", low=0.5, high=1000),
    Field("seeds_per_lb", "number", "seeds in a pound, with seeds", unit="1/lb", bare=True, low=5000, high=40_000),
    Field("off_share", "share", "share off at which the drill is set again; common practice if absent"),
)  # fmt: skip


def _check(values: dict[str, Any]) -> None:
    ways = [k for k in ("catch", "catches", "seeds") if values[k] is not None]
    if len(ways) != 1:
        raise InputError(
            f"{' and '.join(ways) or 'nothing caught or counted'} given", where="drill-check",
            expected="one of catch=, catches= or seeds=",
        )  # fmt: skip
    if values["row_spacing"] is None:
        raise InputError("is missing", where="drill-check row_spacing", expected="such as 7.5 in")
    needed = ["row_length", "seeds_per_lb"] if ways == ["seeds"] else ["turns", "wheel"]
    for name in needed if ways == ["seeds"] or values["course"] is None else []:
        if values[name] is None:
            raise InputError("is missing", where=f"drill-check {name}", expected="course=, or turns= with wheel=")


def _sown(table: Table) -> tuple[Floats, Floats, Floats]:
    """Rate sown [lb/ac], and the lowest and highest row against the mean; NaN where rows were not kept apart."""
    n = len(table)
    spacing = table.number("row_spacing")
    driven = table.number("course")
    driven = np.where(np.isnan(driven), table.number("turns") * table.number("wheel") / 12.0, driven)
    by_row = table.rows("catches")
    caught = np.array([table.number("catch")[i] if r is None else float(sum(r)) for i, r in enumerate(by_row)])
    rows = np.array([table.number("rows")[i] if r is None else float(len(r)) for i, r in enumerate(by_row)])
    area = drill.area_caught(np.where(np.isnan(rows), 1.0, rows), spacing, driven)
    weighed = drill.sown_rate(caught / seed.GRAMS_PER_POUND, area)
    per_acre = table.number("seeds") / table.number("row_length") * seed.row_feet_per_acre(spacing)
    counted = seed.seeding_rate(per_acre, table.number("seeds_per_lb"))
    ends = [(np.nan, np.nan) if r is None or len(r) < 2 or not sum(r) else drill.rows_uneven(r) for r in by_row]
    low, high = np.array(ends, dtype=np.float64).reshape(n, 2).T
    return np.where(np.isnan(weighed), counted, weighed), low, high


def answer(table: Table, context: Context) -> Answers:
    """The rate sown against the target, and rows that differ."""
    facts = context.facts
    rate, low, high = _sown(table)
    target = table.number("target")
    off = rate / target - 1
    allowed = known_or(table.number("off_share"), context, "wheat/seeding.off_share")
    row_limit = facts.value("wheat/seeding.drill_row_tolerance") if np.isfinite(low).any() else np.nan
    uneven = (low < 1 - row_limit) | (high > 1 + row_limit)
    wrong = np.abs(off) > allowed
    return Answers(
        table, context, headline=_headline(target, rate, off, wrong, uneven), unit="USD/ac",
        because=_because(allowed, low, high, row_limit),
        verdict=np.where(wrong | uneven, ACT, WAIT).astype(np.int8), act_by=np.where(wrong | uneven, 0, -1),
        quantities={
            "sown_rate": (rate, "lb/ac"), "off_by": (off, "1"), "lowest_row": (low, "1"), "highest_row": (high, "1"),
        },
        missing=np.isnan(rate), missing_headline="Nothing was caught or counted: calibrate the drill.",
        cautions=(
            "Calibrate again for every lot and after every change of tyre, gear or seed treatment; look at every "
            "spout.",
            "Keep hands, sleeves and children away from turning parts; treated seed needs the gloves its tag names.",
        ),
    )  # fmt: skip


def _headline(
    target: Floats, rate: Floats, off: Floats, wrong: NDArray[np.bool_], uneven: NDArray[np.bool_]
) -> Callable[[int], str]:
    def text(i: int) -> str:
        start = f"The drill sows {rate[i]:.1f} lb/ac, {100 * abs(off[i]):.1f} % {'over' if off[i] > 0 else 'under'} "
        start += f"{target[i]:.1f} lb/ac"
        if wrong[i]:
            return start + ": set it again before sowing."
        return start + (": the rate is right, but rows differ too much." if uneven[i] else ": leave it as it is.")

    return text


def _because(allowed: Floats, low: Floats, high: Floats, row_limit: float) -> Callable[[int], list[str]]:
    def text(i: int) -> list[str]:
        out = [f"A drill more than {100 * allowed[i]:.0f} % off is set again (common practice)."]
        if np.isfinite(low[i]):
            out.append(
                f"Rows run from {100 * low[i]:.0f} to {100 * high[i]:.0f} % of their mean; {100 * row_limit:.0f} % "
                "either "
                "way is common practice."
            )
        return out

    return text


QUESTION = Question(
    name="drill-check", room="wheat", title="Does the drill sow what it should?",
    about="Rate sown from seed caught over a course or over wheel turns, or from seeds found in the row, against the "
    "rate "
    "wanted.",
    inputs=INPUTS, answer=answer, check=_check,
    limits="A catch with the drill standing does not hold wheel slip unless the rolling circumference was measured in "
    "the "
    "field.",
)  # fmt: skip
