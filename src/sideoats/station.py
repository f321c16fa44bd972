"""Station records: contiguous days or hours of weather, NaN where nothing was measured, a reason beside every doubt.

A record never hides a gap: the arrays run from the first to the last step of the file without a hole, a value that is
not there is NaN, and `flags` says why. A value that its publisher marked as failed is NaN too, and stands with its
original text under `set_aside`. Quality checks of our own (`sideoats.weather.quality`) only add flags: the value stays,
and `usable` leaves it out.

Canonical units, daily: see `DAILY_UNITS`; hourly: see `HOURLY_UNITS`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import field, replace
from datetime import date, datetime, timedelta
from enum import IntFlag
from typing import Any, Self, TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sideoats.errors import InputError
from sideoats.records import dataclass

Values: TypeAlias = NDArray[np.float64]
Flags: TypeAlias = NDArray[np.uint16]
Times: TypeAlias = NDArray[np.datetime64]
_EARTH_KM = 6371.0088  # mean radius (IUGG)

SOIL_DEPTHS_CM = (5, 10, 20, 50, 100)
DAILY_UNITS: Mapping[str, str] = {
    "tmax": "degC",
    "tmin": "degC",
    "tmean": "degC",
    "rain": "mm",
    "snow": "mm",
    "snow_depth": "mm",
    "wind": "m/s",
    "gust": "m/s",
    "solar": "MJ/m**2",  # for the day
    "humidity": "1",  # mean of the day, 0 to 1
    "humidity_max": "1",
    "humidity_min": "1",
    "dewpoint": "degC",
    "evaporation": "mm",
    **{f"soil_temperature_{depth}": "degC" for depth in SOIL_DEPTHS_CM},  # mean of the day at so many cm
    **{f"soil_moisture_{depth}": "1" for depth in SOIL_DEPTHS_CM},  # water by volume
}
HOURLY_UNITS: Mapping[str, str] = {
    "temperature": "degC",
    "temperature_max": "degC",  # highest and lowest within the hour, where the station keeps them
    "temperature_min": "degC",
    "dewpoint": "degC",
    "humidity": "1",
    "wind": "m/s",
    "gust": "m/s",
    "wind_direction": "degree",
    "pressure": "hPa",
    "rain": "mm",
    "solar": "W/m**2",
    **{f"soil_temperature_{depth}": "degC" for depth in SOIL_DEPTHS_CM},
    **{f"soil_moisture_{depth}": "1" for depth in SOIL_DEPTHS_CM},
}


class Flag(IntFlag):
    """Why a value is absent or doubted. Bits, because one value can fail several checks."""

    NONE = 0
    ABSENT = 1  # the record has no value for this step
    FAILED_AT_SOURCE = 2  # the publisher's own quality mark; the value is set aside
    TRACE = 4  # a trace of rain or snow: 0 in the array
    ACCUMULATED = 8  # the amount of several days, read at the end of them
    PRESUMED_ZERO = 16  # the publisher presumed zero
    RANGE = 32
    STEP = 64
    STREAK = 128
    INCONSISTENT = 256
    GAP = 512
    OUTLIER = 1024
    NEIGHBOURS = 2048
    NAUGHT = 4096


REASONS: Mapping[Flag, str] = {
    Flag.ABSENT: "no value in the record",
    Flag.FAILED_AT_SOURCE: "marked as failed by the publisher",
    Flag.TRACE: "a trace, counted as 0",
    Flag.ACCUMULATED: "the amount of several days",
    Flag.PRESUMED_ZERO: "presumed zero by the publisher",
    Flag.RANGE: "outside what is physically possible",
    Flag.STEP: "jumps too far from the values beside it",
    Flag.STREAK: "the same value too many times in a row",
    Flag.INCONSISTENT: "contradicts another value of the same time",
    Flag.GAP: "stands alone, far from every other value of that month",
    Flag.OUTLIER: "too far from what that time of the year brings",
    Flag.NEIGHBOURS: "disagrees with the stations around it",
    Flag.NAUGHT: "maximum and minimum both exactly 0",
}
SUSPECT = (
    Flag.RANGE | Flag.STEP | Flag.STREAK | Flag.INCONSISTENT | Flag.GAP | Flag.OUTLIER | Flag.NEIGHBOURS | Flag.NAUGHT
)


@dataclass(frozen=True)
class SetAside:
    """A value that was in the file but is not in the arrays."""

    variable: str
    when: str
    text: str
    reason: str


@dataclass(frozen=True)
class Rejected:
    """A line of the file that could not be used."""

    line: int
    reason: str

    def __str__(self) -> str:
        return f"line {self.line}: {self.reason}"


@dataclass(frozen=True)
class Coverage:
    """How much of one variable is there. `missing` includes values set aside; `suspect` are there but doubted."""

    variable: str
    unit: str
    steps: int
    present: int
    missing: int
    suspect: int

    def __str__(self) -> str:
        found = f"{self.variable}: {self.present} of {self.steps} present"
        return f"{found}, {self.missing} missing, {self.suspect} doubted"


def reasons(flags: int) -> tuple[str, ...]:
    """The sentences behind a flag value."""
    return tuple(text for flag, text in REASONS.items() if flags & flag)


@dataclass(frozen=True, kw_only=True)
class _Series:
    station: str
    values: dict[str, Values]
    flags: dict[str, Flags] = field(default_factory=dict)
    name: str = ""
    latitude: float = math.nan  # degrees north
    longitude: float = math.nan  # degrees east
    elevation_m: float = math.nan
    wind_height_m: float = 10.0
    source: str = ""
    set_aside: tuple[SetAside, ...] = ()
    rejected: tuple[Rejected, ...] = ()
    notes: tuple[Any, ...] = ()  # remarks for whoever takes the file: text, or what `sideoats.words` can say

    _UNITS = DAILY_UNITS

    def __post_init__(self) -> None:
        lengths = {len(v) for v in self.values.values()}
        if len(lengths) != 1 or 0 in lengths:
            raise InputError(
                f"station {self.station}: the record holds no values of one common length",
                expected="one value per step for each variable",
            )
        for name, values in self.values.items():
            if name not in self._UNITS:
                raise InputError(f"{name!r} is not a weather variable", expected="one of " + ", ".join(self._UNITS))
            if name not in self.flags:
                self.flags[name] = np.where(np.isnan(values), np.uint16(Flag.ABSENT), np.uint16(0)).astype(np.uint16)

    def __len__(self) -> int:
        return len(next(iter(self.values.values())))

    @property
    def times(self) -> Times:
        """The time of every step."""
        raise NotImplementedError

    def get(self, variable: str) -> Values:
        """The variable as recorded (n,), all NaN where the station never measured it."""
        self.unit(variable)
        found = self.values.get(variable)
        return np.full(len(self), np.nan) if found is None else found

    def unit(self, variable: str) -> str:
        """Canonical unit of a variable."""
        try:
            return self._UNITS[variable]
        except KeyError:
            known = "one of " + ", ".join(self._UNITS)
            raise InputError(f"{variable!r} is not a weather variable", expected=known) from None

    def usable(self, variable: str) -> Values:
        """The variable with every doubted value as NaN (n,)."""
        values = self.get(variable)
        flags = self.flags.get(variable)
        return values if flags is None else np.where(flags & np.uint16(SUSPECT), np.nan, values)

    def missing(self, variable: str) -> Times:
        """The steps for which no usable value is at hand."""
        return self.times[np.isnan(self.usable(variable))]

    def coverage(self) -> list[Coverage]:
        """One row a variable: what is there, what is missing, what is doubted."""
        rows = []
        for name, values in self.values.items():
            absent = int(np.isnan(values).sum())
            doubted = int((((self.flags[name] & np.uint16(SUSPECT)) != 0) & ~np.isnan(values)).sum())
            rows.append(Coverage(name, self._UNITS[name], len(values), len(values) - absent, absent, doubted))
        return rows

    def doubts(self) -> list[SetAside]:
        """Every flagged value that is still in the arrays, with its reasons; what the source failed comes first."""
        found = list(self.set_aside)
        for name, flags in self.flags.items():
            for at in np.flatnonzero(flags & np.uint16(SUSPECT)):
                text = f"{self.values[name][at]:g} {self._UNITS[name]}"
                found.append(SetAside(name, str(self.times[at]), text, "; ".join(reasons(int(flags[at] & SUSPECT)))))
        return found

    def flagged(self, more: Mapping[str, Flags]) -> Self:
        """The same record with more flags set; values are untouched."""
        flags = {k: (v | more[k]).astype(np.uint16) if k in more else v for k, v in self.flags.items()}
        return replace(self, flags=flags)

    def _cut(self, first: int, last: int, **start: Any) -> Self:
        """Steps `first` to `last` exclusive; only called where the slice is not empty."""
        values = {k: v[first:last] for k, v in self.values.items()}
        return replace(self, values=values, flags={k: v[first:last] for k, v in self.flags.items()}, **start)


@dataclass(frozen=True, kw_only=True)
class StationDays(_Series):
    """Daily record of one station, without holes from `start` on."""

    start: date

    @property
    def times(self) -> Times:
        """Every day as datetime64[D] (n,)."""
        return np.datetime64(self.start, "D") + np.arange(len(self))

    @property
    def end(self) -> date:
        """The last day of the record."""
        last: date = self.times[-1].item()
        return last

    def index(self, day: date) -> int:
        """Position of a day; may lie outside the record."""
        return (day - self.start).days

    def window(self, since: date, until: date) -> StationDays:
        """The days from `since` to `until`, both included, as far as the record reaches."""
        first, last = max(0, self.index(since)), min(len(self), self.index(until) + 1)
        if first >= last:
            raise InputError(
                f"station {self.station} has no day from {since} to {until}",
                expected=f"days {self.start} to {self.end}",
            )
        return self._cut(first, last, start=max(since, self.start))

    def lacking(self, variables: Sequence[str], on: date, days: int) -> int:
        """How many of the `days` days before `on` lack a usable value of any of these variables."""
        first, last = self.index(on) - days, self.index(on)
        there = np.ones(max(min(last, len(self)) - max(first, 0), 0), dtype=bool)
        for name in variables:
            there &= ~np.isnan(self.usable(name)[max(first, 0) : max(min(last, len(self)), 0)])
        return days - int(there.sum())

    def lack_told(self, on: date, days: int, missing: int) -> str:
        """In words, that `missing` of the `days` days before `on` are not there, and since when."""
        ends = f", which ends {self.end:%d %b %Y}," if self.end < on - timedelta(days=1) else ""
        return f"the record of {self.name or self.station}{ends} lacks {missing} of the last {days} days"

    def seasons(self, variable: str, month: int, day: int, length: int) -> tuple[NDArray[np.int64], Values]:
        """The same stretch of every year, side by side: (years, array (years, length)), usable values only.

        A stretch starts on `month`-`day` (29 February counts as 1 March in other years) and runs `length` consecutive
        days. Years that the record does not touch at all are left out; days outside it are NaN.
        """
        values = self.usable(variable)
        years, rows = [], []
        for year in range(self.start.year - 1, self.end.year + 1):
            first = self.index(_day_of(year, month, day))
            if first + length <= 0 or first >= len(values):
                continue
            row = np.full(length, np.nan)
            low, high = max(first, 0), min(first + length, len(values))
            row[low - first : high - first] = values[low:high]
            years.append(year)
            rows.append(row)
        return np.array(years, dtype=np.int64), np.array(rows, dtype=np.float64).reshape(len(rows), length)


@dataclass(frozen=True, kw_only=True)
class StationHours(_Series):
    """Hourly record of one station, without holes from `start` on; `start` is naive, in the file's own clock.

    A value at an hour was read within that hour; where `amounts_end` is true, rain and radiation at an hour are those
    of the hour before it, as of a report stamped at the end of what it sums.
    """

    start: datetime
    utc_offset_hours: float = math.nan  # the clock's distance from UTC; NaN where the file does not say
    amounts_end: bool = False

    _UNITS = HOURLY_UNITS

    @property
    def times(self) -> Times:
        """Every hour as datetime64[h] (n,)."""
        return np.datetime64(self.start, "h") + np.arange(len(self))

    def window(self, since: datetime, until: datetime) -> StationHours:
        """The hours from `since` to `until`, both included, as far as the record reaches."""
        first = max(0, math.ceil((since - self.start).total_seconds() / 3600))
        last = min(len(self), math.floor((until - self.start).total_seconds() / 3600) + 1)
        if first >= last:
            raise InputError(f"station {self.station} has no hour from {since} to {until}")
        return self._cut(first, last, start=self.times[first].astype("datetime64[s]").item())

    def to_days(self, utc_offset_hours: float = 0.0, *, least_hours: int = 20) -> StationDays:
        """Calendar days out of the hours, doubted values left out.

        Parameters
        ----------
        utc_offset_hours : added to the record's clock, to make days of local standard time out of a clock in UTC
        least_hours : a variable with fewer hours on a day has no value that day

        Temperatures give tmax, tmin and tmean; wind, humidity and dew point their mean; gust its highest; rain and
        radiation their sum, which is too low by the hours that are missing.
        """
        clock = (self.times + np.timedelta64(round(utc_offset_hours * 60), "m")).astype("datetime64[h]")
        first = (clock[0] - np.timedelta64(1 if self.amounts_end else 0, "h")).astype("datetime64[D]")
        values: dict[str, Values] = {}
        for name, source, reduce in _DAY_OUT_OF_HOURS:
            if source not in self.values:
                continue
            ended = np.timedelta64(1 if self.amounts_end and source in ("rain", "solar") else 0, "h")
            at = (clock - ended - first.astype("datetime64[h]")).astype(np.int64)
            table = np.full(((int((clock[-1] - first.astype("datetime64[h]")).astype(np.int64)) // 24 + 1), 24), np.nan)
            table[at // 24, at % 24] = self.usable(source)
            enough = (~np.isnan(table)).sum(axis=1) >= (1 if source == "gust" else least_hours)
            daily = np.full(len(table), np.nan)
            daily[enough] = reduce(table[enough], axis=1)
            daily = daily * 0.0036 if name == "solar" else daily
            values[name] = np.where(np.isnan(values[name]), daily, values[name]) if name in values else daily
        early = first < clock[0].astype("datetime64[D]") and len(next(iter(values.values()), ())) > 1
        if early and all(
            np.isnan(column[0]) for column in values.values()
        ):  # a day of which only the last hour is there
            values, first = {k: v[1:] for k, v in values.items()}, first + 1
        about = {k: getattr(self, k) for k in _ABOUT}
        return StationDays(
            station=self.station,
            start=first.item(),
            values=values,
            set_aside=self.set_aside,
            rejected=self.rejected,
            notes=self.notes,
            **about,
        )


_ABOUT = ("name", "latitude", "longitude", "elevation_m", "wind_height_m", "source")
# Day's variable, hour's variable, how it is made; where two lines make one, the first that gives a value counts.
_DAY_OUT_OF_HOURS: tuple[tuple[str, str, Any], ...] = (
    ("tmax", "temperature_max", np.nanmax),
    ("tmin", "temperature_min", np.nanmin),
    ("tmax", "temperature", np.nanmax),
    ("tmin", "temperature", np.nanmin),
    ("tmean", "temperature", np.nanmean),
    ("dewpoint", "dewpoint", np.nanmean),
    ("humidity", "humidity", np.nanmean),
    ("wind", "wind", np.nanmean),
    ("gust", "gust", np.nanmax),
    ("rain", "rain", np.nansum),
    ("solar", "solar", np.nansum),
    *((f"soil_{kind}_{depth}", f"soil_{kind}_{depth}", np.nanmean)
      for kind in ("temperature", "moisture") for depth in SOIL_DEPTHS_CM),
)  # fmt: skip


def km_between(latitude: ArrayLike, longitude: ArrayLike, latitudes: ArrayLike, longitudes: ArrayLike) -> Values:
    """Great-circle distance between points in degrees, which broadcast [km]; NaN where one is not known (haversine)."""
    lat, lon, other_lat, other_lon = (
        np.radians(np.asarray(v, float)) for v in (latitude, longitude, latitudes, longitudes)
    )
    half = np.sin((other_lat - lat) / 2) ** 2 + np.cos(lat) * np.cos(other_lat) * np.sin((other_lon - lon) / 2) ** 2
    return np.asarray(2 * _EARTH_KM * np.arcsin(np.sqrt(np.clip(half, 0, 1))))


def same_day(day: date, year: int) -> date:
    """The calendar day in another year; 29 February is 1 March in a year that has none."""
    return _day_of(year, day.month, day.day)


def _day_of(year: int, month: int, day: int) -> date:
    if (month, day) == (2, 29) and not (year % 4 == 0 and (year % 100 != 0 or year % 400 == 0)):
        return date(year, 3, 1)
    return date(year, month, day)
