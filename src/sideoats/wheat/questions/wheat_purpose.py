"""Grain, dual purpose, graze-out or hay for this wheat?"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sideoats.problem import Problem
from sideoats.question import Context, Places, Question, Table
from sideoats.vocabulary import see
from sideoats.wheat import asked
from sideoats.wheat import purpose_case as case
from sideoats.wheat.purpose_words import Told

INPUTS = (
    *(asked.YIELD, asked.PRICE, asked.HARVEST_COST),
    see("wheat-purpose.harvest_acre"),
    *(asked.HEAD, asked.STOCKING, asked.GAIN, asked.VALUE_OF_GAIN),
    see("place.hollow_stem_date", absent="mid March"),
    *(asked.PURPOSE, *asked.HAY),
    see("wheat-purpose.grazed_already"),
    see("place.insured"),
    see("wheat-purpose.agent_asked"),
    *(asked.STATION, asked.ACRES),
)


def pose(table: Table, context: Context) -> Problem:
    """See `QUESTION`."""
    budget = case.budget_of(table, context)
    bars = case.bars(table, budget)
    at = case.standing_of(table, context, budget, np.logical_or.reduce([bar.mask for bar in bars]))
    told = Told(table, context, budget, at)
    return Problem(
        "wheat-purpose",
        case.OPTIONS,
        "grain",
        case.UNIT,
        budget.gain,
        exposure=budget.exposure,
        bars=bars,
        needs=case.needs_of(table, context),
        recheck=case.recheck(budget, context),
        due=np.maximum(budget.stem, 0).astype(np.int64),
        delay=case.delay(budget, at),
        heads=told.heads(),
        values=told.values(),
        reasons=told.reasons(),
        cautions=told.cautions(),
        quantities=case.quantities(budget, at),
    )


def in_season(table: Table, context: Context) -> NDArray[np.bool_]:
    """From the new year until the wheat's use is settled."""
    return np.full(len(table), context.region.holds("wheat-purpose", context.on))


QUESTION = Question(
    name="wheat-purpose",
    room="wheat",
    inputs=INPUTS,
    pose=pose,
    places=Places(kinds=("field",), crops=asked.CROPS),
    size="acres",
    in_season=in_season,
    options_count=len(case.OPTIONS),
    stake="grazing",
)
