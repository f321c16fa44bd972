"""Calves sold at weaning, or weaned, vaccinated, fed and sold in a program: a case of own and sell."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.cattle import answering, budget, growth
from sideoats.families.own_and_sell import SALE, Quantities, sensitivity, turning_points
from sideoats.problem import Barred, Choice, Hazard, labelled
from sideoats.question import Context, Table

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

UNIT = "USD/head"
COMMODITY = "feeder steer 500 lb"
WEEK = 7  # days: the week is the product
MOST_PREMIUM = 0.1  # of the price: the largest published premiums are under a tenth
OPTIONS = (
    Choice("sell_now", labelled("calves-sell-at-weaning"), trouble=SALE, kind="sell"),
    Choice("precondition", labelled("calves-program"), trouble=SALE, kind="program"),
)
CHANGES = {
    "no_premium_is_paid": ("premium", 0.0),
    "later_price_5_percent_lower": ("later_price", 0.95),
    "later_price_5_percent_higher": ("later_price", 1.05),
    "gain_25_percent_lower": ("gain", 0.75),
    "gain_25_percent_higher": ("gain", 1.25),
    "feed_25_percent_dearer": ("feed_per_day", 1.25),
    "death_loss_doubled": ("death_share", 2.0),
}
TURNS = {"premium": "USD/cwt", "gain": "lb/day", "feed_per_day": "USD/day"}


def hold(
    *,
    start_weight: Any,
    gain: Any,
    days: Any,
    later_price: Any,
    premium: Any,
    feed_per_day: Any,
    labor_per_day: Any,
    **rest: Any,
) -> budget.Holding:
    """Budget of a program: interest on the calf, none on the running costs.

    Remaining keywords as `sideoats.cattle.budget.hold_and_sell`; prices in USD/cwt, costs a day in USD/day.
    """
    time = np.asarray(days, float)
    return budget.hold_and_sell(
        start_weight=start_weight,
        end_weight=growth.weight_after(start_weight, gain, time),
        days=time,
        end_price=np.asarray(later_price, float) + np.asarray(premium, float),
        running_cost=(np.asarray(feed_per_day, float) + np.asarray(labor_per_day, float)) * time,
        running_interest_share=0.0,
        **rest,
    )


def net(**inputs: Any) -> Floats:
    """Net of `hold` [USD/head]."""
    return hold(**inputs).net


@dataclass(frozen=True)
class Program:
    """A batch of programs; arrays (place,).

    Attributes
    ----------
    given : inputs of `hold` at the middle of each range
    gain_low, gain_high, premium_low, premium_high : ends of the ranges [lb/day], [USD/cwt]
    to_sale, to_start : days to the sale, and to the last day to wean for it; NaN where no sale is set, below zero where
        past
    """

    given: dict[str, Any]
    gain_low: Floats
    gain_high: Floats
    premium_low: Floats
    premium_high: Floats
    to_sale: Floats
    to_start: Floats

    def at_season(self, ratio: float) -> Floats:
        """(place,) net with the later price moved by a season's `ratio` [USD/head]."""
        return net(**self.given | {"later_price": self.given["later_price"] * ratio})


def program_of(table: Table, context: Context) -> Program:
    """What each row's calves would weigh, cost and bring in a program."""
    facts = context.facts
    classes = facts["cattle/gain_class"]
    medium = classes.column("class").index("medium")
    usual = (classes.column("least lb/d")[medium], classes.column("most lb/d")[medium])
    gain_low, gain_high = answering.span(table, "gain", usual)
    premium_low, premium_high = answering.span(table, "premium")
    weight, gain = table.number("weight"), (gain_low + gain_high) / 2
    days = answering.known_or(table.number("days"), facts.value("cattle/weaned_days.washington"))
    price = answering.known_or(table.number("price"), answering.price_at(table, weight))
    by_weight = answering.price_carried(table, weight, price, growth.weight_after(weight, gain, days))
    given = {
        "start_weight": weight, "start_price": price, "gain": gain, "days": days,
        "later_price": answering.known_or(table.number("later_price"), by_weight),
        "premium": (premium_low + premium_high) / 2, "feed_per_day": table.number("feed_per_day"),
        "labor_per_day": table.number("labor_per_day"), "other_cost": table.number("health") + table.number("selling"),
        "interest_rate": answering.known_or(table.number("interest"), facts.value("cattle/interest")),
        "death_share": answering.known_or(
            table.number("death"), answering.share_of_winter(context, facts.value("cattle/stocker.death"), days)
        ),
        "start_shrink": table.number("shrink_now"), "end_shrink": table.number("shrink_later"),
    }  # fmt: skip
    to_sale = table.days_until("sale", context.on)
    return Program(given, gain_low, gain_high, premium_low, premium_high, to_sale, to_sale - days)


def gain_of(table: Table, context: Context, p: Program) -> Floats:
    """(place, draw, option) money over selling at weaning, USD/head."""
    inputs = {name: value[:, None] for name, value in p.given.items()}
    paid = context.outlook.uniform("premium paid", table.keys) < table.number("premium_chance")[:, None]
    premium = answering.spread(context, table, "premium", p.premium_low, p.premium_high)
    corn = answering.bought_ratio(context, "corn", p.given["days"] / 2, table.flag("feed_bought"))
    inputs["feed_per_day"] = corn * inputs["feed_per_day"]
    inputs |= {
        "gain": answering.spread(context, table, "calf gain", p.gain_low, p.gain_high),
        "premium": np.where(paid, premium, 0.0),
        "later_price": inputs["later_price"] * answering.price_ratio(context, COMMODITY, p.given["days"]),
    }
    worth = net(**inputs)
    return np.stack([np.zeros_like(worth), worth], axis=2)


def plain_sale(p: Program) -> Floats:
    """(place,) days to a sale off the cow: the day set, else today."""
    return np.where(p.to_sale >= 0, p.to_sale, 0.0)


def bars(held: answering.Withdrawal, p: Program) -> tuple[Barred, ...]:
    """No sale inside a withdrawal, off the cow or after the program."""
    plain = plain_sale(p)
    return (Barred(held.inside(np.stack([plain, np.fmax(plain, p.given["days"])], axis=1)), held.said),)


def hazards(held: answering.Withdrawal, p: Program) -> tuple[Hazard, ...]:
    """A sale off the cow that falls inside a withdrawal."""
    inside = Hazard("precondition.withdrawal", held.inside(plain_sale(p)), values={"held": held.said})
    return (inside, held.misdated("calf_treatment.on"))


def soon(p: Program, *, program: bool) -> Bools:
    """(place,) the last day to wean for the sale, or the sale itself, falls in this week."""
    by = p.to_start if program else p.to_sale
    return np.asarray((by >= 0) & (by <= WEEK))


def delay(p: Program, worth: Floats) -> Floats:
    """(place, option) what another week costs, USD/head: a missed start loses the program for that sale.

    Where no sale is set nothing runs out, but calves that are fed a week less put on a week's gain less.
    """
    unset, week = np.isnan(p.to_sale), np.maximum(worth * WEEK / np.maximum(p.given["days"], 1.0), 0.0)
    program = np.where(soon(p, program=True), worth, np.where(unset, week, 0.0))
    selling = np.where(soon(p, program=False), np.nan, 0.0)  # a sale on its day: pressing, at no cost that is known
    return np.stack([selling, program], axis=1)


def due(p: Program, best: NDArray[np.int64]) -> NDArray[np.int64]:
    """(place,) days in which the call is acted on; the week where no sale is set."""
    by = np.where(best == 1, p.to_start, p.to_sale)
    return np.where(by >= 0, by, WEEK).astype(np.int64)


def quantities(p: Program, gain: Floats) -> Quantities:
    """Figures at the prices given, and of what would change them."""
    given = p.given
    held = hold(**given)
    end_weight = growth.weight_after(given["start_weight"], given["gain"], given["days"])
    ends = (given["start_weight"], given["start_price"], end_weight, given["later_price"] + given["premium"])
    turns = turning_points(net, given, tuple(TURNS))
    return {
        "days": (given["days"], "day"),
        "end_weight": (end_weight, "lb"),
        "value_now": (held.start_value, UNIT),
        "value_later": (held.income, UNIT),
        "cash_cost": (held.running_cost + held.other_cost, UNIT),
        "interest": (held.interest, UNIT),
        "net_at_given_price": (held.net, UNIT),
        "break_even_premium": (budget.break_even_premium(held, given["premium"]), "USD/cwt"),
        "break_even_price": (held.break_even_sale, "USD/cwt"),
        "value_of_gain": (budget.value_of_gain(*ends), "USD/lb"),
        "cost_of_gain": (budget.cost_of_gain(held.running_cost + held.other_cost, end_weight - ends[0]), "USD/lb"),
        "chance_program_pays": ((gain[:, :, 1] > 0).mean(axis=1), "1"),
        **{f"turns_at_{name}": (turn, TURNS[name]) for name, turn in turns.items()},
        **sensitivity(net, given, CHANGES, UNIT),
    }
