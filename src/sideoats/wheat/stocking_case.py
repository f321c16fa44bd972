"""How many head wheat carries: a rate, over no cattle, by live weight an acre.

Forage standing and growing says what lasts; before first hollow stem the published winter rate is the most that is
advised, whatever stands there today.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from sideoats.decide.laws import median, quantile
from sideoats.problem import Barred, Choice, labelled
from sideoats.question import Context, Table
from sideoats.wheat import grazing
from sideoats.wheat.asked import stocking
from sideoats.wheat.days import spring_close
from sideoats.wheat.drawn import gain_draws
from sideoats.wheat.standing_forage import FACTS, SPRING, WINTER, Forage, published_most
from sideoats.words import Between, Measured, say

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]

UNIT = "USD/ac"
LIVE_WEIGHTS = (150, 250, 350, 450, 550, 650, 800, 1000)
OPTIONS = (
    Choice("none", labelled("no-cattle"), passive=True, kind="none"),
    *(
        Choice(f"weight-{lw}", labelled("live-weight", lw=Measured(float(lw), unit="lb/ac")), kind="some")
        for lw in LIVE_WEIGHTS
    ),
)
FORTNIGHT = 14
LEAST_DAYS = 7  # a shorter stretch is nobody's stocking


@dataclass(frozen=True)
class Carried:
    """Head an acre: what forage carries (place, draw), the published most (place,), and what is planned (place,).

    `winter` (place,) is before first hollow stem; `past` after it, of wheat that is not grazed out.
    """

    head: Floats
    most: Floats
    planned: Floats
    winter: Bools
    past: Bools

    @cached_property
    def advised(self) -> Floats:
        """(place,) the most that is advised: what forage carries in the middle of the futures, or the published."""
        return np.asarray(np.minimum(median(self.head, axis=1), self.most))

    @cached_property
    def over(self) -> Bools:
        """(place,) more is planned than that."""
        return np.asarray(self.planned > self.advised)


def with_days(table: Table, context: Context) -> Table:
    """The days of grazing that were told, else those to first hollow stem, or to the middle of graze-out."""
    told = table.number("days")
    if not np.isnan(told).any():
        return table
    end = spring_close(table, context, "hollow_stem_date")
    more = context.facts.by_id[FACTS + "graze_out_days"].mid
    end = np.where(table.text("purpose") == "graze-out", end + more, end)
    days = np.where(np.isnan(told) & (end >= LEAST_DAYS), np.rint(end), told)
    return replace(table, columns={**table.columns, "days": days})


def heavier(table: Table, context: Context) -> Floats:
    """(place, draw) mean weight of a head over the stretch [lb]."""
    span, weight = table.number("days")[:, None], table.number("weight")[:, None]
    return np.asarray(weight + gain_draws(table, context) * span / 2)


def carried_of(table: Table, context: Context, forage: Forage) -> Carried:
    """What forage carries for the days wanted, what is published for the season, what is planned."""
    head = grazing.head_carried(
        forage.standing,
        forage.left,
        forage.growth,
        table.number("days")[:, None],
        forage.harvested,
        forage.intake,
        heavier(table, context),
    )
    most, winter = published_most(table, context, "hollow_stem_date")
    past = ~winter & (table.text("purpose") != "graze-out")
    return Carried(head, most / table.number("weight"), stocking(table), winter, np.asarray(past))


def gain_of(table: Table, context: Context, forage: Forage) -> Floats:
    """(place, draw, option) money over no cattle [USD/ac], 0 where not known; too many head run out of wheat."""
    facts, out = context.facts, context.outlook
    span, weight = table.number("days")[:, None], table.number("weight")[:, None]
    gain, worth = gain_draws(table, context), table.number("value_of_gain")[:, None]
    short_cost, mean = out.between("wheat runs out", *facts.span(FACTS + "short_cost")), heavier(table, context)
    paid = [np.zeros((len(table), out.draws))]
    for live in LIVE_WEIGHTS:
        head = live / weight
        lasts = grazing.days_lasting(
            head, forage.standing, forage.left, forage.growth, forage.harvested, forage.intake, mean
        )
        cost = table.number("head_cost")[:, None] + np.where(lasts < span, short_cost, 0.0)
        paid.append(grazing.forage_revenue(head, np.minimum(span, lasts), gain, worth) - head * cost)
    return np.nan_to_num(np.stack(paid, axis=2))


def thin(forage: Forage) -> Bools:
    """(place,) less stands than cattle may go on at."""
    return np.asarray(forage.standing.mean(axis=1) < forage.least)


def bars(context: Context, forage: Forage, carried: Carried) -> tuple[Barred, ...]:
    """Wheat past first hollow stem, too little to graze, and rates above the published one of the season."""
    live = np.array([0, *LIVE_WEIGHTS])
    least = Measured(forage.least, unit="lb/ac", fact=FACTS + "turn_on_forage")
    most = np.where(carried.winter, context.facts.span(WINTER)[1], context.facts.span(SPRING)[1])
    ends = Between(context.facts.span(WINTER), unit="lb/ac", fact=WINTER)
    return (
        Barred(carried.past[:, None] & (live > 0), say("bar.past_hollow_stem")),
        Barred(thin(forage)[:, None] & (live > 0), say("bar.thin_wheat", least=least)),
        Barred(live > most[:, None], say("bar.published_rate", ends=ends)),
    )


def delay(carried: Carried, forage: Forage) -> Floats:
    """(place, option) an answer that is right already waits; cattle above what is carried eat every day what the others
    need later, at no cost that is known.
    """
    settled = (np.isfinite(carried.planned) & ~carried.over) | thin(forage)
    return np.repeat(np.where(settled, 0.0, np.nan)[:, None], len(OPTIONS), axis=1)


def quantities(table: Table, carried: Carried) -> dict[str, tuple[Floats, str]]:
    """Head an acre that forage carries, with its range, and what is advised for the field."""
    middle = median(carried.head, axis=1)
    low, high = quantile(carried.head, [0.1, 0.9], axis=1)
    return {
        "head_carried": (middle, "head/ac"),
        "head_carried_low": (low, "head/ac"),
        "head_carried_high": (high, "head/ac"),
        "head_advised": (carried.advised, "head/ac"),
        "acres_per_head": (1 / np.maximum(carried.advised, 1e-9), "ac/head"),
        "stocking_now": (carried.planned, "head/ac"),
        "head_for_the_field": (carried.advised * table.number("acres"), "head"),
    }
