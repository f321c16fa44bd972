"""When to work and wean calves for a sale that asks for days weaned, and what is already too late."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.call import ACT, LOOK, STOP, WAIT
from sideoats.cattle import answering, budget, program
from sideoats.decide import Decision, decide
from sideoats.errors import InputError
from sideoats.question import Answers, Bar, Context, Option, Places, Question, Table
from sideoats.schema import Field

UNIT = "USD/head"
COMMODITY = "feeder steer 500 lb"
SOON = 7  # days: the week is the product
INPUTS = (
    Field("sale", "date", "day of the sale", required=True, example="2026-10-20",
          fresh_days=200, found_in=("evidence:sale_plan.sale", "place:sale_date")),
    Field("program_days", "number", "days weaned that the sale asks for", unit="day", bare=True, low=0, high=365,
          example="45", fresh_days=200, found_in=("evidence:sale_plan.program_days",)),
    Field("weaned", "date", "day on which the calves were weaned, if they are",
          fresh_days=240, found_in=("evidence:calf_work.weaned",)),
    Field("first_round", "date", "day of the first vaccine round, if given",
          fresh_days=240, found_in=("evidence:calf_work.first_round",)),
    Field("booster", "date", "day of the second vaccine round, if given",
          fresh_days=240, found_in=("evidence:calf_work.booster",)),
    Field("bulls", "flag", "bull calves are still to be castrated",
          fresh_days=240, found_in=("evidence:calf_work.bulls",)),
    Field("castrated", "date", "day of castration, if done",
          fresh_days=240, found_in=("evidence:calf_work.castrated",)),
    Field("healing_days", "number", "days for a castration wound to heal", unit="day", bare=True, low=0, high=120,
          example="42"),
    *answering.treatment_fields("calf_treatment", "any calf in the lot"),
    Field("weight", "number", "expected sale weight", unit="lb", low=100, high=1500, example="560 lb",
          fresh_days=200, found_in=("evidence:sale_plan.weight",)),
    Field("premium", "numbers", "premium that this sale pays, one number or a range", unit="USD/cwt", low=-50, high=200,
          example="8 USD/cwt", fresh_days=200, found_in=("evidence:sale_plan.premium", "setting:premium.weaned_45")),
    Field("premium_chance", "share", "chance that the premium is paid at all", default=1.0, example="90 %"),
    Field("program_cost", "number", "vaccine and what else the program costs beyond what the gain pays for", unit=UNIT,
          low=0, high=500, default=0.0, example="40 USD/head", found_in=("setting:cost.calf_health",)),
    Field("price", "number", "price today of such calves, for the risk of a later sale", unit="USD/cwt", low=20,
          high=1000, example="250 USD/cwt", found_in=("quote:feeder steer 500 lb",)),
    Field("station", "text", "weather station that stands for the place", found_in=("place:station",)),
)  # fmt: skip
OPTIONS = (
    Option("program", "Wean in time and sell in the program"),
    Option("later_sale", "Move to a later sale that these calves can make"),
    Option("plain", "Sell on the day without the program", passive=True),
)
CHANGES = {
    "premium_25_percent_lower": ("premium", 0.75),
    "no_premium_is_paid": ("premium", 0.0),
    "weight_10_percent_lower": ("weight", 0.9),
    "program_cost_25_percent_higher": ("program_cost", 1.25),
}
TURNS = {"premium": ("a premium", "USD/cwt"), "program_cost": ("a cost of the program", "USD/head")}
TOO_LATE = {
    "weaned too few days": "Weaned too late for the days this sale asks.",
    "weaning date is past": "It is too late to wean for this sale.",
    "first round window is past": "The usual window for the first vaccine round is past: ask the veterinarian.",
    "no time for two rounds": "There is no time left for two rounds before the last day for treatments.",
    "booster window is past": "The window for the second round is past: ask the veterinarian.",
    "rounds too close together": "The two rounds stand closer together than the evidence and usual labels allow.",
    "rounds too far apart": "The two rounds stand farther apart than usual labels allow: ask the veterinarian.",
    "booster before first round": "The second round is dated before the first: check the dates.",
    "booster would be after the last day for treatments": "A second round would fall after the last day for treatments "
    "before this sale.",
    "castration date is past": "It is too late to castrate and heal before this sale.",
    "castration wound not healed at sale": "Castration wounds will not be healed by the sale.",
    "withdrawal runs past the sale": "Calves in the lot are inside a withdrawal on the day of sale.",
}


@dataclass(frozen=True)
class _Plan:
    """Everything counted for a table, arrays (place,)."""

    sale: program.Dates
    weaned: program.Dates
    first_round: program.Dates
    booster: program.Dates
    days_asked: NDArray[np.float64]
    dates: program.ProgramDates
    conflicts: dict[str, program.Masks]
    clear: program.Dates
    other_sale: program.Dates
    last_first: program.Dates  # last day of a first round that leaves time for the second


def _plan(table: Table, context: Context) -> _Plan:
    facts, on = context.facts, np.datetime64(context.on, "D")
    days_asked = answering.known_or(table.number("program_days"), facts.value("cattle/weaned_days.washington"))
    least_apart, most_apart = facts.span("cattle/rounds.apart")
    least_apart = max(least_apart, facts.value("cattle/rounds.closest"))
    healing = answering.known_or(table.number("healing_days"), facts.span("cattle/healing")[1])
    withdrawal = np.nan_to_num(table.number("withdrawal_days"))
    bulls = table.flag("bulls")
    sale, weaned, first_round, booster = (table.date(n) for n in ("sale", "weaned", "first_round", "booster"))
    counted: dict[str, Any] = {
        "program_days": days_asked, "first_before_weaning": facts.choose("cattle/first_round")[1].span,
        "booster_after_first": (least_apart, most_apart), "withdrawal_days": withdrawal, "healing_days": healing,
        "weaned": weaned,
    }  # fmt: skip
    dates = program.program_dates(sale, first_round=first_round, **counted)
    overdue = np.isnat(first_round) & (dates.first_to < on)  # the second round then counts from today at the earliest
    from_today = program.program_dates(sale, first_round=np.where(overdue, on, first_round), **counted)
    dates = replace(dates, booster_from=from_today.booster_from, booster_to=from_today.booster_to)
    clear = answering.withdrawal(table, context).clear
    conflicts = program.program_conflicts(
        dates, sale=sale, on=on, program_days=days_asked, least_gap=least_apart, most_gap=most_apart, weaned=weaned,
        first_round=first_round, booster=booster, castrated=table.date("castrated"), needs_castration=bulls,
        clear=clear,
    )  # fmt: skip
    other = np.fmax(program.first_qualifying_sale(weaned, on, days_asked), clear)
    last_first = program.shifted(dates.treat_by, -least_apart)
    return _Plan(
        sale, weaned, first_round, booster, days_asked, dates, conflicts, clear, np.fmax(other, on), last_first
    )


def _next_step(plan: _Plan, table: Table, context: Context) -> tuple[NDArray[np.int64], NDArray[np.object_]]:
    """Days to the next deadline that is not past (-1 for none), and its name."""
    bulls = table.flag("bulls") & np.isnat(table.date("castrated"))
    week = np.datetime64(context.on, "D") + np.timedelta64(SOON, "D")
    overdue = plan.conflicts["first round window is past"]
    first_by = np.where(overdue, np.fmin(plan.last_first, week), plan.dates.first_to)
    steps = {
        "first vaccine round": np.where(np.isnat(plan.first_round), first_by, program.NEVER),
        "second vaccine round": np.where(
            np.isnat(plan.booster) & ~np.isnat(plan.first_round), plan.dates.booster_to, program.NEVER
        ),
        "castrate": np.where(bulls, plan.dates.castrate_by, program.NEVER),
        "wean": np.where(np.isnat(plan.weaned), plan.dates.wean_by, program.NEVER),
    }
    left = np.stack([program.days_between(np.datetime64(context.on, "D"), d) for d in steps.values()], axis=1)
    left = np.where(left >= 0, left, np.inf)
    first = left.argmin(axis=1)
    soonest = left[np.arange(len(table)), first]
    names = np.array(list(steps), dtype=object)[first]
    return np.where(np.isfinite(soonest), soonest, -1).astype(np.int64), names


def answer(table: Table, context: Context) -> Answers:
    """Count back from the sale, name what is too late, and weigh the program against the premium where it is known."""
    plan = _plan(table, context)
    past, unclear = plan.conflicts["sale is past"], plan.conflicts["withdrawal runs past the sale"]
    late = plan.conflicts["weaning date is past"] | plan.conflicts["weaned too few days"]
    next_days, next_name = _next_step(plan, table, context)

    given, payoff = _payoff(table, context, plan)
    gain = _net(**given)
    nothing = np.zeros_like(past)
    bars = (
        Bar(np.stack([past, nothing, past], axis=1), "the sale is past"),
        Bar(np.stack([late & ~past, nothing, nothing], axis=1), lambda i: _late_text(plan, i)),
        Bar(
            np.stack([unclear, nothing, unclear], axis=1),
            lambda i: f"inside a withdrawal until {plan.clear[i]}: the label rules",
            hazard=True,
        ),
        Bar(
            np.stack([nothing, ~(late | past | unclear), nothing], axis=1),
            "not asked for: the sale named can still be made",
        ),
    )
    barred = np.logical_or.reduce([bar.mask for bar in bars])
    decision = decide(payoff, barred=barred, risk_aversion=context.risk_aversion)

    verdict = np.where((next_days >= 0) & (next_days <= SOON), ACT, WAIT)
    verdict = np.where(late, LOOK, verdict)
    verdict = np.where(unclear, STOP, verdict)
    verdict = np.where(past, WAIT, verdict).astype(np.int8)
    lost = np.where((verdict == ACT) & _closing(plan, table, context), np.maximum(np.nan_to_num(gain), 0.0), 0.0)
    return Answers(
        table, context, options=OPTIONS, decision=decision, unit=UNIT, bars=bars, verdict=verdict,
        act_by=np.where(verdict == ACT, next_days, -1), look_by=np.where(verdict == LOOK, SOON, -1),
        headline=lambda i: _headline(plan, next_name, next_days, context, i),
        because=_because(plan, table, context, given),
        quantities=_quantities(plan, next_name, next_days, table, given, decision),
        missing=~table.known("sale"), missing_headline="No sale date on file: ask when these calves are to be sold.",
        cautions=[context.facts[f"cattle/care.{k}"].text for k in ("veterinarian", "heat", "records", "feed_drugs")],
        cost_of_waiting=lost,
    )  # fmt: skip


def _net(*, weight: Any, premium: Any, program_cost: Any) -> NDArray[np.float64]:
    """Premium on the sale weight less what the program costs, USD/head."""
    return np.asarray(budget.value(weight, premium) - program_cost, dtype=np.float64)


def _payoff(table: Table, context: Context, plan: _Plan) -> tuple[dict[str, Any], NDArray[np.float64]]:
    """Inputs of `_net` at the middle of the premium, and (place, draw, option) money over selling plain that day.

    A later sale earns the same premium but at that day's price: where a price is known its move between the two days is
    in the draws, with a mean of nothing.
    """
    low, high = answering.span(table, "premium")
    weight, cost, price = table.number("weight"), table.number("program_cost"), table.number("price")
    chance = table.number("premium_chance")
    given = {"weight": weight, "premium": (low + high) / 2 * chance, "program_cost": cost}
    paid = context.outlook.uniform("premium paid", table.keys) < chance[:, None]
    premium = answering.spread(context, table, "premium", low, high) * paid
    program_net = _net(weight=weight[:, None], premium=premium, program_cost=cost[:, None])
    to_sale = np.maximum(table.days_until("sale", context.on), 0.0)
    to_other = np.fmax(program.days_between(np.datetime64(context.on, "D"), plan.other_sale), to_sale)
    moved = answering.price_ratio(context, COMMODITY, to_other) - answering.price_ratio(context, COMMODITY, to_sale)
    later = program_net + budget.value(weight, np.nan_to_num(price))[:, None] * moved
    plain = np.where(np.isnan(program_net), np.nan, 0.0)
    return given, np.stack([program_net, later, plain], axis=2)


def _closing(plan: _Plan, table: Table, context: Context) -> NDArray[np.bool_]:
    """(place,) True where something that the program cannot do without runs out within the week.

    A first round after its usual window is a matter for the veterinarian, not the loss of the sale: it costs the
    program only where no time for two rounds would be left.
    """
    week = np.datetime64(context.on, "D") + np.timedelta64(SOON, "D")
    uncut = table.flag("bulls") & np.isnat(table.date("castrated"))
    return np.asarray(
        (np.isnat(plan.weaned) & (plan.dates.wean_by <= week))
        | (np.isnat(plan.first_round) & (plan.last_first <= week))
        | (np.isnat(plan.booster) & (plan.dates.booster_to <= week) & ~np.isnat(plan.first_round))
        | (uncut & (plan.dates.castrate_by <= week))
    )


def _late_text(plan: _Plan, i: int) -> str:
    if plan.conflicts["weaning date is past"][i]:
        return f"calves had to be weaned by {plan.dates.wean_by[i]}"
    short = plan.days_asked[i] - program.days_between(plan.weaned[i], plan.sale[i])
    return f"weaned {short:.0f} days too late for {plan.days_asked[i]:.0f} days on {plan.sale[i]}"


def _headline(
    plan: _Plan, next_name: NDArray[np.object_], next_days: NDArray[np.int64], context: Context, i: int
) -> str:
    sale, wean_by, asked = plan.sale[i], plan.dates.wean_by[i], f"{plan.days_asked[i]:.0f}"
    if plan.conflicts["sale is past"][i]:
        start = "weaned today" if np.isnat(plan.weaned[i]) else f"weaned {plan.weaned[i]}"
        return (
            f"The sale of {sale} is past: calves had to be weaned by {wean_by} to be {asked} days weaned. For a later "
            f"sale: {start} they can go from {plan.other_sale[i]} on."
        )
    if plan.conflicts["withdrawal runs past the sale"][i]:
        return f"Do not sell on {sale}: calves in the lot are inside a withdrawal until {plan.clear[i]}."
    if plan.conflicts["weaning date is past"][i]:
        return (
            f"Too late to be {asked} days weaned on {sale} (wean by {wean_by}): weaned today they can go from "
            f"{plan.other_sale[i]} on. Ask for such a sale."
        )
    if plan.conflicts["weaned too few days"][i]:
        return f"Weaned too late for {asked} days on {sale}: they can go from {plan.other_sale[i]} on."
    if not np.isnat(plan.weaned[i]):
        weaned = program.days_between(plan.weaned[i], sale)
        then = f"; next: {next_name[i]} by {_day(context, next_days[i])}" if next_days[i] >= 0 else ""
        return f"Weaned {weaned:.0f} days by the sale of {sale}, {asked} asked{then}."
    first = (
        "" if next_name[i] == "wean" or next_days[i] < 0 else f"; next: {next_name[i]} by {_day(context, next_days[i])}"
    )
    window = " Its usual window is past: ask the veterinarian." if _overdue(plan, next_name, i) else ""
    return f"Wean by {wean_by} to be {asked} days weaned on {sale}{first}.{window}"


def _overdue(plan: _Plan, next_name: NDArray[np.object_], i: int) -> bool:
    return bool(plan.conflicts["first round window is past"][i]) and next_name[i] == "first vaccine round"


def _day(context: Context, days: np.int64) -> str:
    return str(np.datetime64(context.on, "D") + np.timedelta64(int(days), "D"))


def _because(plan: _Plan, table: Table, context: Context, given: dict[str, Any]) -> Callable[[int], list[str]]:
    facts, on = context.facts, np.datetime64(context.on, "D")
    closest, first_key = facts["cattle/rounds.closest"], facts.choose("cattle/first_round")[0]
    turns, money = answering.turning_text(_net, given, TURNS), _net(**given)
    asks, first = facts["cattle/program.asks"].text, facts.choose("cattle/first_round")[1]

    def window(name: str, start: np.datetime64, end: np.datetime64, done: np.datetime64) -> str:
        if not np.isnat(done):
            return f"{name}: done {done}."
        if start > end:
            return f"{name}: no day is left for it before this sale."
        return f"{name}: {start} to {end}" + (" (past)." if end < on else ".")

    def lines(i: int) -> list[str]:
        d = plan.dates
        if plan.conflicts["sale is past"][i]:
            done = "" if np.isnat(plan.weaned[i]) else f" (weaned {plan.weaned[i]})"
            return [f"Nothing can be done for a sale that is past{done}. A program usually asks: {asks}."]
        out = [
            f"First vaccine round {first.low:.0f} to {first.high:.0f} days before weaning, as {first_key.capitalize()} "
            f"extension advises; rounds at least {closest.value:.0f} days apart.",
            window("First round", d.first_from[i], d.first_to[i], plan.first_round[i]),
            window("Second round", d.booster_from[i], d.booster_to[i], plan.booster[i]),
        ]
        if table.flag("bulls")[i]:
            out.append(window("Castrate", d.castrate_by[i], d.castrate_by[i], table.date("castrated")[i]))
        out += [text for name, text in TOO_LATE.items() if plan.conflicts[name][i]]
        if not table.known("withdrawal_days")[i]:
            out.append("The last day for treatments is not counted: give the longest label withdrawal of what is used.")
        if np.isfinite(money[i]):
            out.append(
                f"The program is worth {money[i]:+,.2f} USD/head: {given['premium'][i]:.2f} USD/cwt on "
                f"{given['weight'][i]:,.0f} lb less {given['program_cost'][i]:,.2f}. Feed and gain are not counted "
                "here: ask precondition."
            )
            out += turns(i)
        out.append(f"A program usually asks: {asks}.")
        out += _heat(plan, table, context, i)
        return out

    return lines


def _heat(plan: _Plan, table: Table, context: Context, i: int) -> list[str]:
    """What past years say of the heat in the next working window, where a station is on file."""
    if not context.outlook.has_weather:
        return []
    windows = ((plan.first_round, plan.dates.first_from, plan.dates.first_to, "first"),
               (plan.booster, plan.dates.booster_from, plan.dates.booster_to, "second"))  # fmt: skip
    tmax = context.outlook.daily("tmax")[context.outlook.station_rows([table.text("station")[i]])[0]]
    for done, start, end, name in windows:
        first, last = (program.days_between(np.datetime64(context.on, "D"), d[i]) for d in (start, end))
        if np.isnat(done[i]) and 0 <= last >= first and first < tmax.shape[1]:
            highs = tmax[:, max(0, int(first)) : int(last) + 1] * 9 / 5 + 32
            return [
                f"Highs in the {name} round's window in past years: {highs.mean():.0f} F on average, one day in ten "
                f"above {np.percentile(highs, 90):.0f} F: work calves early in the morning."
            ]
    return []


def _quantities(
    plan: _Plan,
    next_name: NDArray[np.object_],
    next_days: NDArray[np.int64],
    table: Table,
    given: dict[str, Any],
    decision: Decision,
) -> answering.Quantities:
    d, conflicts = plan.dates, plan.conflicts
    elsewhere = np.logical_or.reduce(
        [conflicts[n] for n in ("sale is past", "weaning date is past", "weaned too few days",
                                "withdrawal runs past the sale")]
    )  # fmt: skip
    room = d.booster_from <= d.booster_to
    dates = {
        "wean_by": d.wean_by, "first_round_from": d.first_from, "first_round_to": d.first_to,
        "booster_from": np.where(room, d.booster_from, program.NEVER),
        "booster_to": np.where(room, d.booster_to, program.NEVER),
        "treat_by": np.where(table.known("withdrawal_days"), d.treat_by, program.NEVER),
        "earliest_other_sale": np.where(elsewhere, plan.other_sale, program.NEVER), "withdrawal_over": plan.clear,
        "castrate_by": np.where(table.flag("bulls"), d.castrate_by, program.NEVER),
    }  # fmt: skip
    out: answering.Quantities = {
        name: (np.where(np.isnat(days), "", days.astype(str)), "") for name, days in dates.items()
    }
    late = [name for name in TOO_LATE if conflicts[name].any()]
    past = conflicts["sale is past"]  # then all the rest is too late as well, and not worth a line
    said = ["sale is past" if past[i] else "; ".join(n for n in late if conflicts[n][i]) for i in range(len(table))]
    out["too_late_or_wrong"] = (np.array(said, dtype=np.str_), "")
    out["next_step"] = (np.where(next_days >= 0, next_name, "").astype(np.str_), "")
    out["days_to_next_step"] = (np.where(next_days >= 0, next_days, np.nan), "day")
    out["days_weaned_at_sale"] = (program.days_between(plan.weaned, plan.sale), "day")
    out["program_worth"] = (_net(**given), UNIT)
    even = 100 * given["program_cost"] / given["weight"]
    out["break_even_premium"] = (np.where(np.isnan(given["premium"]), np.nan, even), "USD/cwt")
    return {
        **out,
        **answering.risk_quantities(OPTIONS, decision, UNIT, "plain"),
        **answering.turning_quantities(_net, given, TURNS),
        **answering.sensitivity(_net, given, CHANGES, UNIT),
    }


def check(values: dict[str, Any]) -> None:
    """Refuse a treatment without its withdrawal, and calves weaned after the sale."""
    if values["treated"] is not None:  # a withdrawal alone is planned with: it sets the last day for treatments
        answering.check_treatment(values, "wean-date")
    if values["weaned"] and values["weaned"] > values["sale"]:
        raise InputError(f"{values['weaned']} is after the sale", where="wean-date weaned",
                         expected=f"a day up to {values['sale']}, or none where they are not weaned")  # fmt: skip


def in_season(table: Table, context: Context) -> NDArray[np.bool_]:
    """Herds with a sale ahead (or without a date, which asks for one in the half year of weaning)."""
    days = table.days_until("sale", context.on)
    return np.where(np.isnan(days), context.on.month in (7, 8, 9, 10, 11), (days >= 0) & (days <= 180))


QUESTION = Question(
    name="wean-date",
    room="cattle",
    title="When must these calves be weaned for the sale?",
    about="Counts weaning, both vaccine rounds, castration and withdrawals back from a sale that asks for days weaned, "
    "and names what is already too late.",
    inputs=INPUTS,
    answer=answer,
    places=Places(kinds=("herd",)),
    size="calf_head",
    in_season=in_season,
    limits="Counts dates; products, doses and withdrawals come from the label and the veterinarian. Every sale writes "
    "its own rules.",
    options_count=3,
    check=check,
    desk_look=True,  # a sale of another day is asked for by telephone
)
