"""A floor under the price of calves: leave it open, contract forward, sell futures, buy a put, or insure the price."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.cattle import budget, tools
from sideoats.cattle import floor_case as case
from sideoats.cattle.floor_words import Told
from sideoats.families.own_and_sell import net_worth_of, risk_figures, without
from sideoats.problem import Problem
from sideoats.question import Context, Places, Question, Table
from sideoats.vocabulary import see
from sideoats.words import Money, Paid, Share

INPUTS = (
    see("sale_plan.weight", needed=True),
    see("sale_plan.sale", needed=True, also=("place.sale_date",), example="2026-10-20"),
    see("calf_weighing.later_price", name="expected_price", example="270 USD/cwt"),
    *(see(f"price-floor.{name}") for name in ("futures", "basis", "basis_sd", *tools.FIELDS, "head")),
    see("asked.interest"),
    see("bin-hold.aversion"),
    see("bin-hold.worth"),
)


def pose(table: Table, context: Context) -> Problem:
    """See `QUESTION`."""
    f = case.floor_of(table, context)
    bars, needs = case.bars(table, context, f), case.needs(table, f)
    barred = np.logical_or.reduce([bar.mask for bar in bars])
    silent = np.logical_or.reduce(list(needs.values())) | f.past
    told = Told(table, context, f, barred, silent)
    odd = told.odd().rows & ~silent
    level, ending = case.level_slips(table, context)
    level, strange = level & ~silent & ~odd, np.isfinite(f.strange) & ~silent & ~odd
    needs = {**needs, "price-floor.forward_price": odd, "price-floor.insured_level": level,
             "price-floor.put_premium": strange & ~level}  # fmt: skip
    high = tools.too_good(table, context, f.expected) & ~silent & ~odd & ~level & ~strange
    unslid, more = tools.slide_decides(table, context, f.tools, f.gain, barred)
    unslid &= ~(silent | odd | level | strange | high)
    needs = {**needs, "price-floor.forward_weight": high, "price-floor.forward_slide": unslid}
    odd = odd | level | strange | high
    return Problem(
        "price-floor",
        case.OPTIONS,
        "cash",
        case.UNIT,
        f.gain,
        exposure=f.exposure,
        bars=bars,
        needs=needs,
        due=np.full(len(table), case.WEEK),
        recheck=np.full(len(table), case.FORTNIGHT),
        size=table.number("head"),
        aversion=table.number("aversion"),
        net_worth=net_worth_of(
            table.number("worth"),
            table.number("head") * budget.value(table.number("weight"), f.expected),
            context.facts.value("decide/attitude.net_worth"),
        ),
        heads=(
            (level, "price-floor.level.need"),
            (strange, "price-floor.premium.need"),
            (high, "price-floor.high.need"),
            (unslid, "price-floor.slide.need"),
            (odd, "price-floor.odd.need"),
            (needs["price-floor.basis"], "price-floor.basis.need"),
            (needs["price-floor.futures"], "price-floor.tool.need"),
            (f.past, "price-floor.past.need"),
            (barred[:, 1:].all(axis=1), "price-floor.none.wait"),
        ),
        values=told.values()
        | {
            "ending": Paid(ending, unit="USD/cwt"),
            "spread": Share(f.strange),
            "bid_more": Money(np.nan_to_num(more), unit=case.UNIT),
        },
        reasons=told.reasons(odd),
        cautions=told.cautions(),
        quantities=without(case.quantities(table, f), silent | odd),
        ruled=risk_figures(case.OPTIONS, barred, case.UNIT, "cash"),
    )


def in_season(table: Table, context: Context) -> NDArray[np.bool_]:
    """Calves with a sale ahead and something quoted for them."""
    quoted = table.known("futures") | table.known("forward_price") | table.known("insured_price")
    return quoted & table.known("weight") & (table.days_until("sale", context.on) >= 0)


def check(values: dict[str, Any]) -> None:
    """Refuse half of a put and half of an insurance."""
    tools.check(values, "price-floor")


QUESTION = Question(
    name="price-floor",
    room="cattle",
    inputs=INPUTS,
    pose=pose,
    places=Places(kinds=("herd", "pen")),
    size="calf_head",
    in_season=in_season,
    options_count=len(case.OPTIONS),
    check=check,
    desk_look=True,  # a bid, a futures price and an insured price are asked for by telephone
    stake="calves",
)
