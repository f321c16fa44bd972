"""How stated chances and ranges held up: proper scores as pure array functions.

All scores are losses: smaller is better. Outcomes are 0 or 1, categories count from 0.

References
----------
Murphy, A.H., 1973, J. Appl. Meteorol. 12:595-600 (from memory): reliability - resolution + uncertainty.
Stephenson, D.B., Coelho, C.A.S., Jolliffe, I.T., 2008, Weather and Forecasting 23:752-757 (from memory): the two
within-bin terms that make the decomposition exact when forecasts in a bin differ.
Weigel, A.P., Liniger, M.A., Appenzeller, C., 2007, Mon. Weather Rev. 135:118-124: the Brier skill score is the
two-category case of the ranked probability skill score, which is biased low for small ensembles.
Brocker, J., Smith, L.A., 2007, Weather and Forecasting 22(2): use proper scores only.
Gneiting, T., Raftery, A.E., 2007, J. Am. Stat. Assoc. 102:359-378 (from memory): continuous ranked probability score.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

FEW = 30  # below so many outcomes give counts and intervals, claim no calibration (common practice)


def brier(chance: ArrayLike, outcome: ArrayLike) -> float:
    """Brier score: mean of (stated chance - outcome)^2, 0 to 1."""
    f, o = _paired(chance, outcome)
    return float(np.mean((f - o) ** 2))


@dataclass(frozen=True)
class BrierParts:
    """score = reliability - resolution + uncertainty + within, the last zero where each bin holds one chance only."""

    score: float
    reliability: float
    resolution: float
    uncertainty: float
    within: float
    skill: float
    count: int


def brier_parts(chance: ArrayLike, outcome: ArrayLike, *, edges: ArrayLike | None = None) -> BrierParts:
    """Decomposition of the Brier score and its skill against always stating the base rate.

    Parameters
    ----------
    chance, outcome : (n,)
    edges : inner and outer edges of the bins; None puts every distinct chance in a bin of its own
    """
    f, o = _paired(chance, outcome)
    n = f.size
    cell = np.unique(f, return_inverse=True)[1] if edges is None else _bin(f, edges)
    counts = np.bincount(cell)
    used = counts > 0
    count = counts[used].astype(np.float64)
    mean_f = np.bincount(cell, f)[used] / count
    mean_o = np.bincount(cell, o)[used] / count
    base = float(o.mean())
    reliability = float((count * (mean_f - mean_o) ** 2).sum() / n)
    resolution = float((count * (mean_o - base) ** 2).sum() / n)
    uncertainty = base * (1.0 - base)
    at = np.cumsum(used)[cell] - 1
    off_f, off_o = f - mean_f[at], o - mean_o[at]
    within = float(np.mean(off_f**2) - 2.0 * np.mean(off_f * off_o))
    score = brier(f, o)
    skill = 1.0 - score / uncertainty if uncertainty > 0 else math.nan
    return BrierParts(score, reliability, resolution, uncertainty, within, skill, n)


def ranked_probability(chance: ArrayLike, category: ArrayLike, *, normalised: bool = False) -> Floats:
    """Ranked probability score of ordered categories: sum of (cumulative chance - cumulative outcome)^2.

    Parameters
    ----------
    chance : (..., k) adding to one
    category : (...,) the category that came, 0 to k-1
    normalised : divide by k - 1, as some authors do
    """
    f = np.asarray(chance, np.float64)
    k = f.shape[-1]
    came = np.asarray(category)
    if not np.allclose(f.sum(axis=-1), 1.0, atol=1e-6):
        raise ValueError("chances of the categories do not add to one")
    if ((came < 0) | (came >= k)).any():
        raise ValueError(f"a category is outside 0 to {k - 1}")
    outcome = (np.arange(k) >= came[..., None]).astype(np.float64)
    score = ((np.cumsum(f, axis=-1) - outcome) ** 2).sum(axis=-1)
    return np.asarray(score / (k - 1) if normalised else score, dtype=np.float64)


def skill(score: ArrayLike, reference: ArrayLike) -> float:
    """1 - mean score / mean reference score; NaN where the reference is zero."""
    other = float(np.mean(np.asarray(reference, np.float64)))
    return 1.0 - float(np.mean(np.asarray(score, np.float64))) / other if other else math.nan


def pinball(quantile: ArrayLike, observed: ArrayLike, level: ArrayLike) -> Floats:
    """Pinball loss of a stated quantile at `level` (0 to 1), in the unit of the quantity."""
    q, y, tau = (np.asarray(x, np.float64) for x in (quantile, observed, level))
    return np.asarray(np.where(y >= q, tau * (y - q), (1.0 - tau) * (q - y)), dtype=np.float64)


def crps_normal(mean: ArrayLike, sd: ArrayLike, observed: ArrayLike) -> Floats:
    """Continuous ranked probability score of a normal forecast, in the unit of the quantity.

    sd [z (2 Phi(z) - 1) + 2 phi(z) - 1/sqrt(pi)], z = (observed - mean)/sd
    """
    from scipy.special import ndtr

    m, s, y = (np.asarray(x, np.float64) for x in (mean, sd, observed))
    z = (y - m) / s
    density = np.exp(-0.5 * z * z) / math.sqrt(2.0 * math.pi)
    return np.asarray(s * (z * (2.0 * ndtr(z) - 1.0) + 2.0 * density - 1.0 / math.sqrt(math.pi)), dtype=np.float64)


def crps_ensemble(draws: ArrayLike, observed: ArrayLike, *, fair: bool = False) -> Floats:
    """Continuous ranked probability score of draws, in the unit of the quantity.

    mean |x_i - y| - mean |x_i - x_j| / 2 over all pairs; `fair` divides the pairs by n (n - 1) instead of n^2, which
    removes the penalty for having few draws. Sorting makes it n log n in the number of draws.

    Parameters
    ----------
    draws : (..., draw)
    observed : (...,)
    """
    x = np.sort(np.asarray(draws, np.float64), axis=-1)
    y = np.asarray(observed, np.float64)
    n = x.shape[-1]
    if fair and n < 2:
        raise ValueError("the fair score needs two draws or more")
    away = np.abs(x - y[..., None]).mean(axis=-1)
    weight = 2.0 * np.arange(1, n + 1) - n - 1.0
    pairs = (x * weight).sum(axis=-1)  # half the sum of |x_i - x_j| over ordered pairs
    return np.asarray(away - pairs / (n * (n - 1) if fair else n * n), dtype=np.float64)


@dataclass(frozen=True)
class Reliability:
    """A reliability diagram as numbers, one entry a bin that holds outcomes.

    `low` and `high` bound the share that came in the long run, with 95 % confidence by default (Wilson 1927 interval).
    """

    stated: Floats
    came: Floats
    count: Ints
    low: Floats
    high: Floats
    edges: Floats

    @property
    def enough(self) -> bool:
        """Whether there are outcomes enough to speak of calibration at all."""
        return int(self.count.sum()) >= FEW


def reliability(
    chance: ArrayLike, outcome: ArrayLike, *, edges: ArrayLike | None = None, confidence: float = 0.95
) -> Reliability:
    """Share of outcomes that came against the chance stated, bin by bin.

    Parameters
    ----------
    chance, outcome : (n,)
    edges : of the bins; ten of equal width where None
    """
    f, o = _paired(chance, outcome)
    sides = np.linspace(0.0, 1.0, 11) if edges is None else np.asarray(edges, np.float64)
    cell = _bin(f, sides)
    size = sides.size - 1
    count = np.bincount(cell, minlength=size)
    used = count > 0
    stated = np.bincount(cell, f, size)[used] / count[used]
    hits = np.bincount(cell, o, size)[used]
    low, high = share_interval(hits, count[used], confidence=confidence)
    return Reliability(stated, hits / count[used], count[used].astype(np.int64), low, high, sides)


def share_interval(hits: ArrayLike, count: ArrayLike, *, confidence: float = 0.95) -> tuple[Floats, Floats]:
    """Wilson score interval of a share from `hits` out of `count` independent trials; NaN where count is zero."""
    from scipy.special import ndtri

    k, n = np.asarray(hits, np.float64), np.asarray(count, np.float64)
    safe = np.where(n > 0, n, np.nan)
    z = float(ndtri(0.5 + confidence / 2.0))
    p = k / safe
    centre = (p + z * z / (2 * safe)) / (1 + z * z / safe)
    reach = z / (1 + z * z / safe) * np.sqrt(p * (1 - p) / safe + z * z / (4 * safe * safe))
    return np.asarray(np.maximum(centre - reach, 0.0)), np.asarray(np.minimum(centre + reach, 1.0))


@dataclass(frozen=True)
class Coverage:
    """How often a stated range held the outcome, with the interval that sampling error alone allows."""

    share: float
    low: float
    high: float
    count: int

    def allows(self, stated: float) -> bool:
        """Whether the stated coverage lies inside the interval."""
        return self.low <= stated <= self.high


def coverage(low: ArrayLike, high: ArrayLike, observed: ArrayLike, *, confidence: float = 0.95) -> Coverage:
    """Share of outcomes inside [low, high], ends included; outcomes should not overlap in time."""
    a, b, y = (np.asarray(v, np.float64) for v in (low, high, observed))
    inside = (y >= a) & (y <= b)
    bottom, top = share_interval(float(inside.sum()), float(inside.size), confidence=confidence)
    return Coverage(float(inside.mean()) if inside.size else math.nan, float(bottom), float(top), int(inside.size))


def _paired(chance: ArrayLike, outcome: ArrayLike) -> tuple[Floats, Floats]:
    f, o = np.asarray(chance, np.float64).ravel(), np.asarray(outcome, np.float64).ravel()
    if f.shape != o.shape or f.size == 0:
        raise ValueError(f"{f.size} chances and {o.size} outcomes; expected as many of each and at least one")
    if ((f < 0) | (f > 1) | np.isnan(f)).any():
        raise ValueError("a stated chance is not between 0 and 1")
    if not np.isin(o, (0.0, 1.0)).all():
        raise ValueError("an outcome is neither 0 nor 1")
    return f, o


def _bin(f: Floats, edges: ArrayLike) -> Ints:
    sides = np.asarray(edges, np.float64)
    if sides[0] > 0 or sides[-1] < 1 or (np.diff(sides) <= 0).any():
        raise ValueError("bin edges do not rise from 0 to 1")
    return np.clip(np.searchsorted(sides, f, side="right") - 1, 0, sides.size - 2)
