"""When may cattle go onto this wheat?"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sideoats.call import ACT, LOOK, WAIT
from sideoats.decide import Decision, decide
from sideoats.question import Answers, Bar, Context, Option, Places, Question, Table
from sideoats.schema import Field
from sideoats.wheat import grazing
from sideoats.wheat.questions import _common as w

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
DAYS = tuple(range(0, 43, 7))
OFF = len(DAYS)
OPTIONS = (
    *(Option(f"on-day-{d}", "On now" if d == 0 else f"On in {d} days", day=d) for d in DAYS),
    Option("off", "Keep cattle off", passive=True),
)
_SEEN = "evidence:wheat_check."
_FRESH = 21
INPUTS = (
    Field("rooted", "flag", "leaves tear before the plant pulls out", fresh_days=_FRESH, found_in=(_SEEN + "rooted",)),
    Field("stage", "choice", "growth stage of most plants", choices=w.STAGES, aliases=w.STAGE_WORDS, fresh_days=_FRESH,
          found_in=(_SEEN + "stage",)),
    Field("forage", "number", "dry matter standing, clipped and dried", unit="lb/ac", low=0, high=15_000,
          fresh_days=_FRESH, found_in=(_SEEN + "forage",)),
    Field("height", "number", "height of the wheat, where none was clipped", unit="inch", low=0, high=60,
          fresh_days=_FRESH, found_in=(_SEEN + "height",)),
    Field("growth", "number", "growth of forage a day; the common range if absent", unit="lb/ac/day", low=0, high=150),
    w.HEAD, w.STOCKING, w.WEIGHT, w.GAIN, w.VALUE_OF_GAIN,
    Field("off_date", "date", "day cattle have to be off; mid March if absent", found_in=("place:hollow_stem_date",)),
    w.PURPOSE, w.PLANTING, w.STATION, w.ACRES,
)  # fmt: skip


@dataclass(frozen=True)
class Forage:
    """Dry matter standing and its growth a day (place, draw) [lb/ac]; the least to go on at, and what is left."""

    standing: Floats
    growth: Floats
    least: float
    left: float


def forage_draws(table: Table, context: Context) -> Forage:
    facts, out = context.facts, context.outlook
    standing = table.number("forage")[:, None] + np.zeros((1, out.draws))
    if np.isnan(standing).any():
        density = out.between("wheat density", *facts.span("wheat/grazing.height_density"))
        standing = np.where(np.isnan(standing), table.number("height")[:, None] * density, standing)
    growth = table.number("growth")[:, None] + np.zeros((1, out.draws))
    if np.isnan(growth).any():
        growth = np.where(np.isnan(growth), out.between("wheat growth", *facts.span("wheat/grazing.growth")), growth)
    return Forage(
        standing, growth, facts.value("wheat/grazing.turn_on_forage"), facts.value("wheat/grazing.leave_standing")
    )


def _payoff(table: Table, context: Context, forage: Forage, end: Floats) -> Floats:
    """Gain to the end of grazing, or until forage is gone, by day of turning on (place, draw, option) [USD/ac]."""
    facts, out = context.facts, context.outlook
    head, weight = w.stocking(table)[:, None], table.number("weight")[:, None]
    harvested = out.between("forage harvested", *facts.span("wheat/grazing.harvested"))
    intake = out.between("intake", *facts.span("wheat/grazing.intake"))
    gain, worth = w.gain_draws(table, context), table.number("value_of_gain")[:, None]
    paid = []
    for wait in DAYS:
        ready = forage.standing + forage.growth * wait
        lasts = grazing.days_lasting(head, ready, forage.left, forage.growth, harvested, intake, weight)
        days = np.maximum(np.minimum(end - wait, lasts), 0.0)
        paid.append(grazing.forage_revenue(head, days, gain, worth))
    return np.stack([*paid, np.zeros_like(paid[0])], axis=2)


def answer(table: Table, context: Context) -> Answers:
    """Weeks to turn on, barred until plants are rooted and there is enough to graze."""
    forage = forage_draws(table, context)
    end = w.spring_close(table, context, "off_date")[:, None]
    payoff = _payoff(table, context, forage, end)
    lacking = w.unknown(table, rooted="whether plants are anchored (pull some by hand)", weight="weight of the cattle")
    lacking |= w.unknown(table, value_of_gain="value of gain") | {"head and acres": np.isnan(w.stocking(table))}
    lacking["forage (clip a hoop) or height"] = np.isnan(forage.standing[:, 0])
    missing = w.any_of(lacking)
    early = np.zeros((len(table), len(OPTIONS)), bool)
    soon = np.array(DAYS) < context.facts.value("wheat/grazing.rooting_wait")
    early[:, :OFF] = (~table.flag("rooted") | (table.text("stage") == "seedling"))[:, None] & soon
    expected = forage.standing.mean(axis=1)[:, None] + forage.growth.mean(axis=1)[:, None] * np.array(DAYS)
    short = np.zeros_like(early)
    short[:, :OFF] = expected < forage.least
    decision = decide(np.nan_to_num(payoff), barred=early | short, days=[*DAYS, -1])
    best = np.maximum(decision.best, 0)
    waits = np.append(np.array(DAYS), 0)[best]
    verdict = np.where((best < OFF) & (waits <= 7), ACT, WAIT)
    verdict = np.where((verdict == WAIT) & (best < OFF), LOOK, verdict)
    return Answers(
        table, context, options=OPTIONS, decision=decision, unit="USD/ac",
        bars=(
            Bar(early, "not anchored: plants pull out, and what is pulled does not grow again"),
            Bar(short, f"less than {forage.least:.0f} lb/ac standing by then"),
        ),
        headline=_headline(table, context, decision, expected, end[:, 0]),
        because=_because(table, context, forage, expected),
        verdict=np.where(missing, LOOK, verdict).astype(np.int8),
        act_by=np.where(verdict == ACT, waits, -1).astype(np.int64),
        look_by=np.where(verdict == LOOK, np.minimum(np.maximum(waits - 1, 1), 14), -1).astype(np.int64),
        quantities={
            "forage_now": (expected[:, 0], "lb/ac"), "days_to_grazing_end": (end[:, 0], "day"),
            "stocking": (w.stocking(table), "head/ac"),
            "live_weight": (w.stocking(table) * table.number("weight"), "lb/ac"),
        },
        missing=missing, missing_look_within=7,
        missing_headline=w.lacking_text(lacking),
        cautions=(
            w.CATTLE,
            "Fill cattle with hay first, turn on in the afternoon, and look at them twice a day at the start.",
            "Check the grazing interval of every herbicide, insecticide and seed treatment on the field: the label "
            "decides.",
        ),
    )  # fmt: skip


def _headline(
    table: Table, context: Context, decision: Decision, expected: Floats, end: Floats
) -> Callable[[int], str]:
    def text(i: int) -> str:
        at = int(decision.best[i])
        if at == OFF or at < 0:
            return "Keep cattle off: no date on offer has rooted plants and enough to graze."
        when = w.shown_day(context, DAYS[at])
        until = w.shown_day(context, end[i])
        if DAYS[at] == 0:
            money = decision.expected[i, at]
            return f"Cattle may go on now: {expected[i, 0]:.0f} lb/ac stand, worth {money:.0f} USD/ac to {until}."
        why = "plants are not anchored yet" if not table.flag("rooted")[i] else "there is more to graze then"
        return f"Wait to {when}: {why}; worth {decision.expected[i, at]:.0f} USD/ac to {until}."

    return text


def _because(table: Table, context: Context, forage: Forage, expected: Floats) -> Callable[[int], list[str]]:
    def text(i: int) -> list[str]:
        out = [
            f"{expected[i, 0]:.0f} lb/ac stand now; at least {forage.least:.0f} before cattle go on and "
            f"{forage.left:.0f} left "
            "behind are common practice.",
            f"Forage grows {forage.growth[i].min():.0f} to {forage.growth[i].max():.0f} lb/ac a day from dormancy to "
            "mild weather "
            "(common practice).",
            "Fully tillered and anchored plants (Feekes 4) come first: pull by hand, leaves must tear before roots "
            "give.",
        ]
        if not table.known("forage")[i]:
            out.append("Forage is judged by height; clip, dry and weigh a hoop to know it.")
        return out

    return text


def _in_season(table: Table, context: Context) -> Bools:
    since = -table.days_until("planting_date", context.on)
    grazed = np.isin(table.text("purpose").astype(str), ["dual", "graze-out"]) | (table.number("head") > 0)
    return np.asarray(grazed & (since >= 30) & (since <= 130))


QUESTION = Question(
    name="graze-turn-on", room="wheat", title="When may cattle go onto this wheat?",
    about="Weeks to turn cattle onto wheat, barred until plants are anchored and there is enough standing, weighed by "
    "the "
    "grazing days each leaves.",
    inputs=INPUTS, answer=answer, places=Places(kinds=("field",), crops=w.CROPS), size="acres", in_season=_in_season,
    limits="Height, least forage and growth are common practice. Weather enters only through the range of growth.",
)  # fmt: skip
