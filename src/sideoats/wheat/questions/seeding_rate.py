"""How many pounds of wheat to sow, and is the drill set right?"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.errors import InputError
from sideoats.families import rate_of_an_input as rate
from sideoats.problem import Problem
from sideoats.question import Context, Places, Question, Table
from sideoats.vocabulary import see
from sideoats.wheat import asked
from sideoats.wheat import seeding_rate_case as case
from sideoats.wheat.seeding_rate_words import Told

INPUTS = (
    *(see(f"seed_lot.{name}") for name in ("seeds_per_lb", "kernel_weight")),
    see("seed_lot.target", absent="the published rate"),
    *(see(f"seed_lot.{name}") for name in ("germination", "emergence")),
    *(see(f"seeding-rate.{name}") for name in ("survival", "precipitation")),
    see("place.irrigated", default=False),
    see("seeding-rate.residue"),
    asked.PURPOSE,
    see("seeding-rate.days_late"),
    asked.ROW_SPACING,
    see("seeding-rate.planned"),
    see("seed_lot.seed_price"),
    see("seed_lot.treated", default=False),
    *(asked.YIELD, asked.PRICE, asked.PLANTING, asked.ACRES),
)
BEFORE = 30  # days before sowing from which the rate is asked about


def check(values: dict[str, Any]) -> None:
    """Refuse a loss counted twice, two sizes of one seed, and a rate that rests on nothing."""
    if values["survival"] is not None and (values["germination"] is not None or values["emergence"] is not None):
        raise InputError(
            "both survival and germination or emergence are given",
            where="seeding-rate",
            expected="survival alone, or germination and emergence",
            todo="a loss would be counted twice",
        )
    if values["seeds_per_lb"] is not None and values["kernel_weight"] is not None:
        raise InputError("both seeds_per_lb and kernel_weight are given", where="seeding-rate", expected="one of them")
    if values["target"] is None and values["precipitation"] is None and not values["irrigated"]:
        raise InputError(
            "neither a target nor the precipitation is known",
            where="seeding-rate",
            expected="target=900000 /ac or precipitation=24 in",
            todo="the published rates go by annual precipitation",
        )


def pose(table: Table, context: Context) -> Problem:
    """See `QUESTION`."""
    sown = case.seed_of(table, context)
    gain = case.gain_of(table, context, sown)
    told = Told(table, context, sown)
    return Problem(
        "seeding-rate",
        case.options_of(sown),
        "keep",
        case.UNIT,
        gain,
        bars=case.bars(sown),
        needs=case.needs_of(sown),
        recheck=case.recheck(sown),
        due=rate.due(sown.days),
        delay=rate.delay(gain, sown.days),
        heads=told.heads(),
        values=told.values(),
        reasons=told.reasons(),
        cautions=told.cautions(),
        quantities=told.quantities(),
    )


def in_season(table: Table, context: Context) -> NDArray[np.bool_]:
    """The weeks before sowing."""
    until = table.days_until("planting_date", context.on)
    return np.asarray((until >= 0) & (until <= BEFORE))


QUESTION = Question(
    name="seeding-rate",
    room="wheat",
    inputs=INPUTS,
    pose=pose,
    places=Places(kinds=("field",), crops=asked.CROPS),
    size="acres",
    in_season=in_season,
    options_count=2,
    apart=("purpose", "residue", "target?", "planned?", "survival?", "germination?", "emergence?", "precipitation?"),
    check=check,
    desk_look=True,  # seed is counted where it is stored, or read from its tag
)
