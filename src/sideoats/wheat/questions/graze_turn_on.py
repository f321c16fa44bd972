"""When may cattle go onto this wheat?"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.problem import Problem
from sideoats.question import Context, Places, Question, Table
from sideoats.vocabulary import see
from sideoats.wheat import asked, standing_forage
from sideoats.wheat import turn_on_case as case
from sideoats.wheat.turn_on_words import Told

INPUTS = (
    *(see(f"wheat_check.{name}") for name in ("rooted", "stage", "forage", "height")),
    see("asked.wheat_growth", name="growth"),
    *(asked.HEAD, asked.STOCKING, asked.WEIGHT, asked.GAIN, asked.VALUE_OF_GAIN),
    see("place.hollow_stem_date", name="off_date", absent="mid March"),
    *(asked.PURPOSE, asked.PLANTING, asked.STATION, asked.ACRES),
)
SINCE = (30, 130)  # days after sowing between which wheat is turned onto


def check(values: dict[str, Any]) -> None:
    """Refuse a weight that no animal has."""
    asked.check_weight(values, "graze-turn-on")


def pose(table: Table, context: Context) -> Problem:
    """See `QUESTION`."""
    forage, end = standing_forage.forage_of(table, context), case.end_of(table, context)
    past, gain = case.past_stem(table, context), case.gain_of(table, forage, context, end)
    bars = case.bars(table, context, forage, past)
    barred = np.logical_or.reduce([bar.mask for bar in bars])
    best = case.first_open(gain, barred)
    told = Told(table, context, forage, end, past, best)
    return Problem(
        "graze-turn-on",
        case.OPTIONS,
        "off",
        case.UNIT,
        gain,
        bars=bars,
        needs=case.needs_of(table, standing_forage.needs_of(table, forage), past),
        recheck=case.recheck(best),
        delay=case.delay(gain, barred),
        heads=told.heads(),
        values=told.values(),
        reasons=told.reasons(),
        cautions=told.cautions(),
        quantities=case.quantities(table, forage, end),
    )


def in_season(table: Table, context: Context) -> NDArray[np.bool_]:
    """Wheat that is grazed, from a month after sowing."""
    since = -table.days_until("planting_date", context.on)
    grazed = np.isin(table.text("purpose").astype(str), ["dual", "graze-out"]) | (table.number("head") > 0)
    return np.asarray(grazed & (since >= SINCE[0]) & (since <= SINCE[1]))


QUESTION = Question(
    name="graze-turn-on",
    room="wheat",
    inputs=INPUTS,
    pose=pose,
    places=Places(kinds=("field",), crops=asked.CROPS),
    size="acres",
    in_season=in_season,
    options_count=len(case.OPTIONS),
    stake="grazing",
    check=check,
)
