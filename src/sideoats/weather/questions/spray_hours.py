"""Is it fit to spray now, and which hours of the coming days are? The label governs."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.errors import InputError
from sideoats.problem import Problem
from sideoats.question import Context, Places, Question, Table
from sideoats.vocabulary import see
from sideoats.weather.cases import spray_case as case
from sideoats.weather.cases.spray_air import judge
from sideoats.weather.cases.spray_words import Told

NAME = "spray-hours"
INPUTS = (
    *(see(f"spray-hours.{name}") for name in ("temperature", "humidity", "wind", "hour", "sky", "hanging", "rain_in")),
    see("spray_plan.hours"),
    see("spray_plan.active"),
    see("spray_plan.rainfast"),
    see("spray_plan.wind_low"),
    see("spray_plan.wind_high"),
    see("spray_plan.needed", default=2.0),
    see("spray_plan.sensitive"),
    see("spray-hours.wind_from"),
    see("spray-hours.sensitive_side"),
    see("spray_plan.delay_cost", default=0.0),
    see("place.station"),
)


def check(values: dict[str, Any]) -> None:
    """Refuse a phone-in that gives neither the air now, nor hours ahead, nor a station that may have them."""
    if values["hours"] or values["station"]:
        return
    for name, example in (("wind", "7 mph"), ("temperature", "78 F"), ("humidity", "45 %")):
        if values[name] is None:
            raise InputError("is missing", where=f"{NAME} {name}", expected=f"{name}='{example}', or hours='...'")


def pose(table: Table, context: Context) -> Problem:
    """See `QUESTION`."""
    judged = judge(table, context)
    told = Told(judged)
    silent = ~judged.told_now & ~judged.told_ahead.any(axis=1)
    return Problem(
        NAME,
        case.OPTIONS,
        "wait",
        case.UNIT,
        case.gain_of(judged),
        bars=case.bars(judged),
        hazards=case.hazards(judged, told.values()),
        needs={"spray_plan.hours": silent},
        recheck=np.ones(len(table), np.int64),
        heads=told.heads(),
        values=told.values(),
        reasons=told.reasons(),
        cautions=told.cautions(),
        quantities=case.quantities(judged),
    )


def in_season(table: Table, context: Context) -> NDArray[np.bool_]:
    """The week asks only where a job is planned."""
    return np.asarray(table.known("hours") | table.known("active"))


QUESTION = Question(
    name=NAME,
    room="weather",
    inputs=INPUTS,
    pose=pose,
    places=Places(kinds=("field", "pasture")),
    size="acres",
    in_season=in_season,
    check=check,
    options_count=len(case.OPTIONS),
)
