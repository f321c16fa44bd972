"""A lot of bales from a few cores: its mean, the hottest bale that must be reckoned with, how many more to core.

Bales of one lot are taken as lognormal. Their log spread comes from a published lot (as a standard deviation from its
range) pooled with the lot's own cores; the published lot counts as `weight` degrees of freedom and the pooled spread is
never taken below that of the lot's own cores.

The hottest credible bale is an upper prediction bound: with the stated assurance, NONE of the lot's bales is hotter.
With ``x`` the mean log of n cores and ``s`` the pooled log spread with ``df`` degrees of freedom, the bound for ``m``
bales is ``exp(x + k s)``, where k solves

    E[ Phi(Z / sqrt(n) + k W)^m ] = assurance,   Z standard normal, W = sqrt(chi-square(df) / df),

the one-sided prediction bound for all of m further observations (Hahn and Meeker, Statistical Intervals, 1991; from
memory). For m = 1 it is Student's ``t * sqrt(1 + 1/n)``, which the tests check.

One number from a composite of n cores is used in place of the mean log. The mean of a lognormal lies above its
geometric mean, so this errs on the hot side.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sideoats.decide.laws import normal_below

Floats = NDArray[np.float64]

_NORMAL_NODES, _SPREAD_NODES, _QUANTILE_NODES = 24, 32, 160
_LOTS_AT_ONCE = 2000  # 12 MB of nodes
_MOST_BALES = 5000
_FEW = 10_000  # values at once for which SciPy is not imported


@lru_cache(maxsize=256)
def expected_range(n: int) -> float:
    """Expected range of n standard normal values, the d2 of control charts: integral of 1 - F^n - (1 - F)^n."""
    x = np.linspace(-9.0, 9.0, 3601)
    upper = normal_below(x)
    return float(np.trapezoid(1.0 - upper**n - (1.0 - upper) ** n, x))


def log_spread_from_range(lowest: float, highest: float, n: int) -> float:
    """Standard deviation of the log from the range of n bales: ln(highest / lowest) / d2(n)."""
    return math.log(highest / lowest) / expected_range(n)


@lru_cache(maxsize=16384)
def prediction_factor(cores: int, bales: int, freedom: float, assurance: float) -> float:
    """k of the module's equation: log spreads above the mean log under which all `bales` lie with `assurance`.

    Parameters
    ----------
    cores : n, 1 or more
    bales : m, 1 or more
    freedom : degrees of freedom of the spread, above 0
    assurance : 0 to 1, both excluded
    """
    w, weight = _nodes(freedom)
    z, z_weight = _normal_nodes()
    shift = (z / math.sqrt(cores))[:, None]

    def gap(k: float) -> float:
        return float(z_weight @ np.exp(bales * _log_below(shift + k * w)) @ weight) - assurance

    high = 4.0
    while gap(high) < 0 and high < 1e6:
        high *= 2
    return _root(gap, -10.0, high)


def _root(rising: Callable[[float], float], low: float, high: float) -> float:
    """Where a rising function passes zero, to 1e-10: the Illinois rule, every third step a halving."""
    at_low, at_high = rising(low), rising(high)
    for step in range(200):
        if high - low < 1e-10 or at_low == at_high:
            break
        middle = (low + high) / 2 if step % 3 == 2 else high - at_high * (high - low) / (at_high - at_low)
        middle = middle if low < middle < high else (low + high) / 2
        at = rising(middle)
        if at < 0:
            low, at_low, at_high = middle, at, at_high / 2
        else:
            high, at_high, at_low = middle, at, at_low / 2
    return (low + high) / 2


def _log_below(score: Floats) -> Floats:
    """Log of the chance that a standard normal value lies below `score`; of many scores at once by SciPy."""
    if score.size > _FEW:
        from scipy.special import log_ndtr

        return np.asarray(log_ndtr(score), np.float64)
    tail = normal_below(-np.abs(score))
    with np.errstate(divide="ignore"):
        return np.where(score > 0, np.log1p(-tail), np.log(tail))


@lru_cache(maxsize=1)
def _normal_nodes() -> tuple[Floats, Floats]:
    """Quadrature over a standard normal: nodes and weights adding to one."""
    z, weight = np.polynomial.hermite_e.hermegauss(_NORMAL_NODES)
    return z, weight / weight.sum()


@lru_cache(maxsize=8192)
def _nodes(freedom: float) -> tuple[Floats, Floats]:
    """Quadrature over W = sqrt(chi-square / df): nodes and weights adding to one.

    Generalised Gauss-Laguerre where it is exact to 1e-6 or better (8 to 200 degrees of freedom), else nodes at
    quantiles.
    """
    if 8 <= freedom <= 200:
        alpha, i = (
            freedom / 2 - 1,
            np.arange(_SPREAD_NODES),
        )  # Golub and Welsch 1969: nodes from the three-term recurrence
        beside = np.sqrt(i[1:] * (i[1:] + alpha))
        y, vectors = np.linalg.eigh(np.diag(2 * i + 1 + alpha) + np.diag(beside, 1) + np.diag(beside, -1))
        return np.sqrt(2 * y / freedom), vectors[0] ** 2
    from scipy.special import gammaincinv

    u, weight = np.polynomial.legendre.leggauss(_QUANTILE_NODES)
    return np.sqrt(2 * gammaincinv(freedom / 2, (u + 1) / 2) / freedom), weight / 2


def _chance(k: Floats, cores: Floats, bales: Floats, freedom: Floats) -> Floats:
    """(n,) left side of the module's equation, lots of the same freedom together."""
    z, z_weight = _normal_nodes()
    out = np.empty(k.shape)
    for df in sorted(set(freedom.tolist())):  # `numpy.unique` would import `numpy.ma`
        w, weight = _nodes(df)
        for rows in np.array_split(np.flatnonzero(freedom == df), 1 + int((freedom == df).sum()) // _LOTS_AT_ONCE):
            at = (z / np.sqrt(cores[rows])[:, None])[:, :, None] + (k[rows][:, None] * w)[:, None, :]
            inner = np.exp(bales[rows][:, None, None] * _log_below(at))
            out[rows] = np.einsum("lzw,z,w->l", inner, z_weight, weight)
    return out


def _factors(cores: NDArray[np.int64], bales: NDArray[np.int64], freedom: Floats, assurance: float) -> Floats:
    """(n,) prediction factors; one solution for each distinct lot size."""
    rows = list(zip(cores.tolist(), bales.tolist(), freedom.tolist(), strict=True))
    solved = {row: prediction_factor(int(row[0]), int(row[1]), row[2], assurance) for row in dict.fromkeys(rows)}
    return np.array([solved[row] for row in rows], np.float64)


def core_summary(results: Sequence[Sequence[float] | None]) -> tuple[Floats, Floats, NDArray[np.int64], Floats]:
    """Summary of results from single bales, one sequence a lot (None where there are none).

    Returns
    -------
    mean [as given], sum of squares of the log about its mean, number of cores, hottest seen [as given]; NaN, 0, 0, NaN
    for a lot without results. Results of 0 count as 1 ppm in the log.
    """
    n = len(results)
    mean, squares, hottest = np.full(n, np.nan), np.zeros(n), np.full(n, np.nan)
    count = np.zeros(n, dtype=np.int64)
    for i, held in enumerate(results):  # ragged input: one short pass, no solving
        if held is None or not len(held):
            continue
        values = np.maximum(np.asarray(held, dtype=np.float64), 1.0)
        logs = np.log(values)
        mean[i], hottest[i], count[i] = float(np.exp(logs.mean())), float(values.max()), values.size
        squares[i] = float(((logs - logs.mean()) ** 2).sum())
    return mean, squares, count, hottest


def pool_results(found: Sequence[Sequence[tuple[float, float]]]) -> tuple[Floats, Floats, Floats, Floats]:
    """All results of each lot put together: composites and bales tested alone, first tests and retests.

    A composite of n cores is taken as the mean of n bales' logs, so that it weighs n and disagrees with the others by
    ``n (x - mean)^2``, of the variance of one bale. What disagrees widens the spread. Results of 0 count as 1.

    Parameters
    ----------
    found : (result as given, bales behind it), one sequence a lot

    Returns
    -------
    centre (NaN without a result), sum of squares about it, number of results, bales behind them; (n,) each
    """
    n = len(found)
    centre, squares, results, cores = np.full(n, np.nan), np.zeros(n), np.zeros(n), np.zeros(n)
    for i, held in enumerate(found):  # ragged input: one short pass, no solving
        if not len(held):
            continue
        values, weight = np.array(held, dtype=np.float64).T
        logs = np.log(np.maximum(values, 1.0))
        mean = float(np.average(logs, weights=weight))
        centre[i], squares[i] = math.exp(mean), float((weight * (logs - mean) ** 2).sum())
        results[i], cores[i] = len(held), float(weight.sum())
    return centre, squares, results, cores


def pooled_spread(
    squares: ArrayLike,
    results: ArrayLike,
    published: float,
    weight: float,
    alone: tuple[ArrayLike, ArrayLike] | None = None,
) -> tuple[Floats, Floats]:
    """Log spread of a lot and its degrees of freedom; never under that of its bales tested alone.

    Parameters
    ----------
    squares : (n,) sum of squares of the log about the lot's mean; 0 for one composite
    results : (n,) results behind `squares`; 0 or 1 for one composite
    published : log standard deviation of the published lot
    weight : its degrees of freedom
    alone : sum of squares and number of the bales tested alone, where `results` holds composites too
    """
    own_freedom = np.maximum(np.asarray(results, dtype=np.float64) - 1.0, 0.0)
    total = np.asarray(squares, dtype=np.float64)
    pooled = np.sqrt((weight * published**2 + total) / (weight + own_freedom))
    if alone is not None:
        total = np.asarray(alone[0], dtype=np.float64)
        free = np.maximum(np.asarray(alone[1], dtype=np.float64) - 1.0, 0.0)
    else:
        free = own_freedom
    own = np.sqrt(np.divide(total, free, out=np.zeros_like(total), where=free > 0))
    return np.maximum(pooled, own), weight + own_freedom


def hottest_credible(
    centre: ArrayLike,
    cores: ArrayLike,
    bales: ArrayLike,
    spread: ArrayLike,
    freedom: ArrayLike,
    assurance: float,
    seen: ArrayLike = np.nan,
) -> Floats:
    """Level that no bale of the lot exceeds, with the stated assurance; never under the hottest bale seen.

    Parameters
    ----------
    centre : (n,) geometric mean of the cores, or the result of a composite, any concentration
    cores : (n,) bales cored, 1 or more
    bales : (n,) bales in the lot
    spread, freedom : (n,) from `pooled_spread`
    assurance : 0 to 1
    seen : (n,) hottest single bale found, NaN where none was tested alone

    Returns
    -------
    (n,), NaN where `centre` is unknown
    """
    middle = np.atleast_1d(np.asarray(centre, dtype=np.float64))
    shape = middle.shape
    n = np.clip(np.broadcast_to(np.nan_to_num(np.asarray(cores, np.float64), nan=1.0), shape), 1, _MOST_BALES)
    m = np.clip(np.broadcast_to(np.nan_to_num(np.asarray(bales, np.float64), nan=1.0), shape), 1, _MOST_BALES)
    s = np.broadcast_to(np.asarray(spread, np.float64), shape)
    df = np.broadcast_to(np.asarray(freedom, np.float64), shape)
    k = _factors(n.astype(np.int64).reshape(-1), m.astype(np.int64).reshape(-1), df.reshape(-1), assurance).reshape(
        shape
    )
    bound = middle * np.exp(np.maximum(k, 0.0) * s)
    return np.fmax(bound, np.broadcast_to(np.asarray(seen, np.float64), shape))


def chance_none_hotter(
    centre: ArrayLike, line: ArrayLike, cores: ArrayLike, bales: ArrayLike, spread: ArrayLike, freedom: ArrayLike
) -> Floats:
    """(n,) chance that no bale of the lot is over the line; arguments as in `hottest_credible`. NaN where unknown."""
    given = np.broadcast_arrays(*(np.asarray(v, np.float64) for v in (centre, line, cores, bales, spread, freedom)))
    middle, top, n, m, s, df = (np.atleast_1d(v) for v in given)
    k = np.log(np.maximum(top, 1e-12) / np.maximum(middle, 1e-12)) / s
    known = np.isfinite(k)
    out = np.full(middle.shape, np.nan)
    n, m = np.clip(n, 1, _MOST_BALES), np.clip(m, 1, _MOST_BALES)
    out[known] = _chance(k[known], n[known], m[known], df[known])
    return out


def more_bales_to_core(
    centre: ArrayLike,
    line: ArrayLike,
    cores: ArrayLike,
    bales: ArrayLike,
    spread: ArrayLike,
    weight: ArrayLike,
    assurance: float,
) -> Floats:
    """How many more bales to core, each tested alone, before the hottest credible bale falls under the line.

    Supposes that the new cores show the same centre and spread as are known now; they may not.

    Parameters
    ----------
    centre : (n,) concentration; line : (n,) level to stay under
    cores, bales : (n,) cored so far and in the lot
    spread, weight : (n,) log spread now, the lot's own cores counted, and its degrees of freedom

    Returns
    -------
    (n,) whole bales, 0 where it is under already, NaN where coring every bale would not do or a value is unknown
    """
    given = np.broadcast_arrays(*(np.asarray(v, np.float64) for v in (centre, line, cores, bales, spread, weight)))
    middle, top, done, whole, width, freedom = (np.atleast_1d(v) for v in given)
    need = np.log(np.maximum(top, 1e-12) / np.maximum(middle, 1e-12)) / width
    out = np.full(middle.shape, np.nan)
    rows = np.flatnonzero(np.isfinite(need))
    done, whole = np.maximum(done, 1.0), np.minimum(np.maximum(whole, np.maximum(done, 1.0)), _MOST_BALES)

    def clears(more: Floats, at: NDArray[np.int64]) -> NDArray[np.bool_]:
        chance = _chance(need[at], done[at] + more, whole[at], freedom[at] + more)
        return np.asarray(chance >= assurance, dtype=bool)

    rows = rows[clears(whole[rows] - done[rows], rows)] if rows.size else rows
    low, high = np.full(rows.size, -1.0), whole[rows] - done[rows]
    while rows.size and (high - low > 1).any():
        middle_at = np.floor((low + high) / 2)
        ok = clears(np.maximum(middle_at, 0.0), rows)
        high, low = np.where(ok, middle_at, high), np.where(ok, low, middle_at)
    out[rows] = high
    return out
