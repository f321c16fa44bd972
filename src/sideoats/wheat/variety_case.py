"""Which variety to sow, over the one that is grown now: next year's yields from trials, and what other seed costs more.

A variety that the trials do not hold, or that nobody named, is taken as any one of theirs.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from sideoats.families import rate_of_an_input as rate
from sideoats.problem import Barred, Choice, labelled
from sideoats.question import Context, Table
from sideoats.wheat.asked import known_or
from sideoats.wheat.days import sowing_days
from sideoats.wheat.drawn import wheat_price, yield_draws
from sideoats.wheat.variety_results import Result, offered, results_of
from sideoats.words import Name, say

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]

UNIT = "USD/ac"
MOST = 14  # varieties shown as options, beside the one that is grown
MONTH = 30
_F = "wheat/trials."


@dataclass(frozen=True)
class Choices:
    """A batch of fields and the varieties that trials offer them.

    Attributes
    ----------
    results, faults : of every field's trials, and what is wrong with those that cannot be used
    trials : (place,) how many there are; NaN where none is on file
    names : varieties shown, the best first
    deviation : (place, draw, variety) from the trial mean next year [bu/ac]; NaN where not in the trials or not offered
    own : (place, draw) of the variety grown now
    gain : (place, draw, option) over the variety grown now, which is the first option
    days : (place,) to the day by which seed is ordered; NaN where nobody said, negative where the field is sown
    chance : (place, variety) its lead over what is grown is within the error of the trials
    """

    results: list[Result | None]
    faults: list[str]
    trials: Floats
    names: tuple[str, ...]
    deviation: Floats
    own: Floats
    gain: Floats
    days: Floats
    chance: Bools

    @cached_property
    def open_gain(self) -> Floats:
        """(place, variety) mean gain over what is grown; minus infinity where it cannot be had or was not tried."""
        return np.where(np.isnan(self.deviation[:, 0]), -np.inf, self.gain[:, :, 1:].mean(axis=1))


def choices_of(table: Table, context: Context) -> Choices:
    """Each variety's yield next year on every field, drawn, over that of the variety grown now."""
    results, faults, trials = results_of(table)
    names = _shortlist(results, table)
    out, price = context.outlook, wheat_price(table, context)
    deviation = np.full((len(table), out.draws, len(names)), np.nan)
    chance = np.zeros((len(table), len(names)), bool)
    own, mean = np.zeros((len(table), out.draws)), np.full(len(table), np.nan)
    for i, result in enumerate(results):
        if result is None:
            continue
        mean[i] = result.mean
        drawn = _drawn(result, context)
        can = offered(table.text("candidates")[i])
        current = str(table.text("current")[i])
        for at, name in enumerate(names):
            if name in drawn and (not can or name in can):
                deviation[i, :, at] = drawn[name]
                chance[i, at] = name != current and result.lead(name, current) < result.least_lead(current)
        unknown = result.spread * out.normal("a variety not in the trials")
        own[i] = drawn.get(current, unknown)
    known = np.where(table.known("yield")[:, None], yield_draws(table, context), mean[:, None])
    kept = np.maximum(known + own, 0.0)[:, :, None]
    change = known_or(table.number("cost"), context, _F + "change_cost")[:, None, None]
    gain = np.nan_to_num((np.maximum(known[:, :, None] + deviation, 0.0) - kept) * price[:, :, None] - change)
    whole = np.concatenate([np.zeros_like(kept), gain], axis=2)
    until = sowing_days(table, context)
    ahead = context.facts.value(_F + "order_days")
    days = np.where(until >= 0, np.maximum(until - ahead, 0.0), until)
    return Choices(results, faults, trials, names, deviation, own, np.nan_to_num(whole), days, chance)


def _drawn(result: Result, context: Context) -> dict[str, Floats]:
    """Deviation of every variety of the trials (draw,), keyed by its name so that neighbours change nothing."""
    out = context.outlook
    normals = np.stack([out.normal("variety, known", result.names), out.normal("variety, season", result.names)])
    return dict(zip(result.names, result.season.draws(normals), strict=True))


def _shortlist(results: list[Result | None], table: Table) -> tuple[str, ...]:
    """Varieties shown as options: the best of every row's own, in the order of their mean prediction."""
    score: dict[str, float] = {}
    for i, result in enumerate(results):
        can = offered(table.text("candidates")[i])
        for name, value in zip(result.names, result.season.mean, strict=True) if result else ():
            if not can or name in can:
                score[name] = max(score.get(name, -np.inf), float(value))
    return tuple(sorted(score, key=lambda name: -score[name])[:MOST])


def options_of(choices: Choices) -> tuple[Choice, ...]:
    """The variety grown now, then each of the others."""
    return (
        Choice("keep", labelled("keep-variety"), passive=True, kind="keep"),
        *(
            Choice(name, labelled("sow-variety", variety=Name(name)), trouble=rate.TROUBLE, kind="change")
            for name in choices.names
        ),
    )


def bars(table: Table, choices: Choices) -> tuple[Barred, ...]:
    """Varieties that are grown already, those that are not in these trials or cannot be had, and those whose lead is
    chance as far as these trials tell.
    """
    none = np.zeros((len(table), 1), bool)
    same = np.array([[name == current for name in choices.names] for current in table.text("current")], bool)
    same = np.concatenate([none, same.reshape(len(table), len(choices.names))], axis=1)
    absent = np.concatenate([none, np.isnan(choices.deviation[:, 0])], axis=1)
    alike = np.concatenate([none, choices.chance & (choices.gain[:, :, 1:].mean(axis=1) > 0)], axis=1)
    return (
        Barred(same, say("bar.grown_now")),
        Barred(absent & ~same, say("bar.not_offered")),
        Barred(alike & ~absent & ~same, say("bar.lead_is_chance")),
    )


def near(table: Table, context: Context, choices: Choices) -> Ints:
    """(place,) the variety that would gain most, by more than its trouble, were its lead not chance; -1 for none."""
    grown = np.array([[name == current for name in choices.names] for current in table.text("current")], bool)
    gain = np.where(grown.reshape(choices.chance.shape), -np.inf, choices.open_gain)
    best = gain.argmax(axis=1) if gain.shape[1] else np.zeros(len(gain), np.int64)
    at = np.arange(len(gain))
    if not gain.shape[1]:
        return np.full(len(gain), -1)
    rows = context.facts.by_id["decide/trouble.least"].rows
    least = next(float(low) for kind, money, low in rows if (kind, money) == (rate.TROUBLE, UNIT))
    return np.where(choices.chance[at, best] & (gain[at, best] > least), best, -1).astype(np.int64)


def too_few(choices: Choices, context: Context) -> Bools:
    """(place,) trials are on file, but fewer than a change may rest on."""
    return np.asarray(choices.trials < context.facts.value(_F + "fewest"))


def needs_of(table: Table, context: Context, choices: Choices) -> dict[str, Bools]:
    """Trials, enough of them, and the price of wheat."""
    return {
        "variety_trial.means": np.array([r is None for r in choices.results]) | too_few(choices, context),
        "quote:wheat": ~table.known("price"),
    }


def recheck(context: Context, choices: Choices) -> Ints:
    """(place,) days to a week before seed is ordered; where nothing is open, to the trials of the next harvest."""
    after = (context.region.next("wheat-sold", context.on) - context.on).days + MONTH
    return rate.again(choices.days, after, after)


def quantities(table: Table, choices: Choices) -> dict[str, tuple[Floats, str]]:
    """Trials behind it, what they can tell apart, and what the best change is worth."""

    def of_result(name: str) -> Floats:
        return np.array([np.nan if r is None else float(getattr(r, name)) for r in choices.results])

    best = choices.open_gain.max(axis=1, initial=-np.inf)
    lead = np.where(np.isnan(choices.deviation[:, 0]), -np.inf, choices.deviation.mean(axis=1)).max(
        axis=1, initial=-np.inf
    )
    return {
        "trials": (choices.trials, "trials"),
        "least_significant_difference": (of_result("lsd"), "bu/ac"),
        "heritability": (of_result("heritability"), "1"),
        "worth_of_changing": (np.where(np.isinf(best) | ~table.known("price"), np.nan, np.maximum(best, 0.0)), UNIT),
        "lead_over_trial_mean": (np.where(np.isinf(lead), np.nan, lead), "bu/ac"),
    }
