"""What does this soil test slip ask for: phosphorus, potassium, lime; and what in it is toxic to wheat?"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.errors import InputError
from sideoats.families import rate_of_an_input as rate
from sideoats.problem import Line, Problem
from sideoats.question import Context, Places, Question, Table
from sideoats.vocabulary import see
from sideoats.wheat import asked
from sideoats.wheat import soil_test_case as case
from sideoats.wheat.soil_test_words import Told
from sideoats.words import Name

SEEN = ("phosphorus", "extractant", "potassium", "ph", "aluminum", "lime_need", "salt", "salt_extract")
ASKED = ("lime_content", "lime_price", "no_till", "phosphate_price", "potash_price", "banded", "product_price", "cost")
INPUTS = (
    *(asked.YIELD, asked.PRICE),
    *(see(f"soil_test.{name}") for name in SEEN),
    *(see(f"soil-test.{name}") for name in ASKED),
    see("asked.nitrogen_price", name="nitrogen_price"),
    *(asked.PLANTING, asked.ACRES),
)
BEFORE = 45  # days before sowing from which a slip is asked about


def check(values: dict[str, Any]) -> None:
    """Refuse a slip without a test, phosphorus alone in a foreign extractant, and DAP whose nitrogen has no price."""
    if all(values[k] is None for k in (*case.TESTED, "salt")):
        raise InputError(
            "no test is given", where="soil-test", expected="phosphorus= with extractant=, potassium=, ph= or salt="
        )
    alone = all(values[k] is None for k in ("potassium", "ph", "salt"))
    if alone and values["phosphorus"] is not None and values["extractant"] not in case.CALIBRATED:
        raise InputError(
            f"phosphorus by {values['extractant'] or 'an unnamed extractant'}",
            where="soil-test extractant",
            expected=" or ".join(case.CALIBRATED),
            todo="use a table made for that extractant; the numbers are not exchanged",
        )
    if values["product_price"] is not None and values["nitrogen_price"] is None:
        raise InputError(
            "is missing", where="soil-test nitrogen_price", expected="such as 0.60 USD/lb, to value DAP's nitrogen"
        )


def pose(table: Table, context: Context) -> Problem:
    """See `QUESTION`."""
    slip = case.slip_of(table, context)
    money = case.money_of(table, context, slip)
    needs = case.needs_of(table, context)
    told = Told(table, context, slip, money)
    untested = slip.acid & ~table.known("aluminum") & ~slip.sown
    return Problem(
        "soil-test",
        case.options_of(slip),
        "none",
        case.UNIT,
        money.gain,
        bars=case.bars(slip),
        needs=needs,
        recheck=case.recheck(table, context, slip, money),
        looks=(money.lime_test(slip, untested, context.facts.value("wheat/lime.aluminum_test")),),
        line=Line(slip.any_asked, slip.any_asked & rate.now(slip.days), {"by": Name(told.publisher)}),
        due=case.due(slip, money),
        delay=case.delay(slip, money),
        heads=told.heads(),
        values=told.values(),
        reasons=told.reasons(),
        cautions=told.cautions(),
        quantities=told.quantities(),
    )


def in_season(table: Table, context: Context) -> NDArray[np.bool_]:
    """A slip is on file and sowing is within some weeks."""
    until = table.days_until("planting_date", context.on)
    tested = np.any([table.known(name) for name in case.TESTED], axis=0)
    return np.asarray(tested & (until >= 0) & (until <= BEFORE))


QUESTION = Question(
    name="soil-test",
    room="wheat",
    inputs=INPUTS,
    pose=pose,
    places=Places(kinds=("field",), crops=asked.CROPS),
    size="acres",
    in_season=in_season,
    options_count=len(case.WAYS),
    apart=("salt?", "no_till", "product_price?", "aluminum?"),
    check=check,
)
