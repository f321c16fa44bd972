"""Topdress nitrogen now, how much, or wait and look?"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.errors import InputError
from sideoats.problem import Problem
from sideoats.question import Context, Places, Question, Table
from sideoats.vocabulary import see
from sideoats.wheat import asked
from sideoats.wheat import topdress_case as case
from sideoats.wheat.days import DUE_DAYS, spring_close
from sideoats.wheat.nitrogen_asked import MATTER, PRICES, check_prices
from sideoats.wheat.topdress_words import Told

INPUTS = (
    *(asked.YIELD, asked.PRICE, *PRICES, MATTER),
    see("soil_test.profile_nitrogen"),
    see("soil_test.nitrate_ppm"),
    see("place.nitrogen_applied", name="applied"),
    see("wheat_check.stage", also=("place.stage",)),
    *(see(f"topdress-nitrogen.{name}") for name in ("publisher", "wheat_class", "previous")),
    asked.PURPOSE,
    *(see(f"topdress-nitrogen.{name}") for name in ("slope", "bend", "cost", "look_cost")),
    see("place.hollow_stem_date", name="close_date"),
    see("topdress-nitrogen.sandy"),
    *(asked.PLANTING, asked.STATION, asked.ACRES),
)


def check(values: dict[str, Any]) -> None:
    """Refuse half a response, half a price, and a slip of one publisher for the table of another."""
    check_prices("topdress-nitrogen", values)
    if (values["slope"] is None) != (values["bend"] is None):
        raise InputError(
            "slope and bend go together", where="topdress-nitrogen", expected="slope=0.40 bu/lb bend=-0.0018"
        )
    if values["publisher"] == "nebraska" and values["profile_nitrogen"] is not None and values["nitrate_ppm"] is None:
        raise InputError(
            "the Nebraska table goes by nitrate in ppm",
            where="topdress-nitrogen profile_nitrogen",
            expected="nitrate_ppm=6",
        )
    if values["nitrate_ppm"] is not None and values["publisher"] not in (None, "nebraska", "kansas"):
        raise InputError(
            "nitrate in ppm belongs to the Nebraska table",
            where="topdress-nitrogen nitrate_ppm",
            expected="profile_nitrogen in lb/ac",
            todo="systems of credits are not mixed",
        )


def pose(table: Table, context: Context) -> Problem:
    """See `QUESTION`."""
    season = case.season_of(table, context)
    crop = case.crop_of(table, context, season)
    gain = case.gain_of(table, context, crop)
    bars = case.bars(context, season, gain)
    closed = np.logical_or.reduce([bar.mask for bar in bars])
    wanted = case.stage_asked(table, context, crop, season, gain)
    told = Told(table, context, season, crop, gain, closed, wanted)
    return Problem(
        "topdress-nitrogen",
        case.OPTIONS,
        "none",
        case.UNIT,
        gain,
        bars=bars,
        looks=(case.look_of(season, gain, closed), case.stage_look(wanted, gain)),
        needs=case.needs_of(table, crop, season, wanted),
        recheck=case.recheck(season, context),
        due=np.maximum(season.close, 0).astype(np.int64),
        delay=case.delay(context, season, gain),
        heads=told.heads(),
        values=told.values(),
        reasons=told.reasons(),
        cautions=told.cautions(),
        quantities=case.quantities(crop, season),
        drawn=told.drawn,
    )


def in_season(table: Table, context: Context) -> NDArray[np.bool_]:
    """From the new year to a week past the close."""
    spring = context.region.holds("topdress-nitrogen", context.on)
    return np.asarray(spring & (spring_close(table, context, "close_date") >= -DUE_DAYS))


QUESTION = Question(
    name="topdress-nitrogen",
    room="wheat",
    inputs=INPUTS,
    pose=pose,
    places=Places(kinds=("field",), crops=asked.CROPS),
    size="acres",
    in_season=in_season,
    check=check,
    options_count=len(case.OPTIONS),
)
