"""Is a profile nitrate test worth its cost before nitrogen is bought, and how many cores make it?"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.families import rate_of_an_input as rate
from sideoats.problem import Problem
from sideoats.question import Context, Places, Question, Table
from sideoats.vocabulary import see
from sideoats.wheat import asked
from sideoats.wheat import soil_sampling_case as case
from sideoats.wheat.nitrogen_asked import MATTER, PRICES, check_prices
from sideoats.wheat.soil_sampling_words import Told

INPUTS = (
    *(asked.YIELD, asked.PRICE, *PRICES, MATTER, asked.PURPOSE),
    *(see(f"soil-sampling.{name}") for name in ("variation", "within", "cost", "banded")),
    see("soil_test.profile_nitrogen"),
    see("place.hollow_stem_date", name="close_date", absent="mid March"),
    *(asked.PLANTING, asked.STATION, asked.ACRES),
)
BEFORE = 45  # days before sowing from which sampling is asked about


def check(values: dict[str, Any]) -> None:
    """Refuse half a price of nitrogen, and two."""
    check_prices("soil-sampling", values)


def pose(table: Table, context: Context) -> Problem:
    """See `QUESTION`."""
    test = case.test_of(table, context)
    told = Told(table, context, test)
    return Problem(
        "soil-sampling",
        case.OPTIONS,
        "default",
        case.UNIT,
        test.gain,
        bars=case.bars(test),
        needs=case.needs_of(table, context, test),
        recheck=case.recheck(context, test),
        due=rate.due(test.days),
        delay=rate.delay(test.gain, test.days),
        heads=told.heads(),
        values=told.values(),
        reasons=told.reasons(),
        cautions=told.cautions(),
        quantities=told.quantities(),
    )


def in_season(table: Table, context: Context) -> NDArray[np.bool_]:
    """Some weeks before sowing, and in late winter."""
    until = table.days_until("planting_date", context.on)
    spring = np.full(len(table), context.region.holds("soil-sampling-spring", context.on))
    return np.asarray(((until >= 0) & (until <= BEFORE)) | spring)


QUESTION = Question(
    name="soil-sampling",
    room="wheat",
    inputs=INPUTS,
    pose=pose,
    places=Places(kinds=("field",), crops=asked.CROPS),
    size="acres",
    in_season=in_season,
    options_count=len(case.OPTIONS),
    apart=("purpose", "organic_matter?"),
    check=check,
)
