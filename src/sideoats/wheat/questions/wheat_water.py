"""What can this wheat make from the water there is and the rain that may come?"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.call import LOOK, WAIT
from sideoats.errors import InputError
from sideoats.question import Answers, Context, Question, Table
from sideoats.schema import Field
from sideoats.wheat import water
from sideoats.wheat.questions import _common as w

Floats = NDArray[np.float64]
LINES = ("musick", "french-schultz")
INPUTS = (
    Field("stored", "number", "plant-available water stored in the profile now", unit="inch", low=0, high=20,
          example="4.5 in"),
    Field("moist_depth", "number", "depth to which a probe goes in, instead", unit="ft", low=0, high=10),
    Field("texture", "choice", "soil texture, with the depth", choices=("silt loam", "sandy loam")),
    Field("rain", "number", "season rain still to come, where no weather is on file", unit="inch", low=0, high=60),
    Field("line", "choice", "whose line from water to grain; the district's if absent", choices=LINES),
    Field("price", "number", "wheat price", unit="USD/bu", low=0.5, high=50, found_in=w.PRICE.found_in),
    w.STATION, w.ACRES,
)  # fmt: skip


def _check(values: dict[str, Any]) -> None:
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


def _stored(table: Table, context: Context) -> Floats:
    given, depth = table.number("stored"), table.number("moist_depth")
    if np.isnan(depth).all():
        return given
    holds = {str(row[0]): float(row[1]) for row in context.facts["wheat/water.holding"].rows}
    per_foot = np.array([holds.get(str(t), np.nan) for t in table.text("texture")])
    return np.where(np.isnan(given), water.stored_water(depth, per_foot), given)


def answer(table: Table, context: Context) -> Answers:
    """Grain over the rain of past years, or over the rain given, by one published line."""
    facts, out = context.facts, context.outlook
    followed = [str(line).replace("-", "_") or None for line in table.text("line")]
    chosen = [facts.choose("wheat/water_yield", key) for key in followed]
    slope = np.array([float(fact.rows[0][0]) for _, fact in chosen])
    start = np.array([float(fact.rows[0][1]) for _, fact in chosen])
    rain = table.number("rain")[:, None] + np.zeros((1, out.draws))
    if out.has_weather and np.isnan(rain).any():
        ahead = out.daily("rain")[:, :, : w.harvest_days(context)].sum(axis=2)[:, out.year_of_draw] / w.INCH_MM
        rain = np.where(np.isnan(rain), ahead[out.station_rows(table.text("station"))], rain)
    stored = _stored(table, context)
    used = out.between("wheat rain used", *facts.span("wheat/water.rain_used"))
    use = water.water_used(stored[:, None], rain, used)
    grain = np.maximum(slope[:, None] * (use - start[:, None]), 0.0)
    missing = np.isnan(grain[:, 0])
    low, middle, high = np.quantile(np.nan_to_num(grain), [0.1, 0.5, 0.9], axis=1)
    return Answers(
        table, context, unit="USD/ac", verdict=np.where(missing, LOOK, WAIT).astype(np.int8), missing=missing,
        missing_headline="Probe the profile: stored water (and a station or the rain to come) is not known.",
        headline=lambda i: f"{middle[i]:.0f} bu/ac in an even year, {low[i]:.0f} to {high[i]:.0f} in eight of ten.",
        because=_because(context, chosen, slope, start, stored, rain),
        quantities={
            "yield": (middle, "bu/ac"), "yield_low": (low, "bu/ac"), "yield_high": (high, "bu/ac"),
            "stored_water": (stored, "inch"), "rain_to_come": (np.median(rain, axis=1), "inch"),
            "an_inch_is_worth": (slope * table.number("price"), "USD/ac/inch"),
        },
        cautions=("Water is a ceiling: freeze, disease, hail and nitrogen take from it. Do not sell on this figure.",),
    )  # fmt: skip


def _because(
    context: Context, chosen: list[tuple[str, Any]], slope: Floats, start: Floats, stored: Floats, rain: Floats
) -> Callable[[int], list[str]]:
    def text(i: int) -> list[str]:
        kind = "an upper boundary, not a mean" if chosen[i][0] == "french_schultz" else "a mean of many crops"
        low, high = np.quantile(rain[i], [0.1, 0.9])
        return [
            f"{slope[i]:.2f} bu/ac for each inch of water used above {start[i]:.2f} in: {kind}.",
            f"{stored[i]:.1f} in stored; {low:.1f} to {high:.1f} in of rain to come, of which 60 to 90 % is used "
            "(common "
            "practice).",
        ]

    return text


QUESTION = Question(
    name="wheat-water", room="wheat", title="What can this wheat make from the water there is?",
    about="Yield from stored soil water and the rain of past years from today on, by a published line between water "
    "used and "
    "grain.",
    inputs=INPUTS, answer=answer, check=_check,
    limits="One line for every soil and variety. Rain is the season's total: when it falls is not looked at.",
)  # fmt: skip
