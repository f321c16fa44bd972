"""Which wheat varieties to sow here next?"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.errors import InputError
from sideoats.families import rate_of_an_input as rate
from sideoats.problem import Problem
from sideoats.question import Context, Places, Question, Table
from sideoats.vocabulary import see
from sideoats.wheat import asked
from sideoats.wheat import variety_case as case
from sideoats.wheat.variety_results import RESTS_ON, management_of, offered, table_of_row
from sideoats.wheat.variety_words import Told

INPUTS = (
    *(see(f"variety-choice.{name}") for name in ("trials", "unit", "level")),
    replace(see("variety_trial.means"), found_in=("history:variety_trial.means",)),  # all tables on file speak
    see("variety-choice.management"),
    see("variety_trial.like_site", name="site", absent="a new site"),
    see("variety-choice.candidates"),
    see("place.variety", name="current"),
    *(see(f"variety-choice.{name}") for name in ("size", "risk", "cost")),
    *(asked.YIELD, asked.PRICE, asked.PURPOSE, asked.PLANTING, asked.STATION, asked.ACRES),
)
BEFORE = 75  # days before sowing from which varieties are asked about


def check(values: dict[str, Any]) -> None:
    """Refuse trials given twice or not at all, and varieties that they do not hold."""
    if (values["trials"] is None) == (values["means"] is None):
        raise InputError(
            "a trial is needed, once",
            where="variety-choice",
            expected="trials=FILE or means=variety=A, ...; variety=B, ...",
        )
    whole = table_of_row(values)
    whole.managed(management_of(values, whole))
    for name in offered(values["candidates"]):
        if name not in whole.varieties:
            raise InputError(
                f"{name!r} is not in the trials",
                where="variety-choice candidates",
                expected=", ".join(whole.varieties[:40]),
            )


def pose(table: Table, context: Context) -> Problem:
    """See `QUESTION`."""
    choices = case.choices_of(table, context)
    told = Told(table, context, choices)
    return Problem(
        "variety-choice",
        case.options_of(choices),
        "keep",
        case.UNIT,
        choices.gain,
        bars=case.bars(table, choices),
        needs=case.needs_of(table, context, choices),
        recheck=case.recheck(context, choices),
        due=rate.due(choices.days),
        delay=rate.delay(choices.gain, choices.days),
        heads=told.heads(),
        values=told.values(),
        reasons=told.reasons(),
        cautions=told.cautions(),
        quantities=case.quantities(table, choices),
    )


def in_season(table: Table, context: Context) -> NDArray[np.bool_]:
    """Before sowing, where trials are on file."""
    until = table.days_until("planting_date", context.on)
    return np.asarray((until >= 0) & (until <= BEFORE) & table.known("means"))


QUESTION = Question(
    name="variety-choice",
    room="wheat",
    inputs=INPUTS,
    pose=pose,
    places=Places(kinds=("field",), crops=asked.CROPS),
    size="acres",
    in_season=in_season,
    check=check,
    options_count=case.MOST + 1,
    apart=(*RESTS_ON, "candidates", "current"),
)
