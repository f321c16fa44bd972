"""Cattle off wheat as a case of when to do it: off on one of the next days, over leaving them on past those days.

Gain on cattle is set against grain lost past first hollow stem. A date expected has seen no stem: it asks for a look,
and moves no cattle.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from sideoats.decide import value_of_information
from sideoats.decide.laws import median
from sideoats.families import when_to_do_it as family
from sideoats.problem import Barred, Choice, Look, labelled
from sideoats.question import Context, Table
from sideoats.wheat import grazing, own_dates
from sideoats.wheat.asked import harvest_cost, known_or, stocking
from sideoats.wheat.days import spring_close, spring_days
from sideoats.wheat.drawn import gain_draws, wheat_price, yield_draws
from sideoats.wheat.stages import STAGES
from sideoats.words import Count, say

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]

UNIT = "USD/ac"
DAYS = tuple(range(22))
STAY = len(DAYS)
OPTIONS = (
    *(
        Choice(f"off-day-{d}", labelled("off-in", n=Count(d)) if d else labelled("off-today"), day=d, kind="off")
        for d in DAYS
    ),
    Choice("stay", labelled("cattle-stay"), passive=True, kind="stay"),
)
USUAL = {
    "yield": "wheat/usual.yield", "price": "wheat/usual.price",
    "value_of_gain": "wheat/grazing.usual.value_of_gain", "stocking": "wheat/grazing.usual.stocking",
}  # fmt: skip
WEEK = 7
LATEST_RECHECK = 28  # days: growth is too uneven to leave stems alone for longer
JUST_HOLLOW = 0.3  # cm: a shorter reading is within the error of splitting, and the date still counts (common practice)
LONGEST_STEM = 10  # cm: longer is a slip of the unit (common practice, no source)
AHEAD = 3  # days before the best day on which stems are split once more
TOO_LATE = 2  # days: stems that were split and are due that soon are not waited for again


@dataclass(frozen=True)
class Stem:
    """Days from today to first hollow stem (place, draw), the mean length [cm] and the line [cm].

    `seen` (place,) is true where stems were split or the stage tells; a date expected has seen nothing. `dated` is true
    where anything of this field tells, and not the region's usual day alone; `usual` (place,) is that day. `by_heat`
    (place,) is true where the district's own heat of first hollow stem dates it.
    """

    days: Floats
    mean: Floats
    line: float
    seen: Bools
    dated: Bools
    usual: Floats
    by_heat: Bools

    @cached_property
    def far(self) -> Bools:
        """(place,) later than the days that are weighed."""
        return np.asarray(self.away > DAYS[-1])

    @cached_property
    def away(self) -> Floats:
        """(place,) days to first hollow stem in the middle of the futures; by the date alone that date's own."""
        return np.where(self.dated, np.asarray(median(self.days, axis=1)), self.usual)


def stem_of(table: Table, context: Context) -> Stem:
    """First hollow stem: from stems split (carried forward by their age), else from the date expected, give or take."""
    facts, out = context.facts, context.outlook
    line = facts.value("wheat/grazing.first_hollow_stem")
    mean = np.array([np.nan if r is None else float(np.mean(r)) for r in table.rows("hollow_stem")])
    split = ~np.isnan(mean)
    own = np.isfinite(spring_days(table, context, "hollow_stem_date"))
    usual = spring_close(table, context, "hollow_stem_date")
    expected = usual[:, None] + np.zeros((1, out.draws))
    bare = mean < JUST_HOLLOW  # hardly hollow yet: no stem is on its way for certain, so the date still counts
    if (bare | ~split).any():
        spread = facts.value("wheat/grazing.date_spread") * out.normal("first hollow stem", table.keys)
        expected = expected + spread
    heated = np.where(own[:, None], np.nan, _by_heat(table, context))
    by_heat = np.isfinite(heated).any(axis=1)
    expected = np.where(np.isfinite(heated), heated, expected)
    own = own | by_heat
    growth = table.number("stem_growth")[:, None]
    if np.isnan(growth[split]).any():
        drawn = out.between("stem growth", *facts.span("wheat/grazing.stem_growth"))[None, :]
        growth = np.where(np.isnan(growth), drawn, growth)
    age = np.nan_to_num(table.age_days("hollow_stem"))[:, None]
    measured = _carried(grazing.days_to_hollow_stem(mean[:, None], growth, line), age, context)
    late = np.isin(table.text("stage").astype(str), STAGES[STAGES.index("jointing") :])
    days = np.where(split[:, None], measured, expected)
    by_date = np.clip(1 - mean / JUST_HOLLOW, 0.0, 1.0)[:, None]
    days = np.where(bare[:, None], by_date * np.fmax(measured, expected) + (1 - by_date) * measured, days)
    days = np.where(late[:, None], np.minimum(np.nan_to_num(days, nan=0.0), 0.0), days)
    return Stem(days, mean, line, split | late, split | late | own, usual, by_heat & ~split & ~late)


def _by_heat(table: Table, context: Context) -> Floats:
    """(place, draw) days to first hollow stem by the district's own heat; NaN where none was learned or none is due."""
    stations = table.text("station").astype(str) if "station" in table.columns else np.full(len(table), "")
    return np.stack([own_dates.stem_days(context, station) for station in stations.tolist()])


def _carried(needed: Floats, age: Floats, context: Context) -> Floats:
    """(place, draw) days from today to first hollow stem, from the growing days it needed when stems were split.

    Only days after the region's end of winter lengthen a stem; a stem that was past the line then is past it.
    """
    begins = float((context.region.this_crop("wheat-stems-grow", context.on) - context.on).days)
    grown = np.minimum(age, max(-begins, 0.0))
    return np.where(needed <= 0, needed - age, max(begins, 0.0) + needed - grown)


def assumed(table: Table, stem: Stem) -> Bools:
    """(place,) past first hollow stem by what was seen: cattle come off at any usual figures, told or not."""
    reached = stem.seen & (np.nan_to_num(stem.away, nan=1.0) <= 0) & ~grazed_out(table)
    known = table.known("yield") & table.known("price") & table.known("value_of_gain")
    lacks = ~known | np.isnan(stocking(table))
    return np.asarray(reached & lacks & ~(stocking(table) == 0))


def with_usual(table: Table, context: Context, stem: Stem) -> Table:
    """The table with usual figures where they are not told and the stem is passed; elsewhere as it is."""
    rows = assumed(table, stem)
    if not rows.any():
        return table
    known = {name: table.number(name) for name in USUAL} | {"stocking": stocking(table)}
    filled = {
        name: np.where(rows & np.isnan(known[name]), context.facts.value(fact), known[name])
        for name, fact in USUAL.items()
    }
    return replace(table, columns={**table.columns, **filled})


def gain_of(table: Table, context: Context, stem: Stem) -> tuple[Floats, grazing.Day]:
    """(place, draw, option) money over leaving them on [USD/ac], 0 where not known; and the marginal day."""
    facts, out = context.facts, context.outlook
    rate = table.number("loss_rate")[:, None]
    low, high = facts.value("wheat/grazing.late_loss.low"), facts.value("wheat/grazing.late_loss.kansas")
    daily = np.where(np.isnan(rate), out.between("loss past first hollow stem", low, high)[None, :], rate)
    net = wheat_price(table, context) - harvest_cost(table, context)[:, None]
    grain, worth = yield_draws(table, context), table.number("value_of_gain")[:, None]
    day = grazing.one_more_day(stocking(table)[:, None], gain_draws(table, context), worth, grain, daily, net)
    ends = np.array([*DAYS, DAYS[-1] + 1])  # left on, they are on the day after the last one asked about
    past = np.maximum(ends - np.maximum(stem.days, 0.0)[:, :, None], 0.0)
    lost = grazing.lost_after(past, daily[:, :, None])
    if table.flag("compound").any():
        compounded = grazing.lost_after(past, daily[:, :, None], compound=True)
        lost = np.where(table.flag("compound")[:, None, None], compounded, lost)
    money = day.benefit[:, :, None] * ends - (grain * net)[:, :, None] * lost
    return np.nan_to_num(money - money[:, :, STAY:]), day


def needs_of(table: Table, stem: Stem) -> dict[str, Bools]:
    """What the money cannot do without; nothing for wheat that is grazed out whatever the stems say, and no figure
    where the stem is passed."""
    wanted = ~grazed_out(table) & ~no_cattle(table)
    told = ~assumed(table, stem) & ~stem.far  # weeks off: nothing is weighed yet
    return {
        "wheat_check.hollow_stem": ~stem.dated & ~stem.far & wanted,
        "setting:value_of_gain": ~table.known("value_of_gain") & wanted & told,
        "quote:wheat": ~table.known("price") & wanted & told,
        "place.expected_yield": ~table.known("yield") & wanted & told,
        "place.head": ~(stocking(table) > 0) & wanted & told,
    }


def grazed_out(table: Table) -> Bools:
    """(place,) wheat that is meant to be grazed out: no grain is waited for."""
    return np.asarray(table.text("purpose") == "graze-out")


def no_cattle(table: Table) -> Bools:
    """(place,) no head is on it, as told."""
    return np.asarray(stocking(table) == 0)


def bars(table: Table) -> tuple[Barred, ...]:
    """Cattle are not taken off wheat that is grazed out, nor where there are none."""
    off = np.arange(len(OPTIONS)) != STAY
    return (
        Barred(grazed_out(table)[:, None] & off, say("bar.grazed_out")),
        Barred(no_cattle(table)[:, None] & off, say("bar.no_cattle")),
    )


def best_day(gain: Floats) -> Ints:
    """(place,) the option that brings most on average."""
    return np.asarray(gain.mean(axis=1).argmax(axis=1))


def delay(gain: Floats) -> Floats:
    """(place, option) what being a week late costs: nothing for a day that lies further off."""
    return family.delay(gain, DAYS)


def look_of(table: Table, context: Context, stem: Stem, gain: Floats) -> Look:
    """Stems split once more. Where none was split yet, the look alone tells whether cattle are moved at all."""
    best = best_day(gain)
    days = np.nan_to_num(stem.days)
    worth = value_of_information(gain, days)
    rows = np.arange(len(best))
    worth = np.where(stem.seen, worth, np.maximum(worth, delay(gain)[rows, best]))
    settled = stem.seen & ((stem.away <= 0) | (best <= TOO_LATE))
    worth = np.where(settled | grazed_out(table) | no_cattle(table), 0.0, worth)
    cost = known_or(table.number("look_cost"), context, "wheat/grazing.look_cost")
    return Look(days, cost, recheck(table, stem, best), worth=worth)


def recheck(table: Table, stem: Stem, best: Ints) -> Ints:
    """(place,) days to the next look: before the best day, today where no stem was split and it is near."""
    near = np.clip(best - AHEAD, np.where(stem.seen, 1, 0), WEEK)
    latest = np.where(stem.seen, LATEST_RECHECK, np.inf)  # nobody splits stems for a date that is months off
    far = np.clip(np.nan_to_num(stem.away) - DAYS[-1], WEEK, latest)
    weeks_off = (best == STAY) | stem.far
    return np.where(grazed_out(table), DAYS[-1], np.where(weeks_off, far, near)).astype(np.int64)


def quantities(stem: Stem, day: grazing.Day) -> dict[str, tuple[Floats, str]]:
    """Days to first hollow stem, and what a day past it brings and costs."""
    return {
        "days_to_hollow_stem": (stem.away, "day"),
        "hollow_stem": (stem.mean, "cm"),
        "gain_a_day": (day.benefit.mean(axis=1), "USD/ac/day"),
        "grain_lost_a_day": (day.cost.mean(axis=1), "USD/ac/day"),
    }
