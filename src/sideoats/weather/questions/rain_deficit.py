"""Rain against normal, water left in the soil, and what forage the coming weeks are likely to grow."""

from __future__ import annotations

from typing import Any

import numpy as np

from sideoats.errors import InputError
from sideoats.problem import Problem
from sideoats.question import Context, Places, Question, Table
from sideoats.vocabulary import see
from sideoats.weather.cases import rain_case as case
from sideoats.weather.cases.rain_words import Told

NAME = "rain-deficit"
INPUTS = (
    *(see(f"rain-deficit.{name}") for name in ("rain", "normal", "span")),
    see("place.crop", example="native grass"),
    see("place.soil"),
    see("soil_water.left", name="soil_water", also=("station:soil_water_left",)),
    see("place.planting_date"),
    see("place.forage"),
    see("rain-deficit.price"),
    see("place.station"),
)
CROPS = (
    "native grass", "rotated pasture", "bermudagrass", "alfalfa", "forage sorghum", "sorghum-sudan", "sudangrass",
    "millet", "pearl millet", "foxtail millet",
)  # fmt: skip


def check(values: dict[str, Any]) -> None:
    """Refuse rain without its normal, and a normal without rain."""
    if (values["rain"] is None) != (values["normal"] is None):
        lacking = "normal" if values["normal"] is None else "rain"
        expected = "rain='2.1 in' normal='5.4 in' span=90"
        raise InputError("is missing", where=f"{NAME} {lacking}", expected=expected, todo="give both")


def pose(table: Table, context: Context) -> Problem:
    """See `QUESTION`."""
    found = case.case_of(table, context)
    (gain, exposure), told = case.money_of(found), Told(found)
    return Problem(
        NAME,
        case.OPTIONS,
        "wait",
        case.UNIT,
        gain,
        exposure=exposure,
        bars=case.bars(found),
        looks=case.looks(found),
        needs=case.needs(found),
        recheck=np.full(len(table), case.RECHECK),
        due=case.due(found),
        heads=told.heads(),
        values=told.values(),
        reasons=told.reasons(),
        cautions=told.cautions(),
        quantities=case.quantities(found),
    )


QUESTION = Question(
    name=NAME,
    room="weather",
    inputs=INPUTS,
    pose=pose,
    places=Places(kinds=("pasture", "field"), crops=CROPS),
    size="acres",
    check=check,
    options_count=len(case.OPTIONS),
    apart=("soil?",),
)
