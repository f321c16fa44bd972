"""What the counts of a district say together: partial pooling over fields, weeks and distance.

One Gaussian model for the logarithm of a pest's density, so that every answer is a closed form:

    log density(field, day) = level + growth (day - today) + field and place, which fade with distance and days

A count of ``T`` on ``n`` units enters by its likelihood, negative binomial with a known k: in the log mean ``t`` it is
``T t - (T + n k) ln(k + e^t)``, drawn as a parabola at the mode of the whole (Laplace's approximation [1]_). A count of
nothing thus is a number with a wide error, and few units pull little.

How much fields differ, and which part of it neighbors share, is not known: a grid of both is weighed by the marginal
likelihood, and what the grid says apart adds to the width. Growth has a published prior and is learned mostly from
fields that were looked at twice.

References
----------
[1] Rasmussen C.E., Williams C.K.I., Gaussian Processes for Machine Learning, MIT Press 2006: section 3.4, Laplace's
    approximation; eq. 2.25 to 2.30, predictions; eq. 5.12, leaving one out in closed form (memory)
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sideoats.station import km_between

Floats = NDArray[np.float64]
_LEVEL = 3.0  # standard deviation of the district's level in logs about the mean of its counts: nearly flat
_SPREADS = np.geomspace(0.35, 2.5, 6)  # standard deviation between fields, in logs
_SHARED = np.array([0.1, 0.5, 0.9])  # part of that variance that neighbors share
_LASTING = np.array([1.0, 5.0])  # multiples of the days in which likeness fades
_USUAL_SPREAD = (1.0, 0.6)  # of the spread, before any count: median and standard deviation of its log


@dataclass(frozen=True, eq=False)
class Looks:
    """Counts of one pest in one district; arrays (look,).

    Attributes
    ----------
    field : number of the field; latitude, longitude : of it [degrees], NaN where unknown
    day : of the look, in days, 0 for today and negative before
    mean, units, k : mean a unit, units looked at, and the k of the counts
    """

    field: NDArray[np.int64]
    latitude: Floats
    longitude: Floats
    day: Floats
    mean: Floats
    units: Floats
    k: Floats

    def __len__(self) -> int:
        return len(self.field)


@dataclass(frozen=True)
class Fading:
    """How likeness fades, and what is known of growth before any count.

    Attributes
    ----------
    km, days : in which what fields share falls to 1/e
    growth, growth_sd : rate of increase [1/day] and its standard deviation
    """

    km: float
    days: float
    growth: float
    growth_sd: float


def parabola(total: Floats, units: Floats, k: Floats, at: Floats) -> tuple[Floats, Floats]:
    """The likelihood of the log mean near `at`, as a number seen with an error: its value and variance (look,).

    Parameters
    ----------
    total, units, k : counted in all, on so many units, with this k; at : log of a mean a unit
    """
    with np.errstate(over="ignore"):
        share = 1.0 / (1.0 + k * np.exp(-at))
    bend = (total + units * k) * share * (1.0 - share)
    return at + (total - (total + units * k) * share) / bend, 1.0 / bend


@dataclass(frozen=True, eq=False)
class District:
    """The model fitted to some looks: one row of `weights` and of each solution for a point of the grid.

    Attributes
    ----------
    looks, fading : as given
    seen, error : (look,) each count as a log density seen with an error, its value and variance
    middle : mean of the logs, about which the level is nearly flat
    weights : (point,) of the grid; `points` (point, 3) its spread, shared part and lasting
    """

    looks: Looks
    fading: Fading
    seen: Floats
    error: Floats
    middle: float
    weights: Floats
    points: Floats
    _pulls: Floats  # (point, look) inverse covariance of what was seen times what is left over the trend
    _own: Floats  # (point, look) the diagonal of that inverse
    _days: Floats  # (point,) the inverse between the days of the looks

    @property
    def growth(self) -> tuple[float, float]:
        """Mean and standard deviation of the rate of increase [1/day], the prior and the counts together."""
        day, sd = self.looks.day, self.fading.growth_sd
        means = self.fading.growth + sd**2 * (self._pulls @ day)
        spreads = np.maximum(sd**2 - sd**4 * self._days, 0.0)
        mean, variance = _mixed(self.weights, means[:, None], spreads[:, None])
        return float(mean[0]), float(np.sqrt(variance[0]))

    @property
    def spread(self) -> float:
        """Standard deviation between fields on one day, in logs."""
        return float(np.sqrt(self.weights @ self.points[:, 0] ** 2))

    def without(self) -> tuple[Floats, Floats]:
        """Of each look, what all others say of its field on its day: mean and variance of the log density (look,)."""
        variances = np.maximum(1 / self._own - self.error, 1e-9)
        return _mixed(self.weights, self.seen - self._pulls / self._own, variances)

    def forecast(
        self, field: ArrayLike, latitude: ArrayLike, longitude: ArrayLike, day: ArrayLike = 0.0
    ) -> tuple[Floats, Floats]:
        """Mean and variance of the log density of fields (target,) on a day; looked at or not.

        Parameters
        ----------
        field : its number among the looks, or one that is not there
        """
        lat, lon = np.asarray(latitude, float), np.asarray(longitude, float)
        when = np.broadcast_to(np.asarray(day, float), lat.shape)
        here = (np.asarray(field), lat, lon, when)
        there = (self.looks.field, self.looks.latitude, self.looks.longitude, self.looks.day)
        alike, grid = _likeness(here, there, self.fading), _Grid(self.looks, self.fading)
        means, variances = [], []
        for point, pull in zip(self.points, self._pulls, strict=True):
            cross = _covariance(point, alike, when, self.looks.day, self.fading)
            inverse = np.linalg.inv(grid.at(point) + np.diag(self.error))
            prior = _LEVEL**2 + (self.fading.growth_sd * when) ** 2 + point[0] ** 2
            means.append(self.middle + self.fading.growth * when + cross @ pull)
            variances.append(np.maximum(prior - np.sum(cross @ inverse * cross, axis=1), 1e-9))
        return _mixed(self.weights, np.array(means), np.array(variances))


def fit_district(looks: Looks, fading: Fading) -> District:
    """Fit the model to some looks (at least two); the time grows with the cube of their number."""
    total = looks.units * looks.mean
    start = np.log((total + 0.5) / looks.units)
    middle = float(np.average(start - fading.growth * looks.day, weights=looks.units * looks.k))
    trend = middle + fading.growth * looks.day
    grid = _Grid(looks, fading)
    points = np.array([(s, part, times) for part in _SHARED for times in _LASTING for s in _SPREADS])
    best, at = (_SPREADS[len(_SPREADS) // 2], _SHARED[len(_SHARED) // 2], _LASTING[0]), start
    for _ in range(2):  # the mode moves little between the points of the grid: from the middle one, then from the best
        at = _mode(grid.at(best), trend, (total, looks.units, looks.k), at)
        seen, error = parabola(total, looks.units, looks.k, at)
        logs = _weighed(grid, points, seen - trend, error)
        best = points[logs.argmax()]
    weights = np.exp(logs - logs.max())
    some = weights > 1e-3  # the rest of the grid says nothing
    weights, points, day = weights[some] / weights[some].sum(), points[some], looks.day
    pulls, own, days = [], [], []
    for point in points:
        inverse = np.linalg.inv(grid.at(point) + np.diag(error))
        pulls.append(inverse @ (seen - trend))
        own.append(np.diag(inverse).copy())
        days.append(float(day @ inverse @ day))
    return District(looks, fading, seen, error, middle, weights, points, np.array(pulls), np.array(own), np.array(days))


class _Grid:
    """The covariance between looks (look, look) at points of the grid, which differ in the spread mostly."""

    def __init__(self, looks: Looks, fading: Fading) -> None:
        place = (looks.field, looks.latitude, looks.longitude, looks.day)
        self._near, self._same, self._days = _likeness(place, place, fading)
        self._level = _LEVEL**2 + fading.growth_sd**2 * looks.day[:, None] * looks.day[None, :]
        self._part: tuple[tuple[float, float] | None, Floats] = None, np.zeros(0)

    def at(self, point: Sequence[float] | Floats) -> Floats:
        """At a spread, a shared part and a lasting."""
        spread, shared, lasting = (float(value) for value in point)
        if self._part[0] != (shared, lasting):
            part = (shared * self._near + (1 - shared) * self._same) * self._days ** (1 / lasting)
            self._part = (shared, lasting), part
        return np.asarray(spread**2 * self._part[1] + self._level)


def _mode(
    covariance: Floats, trend: Floats, counted: tuple[Floats, Floats, Floats], at: Floats, rounds: int = 12
) -> Floats:
    """Log densities (look,) at which prior and counts together are likeliest, by Newton's steps from `at`."""
    for _ in range(rounds):
        seen, error = parabola(*counted, at)
        whole = covariance + np.diag(error)
        step = trend + covariance @ np.linalg.solve(whole, seen - trend) - at
        at = at + np.clip(step, -2.0, 2.0)
        if np.abs(step).max() < 1e-4:
            break
    return at


def _weighed(grid: _Grid, points: Floats, left: Floats, error: Floats) -> Floats:
    """(point,) log of the weight of each point of the grid.

    The Cholesky factor L of a covariance that is bordered by `left` has the log determinant on its diagonal and
    ``L^-1 left`` in its last row: one factor for both, and no inverse for points that weigh nothing.
    """
    n, out = len(left), np.empty(len(points))
    whole = np.zeros((n + 1, n + 1))
    whole[n, :n], whole[n, n] = left, 1.0 + left @ (left / error)  # more than the square of that row
    diagonal = np.arange(n)
    for at, point in enumerate(points):
        whole[:n, :n] = grid.at(point)
        whole[diagonal, diagonal] += error
        factor = np.linalg.cholesky(whole)  # of the lower triangle
        before = -0.5 * (np.log(point[0] / _USUAL_SPREAD[0]) / _USUAL_SPREAD[1]) ** 2
        out[at] = before - 0.5 * factor[n, :n] @ factor[n, :n] - np.log(factor[diagonal, diagonal]).sum()
    return out


def _likeness(
    here: tuple[ArrayLike, ...], there: tuple[ArrayLike, ...], fading: Fading
) -> tuple[Floats, Floats, Floats]:
    """(target, look) likeness of places, 0 to 1, of fields (1 for the same) and of days."""
    field, lat, lon, day = (np.asarray(x) for x in here)
    other, lat2, lon2, day2 = (np.asarray(x) for x in there)
    same = (field[:, None] == other[None, :]).astype(float)
    with np.errstate(invalid="ignore"):
        apart = km_between(lat[:, None], lon[:, None], lat2, lon2)
    near = np.where(np.isnan(apart), 0.0, np.exp(-np.nan_to_num(apart) / fading.km))
    return np.maximum(near, same), same, np.exp(-np.abs(day[:, None] - day2[None, :]) / fading.days)


def _covariance(
    point: Floats, alike: tuple[Floats, Floats, Floats], day: Floats, other: Floats, fading: Fading
) -> Floats:
    """(target, look) at one point of the grid."""
    (spread, shared, lasting), (near, same, days) = point, alike
    fields = spread**2 * (shared * near + (1 - shared) * same) * days ** (1 / lasting)
    return np.asarray(_LEVEL**2 + fading.growth_sd**2 * day[:, None] * other[None, :] + fields)


def _mixed(weights: Floats, means: Floats, variances: Floats) -> tuple[Floats, Floats]:
    """Mean and variance of a mixture; what its parts say apart adds to the variance."""
    mean = weights @ means
    return np.asarray(mean), np.asarray(weights @ (variances + means**2) - mean**2)
