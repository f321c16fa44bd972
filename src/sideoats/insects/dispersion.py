"""How counts scatter, and what a count therefore says about the true mean of a field.

Insects aggregate: the variance of counts exceeds their mean.  The models here are Taylor's power law, Iwao's mean
crowding and the negative binomial with its k; from them come the chance that a unit holds more than so many (tally
counting) and draws of the true mean given what was counted.

References
----------
[1] Taylor L.R., Nature 189:732-735, 1961; Iwao S., Res. Popul. Ecol. 10:1-20, 1968 (memory)
[2] Bliss C.I., Owen A.R.G., Biometrika 45:37-58, 1958: negative binomial with a common k (memory)
[3] Binns M.R., Nyrop J.P., van der Werf W., Sampling and Monitoring in Crop Protection, CABI 2000, eq. 7.11 and app. 5
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sideoats.decide.laws import beta_log_odds, gamma_log, normal_score

Array = NDArray[np.float64]
_Z_MOST, _Z_STEP = 4.0, 0.25
_LOG_MOST = 25.0
_STEPS = 400  # of the logarithm of a mean
_LEAST = 1e-3  # insects: a beta law needs something above nothing


def summarise(counts: Sequence[Sequence[float] | None]) -> tuple[Array, Array, Array]:
    """Number of units, mean and variance (n - 1) of each place's counts; NaN mean where a place has none.

    Returns three arrays of the length of `counts`; the variance is NaN for fewer than two units.
    """
    sizes = np.array([0 if c is None else len(c) for c in counts], dtype=float)
    flat = np.array([x for c in counts if c is not None for x in c], dtype=float)
    owner = np.repeat(np.arange(len(sizes)), sizes.astype(int))
    total = np.bincount(owner, flat, minlength=len(sizes))
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = np.where(sizes > 0, total / sizes, np.nan)
        squares = np.bincount(owner, (flat - mean[owner]) ** 2, minlength=len(sizes))
        variance = np.where(sizes > 1, squares / (sizes - 1), np.nan)
    return sizes, mean, variance


def own_k(units: ArrayLike, mean: ArrayLike, variance: ArrayLike, bounds: tuple[float, float]) -> Array:
    """Each field's own k by moments, ``(m^2 - s^2/n) / (s^2 - m)``, held within `bounds`; the upper where not clumped.

    Parameters
    ----------
    units, mean, variance : (place,) of counts unit by unit
    """
    n, m, v = (np.asarray(x, float) for x in (units, mean, variance))
    with np.errstate(invalid="ignore", divide="ignore"):
        moment = np.where(v > m, (m**2 - v / n) / (v - m), np.inf)
    return np.clip(moment, *bounds)


@dataclass(frozen=True)
class PowerLaw:
    """Taylor's ``variance = a * mean ** b``, with the residual standard error of its log regression."""

    a: float
    b: float
    residual: float
    fields: int

    def variance(self, mean: ArrayLike) -> Array:
        """Variance of one unit's count at `mean` [count squared]."""
        return np.asarray(self.a * np.asarray(mean, float) ** self.b)

    def k(self, mean: ArrayLike) -> Array:
        """The negative binomial's k at `mean`, ``m^2 / (a m^b - m)`` [3]_; infinite where not aggregated."""
        m = np.asarray(mean, float)
        excess = self.variance(m) - m
        return np.where(excess > 0, m * m / np.where(excess > 0, excess, 1.0), np.inf)


def fit_power_law(mean: ArrayLike, variance: ArrayLike) -> PowerLaw:
    """Taylor's a and b by regression of log variance on log mean over fields [1]_.

    Fields whose mean or variance is zero or unknown are left out. Raises ValueError with fewer than three left.
    """
    m, v = np.asarray(mean, float), np.asarray(variance, float)
    use = (m > 0) & (v > 0)
    if int(use.sum()) < 3 or np.ptp(np.log(m[use])) == 0:
        raise ValueError("a power law needs at least three fields of different, positive mean and variance")
    x, y = np.log(m[use]), np.log(v[use])
    b = float(np.sum((x - x.mean()) * (y - y.mean())) / np.sum((x - x.mean()) ** 2))
    log_a = float(y.mean() - b * x.mean())
    spread = float(np.sqrt(np.sum((y - log_a - b * x) ** 2) / max(1, len(x) - 2)))
    return PowerLaw(float(np.exp(log_a)), b, spread, len(x))


def fit_mean_crowding(mean: ArrayLike, variance: ArrayLike) -> tuple[float, float]:
    """Intercept and slope of Iwao's mean crowding ``m + s^2/m - 1`` on the mean [1]_."""
    m, v = np.asarray(mean, float), np.asarray(variance, float)
    use = (m > 0) & np.isfinite(v)
    if int(use.sum()) < 3 or np.ptp(m[use]) == 0:
        raise ValueError("mean crowding needs at least three fields of different, positive mean")
    x = m[use]
    y = x + v[use] / x - 1
    slope = float(np.sum((x - x.mean()) * (y - y.mean())) / np.sum((x - x.mean()) ** 2))
    return float(y.mean() - slope * x.mean()), slope


def common_k(mean: ArrayLike, variance: ArrayLike, units_seen: ArrayLike) -> float:
    """One k for several fields: the moment regression ``1/k = sum(x y) / sum(x^2)``, x = m^2 - s^2/n, y = s^2 - m [2]_.

    Infinite (Poisson) when the counts are not aggregated. Raises ValueError when no field had any.
    """
    m, v, n = (np.asarray(x, float) for x in (mean, variance, units_seen))
    use = np.isfinite(m) & np.isfinite(v) & (m > 0)
    if not use.any():
        raise ValueError("a common k needs at least one field with counts above zero")
    x, y = m[use] ** 2 - v[use] / n[use], v[use] - m[use]
    inverse = float(np.sum(x * y) / np.sum(x * x))
    return 1 / inverse if inverse > 0 else np.inf


def share_above(mean: ArrayLike, k: ArrayLike, tally: ArrayLike) -> Array:
    """Share of units with MORE than `tally` insects when counts are negative binomial (Poisson for infinite k)."""
    from scipy import special

    m, kk, t = np.broadcast_arrays(*(np.asarray(x, float) for x in (mean, k, tally)))
    poisson = np.isinf(kk)
    safe_k = np.where(poisson, 1.0, kk)
    aggregated = special.betainc(t + 1, safe_k, m / (safe_k + m))
    return np.where(poisson, special.gammainc(t + 1, m), aggregated)


def mean_from_share(share: ArrayLike, k: ArrayLike, tally: ArrayLike) -> Array:
    """The mean at which `share` of units hold MORE than `tally` insects: the inverse of `share_above`.

    A share of 1 has no finite mean and gives infinity.
    """
    from scipy import special

    p, kk, t = np.broadcast_arrays(*(np.asarray(x, float) for x in (share, k, tally)))
    poisson = np.isinf(kk)
    safe_k = np.where(poisson, 1.0, kk)
    part, rest = special.betaincinv(t + 1, safe_k, p), special.betaincinv(safe_k, t + 1, 1 - p)
    with np.errstate(divide="ignore"):
        aggregated = safe_k * part / rest
    return np.where(poisson, special.gammaincinv(t + 1, p), aggregated)


def share_above_empirical(mean: ArrayLike, intercept: float, slope: float) -> Array:
    """Share of units above a tally threshold by ``ln(-ln(1 - p)) = c + d ln m``, p the share ABOVE it [3]_."""
    return np.asarray(-np.expm1(-np.exp(intercept) * np.asarray(mean, float) ** slope))


def mean_draws(
    counts_mean: ArrayLike,
    units_seen: ArrayLike,
    k: ArrayLike,
    normals: ArrayLike,
    *,
    usual: ArrayLike | None = None,
    weight: ArrayLike = 2.0,
) -> Array:
    """Draws of a field's true mean, given the mean of aggregated counts.

    The total of n negative binomial counts with a known k is again negative binomial, so with Jeffreys' prior the true
    mean is ``k G(T + 1/2) / G(n k)``, a ratio of two gamma variables (a beta prime); an infinite k gives the Poisson
    case, ``G(T + 1/2) / n``. Quantiles are exact at steps of a quarter of a normal score and joined in the logarithm;
    scores beyond +-4 are held there.

    Jeffreys' prior is flat: on a few units it leaves a tail of fields worse than any, whose mean is infinite. With
    `usual` the prior is what such fields usually hold, a beta prime of mean `usual` and second shape `weight`. The
    mean of the draws is then ``(n k m + (weight - 1) usual) / (n k + weight - 1)``, between the count and the usual.

    Parameters
    ----------
    counts_mean, units_seen, k : (place,): mean count per unit, units looked at (1 or more), and the k of the counts
    normals : (place, draw) or (draw,) standard normal scores, so that one draw index serves every question
    usual : (place,) mean that such fields usually have [count per unit]; the flat prior where None or NaN, and for an
        infinite k
    weight : (place,) or one for all, second shape of that prior, above 1; it is worth ``(weight - 1) / k`` units

    Returns
    -------
    (place, draw) true mean [count per unit]; NaN where the mean or the number of units is unknown
    """
    mean, n, kk = np.broadcast_arrays(*(np.atleast_1d(np.asarray(x, float)) for x in (counts_mean, units_seen, k)))
    scores = np.arange(-_Z_MOST, _Z_MOST + _Z_STEP / 2, _Z_STEP)
    poisson = np.isinf(kk)
    with np.errstate(invalid="ignore", divide="ignore"):
        shape, total = n * np.where(poisson, 1.0, kk), n * mean + 0.5
        if usual is not None:
            weight = np.asarray(weight, float)
            known = ~np.isnan(np.broadcast_to(usual, mean.shape)) & ~poisson
            before = (weight - 1.0) * np.broadcast_to(usual, mean.shape) / np.where(known, kk, 1.0)
            total = np.where(known, n * mean + np.maximum(before, _LEAST), total)
            shape = shape + np.where(known, weight, 0.0)
        knots = np.log(np.where(poisson, 1.0, kk))[:, None] + beta_log_odds(total, shape, scores)
        if poisson.any():
            knots[poisson] = gamma_log(total[poisson], scores) - np.log(n[poisson])[:, None]
    return _between_knots(knots, normals)


def mean_draws_from_share(
    share: ArrayLike,
    units_seen: ArrayLike,
    k: ArrayLike,
    tally: ArrayLike,
    normals: ArrayLike,
    *,
    usual: ArrayLike | None = None,
    weight: ArrayLike = 2.0,
) -> Array:
    """Draws of the true mean when only the share of units above a `tally` was noted.

    With `usual` the prior of the mean is that of `mean_draws` and the share its binomial likelihood, so that a tally is
    never worth more than the count that it stands for; without, the true share is drawn from its Jeffreys posterior and
    turned into a mean by `mean_from_share`.  Arguments and result as in `mean_draws`.
    """
    arrays = (np.atleast_1d(np.asarray(x, float)) for x in (share, units_seen, k, tally))
    p, n, kk, t = np.broadcast_arrays(*arrays)
    if usual is not None:
        before = np.broadcast_to(np.asarray(usual, float), p.shape)
        drawn = _by_share(p, n, kk, t, before, weight, normals)
        flat = mean_draws_from_share(p, n, kk, t, normals) if np.isnan(drawn).any() else drawn
        return np.where(np.isnan(drawn), flat, drawn)
    hits = p * n
    odds = beta_log_odds(hits + 0.5, n - hits + 0.5, np.arange(-_Z_MOST, _Z_MOST + _Z_STEP / 2, _Z_STEP))
    seen = normal_score(np.clip(1 / (1 + np.exp(-np.clip(odds, -700.0, 700.0))), 1e-12, 1 - 1e-12))
    poisson = np.isinf(kk)
    safe_k = np.where(poisson, 1.0, kk)
    aggregated = np.log(safe_k)[:, None] + beta_log_odds(t + 1, safe_k, seen)
    knots = np.where(poisson[:, None], gamma_log(t + 1, seen), aggregated)
    return _between_knots(knots, normals)


def _by_share(p: Array, n: Array, k: Array, tally: Array, usual: Array, weight: ArrayLike, normals: ArrayLike) -> Array:
    """The same against a beta prime of mean `usual` and second shape `weight`, over steps of the mean's logarithm.

    NaN where nothing is usual, or the counts do not clump.
    """
    steps = np.linspace(np.log(1e-3), np.log(1e6), _STEPS)
    mean = np.exp(steps)
    safe_k = np.where(np.isinf(k) | np.isnan(usual), 1.0, k)[:, None]
    weight = np.broadcast_to(np.asarray(weight, float), p.shape)[:, None]
    first = np.maximum((weight - 1.0) * np.nan_to_num(usual, nan=1.0)[:, None] / safe_k, _LEAST)
    part = np.clip(share_above(mean, safe_k, tally[:, None]), 1e-300, 1 - 1e-15)
    log = first * np.log(mean / safe_k) - (first + weight) * np.log1p(mean / safe_k)  # times the mean: in its logarithm
    log = log + (p * n)[:, None] * np.log(part) + ((1 - p) * n)[:, None] * np.log1p(-part)
    mass = np.cumsum(np.exp(log - log.max(axis=1, keepdims=True)), axis=1)
    below = normal_score(np.clip((mass - mass[:, :1] / 2) / mass[:, -1:], 1e-6, 1 - 1e-6))
    scores = np.arange(-_Z_MOST, _Z_MOST + _Z_STEP / 2, _Z_STEP)
    knots = np.stack([np.interp(scores, at, steps) for at in below])
    return np.where(np.isinf(k) | np.isnan(usual), np.nan, 1.0)[:, None] * _between_knots(knots, normals)


def _between_knots(knots: Array, normals: ArrayLike) -> Array:
    """exp of log quantiles (place, knot), joined linearly at the normal scores (place or 1, draw): (place, draw)."""
    z = np.atleast_2d(np.asarray(normals, float))
    position = np.clip((z + _Z_MOST) / _Z_STEP, 0, knots.shape[1] - 1.000001)
    at = position.astype(np.intp)
    weight = position - at
    floor = np.clip(knots, -700.0, _LOG_MOST)  # a mean of nothing, or of more than can live; NaN passes through
    if z.shape[0] == 1:
        low, high = floor[:, at[0]], floor[:, at[0] + 1]
    else:
        low, high = np.take_along_axis(floor, at, axis=1), np.take_along_axis(floor, at + 1, axis=1)
    return np.asarray(np.exp(low + weight * (high - low)))
