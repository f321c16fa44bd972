"""A profile nitrate test: fertilizing by what it finds, over fertilizing by the publisher's default.

The same crop is fertilized both ways over the soils that trials found: a test saves nitrogen where the profile holds
much and bushels where it holds little. Its error and its cost are counted.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sideoats.families import rate_of_an_input as rate
from sideoats.problem import Barred, Choice, labelled
from sideoats.question import Context, Table
from sideoats.wheat import fertility, nitrogen
from sideoats.wheat.asked import known_or
from sideoats.wheat.days import sowing_days, spring_close
from sideoats.wheat.drawn import wheat_price, yield_draws
from sideoats.wheat.nitrogen_asked import nitrogen_price, soil_prior
from sideoats.wheat.response import supply_response
from sideoats.words import say

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]

UNIT = "USD/ac"
OPTIONS = (
    Choice("sample", labelled("sample"), trouble="sample", kind="sample"),
    Choice("default", labelled("by-default"), passive=True, kind="default"),
)
MONTH = 30
_SOIL, _N = "wheat/soil.", "wheat/nitrogen."


@dataclass(frozen=True)
class Test:
    """What a test brings; (place,) unless said.

    Attributes
    ----------
    worth : (place, draw) of fertilizing by the test over the default, before the test's cost [USD/ac]
    cost : of sampling and the laboratory [USD/ac]
    blind : nitrogen by the default [lb/ac]
    rates : (place, draw) nitrogen by the test [lb/ac]
    cores : in one composite, from the fewest published to the most that anybody pulls
    within : half-width that so many cores reach [1]
    wanted : cores that the half-width wished for would take
    forage : no grain is waited for
    variation : coefficient of variation between cores [1]
    days : to the last sampling in time; NaN where nothing says when, inf where only the next crop needs it
    tested : a profile test is on file
    """

    worth: Floats
    cost: Floats
    blind: Floats
    rates: Floats
    cores: Floats
    within: Floats
    wanted: Floats
    forage: Bools
    variation: Floats
    days: Floats
    tested: Bools

    @property
    def gain(self) -> Floats:
        """(place, draw, option) over fertilizing by the default; 0 where not known."""
        over = np.nan_to_num(self.worth - self.cost[:, None])
        return np.stack([over, np.zeros_like(over)], axis=2)


def test_of(table: Table, context: Context) -> Test:
    """What the test is worth over the soils it could find, and the cores it takes."""
    worth, blind, rates = _worth(table, context)
    variation = known_or(table.number("variation"), context, _SOIL + "core_variation")
    wanted = np.ceil(fertility.cores_needed(variation, table.number("within")))
    fewest, usual = context.facts.span(_SOIL + "cores")
    cores = np.clip(wanted, np.where(table.flag("banded"), usual, fewest), most_cores(context))
    return Test(
        worth,
        known_or(table.number("cost"), context, _SOIL + "test_cost"),
        blind,
        rates,
        np.where(np.isnan(wanted), np.nan, cores),
        fertility.precision_of(cores, variation),
        wanted,
        table.text("purpose").astype(str) == "graze-out",
        variation,
        _days(table, context),
        table.known("profile_nitrogen"),
    )


def most_cores(context: Context) -> float:
    """Cores beyond which nobody goes on pulling."""
    return context.facts.value(_SOIL + "most_cores")


def _worth(table: Table, context: Context) -> tuple[Floats, Floats, Floats]:
    """The same crop under the rate that a test gives and under the default's; worth, default rate, tested rates."""
    facts, out = context.facts, context.outlook
    grazed = np.isin(table.text("purpose").astype(str), ["dual", "graze-out"])
    goal, matter = table.number("yield"), table.number("organic_matter")
    middle = known_or(matter, context, _SOIL + "organic_matter")
    held = np.where(np.isnan(matter)[:, None], _any_matter(table, context), matter[:, None])  # a slip states it too
    truth = soil_prior(table, context)
    error = facts.value(_N + "sampling_error") * out.normal("soil test error", table.keys)
    blind = nitrogen.recommend("kansas", facts, yield_goal=goal, organic_matter=middle, grazed=grazed).rate
    tested = nitrogen.recommend(
        "kansas",
        facts,
        yield_goal=goal[:, None],
        organic_matter=held,
        soil_nitrogen=np.maximum(truth + error, 0.0),
        grazed=grazed[:, None],
    ).rate
    potential = yield_draws(table, context)
    grain, price = wheat_price(table, context), nitrogen_price(table, context)[:, None]
    need = potential * facts.value(_N + "kansas.per_bushel")
    soil = truth + held * facts.value(_N + "kansas.organic_matter")

    def pays(applied: Floats) -> Floats:
        return supply_response(soil + applied, need, potential) * grain - applied * price

    return pays(tested) - pays(blind[:, None] + np.zeros_like(truth)), blind, tested


def _any_matter(table: Table, context: Context) -> Floats:
    """(place, draw) organic matter of ground that was not tested [percent]."""
    if table.known("organic_matter").all():
        return np.zeros((len(table), context.outlook.draws))
    return context.outlook.between("organic matter", *context.facts.span(_SOIL + "organic_matter"), table.keys)


def _days(table: Table, context: Context) -> Floats:
    """(place,) days to the last sampling in time.

    The slip is wanted before sowing, and once wheat is sown (or from January on) before the topdress closes. Sowing
    that is nearer than the laboratory's time leaves a few days, because the result still serves the topdress.
    """
    facts = context.facts
    until = sowing_days(table, context)
    laboratory, late = facts.value(_SOIL + "laboratory_days"), facts.value(_SOIL + "late_sample_days")
    fall = np.where(until >= 0, np.maximum(until - laboratory, np.minimum(until, late)), np.nan)
    lead = facts.value(_N + "sample_lead")
    topdress = np.maximum(spring_close(table, context, "close_date") - lead, 0.0)
    settled = context.region.holds("wheat-nitrogen-settled", context.on)
    if settled:  # this crop has its nitrogen
        topdress = np.full(len(table), np.inf)
    stands = settled or context.region.holds("soil-sampling-spring", context.on)
    standing = (until < 0) | (~table.known("planting_date") & stands)
    return np.where(standing, topdress, fall)


def bars(test: Test) -> tuple[Barred, ...]:
    """A field that was sampled is not sampled again."""
    sample = np.arange(len(OPTIONS)) == 0
    return (
        Barred(test.tested[:, None] & sample, say("bar.tested")),
        Barred((test.forage & ~test.tested)[:, None] & sample, say("bar.forage_only")),
    )


def needs_of(table: Table, context: Context, test: Test) -> dict[str, Bools]:
    """Prices and the yield, where no test settles it and grain is waited for."""
    open_ = ~(test.tested | test.forage)
    return {
        "quote:wheat": ~table.known("price") & open_,
        "place.expected_yield": ~table.known("yield") & open_,
        "quote:nitrogen": np.isnan(nitrogen_price(table, context)) & open_,
    }


def harvest(context: Context) -> int:
    """Days to the end of harvest, when the next crop is sampled for."""
    return (context.region.next("wheat-sold", context.on) - context.on).days


def recheck(context: Context, test: Test) -> Ints:
    """(place,) days until one looks again: a week before the last day in time, else after harvest."""
    after = harvest(context)
    pays = test.gain[:, :, 0].mean(axis=1) > 0
    this_crop = rate.again(np.where(np.isinf(test.days), -1.0, test.days), after, MONTH)
    return np.where(test.tested, after, np.where(pays, this_crop, np.minimum(MONTH, after))).astype(np.int64)
