"""Sow this wheat now, or when, or not at all?"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sideoats.problem import Problem
from sideoats.question import Context, Places, Question, Table
from sideoats.vocabulary import see
from sideoats.wheat import asked
from sideoats.wheat import planting_case as case
from sideoats.wheat.planting_words import Told
from sideoats.wheat.sowing import LAST

INPUTS = (
    see("place.purpose", default="grain"),
    see("place.best_date", absent="any day of the published window"),
    see("wheat-planting.zone"),
    see("place.fly_free", absent="the first day of the grain window"),
    see("wheat_check.top_moist"),
    see("wheat_check.soil_temperature", also=("station:soil_temperature_5", "station:soil_temperature_10")),
    see("wheat_check.volunteer"),
    *(asked.YIELD, asked.PRICE, asked.VALUE_OF_GAIN, asked.HARVEST_COST),
    *asked.HAY,
    see("wheat-planting.cost"),
    see("wheat-planting.instead"),
    see("seed_lot.seed_price"),
    *(asked.STATION, asked.PLANTING, asked.ACRES),
)


def pose(table: Table, context: Context) -> Problem:
    """See `QUESTION`."""
    season, bars = case.posed(table, context)
    closed = np.logical_or.reduce([np.broadcast_to(bar.mask, (len(table), len(case.OPTIONS))) for bar in bars])
    told = Told(table, context, season, closed)
    return Problem(
        "wheat-planting",
        case.OPTIONS,
        "none",
        case.UNIT,
        season.gain,
        bars=bars,
        needs=case.needs_of(table, season, closed),
        recheck=case.recheck(season, context, closed),
        due=case.due(season),
        delay=case.delays(season, closed),
        heads=told.heads(),
        values=told.values(),
        reasons=told.reasons(),
        cautions=told.cautions(),
        quantities=case.quantities(table, context, season),
        drawn=told.drawn,
    )


def in_season(table: Table, context: Context) -> NDArray[np.bool_]:
    """Fields with a planned date within the weeks that are weighed."""
    until = table.days_until("planting_date", context.on)
    return np.asarray((until >= 0) & (until <= LAST))


QUESTION = Question(
    name="wheat-planting",
    room="wheat",
    inputs=INPUTS,
    pose=pose,
    places=Places(kinds=("field",), crops=asked.CROPS),
    size="acres",
    in_season=in_season,
    options_count=len(case.OPTIONS),
    apart=("purpose", "volunteer", "seed_price?", "cost?"),
)
