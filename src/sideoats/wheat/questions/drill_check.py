"""Does the drill sow what it should?"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.errors import InputError
from sideoats.problem import Choice, Problem, labelled
from sideoats.question import Context, Question, Table
from sideoats.vocabulary import see
from sideoats.wheat import drill, seed
from sideoats.wheat.asked import known_or
from sideoats.words import Count, Measured, say

Floats = NDArray[np.float64]
INPUTS = (
    see("drill-check.target", needed=True),
    see("place.row_spacing"),
    *(
        see(f"drill-check.{name}")
        for name in ("rows", "catch", "catches", "course", "turns", "wheel", "seeds", "row_length")
    ),
    see("drill-check.seeds_per_lb"),
    see("drill-check.off_share"),
)
OPTIONS = (
    Choice("leave", labelled("drill-leave"), passive=True),
    Choice("set", labelled("drill-set"), day=0),
)


MOST_OFF = (
    3.0  # times over or under the target: a unit, a length or a count is the slip, not the drill (common practice)
)


def check(values: dict[str, Any]) -> None:
    """Refuse anything but one way of measuring, or a catch without the length that it stands for."""
    ways = [k for k in ("catch", "catches", "seeds") if values[k] is not None]
    if len(ways) != 1:
        raise InputError(
            f"{' and '.join(ways) or 'nothing caught or counted'} given",
            where="drill-check",
            expected="one of catch=, catches= or seeds=",
        )
    if values["row_spacing"] is None:
        raise InputError("is missing", where="drill-check row_spacing", expected="such as 7.5 in")
    needed = ["row_length", "seeds_per_lb"] if ways == ["seeds"] else ["turns", "wheel"]
    for name in needed if ways == ["seeds"] or values["course"] is None else []:
        if values[name] is None:
            raise InputError("is missing", where=f"drill-check {name}", expected="course=, or turns= with wheel=")


def _sown(table: Table) -> tuple[Floats, Floats, Floats]:
    """Rate sown [lb/ac], and the lowest and highest row against the mean; NaN where rows were not kept apart."""
    n, spacing = len(table), table.number("row_spacing")
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


def _odd_tube(table: Table) -> tuple[Floats, Floats]:
    """(place,) the heaviest of three catches or more and the middle one [g]; NaN where fewer were kept apart."""
    found = [
        (np.nan, np.nan) if r is None or len(r) < 3 else (max(r), float(np.median(r))) for r in table.rows("catches")
    ]
    most, middle = np.array(found, dtype=np.float64).reshape(len(table), 2).T
    return most, middle


def pose(table: Table, context: Context) -> Problem:
    """The rate sown against the target, and rows that differ: what is gained by setting it is a share of the rate."""
    rate, low, high = _sown(table)
    off = rate / table.number("target") - 1
    allowed = known_or(table.number("off_share"), context, "wheat/seeding.off_share")
    tolerance = context.facts.value("wheat/seeding.drill_row_tolerance") if np.isfinite(low).any() else np.nan
    apart = np.nan_to_num(np.fmax(1 - low, high - 1))
    uneven = apart > np.nan_to_num(tolerance, nan=np.inf)
    wrong = np.abs(off) > allowed
    absurd = (1 + off > MOST_OFF) | (1 + off < 1 / MOST_OFF)
    most, middle = _odd_tube(table)
    odd = most > MOST_OFF * middle  # a tube can be blocked, and none sows three times the others
    gain = np.maximum(np.nan_to_num(np.abs(off)) - allowed, np.where(uneven, apart - np.nan_to_num(tolerance), -np.inf))
    return Problem(
        "drill-check",
        OPTIONS,
        "leave",
        "1",
        np.stack([np.zeros_like(gain), gain], axis=1)[:, None, :] + np.zeros((1, context.outlook.draws, 1)),
        needs={"drill-check.catch": np.isnan(rate) | absurd | odd},
        recheck=np.where(absurd | odd, 0, -1),
        heads=(
            (odd, "drill-check.odd.need"),
            (absurd, "drill-check.absurd.need"),
            (wrong & (off > 0), "drill-check.over.act"),
            (wrong, "drill-check.under.act"),
            (uneven, "drill-check.uneven.act"),
        ),
        values={
            "rate": Measured(rate, unit="lb/ac"),
            "target": Measured(table.number("target"), unit="lb/ac"),
            "times": Count(np.nan_to_num(most / middle, posinf=0.0).round().astype(np.int64)),
            "off": Measured(np.abs(100 * off), unit="percent"),
        },
        reasons=(
            say("drill-check.because.off", allowed=Measured(100 * allowed, unit="percent")),
            say(
                "drill-check.because.rows",
                low=Measured(100 * low, unit="percent"),
                high=Measured(100 * high, unit="percent"),
                either=Measured(100 * tolerance, unit="percent"),
            ),
        ),
        cautions=(say("drill-check.care.again"), say("drill-check.care.hands")),
        quantities={
            "sown_rate": (rate, "lb/ac"),
            "off_by": (off, "1"),
            "lowest_row": (low, "1"),
            "highest_row": (high, "1"),
        },
    )


QUESTION = Question(name="drill-check", room="wheat", inputs=INPUTS, pose=pose, check=check, options_count=len(OPTIONS))
