"""Sell the calves at weaning, or own them on: wheat pasture to March, graze-out, or a dry lot."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from sideoats.call import ACT, STOP, WAIT
from sideoats.cattle import answering, budget
from sideoats.decide import Decision, decide
from sideoats.question import Answers, Bar, Context, Option, Places, Question, Table
from sideoats.schema import Field

if TYPE_CHECKING:
    from sideoats.pictures import Picture

UNIT = "USD/head"
FEEDERS = "feeder steer 750 lb"
WEEK = 7  # days: the week is the product
PASTURE_WINDOW = 60  # days of rain that decide about fall pasture, as the fact states
INPUTS = (
    Field("weight", "number", "weight today", unit="lb", low=150, high=1000, required=True, example="500 lb",
          fresh_days=60, found_in=("evidence:calf_weighing.weight",)),
    Field("price", "number", "price today", unit="USD/cwt", low=20, high=1000, example="250 USD/cwt",
          fresh_days=60, found_in=("evidence:calf_weighing.price",)),
    Field("later_price", "number", "price in mid March at the weight they then have", unit="USD/cwt", low=20, high=1000,
          example="215 USD/cwt",
          fresh_days=60, found_in=("evidence:calf_weighing.later_price",)),
    Field("spring_price", "number", "price after graze-out, if another", unit="USD/cwt", low=20, high=1000,
          example="205 USD/cwt"),
    Field("lot_price", "number", "price out of the dry lot, if another", unit="USD/cwt", low=20, high=1000,
          example="210 USD/cwt"),
    Field("slide", "number", "fall of the price for each cwt over the weight expected", unit="USD/cwt", low=0, high=60,
          example="8 USD/cwt"),
    Field("futures", "number", "futures price for the later date, instead of a later price", unit="USD/cwt", low=20,
          high=1000, example="220 USD/cwt"),
    Field("basis", "number", "cash less futures expected then", unit="USD/cwt", low=-100, high=100,
          example="-4 USD/cwt"),
    Field("basis_sd", "number", "spread of that basis from year to year", unit="USD/cwt", low=0, high=50,
          example="3 USD/cwt"),
    Field("volatility", "share", "implied volatility of the futures, a year", example="18 %"),
    Field("turnout", "date", "day on which pasture begins; today where not given", example="2026-11-10",
          fresh_days=60, found_in=("evidence:calf_weighing.turnout",)),
    Field("pasture_end", "date", "last day on wheat that is kept for grain; the next 15 March where not given",
          example="2027-03-15"),
    Field("grazeout_end", "date", "last day of graze-out; the next 10 May where not given", example="2027-05-10"),
    Field("lot_days", "number", "days in the dry lot", unit="day", bare=True, low=14, high=365, default=120,
          example="120"),
    Field("pasture_gain", "numbers", "daily gain on wheat, one number or a range", unit="lb/day", low=-1, high=5,
          example="1.5, 2.5 lb/day"),
    Field("lot_gain", "numbers", "daily gain in the lot, one number or a range", unit="lb/day", low=-1, high=5,
          example="1.8, 2.4 lb/day"),
    Field("pasture_per_gain", "number", "what pasture costs by the pound gained", unit="USD/lb", low=0, high=5,
          example="0.65 USD/lb", found_in=("setting:cost.pasture_gain",)),
    Field("pasture_per_day", "number", "what pasture and care cost by the day", unit="USD/day", low=0, high=20,
          example="0.40 USD/day", found_in=("setting:cost.pasture_day",)),
    Field("lot_per_day", "number", "feed and yardage in the lot", unit="USD/day", low=0, high=20,
          example="2.60 USD/day", found_in=("setting:cost.lot_day",)),
    Field("grain_given_up", "number", "wheat grain given up by graze-out, a head, at today's wheat price", unit=UNIT,
          low=0, high=2000, default=0.0, example="120 USD/head"),
    Field("feed_bought", "flag", "lot feed is bought as you go, so its cost follows the corn price", default=False),
    Field("pasture_chance", "share", "chance that there is pasture; from the weather where not given",
          example="70 %"),
    Field("acres", "number", "wheat to graze", unit="ac", low=0, high=100000, example="160 ac",
          fresh_days=60, found_in=("evidence:calf_weighing.acres",)),
    Field("head", "number", "calves", unit="head", bare=True, low=1, high=100000, example="60",
          found_in=("place:calf_head",)),
    Field("health", "number", "vaccine, mineral and treatment", unit=UNIT, low=0, high=300, default=0.0,
          example="22 USD/head", found_in=("setting:cost.stocker_health",)),
    Field("freight", "number", "trucking", unit=UNIT, low=0, high=200, default=0.0, example="12 USD/head"),
    Field("selling", "number", "commission and checkoff", unit=UNIT, low=0, high=200, default=0.0,
          example="20 USD/head"),
    Field("sale", "date", "day on which they are to be sold if they are not kept", example="2026-11-05",
          fresh_days=200, found_in=("evidence:sale_plan.sale",)),
    *answering.treatment_fields("calf_treatment", "any of them"),
    Field("interest", "share", "interest a year", example="8 %", found_in=("setting:interest",)),
    Field("death", "share", "head lost", low=0, high=0.5, example="1.5 %",
          fresh_days=60, found_in=("evidence:calf_weighing.death",)),
    Field("shrink_now", "share", "shrink at the sale today", high=0.5, default=0.0),
    Field("shrink_later", "share", "shrink at the later sale", high=0.5, default=0.0),
    *answering.WEIGHT_QUOTES,
    Field("station", "text", "weather station that stands for the place", found_in=("place:station",)),
)  # fmt: skip
OPTIONS = (
    Option("sell_now", "Sell the calves"),
    Option("wheat_to_march", "Wheat pasture until it is kept for grain"),
    Option("graze_out", "Graze the wheat out"),
    Option("dry_lot", "Feed in a dry lot"),
)
WHEAT, GRAZE_OUT, LOT = 1, 2, 3
CHANGES = {
    "later_price_10_percent_lower": ("end_price", 0.9),
    "later_price_10_percent_higher": ("end_price", 1.1),
    "gain_25_percent_lower": ("gain_factor", 0.75),
    "gain_25_percent_higher": ("gain_factor", 1.25),
    "costs_25_percent_higher": ("cost_factor", 1.25),
    "death_loss_doubled": ("death_share", 2.0),
}
TURNS = {
    "end_price": ("a later price", "USD/cwt"),
    "gain_factor": ("a gain", "times the one expected"),
    "cost_factor": ("pasture and feed", "times the cost given"),
}


@dataclass(frozen=True)
class _Plan:
    """Inputs by option, (place, option) unless said; option 0 is selling now."""

    days: NDArray[np.float64]
    pasture_days: NDArray[np.float64]
    price: NDArray[np.float64]
    end_weight: NDArray[np.float64]
    pasture_gain: tuple[NDArray[np.float64], NDArray[np.float64]]
    lot_gain: tuple[NDArray[np.float64], NDArray[np.float64]]
    per_gain: NDArray[np.float64]
    per_day: NDArray[np.float64]
    lot_per_day: NDArray[np.float64]
    grain: NDArray[np.float64]
    common: dict[str, Any]


def _days(table: Table, context: Context) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Days owned and days of these on pasture, both (place, option)."""
    on = context.on
    ends = []
    for name, month, day in (("pasture_end", 3, 15), ("grazeout_end", 5, 10)):
        usual = float((answering.next_day(on, month, day) - on).days)
        ends.append(answering.known_or(table.days_until(name, on), usual))
    to_turnout = np.maximum(answering.known_or(table.days_until("turnout", on), 0.0), 0.0)
    zero = np.zeros(len(table))
    days = np.column_stack([zero, *ends, table.number("lot_days")])
    pasture = np.column_stack([zero, *(np.maximum(e - to_turnout, 0.0) for e in ends), zero])
    return np.where(days > 0, days, np.where(np.arange(4) == 0, 0.0, np.nan)), pasture


def _plan(table: Table, context: Context) -> _Plan:
    facts = context.facts
    days, pasture_days = _days(table, context)
    weight = table.number("weight")
    pasture_gain = answering.span(table, "pasture_gain", facts.span("cattle/wheat_pasture.gain"))
    lot_gain = answering.span(table, "lot_gain", facts.span("cattle/drylot.gain"))
    on_grass = np.mean(pasture_gain, axis=0)[:, None] * pasture_days
    end_weight = weight[:, None] + on_grass + np.mean(lot_gain, axis=0)[:, None] * (days - pasture_days)
    quoted = table.number("futures") + np.nan_to_num(table.number("basis"))
    later = answering.known_or(quoted, table.number("later_price"))
    today = answering.known_or(table.number("price"), answering.price_at(table, weight))
    by_weight = answering.price_carried(table, weight, today, end_weight.T).T
    heavier = _falling_on(weight, today, end_weight, later)
    price = np.column_stack([
        today,
        answering.known_or(later, by_weight[:, WHEAT]),
        *(
            answering.known_or(answering.known_or(table.number(name), heavier[:, at]), by_weight[:, at])
            for name, at in (("spring_price", GRAZE_OUT), ("lot_price", LOT))
        ),
    ])  # fmt: skip
    per_gain, per_day = table.number("pasture_per_gain"), table.number("pasture_per_day")
    unknown = np.isnan(per_gain) & np.isnan(per_day)
    zero = np.zeros(len(table))
    common = {
        "start_weight": weight, "start_price": price[:, 0],
        "interest_rate": answering.known_or(table.number("interest"), facts.value("cattle/interest")),
        "death_share": answering.known_or(table.number("death"), facts.value("cattle/stocker.death")),
        "other_cost": table.number("health") + table.number("freight") + table.number("selling"),
        "start_shrink": table.number("shrink_now"), "end_shrink": table.number("shrink_later"),
    }  # fmt: skip
    return _Plan(
        days=days, pasture_days=pasture_days, price=price, common=common,
        pasture_gain=pasture_gain, lot_gain=lot_gain, end_weight=end_weight,
        per_gain=np.where(unknown, np.nan, np.nan_to_num(per_gain)),
        per_day=np.where(unknown, np.nan, np.nan_to_num(per_day)), lot_per_day=table.number("lot_per_day"),
        grain=np.column_stack([zero, zero, table.number("grain_given_up"), zero]),
    )  # fmt: skip


def _falling_on(
    weight: NDArray[np.float64], price: NDArray[np.float64], end_weight: NDArray[np.float64], later: NDArray[np.float64]
) -> NDArray[np.float64]:
    """The later price carried to each option's weight, USD/cwt (place, option); NaN where there is none.

    Cattle heavier than in mid March bring less a cwt: the price falls on along the line from today's weight and price
    to mid March's. It is never above the later price, so that no option gains by a price that nobody stated.
    """
    gained = end_weight[:, WHEAT] - weight
    fall = np.minimum(np.divide(later - price, gained, out=np.zeros_like(gained), where=gained > 0), 0.0)
    more = np.maximum(np.nan_to_num(end_weight - end_weight[:, WHEAT, None]), 0.0)
    return np.asarray(later[:, None] + np.nan_to_num(fall)[:, None] * more, dtype=np.float64)


def pasture_comes(table: Table, context: Context) -> tuple[NDArray[np.bool_], str]:
    """(place, draw) True where fall pasture comes, and how that was judged.

    A stated chance wins; else rain over the next 60 days in the outlook's years against a screening line drawn from its
    published ends; else pasture is taken to come, and the answer says so.
    """
    chance = table.number("pasture_chance")
    told_rows = np.flatnonzero(~np.isnan(chance))
    stated = np.ones((len(table), context.outlook.draws), dtype=bool)
    if told_rows.size:
        noise = context.outlook.uniform("pasture chance", [table.keys[i] for i in told_rows])
        stated[told_rows] = noise < chance[told_rows, None]
    if not context.outlook.has_weather:
        told = "No station is on file: pasture is taken to come unless a chance was given."
        return stated, told
    fact = context.facts["cattle/wheat_pasture.rain_needed"]
    rain = context.outlook.daily("rain")[:, :, :PASTURE_WINDOW].sum(axis=2) / 25.4
    rows = context.outlook.station_rows(list(table.text("station")))
    enough = context.outlook.between("pasture rain line", fact.low, fact.high)
    wet = rain[rows][:, context.outlook.year_of_draw] >= enough
    told = (
        f"Pasture is taken to come where rain over {PASTURE_WINDOW} days reaches {fact.low:g} to {fact.high:g} inches."
    )
    return np.where(np.isnan(chance)[:, None], wet, stated), told


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
    """  # fmt: skip
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
        start_weight=start_weight, end_weight=weight, days=days, running_cost=running * np.asarray(cost_factor, float),
        end_price=np.asarray(end_price, float) - np.asarray(slide, float) * over, **rest,
    )  # fmt: skip


def _at_given(plan: _Plan, at: NDArray[np.int64]) -> dict[str, Any]:
    """Inputs of `hold` at the expected price and the middle of each range, pasture coming, for one option a place."""
    rows = np.arange(len(at))
    return {
        **plan.common, "gain": np.mean(plan.pasture_gain, axis=0), "lot_gain": np.mean(plan.lot_gain, axis=0),
        "end_price": plan.price[rows, at], "days": plan.days[rows, at], "pasture_days": plan.pasture_days[rows, at],
        "per_gain": plan.per_gain, "per_day": plan.per_day, "lot_per_day": plan.lot_per_day,
        "extra_cost": plan.grain[rows, at], "cost_factor": np.ones(len(at)),
        "gain_factor": np.ones(len(at)),
    }  # fmt: skip


def _net(**inputs: Any) -> NDArray[np.float64]:
    return hold(**inputs).net


def _end_price(table: Table, context: Context, plan: _Plan, at: int) -> NDArray[np.float64]:
    """Price draws (place, draw) on the later day of one option, before the slide."""
    days, futures = plan.days[:, at], table.number("futures")
    price = plan.price[:, at, None] * answering.price_ratio(context, FEEDERS, days)
    usual = context.facts.value("outlook/volatility.feeder_steer_750_lb")  # read by every batch: sources must not vary
    if np.isnan(futures).all() or at == GRAZE_OUT:
        return price
    cash = answering.cash_from_futures(
        context, table, FEEDERS, days, futures=futures, basis=plan.price[:, at] - futures,
        basis_sd=table.number("basis_sd"), volatility=answering.known_or(table.number("volatility"), usual),
    )  # fmt: skip
    return np.where(np.isnan(futures)[:, None], price, cash)


def _payoff(table: Table, context: Context, plan: _Plan, pasture: NDArray[np.bool_]) -> NDArray[np.float64]:
    """(place, draw, option) money over selling today, USD/head."""
    payoff = np.zeros((len(table), context.outlook.draws, len(OPTIONS)))
    gain = answering.spread(context, table, "wheat pasture gain", *plan.pasture_gain)
    lot_gain = answering.spread(context, table, "lot gain", *plan.lot_gain)
    line = (table.number("quote_500") - table.number("quote_750")) / 2.5  # USD/cwt a cwt
    given_price = table.known("later_price") | table.known("futures")
    slide = answering.known_or(table.number("slide"), np.where(given_price, 0.0, np.nan_to_num(line)))[:, None]
    bought = table.flag("feed_bought")
    harvest = float((answering.next_day(context.on, 6, 15) - context.on).days)
    wheat = answering.price_ratio(context, "wheat", np.full(len(table), harvest))
    for at in range(1, len(OPTIONS)):
        inputs = {name: value[:, None] for name, value in _at_given(plan, np.full(len(table), at)).items()}
        days = plan.days[:, at]
        corn = answering.bought_ratio(context, "corn", days / 2, bought)
        feed = corn * (1.0 + answering.cold_share(context, table, days))
        inputs |= {
            "gain": gain, "lot_gain": lot_gain, "end_price": _end_price(table, context, plan, at), "slide": slide,
            "expected_weight": plan.end_weight[:, at, None], "extra_cost": inputs["extra_cost"] * wheat,
            "lot_per_day": inputs["lot_per_day"] * feed,
        }  # fmt: skip
        if at != LOT and not pasture.all():  # without pasture they are fed in the lot, or sold where that has no cost
            inputs["pasture_days"] = inputs["pasture_days"] * pasture
        net = _net(**inputs)
        if at != LOT:
            net = np.where(np.isnan(plan.lot_per_day)[:, None] & ~pasture, 0.0, net)
        payoff[:, :, at] = net
    return payoff


def answer(table: Table, context: Context) -> Answers:
    """Net of each way of keeping the calves over selling them today."""
    plan = _plan(table, context)
    pasture, told = pasture_comes(table, context)
    payoff = _payoff(table, context, plan, pasture)
    to_sale = table.days_until("sale", context.on)
    held, economic = answering.withdrawal(table, context), _bars(table, context, plan)
    bars = (*_withdrawal_bars(held, plan, to_sale), *economic)
    closed = np.logical_or.reduce([bar.mask for bar in economic])
    barred = np.logical_or.reduce([bar.mask for bar in bars])
    decision = decide(payoff, barred=barred, risk_aversion=context.risk_aversion)
    best, hazard = _reference(plan, decision), bars[0].mask[:, 0]
    lost = np.where(hazard, 0.0, _week_lost(plan, decision, best, to_sale))
    verdict = np.where(hazard, STOP, np.where(lost > 0, ACT, WAIT)).astype(np.int8)
    return Answers(
        table, context, options=OPTIONS, decision=decision, unit=UNIT, bars=bars, verdict=verdict,
        act_by=np.where(verdict == ACT, np.where((to_sale >= 0) & (to_sale <= WEEK), np.nan_to_num(to_sale), WEEK), -1),
        headline=lambda i: (
            _not_yet(held, table, context, i) if hazard[i] else _headline(plan, payoff, decision, table, context, i)
        ),
        because=_because(table, context, plan, decision, pasture, told),
        quantities=_quantities(table, context, plan, payoff, decision, pasture),
        missing=np.isnan(plan.price[:, 0]) | ~table.known("weight") | closed[:, 1:].all(axis=1),
        missing_headline=lambda i: (
            _not_yet(held, table, context, i) if hazard[i] else _what_is_missing(plan, economic, i)
        ),
        cautions=(
            context.facts["cattle/care.veterinarian"].text,
            context.facts["cattle/care.records"].text,
            "Watch cattle closely on lush wheat for bloat; have the veterinarian's advice before turnout.",
            "Prices after winter are draws about the price given, not a forecast. Hedging needs margin money.",
        ),
        cost_of_waiting=lost,
        pictures=lambda i: _pictures(plan, payoff, decision, best, context, i),
    )  # fmt: skip


def _pictures(
    plan: _Plan, payoff: NDArray[np.float64], decision: Decision, best: NDArray[np.int64], context: Context, i: int
) -> Sequence[Picture]:
    """What each open way pays with its range, and the best way of keeping them by later price and cost of gain."""
    from sideoats.cattle.pictures import break_even_about
    from sideoats.pictures import intervals

    names = [_way(plan, context, i, at) for at in range(len(OPTIONS))]
    open_ = [at for at in range(1, len(OPTIONS)) if not decision.barred[i, at] and np.isfinite(payoff[i, :, at]).all()]
    if not open_:
        return []
    top = max(open_, key=lambda at: float(decision.expected[i, at]))
    ends = [figure[i, open_] for figure in (decision.low, decision.expected, decision.high)]
    paid = f"{decision.expected[i, top]:+,.0f} {UNIT} over selling now on average"
    ways = intervals(
        f"{names[top]} pays most of the ways of keeping them: {paid}"
        if decision.expected[i, top] > 0
        else f"No way of keeping them pays: {names[top]} comes nearest with {paid}",
        f"Bars hold eight futures of ten, from the 10th to the 90th percentile, dots are means; the dashed line is "
        f"selling now. The worst tenth of that way averages {decision.worst_tenth[i, top]:+,.0f} {UNIT}.",
        [names[at] for at in open_], *ends, unit=f"{UNIT} over selling now", reference=0.0,
    )  # fmt: skip
    held = hold(**_at_given(plan, best))
    rows = np.arange(len(best))
    grid = break_even_about(
        i, what=names[best[i]], running_cost=held.running_cost, end_price=plan.price[rows, best],
        days=plan.days[rows, best], end_weight=held.gained + plan.common["start_weight"],
        **plan.common | {"other_cost": held.other_cost},
    )  # fmt: skip
    return [ways, *([grid] if grid else [])]


WAYS = ("Selling now", "Wheat pasture", "Graze-out", "The dry lot")


def _way(plan: _Plan, context: Context, i: int, at: int) -> str:
    """A way of keeping them as the subject of a sentence, with its last day."""
    days = plan.days[i, at]
    return f"{WAYS[at]} to {context.on + timedelta(days=int(days))}" if days > 0 else WAYS[at]


def _stocking(table: Table, context: Context) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Head that the wheat carries at turnout weight: winter at the light and heavy end, spring at the heavy end."""
    light, heavy = context.facts.span("cattle/wheat_pasture.stocking.winter")
    spring = context.facts.span("cattle/wheat_pasture.stocking.spring")[1]
    a_head = table.number("acres") / table.number("weight")
    return a_head * light, a_head * heavy, a_head * spring


def _bars(table: Table, context: Context, plan: _Plan) -> tuple[Bar, ...]:
    _, heavy, spring = _stocking(table, context)
    head, none = table.number("head"), np.zeros(len(table), bool)
    no_pasture_cost = np.isnan(plan.per_gain)
    lot_first = (plan.days > plan.pasture_days) & np.isnan(plan.lot_per_day)[:, None]
    lot_first[:, 0] = False
    return (
        Bar(np.column_stack([none, head > heavy, head > spring, none]),
            lambda i: f"too many head: {table.number('acres')[i]:g} acres carry about {heavy[i]:.0f} in winter"),
        Bar(np.column_stack([none, no_pasture_cost, no_pasture_cost, none]), "no pasture cost given"),
        Bar(lot_first, "no cost a day in the lot given"),
        Bar(np.isnan(plan.price) & (np.arange(4) > 0), "no price for heavier cattle given"),
        Bar(np.isnan(plan.days), "that day is past"),
    )  # fmt: skip


def _what_is_missing(plan: _Plan, bars: Sequence[Bar], i: int) -> str:
    """What to find out; where weight and price are known, why no way of keeping them is open."""
    if not np.isfinite(plan.price[i, 0]) or not np.isfinite(plan.common["start_weight"][i]):
        return "Weigh the calves; find today's price, a price for heavier cattle and the cost of keeping."
    ways = [f"{WAYS[at]}: {', '.join(bar.text(i) for bar in bars if bar.mask[i, at])}" for at in range(1, len(OPTIONS))]
    return f"No way of keeping them can be reckoned. {'; '.join(ways)}."


def _withdrawal_bars(held: answering.Withdrawal, plan: _Plan, to_sale: NDArray[np.float64]) -> tuple[Bar, Bar]:
    """No sale inside a withdrawal: neither on the day of sale (today where none is set) nor at the end of a way."""
    sale = np.where(to_sale >= 0, to_sale, 0.0)
    days = np.column_stack([sale, plan.days[:, 1:]])
    inside, keeping = held.inside(days), np.arange(len(OPTIONS)) > 0
    return Bar(inside & ~keeping, held.text, hazard=True), Bar(inside & keeping, held.text)


def _not_yet(held: answering.Withdrawal, table: Table, context: Context, i: int) -> str:
    ahead = table.days_until("sale", context.on)[i] > 0
    when = f"on {table.date('sale')[i]}" if ahead else "now"
    return f"Do not sell any of them {when}: {held.text(i)}."


def _reference(plan: _Plan, decision: Decision) -> NDArray[np.int64]:
    """(place,) the way of keeping them that pays best on average: plain figures are given for it."""
    closed = decision.barred[:, 1:] | np.isnan(decision.expected[:, 1:])
    best: NDArray[np.int64] = 1 + np.where(closed, -np.inf, decision.expected[:, 1:]).argmax(axis=1)
    return best


def _week_lost(
    plan: _Plan, decision: Decision, best: NDArray[np.int64], to_sale: NDArray[np.float64]
) -> NDArray[np.float64]:
    """What another week costs, USD/head.

    Where selling is best and no later day of sale is set: a week's part of what keeping them loses. Where keeping is
    best and they are to be sold within the week: all that keeping gains, for a sale cannot be taken back. Else nothing.
    """
    rows = np.arange(len(best))
    days = np.maximum(np.nan_to_num(plan.days[rows, best], nan=WEEK), WEEK)
    net = np.nan_to_num(decision.expected[rows, best])
    soon = (to_sale >= 0) & (to_sale <= WEEK)
    selling = np.where(to_sale > WEEK, 0.0, -net * WEEK / days)
    return np.maximum(np.where(decision.best == 0, selling, np.where(soon, net, 0.0)), 0.0)


def _headline(
    plan: _Plan, payoff: NDArray[np.float64], decision: Decision, table: Table, context: Context, i: int
) -> str:
    best = int(decision.best[i])
    if best == 0:
        closed = decision.barred[i, 1:] | np.isnan(decision.expected[i, 1:])
        other = 1 + int(np.where(closed, -np.inf, decision.expected[i, 1:]).argmax())
        label, more = answering.inside(OPTIONS[other].label), decision.expected[i, other]
        ahead = table.days_until("sale", context.on)[i] > 0
        when = f"Sell them on {table.date('sale')[i]}" if ahead else "Sell them"
        return f"{when}: to {label} would bring {more:+,.2f} USD/head on average."
    last = context.on + timedelta(days=int(plan.days[i, best]))
    return (
        f"Keep them. {OPTIONS[best].label}, sold {last}: {decision.expected[i, best]:+,.2f} USD/head over selling now "
        f"on average ({decision.low[i, best]:+,.0f} to {decision.high[i, best]:+,.0f}); it pays in "
        f"{(payoff[i, :, best] > 0).mean():.0%} of futures."
    )


def _quantities(
    table: Table,
    context: Context,
    plan: _Plan,
    payoff: NDArray[np.float64],
    decision: Decision,
    pasture: NDArray[np.bool_],
) -> answering.Quantities:
    light, heavy, _ = _stocking(table, context)
    at = _reference(plan, decision)
    rows, given = np.arange(len(at)), _at_given(plan, at)
    held, weight = hold(**given), plan.end_weight[rows, at]
    carried = np.where(heavy > 0, heavy, np.nan)
    acres = np.where(np.isfinite(carried), table.number("acres") * table.number("head") / carried, np.nan)
    ends = (given["start_weight"], given["start_price"], weight, given["end_price"])
    keys = np.array([option.key for option in OPTIONS], dtype=np.str_)
    out: answering.Quantities = {
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
        "chance_keeping_pays": ((payoff[rows, :, at] > 0).mean(axis=1), "1"),
    }  # fmt: skip
    for column, option in list(enumerate(OPTIONS))[1:]:
        even = hold(**_at_given(plan, np.full(len(at), column))).break_even_sale
        out[f"break_even_price_{option.key}"] = (np.where(decision.barred[:, column], np.nan, even), "USD/cwt")
    return {
        **out,
        **answering.risk_quantities(OPTIONS, decision, UNIT, "sell_now"),
        **answering.turning_quantities(_net, given, TURNS),
        **answering.sensitivity(_net, given, CHANGES, UNIT),
    }


def _because(
    table: Table, context: Context, plan: _Plan, decision: Decision, pasture: NDArray[np.bool_], told: str
) -> Callable[[int], list[str]]:
    at = _reference(plan, decision)
    given = _at_given(plan, at)
    held, turns = hold(**given), answering.turning_text(_net, given, TURNS)
    light, heavy, _ = _stocking(table, context)
    cold = answering.cold_share(context, table, plan.days[:, LOT]).mean(axis=1)

    def lines(i: int) -> list[str]:
        if not np.isfinite(held.net[i]):
            return [told]
        last = context.on + timedelta(days=int(given["days"][i]))
        out = [
            f"{OPTIONS[at[i]].label} to {last} at the prices given: {held.start_value[i]:,.2f} now against "
            f"{held.income[i]:,.2f} then, costs {held.running_cost[i] + held.other_cost[i]:,.2f} and interest "
            f"{held.interest[i]:,.2f}: net {held.net[i]:+,.2f} USD/head.",
            f"It breaks even at {held.break_even_sale[i]:.2f} USD/cwt sold, or {held.break_even_start[i]:.2f} USD/cwt "
            "today.",
            *turns(i),
            f"{told} Chance of pasture: {pasture[i].mean():.0%}.",
        ]
        if np.isfinite(heavy[i]):
            out.append(f"These acres carry {light[i]:.0f} to {heavy[i]:.0f} head of this weight in fall and winter.")
        if not (table.known("later_price")[i] or table.known("futures")[i]):
            out.append(
                "No later price was given: today's is carried to each weight along the line through the quotes of 500 "
                "and 750 lb."
            )
        elif not table.known("spring_price")[i]:
            spring = plan.price[i, GRAZE_OUT]
            out.append(
                f"No price after graze-out was given: {spring:.2f} USD/cwt, the later price carried on to that weight "
                "along the line from today's."
            )
        if not table.known("turnout")[i]:
            out.append("No turnout was given: pasture is counted from today.")
        if table.number("grain_given_up")[i] > 0:
            out.append("Grain given up by graze-out follows the wheat price of the same future.")
        if cold[i] > 0 and not np.isnan(plan.lot_per_day[i]):
            out.append(
                f"Cold adds {cold[i]:.1%} to the cost in the lot on average over past years; it is in the draws."
            )
        return out

    return lines


def check(values: dict[str, Any]) -> None:
    """Refuse half of a treatment."""
    answering.check_treatment(values, "retain-calves")


def in_season(table: Table, context: Context) -> NDArray[np.bool_]:
    """Pens of weaned calves with a weight on file, in autumn and winter."""
    return table.known("weight") & (context.on.month in (9, 10, 11, 12, 1))


QUESTION = Question(
    name="retain-calves",
    room="cattle",
    title="Sell the calves at weaning, or own them on?",
    about="Compares selling at weaning with wheat pasture to March, graze-out and a dry lot: gain as a range, pasture "
    "chance from the weather, prices as draws.",
    inputs=INPUTS,
    answer=answer,
    places=Places(kinds=("herd", "pen")),
    size="calf_head",
    in_season=in_season,
    limits="Healthy calves of one weight. Labor and land of one's own are not charged unless put into the costs.",
    options_count=4,
    check=check,
)
