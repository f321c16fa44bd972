"""Calves sold at weaning, or owned on: wheat pasture to March, graze-out, or a dry lot. A case of own and sell."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.cattle import answering, budget, tools, wheat_season
from sideoats.decide.information import promised_from_draws
from sideoats.families.hold_or_sell import sold_later
from sideoats.families.own_and_sell import SALE
from sideoats.problem import Choice, Flow, labelled
from sideoats.question import Context, Table

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]

UNIT = "USD/head"
FEEDERS = "feeder steer 750 lb"
WEEK = 7  # days: the week is the product
LEAST_GAINED = 100.0  # lb: a line through two prices of nearly one weight says nothing of heavier cattle
YEAR = 365  # days
SHORT_WAIT = 14  # days of feed before turnout that may be charged at a published cost; for more the farm's is asked
LOCK = "lock"  # the trouble of a trade
WAYS = (
    Choice("sell_now", labelled("calves-sell"), trouble=SALE, kind="sell"),
    Choice("wheat_to_march", labelled("calves-wheat"), trouble=SALE, kind="keep"),
    Choice("graze_out", labelled("calves-graze-out"), trouble=SALE, kind="keep"),
    Choice("dry_lot", labelled("calves-lot"), trouble=SALE, kind="keep"),
)
# Kept on the way that the tools are set against, with the price fixed or floored.
OPTIONS = (
    *WAYS,
    Choice("choose_in_march", labelled("calves-choose"), trouble=SALE, kind="choose"),
    *(Choice(f"kept_{name}", labelled(f"calves-kept-{name}"), trouble=LOCK, kind="kept") for name in tools.TOOLS),
)
WHEAT, GRAZE_OUT, LOT = 1, 2, 3
WORTH_CHOOSING = 3.0  # USD/head: less is no reason to leave the end of grazing open
WORTH_SPLITTING = 5.0  # USD/head: less is not worth sorting a pen for


@dataclass(frozen=True)
class Plan:
    """Inputs by option, (place, option) unless said; option 0 is selling now.

    `lot_per_day` (place,) is NaN where it was not given; `feed_cost` (place,) then stands for feed off the pasture, a
    published cost of gain times the lot gain [USD/d].
    """

    days: Floats
    pasture_days: Floats
    no_wheat: Bools
    turnout: NDArray[np.datetime64]
    price: Floats
    end_weight: Floats
    pasture_gain: tuple[Floats, Floats]
    lot_gain: tuple[Floats, Floats]
    per_gain: Floats
    per_day: Floats
    lot_per_day: Floats
    feed_cost: Floats
    grain: Floats
    common: dict[str, Any]

    def at(self, option: Ints) -> dict[str, Any]:
        """Inputs of `hold` at the expected price, the middle of each range and pasture, for one option a place."""
        rows = np.arange(len(option))
        return {
            **self.common,
            "gain": np.mean(self.pasture_gain, axis=0),
            "lot_gain": np.mean(self.lot_gain, axis=0),
            "end_price": self.price[rows, option],
            "days": self.days[rows, option],
            "pasture_days": self.pasture_days[rows, option],
            "per_gain": self.per_gain,
            "per_day": self.per_day,
            "lot_per_day": np.where(option == LOT, self.lot_per_day, self.feed_cost),
            "extra_cost": self.grain[rows, option],
            "cost_factor": np.ones(len(option)),
            "gain_factor": np.ones(len(option)),
        }


def plan_of(table: Table, context: Context) -> Plan:
    facts = context.facts
    stay, zero = wheat_season.stay(table, context), np.zeros(len(table))
    days = np.column_stack([zero, stay.days, table.number("lot_days")])
    pasture_days = np.column_stack([zero, stay.pasture_days, zero])
    weight = table.number("weight")
    pasture_gain = answering.span(table, "pasture_gain", facts.span("cattle/wheat_pasture.gain"))
    lot_gain = answering.span(table, "lot_gain", facts.span("cattle/drylot.gain"))
    on_grass = np.mean(pasture_gain, axis=0)[:, None] * pasture_days
    end_weight = weight[:, None] + on_grass + np.mean(lot_gain, axis=0)[:, None] * (days - pasture_days)
    quoted = table.number("futures") + np.nan_to_num(table.number("basis"))
    later = answering.known_or(quoted, table.number("later_price"))
    today = answering.known_or(table.number("price"), answering.price_at(table, weight))
    by_weight = answering.price_carried(table, weight, today, end_weight.T).T
    priced = np.where(~stay.no_wheat[:, 0], WHEAT, np.where(~stay.no_wheat[:, 1], GRAZE_OUT, LOT))
    heavier = _falling_on(weight, today, end_weight, later, priced)
    price = np.column_stack(
        [
            today,
            answering.known_or(later, by_weight[:, WHEAT]),
            *(
                answering.known_or(answering.known_or(table.number(name), heavier[:, at]), by_weight[:, at])
                for name, at in (("spring_price", GRAZE_OUT), ("lot_price", LOT))
            ),
        ]
    )
    per_gain, per_day = table.number("pasture_per_gain"), table.number("pasture_per_day")
    unknown = np.isnan(per_gain) & np.isnan(per_day)
    death = answering.known_or(table.number("death"), facts.value("cattle/stocker.death"))
    common = {
        "start_weight": weight, "start_price": price[:, 0],
        "interest_rate": answering.known_or(table.number("interest"), facts.value("cattle/interest")),
        "death_share": death,
        # every sale bears commission and trucking, today's too: only the calves that die are spared them
        "other_cost": table.number("health") - death * (table.number("freight") + table.number("selling")),
        "start_shrink": table.number("shrink_now"), "end_shrink": table.number("shrink_later"),
    }  # fmt: skip
    return Plan(
        days=days,
        pasture_days=pasture_days,
        no_wheat=stay.no_wheat,
        turnout=stay.turnout,
        price=price,
        common=common,
        pasture_gain=pasture_gain,
        lot_gain=lot_gain,
        end_weight=end_weight,
        per_gain=np.where(unknown, np.nan, np.nan_to_num(per_gain)),
        per_day=np.where(unknown, np.nan, np.nan_to_num(per_day)),
        lot_per_day=table.number("lot_per_day"),
        feed_cost=answering.known_or(
            table.number("lot_per_day"), facts.value("cattle/drylot.cost_of_gain") * np.mean(lot_gain, axis=0)
        ),
        grain=np.column_stack([zero, zero, np.nan_to_num(table.number("grain_given_up")), zero]),
    )


def _falling_on(weight: Floats, price: Floats, end_weight: Floats, later: Floats, priced: Ints) -> Floats:
    """The later price carried to each option's weight, USD/cwt (place, option); NaN where there is none.

    It is the price of cattle on the day and of the weight of one way, `priced` (place,): wheat to March, graze-out
    where no wheat is left before March, the lot where there is none at all. Heavier cattle bring less a cwt: the price
    falls on along the line from today's weight and price to that one, and is never above it, so that no option gains by
    a price that nobody stated. NaN for cattle far heavier where the two prices are of nearly one weight.
    """
    of = end_weight[np.arange(len(weight)), priced]
    gained = of - weight
    fall = np.minimum((later - price) / np.fmax(gained, LEAST_GAINED), 0.0)
    more = np.maximum(np.nan_to_num(end_weight - of[:, None]), 0.0)
    carried = later[:, None] + np.nan_to_num(fall)[:, None] * more
    return np.where((gained < LEAST_GAINED)[:, None] & (more > LEAST_GAINED), np.nan, carried)


def hold(
    *,
    start_weight: Any,
    gain: Any,
    end_price: Any,
    days: Any,
    pasture_days: Any,
    lot_gain: Any,
    per_gain: Any,
    per_day: Any,
    lot_per_day: Any,
    extra_cost: Any = 0.0,
    expected_weight: Any = None,
    slide: Any = 0.0,
    gain_factor: Any = 1.0,
    cost_factor: Any = 1.0,
    **rest: Any,
) -> budget.Holding:
    """Budget of owning calves on, part of the time in a lot, the rest on pasture; interest on half the running costs.

    Parameters
    ----------
    gain, lot_gain : lb/d on pasture and in the lot
    days, pasture_days : days owned, and days of these on pasture [d]
    per_gain, per_day, lot_per_day : USD/lb of pasture gain, USD/d on pasture, USD/d in the lot
    extra_cost : USD a head without interest, on top of ``other_cost``
    expected_weight, slide : the price falls by `slide` [USD/cwt] for each cwt over the expected weight [lb]
    gain_factor, cost_factor : scale every gain, and running costs
    rest : as `sideoats.cattle.budget.hold_and_sell`
    """
    on_grass = np.asarray(pasture_days, float)
    in_lot = np.asarray(days, float) - on_grass
    better = np.asarray(gain_factor, float)
    gained = better * np.asarray(gain, float) * on_grass
    weight = np.asarray(start_weight, float) + gained + (better * np.asarray(lot_gain, float)) * in_lot
    on_pasture = on_grass > 0
    running = np.where(on_pasture, per_gain, 0.0) * gained + np.where(on_pasture, per_day, 0.0) * on_grass
    running = running + np.where(in_lot > 0, lot_per_day, 0.0) * in_lot
    over = 0.0 if expected_weight is None else (weight - np.asarray(expected_weight, float)) / 100
    rest["other_cost"] = np.asarray(rest["other_cost"], float) + np.asarray(extra_cost, float)
    return budget.hold_and_sell(
        start_weight=start_weight,
        end_weight=weight,
        days=days,
        running_cost=running * np.asarray(cost_factor, float),
        end_price=np.asarray(end_price, float) - np.asarray(slide, float) * over,
        **rest,
    )


def net(**inputs: Any) -> Floats:
    """Net of `hold` [USD/head]."""
    return hold(**inputs).net


def _end_price(table: Table, context: Context, plan: Plan, at: int, implied: Floats) -> Floats:
    """Price draws (place, draw) on the later day of one option, before the slide.

    `implied` : (place,) yearly volatility that the premium of a put stands for; NaN where none is quoted
    """
    days, futures = plan.days[:, at], table.number("futures")
    price = plan.price[:, at, None] * tools.ratio_of(context, days, implied)
    usual = context.facts.value("outlook/volatility.feeder_steer_750_lb")  # read by every batch: sources must not vary
    if np.isnan(futures).all() or at == GRAZE_OUT:
        return price
    cash = answering.cash_from_futures(
        context,
        table,
        FEEDERS,
        days,
        futures=futures,
        basis=plan.price[:, at] - futures,
        basis_sd=table.number("basis_sd"),
        volatility=answering.known_or(implied, answering.known_or(table.number("volatility"), usual)),
    )
    return np.where(np.isnan(futures)[:, None], price, cash)


def gain_of(table: Table, context: Context, plan: Plan, pasture: Bools, implied: Floats) -> Floats:
    """(place, draw, way) money over selling today, USD/head; `implied` as in `_end_price`."""
    gains = np.zeros((len(table), context.outlook.draws, len(WAYS)))
    failing = context.facts.value("cattle/wheat_pasture.failure_shows")  # read by every batch: sources must not vary
    slow = _failing_gain(table, context)
    gain = answering.spread(context, table, "wheat pasture gain", *plan.pasture_gain)
    lot_gain = answering.spread(context, table, "lot gain", *plan.lot_gain)
    slide = _slide(table)
    bought = table.flag("feed_bought")
    harvest = float((context.region.next("graze-out-wheat-harvest", context.on) - context.on).days)
    wheat = answering.price_ratio(context, "wheat", np.full(len(table), harvest))
    for at in range(1, len(WAYS)):
        inputs = {name: value[:, None] for name, value in plan.at(np.full(len(table), at)).items()}
        days = plan.days[:, at]
        corn = answering.bought_ratio(context, "corn", days / 2, bought)
        feed = corn * (1.0 + answering.cold_share(context, table, days))
        inputs |= {
            "gain": gain,
            "lot_gain": lot_gain,
            "end_price": _end_price(table, context, plan, at, implied),
            "slide": slide,
            "expected_weight": plan.end_weight[:, at, None],
            "extra_cost": inputs["extra_cost"] * wheat,
            "lot_per_day": inputs["lot_per_day"] * feed,
        }
        if at != LOT and not pasture.all():  # without pasture they are fed in the lot to the end
            early = np.isnan(plan.lot_per_day)[:, None] & ~pasture
            failed = _sold_early(context, plan, at, failing, inputs | {"lot_gain": slow})
            inputs["pasture_days"] = inputs["pasture_days"] * pasture
            gains[:, :, at] = np.where(early, failed, net(**inputs))
        else:
            gains[:, :, at] = net(**inputs)
    gains[:, :, WHEAT : GRAZE_OUT + 1] += np.where(plan.no_wheat, np.nan, 0.0)[:, None, :]  # no money of a year off
    return gains


def _slide(table: Table) -> Floats:
    """(place, 1) what the price falls for each cwt over the expected weight [USD/cwt]."""
    line = (table.number("quote_500") - table.number("quote_750")) / 2.5  # USD/cwt a cwt
    given_price = table.known("later_price") | table.known("futures")
    return np.asarray(
        answering.known_or(table.number("slide"), np.where(given_price, 0.0, np.nan_to_num(line)))[:, None]
    )


def chosen_in_march(context: Context, plan: Plan, gain: Floats) -> Floats:
    """(place, draw) money of cattle on wheat that are sold or grazed out by what the price of March promises, USD/head.

    Whoever keeps cattle on wheat need not decide today. NaN where either way has no money.
    """
    both = gain[:, :, WHEAT : GRAZE_OUT + 1]
    out, open_ = np.full(gain.shape[:2], np.nan), np.isfinite(both).all(axis=(1, 2))
    if open_.any():
        march = answering.price_ratio(context, FEEDERS, plan.days[:, WHEAT])[open_]
        sold, grazed = both[open_, :, 0], both[open_, :, 1]
        out[open_] = np.where(promised_from_draws(grazed - sold, march) > 0, grazed, sold)
    return out


@dataclass(frozen=True)
class Kept:
    """Calves kept on one way with the price fixed or floored.

    Attributes
    ----------
    way : (place,) the way that the tools are set against: wheat to March, the dry lot where no wheat is open
    gain : (place, draw, tool) over selling today [USD/head]
    tools : what they are made of
    by_put, by_insurance, strange : (place,) as `sideoats.cattle.tools.spread_of` gives them
    """

    way: Ints
    gain: Floats
    tools: tools.Tools
    by_put: Floats
    by_insurance: Floats
    strange: Floats


def kept_of(
    table: Table,
    context: Context,
    plan: Plan,
    pasture: Bools,
    gain: Floats,
    barred: Bools,
    spreads: tuple[Floats, Floats, Floats],
) -> Kept:
    """See `Kept`. A tool is set against the pounds planned: where pasture fails, what it pays is paid all the same.

    Parameters
    ----------
    gain, barred : of the ways
    spreads : from `spreads_of`
    """
    rows = np.arange(len(table))
    way = np.where(barred[:, WHEAT] & ~barred[:, LOT], LOT, WHEAT)
    days, weight = plan.days[rows, way], plan.end_weight[rows, way]
    grass = answering.spread(context, table, "wheat pasture gain", *plan.pasture_gain)
    lot = answering.spread(context, table, "lot gain", *plan.lot_gain)
    on_grass = plan.pasture_days[rows, way][:, None] * np.where((way == WHEAT)[:, None], pasture, True)
    heads = plan.common["start_weight"][:, None] + grass * on_grass + lot * (days[:, None] - on_grass)
    by_put, by_insurance, strange = spreads
    ends = [_end_price(table, context, plan, at, by_put) for at in (WHEAT, LOT)]
    cash = np.where((way == WHEAT)[:, None], *ends) - _slide(table) * (heads - weight[:, None]) / 100
    stated = answering.known_or(by_put, table.number("volatility"))
    usual = context.facts.value("outlook/volatility.feeder_steer_750_lb")
    spread = np.where(table.known("futures"), answering.known_or(stated, usual), stated)
    ratio = tools.ratio_of(context, days, spread)
    found = tools.tools_of(table, context, days=days, weight=weight, heads=heads, cash=cash, ratio=ratio)
    common = plan.common
    sold = (1 - common["death_share"]) * weight * (1 - common["end_shrink"]) / 100
    more = found.effect * sold[:, None, None]
    return Kept(way, gain[rows, :, way][:, :, None] + more, found, by_put, by_insurance, strange)


def spreads_of(table: Table, context: Context, plan: Plan) -> tuple[Floats, Floats, Floats]:
    """`sideoats.cattle.tools.spread_of` by the day that premiums are quoted for; (place,)."""
    days = np.where(plan.no_wheat[:, 0] | np.isnan(plan.days[:, WHEAT]), plan.days[:, LOT], plan.days[:, WHEAT])
    return tools.spread_of(table, context, days)


def _failing_gain(table: Table, context: Context) -> Floats:
    """Daily gain while a pasture fails, as draws, lb/d."""
    low, high = context.facts.span("cattle/wheat_pasture.failed_gain")
    n = len(table)
    return answering.spread(context, table, "failing pasture gain", np.full(n, low), np.full(n, high))


def _sold_early(context: Context, plan: Plan, at: int, failing: float, inputs: dict[str, Any]) -> Floats:
    """(place, draw) net where pasture fails and no lot cost is known: fed until that shows, then sold.

    They are lighter than planned, have eaten bought feed, and bring the price of that day at that weight, on the line
    from today's to the later price. `inputs` are those of `hold` with the gain and daily cost while pasture fails.
    """
    until_turnout = plan.days[:, at] - plan.pasture_days[:, at]
    shown = np.minimum(until_turnout + failing, plan.days[:, at])
    put_on = inputs["lot_gain"] * shown[:, None]
    planned = np.maximum(plan.end_weight[:, at] - plan.common["start_weight"], 1.0)
    today, later = plan.price[:, 0, None], plan.price[:, at, None]
    price = today + (later - today) * np.minimum(put_on / planned[:, None], 1.0)
    return net(
        **inputs
        | {
            "days": shown[:, None],
            "pasture_days": np.zeros((len(shown), 1)),
            "extra_cost": 0.0,
            "slide": 0.0,
            "end_price": price * answering.price_ratio(context, FEEDERS, shown),
        }
    )


def stocking(table: Table, context: Context) -> tuple[Floats, Floats, Floats]:
    """Head that the wheat carries at turnout weight: winter at the light and heavy end, spring at the heavy end."""
    light, heavy = context.facts.span("cattle/wheat_pasture.stocking.winter")
    spring = context.facts.span("cattle/wheat_pasture.stocking.spring")[1]
    a_head = table.number("acres") / table.number("weight")
    return a_head * light, a_head * heavy, a_head * spring


def uses_of(plan: Plan, options: int, head: Floats) -> dict[str, Floats]:
    """What each way takes of the farm: days of grazing, head times days, and room in its pens [head]."""
    grazing, pens = np.zeros((len(head), options)), np.zeros((len(head), options))
    grazing[:, : plan.days.shape[1]] = np.nan_to_num(plan.pasture_days) * head[:, None]
    pens[:, LOT] = head
    return {"pasture": grazing, "pens": pens}


def flows_of(plan: Plan, gain: Floats, options: int, to_sale: Floats) -> tuple[Flow, ...]:
    """The calves' money comes at the sale, or when the kept calves are sold."""
    ways = plan.days.shape[1]
    then, money = np.full((len(to_sale), options), np.nan), np.full((len(to_sale), gain.shape[1], options), np.nan)
    then[:, 1:ways] = plan.days[:, 1:]
    money[:, :, :ways] = gain[:, :, :ways]
    value = plan.common["start_price"] * plan.common["start_weight"] / 100.0
    return sold_later(value, then, money, np.maximum(np.nan_to_num(to_sale), 0.0))


def turnout_of_last_year(table: Table, context: Context, plan: Plan) -> NDArray[np.bool_]:
    """(place,) a turnout before the last graze-out ended: the wheat of that season is gone."""
    return np.asarray(table.days_until("turnout", context.on) < plan.days[:, GRAZE_OUT] - YEAR)
