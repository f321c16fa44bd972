"""How many head does this wheat carry?"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.problem import Problem
from sideoats.question import Context, Places, Question, Table
from sideoats.vocabulary import see
from sideoats.wheat import asked, standing_forage
from sideoats.wheat import stocking_case as case
from sideoats.wheat.stocking_words import Told

INPUTS = (
    see("wheat_check.forage"),
    see("wheat_check.height"),
    see("asked.wheat_growth", name="growth"),
    see("stocking-rate.days", absent="to first hollow stem"),
    *(asked.WEIGHT, asked.GAIN, asked.VALUE_OF_GAIN),
    see("stocking-rate.head_cost"),
    *(asked.HEAD, asked.STOCKING, asked.PURPOSE, asked.PLANTING),
    see("place.hollow_stem_date", absent="mid March"),
    *(asked.STATION, asked.ACRES),
)
SINCE = (30, 170)  # days after sowing between which wheat is stocked


def check(values: dict[str, Any]) -> None:
    """Refuse a weight that no animal has."""
    asked.check_weight(values, "stocking-rate")


def pose(table: Table, context: Context) -> Problem:
    """See `QUESTION`."""
    asked_days, table = table.known("days"), case.with_days(table, context)
    forage = standing_forage.forage_of(table, context)
    carried = case.carried_of(table, context, forage)
    told = Told(table, context, forage, carried, asked_days)
    needs = {"stocking-rate.days": ~table.known("days"), **standing_forage.needs_of(table, forage)}
    return Problem(
        "stocking-rate",
        case.OPTIONS,
        "none",
        case.UNIT,
        case.gain_of(table, context, forage),
        bars=case.bars(context, forage, carried),
        needs={of: rows & ~carried.past for of, rows in needs.items()},
        recheck=np.full(len(table), case.FORTNIGHT),
        delay=case.delay(carried, forage),
        heads=told.heads(),
        values=told.values(),
        reasons=told.reasons(),
        cautions=told.cautions(),
        quantities=case.quantities(table, carried),
    )


def in_season(table: Table, context: Context) -> NDArray[np.bool_]:
    """Wheat that is grazed, from a month after sowing, where the days wanted are on file."""
    since = -table.days_until("planting_date", context.on)
    grazed = np.isin(table.text("purpose").astype(str), ["dual", "graze-out"]) | (table.number("head") > 0)
    return np.asarray(grazed & (since >= SINCE[0]) & (since <= SINCE[1]) & table.known("days"))


QUESTION = Question(
    name="stocking-rate",
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
