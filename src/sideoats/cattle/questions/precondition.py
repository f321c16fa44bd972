"""Is it worth weaning, vaccinating and feeding the calves before selling them?"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from sideoats.call import ACT, STOP, WAIT
from sideoats.cattle import answering, budget, growth
from sideoats.decide import Decision, decide
from sideoats.question import Answers, Bar, Context, Option, Places, Question, Table
from sideoats.schema import Field

if TYPE_CHECKING:
    from sideoats.pictures import Picture

UNIT = "USD/head"
COMMODITY = "feeder steer 500 lb"
WEEK = 7  # days: the week is the product
INPUTS = (
    Field("weight", "number", "weight at weaning", unit="lb", low=150, high=1000, required=True, example="525 lb",
          fresh_days=60, found_in=("evidence:calf_weighing.weight",)),
    Field("price", "number", "price today, sold off the cow", unit="USD/cwt", low=20, high=1000,
          example="250 USD/cwt", fresh_days=60, found_in=("evidence:calf_weighing.price",)),
    Field("later_price", "number", "price at the later weight without the premium", unit="USD/cwt", low=20, high=1000,
          example="236 USD/cwt", fresh_days=60, found_in=("evidence:calf_weighing.later_price",)),
    Field("premium", "numbers", "premium over calves sold plain on that day, one number or a range", unit="USD/cwt",
          low=-50, high=200, required=True, example="5, 8 USD/cwt",
          fresh_days=200, found_in=("evidence:sale_plan.premium", "setting:premium.weaned_45")),
    Field("premium_chance", "share", "chance that the premium is paid at all", default=1.0, example="90 %"),
    Field("days", "number", "days from weaning to sale", unit="day", bare=True, low=14, high=200, example="45",
          fresh_days=200, found_in=("evidence:sale_plan.program_days",)),
    Field("sale", "date", "day of the sale, if it is set", example="2026-10-20",
          fresh_days=200, found_in=("evidence:sale_plan.sale",)),
    Field("gain", "numbers", "daily gain, one number or a range", unit="lb/day", low=-1, high=5,
          example="1.75 lb/day", fresh_days=60, found_in=("evidence:calf_weighing.gain",)),
    Field("feed_per_day", "number", "feed", unit="USD/day", low=0, high=20, required=True, example="1.90 USD/day",
          fresh_days=60, found_in=("evidence:calf_weighing.feed_per_day", "setting:cost.calf_feed_day")),
    Field("labor_per_day", "number", "labor and yardage", unit="USD/day", low=0, high=10, default=0.0,
          example="0.40 USD/day", found_in=("setting:cost.calf_labor_day",)),
    Field("health", "number", "vaccine, wormer and treatment beyond selling off the cow", unit=UNIT, low=0, high=200,
          required=True, example="22 USD/head", found_in=("setting:cost.calf_health",)),
    Field("selling", "number", "what selling later costs beyond selling now", unit=UNIT, low=-100, high=200,
          default=0.0, example="3 USD/head"),
    Field("feed_bought", "flag", "feed is bought as you go, so its cost follows the corn price", default=False),
    *answering.treatment_fields("calf_treatment", "any of them"),
    Field("interest", "share", "interest a year", example="8 %", found_in=("setting:interest",)),
    Field("death", "share", "head lost over the days", low=0, high=0.5, example="1 %",
          fresh_days=60, found_in=("evidence:calf_weighing.death",)),
    Field("shrink_now", "share", "shrink sold off the cow", high=0.5, default=0.0, example="3 %"),
    Field("shrink_later", "share", "shrink sold after the program", high=0.5, default=0.0, example="2 %"),
    *answering.WEIGHT_QUOTES,
)  # fmt: skip
OPTIONS = (
    Option("sell_now", "Sell at weaning"),
    Option("precondition", "Wean, vaccinate, feed and sell in the program"),
)
BY_WEIGHT = (
    "No later price was given: today's is carried to the later weight along the line through the quotes of 500 and "
    "750 lb."
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
TURNS = {
    "premium": ("a premium", "USD/cwt"),
    "gain": ("a gain", "lb/day"),
    "feed_per_day": ("feed", "USD/day"),
}


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
    """  # fmt: skip
    time = np.asarray(days, float)
    return budget.hold_and_sell(
        start_weight=start_weight, end_weight=growth.weight_after(start_weight, gain, time), days=time,
        end_price=np.asarray(later_price, float) + np.asarray(premium, float),
        running_cost=(np.asarray(feed_per_day, float) + np.asarray(labor_per_day, float)) * time,
        running_interest_share=0.0, **rest,
    )  # fmt: skip


def _net(**inputs: Any) -> NDArray[np.float64]:
    return hold(**inputs).net


@dataclass(frozen=True)
class _Ranges:
    """Ends of the ranges, (place,)."""

    gain_low: NDArray[np.float64]
    gain_high: NDArray[np.float64]
    premium_low: NDArray[np.float64]
    premium_high: NDArray[np.float64]


def _given(table: Table, context: Context) -> tuple[dict[str, Any], _Ranges]:
    """Inputs of `hold` at the middle of each range, and the ranges."""
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
    inputs = {
        "start_weight": weight, "start_price": price, "gain": gain, "days": days,
        "later_price": answering.known_or(table.number("later_price"), by_weight),
        "premium": (premium_low + premium_high) / 2, "feed_per_day": table.number("feed_per_day"),
        "labor_per_day": table.number("labor_per_day"), "other_cost": table.number("health") + table.number("selling"),
        "interest_rate": answering.known_or(table.number("interest"), facts.value("cattle/interest")),
        "death_share": answering.known_or(table.number("death"), facts.value("cattle/stocker.death")),
        "start_shrink": table.number("shrink_now"), "end_shrink": table.number("shrink_later"),
    }  # fmt: skip
    return inputs, _Ranges(gain_low, gain_high, premium_low, premium_high)


def _payoff(table: Table, context: Context, given: dict[str, Any], ranges: _Ranges) -> NDArray[np.float64]:
    """(place, draw, option) money over selling at weaning, USD/head."""
    inputs = {name: value[:, None] for name, value in given.items()}
    paid = context.outlook.uniform("premium paid", table.keys) < table.number("premium_chance")[:, None]
    premium = answering.spread(context, table, "premium", ranges.premium_low, ranges.premium_high)
    corn = answering.bought_ratio(context, "corn", given["days"] / 2, table.flag("feed_bought"))
    inputs["feed_per_day"] = corn * inputs["feed_per_day"]
    inputs |= {
        "gain": answering.spread(context, table, "calf gain", ranges.gain_low, ranges.gain_high),
        "premium": np.where(paid, premium, 0.0),
        "later_price": inputs["later_price"] * answering.price_ratio(context, COMMODITY, given["days"]),
    }  # fmt: skip
    net = _net(**inputs)
    return np.stack([np.zeros_like(net), net], axis=2)


def answer(table: Table, context: Context) -> Answers:
    """Net of the program over selling at weaning, with price, gain and premium as draws; health evidence as a list."""
    given, ranges = _given(table, context)
    payoff = _payoff(table, context, given, ranges)
    to_sale, to_start = _deadlines(table, context, given)
    held = answering.withdrawal(table, context)
    bars = _bars(held, to_sale, given["days"])
    decision = decide(payoff, barred=bars[0].mask | bars[1].mask, risk_aversion=context.risk_aversion)
    needed = ("weight", "premium", "feed_per_day", "health")
    known = np.logical_and.reduce([table.known(name) for name in needed]) & np.isfinite(given["start_price"])
    known &= np.isfinite(given["later_price"])
    by, hazard = np.where(decision.best == 1, to_start, to_sale), bars[0].mask[:, 0]
    soon = (by >= 0) & (by <= WEEK) & ~hazard
    verdict = np.where(hazard, STOP, np.where(soon, ACT, WAIT)).astype(np.int8)  # no day of sale: nothing runs out
    lost = np.where(soon & (decision.best == 1), np.nan_to_num(decision.expected[:, 1]), 0.0)
    return Answers(
        table, context, options=OPTIONS, decision=decision, unit=UNIT, bars=bars, verdict=verdict,
        act_by=np.where(soon, np.nan_to_num(by), -1),
        headline=lambda i: _not_yet(held, i) if hazard[i] else _headline(decision, context, table, to_start, i),
        because=_because(table, context, given, ranges),
        quantities=_quantities(given, payoff, decision), missing=~known,
        missing_headline=lambda i: _not_yet(held, i) if hazard[i] else _what_is_missing(given, i),
        cautions=(
            context.facts["cattle/first_step"].text,
            context.facts["cattle/care.veterinarian"].text,
            context.facts["cattle/care.records"].text,
            "A premium seen in one auction and year is not this year's: ask the sale, and bring proof of the program.",
        ),
        cost_of_waiting=lost,
        pictures=lambda i: _pictures(given, i),
    )  # fmt: skip


def _pictures(given: dict[str, Any], i: int) -> Sequence[Picture]:
    """Net of the program by later price, premium included, and cost of gain."""
    from sideoats.cattle.pictures import break_even_about

    held = hold(**given)
    kept = ("start_weight", "start_price", "days", "other_cost", "interest_rate", "death_share", "start_shrink",
            "end_shrink")  # fmt: skip
    grid = break_even_about(
        i, what=f"The program of {given['days'][i]:.0f} days", cost="feed and labor for each pound gained",
        price="later price with premium",
        running_cost=held.running_cost, running_interest_share=0.0,
        end_weight=held.gained + given["start_weight"],
        end_price=given["later_price"] + given["premium"], **{name: given[name] for name in kept},
    )  # fmt: skip
    return [grid] if grid else []


def _not_yet(held: answering.Withdrawal, i: int) -> str:
    return f"Do not sell any of them at weaning: {held.text(i)}."


def _what_is_missing(given: dict[str, Any], i: int) -> str:
    if np.isfinite(given["start_price"][i]) and not np.isfinite(given["later_price"][i]):
        return "Find what calves of the later weight bring without the premium: heavier calves bring less a cwt."
    return "Find weaning weight, today's price, the premium this sale pays, feed and health cost."


def _bars(held: answering.Withdrawal, to_sale: NDArray[np.float64], days: NDArray[np.float64]) -> tuple[Bar, Bar]:
    """No sale inside a withdrawal: off the cow by the day of sale (today where none is set), or after the program."""
    plain = np.where(to_sale >= 0, to_sale, 0.0)
    inside = held.inside(np.stack([plain, np.fmax(plain, days)], axis=1))
    first = np.array([True, False])
    return Bar(inside & first, held.text, hazard=True), Bar(inside & ~first, held.text)


def _deadlines(
    table: Table, context: Context, given: dict[str, Any]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Days to the sale, and to the last day to wean for it, (place,); NaN where no sale is set, negative where past.

    Where no sale is set nothing runs out, so waiting is not charged; a missed start loses the program for that sale.
    """
    to_sale = table.days_until("sale", context.on)
    return to_sale, to_sale - given["days"]


def _headline(decision: Decision, context: Context, table: Table, to_start: NDArray[np.float64], i: int) -> str:
    net, low, high = decision.expected[i, 1], decision.low[i, 1], decision.high[i, 1]
    range_text = f"({low:+,.0f} to {high:+,.0f}); it pays in {decision.chance_best[i, 1]:.0%} of futures"
    if decision.best[i] != 1:
        if decision.barred[i, 1]:
            return "Sell at weaning: the program would end inside a withdrawal."
        return f"Sell at weaning: the program would bring {net:+,.2f} USD/head on average {range_text}."
    when = ""
    if to_start[i] >= 0:
        start = context.on + timedelta(days=int(to_start[i]))
        when = f"Wean by {start} for the sale of {table.date('sale')[i]}: "
    elif to_start[i] < 0:
        when = f"Too late for the sale of {table.date('sale')[i]}; for a later one: "
    body = f"the program is worth {net:+,.2f} USD/head over selling at weaning on average {range_text}."
    return when + body if when else body[0].upper() + body[1:]


def _quantities(given: dict[str, Any], payoff: NDArray[np.float64], decision: Decision) -> answering.Quantities:
    held = hold(**given)
    end_weight = growth.weight_after(given["start_weight"], given["gain"], given["days"])
    ends = (given["start_weight"], given["start_price"], end_weight, given["later_price"] + given["premium"])
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
        "chance_program_pays": ((payoff[:, :, 1] > 0).mean(axis=1), "1"),
        **answering.risk_quantities(OPTIONS, decision, UNIT, "sell_now"),
        **answering.turning_quantities(_net, given, TURNS),
        **answering.sensitivity(_net, given, CHANGES, UNIT),
    }


def health_evidence(context: Context) -> list[str]:
    """The studies on whether preparing calves keeps them well, one line each, with the range they leave open."""
    facts, lines = context.facts, []
    for name in ("mijar", "montana", "wheat_pasture"):
        fact = facts[f"cattle/health.{name}"]
        compared, prepared, other, head = fact.rows[0]
        shares = f", {prepared:.1%} against {other:.1%} sick" if np.isfinite(prepared) else ""
        lines.append(f"{fact.citation.split(',')[0]}: {compared}{shares} ({head:,} head): {fact.conditions}.")
    apart, range_ = facts["cattle/health.rounds_apart"], facts["cattle/health.avoided"]
    lines.append(f"{apart.text} ({apart.conditions})")
    lines.append(
        f"The studies do not agree: sickness avoided lies anywhere from {range_.low:.0%} to {range_.high:.0%} of "
        "calves; what a buyer saves is not counted in the money here, only what the premium pays."
    )
    return lines


def _because(table: Table, context: Context, given: dict[str, Any], ranges: _Ranges) -> Callable[[int], list[str]]:
    held, turns = hold(**given), answering.turning_text(_net, given, TURNS)
    evidence = health_evidence(context)
    premiums = _premium_lines(context)

    def lines(i: int) -> list[str]:
        if not np.isfinite(held.net[i]):
            return evidence
        out = [
            f"At the prices given: {held.start_value[i]:,.2f} at weaning against {held.income[i]:,.2f} after "
            f"{given['days'][i]:.0f} days, costs {held.running_cost[i] + held.other_cost[i]:,.2f} and interest "
            f"{held.interest[i]:,.2f}: net {held.net[i]:+,.2f} USD/head.",
            *turns(i),
        ]
        chance = table.number("premium_chance")[i]
        if chance < 1:
            out.append(f"That is with the premium paid; in the range above it is paid in {chance:.0%} of futures.")
        if not table.rows("gain")[i]:
            out.append(f"No gain was given: {ranges.gain_low[i]:g} to {ranges.gain_high[i]:g} lb/day.")
        if not table.known("later_price")[i]:
            out.append(BY_WEIGHT)
        return [*out, *evidence, *premiums]

    return lines


def _premium_lines(context: Context) -> list[str]:
    """Published premiums with their year and base, for comparison only."""
    found = context.facts.under("cattle/premium.weaned_45")
    parts = []
    for fact in found.values():
        paid = f"{fact.low:.2f} to {fact.high:.2f}" if fact.low < fact.high else f"{fact.value:.2f}"
        parts.append(f"{paid} ({fact.conditions})")
    return ["Premiums paid for 45 days weaned, USD/cwt, each with its year and base: " + "; ".join(parts) + "."]


def check(values: dict[str, Any]) -> None:
    """Refuse half of a treatment."""
    answering.check_treatment(values, "precondition")


def in_season(table: Table, context: Context) -> NDArray[np.bool_]:
    """Calves with a weight and a sale plan on file, from late summer to the end of the weaning runs."""
    planned = table.known("premium") | table.known("days")
    return table.known("weight") & planned & (context.on.month in (8, 9, 10, 11, 12))


QUESTION = Question(
    name="precondition",
    room="cattle",
    title="Is it worth preparing these calves before they are sold?",
    about="A partial budget of weaning, vaccinating and feeding calves before sale against selling them off the cow, "
    "with price, gain and premium as draws.",
    inputs=INPUTS,
    answer=answer,
    places=Places(kinds=("herd", "pen")),
    size="calf_head",
    in_season=in_season,
    limits="The seller's money only; what fewer sick calves are worth to the next owner is not counted.",
    options_count=2,
    check=check,
)
