"""Did the freeze hurt this wheat, and what is it still worth?"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.errors import InputError
from sideoats.problem import Problem
from sideoats.question import Context, Places, Question, Table
from sideoats.vocabulary import see
from sideoats.wheat import asked
from sideoats.wheat import freeze_case as case
from sideoats.wheat.days import DUE_DAYS
from sideoats.wheat.freeze_night import coming_of, night_of, read_tables, station_nights
from sideoats.wheat.freeze_words import Told

INPUTS = (
    see("wheat_check.stage", also=("place.stage",)),
    see("freeze_night.low", absent="the station's nights"),
    see("freeze_night.hours"),
    see("freeze_night.night"),
    see("freeze_night.crown_low"),
    see("freeze_night.snow", absent="none is counted on"),
    see("freeze-injury.hardened", absent="by the season, and not after a warm fortnight at the station"),
    see("stem_split.split"),
    see("stem_split.dead"),
    *(asked.YIELD, asked.PRICE, asked.HARVEST_COST),
    *asked.HAY,
    *(asked.HEAD, asked.STOCKING, asked.GAIN, asked.VALUE_OF_GAIN, asked.PLANTING, asked.STATION, asked.ACRES),
)


def check(values: dict[str, Any]) -> None:
    """Refuse more stems dead than were split."""
    split, dead = values["split"], values["dead"]
    if split is not None and dead is not None and dead > split:
        raise InputError(
            f"{dead:g} stems dead are more than the {split:g} split",
            where="freeze-injury dead",
            expected="dead stems among those split",
        )


def pose(table: Table, context: Context) -> Problem:
    """See `QUESTION`."""
    night = night_of(table, context)
    injury = case.injury_of(table, context, night)
    bars = case.bars(night, injury)
    closed = np.logical_or.reduce([bar.mask for bar in bars])
    needs = case.needs_of(table, night, injury, closed)
    told = Told(table, context, night, injury, needs)
    return Problem(
        "freeze-injury",
        case.OPTIONS,
        "keep",
        case.UNIT,
        injury.gain,
        exposure=injury.exposure,
        bars=bars,
        looks=(case.look_of(table, context, night, injury, closed),),
        needs=needs,
        recheck=case.recheck(night, injury, needs),
        due=np.full(len(table), DUE_DAYS),
        heads=told.heads(),
        values=told.values(),
        reasons=told.reasons(),
        cautions=told.cautions(),
        quantities=case.quantities(night, injury),
    )


def in_season(table: Table, context: Context) -> NDArray[np.bool_]:
    """Fields with a freeze on file; those whose station had a night near freezing in spring, or one forecast, or one in
    winter that is cold at the crown; and in spring those whose station lacks nights."""
    low, _, _, gone = station_nights(table, context)
    spring = context.region.holds("freeze-injury", context.on)
    coldest = max(float(row[1]) for read in read_tables(context.facts) for row in read.rows)
    ahead = coming_of(table, context, np.full(len(table), coldest)).likely
    cold = (low <= coldest) | ahead | (gone > context.facts.value("wheat/freeze.nights_missing"))
    winter = context.region.holds("wheat-winter", context.on)
    crown = (low <= context.facts.value("wheat/winterkill.asked_below")) & winter
    return np.asarray((spring & cold) | crown | table.known("low") | table.known("split"))


QUESTION = Question(
    name="freeze-injury",
    room="wheat",
    inputs=INPUTS,
    pose=pose,
    places=Places(kinds=("field",), crops=asked.CROPS),
    size="acres",
    in_season=in_season,
    check=check,
)
