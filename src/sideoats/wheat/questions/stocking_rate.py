"""How many head does this wheat carry?"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from sideoats.call import ACT, LOOK, WAIT
from sideoats.decide import Decision, decide
from sideoats.question import Answers, Bar, Context, Option, Places, Question, Table
from sideoats.schema import Field
from sideoats.wheat import grazing
from sideoats.wheat.questions import _common as w
from sideoats.wheat.questions.graze_turn_on import Forage, forage_draws

Floats = NDArray[np.float64]
LIVE_WEIGHTS = (150, 250, 350, 450, 550, 650, 800, 1000)
OPTIONS = (
    Option("none", "No cattle", passive=True),
    *(Option(f"weight-{lw}", f"{lw} lb of live weight an acre") for lw in LIVE_WEIGHTS),
)
_SEEN = "evidence:wheat_check."
INPUTS = (
    Field("forage", "number", "dry matter standing, clipped and dried", unit="lb/ac", low=0, high=15_000, fresh_days=21,
          example="1500 lb/ac", found_in=(_SEEN + "forage",)),
    Field("height", "number", "height of the wheat, where none was clipped", unit="inch", low=0, high=60, fresh_days=21,
          found_in=(_SEEN + "height",)),
    Field("growth", "number", "growth of forage a day; the common range if absent", unit="lb/ac/day", low=0, high=150),
    Field("days", "number", "days of grazing wanted", unit="day", bare=True, low=7, high=250, example="100"),
    w.WEIGHT, w.GAIN, w.VALUE_OF_GAIN,
    Field("head_cost", "number", "what a head costs for the stretch (interest, death loss, freight, medicine)",
          unit="USD/head", low=0, high=500, default=0.0, found_in=("setting:cost.stocker_head",)),
    w.HEAD, w.STOCKING, w.PURPOSE, w.PLANTING, w.STATION, w.ACRES,
)  # fmt: skip


def answer(table: Table, context: Context) -> Answers:
    """Live weights an acre weighed over growth, intake and waste; too many head run out of wheat."""
    facts, out = context.facts, context.outlook
    forage = forage_draws(table, context)
    span, weight = table.number("days")[:, None], table.number("weight")[:, None]
    gain, worth = w.gain_draws(table, context), table.number("value_of_gain")[:, None]
    heavier = weight + gain * span / 2  # mean weight over the stretch
    harvested = out.between("forage harvested", *facts.span("wheat/grazing.harvested"))
    intake = out.between("intake", *facts.span("wheat/grazing.intake"))
    short_cost = out.between("wheat runs out", *facts.span("wheat/grazing.short_cost"))
    carried = grazing.head_carried(forage.standing, forage.left, forage.growth, span, harvested, intake, heavier)
    paid = [np.zeros_like(carried)]
    for live in LIVE_WEIGHTS:
        head = live / weight
        lasts = grazing.days_lasting(head, forage.standing, forage.left, forage.growth, harvested, intake, heavier)
        days = np.minimum(span, lasts)
        cost = table.number("head_cost")[:, None] + np.where(lasts < span, short_cost, 0.0)
        paid.append(grazing.forage_revenue(head, days, gain, worth) - head * cost)
    payoff = np.stack(paid, axis=2)
    lacking = w.unknown(table, days="days of grazing wanted", weight="weight of the cattle")
    lacking |= w.unknown(table, value_of_gain="value of gain")
    lacking["forage (clip a hoop) or height"] = np.isnan(forage.standing[:, 0])
    missing = w.any_of(lacking)
    thin = np.zeros((len(table), len(OPTIONS)), bool)
    thin[:, 1:] = (forage.standing.mean(axis=1) < forage.least)[:, None]
    decision = decide(np.nan_to_num(payoff), barred=thin)
    planned = w.stocking(table)
    middle = np.median(carried, axis=1)
    over = planned > np.quantile(carried, 0.5, axis=1)
    verdict = np.where(np.isnan(planned) | over, ACT, WAIT)
    verdict = np.where(thin[:, 1], WAIT, verdict)
    low, high = np.quantile(carried, [0.1, 0.9], axis=1)
    return Answers(
        table, context, options=OPTIONS, decision=decision, unit="USD/ac",
        bars=(Bar(thin, f"less than {forage.least:.0f} lb/ac standing: too early to graze"),),
        headline=_headline(table, decision, middle, low, high, planned),
        because=_because(table, context, forage, planned),
        verdict=np.where(missing, LOOK, verdict).astype(np.int8),
        act_by=np.where(verdict == ACT, 0, -1),  # cattle above it eat every day what the others need later
        quantities={
            "head_carried": (middle, "head/ac"), "head_carried_low": (low, "head/ac"),
            "head_carried_high": (high, "head/ac"),
            "acres_per_head": (1 / np.maximum(middle, 1e-9), "ac/head"), "stocking_now": (planned, "head/ac"),
            "head_for_the_field": (middle * table.number("acres"), "head"),
        },
        missing=missing, missing_look_within=7,
        missing_headline=w.lacking_text(lacking),
        cautions=(
            w.CATTLE, "Have hay and another place ready: a cold or dry month can stop growth altogether.",
        ),
    )  # fmt: skip


def _headline(
    table: Table, decision: Decision, middle: Floats, low: Floats, high: Floats, planned: Floats
) -> Callable[[int], str]:
    def text(i: int) -> str:
        best = OPTIONS[int(decision.best[i])].label.lower()
        carries = f"{middle[i]:.2f} head/ac ({low[i]:.2f} to {high[i]:.2f}) for {table.number('days')[i]:.0f} days"
        if decision.barred[i, 1]:
            return "Too little wheat to stock yet."
        if planned[i] > middle[i]:
            return f"{planned[i]:.2f} head/ac is more than this wheat carries: {carries}; {best} pays best."
        return f"This wheat carries {carries}; {best} pays best."

    return text


def _because(table: Table, context: Context, forage: Forage, planned: Floats) -> Callable[[int], list[str]]:
    def text(i: int) -> list[str]:
        spring, fall = (context.facts.by_id[f"wheat/grazing.{k}_stocking"] for k in ("spring", "fall"))
        return [
            f"Published live weight: {spring.low:.0f} to {spring.high:.0f} lb/ac in spring, about half in fall and "
            "winter "
            f"({fall.low:.0f} to {fall.high:.0f}, from memory).",
            f"Cattle eat {w.told(context, 'wheat/grazing.intake', 100, '.1f')} % of live weight a day (from memory); "
            f"{w.told(context, 'wheat/grazing.harvested', 100)} % of what disappears is eaten (common practice).",
            "Where wheat runs out before the days wanted, the days left earn nothing and moving costs money.",
        ]

    return text


def _in_season(table: Table, context: Context) -> NDArray[np.bool_]:
    since = -table.days_until("planting_date", context.on)
    grazed = np.isin(table.text("purpose").astype(str), ["dual", "graze-out"]) | (table.number("head") > 0)
    return np.asarray(grazed & (since >= 30) & (since <= 170) & table.known("days"))


QUESTION = Question(
    name="stocking-rate", room="wheat", title="How many head does this wheat carry?",
    about="Head an acre from forage standing and growing, and the live weight an acre that pays best when wheat may "
    "run out.",
    inputs=INPUTS, answer=answer, places=Places(kinds=("field",), crops=w.CROPS), size="acres", in_season=_in_season,
    limits="Growth is a common-practice range, not a forecast. Gain does not fall as forage thins until it runs out.",
)  # fmt: skip
