"""When to sow: yield and forage by date, days to emergence, and how much seed."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


def relative_yield(
    days_from_best: ArrayLike, early: Sequence[Sequence[float]], late: Sequence[Sequence[float]]
) -> Floats:
    """Yield as a share of that at the best date [1], straight between published dates.

    Parameters
    ----------
    days_from_best : emergence-equivalent sowing date less the best date [days], negative where earlier
    early : rows (days before the best date, share), from 0 outwards
    late : rows (days after the best date, share), from 0 outwards

    Returns
    -------
    NaN beyond the published dates on either side
    """
    points = sorted([(-float(d), float(s)) for d, s in early if d > 0] + [(float(d), float(s)) for d, s in late])
    x = np.array([p[0] for p in points])
    y = np.array([p[1] for p in points])
    return np.asarray(np.interp(np.asarray(days_from_best, np.float64), x, y, left=np.nan, right=np.nan))


def loss_by_week(days_late: ArrayLike, per_week: ArrayLike) -> Floats:
    """Yield as a share of that at the best date [1] under a constant loss a week after it, not below zero."""
    return np.clip(
        1.0 - np.maximum(np.asarray(days_late, np.float64), 0.0) / 7.0 * np.asarray(per_week, np.float64), 0.0, 1.0
    )


def soaking_from(rain_in: ArrayLike, threshold_in: ArrayLike) -> Floats:
    """First day, from each day on, by which two days running bring rain enough to wet dusted-in seed.

    Parameters
    ----------
    rain_in : (..., day) rain [in]; day 0 is today
    threshold_in : (...) rain of one day and the day before it together that is enough [in]

    Returns
    -------
    (..., day) the day, at or after the one asked about; NaN where none falls within the record
    """
    rain = np.asarray(rain_in, np.float64)
    two = rain.copy()
    two[..., 1:] += rain[..., :-1]
    days = np.arange(rain.shape[-1], dtype=np.float64)
    wet = np.where(two >= np.asarray(threshold_in, np.float64)[..., None], days, np.inf)
    soonest = np.minimum.accumulate(wet[..., ::-1], axis=-1)[..., ::-1]
    return np.asarray(np.where(np.isinf(soonest), np.nan, soonest))


def fall_forage(days_after: ArrayLike, at_reference: ArrayLike, gone_after: ArrayLike) -> Floats:
    """Fall dry matter [unit of `at_reference`] falling straight with sowing date.

    Parameters
    ----------
    days_after : sowing after the reference date [days], negative where earlier
    at_reference : forage of a sowing on the reference date
    gone_after : days after it at which a sowing gives none
    """
    left = 1.0 - np.asarray(days_after, np.float64) / np.asarray(gone_after, np.float64)
    return np.asarray(at_reference, np.float64) * np.clip(left, 0.0, None)


def thin_loss(stand: ArrayLike, at: ArrayLike, lost: Sequence[Sequence[float]]) -> Floats:
    """Share of the crop lost to a thin stand [1]; never more where the stand is thicker.

    Parameters
    ----------
    stand : share of the plants wanted [1]
    at : where in the published range, from 0 (least lost) to 1 (most)
    lost : rows (share of the rate wanted, least lost, most lost), straight between
    """
    x, low, high = (np.array([float(row[k]) for row in lost]) for k in range(3))
    least, most = (np.interp(np.asarray(stand, np.float64), x, y) for y in (low, high))
    return np.asarray(least + (most - least) * np.asarray(at, np.float64))


def early_pest_share(days_before_fly_free: ArrayLike, full_loss: ArrayLike, full_after: float) -> Floats:
    """Share of grain lost to early pests [1]: none at the fly-free date, `full_loss` so many days before it."""
    return np.asarray(full_loss, np.float64) * np.clip(
        np.asarray(days_before_fly_free, np.float64) / full_after, 0.0, 1.0
    )


def late_rate(rate: ArrayLike, days_late: ArrayLike, share: float, top: float, full_after: float) -> Floats:
    """Seeding rate raised for lateness: by `share` when `full_after` days late, in proportion before, to at most `top`.

    A rate that already stands above `top` is left as it is.
    """
    base = np.asarray(rate, np.float64)
    raised = base * (1.0 + share * np.clip(np.asarray(days_late, np.float64) / full_after, 0.0, 1.0))
    return np.maximum(np.minimum(raised, top), base)
