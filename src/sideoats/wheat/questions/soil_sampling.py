"""Is a profile nitrate test worth its cost before nitrogen is bought, and how many cores make it?"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.call import ACT, LOOK, WAIT
from sideoats.decide import Decision, decide
from sideoats.question import Answers, Context, Option, Places, Question, Table
from sideoats.schema import Field
from sideoats.wheat import fertility, nitrogen
from sideoats.wheat.questions._common import (
    ACRES,
    CROPS,
    DUE_DAYS,
    PLANTING,
    PRICE,
    PURPOSE,
    STATION,
    YIELD,
    any_of,
    known_or,
    lacking_text,
    shown_day,
    spring_close,
    told,
    unknown,
    wheat_price,
    yield_draws,
)  # fmt: skip
from sideoats.wheat.questions._nitrogen import MATTER, PRICES, nitrogen_price, soil_prior
from sideoats.wheat.response import supply_response

Floats = NDArray[np.float64]
OPTIONS = (
    Option("sample", "Sample the profile, then fertilise by it", day=0),
    Option("default", "Fertilise by the publisher's default", passive=True),
)
_FRESH = 330
INPUTS = (
    YIELD, PRICE, *PRICES, MATTER, PURPOSE,
    Field("variation", "share", "coefficient of variation between cores; common practice if absent"),
    Field("within", "share", "how near the mean should come, at 95 % confidence", low=0.01, default=0.20),
    Field("cost", "number", "sampling and laboratory", unit="USD/ac", low=0, high=100, example="1.50 USD/ac",
          found_in=("setting:cost.soil_sample",)),
    Field("banded", "flag", "fertiliser was banded in recent years", default=False),
    Field("profile_nitrogen", "number", "a profile test already on file", unit="lb/ac", low=0, high=800,
          fresh_days=_FRESH, found_in=("evidence:soil_test.profile_nitrogen",)),
    Field("close_date", "date", "last day that a topdress helps; mid March if absent",
          found_in=("place:hollow_stem_date",)),
    PLANTING, STATION, ACRES,
)  # fmt: skip


@dataclass(frozen=True)
class _Worth:
    """Payoffs (place, draw) [USD/ac] of fertilising by a test and by the default, and the default's rate (place,)."""

    tested: Floats
    default: Floats
    default_rate: Floats
    error: float


def _worth(table: Table, context: Context) -> _Worth:
    """The same crop under the rate that a test gives and under the rate that the default gives."""
    facts, out = context.facts, context.outlook
    grazed = np.isin(table.text("purpose").astype(str), ["dual", "graze-out"])
    goal, matter = table.number("yield"), table.number("organic_matter")
    truth = soil_prior(table, context)
    error = facts.value("wheat/nitrogen.sampling_error")
    seen = np.maximum(truth + error * out.normal("soil test error", table.keys), 0.0)
    blind = nitrogen.recommend("kansas", facts, yield_goal=goal, organic_matter=matter, grazed=grazed)
    tested = nitrogen.recommend(
        "kansas", facts, yield_goal=goal[:, None], organic_matter=matter[:, None], soil_nitrogen=seen,
        grazed=grazed[:, None],
    )  # fmt: skip
    potential = yield_draws(table, context)
    grain, price = wheat_price(table, context), nitrogen_price(table, context)[:, None]
    credit = (matter * facts.value("wheat/nitrogen.kansas.organic_matter"))[:, None]
    need = potential * facts.value("wheat/nitrogen.kansas.per_bushel")

    def pays(rate: Floats) -> Floats:
        return supply_response(truth + credit + rate, need, potential) * grain - rate * price

    return _Worth(pays(tested.rate), pays(blind.rate[:, None] + np.zeros_like(truth)), blind.rate, error)


def answer(table: Table, context: Context) -> Answers:
    """What the test is worth on average over the soils it could find, and the cores it takes."""
    worth = _worth(table, context)
    cost = table.number("cost")
    decision = decide(np.stack([worth.tested - cost[:, None], worth.default], axis=2), days=[0, -1])
    gain = (worth.tested - worth.default).mean(axis=1)
    variation = known_or(table.number("variation"), context, "wheat/soil.core_variation")
    cores = np.ceil(fertility.cores_needed(variation, table.number("within")))
    tested = table.known("profile_nitrogen")
    due = _due(table, context)
    soon = ~(due > DUE_DAYS)
    verdict = np.where(~tested & (decision.best == 0) & soon, ACT, WAIT)
    lacking = unknown(table, price="wheat price", organic_matter="organic matter", cost="cost of a test")
    lacking |= {"expected yield": ~table.known("yield")}
    lacking["price of nitrogen"] = np.isnan(nitrogen_price(table, context))
    missing = any_of(lacking) & ~tested
    return Answers(
        table, context, options=OPTIONS, decision=decision, unit="USD/ac",
        headline=_headline(table, context, cores, gain, due, decision),
        because=_because(table, context, worth, variation),
        verdict=np.where(missing, LOOK, verdict).astype(np.int8),
        act_by=np.where(verdict == ACT, np.nan_to_num(due), -1).astype(np.int64),  # today, where no day is known
        quantities={
            "cores": (cores, "cores"), "worth_of_the_test": (gain, "USD/ac"), "cost_of_the_test": (cost, "USD/ac"),
            "rate_by_default": (worth.default_rate, "lb/ac"),
        },
        worth_of_a_look=np.maximum(gain, 0.0), look_cost=0.0,
        cost_of_waiting=np.where(tested | ~soon, 0.0, decision.cost_of_waiting),
        missing=missing,
        missing_headline=lacking_text(lacking),
        cautions=(
            "A nitrogen rate without a profile test can waste or starve: trial sites ran from "
            f"{told(context, 'wheat/nitrogen.kansas.profile_found')} lb/ac.",
            "Send samples cool or air-dried within 12 hours, never oven-dried; follow the laboratory's own "
            "instructions.",
        ),
    )  # fmt: skip


def _due(table: Table, context: Context) -> Floats:
    """(place,) days to the last sampling in time; NaN where nothing says when, inf where only the next crop needs it.

    The slip is wanted before sowing, and once wheat is sown (or from January on) before the topdress closes. Sowing
    that is nearer than the laboratory's time leaves a few days, because the result still serves the topdress.
    """
    facts = context.facts
    until = table.days_until("planting_date", context.on)
    laboratory, late = facts.value("wheat/soil.laboratory_days"), facts.value("wheat/soil.late_sample_days")
    fall = np.where(until >= 0, np.maximum(until - laboratory, np.minimum(until, late)), np.nan)
    lead = facts.value("wheat/nitrogen.sample_lead")
    topdress = np.maximum(spring_close(table, context, "close_date") - lead, 0.0)
    if 3 <= context.on.month <= 6:  # this crop has its nitrogen
        topdress = np.full(len(table), np.inf)
    standing = (until < 0) | (np.isnan(until) & (context.on.month <= 2))
    return np.where(standing, topdress, fall)


def _headline(
    table: Table, context: Context, cores: Floats, gain: Floats, due: Floats, decision: Decision
) -> Callable[[int], str]:
    def text(i: int) -> str:
        if table.known("profile_nitrogen")[i]:
            return (
                f"A profile test is on file ({table.number('profile_nitrogen')[i]:.0f} lb/ac): no need to sample again."
            )
        cost = table.number("cost")[i]
        if decision.best[i] == 0:
            day = f"by {shown_day(context, due[i])}" if np.isfinite(due[i]) else "before nitrogen is bought"
            return (
                f"Sample {day}: {cores[i]:.0f} cores make one composite; the test is worth "
                f"{gain[i]:.2f} USD/ac and costs {cost:.2f}."
            )
        return f"A test is worth {gain[i]:.2f} USD/ac here and costs {cost:.2f}: use the default."

    return text


def _because(table: Table, context: Context, worth: _Worth, variation: Floats) -> Callable[[int], list[str]]:
    def text(i: int) -> list[str]:
        facts = context.facts
        low, high = facts.by_id["wheat/soil.cores"].span
        depth = {row[0]: row[1] for row in facts.by_id["wheat/soil.depth"].rows}
        further = {row[0]: row[1] for row in facts.by_id["wheat/soil.depth_nebraska"].rows}
        default = worth.default_rate[i]
        leads = f"leads to {default:.0f} lb/ac of nitrogen" if np.isfinite(default) else "leads to no rate here"
        out = [
            f"Profile nitrogen could be anything from {told(context, 'wheat/nitrogen.kansas.profile_found')} lb/ac; "
            f"the default stands for one number in that range and {leads}.",
            f"Cores for a mean within {100 * table.number('within')[i]:.0f} % at 95 %, when cores vary by "
            f"{100 * variation[i]:.0f} %; Colorado asks for {low:.0f} to {high:.0f}.",
            f"Nitrate to {depth['nitrate']:.0f} in every year (Nebraska: {further['nitrate']:.0f} in); phosphorus, "
            "potassium "
            f"and pH from the top {depth['surface']:.0f} in every few years.",
            f"One composite errs by about {worth.error:.0f} lb/ac (common practice), which is counted in.",
        ]
        if table.flag("banded")[i]:
            out.append("Banded fertiliser: take the higher number of cores, and stay off the bands.")
        return out

    return text


def _in_season(table: Table, context: Context) -> NDArray[np.bool_]:
    until = table.days_until("planting_date", context.on)
    spring = np.full(len(table), context.on.month in (1, 2))
    return np.asarray(((until >= 0) & (until <= 45)) | spring)


def _check(values: dict[str, Any]) -> None:
    from sideoats.wheat.questions._nitrogen import check_prices

    check_prices("soil-sampling", values)


QUESTION = Question(
    name="soil-sampling", room="wheat", title="Is a profile nitrogen test worth it?",
    about="Worth of a profile nitrate test against the publisher's default, over the soils that trials found, and the "
    "cores "
    "that one composite takes.",
    inputs=INPUTS, answer=answer, places=Places(kinds=("field",), crops=CROPS), size="acres", in_season=_in_season,
    check=_check, apart=("purpose",),
    limits="Uses the Kansas budget (its two coefficients are from memory) and a working response curve, not a local "
    "trial.",
)  # fmt: skip
