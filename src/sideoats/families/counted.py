"""What was counted: the mean, its units, and draws of the field's true mean."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sideoats.decide.laws import beta_log_odds, median
from sideoats.errors import InputError
from sideoats.facts import Facts
from sideoats.insects.dispersion import (
    mean_draws,
    mean_draws_from_share,
    mean_from_share,
    own_k,
    summarise,
)
from sideoats.question import Context, Table
from sideoats.records import dataclass
from sideoats.replies import READER
from sideoats.words import say, sentence

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
_C = "insects/counting."


@dataclass(frozen=True, eq=False)
class Counted:
    """Density of each place as counted: mean and units (place,), draws of the true mean (place, draw), k (place,).

    `plan_k` is the k before the field's own counts are looked at, one for all places or
    (place,), infinite for shares of units; `sample` (place,)
    times a density is what one sample holds, where the density is in another unit than the sample. `scores`
    (place, draw) are the normal scores that the density was drawn with; None where it was not drawn from counts.
    `usual` (place,) is what such fields hold, in the unit of the mean: the prior that it was drawn against, with
    `weight` as its second shape (for shares its units); None for the flat prior. `assumed` (place,) is True where
    nobody said how many units were looked at; `stands_for` (place,) is the mean that a tally stands for by itself,
    `as_count` the total and units (place,) of a count that would tell as much. `nearby` (3, place) is what other
    counts of the district say of one sample there: mean and variance of its log, and of how many fields; NaN for
    none. It is told beside the count and decides nothing.
    """

    mean: Floats
    units: Floats
    density: Floats
    k: Floats
    plan_k: float | Floats
    sample: Floats
    scores: Floats | None = None
    usual: Floats | None = None
    weight: float | Floats = 1.0
    assumed: Bools | None = None
    stands_for: Floats | None = None
    as_count: tuple[Floats, Floats] | None = None
    nearby: Floats | None = None

    def against(self, usual: ArrayLike, facts: Facts) -> Counted:
        """The same count, drawn from what such fields usually hold (place,) instead of from nothing.

        A flat prior on a few units leaves a long tail of fields worse than any, and ignorance would make money. The
        draws are scaled to the mean of their posterior, which is known, so that chance in them makes no money either.
        """
        if self.scores is None:
            return self
        mean, held = self.mean * self.sample, np.asarray(usual, float) * self.sample
        exact, weight = np.isnan(self.units), np.full(len(mean), facts.value(_C + "prior_weight"))
        drawn = mean_draws(mean, np.where(exact, 1.0, self.units), self.k, self.scores, usual=held, weight=weight)
        before = np.where(np.isnan(held), 0.0, (weight - 1.0) * held)
        true = (self.units * self.k * mean + before) / (self.units * self.k + weight - 1.0)
        scale = np.where(np.isnan(held) | ~(true > 0), 1.0, true / drawn.mean(axis=1))
        density = np.where(exact[:, None], self.density, drawn * scale[:, None] / self.sample[:, None])
        return replace(self, density=density, usual=held / self.sample, weight=weight)

    def scored(self, context: Context, name: str, keys: Any) -> Counted:
        """The same with the normal scores that its draws are made of, and what the district says of each place."""
        known, none = context.facts.nearby, (np.nan,) * 3
        scored = replace(self, scores=context.outlook.normal(f"{name} count", keys))
        if not known:
            return scored
        nearby = np.array([known.get((name, key), none) for key in keys], float).reshape(-1, 3).T
        return replace(scored, nearby=nearby)

    def per(self, divisor: ArrayLike) -> Counted:
        """The same count in another sample unit: everything divided by `divisor` (place,)."""
        by = np.broadcast_to(np.asarray(divisor, float), self.mean.shape)
        usual = None if self.usual is None else self.usual / by
        return replace(
            self, mean=self.mean / by, density=self.density / by[:, None], sample=self.sample * by, usual=usual
        )

    def but(self, rows: Bools, other: Counted) -> Counted:
        """The same count, with that of `other` in the places where `rows` is True."""
        wide = rows[:, None]
        scores = self.scores if other.scores is None else other.scores
        none = np.full(len(self.mean), np.nan)
        held, theirs = (none if of.usual is None else of.usual for of in (self, other))
        if self.scores is not None and other.scores is not None:
            scores = np.where(wide, other.scores, self.scores)
        return Counted(
            np.where(rows, other.mean, self.mean),
            np.where(rows, other.units, self.units),
            np.where(wide, other.density, self.density),
            np.where(rows, other.k, self.k),
            np.where(rows, other.plan_k, self.plan_k),
            np.where(rows, other.sample, self.sample),
            scores,
            usual=np.where(rows, theirs, held),
            weight=np.where(rows, other.weight, self.weight),
            assumed=np.where(rows, other.supposed, self.supposed),
            nearby=None if self.nearby is None else np.where(rows, np.nan, self.nearby),
        )

    @property
    def stood(self) -> tuple[Floats, Floats]:
        """Total and units (place,) that further counting is weighed from."""
        if self.as_count is not None:
            return self.as_count
        units = np.nan_to_num(self.units)
        return np.nan_to_num(self.mean * self.sample) * units, units

    @property
    def told(self) -> Floats:
        """(place,) the mean as people are told it."""
        return self.mean if self.stands_for is None else self.stands_for

    @property
    def supposed(self) -> Bools:
        """(place,) True where the number of units is a guess."""
        return np.zeros(len(self.mean), bool) if self.assumed is None else self.assumed

    @property
    def unknown(self) -> Bools:
        """(place,) True where nothing was counted."""
        return np.isnan(self.mean)


def count_draws(table: Table, context: Context, name: str, usual: Floats, **count: Any) -> Counted:
    """Draws of the true mean against what such fields usually hold (place,), from a count as `count_means` takes it."""
    return count_means(table, context, **count).scored(context, name, table.keys).against(usual, context.facts)


def count_means(
    table: Table,
    context: Context,
    *,
    counts: str = "",
    mean: str = "",
    n: str = "n",
    k_fact: str = "",
    units: float = np.nan,
    told: Floats | None = None,
) -> Counted:
    """Means of counts unit by unit, else as told, with the units they rest on and k; nothing is drawn yet.

    A mean without the number of units is taken to rest on `units`; where that is NaN as it stands, for nothing is
    known of its error. `told` (place,) is the mean where it is not an input as it stands.
    """
    facts = context.facts
    k_known = facts.value(k_fact or _C + "k_unknown")
    sizes, means, variances = summarise(list(table.rows(counts))) if counts else (np.zeros(len(table)),) * 3
    counted = sizes > 0
    given = told if told is not None else table.number(mean) if mean else np.full(len(table), np.nan)
    average = np.where(counted, means, given)
    seen = np.where(counted, sizes, table.number(n) if n else np.nan)
    assumed = np.isnan(seen) & ~np.isnan(average) & np.isfinite(units)
    seen = np.where(assumed, units, seen)
    own = counted & (sizes >= facts.value(_C + "own_k_from")) & (means > 0)
    bounds = facts.span(_C + "k_unknown")
    k = np.where(own, own_k(sizes, means, variances, bounds), k_known)
    standing = np.broadcast_to(average[:, None], (len(table), context.outlook.draws))
    return Counted(average, seen, standing, k, k_known, np.ones(len(table)), assumed=assumed)


def share_draws(
    context: Context, name: str, keys: Any, share: Floats, seen: Floats, usual: Floats, units: float
) -> Counted:
    """A share of units with something on them, in per cent: a beta posterior about what such fields usually have.

    Parameters
    ----------
    share, seen : (place,) share, and units looked at; where that is not known, `units`
    usual : (place,) share that such fields usually have, the mean of a prior worth `counting.prior_weight` units
    """
    weight = context.facts.value(_C + "prior_weight")
    assumed = np.isnan(seen) & ~np.isnan(share)
    seen = np.where(assumed, units, seen)
    before = np.clip(np.nan_to_num(usual, nan=0.5), 0.01, 0.99)
    hits, missed = np.nan_to_num(share * seen), np.nan_to_num((1 - share) * seen)
    scores = context.outlook.normal(f"{name} share", keys)
    a, b = hits + weight * before, missed + weight * (1 - before)
    drawn = 1 / (1 + np.exp(-beta_log_odds(a, b, scores)))
    n = len(share)
    drawn[np.isnan(share)] = np.nan
    none = np.full(n, np.inf)
    sample = np.full(n, 0.01)
    return Counted(
        100 * share, seen, 100 * drawn, none, none, sample, scores, usual=100 * before, weight=weight, assumed=assumed
    )


def spread(context: Context, name: str, low: Floats, high: Floats) -> Floats:
    """(place, draw) even draws between each place's two ends of a published range."""
    u = context.outlook.uniform(name)
    width = np.where(np.isfinite(high), high, 0.0) - np.where(np.isfinite(low), low, 0.0)
    return np.asarray(low[:, None] + width[:, None] * u)


def by_tally(counted: Counted, share: Floats, line: float, most: float) -> tuple[Counted, Bools]:
    """The same with the density of places where only a tally is known; and where that is a floor.

    Parameters
    ----------
    share : (place,) share of units that hold more than `line`; NaN where none is known
    most : the highest mean that a tally tells: a share as high as that mean's says only that there are at least so many
    """
    rows = counted.unknown & ~np.isnan(share) & ~np.isnan(counted.units)
    floor = np.zeros(len(share), bool)
    if not rows.any() or counted.scores is None:
        return counted, floor
    k = np.broadcast_to(counted.plan_k, share.shape)
    usual = np.full(len(share), np.nan) if counted.usual is None else counted.usual * counted.sample
    weight = np.broadcast_to(np.asarray(counted.weight, float), share.shape)[rows]
    drawn = mean_draws_from_share(
        share[rows], counted.units[rows], k[rows], line, counted.scores[rows], usual=usual[rows], weight=weight
    )
    density, mean = counted.density.copy(), counted.mean.copy()
    density[rows] = np.minimum(drawn, most)
    mean[rows] = median(density[rows], axis=1)
    alone = counted.told.copy()  # what the share stands for by itself, before what such fields usually hold
    alone[rows] = np.minimum(mean_from_share(share[rows], k[rows], line), most)
    floor[rows] = alone[rows] >= most
    mean[floor] = most
    full = replace(counted, mean=mean, density=density, stands_for=alone)
    return (full if counted.usual is None else replace(full, as_count=_as_count(full, rows & ~floor))), floor


def _as_count(counted: Counted, rows: Bools) -> tuple[Floats, Floats]:
    """Total and units of a count that would tell as much as the draws do, in `rows`; of the count itself elsewhere.

    The beta prime of the same mean and spread: its squared coefficient of variation is near 1 / (second shape - 2).
    """
    drawn = np.nan_to_num(counted.density, nan=1.0)
    tight = (drawn.mean(axis=1) / np.maximum(drawn.std(axis=1), 1e-9)) ** 2
    mean = drawn.mean(axis=1) * counted.sample
    units = np.clip((tight + 2.0 - counted.weight) / counted.k, 1.0, np.nan_to_num(counted.units, nan=1.0))
    weight = np.asarray(counted.weight, float)
    before = (weight - 1.0) * np.nan_to_num(counted.usual) * counted.sample / counted.k  # type: ignore[arg-type]
    total = np.maximum(mean * (units * counted.k + weight - 1.0) / counted.k - before, 0.0)
    plain = np.nan_to_num(counted.mean * counted.sample) * np.nan_to_num(counted.units)
    return np.where(rows, total, plain), np.where(rows, units, np.nan_to_num(counted.units))


def one_count(
    values: Mapping[str, Any],
    *,
    question: str,
    ways: tuple[str, ...],
    single: str,
    instead: tuple[str, ...] = (),
    sized: bool = True,
) -> None:
    """Refuse a phone-in with no count or with two, or one without its number of units (`n`).

    Parameters
    ----------
    ways : the inputs that tell a count; `single` is the one counted unit by unit, which needs no `n`
    instead : what else was looked at, which will do where nothing was counted
    sized : whether a mean is refused without `n`

    How to count stands in the sentence ``<question>.how``.
    """
    given = [name for name in ways if values[name] is not None]
    if not given and any(values[name] is not None for name in instead):
        return
    if len(given) != 1:
        listed = [*(name if name == single else f"{name} with n" for name in ways), *instead]
        raise InputError(
            f"{' and '.join(given) if given else 'no count'} given",
            where=question,
            expected=" or ".join(listed),
            todo=sentence(say(f"{question}.how"), READER),
        )
    if sized and given != [single] and values["n"] is None:
        raise InputError(
            f"{given[0]} without n, the number of units looked at",
            where=f"{question} n",
            expected="such as n=40",
            todo="a mean says little without how many units it rests on",
        )
