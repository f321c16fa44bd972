"""direct-sale: is a stand, a fair or a mobile kitchen worth the day? Break-even sales with the crowd as draws."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.decide import Decision, decide
from sideoats.errors import InputError
from sideoats.grain.stand import (
    break_even_prepared,
    break_even_sales,
    contribution,
    critical_share,
    stand_profit,
    triangular,
)
from sideoats.question import Answers, Bar, Context, Option, Question, Table
from sideoats.schema import Field

Floats = NDArray[np.float64]

INPUTS = (
    Field("event_date", "date", "first day of the event; without it the call is for today"),
    Field("days", "number", "days open", bare=True, low=1, high=60, default=1.0),
    Field("crowd_low", "number", "people on a poor day", bare=True, low=0, high=1e6, required=True, example="150"),
    Field("crowd", "number", "people on the likeliest day", bare=True, low=0, high=1e6, required=True, example="400"),
    Field("crowd_high", "number", "people on a good day", bare=True, low=0, high=1e6, required=True, example="900"),
    Field("buying_low", "share", "least share of them that buys", required=True, example="4 %"),
    Field("buying_high", "share", "greatest share of them that buys", required=True, example="10 %"),
    Field("washed_out", "share", "chance that a day has to be given up (weather, power)", default=0.0),
    Field("price", "number", "price of a portion", unit="USD", low=0.1, high=1000, required=True, example="11 USD"),
    Field("food_cost", "number", "food and packaging of a portion", unit="USD", low=0, high=1000, required=True,
          example="4.20 USD"),
    Field("fixed", "number", "space, licences, fuel, hired help for the whole event", unit="USD", low=0, high=1e6,
          required=True, example="480 USD"),
    Field("own_hours", "number", "hours of your own over the event", unit="hour", bare=True, low=0, high=2000,
          default=0.0),
    Field("own_wage", "number", "what an hour of your own is worth to you", unit="USD/hour", low=0, high=500,
          default=0.0),
    Field("fee", "share", "share of the takings for host, cards and sales tax", default=0.0),
    Field("prepared", "number", "portions made ready each day", bare=True, low=1, high=1e5, example="60"),
    Field("spoilage", "share", "share of unsold portions that is lost", default=1.0),
)  # fmt: skip
OPTIONS = (
    Option("stay", "Stay at home", passive=True),
    Option("go", "Go, with the portions planned", day=0),
    Option("go-suggested", "Go, with the portions that pay best on average", day=0),
)
STAY, GO, SUGGESTED = range(3)


def _check(values: dict[str, Any]) -> None:
    if not values["crowd_low"] <= values["crowd"] <= values["crowd_high"]:
        raise InputError(
            f"crowd {values['crowd']:g} is not between {values['crowd_low']:g} and {values['crowd_high']:g}",
            where="direct-sale crowd", expected="crowd_low <= crowd <= crowd_high",
        )  # fmt: skip
    for name in ("days", "prepared"):
        if values[name] is not None and values[name] != int(values[name]):
            raise InputError(f"{values[name]:g} is not whole", where=f"direct-sale {name}", expected="a whole number")
    if values["buying_low"] > values["buying_high"]:
        raise InputError(
            f"buying_low {values['buying_low']:g} is more than buying_high {values['buying_high']:g}",
            where="direct-sale buying_low", todo="swap them",
        )  # fmt: skip


def _demand(table: Table, context: Context) -> Floats:
    """Portions asked for, (place, draw, day), NaN beyond a row's days.

    The share that buys is one number for an event, the crowd and the weather differ from day to day.
    """
    outlook, keys = context.outlook, table.keys
    days = table.number("days").astype(np.int64)
    share = table.number("buying_low")[:, None] + (table.number("buying_high") - table.number("buying_low"))[
        :, None
    ] * outlook.uniform("stand buyers", keys)
    demand = np.full((len(table), outlook.draws, int(days.max())), np.nan)
    for day in range(demand.shape[2]):
        crowd = triangular(
            outlook.uniform(f"stand crowd {day}", keys), table.number("crowd_low")[:, None],
            table.number("crowd")[:, None], table.number("crowd_high")[:, None],
        )  # fmt: skip
        open_day = outlook.uniform(f"stand weather {day}", keys) >= table.number("washed_out")[:, None]
        today = np.floor(crowd * share) * open_day
        demand[:, :, day] = np.where((days > day)[:, None], today, np.nan)
    return demand


def _quantile(demand: Floats, level: Floats) -> Floats:
    """Quantile of each place's own level over its draws and open days, (place,); the order statistic at or above it."""
    flat = np.sort(demand.reshape(len(demand), -1), axis=1)  # NaN goes last
    count = (~np.isnan(flat)).sum(axis=1)
    at = np.ceil(level * count).astype(np.int64).clip(1, count) - 1
    return np.asarray(np.take_along_axis(flat, at[:, None], axis=1)[:, 0])


@dataclass(frozen=True)
class Sums:
    """The event by row, (place,) unless said; `made` and `planned` are portions, the latter a day."""

    price: Floats
    fixed: Floats
    margin: Floats
    level: Floats
    suggested: Floats
    planned: Floats
    made: Floats
    needed: Floats
    with_waste: Floats
    goal: Floats  # (place, option) portions that break even, waste counted; NaN for staying
    sold: Floats  # (place, draw)
    payoff: Floats  # (place, draw, option)


def _sums(table: Table, context: Context) -> Sums:
    price, food, fee = table.number("price"), table.number("food_cost"), table.number("fee")
    fixed = table.number("fixed") + table.number("own_hours") * table.number("own_wage")
    spoilage, margin = table.number("spoilage"), contribution(price, food, fee)
    demand, level = _demand(table, context), critical_share(price, food, spoilage, fee)
    suggested = _quantile(demand, level).round().clip(0)
    planned = np.where(table.known("prepared"), table.number("prepared"), suggested)

    def money(ready: Floats) -> tuple[Floats, Floats]:
        return stand_profit(
            demand, ready[:, None], price=price[:, None], unit_cost=food[:, None], fixed_cost=fixed[:, None],
            spoilage=spoilage[:, None], fee_share=fee[:, None],
        )  # fmt: skip

    sold, go = money(planned)
    _, best_go = money(suggested)
    needed, made = break_even_sales(fixed, margin), planned * table.number("days")

    def even(portions: Floats) -> Floats:
        """Portions that break even when so many are made; selling out wastes nothing and is not enough beyond."""
        count = break_even_prepared(fixed, margin, food, portions, spoilage)
        return _whole(np.where(count > portions, needed, count))

    goal = np.stack([np.full_like(needed, np.nan), even(made), even(suggested * table.number("days"))], axis=1)
    return Sums(
        price, fixed, margin, level, suggested, planned, made, _whole(needed), goal[:, GO], goal, sold,
        np.stack([np.zeros_like(go), go, best_go], axis=2),
    )  # fmt: skip


def _whole(portions: Floats) -> Floats:
    """Portions rounded up, never below none."""
    return np.maximum(np.ceil(portions - 1e-9), 0.0)


def _headline(sums: Sums, decision: Decision, i: int) -> str:
    if sums.margin[i] <= 0:
        return f"Do not go at this price: each portion sold loses {-sums.margin[i]:.2f} USD before any fixed cost."
    best = int(decision.best[i])
    shown = best if best != STAY else (SUGGESTED if decision.barred[i, GO] else GO)
    goal, even = sums.goal[i, shown], (sums.payoff[i, :, shown] >= 0).mean()
    chance = f"{goal:,.0f} portions sold break even; that happens in {even:.0%} of the futures."
    if shown == GO and goal > sums.made[i]:
        chance = f"{goal:,.0f} portions break even, more than the {sums.made[i]:,.0f} planned."
    if best == STAY:
        short = -max((v for v in decision.expected[i, 1:].tolist() if np.isfinite(v)), default=0.0)
        brings = f"loses {short:,.0f} USD" if round(short) > 0 else "brings nothing"
        return f"Stay at home: the event {brings} on average. {chance}"
    ready = sums.planned[i] if best == GO else sums.suggested[i]
    planned = "" if best == GO or decision.barred[i, GO] else f", not the {sums.planned[i]:,.0f} planned"
    return f"Go with {ready:,.0f} portions a day{planned}: {decision.expected[i, best]:,.0f} USD on average. {chance}"


def _because(sums: Sums, i: int) -> list[str]:
    low, high = np.quantile(sums.sold[i], [0.1, 0.9])
    return [
        f"A portion leaves {sums.margin[i]:.2f} of {sums.price[i]:.2f} USD for {sums.fixed[i]:,.0f} USD of fixed cost.",
        f"Without waste {sums.needed[i]:,.0f} portions would break even; with {sums.planned[i]:,.0f} made a day it is "
        f"{sums.with_waste[i]:,.0f}."
        if np.isfinite(sums.needed[i])
        else "A portion leaves nothing for the fixed cost: no number of them would break even.",
        f"Sales run from {low:,.0f} to {high:,.0f} portions (10th to 90th of {sums.sold.shape[1]} futures of your own "
        "crowd figures).",
        f"Prepare for the {sums.level[i]:.0%} point of demand: {sums.suggested[i]:,.0f} portions a day.",
    ]


def _undated(ahead: float) -> list[str]:
    """What the act-by date rests on."""
    return [] if np.isfinite(ahead) else ["No date of the event was given: the call is for today."]


def answer(table: Table, context: Context) -> Answers:
    """See `QUESTION`."""
    sums = _sums(table, context)
    loss = sums.margin <= 0
    ahead = table.days_until("event_date", context.on)
    over = ahead < 0
    unplanned = ~table.known("prepared") & ~loss
    stay = np.zeros_like(loss)
    bars = (
        Bar(np.stack([stay, loss, loss], axis=1), "every portion sold loses money"),
        Bar(np.stack([stay, unplanned, stay], axis=1), "no number of portions was planned: see those that pay best"),
        Bar(np.stack([stay, over, over], axis=1), "the event is over"),
    )
    decision = decide(sums.payoff, barred=np.logical_or.reduce([b.mask for b in bars]), days=[-1, 0, 0])
    worst = np.where(unplanned, decision.worst_tenth[:, SUGGESTED], decision.worst_tenth[:, GO])

    def finite(values: Floats) -> Floats:
        return np.where(np.isfinite(values), values, np.nan)

    return Answers(
        table, context, options=OPTIONS, decision=decision, unit="USD", bars=bars,
        headline=lambda i: "The event is over." if over[i] else _headline(sums, decision, i),
        because=lambda i: [*_because(sums, i), *_undated(ahead[i])],
        act_by=np.where(np.isnan(ahead), 0.0, ahead.clip(0)).astype(np.int64),
        quantities={
            "margin": (sums.margin, "USD"), "break_even_portions": (finite(sums.needed), "1"),
            "break_even_with_waste": (finite(sums.with_waste), "1"),
            "break_even_takings": (finite(sums.needed * sums.price), "USD"),
            "chance_to_break_even": (np.where(loss, 0.0, (sums.payoff[:, :, GO] >= 0).mean(axis=1)), "1"),
            "worst_tenth": (worst, "USD"), "expected_portions": (sums.sold.mean(axis=1), "1"),
            "suggested_portions": (sums.suggested, "1"),
        },
        cautions=(
            "Local health codes, food licences, fire rules and sales tax govern: ask the health department first.",
            "Hold food hot or cold as the code says and throw out what was not; spoiled food is not sold on.",
            "The crowd is your own guess drawn many times, not a forecast; ask the organiser for past gates.",
        ),
        cost_of_waiting=np.zeros(len(table)),
    )  # fmt: skip


QUESTION = Question(
    name="direct-sale",
    room="grain",
    title="Is this stand, fair or kitchen day worth it?",
    about=(
        "Money of selling food direct over some days: crowd and share that buys as draws, food cost, fixed cost, "
        "spoilage; break-even sales, chance to break even, worst tenth, and how many portions to prepare."
    ),
    inputs=INPUTS,
    answer=answer,
    limits="One dish at one price; equipment bought for many events, prices of rivals and repeat custom are not in it.",
    options_count=len(OPTIONS),
    check=_check,
)
