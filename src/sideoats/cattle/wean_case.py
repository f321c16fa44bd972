"""Calves prepared for a sale that asks for days weaned: the plan counted back from it, and what each choice gains."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.cattle import answering, budget, program
from sideoats.cattle.wean_early import Early
from sideoats.errors import InputError
from sideoats.families.own_and_sell import SALE, Quantities, sensitivity, turning_points
from sideoats.problem import Barred, Choice, Look, labelled
from sideoats.question import Context, Table
from sideoats.words import Day, say

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]

UNIT = "USD/head"
COMMODITY = "feeder steer 500 lb"
WEEK = 7  # days: the week is the product
OPTIONS = (
    Choice("program", labelled("wean-program"), trouble=SALE, kind="program"),
    Choice("later_sale", labelled("wean-later"), trouble=SALE, kind="later"),
    Choice("plain", labelled("wean-plain"), passive=True, kind="plain"),
    Choice("wean_early", labelled("wean-early"), trouble=SALE, kind="early"),
)
PROGRAM, LATER, PLAIN, EARLY = range(4)
CHANGES = {
    "premium_25_percent_lower": ("premium", 0.75),
    "no_premium_is_paid": ("premium", 0.0),
    "weight_10_percent_lower": ("weight", 0.9),
    "program_cost_25_percent_higher": ("program_cost", 1.25),
}
TURNS = {"premium": "USD/cwt", "program_cost": "USD/head"}
STEPS = {  # steps of a program: key of its sentence -> as in the answer's figures
    "first": "first vaccine round", "second": "second vaccine round", "castrate": "castrate", "wean": "wean",
}  # fmt: skip
LONGEST_WEANED = 300  # days before a sale of calves; longer ago is the year before
LATE = ("weaned too few days", "weaning date is past")
# What was done wrong or is too late, key of its sentence -> as in `program.program_conflicts`.
WRONG = {
    "too_few": "weaned too few days", "past": "weaning date is past", "first_past": "first round window is past",
    "no_time": "no time for two rounds", "second_past": "booster window is past",
    "close": "rounds too close together", "apart": "rounds too far apart", "order": "booster before first round",
    "second_late": "booster would be after the last day for treatments", "uncut": "castration date is past",
    "unhealed": "castration wound not healed at sale", "withdrawal": "withdrawal runs past the sale",
}  # fmt: skip
# What a sale sends calves back for, or the veterinarian must repeat: said in the headline.
TOLD_FIRST = ("no_time", "uncut", "unhealed", "order", "close")


@dataclass(frozen=True)
class Plan:
    """A program counted back from its sale; arrays (place,).

    Attributes
    ----------
    sale : the sale, or the later one where the first cannot be made any more
    missed : the first sale where the plan is for the later one, else NaT
    weaned, first_round, booster : days on which these were done
    days_asked : days weaned that the sale asks for
    dates, conflicts : as in `sideoats.cattle.program`
    held : withdrawals
    other : first day of a sale that these calves can make
    last_first : last day of a first round that leaves time for the second
    least_apart : least days between the rounds
    step, left : the next step (a key of `STEPS`, "" for none) and the days to it (-1 for none)
    """

    sale: program.Dates
    missed: program.Dates
    weaned: program.Dates
    first_round: program.Dates
    booster: program.Dates
    days_asked: Floats
    dates: program.ProgramDates
    conflicts: dict[str, program.Masks]
    held: answering.Withdrawal
    other: program.Dates
    last_first: program.Dates
    least_apart: float
    step: NDArray[np.object_]
    left: Ints

    def is_(self, wrong: str) -> Bools:
        """(place,) True where that is wrong or too late."""
        return self.conflicts[WRONG[wrong]]

    @property
    def past(self) -> Bools:
        """The sale is past."""
        return self.conflicts["sale is past"]

    @property
    def late(self) -> Bools:
        """Too late to be weaned long enough for this sale, which is still ahead."""
        return np.asarray(np.logical_or.reduce([self.conflicts[name] for name in LATE]) & ~self.past)

    @property
    def soon(self) -> Bools:
        """The next step falls in this week."""
        return (self.left >= 0) & (self.left <= WEEK)

    def to_sale(self, on: np.datetime64) -> Floats:
        """Days to the sale."""
        return program.days_between(on, self.sale)


def plan_of(table: Table, context: Context) -> Plan:
    """The plan for the sale named, or for the later one where that can be made and the first cannot."""
    first = _plan_for(table, context, table.date("sale"))
    other = table.date("other_sale")
    moved = (first.late | first.past | first.is_("withdrawal")) & (other > first.sale)
    if not moved.any():
        return first
    second = _plan_for(table, context, np.where(moved, other, first.sale).astype("datetime64[D]"))
    return replace(second, missed=np.where(moved, first.sale, program.NEVER).astype("datetime64[D]"))


def _plan_for(table: Table, context: Context, sale: program.Dates) -> Plan:
    facts, on = context.facts, np.datetime64(context.on, "D")
    days_asked = answering.known_or(table.number("program_days"), facts.value("cattle/weaned_days.washington"))
    least_apart, most_apart = facts.span("cattle/rounds.apart")
    least_apart = max(least_apart, facts.value("cattle/rounds.closest"))
    healing = answering.known_or(table.number("healing_days"), facts.span("cattle/healing")[1])
    weaned, first_round, booster = (table.date(n) for n in ("weaned", "first_round", "booster"))
    counted: dict[str, Any] = {
        "program_days": days_asked, "first_before_weaning": facts.choose("cattle/first_round")[1].span,
        "booster_after_first": (least_apart, most_apart),
        "withdrawal_days": np.nan_to_num(table.number("withdrawal_days")), "healing_days": healing, "weaned": weaned,
    }  # fmt: skip
    dates = program.program_dates(sale, first_round=first_round, **counted)
    overdue = np.isnat(first_round) & (dates.first_to < on)  # the second round then counts from today at the earliest
    from_today = program.program_dates(sale, first_round=np.where(overdue, on, first_round), **counted)
    dates = replace(dates, booster_from=from_today.booster_from, booster_to=from_today.booster_to)
    held = answering.withdrawal(table, context)
    conflicts = program.program_conflicts(
        dates,
        sale=sale,
        on=on,
        program_days=days_asked,
        least_gap=least_apart,
        most_gap=most_apart,
        weaned=weaned,
        first_round=first_round,
        booster=booster,
        castrated=table.date("castrated"),
        needs_castration=table.flag("bulls"),
        clear=held.clear,
    )
    conflicts[WRONG["withdrawal"]] = held.inside(program.days_between(on, sale)) & ~(sale < on)
    other = np.fmax(np.fmax(program.first_qualifying_sale(weaned, on, days_asked), held.until), on)
    last_first = program.shifted(dates.treat_by, -least_apart)
    step, left = _next_step(table, on, dates, conflicts, last_first)
    none = np.full(len(table), program.NEVER)
    return Plan(
        sale,
        none,
        weaned,
        first_round,
        booster,
        days_asked,
        dates,
        conflicts,
        held,
        other,
        last_first,
        least_apart,
        step,
        left,
    )


def _next_step(
    table: Table, on: np.datetime64, dates: program.ProgramDates, conflicts: dict[str, program.Masks], last: Any
) -> tuple[NDArray[np.object_], Ints]:
    """The nearest step that is not past, and the days to it."""
    first_round, booster, weaned = (np.isnat(table.date(n)) for n in ("first_round", "booster", "weaned"))
    week = on + np.timedelta64(WEEK, "D")
    first_by = np.where(conflicts[WRONG["first_past"]], np.fmin(last, week), dates.first_to)
    uncut = table.flag("bulls") & np.isnat(table.date("castrated"))
    steps = {
        "first": np.where(first_round, first_by, program.NEVER),
        "second": np.where(booster & ~first_round, dates.booster_to, program.NEVER),
        "castrate": np.where(uncut, dates.castrate_by, program.NEVER),
        "wean": np.where(weaned, dates.wean_by, program.NEVER),
    }
    ahead = np.stack([program.days_between(on, day) for day in steps.values()], axis=1)
    ahead = np.where(ahead >= 0, ahead, np.inf)
    at, soonest = ahead.argmin(axis=1), ahead.min(axis=1)
    known = np.isfinite(soonest)
    return np.where(known, np.array(list(steps), dtype=object)[at], ""), np.where(known, soonest, -1).astype(np.int64)


def net(*, weight: Any, premium: Any, program_cost: Any) -> Floats:
    """Premium on the sale weight less what the program costs, USD/head."""
    return np.asarray(budget.value(weight, premium) - program_cost, dtype=np.float64)


def given_of(table: Table) -> dict[str, Any]:
    """Inputs of `net` at the middle of the premium, as often as it is paid."""
    low, high = answering.span(table, "premium")
    paid = (low + high) / 2 * table.number("premium_chance")
    return {"weight": table.number("weight"), "premium": paid, "program_cost": table.number("program_cost")}


def gain_of(table: Table, context: Context, plan: Plan, early: Early) -> Floats:
    """(place, draw, option) money over weaning on the usual day and selling plain, USD/head.

    A later sale earns the same premium but at that day's price: where a price is known its move between the two days is
    in the draws, with a mean of nothing. Calves weaned early can make the program as well.
    """
    on, (low, high) = np.datetime64(context.on, "D"), answering.span(table, "premium")
    weight, price = table.number("weight"), np.nan_to_num(table.number("price"))
    paid = context.outlook.uniform("premium paid", table.keys) < table.number("premium_chance")[:, None]
    premium = answering.spread(context, table, "premium", low, high) * paid
    prepared = net(weight=weight[:, None], premium=premium, program_cost=table.number("program_cost")[:, None])
    to_sale = np.maximum(plan.to_sale(on), 0.0)
    to_other = np.fmax(program.days_between(on, plan.other), to_sale)
    moved = answering.price_ratio(context, COMMODITY, to_other) - answering.price_ratio(context, COMMODITY, to_sale)
    later = prepared + budget.value(weight, price)[:, None] * moved
    made = ~(plan.late | plan.past | np.isnat(plan.sale))[:, None] & ~np.isnan(prepared)
    soon = early.worth + np.where(made, np.maximum(np.nan_to_num(prepared.mean(axis=1)), 0.0)[:, None], 0.0)
    return np.stack([prepared, later, np.zeros_like(later), soon], axis=2)


def aims(plan: Plan, early: Early) -> Floats:
    """(place, option) which choice meets the days that the sale asks for; an early weaning that pays meets them too."""
    wins = early.open & (early.worth.mean(axis=1) > 0)
    met = ~(plan.late | plan.past)
    return np.stack([met & ~wins, plan.late | plan.past, np.zeros_like(wins), wins], axis=1).astype(np.float64)


def bars(plan: Plan, early: Early, context: Context) -> tuple[Barred, ...]:
    """What cannot be made any more, what the label forbids, and what nobody asks for."""
    unclear, unset = plan.is_("withdrawal"), np.isnat(plan.sale)
    past, none = plan.past, np.zeros(len(plan.sale), bool)
    youngest = context.facts.value("cattle/early.youngest") if early.asked.any() else 0.0

    def of(program_: Bools = none, later: Bools = none, plain: Bools = none, early_: Bools = none) -> Bools:
        return np.stack([program_, later, plain, early_], axis=1)

    return (
        Barred(of(past, plain=past), say("bar.sale_past")),
        Barred(of(plan.late), lambda i: late_said(plan, i)),
        Barred(of(unclear, plain=unclear), plan.held.said),
        Barred(of(later=~(plan.late | past | unclear) & ~unset), say("bar.sale_can_be_made")),
        Barred(of(unset, unset), say("bar.no_sale")),
        Barred(of(early_=~early.asked), say("bar.not_scored")),
        Barred(of(early_=early.asked & (early.unscored | early.ungrazed)), say("bar.not_scored")),
        Barred(of(early_=early.young), say("bar.too_young", least=youngest)),
        Barred(of(early_=early.asked & ~(early.days > 0)), say("bar.usual_day_near")),
    )


def late_said(plan: Plan, i: int) -> Any:
    """Why it is too late for this sale, in a sentence's part."""
    if plan.is_("past")[i]:
        return say("wean-date.late_wean", day=Day(plan.dates.wean_by[i]))
    short = plan.days_asked[i] - program.days_between(plan.weaned[i], plan.sale[i])
    return say("wean-date.late_weaned", n=int(short), asked=int(plan.days_asked[i]), sale=Day(plan.sale[i]))


def wrong_first(plan: Plan) -> Bools:
    """(place,) something stands in the headline that the sale or the veterinarian must be asked about."""
    return np.asarray(np.logical_or.reduce([told_first(plan, name) for name in TOLD_FIRST]))


def told_first(plan: Plan, name: str) -> Bools:
    """(place,) that stands in the headline; rounds that find no time do where the sale itself can be made."""
    return np.asarray(plan.is_(name) & ~plan.past & ~(plan.late & (name == "no_time")))


def looks(plan: Plan, gain: Floats) -> tuple[Look, ...]:
    """A call to the sale barn: for another day of sale, or whether it takes calves as they are."""
    with np.errstate(invalid="ignore"):
        pays = ~(gain[:, :, PROGRAM].mean(axis=1) <= 0)
    asks = (plan.late & pays) | wrong_first(plan)
    within = np.where(plan.soon, plan.left, WEEK)
    shown = np.zeros((len(pays), 1))
    return (Look(shown, np.zeros(len(pays)), within, worth=np.where(asks, np.nan, 0.0)),)


def delay(table: Table, context: Context, plan: Plan, gain: Floats, early: Early) -> Floats:
    """(place, option) what another week costs, USD/head; NaN for a step that presses at no cost that is known.

    A first round after its usual window is a matter for the veterinarian, not the loss of the sale: it costs the
    program only where no time for two rounds would be left.
    """
    week = np.datetime64(context.on, "D") + np.timedelta64(WEEK, "D")
    uncut = table.flag("bulls") & np.isnat(table.date("castrated"))
    closing = (
        (np.isnat(plan.weaned) & (plan.dates.wean_by <= week))
        | (np.isnat(plan.first_round) & (plan.last_first <= week))
        | (np.isnat(plan.booster) & (plan.dates.booster_to <= week) & ~np.isnat(plan.first_round))
        | (uncut & (plan.dates.castrate_by <= week))
    )
    worth = np.maximum(gain[:, :, PROGRAM].mean(axis=1), 0.0)
    step = np.where(plan.soon, np.where(closing, worth, np.nan), 0.0)
    days = np.maximum(early.days, 1.0)
    sooner = np.maximum(early.worth.mean(axis=1) * np.minimum(WEEK / days, 1.0), 0.0)
    none = np.zeros(len(step))
    return np.stack([step, none, none, np.where(early.open, sooner, 0.0)], axis=1)


def due(plan: Plan, gain: Floats, early: Early) -> Ints:
    """(place,) days to what is done next."""
    wins = early.open & ~(gain[:, :, EARLY].mean(axis=1) <= np.nan_to_num(gain[:, :, PROGRAM].mean(axis=1)))
    return np.where(wins, WEEK, np.where(plan.soon, plan.left, -1)).astype(np.int64)


def recheck(plan: Plan, early: Early, on: np.datetime64) -> Ints:
    """(place,) days to look again where nothing is done: a week before the next step, its day where that is past."""
    ahead = np.where(plan.soon, np.maximum(plan.left, 1), np.where(plan.left >= 0, plan.left - WEEK, 2 * WEEK))
    ahead = np.where(early.asked, np.minimum(ahead, 2 * WEEK), ahead)
    ahead = np.fmin(ahead, np.maximum(plan.to_sale(on), 1))
    return np.where(plan.past, WEEK, ahead).astype(np.int64)


def quantities(table: Table, plan: Plan, early: Early, given: dict[str, Any]) -> Quantities:
    """Dates first, then what is wrong, then the money at the premium given."""
    d, past = plan.dates, plan.past
    elsewhere = plan.late | past | plan.is_("withdrawal")
    room = d.booster_from <= d.booster_to
    dates = {
        "wean_by": d.wean_by, "first_round_from": d.first_from, "first_round_to": d.first_to,
        "booster_from": np.where(room, d.booster_from, program.NEVER),
        "booster_to": np.where(room, d.booster_to, program.NEVER),
        "treat_by": np.where(table.known("withdrawal_days"), d.treat_by, program.NEVER),
        "earliest_other_sale": np.where(elsewhere, plan.other, program.NEVER), "withdrawal_over": plan.held.until,
        "castrate_by": np.where(table.flag("bulls"), d.castrate_by, program.NEVER),
        "usual_weaning": np.where(early.asked, early.usual, program.NEVER),
    }  # fmt: skip
    out: Quantities = {name: (np.where(np.isnat(days), "", days.astype(str)), "") for name, days in dates.items()}
    wrong = [name for name in WRONG.values() if plan.conflicts[name].any()]
    said = [
        "sale is past" if past[i] else "; ".join(name for name in wrong if plan.conflicts[name][i])
        for i in range(len(table))
    ]
    steps = np.array([STEPS.get(str(step), "") for step in plan.step], dtype=np.str_)
    weighed = early.open
    even = 100 * given["program_cost"] / given["weight"]
    return {
        **out,
        "too_late_or_wrong": (np.array(said, dtype=np.str_), ""),
        "next_step": (steps, ""),
        "days_to_next_step": (np.where(plan.left >= 0, plan.left, np.nan), "day"),
        "days_weaned_at_sale": (program.days_between(plan.weaned, plan.sale), "day"),
        "program_worth": (net(**given), UNIT),
        "break_even_premium": (np.where(np.isnan(given["premium"]), np.nan, even), "USD/cwt"),
        "days_earlier": (np.where(weighed, early.days, np.nan), "day"),
        "forage_saved": (np.where(weighed, early.forage, np.nan), UNIT),
        "condition_kept": (np.where(weighed, early.condition, np.nan), UNIT),
        "calf_feed_less_gain": (np.where(weighed, early.feed, np.nan), UNIT),
        **{f"turns_at_{n}": (turn, TURNS[n]) for n, turn in turning_points(net, given, tuple(TURNS)).items()},
        **sensitivity(net, given, CHANGES, UNIT),
    }


def check(values: dict[str, Any]) -> None:
    """Refuse a treatment without its withdrawal, and calves weaned after the sale."""
    if values["treated"] is not None:  # a withdrawal alone is planned with: it sets the last day for treatments
        answering.check_treatment(values, "wean-date")
    if values["weaned"] and values["sale"] and values["weaned"] > values["sale"]:
        raise InputError(
            f"{values['weaned']} is after the sale",
            where="wean-date weaned",
            expected=f"a day up to {values['sale']}, or none where they are not weaned",
        )
    for name in ("first_round", "booster", "castrated"):
        if values[name] and values["sale"] and values[name] > values["sale"]:
            raise InputError(
                f"{values[name]} is after the sale", where=f"wean-date {name}", expected=f"a day up to {values['sale']}"
            )
    if values["weaned"] and values["sale"] and (values["sale"] - values["weaned"]).days > LONGEST_WEANED:
        raise InputError(
            f"{values['weaned']} is {(values['sale'] - values['weaned']).days} days before the sale",
            where="wean-date weaned",
            expected=f"at most {LONGEST_WEANED} days before it",
            todo="is the year right?",
        )
    if values["sale"] and values["other_sale"] and values["other_sale"] <= values["sale"]:
        raise InputError(
            f"{values['other_sale']} is not after the sale",
            where="wean-date other_sale",
            expected=f"a day after {values['sale']}",
        )
