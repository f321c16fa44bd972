"""What bars the ways of keeping calves, what waiting costs, and the figures of a call about them."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.cattle import answering, budget
from sideoats.cattle.retain_case import (
    GRAZE_OUT,
    LOT,
    OPTIONS,
    SHORT_WAIT,
    UNIT,
    WAYS,
    WEEK,
    WHEAT,
    WORTH_CHOOSING,
    Plan,
    hold,
    net,
    stocking,
)
from sideoats.cattle.tools import TOOLS
from sideoats.families.own_and_sell import Quantities, sensitivity, turning_points
from sideoats.problem import Barred, Hazard
from sideoats.question import Context, Table
from sideoats.words import Count, Day, Measured, Said, say

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]

CHANGES = {
    "later_price_10_percent_lower": ("end_price", 0.9),
    "later_price_10_percent_higher": ("end_price", 1.1),
    "gain_25_percent_lower": ("gain_factor", 0.75),
    "gain_25_percent_higher": ("gain_factor", 1.25),
    "costs_25_percent_higher": ("cost_factor", 1.25),
    "death_loss_doubled": ("death_share", 2.0),
}
TURNS = {"end_price": "USD/cwt", "gain_factor": "1", "cost_factor": "1"}


def economic_bars(table: Table, context: Context, plan: Plan, pasture: Bools) -> tuple[Barred, ...]:
    """Ways that are closed for want of acres, wheat, costs or prices; the sale stays open."""
    _, heavy, spring = (carried.round() for carried in stocking(table, context))  # as they are told
    head, none = table.number("head"), np.zeros(len(table), bool)
    off, fails = np.column_stack([none, plan.no_wheat, none]), ~pasture.any(axis=1)
    no_pasture_cost = np.isnan(plan.per_gain)
    fed_first = plan.days - plan.pasture_days
    lot_first = (fed_first > np.where(np.arange(4) == LOT, 0, SHORT_WAIT)) & np.isnan(plan.lot_per_day)[:, None]
    lot_first[:, 0] = False
    acres = table.number("acres")
    too_many = say("bar.too_many_head", acres=Measured(acres, unit="ac"), n=Count(np.nan_to_num(heavy)))
    closed = (
        Barred(np.column_stack([none, head > heavy, head > spring, none]), too_many),
        Barred(off, lambda i: _no_wheat(plan, i)),
        Barred(np.column_stack([none, fails, fails, none]) & ~off, say("bar.no_pasture_comes")),
        Barred(np.column_stack([none, no_pasture_cost, no_pasture_cost, none]) & ~off, say("bar.no_pasture_cost")),
        Barred(lot_first & ~off, say("bar.no_lot_cost")),
        Barred(np.isnan(plan.price) & (np.arange(4) > 0), say("bar.no_heavier_price")),
        Barred(np.isnan(plan.days), say("bar.day_past")),
    )
    graze = np.column_stack([none, none, ~table.known("grain_given_up"), none])  # as nothing it would cost him the crop
    open_ = ~np.logical_or.reduce([bar.mask for bar in closed])
    return (*closed, Barred(graze & open_, say("bar.no_grain_given_up")))


def _no_wheat(plan: Plan, i: int) -> Said | None:
    """When there is wheat to graze again."""
    if not plan.no_wheat[i].any():
        return None
    first = plan.turnout[i, plan.no_wheat[i]].min().item()
    return say("bar.no_wheat_yet" if plan.no_wheat[i].all() else "bar.too_few_days", day=Day(first))


def withdrawal_bar(held: answering.Withdrawal, plan: Plan, to_sale: Floats) -> Barred:
    """No sale inside a withdrawal: neither on the day of sale (today where none is set) nor at the end of a way."""
    sale = np.where(to_sale >= 0, to_sale, 0.0)
    return Barred(held.inside(np.column_stack([sale, plan.days[:, 1:]])), held.said)


def hazards(held: answering.Withdrawal, table: Table, to_sale: Floats) -> tuple[Hazard, ...]:
    """A sale inside a withdrawal, on the day of sale or today."""
    inside, ahead = held.inside(np.where(to_sale >= 0, to_sale, 0.0)), to_sale > 0
    on_day = {"held": held.said, "sale": Day(table.date("sale"))}
    return (
        Hazard("retain-calves.withdrawal_then", inside & ahead, values=on_day),
        Hazard("retain-calves.withdrawal", inside & ~ahead, values={"held": held.said}),
        held.misdated("calf_treatment.on"),
    )


def with_tools(bars: tuple[Barred, ...], way: Ints) -> tuple[Barred, ...]:
    """Bars of the ways for the ways, the choice in March and the tools set against a way."""
    rows, out = np.arange(len(way)), []
    for bar in bars:
        mask = np.broadcast_to(bar.mask, (len(way), len(WAYS)))
        tooled = np.repeat(mask[rows, way][:, None], len(TOOLS), axis=1)
        chosen = mask[:, WHEAT] | mask[:, GRAZE_OUT]
        out.append(replace(bar, mask=np.column_stack([mask, chosen, tooled])))
    return tuple(out)


def little_to_choose(gain: Floats, chosen: Floats, barred: Bools) -> Barred:
    """The choice in March, where one way is the better at nearly any price of that day."""
    mask = np.zeros((len(gain), len(OPTIONS)), bool)
    mask[:, len(WAYS)] = np.nan_to_num(worth_of_march(gain, chosen, barred), nan=np.inf) < WORTH_CHOOSING
    return Barred(mask, say("bar.little_to_choose"))


def delay_with_tools(delayed: Floats) -> Floats:
    """(place, option) what another week costs; not known of a tool, which may be gone by then."""
    tools = np.full((len(delayed), len(TOOLS)), np.nan)
    return np.column_stack([delayed, delayed[:, WHEAT], tools])


def reference(gain: Floats, barred: Bools) -> Ints:
    """(place,) the way of keeping them that pays best on average: plain figures are given for it."""
    mean = gain.mean(axis=1)[:, 1:]
    closed = barred[:, 1:] | np.isnan(mean)
    best: Ints = 1 + np.where(closed, -np.inf, mean).argmax(axis=1)
    return best


def delay(plan: Plan, gain: Floats, best: Ints, to_sale: Floats) -> Floats:
    """(place, option) what another week costs, USD/head.

    Selling, where no later day of sale is set: a week's part of what keeping them loses. Keeping, where they are to be
    sold within the week: all that keeping gains, for a sale cannot be taken back. Else nothing.
    """
    rows, mean = np.arange(len(best)), gain.mean(axis=1)
    days = np.maximum(np.nan_to_num(plan.days[rows, best], nan=WEEK), WEEK)
    soon = (to_sale >= 0) & (to_sale <= WEEK)
    out = np.where(soon[:, None], np.maximum(np.nan_to_num(mean), 0.0), 0.0)
    out[:, 0] = np.where(to_sale > WEEK, 0.0, np.maximum(-np.nan_to_num(mean[rows, best]) * WEEK / days, 0.0))
    return out


def due(to_sale: Floats) -> Ints:
    """(place,) days in which the call is acted on: the sale where it falls in the week."""
    return np.where((to_sale >= 0) & (to_sale <= WEEK), np.nan_to_num(to_sale), WEEK).astype(np.int64)


def worth_of_march(gain: Floats, chosen: Floats, barred: Bools) -> Floats:
    """(place,) what it is worth to choose in March, over the better of the two ways settled today, USD/head.

    NaN where either way is closed.
    """
    better = gain[:, :, WHEAT : GRAZE_OUT + 1].mean(axis=1).max(axis=1)
    closed = barred[:, WHEAT] | barred[:, GRAZE_OUT]
    return np.where(closed, np.nan, np.maximum(chosen.mean(axis=1) - better, 0.0))


def quantities(
    table: Table,
    context: Context,
    plan: Plan,
    gain: Floats,
    chosen: Floats,
    barred: Bools,
    at: Ints,
    pasture: Bools,
) -> Quantities:
    """Figures of the best way of keeping them, and of what would change them."""
    light, heavy, _ = stocking(table, context)
    rows, given = np.arange(len(at)), plan.at(at)
    held, weight = hold(**given), plan.end_weight[rows, at]
    carried = np.where(heavy > 0, heavy, np.nan)
    acres = np.where(np.isfinite(carried), table.number("acres") * table.number("head") / carried, np.nan)
    ends = (given["start_weight"], given["start_price"], weight, given["end_price"])
    keys = np.array([option.key for option in WAYS], dtype=np.str_)
    turns = turning_points(net, given, tuple(TURNS))
    out: dict[str, tuple[Any, Any]] = {
        "pasture_chance": (pasture.mean(axis=1), "1"),
        "head_carried_light": (light, "head"),
        "head_carried_heavy": (heavy, "head"),
        "acres_needed": (acres, "ac"),
        "best_way_of_keeping": (keys[at], ""),
        "days": (given["days"], "day"),
        "end_weight": (weight, "lb"),
        "later_price": (given["end_price"], "USD/cwt"),
        "net_at_given_price": (held.net, UNIT),
        "break_even_purchase_price": (held.break_even_start, "USD/cwt"),
        "value_of_gain": (budget.value_of_gain(*ends), "USD/lb"),
        "cost_of_gain": (budget.cost_of_gain(held.running_cost, weight - ends[0]), "USD/lb"),
        "chance_keeping_pays": ((gain[rows, :, at] > 0).mean(axis=1), "1"),
        "worth_of_choosing_in_march": (worth_of_march(gain, chosen, barred), UNIT),
    }
    for column, option in list(enumerate(WAYS))[1:]:
        even = hold(**plan.at(np.full(len(at), column))).break_even_sale
        out[f"break_even_price_{option.key}"] = (np.where(barred[:, column], np.nan, even), "USD/cwt")
    return {
        **out,
        **{f"turns_at_{name}": (turn, TURNS[name]) for name, turn in turns.items()},
        **sensitivity(net, given, CHANGES, UNIT),
    }
