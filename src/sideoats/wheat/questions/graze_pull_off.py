"""When do cattle come off this wheat?"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.errors import InputError
from sideoats.problem import Problem
from sideoats.question import Context, Places, Question, Table
from sideoats.vocabulary import see
from sideoats.wheat import asked
from sideoats.wheat import pull_off_case as case
from sideoats.wheat.days import spring_close
from sideoats.wheat.pull_off_words import Told

INPUTS = (
    see("wheat_check.hollow_stem"),
    see("graze-pull-off.stem_growth"),
    see("wheat_check.stage"),
    see("place.hollow_stem_date"),
    *(asked.HEAD, asked.STOCKING, asked.GAIN, asked.VALUE_OF_GAIN, asked.YIELD, asked.PRICE, asked.HARVEST_COST),
    *(see(f"graze-pull-off.{name}") for name in ("loss_rate", "compound", "look_cost")),
    *(asked.PURPOSE, asked.STATION, asked.ACRES),
)


def check(values: dict[str, Any]) -> None:
    """Refuse stems that no hollow stem reaches below the head: they were typed in the wrong unit."""
    stems = values["hollow_stem"]
    if stems is not None and max(stems, default=0.0) > case.LONGEST_STEM:
        raise InputError(
            f"hollow stem of {max(stems):g} cm is longer than one grows while it decides anything",
            where="graze-pull-off hollow_stem",
            expected=f"at most {case.LONGEST_STEM} cm; if these are millimetres write {max(stems):g} mm; "
            "if they are that long give stage=jointing",
        )


def pose(table: Table, context: Context) -> Problem:
    """See `QUESTION`."""
    stem = case.stem_of(table, context)
    gain, day = case.gain_of(case.with_usual(table, context, stem), context, stem)
    told = Told(table, context, stem, day)
    return Problem(
        "graze-pull-off",
        case.OPTIONS,
        "stay",
        case.UNIT,
        gain,
        bars=case.bars(table),
        looks=(case.look_of(table, context, stem, gain),),
        needs=case.needs_of(table, stem),
        recheck=case.recheck(table, stem, case.best_day(gain)),
        delay=case.delay(gain),
        heads=told.heads(),
        values=told.values(),
        reasons=told.reasons(),
        cautions=told.cautions(),
        quantities=case.quantities(stem, day),
    )


def in_season(table: Table, context: Context) -> NDArray[np.bool_]:
    """Wheat with cattle on it, or meant for both and not yet told, from mid winter until that is settled."""
    planned = (table.text("purpose") == "dual") & ~table.known("head")  # whether cattle are on is not on file
    ahead = spring_close(table, context, "hollow_stem_date") >= 0
    cattle = (table.number("head") > 0) | (planned & ahead)
    return np.asarray(cattle & context.region.holds("graze-pull-off", context.on))


QUESTION = Question(
    name="graze-pull-off",
    room="wheat",
    inputs=INPUTS,
    pose=pose,
    places=Places(kinds=("field",), crops=asked.CROPS),
    size="acres",
    in_season=in_season,
    check=check,
    options_count=len(case.OPTIONS),
    stake="grazing",
)
