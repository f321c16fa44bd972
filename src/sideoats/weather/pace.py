"""Pace: how a season's sum of heat or rain stands beside the station's own past years, and when it reaches a mark."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sideoats.errors import InputError
from sideoats.station import StationDays, same_day
from sideoats.weather.arrays import Floats, floats
from sideoats.weather.degree_days import accumulate, degree_days


@dataclass(frozen=True)
class Pace:
    """This season's sum beside past years on the same calendar day.

    Attributes
    ----------
    since, on : first and last day summed
    total : this season [unit of the daily values]; `days` that are there, `missing` that are not
    years : past years used, newest first; `sums` theirs on the same date
    left_out : past years with too many missing days
    mean : of the past years; `departure` total - mean
    rank : 1 is the least among this season and the past years
    days_ahead : days by which this season is ahead (positive) of the mean course of the past years; NaN where that
        course never reaches this season's sum
    courses : (year, day) running sums of the past years, `course` (day,) this season's
    """

    since: date
    on: date
    total: float
    days: int
    missing: int
    years: tuple[int, ...]
    sums: Floats
    left_out: tuple[int, ...]
    mean: float
    departure: float
    rank: int
    days_ahead: float
    course: Floats
    courses: Floats


def heat(
    record: StationDays,
    lower: float,
    upper: float | None = None,
    *,
    method: str = "simple",
    cutoff: str | None = None,
    fahrenheit: bool = True,
) -> Floats:
    """Degree-days of every day of a record (day,), doubted values left out; thresholds in degF by default."""
    high, low = record.usable("tmax"), record.usable("tmin")
    if fahrenheit:
        high, low = high * 1.8 + 32, low * 1.8 + 32
    return degree_days(high, low, lower, upper, method=method, cutoff=cutoff)


def pace(
    record: StationDays, daily: ArrayLike, since: date, on: date, *, past: int = 5, most_missing: float = 0.05
) -> Pace:
    """This season's sum beside the last `past` years that are whole enough.

    Parameters
    ----------
    record : the station
    daily : (day,) values to sum, aligned with the record (`heat`, or rain)
    since, on : first and last day of the season; less than a year apart
    past : how many past years, counted back from the season's own
    most_missing : share of days that may be missing in a past year; a year with more is left out and named

    Raises
    ------
    InputError : a season of no day or more than a year, or one that the record does not reach
    """
    length = (on - since).days + 1
    if not 1 <= length <= 366:
        raise InputError(f"a season from {since} to {on}", where="pace", expected="1 to 366 days")
    values = floats(daily)
    if record.index(since) < 0 or record.index(since) >= len(record):
        raise InputError(f"the record of {record.station} does not reach {since}", where="pace")
    this = _stretch(values, record.index(since), length)
    rows, years, left_out = [], [], []
    for back in range(1, past + 1):
        begin = record.index(same_day(since, since.year - back))
        row = _stretch(values, begin, length)
        if np.isnan(row).mean() > most_missing:
            left_out.append(since.year - back)
        else:
            years.append(since.year - back)
            rows.append(row)
    block = np.array(rows).reshape(len(rows), length)
    courses = np.nancumsum(block, axis=1)
    course = np.nancumsum(this)
    summed = accumulate(this)
    total = float(summed.total)
    sums = courses[:, -1] if rows else np.zeros(0)
    mean = float(sums.mean()) if rows else np.nan
    return Pace(
        since,
        on,
        total,
        int(summed.days),
        int(summed.missing),
        tuple(years),
        sums,
        tuple(left_out),
        mean,
        total - mean,
        int((sums < total).sum()) + 1,
        _days_ahead(record, values, since, years, total, length),
        course,
        courses,
    )


def _stretch(values: Floats, begin: int, length: int) -> Floats:
    out = np.full(length, np.nan)
    low, high = max(begin, 0), min(begin + length, len(values))
    if low < high:
        out[low - begin : high - begin] = values[low:high]
    return out


def _days_ahead(record: StationDays, values: Floats, since: date, years: list[int], total: float, length: int) -> float:
    """Where the mean course of the past years reaches this season's sum, against today; fractions by straight lines."""
    if not years:
        return float("nan")
    reach = 366
    rows = [_stretch(values, record.index(same_day(since, y)), reach) for y in years]
    course = np.nancumsum(np.array(rows), axis=1).mean(axis=0)
    if total > course[-1]:
        return float("nan")
    at = int(np.searchsorted(course, total))
    before = course[at - 1] if at else 0.0
    step = course[at] - before
    when = at + ((total - before) / step if step > 0 else 1.0)
    return float(when - length)


def day_reached(daily: ArrayLike, already: ArrayLike, target: ArrayLike) -> NDArray[np.int64]:
    """Days from today until a running sum reaches a target, along the last axis; 0 already there, -1 not in the span.

    Parameters
    ----------
    daily : (..., day) future values, day 0 today
    already : (...) sum up to yesterday
    target : (...)

    Returns
    -------
    (...) day on whose evening the target is reached, plus 1; so 1 means today
    """
    course = np.cumsum(floats(daily), axis=-1) + np.expand_dims(floats(already), -1)
    goal = np.expand_dims(floats(target), -1)
    there = course >= goal
    when = np.where(there.any(axis=-1), np.argmax(there, axis=-1) + 1, -1)
    return np.where(floats(already) >= floats(target), 0, when).astype(np.int64)


def chance_by(days: ArrayLike, within: int, *, axis: int = -1) -> Floats:
    """Share of draws in which a day (as from `day_reached`, -1 for never) comes within so many days."""
    when = np.asarray(days)
    return floats(((when >= 0) & (when <= within)).mean(axis=axis))


def date_quantiles(days: ArrayLike, on: date, shares: tuple[float, ...] = (0.1, 0.5, 0.9)) -> list[date | None]:
    """Dates by which a share of the draws (draw,) has arrived; None where fewer do at all."""
    when = np.asarray(days)
    ranked = np.sort(np.where(when < 0, np.iinfo(np.int64).max, when))
    found: list[date | None] = []
    for share in shares:
        value = int(ranked[min(len(ranked) - 1, max(0, int(np.ceil(share * len(ranked))) - 1))])
        found.append(on + timedelta(days=value) if value < 10_000 else None)
    return found
