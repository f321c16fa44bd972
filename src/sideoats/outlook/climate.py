"""Past years as they would come in today's climate: their temperature moved to the station's newest level.

Every past year counts alike, for it brings its own weather; what has changed since is taken out of its temperature.
The level of a station is the mean departure of its whole years from its own calendar days, the newest weighing
most: half as much every `half_life` years, which follows a slow warming, a turn of it and a move of the thermometer
alike. A past year is moved from the level that was known before it, so that the years drawn are as far from today's
level as years have come out from theirs. Highs and lows are moved apart. Rain is not moved: on the records at hand
neither weights nor a trend told it better.

Then the years are drawn apart a little, because the spread of `n` past years falls short of that of the year to come:
slow departures from the mean of the years (over about a month) grow by `widening / (n + widening)`. The weather of
single days, and so the day of the first freeze, is left as it came.

The form and its numbers were chosen by ``python -m benchmarks.trial_climate`` (docs/weather.md).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from sideoats import facts as fact_files
from sideoats.records import dataclass

if TYPE_CHECKING:
    from sideoats.facts import Facts
    from sideoats.station import StationDays

Floats = NDArray[np.float64]
PAST_YEARS = "outlook/past_years"
YEAR = 365.25
MOVED = ("tmax", "tmin")
_LEAST_DAYS = (
    243  # of a year, two in three: days count as departures from their own calendar day, so gaps do not tilt it
)
_DRY = 0.05  # of the mean rain: what a dry month is held apart from none by


@dataclass(frozen=True)
class Climate:
    """How past years are brought to today.

    Attributes
    ----------
    half_life : years over which a year's weight in the station's level halves; inf leaves all years as they were
    widening : years; slow departures grow by this over itself and the number of past years
    spell : days over which a departure counts as slow
    """

    half_life: float
    widening: float
    spell: int

    @classmethod
    def of(cls, facts: Facts | None) -> Climate:
        """As the facts say; the published ones where None."""
        table = (facts or fact_files.load())[PAST_YEARS]
        told = dict(zip(table.column("what"), table.column("value"), strict=True))
        return cls(float(told["half-life"]), float(told["widening"]), int(told["spell"]))


AS_IT_WAS = Climate(np.inf, 0.0, 1)  # all years alike, which is what the trial holds the rest against


def running_mean(values: Floats, days: int) -> Floats:
    """Mean over `days` centred days along the last axis; over what is there at either end."""
    size = values.shape[-1]
    sums = np.concatenate([np.zeros((*values.shape[:-1], 1)), np.cumsum(values, axis=-1)], axis=-1)
    at = np.arange(size)
    first, last = np.maximum(at - days // 2, 0), np.minimum(at + (days - 1) // 2 + 1, size)
    return np.asarray((sums[..., last] - sums[..., first]) / (last - first))


def _departures(values: Floats, times: NDArray[np.datetime64]) -> Floats:
    """(day,) values less the mean of their calendar day over the record."""
    of_year = (times - times.astype("datetime64[Y]")).astype(np.int64)
    there = ~np.isnan(values)
    count = np.bincount(of_year[there], minlength=366)
    mean = np.bincount(of_year[there], values[there], minlength=366) / np.maximum(count, 1)
    return np.asarray(values - mean[of_year])


def shift_to_newest(values: Floats, times: NDArray[np.datetime64], half_life: float) -> Floats:
    """What moves each day of a record to the level of its newest years.

    Parameters
    ----------
    values : (day,) temperature, NaN where missing, oldest first and without holes
    times : (day,) of them
    half_life : years

    Returns
    -------
    (day,) in the unit of `values`, to be added; zeros where the record has no two usable years

    Notes
    -----
    Years are counted back from the last day, so that a window drawn from a past year lies within one of them. With x_k
    the mean departure of the year k to k + 1 years back and w = 0.5 ** (1 / half_life), the level today is
    sum w^k x_k / sum w^k, and a year's own level is the same sum over the years before it alone: what a past year is
    drawn with is how far a forecast made the same way would have missed it, so that the error of the level, and years
    that follow each other warm or cool, are in the spread. The oldest years, with less than two half-lives before
    them, are held to the years on both sides, w^|k - j|.
    """
    back = (len(values) - 1 - np.arange(len(values))) / YEAR
    year = back.astype(np.int64)
    off = _departures(values, times)
    there = ~np.isnan(off)
    count = np.bincount(year[there], minlength=year[0] + 1)
    known = np.flatnonzero(count >= _LEAST_DAYS)
    if known.size < 2 or not np.isfinite(half_life):
        return np.zeros(len(values))
    mean = np.bincount(year[there], off[there], minlength=year[0] + 1)[known] / count[known]
    every = np.arange(year[0] + 1)[:, None]
    before = known > every
    enough = before.sum(axis=1, keepdims=True) >= 2 * half_life
    weight = np.where(before | ~enough, 0.5 ** (np.abs(known - every) / half_life), 0.0)
    now = 0.5 ** (known / half_life)
    return np.asarray(now @ mean / now.sum() - (weight @ mean / weight.sum(axis=1))[year])


def to_today(record: StationDays, on: date, climate: Climate) -> StationDays:
    """The days of a record before `on`, their temperature moved to the level of its newest years; rain as it came."""
    end = min(record.index(on), len(record))
    if end < 1 or not all(name in record.values for name in MOVED):
        return record
    past = record.window(record.start, record.times[end - 1].item())
    moved = {v: past.values[v] + shift_to_newest(past.usable(v), past.times, climate.half_life) for v in MOVED}
    return replace(past, values={**past.values, **_in_order(moved, past.values)})


def _in_order(moved: Mapping[str, Floats], before: Mapping[str, Floats]) -> dict[str, Floats]:
    """Lows that the move brought over their highs, down to them."""
    low = np.where(before["tmin"] <= before["tmax"], np.minimum(moved["tmin"], moved["tmax"]), moved["tmin"])
    return {"tmax": moved["tmax"], "tmin": low}


def drawn_apart(values: Mapping[str, Floats], climate: Climate) -> dict[str, Floats]:
    """Windows of n past years as far apart as n years say of the next one.

    Parameters
    ----------
    values : ``tmax``, ``tmin`` [degC] and ``rain`` [mm], each (year, day) without gaps

    Returns
    -------
    the same shapes; the mean of the years stays on every day (rain: over a spell), a dry day stays dry
    """
    rain = values["rain"]
    growth = climate.widening / (len(rain) + climate.widening)
    slow = {v: running_mean(values[v] - values[v].mean(axis=0), climate.spell) for v in MOVED}
    apart = _in_order({v: values[v] + growth * slow[v] for v in MOVED}, values)
    about = running_mean(rain, climate.spell)
    usual = about.mean(axis=0)
    least = _DRY * usual.mean()
    if growth == 0 or least == 0:
        return {**apart, "rain": rain}
    grown = rain * ((about + least) / (usual + least)) ** growth
    now = running_mean(grown, climate.spell).mean(axis=0)
    return {**apart, "rain": grown * np.divide(usual, now, out=np.ones_like(now), where=now > 0)}
