"""A young exhibitor's steer, lamb or pig: the gain and the feed that bring it to its weight on fair day."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from sideoats.call import ACT, LOOK, STOP, WAIT
from sideoats.cattle import answering, budget, growth, program
from sideoats.decide import Decision, decide
from sideoats.errors import InputError
from sideoats.question import Answers, Bar, Context, Option, Places, Question, Table
from sideoats.schema import Field

if TYPE_CHECKING:
    from sideoats.pictures import Picture

UNIT = "USD/head"
ANIMALS = ("steer", "lamb", "pig")
WEEK = 7  # days: the week is the product
SURE = 0.7  # chance of making the weight above which nothing needs to change this week
INPUTS = (
    Field("animal", "choice", "what is shown", choices=ANIMALS, required=True,
          aliases={"sheep": "lamb", "calf": "steer", "hog": "pig", "barrow": "pig", "gilt": "pig", "wether": "lamb"},
          fresh_days=90, found_in=("evidence:show_weighing.animal",)),
    Field("weight", "number", "weight at the last weighing", unit="lb", low=10, high=2000, required=True,
          example="880 lb", fresh_days=90, found_in=("evidence:show_weighing.weight",)),
    Field("weighed", "date", "day of that weighing; today where not given",
          fresh_days=90, found_in=("evidence:show_weighing.weighed",)),
    Field("fair", "date", "day on which it is weighed in", required=True, example="2027-01-22",
          fresh_days=90, found_in=("evidence:show_weighing.fair",)),
    Field("target", "numbers", "weight wanted, one number or the ends of the class", unit="lb", low=20, high=2000,
          required=True, example="1250, 1350 lb", fresh_days=90, found_in=("evidence:show_weighing.target",)),
    Field("gain", "numbers", "daily gain now, one number or a range", unit="lb/day", low=-2, high=6,
          example="2.8, 3.2 lb/day"),
    Field("last_weight", "number", "weight at the weighing before", unit="lb", low=5, high=2000, example="790 lb",
          fresh_days=90, found_in=("evidence:show_weighing.last_weight",)),
    Field("last_weighed", "date", "day of the weighing before", example="2026-08-15",
          fresh_days=90, found_in=("evidence:show_weighing.last_weighed",)),
    Field("feed_per_gain", "numbers", "pounds of feed a pound of gain, one number or a range", unit="1", low=1, high=20,
          example="6.5, 7.5"),
    Field("feed_price", "number", "price of the feed", unit="USD/lb", low=0, high=5, example="0.22 USD/lb"),
    Field("price", "number", "what it would bring today", unit="USD/cwt", low=5, high=2000, example="210 USD/cwt"),
    Field("fair_price", "numbers", "what it will bring at the fair, one number or a range", unit="USD/cwt", low=5,
          high=5000, example="200, 260 USD/cwt"),
    Field("paid", "number", "what the animal cost", unit=UNIT, low=0, high=50000, example="1500 USD/head"),
    Field("other_cost", "number", "entry, health, bedding and the rest", unit=UNIT, low=0, high=50000, default=0.0,
          example="180 USD/head"),
    *answering.treatment_fields("show_weighing", "the animal", 90),
)  # fmt: skip
OPTIONS = (Option("show", "Feed it on and sell it at the fair"), Option("sell_now", "Sell it now"))
CHANGES = {
    "fair_price_10_percent_lower": ("fair_price", 0.9),
    "fair_price_10_percent_higher": ("fair_price", 1.1),
    "gain_10_percent_lower": ("gain", 0.9),
    "gain_10_percent_higher": ("gain", 1.1),
    "feed_25_percent_dearer": ("feed_price", 1.25),
}
TURNS = {
    "fair_price": ("a price at the fair", "USD/cwt"),
    "feed_price": ("feed", "USD/lb"),
    "gain": ("a gain", "lb/day"),
}


def check(values: dict[str, Any]) -> None:
    """Refuse two weighings that cannot be put in order, and a last weight without its day."""
    if (values["last_weight"] is None) != (values["last_weighed"] is None):
        raise InputError("the weighing before needs both its weight and its day", where="show-animal last_weight",
                         expected="last_weight=... last_weighed=YYYY-MM-DD")  # fmt: skip
    if values["last_weighed"] and values["weighed"] and values["last_weighed"] >= values["weighed"]:
        raise InputError("is not before the last weighing", where="show-animal last_weighed",
                         expected=f"a day before {values['weighed']}")  # fmt: skip
    answering.check_treatment(values, "show-animal")


@dataclass(frozen=True)
class _Plan:
    """(place,) arrays unless said."""

    days: NDArray[np.float64]
    today: NDArray[np.float64]
    drawn: NDArray[
        np.float64
    ]  # (place, draw) weight today: the gain since the weighing is as uncertain as that to come
    weighed: program.Dates
    low: NDArray[np.float64]
    high: NDArray[np.float64]
    gain: NDArray[np.float64]  # (place, draw), NaN where not known
    needed: tuple[NDArray[np.float64], NDArray[np.float64]]
    sound: tuple[NDArray[np.float64], NDArray[np.float64]]
    feed: tuple[NDArray[np.float64], NDArray[np.float64]]
    held: answering.Withdrawal
    next_weighing: NDArray[np.float64]
    ahead: NDArray[np.bool_]  # the weighing is dated after today
    slack: NDArray[np.float64]  # a single weight is met within the spread of one weighing; a class has its own ends


def _by_animal(table: Table, context: Context, fact: str) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    rows = {row[0]: row[1:] for row in context.facts[fact].rows}
    picked = np.array([rows.get(str(a), (np.nan, np.nan)) for a in table.text("animal")], dtype=np.float64)
    return picked.reshape(len(table), 2)[:, 0], picked.reshape(len(table), 2)[:, 1]


def _gain(table: Table, context: Context, weighed: program.Dates) -> NDArray[np.float64]:
    """(place, draw) gain: as stated, else between two weighings with the error of each, else NaN.

    Weighings closer together than one should weigh tell fill and scale, not gain.
    """
    low, high = answering.span(table, "gain")
    stated = answering.spread(context, table, "show gain", low, high)
    between = program.days_between(table.date("last_weighed"), weighed)
    before, now = table.number("last_weight"), table.number("weight")
    seen = growth.gain_needed(before, now, between)
    error = context.facts.value("cattle/weighing.spread") * np.hypot(before, now) / np.maximum(between, 1.0)
    noise = context.outlook.normal("show weighing", table.keys)
    seen = np.where(between < context.facts.span("cattle/show.weigh_every")[0], np.nan, seen)
    drawn = seen[:, None] + error[:, None] * noise
    return np.where(np.isnan(low)[:, None], drawn, stated)


def _known(gain: NDArray[np.float64]) -> NDArray[np.bool_]:
    """(place,) True where the animal's gain is known."""
    return np.asarray(~np.isnan(gain).all(axis=1), dtype=np.bool_)


def _plan(table: Table, context: Context) -> _Plan:
    on = np.datetime64(context.on, "D")
    weighed = np.where(np.isnat(table.date("weighed")), on, table.date("weighed")).astype("datetime64[D]")
    gain = _gain(table, context, weighed)
    since = program.days_between(weighed, on)
    drawn = table.number("weight")[:, None] + np.where(_known(gain)[:, None], np.nan_to_num(gain), 0.0) * since[:, None]
    today = drawn.mean(axis=1)
    days = table.days_until("fair", context.on)
    low, high = answering.span(table, "target")
    needed = (growth.gain_needed(today, low, days), growth.gain_needed(today, high, days))
    usual_low, usual_high = _by_animal(table, context, "cattle/show.feed")
    feed_low, feed_high = answering.span(table, "feed_per_gain")
    every = context.facts.span("cattle/show.weigh_every")[1]
    slack = np.where(low == high, context.facts.value("cattle/weighing.spread") * low, 0.0)
    return _Plan(
        days=days, today=today, drawn=drawn, weighed=weighed, low=low, high=high, gain=gain, needed=needed,
        sound=_by_animal(table, context, "cattle/show.gain"),
        feed=(answering.known_or(feed_low, usual_low), answering.known_or(feed_high, usual_high)),
        held=answering.withdrawal(table, context),
        next_weighing=np.clip(every - since, 0.0, None), ahead=since < 0, slack=slack,
    )  # fmt: skip


def _net(
    *,
    today: Any,
    gain: Any,
    days: Any,
    fair_price: Any,
    price: Any,
    feed_per_gain: Any,
    feed_price: Any,
    other_cost: Any,
) -> NDArray[np.float64]:
    """What selling at the fair brings over selling today, USD a head: feed and what is still to pay are taken off."""
    gained = np.asarray(gain, float) * np.asarray(days, float)
    feed = growth.feed_for_gain(np.maximum(gained, 0.0), feed_per_gain) * feed_price
    sold = budget.value(today + gained, fair_price) - budget.value(today, price)
    return np.asarray(sold - feed - other_cost, dtype=np.float64)


def _money(table: Table, context: Context, plan: _Plan) -> tuple[dict[str, Any], Decision]:
    """Inputs of `_net` at the middle of each range, and the decision; NaN money where a price is not known."""
    low, high = answering.span(table, "fair_price")
    known = _known(plan.gain)
    given = {
        "today": plan.today, "gain": np.where(known, np.nan_to_num(plan.gain).mean(axis=1), np.nan),
        "days": np.maximum(plan.days, 0.0), "fair_price": (low + high) / 2, "price": table.number("price"),
        "feed_per_gain": (plan.feed[0] + plan.feed[1]) / 2, "feed_price": table.number("feed_price"),
        "other_cost": table.number("other_cost"),
    }  # fmt: skip
    drawn = {name: np.asarray(value)[:, None] for name, value in given.items()} | {
        "today": plan.drawn, "gain": plan.gain, "fair_price": answering.spread(context, table, "fair price", low, high),
        "feed_per_gain": answering.spread(context, table, "feed per gain", *plan.feed),
    }  # fmt: skip
    net = np.broadcast_to(_net(**drawn), (len(table), context.outlook.draws))
    payoff = np.stack([net, np.where(np.isnan(net), np.nan, 0.0)], axis=2)
    barred = plan.held.inside(np.stack([plan.days, np.zeros_like(plan.days)], axis=1))
    return given, decide(payoff, barred=barred, risk_aversion=context.risk_aversion)


def answer(table: Table, context: Context) -> Answers:
    """Gain needed, weight expected on fair day with its range, and the feed it takes; money where prices are given.

    The verdict follows the weight: what a season of showing is worth to a young exhibitor is not money.
    """
    plan = _plan(table, context)
    ahead = np.where(plan.days[:, None] == 0, 0.0, plan.gain * plan.days[:, None])
    weight = plan.drawn + ahead
    least, most = plan.low - plan.slack, plan.high + plan.slack
    inside = (weight >= least[:, None]) & (weight <= most[:, None])
    unknown = ~_known(plan.gain) & (plan.days != 0)
    chance = np.where(unknown, np.nan, inside.mean(axis=1))
    expected = weight.mean(axis=1)
    past, unclear = plan.days < 0, plan.held.inside(plan.days)
    too_fast, too_slow = plan.needed[0] > plan.sound[1], plan.needed[1] < plan.sound[0]
    off = too_fast | too_slow | (expected < least) | (expected > most)

    weigh_soon = np.minimum(plan.next_weighing, plan.days) <= WEEK
    verdict = np.where(off, ACT, np.where(unknown | ((chance < SURE) & weigh_soon), LOOK, WAIT))
    verdict = np.where(unclear, STOP, verdict)
    verdict = np.where(past, WAIT, verdict).astype(np.int8)
    given, decision = _money(table, context, plan)
    none = np.zeros_like(unclear)
    bars = (
        Bar(np.stack([unclear, none], axis=1), plan.held.text, hazard=True),
        Bar(np.stack([none, plan.held.inside(np.zeros(len(table)))], axis=1), plan.held.text),
    )
    look = np.where(past | (verdict == STOP), -1, np.minimum(plan.next_weighing, np.maximum(plan.days, 0)))
    return Answers(
        table, context, options=OPTIONS, decision=decision, unit=UNIT, bars=bars, verdict=verdict,
        act_by=np.where(verdict == ACT, np.minimum(WEEK, np.maximum(np.nan_to_num(plan.days), 0)), -1).astype(np.int64),
        look_by=np.where(np.isnan(look), -1, look).astype(np.int64),
        headline=lambda i: _headline(plan, table, weight, chance, i),
        because=_because(plan, table, weight, context, given),
        quantities=_quantities(plan, table, weight, chance) | {
            "net_at_given_price": (_net(**given), UNIT),
            **answering.risk_quantities(OPTIONS, decision, UNIT, "sell_now"),
            **answering.turning_quantities(_net, given, TURNS),
            **answering.sensitivity(_net, given, CHANGES, UNIT),
        },
        cost_of_waiting=np.zeros(len(table)),
        missing=plan.ahead | ~np.logical_and.reduce([table.known(n) for n in ("weight", "fair", "target", "animal")]),
        missing_headline=lambda i: (
            _headline(plan, table, weight, chance, i)
            if unclear[i]
            else f"Weighed on {table.date('weighed')[i]}, which is still ahead: check the day of the weighing."
            if plan.ahead[i]
            else "Weigh the animal; ask for the fair day and the weight of its class."
        ),
        cautions=(
            context.facts["cattle/show.care"].text,
            context.facts["cattle/care.records"].text,
            "The show's own rules on weights, products and entry dates come first: read them with a parent and leader.",
        ),
        pictures=lambda i: _pictures(plan, table, i),
    )  # fmt: skip


def _pictures(plan: _Plan, table: Table, i: int) -> Sequence[Picture]:
    """Weight from today to weigh-in beside the weight wanted, where the gain is known."""
    from sideoats.cattle.pictures import weight_to_fair

    if not (plan.days[i] > 0 and _known(plan.gain)[i]):
        return []
    wanted = (float(plan.low[i]), float(plan.high[i]))
    fair = str(table.date("fair")[i])
    return [weight_to_fair(float(plan.days[i]), plan.drawn[i], plan.gain[i], wanted, fair=fair)]


def _wanted(plan: _Plan, i: int) -> str:
    if plan.low[i] == plan.high[i]:
        return f"{plan.low[i]:,.0f} lb"
    return f"{plan.low[i]:,.0f} to {plan.high[i]:,.0f} lb"


def _headline(plan: _Plan, table: Table, weight: NDArray[np.float64], chance: NDArray[np.float64], i: int) -> str:
    fair, days, wanted = table.date("fair")[i], plan.days[i], _wanted(plan, i)
    if days < 0:
        return f"That fair ({fair}) is past."
    if plan.held.inside(plan.days)[i]:
        return f"Do not take it to the fair of {fair}: {plan.held.text(i)}."
    if days == 0:
        return f"Weigh-in is today: about {plan.today[i]:,.0f} lb against {wanted}."
    if plan.needed[0][i] > plan.sound[1][i]:
        return (
            f"{wanted} by {fair} would take {_rate(plan, i)} lb/day, more than a sound animal can be asked for: choose "
            "a lighter class."
        )
    if plan.needed[1][i] < plan.sound[0][i]:
        return (
            f"{wanted} on {fair} would mean holding it back: a sound {table.text('animal')[i]} on full feed gains at "
            f"least {plan.sound[0][i]:g} lb/day and would then be {plan.today[i] + plan.sound[0][i] * days:,.0f} lb or "
            "more. Choose a heavier class."
        )
    lead = f"Needs {_rate(plan, i)} lb/day to be {wanted} on {fair}"
    if np.isnan(chance[i]):
        return f"{lead}; weigh it again to see what it gains."
    seen = weight[i].mean()
    share = "" if np.ptp(weight[i]) == 0 else f", in the weight in {chance[i]:.0%} of futures"
    now = f"{lead}; at its gain now about {seen:,.0f} lb{share}"
    if seen < plan.low[i] - plan.slack[i]:
        return f"{now}. Too light: settle with the leader how it can gain more, or choose a lighter class."
    if seen > plan.high[i] + plan.slack[i]:
        return f"{now}. Too heavy: settle with the leader how it can gain less, or choose a heavier class."
    again = f" Weigh it again: it was last weighed on {plan.weighed[i]}." if plan.next_weighing[i] <= WEEK else ""
    return f"{now}.{again}"


def _rate(plan: _Plan, i: int) -> str:
    """Daily gain needed, one number or a range."""
    least, most = plan.needed[0][i], plan.needed[1][i]
    return f"{least:.2f}" if plan.low[i] == plan.high[i] else f"{least:.2f} to {most:.2f}"


def _because(
    plan: _Plan, table: Table, weight: NDArray[np.float64], context: Context, given: dict[str, Any]
) -> Callable[[int], list[str]]:
    every = context.facts.span("cattle/show.weigh_every")
    turns, net = answering.turning_text(_net, given, TURNS), _net(**given)

    def lines(i: int) -> list[str]:
        out = []
        if plan.days[i] > 0 and _known(plan.gain)[i]:
            low, high = np.percentile(weight[i], [10, 90])
            only = " (one gain was given, so no range: give two ends, or a second weighing)" if low == high else ""
            out.append(
                f"Gain now {plan.gain[i].mean():.2f} lb/day: {_span(low, high)} lb on fair day{only}; a tenth of a "
                f"pound a day more or less moves it by {0.1 * plan.days[i]:.0f} lb."
            )
        elif table.known("last_weighed")[i] and plan.days[i] > 0:
            out.append(f"The two weighings are less than {every[0]:.0f} days apart: they tell fill, not gain.")
        out.append(
            f"A sound {table.text('animal')[i]} on full feed gains about {plan.sound[0][i]:g} to {plan.sound[1][i]:g} "
            "lb/day; change feed slowly."
        )
        gained = (plan.low[i] + plan.high[i]) / 2 - plan.today[i]
        if plan.days[i] > 0 and gained > 0:
            least, most = growth.feed_for_gain(gained, np.array([plan.feed[0][i], plan.feed[1][i]]))
            out.append(f"To the middle of the weight it eats about {_span(least, most)} lb of feed.")
        if np.isfinite(net[i]):
            out.append(f"Sold at the fair at the prices given it brings {net[i]:+,.2f} USD over selling it today.")
            out += turns(i)
        out.append(f"Weigh every {every[0]:.0f} to {every[1]:.0f} days, same scale, same hour, before feeding.")
        return out

    return lines


def _span(low: float, high: float) -> str:
    return f"{low:,.0f}" if low == high else f"{low:,.0f} to {high:,.0f}"


def _quantities(
    plan: _Plan, table: Table, weight: NDArray[np.float64], chance: NDArray[np.float64]
) -> answering.Quantities:
    known = _known(plan.gain)
    safe = np.where(known[:, None], weight, 0.0)
    low, high = np.percentile(safe, [10, 90], axis=1)
    middle = (plan.low + plan.high) / 2
    gained = np.maximum(middle - plan.today, 0.0)
    feed_low, feed_high = growth.feed_for_gain(gained, plan.feed[0]), growth.feed_for_gain(gained, plan.feed[1])
    price = table.number("feed_price")
    cost = (feed_low + feed_high) / 2 * price
    total = table.number("paid") + cost + table.number("other_cost")

    def if_known(values: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.where(known, values, np.nan)

    return {
        "days_left": (plan.days, "day"),
        "weight_today": (plan.today, "lb"),
        "gain_needed": (growth.gain_needed(plan.today, middle, plan.days), "lb/day"),
        "gain_needed_least": (plan.needed[0], "lb/day"),
        "gain_needed_most": (plan.needed[1], "lb/day"),
        "gain_now": (if_known(np.where(known[:, None], plan.gain, 0.0).mean(axis=1)), "lb/day"),
        "weight_expected": (if_known(safe.mean(axis=1)), "lb"),
        "weight_low": (if_known(low), "lb"),
        "weight_high": (if_known(high), "lb"),
        "chance_in_weight": (chance, "1"),
        "feed_needed_low": (feed_low, "lb"),
        "feed_needed_high": (feed_high, "lb"),
        "feed_per_day": ((feed_low + feed_high) / 2 / np.where(plan.days > 0, plan.days, np.nan), "lb/day"),
        "feed_cost_low": (feed_low * price, UNIT),
        "feed_cost_high": (feed_high * price, UNIT),
        "feed_cost_of_gain": (budget.cost_of_gain(cost, gained), "USD/lb"),
        "break_even_price": (budget.cost_of_gain(total, middle) * 100, "USD/cwt"),
    }


def in_season(table: Table, context: Context) -> NDArray[np.bool_]:
    """Show animals whose fair is still ahead."""
    return table.days_until("fair", context.on) >= 0


QUESTION = Question(
    name="show-animal",
    room="cattle",
    title="Will this show animal make its weight on fair day?",
    about="Gain needed and feed to reach a weight on the day of weigh-in, from the weighings of a steer, lamb or pig.",
    inputs=INPUTS,
    answer=answer,
    places=Places(kinds=("pen", "herd")),
    in_season=in_season,
    options_count=2,
    limits="Weight, feed and the sale only: prizes and what is learned are not counted. Finish, muscle and showing are "
    "for the leader and the judge. Two weighings alone leave a wide range; each further one narrows it.",
    check=check,
)
