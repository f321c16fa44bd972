"""Quality control of station records: flags with a reason, never a change of a value.

The checks follow the kinds used for GHCN-Daily [1] and for automatic stations [2]; their limits are facts under
``weather/quality``. A flag says "doubt this", not "this is wrong": 1 to 2 % of what such checks flag is sound [1].

References
----------
.. [1] I. Durre, M.J. Menne, B.E. Gleason, T.G. Houston, R.S. Vose, Comprehensive automated quality assurance of daily
   surface observations, J. Appl. Meteor. Climatol. 49:1615-1633, 2010 (abstract and the check list read).
.. [2] I. Zahumensky, Guidelines on quality control procedures for data from automatic weather stations, WMO, 2004 (from
   memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sideoats.decide.laws import median
from sideoats.facts import Facts
from sideoats.station import Flag, Flags, StationDays, StationHours, km_between
from sideoats.weather import radiation
from sideoats.weather.arrays import floats

Mask = NDArray[np.bool_]
_MOST_NEIGHBOURS = 7  # the nearest, as TopoWx carries [1] out
_TEMPERATURES = ("tmax", "tmin", "tmean")


def out_of_range(values: ArrayLike, low: float, high: float) -> Mask:
    """True where a value is outside what is possible."""
    x = floats(values)
    return (x < low) | (x > high)


def spikes(values: ArrayLike, limit: float) -> Mask:
    """True where a value stands more than `limit` above both its neighbours in time, or below both (last axis)."""
    x = floats(values)
    found = np.zeros(x.shape, bool)
    if x.shape[-1] > 2:
        before, after = x[..., 1:-1] - x[..., :-2], x[..., 1:-1] - x[..., 2:]
        found[..., 1:-1] = ((before > limit) & (after > limit)) | ((before < -limit) & (after < -limit))
    return found


def streaks(values: ArrayLike, length: int, *, ignore: float | None = None) -> Mask:
    """True for values (n,) that belong to a run of `length` or more equal ones; runs of `ignore` are natural.

    A missing value neither breaks a run nor belongs to one.
    """
    x = floats(values)
    known = np.flatnonzero(~np.isnan(x))
    found = np.zeros(x.shape, bool)
    if known.size == 0:
        return found
    run = x[known]
    begins = np.concatenate([[0], np.flatnonzero(run[1:] != run[:-1]) + 1])
    lengths = np.diff(np.concatenate([begins, [run.size]]))
    long = lengths >= length
    if ignore is not None:
        long &= run[begins] != ignore
    found[known] = np.repeat(long, lengths)
    return found


def gaps(values: ArrayLike, groups: NDArray[np.int64], width: float) -> Mask:
    """True for values (n,) cut off from the body of their group by an empty stretch of `width` or more.

    `groups` (n,) says what belongs together, such as the calendar month over all years.
    """
    x = floats(values)
    found = np.zeros(x.shape, bool)
    for group in np.unique(groups):
        at = np.flatnonzero((groups == group) & ~np.isnan(x))
        if at.size < 10:
            continue
        order = at[np.argsort(x[at], kind="stable")]
        wide = np.diff(x[order]) >= width
        middle = order.size // 2
        high = np.flatnonzero(wide[middle:])
        low = np.flatnonzero(wide[:middle])
        if high.size:
            found[order[middle + high[0] + 1 :]] = True
        if low.size:
            found[order[: low[-1] + 1]] = True
    return found


def outliers(values: ArrayLike, day_of_year: NDArray[np.int64], deviations: float, *, half_window: int = 7) -> Mask:
    """True for values (n,) more than so many standard deviations from what this time of the year brings.

    Mean and deviation are those of all years' values within `half_window` days of the calendar day (15 days in [1]),
    with the value's own year left in; fewer than 100 values give no verdict.
    """
    x = floats(values)
    known = ~np.isnan(x)
    day = np.minimum(day_of_year, 365) - 1
    filled = np.where(known, x, 0.0)
    count, total, square = (np.bincount(day, w, 365) for w in (known.astype(float), filled, filled * filled))
    window = np.arange(-half_window, half_window + 1)
    near = (np.arange(365)[:, None] + window) % 365
    n, s, q = count[near].sum(axis=1), total[near].sum(axis=1), square[near].sum(axis=1)
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = s / n
        spread = np.sqrt(np.maximum(q / n - mean * mean, 0.0))
    spread = np.where((n >= 100) & (spread > 0), spread, np.inf)
    return np.asarray(known & (np.abs(x - mean[day]) > deviations * spread[day]))


def neighbours(values: ArrayLike, tolerance: float, *, least: int = 3) -> Mask:
    """True where a station's anomaly is more than `tolerance` from every neighbour's and from their median.

    Parameters
    ----------
    values : (station, day) of the same days, NaN where missing; each station's own median is taken off first
    least : neighbours that must have a value that day
    """
    x = floats(values)
    usual = np.array([median(row[~np.isnan(row)]) if (~np.isnan(row)).any() else np.nan for row in x])
    anomaly = x - usual[:, None]
    found = np.zeros(x.shape, bool)
    for at in range(x.shape[0]):
        others = np.delete(anomaly, at, axis=0)
        known = ~np.isnan(others)
        enough = known.sum(axis=0) >= least
        ranked = np.sort(others, axis=0)  # NaN last
        n = known.sum(axis=0)
        column = np.arange(x.shape[1])
        middle = (ranked[np.maximum((n - 1) // 2, 0), column] + ranked[np.minimum(n // 2, len(others) - 1), column]) / 2
        least_gap = np.min(np.where(known, np.abs(others - anomaly[at]), np.inf), axis=0, initial=np.inf)
        found[at] = enough & (np.abs(anomaly[at] - middle) > tolerance) & (least_gap > tolerance)
    return found & ~np.isnan(x)


@dataclass
class _Marks:
    """Flags gathered for one record."""

    flags: dict[str, Flags]

    def add(self, variable: str, mask: Mask, flag: Flag) -> None:
        if variable in self.flags and mask.any():
            self.flags[variable] = self.flags[variable] | np.where(mask, np.uint16(flag), np.uint16(0))


def _limits(facts: Facts | None) -> Facts:
    if facts is not None:
        return facts
    from sideoats.facts import load

    return load()


def check_days(record: StationDays, facts: Facts | None = None) -> StationDays:
    """The record with a flag on every daily value that fails a check; values untouched.

    Parameters
    ----------
    record : a station
    facts : limits from ``weather/quality``; the published ones where None
    """
    known = _limits(facts)
    marks = _Marks({name: np.zeros(len(record), np.uint16) for name in record.values})
    _ranges(record, known, marks, "daily")
    month = (record.times.astype("datetime64[M]").astype(np.int64)) % 12
    day = (record.times - record.times.astype("datetime64[Y]")).astype(np.int64) + 1
    streak = int(known.value("weather/quality.streak_days"))
    for name in _TEMPERATURES:
        if name in record.values:
            x = record.values[name]
            marks.add(name, spikes(x, known.value("weather/quality.spike")), Flag.STEP)
            marks.add(name, streaks(x, streak), Flag.STREAK)
            marks.add(name, gaps(x, month, known.value("weather/quality.gap")), Flag.GAP)
            marks.add(name, outliers(x, day, known.value("weather/quality.outlier")), Flag.OUTLIER)
    for name in ("rain", "wind", "gust"):
        if name in record.values:
            marks.add(name, streaks(record.values[name], streak, ignore=0.0), Flag.STREAK)
    _daily_consistency(record, known, marks)
    return record.flagged(marks.flags)


def _ranges(record: StationDays | StationHours, facts: Facts, marks: _Marks, step: str) -> None:
    fact = facts[f"weather/quality.range_{step}"]
    for name, low, high in zip(fact.column("variable"), fact.column("low"), fact.column("high"), strict=True):
        if name in record.values:
            marks.add(name, out_of_range(record.values[name], low, high), Flag.RANGE)


def _daily_consistency(record: StationDays, facts: Facts, marks: _Marks) -> None:
    high, low = record.get("tmax"), record.get("tmin")
    both = high < low
    around = np.full(len(record), -np.inf)
    if len(record) > 2:
        around[1:-1] = np.minimum(low[:-2], low[2:])  # below the minimum of the day before and of the day after
    lagged = high < around
    for name in ("tmax", "tmin"):
        marks.add(name, both, Flag.INCONSISTENT)
    marks.add("tmax", lagged, Flag.INCONSISTENT)
    naught = facts["weather/quality.naught"].column("both")
    zero = np.zeros(len(record), bool)
    for value in naught:
        zero |= (np.abs(high - value) < 0.05) & (np.abs(low - value) < 0.05)
    marks.add("tmax", zero, Flag.NAUGHT)
    marks.add("tmin", zero, Flag.NAUGHT)
    mean = record.get("tmean")
    marks.add("tmean", (mean > high) | (mean < low), Flag.INCONSISTENT)
    marks.add("gust", record.get("gust") < record.get("wind"), Flag.INCONSISTENT)
    marks.add("dewpoint", record.get("dewpoint") > high, Flag.INCONSISTENT)
    marks.add("humidity_min", record.get("humidity_min") > record.get("humidity_max"), Flag.INCONSISTENT)
    marks.add(
        "snow", (record.get("snow") > 0) & (low > facts.value("weather/quality.snow_too_warm")), Flag.INCONSISTENT
    )
    if "solar" in record.values and np.isfinite(record.latitude):
        day = (record.times - record.times.astype("datetime64[Y]")).astype(np.int64) + 1
        elevation = record.elevation_m if np.isfinite(record.elevation_m) else 0.0
        clear = radiation.clear_sky(radiation.extraterrestrial_daily(record.latitude, day), elevation)
        marks.add(
            "solar", record.get("solar") > facts.value("weather/quality.over_clear_sky") * clear, Flag.INCONSISTENT
        )


def check_hours(record: StationHours, facts: Facts | None = None) -> StationHours:
    """The record with a flag on every hourly value that fails a check; values untouched. Parameters as `check_days`."""
    known = _limits(facts)
    marks = _Marks({name: np.zeros(len(record), np.uint16) for name in record.values})
    _ranges(record, known, marks, "hourly")
    fact = known["weather/quality.step_hourly"]
    for name, limit in zip(fact.column("variable"), fact.column("limit"), strict=True):
        if name in record.values:
            marks.add(name, spikes(record.values[name], limit), Flag.STEP)
    streak = int(known.value("weather/quality.streak_hours"))
    for name in ("temperature", "dewpoint", "pressure"):
        if name in record.values:
            marks.add(name, streaks(record.values[name], streak), Flag.STREAK)
    for name in ("wind", "rain"):
        if name in record.values:
            marks.add(name, streaks(record.values[name], streak, ignore=0.0), Flag.STREAK)
    slack = known.value("weather/quality.dewpoint_slack")
    marks.add("dewpoint", record.get("dewpoint") > record.get("temperature") + slack, Flag.INCONSISTENT)
    marks.add("gust", record.get("gust") < record.get("wind"), Flag.INCONSISTENT)
    return record.flagged(marks.flags)


def check_neighbours(records: Sequence[StationDays], facts: Facts | None = None) -> list[StationDays]:
    """Several stations with a flag where one disagrees with all of those around it over the days they share.

    A station with fewer than three others within reach is returned as it is: there is no majority to side with.
    Stations without a position have no neighbours.
    """
    known = _limits(facts)
    tolerance, reach = (known.value(f"weather/quality.{name}") for name in ("neighbours", "neighbour_reach"))
    lat, lon = (np.array([getattr(r, name) for r in records], float) for name in ("latitude", "longitude"))
    out = []
    for at, record in enumerate(records):
        km = km_between(lat[at], lon[at], lat, lon)
        near = [i for i in np.argsort(km, kind="stable").tolist() if i != at and km[i] <= reach]
        around = [records[i] for i in near[:_MOST_NEIGHBOURS]]
        out.append(record if len(around) < 3 else record.flagged(_disagreeing(record, around, tolerance).flags))
    return out


def _disagreeing(record: StationDays, around: Sequence[StationDays], tolerance: float) -> _Marks:
    """Days on which a record disagrees with all of those around it."""
    found = _Marks({n: np.zeros(len(record), np.uint16) for n in record.values})
    for name in ("tmax", "tmin"):
        block = np.full((1 + len(around), len(record)), np.nan)
        block[0] = record.get(name)
        for row, other in enumerate(around, 1):
            at = (other.start - record.start).days
            first, last = max(at, 0), min(at + len(other), len(record))
            if first < last:
                block[row, first:last] = other.get(name)[first - at : last - at]
        found.add(name, neighbours(block, tolerance)[0], Flag.NEIGHBOURS)
    return found
