"""How wide the coming months are: what the newest years and the season do to the spread of a record's moves.

Pure functions of arrays. Each gives a factor on the log moves of the whole record, so that they multiply; none moves
the mean, which is what is quoted or stated.
"""

from __future__ import annotations

from typing import TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sideoats.outlook.prices import log_moves

Floats: TypeAlias = NDArray[np.float64]
MONTHS, DAYS_A_MONTH, DAYS_A_YEAR = 12, 365.25 / 12, 365.25
LEAST_RECENT = 24  # moves in the newest years by which their spread is told
LEAST_OF_A_MONTH = 5  # moves that end in one calendar month


def recent_spread(
    dates: ArrayLike, prices: ArrayLike, at_days: ArrayLike, *, years: float, weight: float, reverts: float
) -> Floats:
    """Factor on the log moves of a record by how calm or rough its newest years were, (k,).

    (s_new / s_all) ^ (weight (r / h) (1 - e^(-h / r))): most of it in the first months, none in the long run. Standard
    deviations of log moves by the root of the days between them; 1 where the newest years hold too few moves.

    Parameters
    ----------
    dates, prices : (n,) the record, oldest first, prices above zero
    at_days : (k,) days ahead h
    years : how many years are the newest
    weight : how far their spread counts at once, 0 to 1
    reverts : days r in which that fades

    References
    ----------
    Weight and time from a trial on monthly world prices (docs/grain.md, "Trial of the price ranges").
    """
    when = np.asarray(dates, "datetime64[D]").astype(np.int64).astype(np.float64)
    ahead = np.maximum(np.asarray(at_days, dtype=np.float64), 1.0)
    moves = log_moves(prices) / np.sqrt(np.maximum(np.diff(when), 1.0))
    late = when[1:] > when[-1] - 365.25 * years
    whole, new = moves.std(), moves[late].std() if late.sum() >= LEAST_RECENT else 0.0
    if not (whole > 0 and new > 0):
        return np.ones_like(ahead)
    power = weight * (reverts / ahead) * -np.expm1(-ahead / reverts)
    return np.asarray((new / whole) ** power)


def with_spread(paths: ArrayLike, factor: ArrayLike) -> Floats:
    """Log paths (draw, k) with their spread scaled by `factor` (k,), the mean price ratio 1 again."""
    given = np.asarray(paths, dtype=np.float64)
    middle = given.mean(axis=0)
    scaled = middle + (given - middle) * np.asarray(factor, dtype=np.float64)
    return np.asarray(scaled - np.log(np.exp(scaled).mean(axis=0)))


def reverting_spread(at_days: ArrayLike, *, a_year: float, from_days: float) -> Floats:
    """Factor on paths put together from independent stretches of a record, by how far prices return in between, (k,).

    sqrt((s + (1 - e^(-2 k (h - s))) / 2 k) / h) past s days, 1 up to there: a stretch of the record holds the return
    of its own days, but stretches that know nothing of one another spread by the root of time, and prices do not. The
    mean is not moved: what is quoted for the later day knows of the return.

    Parameters
    ----------
    at_days : (k,) days ahead h
    a_year : share of the gap to the usual level that is closed in a year, 1 - e^(-k)
    from_days : length s of a stretch

    References
    ----------
    Standard deviation of a price that returns: sigma sqrt((1 - e^(-2 k T)) / 2 k) (Schwartz, E., 1997, one factor; from
    memory). Share a year: regressions and a trial on monthly world prices (docs/grain.md, "Trial of the price ranges").
    """
    ahead = np.maximum(np.asarray(at_days, dtype=np.float64), 1.0)
    rate, beyond = -np.log1p(-a_year) / DAYS_A_YEAR, np.maximum(ahead - from_days, 0.0)
    spent = np.minimum(ahead, from_days) - np.expm1(-2 * rate * beyond) / (2 * rate)
    return np.asarray(np.sqrt(spent / ahead))


def season_spread(dates: ArrayLike, prices: ArrayLike, at_days: ArrayLike, *, weight: float) -> Floats:
    """Factor on the log moves of a record by how rough the calendar months ahead have been, (k,).

    (v_ahead / v_all) ^ (weight / 2): v the variance of log moves a day by calendar month, each smoothed with its two
    neighbors; v_ahead the mean over the months from the last day of the record to each day ahead. 1 where a month holds
    fewer than `LEAST_OF_A_MONTH` moves.

    Parameters
    ----------
    dates, prices : (n,) the record, oldest first, prices above zero
    at_days : (k,) days ahead
    weight : how far the season counts, 0 to 1

    References
    ----------
    Anderson, R., 1985: season matters more than maturity for the spread of grain futures (from a summary, read). Weight
    from a trial on monthly world prices (docs/grain.md, "Trial of the price ranges").
    """
    when = np.asarray(dates, "datetime64[D]")
    ahead = np.maximum(np.asarray(at_days, dtype=np.float64), 1.0)
    days = np.maximum(np.diff(when).astype(np.float64), 1.0)
    squares = log_moves(prices) ** 2
    month = when[1:].astype("datetime64[M]").astype(np.int64) % MONTHS
    count = np.bincount(month, minlength=MONTHS)
    if count.min() < LEAST_OF_A_MONTH:
        return np.ones_like(ahead)
    variance = np.bincount(month, squares, MONTHS) / np.bincount(month, days, MONTHS)
    variance = (np.roll(variance, 1) + variance + np.roll(variance, -1)) / 3
    if not variance.min() > 0:
        return np.ones_like(ahead)
    marks = np.arange(int(np.ceil(ahead.max() / DAYS_A_MONTH)))
    coming = when[-1] + np.round((marks + 0.5) * DAYS_A_MONTH).astype("timedelta64[D]")
    mean = np.cumsum(variance[coming.astype("datetime64[M]").astype(np.int64) % MONTHS]) / (marks + 1)
    reached = np.interp(ahead, (marks + 1) * DAYS_A_MONTH, mean)
    return np.asarray((reached / variance.mean()) ** (weight / 2))
