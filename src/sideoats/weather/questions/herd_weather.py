"""Heat or cold on a herd: now, and in the coming week. Water, shade, feed; when not to work cattle."""

from __future__ import annotations

from typing import Any

import numpy as np

from sideoats.errors import InputError
from sideoats.problem import Problem
from sideoats.question import Context, Places, Question, Table
from sideoats.vocabulary import see
from sideoats.weather.cases import herd_case as case
from sideoats.weather.cases.herd_words import Told

NAME = "herd-weather"
INPUTS = (
    see("herd_air.temperature"),
    see("herd_air.humidity"),
    see("herd_air.dewpoint"),
    see("herd_air.wind", absent="calm"),
    see("herd_air.radiation", absent="a clear afternoon"),
    see("herd-weather.night_low"),
    see("forecast.days", name="forecast"),
    see("herd_air.coat", absent="by the season"),
    see("place.shelter", default=False),
    see("place.susceptible", default=False),
    see("herd_air.work"),
    see("place.daily_gain", name="gain"),
    see("asked.value_of_gain"),
    see("herd-weather.cost"),
    see("place.daily_hay", name="hay"),
    see("herd-weather.hay_price"),
    see("place.station"),
)


def check(values: dict[str, Any]) -> None:
    """Refuse a phone-in that gives neither the air now, nor a forecast, nor a station that may have one."""
    if values["forecast"] or values["station"]:
        return
    if values["temperature"] is None:
        raise InputError("is missing", where=f"{NAME} temperature", expected="temperature='98 F', or forecast='...'")


def pose(table: Table, context: Context) -> Problem:
    """See `QUESTION`."""
    at = case.standing_of(table, context)
    gain, exposure = case.gain_of(table, context, at)
    told = Told(at)
    return Problem(
        NAME,
        case.OPTIONS,
        "leave",
        case.UNIT,
        gain,
        exposure=exposure,
        bars=case.bars(at),
        hazards=case.hazards(at, told.values()),
        needs=case.needs(at),
        recheck=case.recheck(at),
        due=np.maximum(at.first_bad, -1),
        heads=told.heads(),
        values=told.values(),
        reasons=told.reasons(),
        cautions=told.cautions(),
        quantities=case.quantities(at),
    )


QUESTION = Question(
    name=NAME,
    room="weather",
    inputs=INPUTS,
    pose=pose,
    places=Places(kinds=("herd", "pen")),
    size="head",
    check=check,
    options_count=24,
    desk_look=True,  # the forecast is to be read
)
