"""What wheat is for as a case of when to do it: grain, both, graze-out or hay, settled before first hollow stem.

Money is counted over leaving it to make grain with no more grazing. The grain's own luck is the baseline's.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from sideoats.problem import Barred, Choice, labelled
from sideoats.question import Context, Table
from sideoats.ruling import attitude_of, certainty_equivalents, known_size
from sideoats.wheat import grazing
from sideoats.wheat.asked import harvest_cost, stocking
from sideoats.wheat.days import DUE_DAYS, spring_close
from sideoats.wheat.drawn import gain_draws, hay_money, wheat_price, yield_draws
from sideoats.words import say

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]

UNIT = "USD/ac"
USES = ("grain", "dual", "graze-out", "hay")
GRAIN, DUAL, OUT, HAY = range(4)
OPTIONS = tuple(Choice(use, labelled(f"wheat-{use}")) for use in USES)
AFTER = 14  # days: what is settled is looked at again


@dataclass(frozen=True)
class Budget:
    """Money of each use (place, draw, option) [USD/ac] and what it is made of."""

    payoff: Floats
    grain: Floats  # (place, draw) USD/ac that never grazed grain nets
    graze_day: Floats  # (place, draw) USD/ac a day of grazing before first hollow stem
    stem: Floats  # (place,) days to first hollow stem
    ripe: float  # days after first hollow stem from which it is past grazing out and cutting for hay

    @cached_property
    def gain(self) -> Floats:
        """(place, draw, option) over grain with no more grazing, 0 where not known."""
        return np.asarray(np.nan_to_num(self.payoff - self.payoff[:, :, :1]))

    @cached_property
    def exposure(self) -> Floats:
        """(place, draw) what that grain itself wins or loses against its mean."""
        own = self.payoff[:, :, GRAIN]
        return np.asarray(np.nan_to_num(own - own.mean(axis=1, keepdims=True)))


def budget_of(table: Table, context: Context) -> Budget:
    """The four uses over the same futures."""
    facts, out = context.facts, context.outlook
    stem = spring_close(table, context, "hollow_stem_date")
    yields, price = yield_draws(table, context), wheat_price(table, context)
    net = (
        yields * (price - harvest_cost(table, context)[:, None]) - np.nan_to_num(table.number("harvest_acre"))[:, None]
    )
    _, penalty = facts.choose("wheat/grazing_penalty")
    lost = out.between("grazing penalty", penalty.low, penalty.high)[None, :]
    grazed = net * (1 - lost)
    head, gain = np.nan_to_num(stocking(table))[:, None], gain_draws(table, context)
    worth = np.nan_to_num(table.number("value_of_gain"))[:, None] * out.price_ratio("feeder steer 750 lb", [90])[:, 0]
    a_day = grazing.forage_revenue(head, 1.0, gain, worth)
    until = np.maximum(stem, 0.0)[:, None]
    more = out.between("graze-out stocking", *facts.span("wheat/grazing.graze_out_stocking"))
    most = np.maximum(facts.value("wheat/grazing.stocking_asked") / np.maximum(head, 1e-9), 1.0)
    more = np.minimum(more, most)  # stocked for spring, but never over what wheat carries
    days = out.between("graze-out days", *facts.span("wheat/grazing.graze_out_days"))
    uses = (
        np.where(_grazed(table)[:, None], grazed, net),
        grazed + a_day * until,
        a_day * (until + days * more),
        hay_money(table, context, 90),
    )
    return Budget(np.stack(uses, axis=2), net, a_day, stem, facts["wheat/grazing.graze_out_days"].high)


def _grazed(table: Table) -> Bools:
    """(place,) cattle have been on: as told, else as taken."""
    return np.asarray(np.where(table.known("grazed_already"), table.flag("grazed_already"), taken_as_grazed(table)))


def taken_as_grazed(table: Table) -> Bools:
    """(place,) nobody said whether cattle have been on, but they are there and the wheat is not meant for other use.

    What a winter of grazing costs in grain is then spent, whatever is decided now.
    """
    purpose, head = table.text("purpose").astype(str), table.number("head") > 0
    there = np.isin(purpose, ["dual", "graze-out"]) & head | (purpose == "") & (head | (stocking(table) > 0))
    return np.asarray(~table.known("grazed_already") & there)


def plan_of(table: Table) -> Ints:
    """(place,) the use that is planned, -1 where none is on file."""
    return np.array([USES.index(p) if p else -1 for p in table.text("purpose")])


def overstocked(table: Table, context: Context) -> Bools:
    """(place,) more head an acre than wheat carries in any season: a slip, or another field's acres."""
    return np.asarray(stocking(table) > context.facts.value("wheat/grazing.stocking_asked"))


def unspread(table: Table) -> Bools:
    """(place,) head on acres that nobody gave."""
    return np.asarray((table.number("head") > 0) & ~table.known("acres") & ~table.known("stocking"))


def needs_of(table: Table, context: Context) -> dict[str, Bools]:
    """What the money cannot do without: the grain's figures, and those of what stands there or is planned."""
    return {
        "asked.stocking": overstocked(table, context) | unspread(table),
        "quote:wheat": ~table.known("price"),
        "place.expected_yield": ~table.known("yield"),
        "setting:value_of_gain": (stocking(table) > 0) & ~table.known("value_of_gain"),
        "quote:grass hay": (plan_of(table) == HAY) & ~table.known("hay_price"),
    }


def unasked_agent(table: Table) -> Bools:
    """(place,) insured wheat whose agent was not asked about other uses."""
    return np.asarray(table.flag("insured") & ~table.flag("agent_asked"))


def bars(table: Table, budget: Budget) -> tuple[Barred, ...]:
    """Uses that are not open, and those that the insurance agent has to agree to."""

    def uses(rows: Bools, *at: int) -> Bools:
        return rows[:, None] & np.isin(np.arange(len(OPTIONS)), at)

    return (
        Barred(uses(~(stocking(table) > 0), DUAL, OUT), say("bar.no_cattle")),
        Barred(uses(~table.known("hay_price"), HAY), say("bar.no_hay_price")),
        Barred(uses(unasked_agent(table), OUT, HAY), say("bar.agent")),
        Barred(uses(budget.stem < 0, DUAL), say("bar.past_hollow_stem")),
        Barred(uses(budget.stem < -budget.ripe, OUT, HAY), say("bar.ripe")),
    )


@dataclass(frozen=True)
class Standing:
    """The uses that are open, risk counted: the best, how far ahead of the next, and whether the plan is kept."""

    best: Ints
    following: Ints  # -1 where no other use is open
    margin: Floats
    kept: Bools
    near: Bools
    given_away: Floats  # by keeping to the plan; the margin where none is on file or it is closed


def standing_of(table: Table, context: Context, budget: Budget, barred: Bools) -> Standing:
    """The order of the uses by certainty equivalent, as the ruling has it."""
    n, rows = len(table), np.arange(len(table))
    attitude = attitude_of(context.facts, context.risk_aversion)
    aversion = attitude.absolute(known_size(UNIT, table.size if table.size.size else np.full(n, np.nan), context.facts))
    certain = np.where(barred, -np.inf, certainty_equivalents(budget.gain, aversion, budget.exposure))
    order = np.argsort(-certain, axis=1, kind="stable")
    best, second = order[:, 0], order[:, 1]
    with np.errstate(invalid="ignore"):
        margin = np.where(np.isinf(certain[rows, second]), np.nan, certain[rows, best] - certain[rows, second])
        plan = plan_of(table)
        planned = certain[rows, best] - certain[rows, np.maximum(plan, 0)]
    grain_follows = (plan == DUAL) & (best == GRAIN)  # grain follows when cattle come off
    near = budget.stem <= context.facts.value("wheat/grazing.decide_lead")
    given_away = np.where((plan < 0) | ~np.isfinite(planned), margin, planned)
    following = np.where(np.isnan(margin), np.full(n, -1), second)
    kept = (plan == best) | grain_follows | ((plan < 0) & (following < 0) & (best == GRAIN))
    return Standing(best, following, margin, kept, near, given_away)


def delay(budget: Budget, at: Standing) -> Floats:
    """(place, option) what settling it a week later costs: nothing while first hollow stem is weeks away or the plan is
    kept; what the plan gives away where it falls within the week; else it presses at no cost that is known.
    """
    presses = np.where(budget.stem <= DUE_DAYS, np.nan_to_num(at.given_away), np.nan)
    each = np.where(at.near & ~at.kept, np.where(presses > 0, presses, np.nan), 0.0)
    return np.repeat(each[:, None], len(OPTIONS), axis=1)


def recheck(budget: Budget, context: Context) -> Ints:
    """(place,) days to the day on which it is settled, then to first hollow stem."""
    lead = context.facts.value("wheat/grazing.decide_lead")
    ahead = np.where(budget.stem > lead, np.maximum(budget.stem - lead, DUE_DAYS), budget.stem)
    return np.where(ahead > 0, ahead, AFTER).astype(np.int64)


def quantities(budget: Budget, at: Standing) -> dict[str, tuple[Floats, str]]:
    """Days to first hollow stem, what grain nets, a day of grazing, and the lead of the best use."""
    return {
        "days_to_hollow_stem": (budget.stem, "day"),
        "grain_net": (budget.grain.mean(axis=1), UNIT),
        "grazing_a_day": (budget.graze_day.mean(axis=1), "USD/ac/day"),
        "lead_over_the_next": (at.margin, UNIT),
    }
