"""Cotton: heat units against past years, and whether the last bolls will mature before a killing freeze."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.errors import InputError
from sideoats.problem import Problem
from sideoats.question import Context, Places, Question, Table
from sideoats.vocabulary import see
from sideoats.weather.cases import cotton_case as case
from sideoats.weather.cases.cotton_words import Told

NAME = "cotton-pace"
FEWEST = 40  # days from planting within which no cotton blooms; first flowers take 60 to 70
INPUTS = (
    see("cotton-pace.planting_date"),
    see("cotton_map.bloom_date", absent="today"),
    see("cotton_map.nodes_above_white_flower"),
    see("cotton_map.late_value", also=("setting:cotton.late_value",)),
    *(see(f"cotton-pace.{name}") for name in ("cost", "killing_freeze", "heat_per_day", "freeze_date")),
    see("place.station"),
)


def check(values: dict[str, Any]) -> None:
    """Refuse a bloom on cotton just planted."""
    planted, bloomed = values["planting_date"], values["bloom_date"]
    if planted is not None and bloomed is not None and abs(after := (bloomed - planted).days) < FEWEST:
        what = f"{after} days after planting is too soon for a bloom"
        raise InputError(what, where=f"{NAME} bloom_date", expected=f"{FEWEST} days or more, or another planting_date")


def pose(table: Table, context: Context) -> Problem:
    """See `QUESTION`."""
    found = case.case_of(table, context)
    gain, told = case.gain_of(found), Told(found)
    return Problem(
        NAME,
        case.OPTIONS,
        "let-go",
        case.UNIT,
        gain,
        looks=case.looks(found, gain),
        needs=case.needs(found, gain),
        recheck=found.again(),
        due=np.where(found.sketched & ~found.early, case.READ_STATION, -1),
        heads=told.heads(),
        values=told.values(),
        reasons=told.reasons(),
        cautions=told.cautions(),
        quantities=case.quantities(found),
    )


def in_season(table: Table, context: Context) -> NDArray[np.bool_]:
    """While blooms may still make a boll, and bolls wait for a freeze."""
    return np.full(len(table), context.region.holds(NAME, context.on))


QUESTION = Question(
    name=NAME,
    room="weather",
    inputs=INPUTS,
    pose=pose,
    places=Places(kinds=("field",), crops=("cotton",)),
    size="acres",
    check=check,
    in_season=in_season,
    options_count=len(case.OPTIONS),
    stake="bolls",
)
