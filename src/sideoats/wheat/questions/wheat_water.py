"""What can this wheat make from the water there is and the rain that may come?"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from sideoats.decide.laws import median, quantile
from sideoats.errors import InputError
from sideoats.problem import Choice, Problem, labelled
from sideoats.question import Context, Question, Table
from sideoats.vocabulary import see
from sideoats.wheat.days import DUE_DAYS
from sideoats.wheat.water_case import Water, span_of, water_of
from sideoats.words import Between, Measured, Said, say

INPUTS = (
    *(see(f"wheat-water.{name}") for name in ("stored", "moist_depth", "texture", "rain", "line")),
    see("asked.wheat_price", name="price"),
    *(see(f"wheat-water.{name}") for name in ("used", "stored_at_sowing", "rain_since")),
    see("place.planting_date"),
    see("place.station"),
    see("place.acres"),
)
READ = Choice("read", labelled("estimate"), passive=True)  # nothing is decided here


def check(values: dict[str, Any]) -> None:
    """Refuse water told twice or not at all, and a season without rain or a station."""
    if (values["stored"] is None) == (values["moist_depth"] is None):
        raise InputError(
            "stored water is needed, once", where="wheat-water", expected="stored=4.5 in or moist_depth=3 ft"
        )
    if values["moist_depth"] is not None and values["texture"] is None:
        raise InputError("is missing", where="wheat-water texture", expected="silt loam or sandy loam")
    if values["rain"] is None and values["station"] is None:
        raise InputError(
            "neither rain nor a station is given", where="wheat-water", expected="rain=10 in, or station= with a ledger"
        )


def pose(table: Table, context: Context) -> Problem:
    """See `QUESTION`."""
    held = water_of(table, context)
    middle, other = span_of(held.grain)[1], span_of(held.beside)[1]
    low, _, high = span_of(held.crops)
    missing = np.isnan(held.grain[:, 0])
    return Problem(
        "wheat-water",
        (READ,),
        READ.key,
        "USD/ac",
        np.zeros((len(table), context.outlook.draws, 1)),
        needs={"wheat-water.stored": missing, "wheat-water.used": (~held.known | held.slip | held.odd) & ~missing},
        recheck=np.full(len(table), DUE_DAYS),
        heads=(
            (missing, "wheat-water.probe.need"),
            (held.slip, "wheat-water.slip.need"),
            (held.odd, "wheat-water.odd.need"),
            (~held.known, "wheat-water.used.need"),
            (middle < 1, "wheat-water.none.wait"),
        ),
        values={
            "middle": Measured(middle.round(), unit="bu/ac"),
            "ends": Between((low.round(), high.round()), unit="bu/ac"),
            "now": Measured(held.stored, unit="in"),
            "told": Measured(table.number("used"), unit="in"),
            "usual": Between(held.usual, unit="in"),
            "at_sowing": Measured(table.number("stored_at_sowing"), unit="in"),
            "from": Measured(held.start, unit="in"),
            "other": Measured(other.round(), unit="bu/ac"),
            "kind": lambda i: say("wheat-water.kind." + ("mean" if _bounds(held, i) else "boundary")),
        },
        reasons=_reasons(table, context, held, middle, other),
        cautions=(say("wheat-water.care"),),
        quantities={
            "yield": (middle, "bu/ac"),
            "yield_low": (low, "bu/ac"),
            "yield_high": (high, "bu/ac"),
            "yield_by_the_other_line": (other, "bu/ac"),
            "stored_water": (held.stored, "inch"),
            "water_used_since_sowing": (median(held.used, axis=1), "inch"),
            "rain_to_come": (median(held.rain, axis=1), "inch"),
            "an_inch_is_worth": (held.slope * table.number("price"), "USD/ac/inch"),
        },
    )


def _bounds(held: Water, i: int) -> bool:
    """Whether the line followed is a boundary, so that the other one is the mean."""
    return bool(held.chosen[i][0] == "french_schultz")


def _reasons(
    table: Table, context: Context, held: Water, middle: np.ndarray, other: np.ndarray
) -> tuple[Callable[[int], Said | None], ...]:
    """The line, the water it counts, and what the other published line says."""
    low, high = (100 * end for end in context.facts.by_id["wheat/water.rain_used"].span)

    def line(i: int) -> Said:
        kind = "boundary" if _bounds(held, i) else "mean"
        grain, start = Measured(float(held.slope[i]), unit="bu/ac/in"), Measured(float(held.start[i]), unit="in")
        if kind == "boundary":
            return say("wheat-water.because.boundary", grain=grain, start=start)
        scatter = context.facts.by_id["wheat/water.scatter"]
        spread = Measured(100 * scatter.value, unit="percent", fact=scatter.id)
        return say("wheat-water.because.mean", grain=grain, start=start, spread=spread)

    def counted(i: int) -> Said:
        used, rain = (Between(_eight_of_ten(inches[i]), unit="in") for inches in (held.used, held.rain))
        code = "water" if held.known[i] else "water_guessed"
        stored, share = Measured(float(held.stored[i]), unit="in"), Between((low, high), unit="percent")
        return say(f"wheat-water.because.{code}", stored=stored, used=used, rain=rain, share=share)

    def rival(i: int) -> Said:
        kind = "other_mean" if _bounds(held, i) else "other_boundary"
        apart = Measured(float(abs(other[i] - middle[i]).round()), unit="bu/ac")
        return say(f"wheat-water.because.{kind}", other=Measured(float(other[i].round()), unit="bu/ac"), apart=apart)

    return line, counted, rival


def _eight_of_ten(values: np.ndarray) -> tuple[float, float]:
    low, high = quantile(values, [0.1, 0.9])
    return float(low), float(high)


QUESTION = Question(name="wheat-water", room="wheat", inputs=INPUTS, pose=pose, check=check)
