"""Cotton against the end of the season: when a boll set on a day matures, and the last day on which one still does."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sideoats.weather.arrays import Floats, floats


def matures_before_freeze(
    heat: ArrayLike, freeze_day: ArrayLike, already: ArrayLike, target: ArrayLike
) -> tuple[NDArray[np.bool_], NDArray[np.int64]]:
    """Whether a boll reaches its heat units before the first killing freeze, and on which day.

    Parameters
    ----------
    heat : (..., day) heat units of the coming days, day 0 today
    freeze_day : (...) day of the first killing freeze, -1 where none comes in the span
    already : (...) heat units since bloom, up to yesterday
    target : (...) heat units from bloom to a mature boll

    Returns
    -------
    (...) True where it matures in time; (...) days from today until it does, 0 for already, -1 where never in the span
    """
    from sideoats.weather.pace import day_reached

    when = day_reached(heat, already, target)
    killed = np.asarray(freeze_day, dtype=np.int64)
    in_time = (when >= 0) & ((killed < 0) | (when <= killed))
    return in_time, when


def falling_heat(rate: ArrayLike, today: float, days: ArrayLike, at: ArrayLike, course: ArrayLike) -> Floats:
    """Heat units of each day from today's rate and the way heat falls toward winter, (..., day).

    The course is made to fall only, is flat before its first point and runs on down to nothing after its last by its
    last slope. Where today's course is nothing, nothing is to come.

    Parameters
    ----------
    rate : heat units a day now, (...)
    today, days : day of the year now, and of each day wanted (day,); earlier days than today may be wanted too
    at, course : days of the year (point,) and heat units a day on them, (..., point)
    """
    points, fall = floats(at), np.minimum.accumulate(floats(course), axis=-1)
    step = (fall[..., -2] - fall[..., -1]) / (points[-1] - points[-2])
    with np.errstate(divide="ignore", invalid="ignore"):
        end = points[-1] + np.where(step > 0, fall[..., -1] / step, 0.0)
    wanted = np.append(floats(days), today)
    flat = fall.reshape(-1, fall.shape[-1])
    ends = np.maximum(np.reshape(end, -1), points[-1] + 1e-6)
    rows = [np.interp(wanted, [*points, e], [*row, 0.0]) for row, e in zip(flat, ends, strict=True)]
    level = np.array(rows).reshape(*fall.shape[:-1], wanted.size)
    now = level[..., -1:]
    return floats(
        np.expand_dims(floats(rate), -1) * np.where(now > 0, level[..., :-1] / np.where(now > 0, now, 1.0), 0.0)
    )


def last_effective_bloom(heat: ArrayLike, freeze_day: ArrayLike, target: float) -> Floats:
    """Last day of a season on which a bloom still makes a mature boll before the killing freeze, each year.

    Parameters
    ----------
    heat : (year, day) heat units of each year from one calendar day on, NaN where missing
    freeze_day : (year,) day of the first killing freeze, NaN where not known; the last day of the span where it came
        later than that
    target : heat units from bloom to a mature boll

    Returns
    -------
    (year,) day of the span, -1 where not even its first day does; NaN for a year whose freeze is not known or whose
    missing days could hide the answer
    """
    daily = floats(heat)
    days = np.arange(daily.shape[-1])
    end = floats(freeze_day)[:, None]
    counted = np.where(days < end, daily, 0.0)
    from_day = np.cumsum(np.nan_to_num(counted)[:, ::-1], axis=1)[:, ::-1]
    enough = from_day >= target
    last = np.where(enough.any(axis=1), daily.shape[-1] - 1 - np.argmax(enough[:, ::-1], axis=1), -1)
    gap = (np.isnan(counted) & (days >= np.maximum(last, 0)[:, None])).any(axis=1)
    return np.where(gap | np.isnan(end[:, 0]), np.nan, last)


def day_with_chance(last_days: ArrayLike, chance: float) -> float:
    """The latest day that is early enough in at least `chance` of the years (year,); NaN years left out."""
    known = np.sort(floats(last_days)[~np.isnan(floats(last_days))])
    if known.size == 0:
        return float("nan")
    return float(known[int(np.floor((1 - chance) * known.size + 1e-9))]) if chance > 0 else float(known[-1])
