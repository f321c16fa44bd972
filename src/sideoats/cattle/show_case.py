"""A young exhibitor's animal fed for a fair: what it will weigh, which class it makes, and what feeding it on pays."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.cattle import answering, budget, growth, program
from sideoats.decide.laws import quantile
from sideoats.errors import InputError
from sideoats.families.own_and_sell import SALE, Quantities, sensitivity, turning_points
from sideoats.problem import Barred, Choice, Look, labelled
from sideoats.question import Context, Table
from sideoats.words import say

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]

UNIT = "USD/head"
WEEK = 7  # days: the week is the product
SURE = 0.7  # chance of making the weight above which the scale can wait
OPTIONS = (
    Choice("show", labelled("show-feed"), passive=True, kind="show"),
    Choice("sell_now", labelled("show-sell"), trouble=SALE, kind="sell"),
    Choice("other_class", labelled("show-class"), trouble=SALE, kind="change"),
)
CHANGES = {
    "fair_price_10_percent_lower": ("fair_price", 0.9),
    "fair_price_10_percent_higher": ("fair_price", 1.1),
    "gain_10_percent_lower": ("gain", 0.9),
    "gain_10_percent_higher": ("gain", 1.1),
    "feed_25_percent_dearer": ("feed_price", 1.25),
}
TURNS = {"fair_price": "USD/cwt", "feed_price": "USD/lb", "gain": "lb/day"}
ASKED = ("animal", "weight", "fair", "target")


@dataclass(frozen=True)
class Animal:
    """A batch of show animals; arrays (place,) unless said.

    Attributes
    ----------
    days : to the fair
    drawn : (place, draw) weight today: the gain since the weighing is as uncertain as that to come [lb]
    gain : (place, draw) [lb/day], NaN where not known
    weight : (place, draw) on fair day [lb]
    weighed : day of the last weighing
    low, high, slack : ends of the class, and how far one weight may be missed, the spread of one weighing [lb]
    needed : least and most gain that ends in the class [lb/day]
    sound, feed : what such an animal gains [lb/day] and eats a pound of gain, least and most
    held : withdrawals
    next_weighing : days to it
    to_change : days to the last day on which the show takes a change of class; NaN where not known
    odd : the weight, or the one aimed at, is not one of such an animal
    given : that weight, where it is odd [lb]
    """

    days: Floats
    drawn: Floats
    gain: Floats
    weight: Floats
    weighed: program.Dates
    since: Floats
    oldest: float
    low: Floats
    high: Floats
    slack: Floats
    needed: tuple[Floats, Floats]
    sound: tuple[Floats, Floats]
    feed: tuple[Floats, Floats]
    held: answering.Withdrawal
    next_weighing: Floats
    to_change: Floats
    odd: Bools
    given: Floats

    @cached_property
    def today(self) -> Floats:
        """Weight today [lb]."""
        return np.asarray(self.drawn.mean(axis=1))

    @cached_property
    def known(self) -> Bools:
        """Its gain is known."""
        return np.asarray(~np.isnan(self.gain).all(axis=1))

    @cached_property
    def losing(self) -> Bools:
        """It loses weight."""
        return np.asarray(self.gain.mean(axis=1) < 0)

    @cached_property
    def past(self) -> Bools:
        """The fair is past."""
        return np.asarray(self.days < 0)

    @cached_property
    def off(self) -> dict[str, Bools]:
        """How it misses its class, if it does: what it would have to gain is unsound, or what it gains is off."""
        ahead, at = ~self.past, self.weight.mean(axis=1)
        fast, slow = ahead & (self.needed[0] > self.sound[1]), ahead & (self.needed[1] < self.sound[0])
        off = ahead & ~fast & ~slow
        return {
            "fast": fast,
            "slow": slow,
            "light": off & (at < self.low - self.slack),
            "heavy": off & (at > self.high + self.slack),
        }

    @cached_property
    def misses(self) -> Bools:
        """It misses its class as things stand."""
        return np.asarray(np.logical_or.reduce(list(self.off.values())))

    @cached_property
    def closed(self) -> Bools:
        """The show takes no change of class any more."""
        return np.asarray(self.to_change < 0)

    def inside(self) -> Bools:
        """(place, draw) in the class on fair day."""
        least, most = self.low - self.slack, self.high + self.slack
        return np.asarray((self.weight >= least[:, None]) & (self.weight <= most[:, None]))

    @cached_property
    def fast(self) -> Bools:
        """A gain that no such animal makes."""
        return np.asarray(self.known & (np.nan_to_num(self.gain).mean(axis=1) > FASTEST * self.sound[1]))

    @cached_property
    def stale(self) -> Bools:
        """Weighed so long ago that the weight of today is a guess: longer than a show season's feeding."""
        return np.asarray((self.since > self.oldest) & ~self.past)

    @cached_property
    def chance(self) -> Floats:
        """Chance of making the class; NaN where its gain is not known and days are left."""
        return np.where(self.known | (self.days == 0), self.inside().mean(axis=1), np.nan)


FASTEST = 1.1  # times the most that a sound animal gains on a complete feed: beyond it a figure is out of place


def animal_of(table: Table, context: Context) -> Animal:
    """Weights from the last weighing to the fair, and what the class asks."""
    on = np.datetime64(context.on, "D")
    weighed = np.where(np.isnat(table.date("weighed")), on, table.date("weighed")).astype("datetime64[D]")
    gain, since = _gain(table, context, weighed), program.days_between(weighed, on)
    moved = np.where(np.asarray(np.isnan(gain).all(axis=1))[:, None], 0.0, np.nan_to_num(gain)) * since[:, None]
    drawn, days = table.number("weight")[:, None] + moved, table.days_until("fair", context.on)
    today, (low, high) = np.asarray(drawn.mean(axis=1)), answering.span(table, "target")
    (usual_low, usual_high), (least, most) = (_by_animal(table, context, of) for of in ("feed", "weights"))
    feed_low, feed_high = answering.span(table, "feed_per_gain")
    every = context.facts.span("cattle/show.weigh_every")[1]
    weight = table.number("weight")
    return Animal(
        days=days,
        drawn=drawn,
        gain=gain,
        weight=drawn + np.where(days[:, None] == 0, 0.0, gain * days[:, None]),
        weighed=weighed,
        since=since,
        oldest=context.facts.value("cattle/show.oldest_weight"),
        low=low,
        high=high,
        slack=np.where(low == high, context.facts.value("cattle/weighing.spread") * low, 0.0),
        needed=(growth.gain_needed(today, low, days), growth.gain_needed(today, high, days)),
        sound=_by_animal(table, context, "gain"),
        feed=(answering.known_or(feed_low, usual_low), answering.known_or(feed_high, usual_high)),
        held=answering.withdrawal(table, context),
        next_weighing=np.clip(every - since, 0.0, None),
        to_change=table.days_until("change_by", context.on),
        odd=(weight < least) | (weight > most) | (high < least) | (low > most),
        given=np.where((weight < least) | (weight > most), weight, np.where(high < least, high, low)),
    )


def _by_animal(table: Table, context: Context, fact: str) -> tuple[Floats, Floats]:
    rows = {row[0]: row[1:] for row in context.facts[f"cattle/show.{fact}"].rows}
    picked = np.array([rows.get(str(a), (np.nan, np.nan)) for a in table.text("animal")], dtype=np.float64)
    picked = picked.reshape(len(table), 2)
    return picked[:, 0], picked[:, 1]


def _gain(table: Table, context: Context, weighed: program.Dates) -> Floats:
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
    return np.where(np.isnan(low)[:, None], seen[:, None] + error[:, None] * noise, stated)


def net(
    *,
    today: Any,
    gain: Any,
    days: Any,
    fair_price: Any,
    price: Any,
    feed_per_gain: Any,
    feed_price: Any,
    other_cost: Any,
) -> Floats:
    """What selling at the fair brings over selling today, USD a head: feed and what is still to pay are taken off."""
    gained = np.asarray(gain, float) * np.asarray(days, float)
    feed = growth.feed_for_gain(np.maximum(gained, 0.0), feed_per_gain) * feed_price
    sold = budget.value(today + gained, fair_price) - budget.value(today, price)
    return np.asarray(sold - feed - other_cost, dtype=np.float64)


def given_of(table: Table, a: Animal) -> dict[str, Any]:
    """Inputs of `net` at the middle of each range; NaN where not known."""
    low, high = answering.span(table, "fair_price")
    return {
        "today": a.today,
        "gain": np.where(a.known, np.nan_to_num(a.gain).mean(axis=1), np.nan),
        "days": np.maximum(a.days, 0.0),
        "fair_price": (low + high) / 2,
        "price": table.number("price"),
        "feed_per_gain": (a.feed[0] + a.feed[1]) / 2,
        "feed_price": table.number("feed_price"),
        "other_cost": table.number("other_cost"),
    }


def gain_of(table: Table, context: Context, a: Animal, given: dict[str, Any]) -> Floats:
    """(place, draw, option) money over selling today, USD/head; NaN where a price is not known.

    The price of the fair is paid inside the class; outside it no more than what such animals bring anywhere.
    """
    at_fair = answering.spread(context, table, "fair price", *answering.span(table, "fair_price"))
    drawn = {name: np.asarray(value)[:, None] for name, value in given.items()} | {
        "today": a.drawn,
        "gain": a.gain,
        "feed_per_gain": answering.spread(context, table, "feed per gain", *a.feed),
    }
    missed = np.minimum(at_fair, drawn["price"])
    shape = (len(table), context.outlook.draws)
    shown, changed = (
        np.broadcast_to(net(**drawn | {"fair_price": price}), shape)
        for price in (np.where(a.inside(), at_fair, missed), at_fair)
    )
    return np.stack([shown, np.zeros(shape), changed], axis=2)


def aims(a: Animal) -> Floats:
    """(place, option) which choice makes a class: this one as things stand, or another."""
    return np.stack([~a.misses, np.zeros_like(a.misses), a.misses], axis=1).astype(np.float64)


def bars(a: Animal) -> tuple[Barred, ...]:
    """No fair and no sale inside a withdrawal; no change of class without a reason or after its last day."""
    inside = a.held.inside(np.stack([a.days, np.zeros_like(a.days), a.days], axis=1))
    change = np.array([False, False, True])
    return (
        Barred(inside, a.held.said),
        Barred(~a.misses[:, None] & change, say("bar.class_fits")),
        Barred((a.misses & a.closed)[:, None] & change, say("bar.class_closed")),
    )


def looks(a: Animal) -> tuple[Look, ...]:
    """The scale, where the gain is not known or the class is not sure and it was last weighed weeks ago."""
    soon = np.minimum(a.next_weighing, a.days) <= WEEK
    with np.errstate(invalid="ignore"):
        weigh = (a.days > 0) & ~a.misses & (~a.known | ((a.chance < SURE) & soon))
    within = next_look(a)
    return (Look(np.zeros((len(soon), 1)), np.zeros(len(soon)), within, worth=np.where(weigh, np.nan, 0.0)),)


def next_look(a: Animal) -> Ints:
    """(place,) days to the next weighing, never after the fair; -1 once it is past."""
    days = np.minimum(a.next_weighing, np.maximum(np.nan_to_num(a.days), 0.0))
    return np.where(a.past | np.isnan(days), -1, days).astype(np.int64)


def delay(a: Animal, gain: Floats) -> Floats:
    """(place, option) what another week costs, USD/head: of feeding at a loss a week's part; a class presses anyway."""
    with np.errstate(invalid="ignore"):
        week = -gain[:, :, 0].mean(axis=1) * WEEK / np.maximum(a.days, WEEK)
    return np.stack([np.zeros_like(week), np.maximum(week, 0.0), np.full_like(week, np.nan)], axis=1)


def due(a: Animal) -> Ints:
    """(place,) days in which the call is acted on: the week, the fair, or the last day to change the class."""
    change = np.where(a.misses & ~a.closed & ~np.isnan(a.to_change), a.to_change, WEEK)
    days = np.minimum(np.minimum(WEEK, change), np.maximum(np.nan_to_num(a.days, nan=WEEK), 0.0))
    return days.astype(np.int64)


def quantities(table: Table, a: Animal, given: dict[str, Any]) -> Quantities:
    """Weights, gains and feed; money where prices are given."""
    known = a.known | (a.days == 0)
    safe, middle = np.where(known[:, None], a.weight, 0.0), (a.low + a.high) / 2
    low, high = quantile(safe, [0.1, 0.9], axis=1)
    gained = np.maximum(middle - a.today, 0.0)
    feed_low, feed_high = growth.feed_for_gain(gained, a.feed[0]), growth.feed_for_gain(gained, a.feed[1])
    price = table.number("feed_price")
    cost = (feed_low + feed_high) / 2 * price
    total = table.number("paid") + cost + table.number("other_cost")

    def if_known(values: Floats) -> Floats:
        return np.where(known, values, np.nan)

    return {
        "days_left": (a.days, "day"),
        "weight_today": (a.today, "lb"),
        "gain_needed": (growth.gain_needed(a.today, middle, a.days), "lb/day"),
        "gain_needed_least": (a.needed[0], "lb/day"),
        "gain_needed_most": (a.needed[1], "lb/day"),
        "gain_now": (given["gain"], "lb/day"),
        "weight_expected": (if_known(safe.mean(axis=1)), "lb"),
        "weight_low": (if_known(low), "lb"),
        "weight_high": (if_known(high), "lb"),
        "chance_in_weight": (a.chance, "1"),
        "feed_needed_low": (feed_low, "lb"),
        "feed_needed_high": (feed_high, "lb"),
        "feed_per_day": ((feed_low + feed_high) / 2 / np.where(a.days > 0, a.days, np.nan), "lb/day"),
        "feed_cost_low": (feed_low * price, UNIT),
        "feed_cost_high": (feed_high * price, UNIT),
        "feed_cost_of_gain": (budget.cost_of_gain(cost, gained), "USD/lb"),
        "break_even_price": (budget.cost_of_gain(total, middle) * 100, "USD/cwt"),
        "net_at_given_price": (net(**given), UNIT),
        **{f"turns_at_{name}": (turn, TURNS[name]) for name, turn in turning_points(net, given, tuple(TURNS)).items()},
        **sensitivity(net, given, CHANGES, UNIT),
    }


def check(values: dict[str, Any]) -> None:
    """Refuse two weighings that cannot be put in order, and a last weight without its day."""
    if (values["last_weight"] is None) != (values["last_weighed"] is None):
        raise InputError(
            "the weighing before needs both its weight and its day",
            where="show-animal last_weight",
            expected="last_weight=... last_weighed=YYYY-MM-DD",
        )
    if values["last_weighed"] and values["weighed"] and values["last_weighed"] >= values["weighed"]:
        raise InputError(
            "is not before the last weighing",
            where="show-animal last_weighed",
            expected=f"a day before {values['weighed']}",
        )
    answering.check_treatment(values, "show-animal")
