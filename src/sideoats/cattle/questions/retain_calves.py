"""Sell the calves at weaning, or own them on: wheat pasture to March, graze-out, or a dry lot."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.cattle import answering, budget, tools, wheat_season
from sideoats.cattle import retain_case as case
from sideoats.cattle import retain_ruling as ruling
from sideoats.cattle.retain_words import Told
from sideoats.families.own_and_sell import net_worth_of, risk_figures, without
from sideoats.problem import Problem
from sideoats.question import Context, Places, Question, Table
from sideoats.vocabulary import see
from sideoats.words import LongDay, Money, Paid

OWN = (
    "spring_price", "lot_price", "slide", "futures", "basis", "basis_sd", "volatility", "pasture_end", "grazeout_end",
    "lot_days", "pasture_gain", "lot_gain", "pasture_per_gain", "pasture_per_day", "lot_per_day", "grain_given_up",
    "feed_bought", "pasture_chance", "health", "freight", "selling",
)  # fmt: skip
INPUTS = (
    see("calf_weighing.weight", needed=True, example="500 lb"),
    see("calf_weighing.price"),
    see("calf_weighing.later_price", example="215 USD/cwt"),
    see("calf_weighing.turnout"),
    *(see(f"retain-calves.{name}") for name in OWN),
    *(see(f"price-floor.{name}") for name in tools.FIELDS),
    see("calf_weighing.acres"),
    see("place.calf_head", name="head"),
    see("sale_plan.sale", example="2026-11-05"),
    *answering.treatment_fields("calf_treatment", "any of them"),
    see("asked.interest"),
    see("calf_weighing.death", example="1.5 %"),
    see("cull-cows.shrink_now"),
    see("cull-cows.shrink_later"),
    *answering.WEIGHT_QUOTES,
    see("bin-hold.aversion"),
    see("bin-hold.worth"),
    see("place.station"),
)


def pose(table: Table, context: Context) -> Problem:
    """See `QUESTION`."""
    plan = case.plan_of(table, context)
    pasture, judged = wheat_season.pasture_comes(table, context)
    spreads = case.spreads_of(table, context, plan)
    gain = case.gain_of(table, context, plan, pasture, spreads[0])
    to_sale, held = table.days_until("sale", context.on), answering.withdrawal(table, context)
    economic = ruling.economic_bars(table, context, plan, pasture)
    bars = (ruling.withdrawal_bar(held, plan, to_sale), *economic)
    barred = np.logical_or.reduce([np.broadcast_to(bar.mask, plan.days.shape) for bar in bars])
    at = ruling.reference(gain, barred)
    chosen = case.chosen_in_march(context, plan, gain)
    kept = case.kept_of(table, context, plan, pasture, gain, barred, spreads)
    days = plan.days[np.arange(len(table)), kept.way]
    own = tools.tool_bars(table, context, kept.tools, days, before=len(case.WAYS) + 1)
    bars = (*ruling.with_tools(bars, kept.way), *own, ruling.little_to_choose(gain, chosen, barred))
    shut = np.logical_or.reduce([bar.mask for bar in bars])
    closed = np.logical_or.reduce([bar.mask for bar in economic])[:, 1:].all(axis=1)
    needs = {
        "calf_weighing.weight": ~table.known("weight"), "calf_weighing.price": np.isnan(plan.price[:, 0]),
    }  # fmt: skip
    silent = np.logical_or.reduce(list(needs.values()))
    told = Told(
        table,
        context,
        plan,
        gain,
        barred,
        economic,
        at,
        pasture,
        judged,
        silent,
        kept,
        shut[:, len(case.WAYS) + 1 :],
        chosen,
    )
    dear, cheap = told.odd().rows, told.underfed().rows
    odd, last_year = np.asarray(dear | cheap), case.turnout_of_last_year(table, context, plan) & ~silent
    last_year &= ~odd
    strange = np.isfinite(kept.strange) & ~odd & ~silent
    silent |= odd | last_year
    # futures are no bid: what these calves bring over them is asked for
    bare = table.known("futures") & ~table.known("basis") & ~table.known("later_price") & ~odd & ~strange & ~silent
    expected = plan.price[np.arange(len(table)), kept.way]
    high = tools.too_good(table, context, expected) & ~odd & ~strange & ~bare & ~silent
    silent |= strange | bare | high
    whole = np.concatenate([gain, chosen[:, :, None], kept.gain], axis=2)
    unslid, bid_more = tools.slide_decides(table, context, kept.tools, whole, shut)
    unslid &= ~silent
    needs |= {"price-floor.forward_slide": unslid}
    closed &= ~told.split()  # what the wheat carries is kept and the rest sold, whatever a lot would cost
    needs |= {
        "calf_weighing.later_price": dear, "price-floor.put_premium": strange, "retain-calves.basis": bare,
        "price-floor.forward_weight": high, "retain-calves.lot_per_day": closed & ~silent | cheap,
        "calf_weighing.turnout": last_year,
    }  # fmt: skip
    return Problem(
        "retain-calves",
        case.OPTIONS,
        "sell_now",
        case.UNIT,
        whole,
        bars=bars,
        hazards=ruling.hazards(held, table, to_sale),
        needs=needs,
        due=ruling.due(to_sale),
        delay=ruling.delay_with_tools(ruling.delay(plan, gain, at, to_sale)),
        recheck=np.full(len(table), case.WEEK),
        size=table.number("head"),
        aversion=table.number("aversion"),
        net_worth=net_worth_of(
            table.number("worth"),
            table.number("head") * budget.value(table.number("weight"), plan.price[:, 0]),
            context.facts.value("decide/attitude.net_worth"),
        ),
        heads=(
            (strange, "price-floor.premium.need"),
            (bare, "price-floor.basis.need"),
            (high, "price-floor.high.need"),
            (unslid, "price-floor.slide.need"),
            (odd, "retain-calves.odd.need"),
            (last_year, "retain-calves.turnout.need"),
            (told.split(), "retain-calves.split.act"),
            (told.split(), "retain-calves.split.wait"),
            (closed & ~silent, "retain-calves.ways.need"),
        ),
        values=told.values()
        | {"turned_out": LongDay(table.date("turnout"))}
        | {
            "forward": Paid(np.nan_to_num(table.number("forward_price")), unit="USD/cwt"),
            "expected": Paid(np.nan_to_num(expected), unit="USD/cwt"),
            "bid_more": Money(np.nan_to_num(bid_more), unit=case.UNIT),
        },
        reasons=told.reasons(),
        cautions=told.cautions(),
        quantities=without(ruling.quantities(table, context, plan, gain, chosen, barred, at, pasture), odd | closed),
        ruled=risk_figures(case.OPTIONS, shut, case.UNIT, "sell_now"),
        uses=case.uses_of(plan, len(case.OPTIONS), table.number("head")),
        flows=case.flows_of(plan, gain, len(case.OPTIONS), to_sale),
        drawn=told.drawn,
    )


def check(values: dict[str, Any]) -> None:
    """Refuse half of a treatment, of a put and of an insurance."""
    answering.check_treatment(values, "retain-calves")
    tools.check(values, "retain-calves")


def in_season(table: Table, context: Context) -> NDArray[np.bool_]:
    """Pens of weaned calves with a weight on file, while wheat to graze stands or is near enough to wait for."""
    return table.known("weight") & ~wheat_season.stay(table, context).no_wheat[:, 0]


QUESTION = Question(
    name="retain-calves",
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
