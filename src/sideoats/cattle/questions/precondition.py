"""Is it worth weaning, vaccinating and feeding the calves before selling them?"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.cattle import answering
from sideoats.cattle import precondition_case as case
from sideoats.cattle.precondition_words import Told
from sideoats.cattle.usual_season import usual_span
from sideoats.families.own_and_sell import even_odds, risk_figures, turns_inside, without
from sideoats.problem import Problem
from sideoats.question import Context, Places, Question, Table
from sideoats.vocabulary import see

INPUTS = (
    see("calf_weighing.weight", needed=True, example="525 lb"),
    see("calf_weighing.price"),
    see("calf_weighing.later_price", example="236 USD/cwt"),
    see("sale_plan.premium", needed=True, also=("setting:premium.weaned_45",), example="5, 8 USD/cwt"),
    see("precondition.premium_chance"),
    see("sale_plan.program_days", name="days"),
    see("sale_plan.sale", example="2026-10-20"),
    see("calf_weighing.gain"),
    see("calf_weighing.feed_per_day", needed=True, also=("setting:cost.calf_feed_day",)),
    see("precondition.labor_per_day"),
    see("precondition.health", needed=True),
    see("precondition.selling"),
    see("precondition.feed_bought"),
    *answering.treatment_fields("calf_treatment", "any of them"),
    see("asked.interest"),
    see("bin-hold.aversion"),
    see("bin-hold.worth"),
    see("calf_weighing.death", example="1 %"),
    see("precondition.shrink_now"),
    see("precondition.shrink_later"),
    *answering.WEIGHT_QUOTES,
)
PRICED = {
    "weight": "calf_weighing.weight", "premium": "sale_plan.premium", "feed_per_day": "calf_weighing.feed_per_day",
    "health": "precondition.health",
}  # fmt: skip


def pose(table: Table, context: Context) -> Problem:
    """See `QUESTION`."""
    program = case.program_of(table, context)
    gain = case.gain_of(table, context, program)
    held = answering.withdrawal(table, context)
    bars, span = case.bars(held, program), usual_span(context, "cattle/season.calves.to_sale")
    needs = {of: ~table.known(name) for name, of in PRICED.items()}
    needs["calf_weighing.price"] = ~np.isfinite(program.given["start_price"])
    later = np.isfinite(program.given["start_price"]) & ~np.isfinite(program.given["later_price"])
    silent = np.logical_or.reduce(list(needs.values())) | later
    told = Told(table, context, program, gain, span, silent)
    dear, cheap = told.odd().rows | told.steep().rows, told.underfed().rows
    odd = np.asarray(dear | cheap)
    least, most = program.at_season(span[0]), program.at_season(span[1])
    ask = turns_inside(least, most, span, table.known("later_price")) & ~silent & ~odd
    silent |= odd
    past = program.to_sale + np.nan_to_num(table.age_days("sale")) < 0  # so when it was recorded: a slip
    shut, enough = bars[0].mask, context.facts.value("decide/even_odds")
    coin = even_odds(gain, shut, np.array([False, True]), enough) & ~silent
    worth = gain.mean(axis=1)[:, 1]
    return Problem(
        "precondition",
        case.OPTIONS,
        "sell_now",
        case.UNIT,
        gain,
        bars=bars,
        hazards=case.hazards(held, program),
        needs=needs
        | {
            "calf_weighing.later_price": later | ask | dear,
            "calf_weighing.feed_per_day": needs["calf_weighing.feed_per_day"] | cheap,
            "sale_plan.sale": past,
        },
        due=case.due(program, (worth > 0).astype(np.int64)),
        delay=case.delay(program, np.where(coin, 0.0, worth)),
        recheck=np.full(len(table), case.WEEK),
        aversion=table.number("aversion"),
        net_worth=table.number("worth"),
        heads=(
            (odd, "precondition.odd.need"),
            (later, "precondition.later.need"),
            (past & ~needs["calf_weighing.price"], "precondition.past.need"),
            (ask, "precondition.ask.need"),
            (bars[0].mask[:, 1], "precondition.inside.act"),
            (bars[0].mask[:, 1], "precondition.inside.wait"),
            (coin, "precondition.coin.wait"),
        ),
        values=told.values(),
        reasons=told.reasons(),
        cautions=told.cautions(),
        quantities=without(case.quantities(program, gain), odd),
        ruled=risk_figures(case.OPTIONS, bars[0].mask, case.UNIT, "sell_now"),
        drawn=told.drawn,
    )


def check(values: dict[str, Any]) -> None:
    """Refuse half of a treatment."""
    answering.check_treatment(values, "precondition")


def in_season(table: Table, context: Context) -> NDArray[np.bool_]:
    """Calves with a weight and a sale plan on file, from late summer to the end of the weaning runs."""
    planned = table.known("premium") | table.known("days")
    return table.known("weight") & planned & context.region.holds("precondition", context.on)


QUESTION = Question(
    name="precondition",
    room="cattle",
    inputs=INPUTS,
    pose=pose,
    places=Places(kinds=("herd", "pen")),
    size="calf_head",
    in_season=in_season,
    options_count=len(case.OPTIONS),
    check=check,
    stake="calves",
)
