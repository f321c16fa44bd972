"""Sell the cull cows now, or feed them and sell in winter."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.cattle import answering
from sideoats.cattle import cull_case as case
from sideoats.cattle.cull_words import Told
from sideoats.families.own_and_sell import even_odds, risk_figures, without
from sideoats.problem import Problem
from sideoats.question import Context, Places, Question, Table
from sideoats.vocabulary import see

INPUTS = (
    see("cull_weighing.weight", needed=True),
    see("cull_weighing.price", needed=True, also=("quote:cull cow",)),
    see("cull_weighing.later_price"),
    see("cull_weighing.days"),
    see("cull_weighing.gain"),
    see("cull_weighing.cost_per_day", needed=True, also=("setting:cost.cull_cow_day",)),
    see("cull-cows.other_cost"),
    see("cull-cows.feed_bought"),
    see("asked.interest"),
    see("bin-hold.aversion"),
    see("bin-hold.worth"),
    see("cull_weighing.death"),
    *(see(f"cull-cows.{name}") for name in ("shrink_now", "shrink_later")),
    see("cull_weighing.bcs"),
    see("cull-cows.class_step"),
    see("cull_weighing.fit_to_travel", absent="taken as yes for cows that are not thin"),
    see("cull_weighing.ailing", default=False),
    *answering.treatment_fields("cow_treatment", "any of them"),
    see("place.station"),
)
PRICED = ("weight", "price", "cost_per_day")  # what the money cannot do without


def pose(table: Table, context: Context) -> Problem:
    """See `QUESTION`."""
    plan = case.plan_of(table, context)
    gain = case.gain_of(table, context, plan)
    held = answering.withdrawal(table, context)
    bars = case.bars(table, context, plan, held)
    barred = np.logical_or.reduce([np.broadcast_to(bar.mask, plan.days.shape) for bar in bars])
    needed, at = case.needed_price(plan, barred), case.reference(plan, gain, barred)
    ailing, closed = table.flag("ailing"), barred[:, 1:].all(axis=1)
    needs = {f"cull_weighing.{name}": ~table.known(name) for name in PRICED}
    silent = np.logical_or.reduce(list(needs.values()))
    told = Told(table, context, plan, gain, barred, needed, at, silent)
    dear, cheap = told.odd().rows | told.steep().rows, told.underfed().rows
    dear, cheap = dear & ~ailing, cheap & ~ailing  # ailing cows go at once, whatever the later price
    odd = np.asarray(dear | cheap)
    ask = case.price_decides(plan, needed) & ~ailing & ~silent & ~odd
    fat = case.gain_decides(table, context, gain, barred) & ~ask & ~ailing & ~silent & ~odd
    silent |= odd
    coin = even_odds(gain, barred, case.FEEDING, context.facts.value("decide/even_odds")) & ~ailing & ~silent
    return Problem(
        "cull-cows",
        case.OPTIONS,
        "sell_now",
        case.UNIT,
        gain,
        bars=bars,
        hazards=case.hazards(table, context, held, plan),
        needs=needs
        | {
            "cull_weighing.later_price": ask | dear,
            "cull_weighing.cost_per_day": needs["cull_weighing.cost_per_day"] | cheap,
            "cull_weighing.gain": fat,
        },
        due=case.due(table),
        delay=np.where(coin[:, None] & case.FEEDING, 0.0, case.delay(plan, at, ailing)),
        recheck=np.full(len(table), case.WEEK),
        aversion=table.number("aversion"),
        net_worth=table.number("worth"),
        heads=(
            (odd, "cull-cows.odd.need"),
            (ask, "cull-cows.ask.need"),
            (fat, "cull-cows.fat.need"),
            (ailing, "cull-cows.ailing.act"),
            (closed & ~ailing, "cull-cows.closed.act"),
            (coin, "cull-cows.coin.wait"),
        ),
        values=told.values(),
        reasons=told.reasons(),
        cautions=told.cautions(),
        quantities=without(case.quantities(plan, gain, at), odd),
        ruled=risk_figures(case.OPTIONS, barred, case.UNIT, "sell_now"),
        drawn=told.drawn,
    )


def check(values: dict[str, Any]) -> None:
    """Refuse half of a treatment."""
    answering.check_treatment(values, "cull-cows")


def in_season(table: Table, context: Context) -> NDArray[np.bool_]:
    """Pens with weighed cull cows, from weaning to the end of winter."""
    return table.known("weight") & context.region.holds("cull-cows", context.on)


QUESTION = Question(
    name="cull-cows",
    room="cattle",
    inputs=INPUTS,
    pose=pose,
    places=Places(kinds=("herd", "pen")),
    size="cull_head",
    in_season=in_season,
    options_count=len(case.OPTIONS),
    check=check,
)
