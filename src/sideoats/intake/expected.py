"""What readers of forecasts share: layers of intervals made into local days and hours, and these into drafts.

A day is the calendar day of the forecast's own clock. Its high is that of the daytime window that begins on it, its low
that of the night window that ends on it (the morning's), because services publish windows and not calendar days. A
window that is under way is left out: what is left of it is no high of the day. Rain amounts are totals over their
interval and are spread over it; a day without all of its hours has no amount, because an empty layer is not zero. A
day's chance of rain is put together from the 12-hour periods that it touches: halfway between the largest of them and
what they would give if they were independent (common practice, no source).
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta, timezone, tzinfo
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from sideoats import units
from sideoats.errors import InputError
from sideoats.intake.taken import Draft
from sideoats.schema import Field

SOURCE = "weather service"
COMPASS = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")
UNITS = {  # in which the vocabulary keeps each
    "high": "degF",
    "low": "degF",
    "temperature": "degF",
    "humidity": "1",
    "wind": "mph",
    "wind_from": "degree",
    "rain_chance": "1",
    "rain": "inch",
}
LEAST_HOURS = 12  # of a day, from which its wind and its lowest humidity are told
_AIR = ("temperature", "humidity", "wind")
_HOUR, _PERIOD = timedelta(hours=1), timedelta(hours=12)
_DURATION = re.compile(r"P(?:(\d+)D)?(?:T(?:(\d+)H)?(?:(\d+)M)?)?")
_CODES = {
    "degC": "degC", "degF": "degF", "K": "kelvin", "percent": "percent", "km_h-1": "km/hour", "m_s-1": "m/s",
    "mm": "mm", "m": "m", "Pa": "Pa", "degree_(angle)": "degree",
}  # fmt: skip

PLACE = Field("place", "text", "id of the station, field or herd that it is for; its position decides if absent")
ZONE = Field("zone", "text", "time zone of the place", example="America/Chicago")


@dataclass(frozen=True)
class Span:
    """A value over an interval, which has a time zone."""

    begins: datetime
    ends: datetime
    value: float

    def shared(self, since: datetime, until: datetime) -> float:
        """Hours that it has in common with another interval."""
        return max((min(self.ends, until) - max(self.begins, since)) / _HOUR, 0.0)


@dataclass
class Expected:
    """A forecast as it is put together: `days` and `hours` in the units of the vocabulary."""

    issued: datetime
    latitude: float = math.nan
    longitude: float = math.nan
    elevation_m: float = math.nan
    source: str = SOURCE
    days: dict[date, dict[str, float]] = field(default_factory=dict)
    hours: dict[tuple[date, int], dict[str, Any]] = field(default_factory=dict)

    def put(self, day: date, name: str, value: float | None) -> None:
        """A value of a day; None and NaN are not known."""
        if value is not None and math.isfinite(value):
            self.days.setdefault(day, {})[name] = round(value, 3)

    def drafts(self, place: str | None, line: int = 0) -> tuple[Draft, ...]:
        """Its days and its hours as an entry each, none where nothing can be used: days before its issue are past."""
        first = self.issued.date()
        days = [{"date": d.isoformat(), **self.days[d]} for d in sorted(self.days) if d >= first]
        hours = [{"date": d.isoformat(), "hour": h, **self.hours[d, h]} for d, h in sorted(self.hours) if d >= first]
        body: dict[str, Any] = {"issued_at": self.issued.isoformat(timespec="minutes"), "source": self.source}
        where = {"latitude": self.latitude, "longitude": self.longitude, "elevation": self.elevation_m}
        for name, value in where.items():
            if math.isfinite(value):
                body[name] = value
        parts = (("forecast", "days", days), ("forecast_hours", "hours", hours))
        return tuple(
            Draft(kind, {**body, name: rows}, self.issued, place=place, line=line) for kind, name, rows in parts if rows
        )


def duration(text: str) -> timedelta:
    """A duration of ISO 8601 in days, hours and minutes. Raises ValueError."""
    found = _DURATION.fullmatch(text)
    if found is None or not any(found.groups()):
        raise ValueError(f"{text[:40]!r} is not a duration such as PT6H")
    days, hours, minutes = (int(part or 0) for part in found.groups())
    return timedelta(days=days, hours=hours, minutes=minutes)


def moment(text: str) -> datetime:
    """A time of ISO 8601 with its zone. Raises ValueError."""
    found = datetime.fromisoformat(text)
    if found.tzinfo is None:
        raise ValueError(f"{text[:40]!r} has no time zone")
    return found


def interval(text: str) -> tuple[datetime, datetime]:
    """Start and end of ``2022-02-03T21:00:00+00:00/PT5H``. Raises ValueError."""
    begins, _, lasts = text.partition("/")
    start = moment(begins)
    return start, start + duration(lasts)


def measured(value: Any, code: Any, unit: str) -> float | None:
    """A number with a unit code such as ``wmoUnit:km_h-1`` in `unit`; None where the value is not known.

    Raises ValueError for a code that is not known: a unit is never guessed.
    """
    if value is None or isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        return None
    short = str(code).rpartition(":")[2].rpartition("/")[2]
    if short not in _CODES:
        raise ValueError(f"unit code {str(code)[:40]!r} is not known")
    factor, offset = units.conversion(_CODES[short], unit)
    return float(value) * factor + offset


def zone_of(name: str | None, where: str) -> ZoneInfo | None:
    """The time zone of a name. Raises InputError."""
    if not name:
        return None
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise InputError(f"{name[:60]!r} is not a time zone", where=where, expected="such as America/Chicago") from None


def by_the_sun(longitude: float) -> tzinfo:
    """A clock of whole hours by longitude, for what turns on days alone; UTC where that is not known."""
    return timezone(timedelta(hours=round(longitude / 15) if math.isfinite(longitude) else 0))


def compass(degrees: float | None) -> str | None:
    """The word of eight for a direction."""
    return None if degrees is None else COMPASS[round(degrees / 45) % 8]


def highs(spans: Sequence[Span], clock: tzinfo) -> dict[date, float]:
    """High of each day: the daytime window that begins on it, whole."""
    return {s.begins.astimezone(clock).date(): s.value for s in _whole(spans)}


def lows(spans: Sequence[Span], clock: tzinfo) -> dict[date, float]:
    """Low of each day: the night window that ends on it, whole."""
    return {s.ends.astimezone(clock).date(): s.value for s in _whole(spans)}


def _whole(spans: Sequence[Span]) -> list[Span]:
    """Windows that are not cut short: as long as the longest of them, but for an hour (the clock is changed)."""
    longest = max((s.ends - s.begins for s in spans), default=_HOUR)
    return [s for s in spans if s.ends - s.begins >= longest - _HOUR]


def day_ends(day: date, clock: tzinfo) -> tuple[datetime, datetime]:
    """First instant of a day, and of the next."""
    return datetime.combine(day, time(), clock), datetime.combine(day + timedelta(days=1), time(), clock)


def by_day(spans: Sequence[Span], days: Iterable[date], clock: tzinfo) -> dict[date, list[tuple[float, float]]]:
    """Day -> (hours, value) of every interval that touches it."""
    out: dict[date, list[tuple[float, float]]] = {}
    for day in days:
        since, until = day_ends(day, clock)
        found = [(s.shared(since, until), s.value) for s in spans if s.begins < until and s.ends > since]
        if found:
            out[day] = found
    return out


def totals(spans: Sequence[Span], days: Iterable[date], clock: tzinfo, issued: datetime) -> dict[date, float]:
    """Amount of each day of which no hour to come is missing."""
    out = {}
    for day in days:
        since, until = day_ends(day, clock)
        held = [(s.shared(since, until), s) for s in spans if s.begins < until and s.ends > since]
        lacking = (until - max(since, issued)) / _HOUR - sum(s.shared(max(since, issued), until) for _, s in held)
        if held and lacking < 0.5:
            out[day] = sum(hours * s.value / ((s.ends - s.begins) / _HOUR) for hours, s in held)
    return out


def rain_chances(spans: Sequence[Span], days: Iterable[date], clock: tzinfo) -> dict[date, float]:
    """Chance of rain of each day [0 to 1], out of the 12-hour periods (00 and 12 UTC) that it touches; see the module.

    A part of a period bears the chance 1 - (1 - p)^(hours / 12). Days of which more than six hours are not told are
    left out.
    """
    periods: dict[datetime, float] = {}
    for s in spans:
        at = s.begins.astimezone(UTC).replace(minute=0, second=0, microsecond=0)
        at -= timedelta(hours=at.hour % 12)
        while at < s.ends:
            periods[at] = max(periods.get(at, 0.0), s.value)
            at += _PERIOD
    known = [Span(at, at + _PERIOD, p) for at, p in periods.items()]
    out = {}
    for day, found in by_day(known, days, clock).items():
        if sum(hours for hours, _ in found) >= 18:
            out[day] = both(1 - (1 - p) ** (hours / 12) for hours, p in found)
    return out


def both(chances: Iterable[float]) -> float:
    """Chance of rain in any of several periods that depend on each other in part."""
    p = list(chances)
    return (max(p) + 1 - math.prod(1 - each for each in p)) / 2


def fill_days(
    out: Expected, spans: Mapping[str, Sequence[Span]], clock: tzinfo, *, last: datetime, first: date | None = None
) -> None:
    """`out.days` from layers in the vocabulary's units: high, low, humidity, wind, rain, rain_chance."""
    begin = first or out.issued.astimezone(clock).date()
    days = [begin + timedelta(days=k) for k in range((last.astimezone(clock).date() - begin).days + 1)]
    for name, found in (
        ("high", highs(spans.get("high", ()), clock)),
        ("low", lows(spans.get("low", ()), clock)),
        ("rain", totals(spans.get("rain", ()), days, clock, out.issued)),
        ("rain_chance", rain_chances(spans.get("rain_chance", ()), days, clock)),
    ):
        for day, value in found.items():
            if day >= begin:
                out.put(day, name, value)
    for day, found_hours in by_day(spans.get("wind", ()), days, clock).items():
        hours = sum(h for h, _ in found_hours)
        if hours >= LEAST_HOURS:
            out.put(day, "wind", sum(h * v for h, v in found_hours) / hours)
    for day, found_hours in by_day(spans.get("humidity", ()), days, clock).items():
        if sum(h for h, _ in found_hours) >= LEAST_HOURS:
            out.put(day, "humidity", min(v for _, v in found_hours))


def fill_hours(out: Expected, spans: Mapping[str, Sequence[Span]], clock: tzinfo, *, last: datetime) -> None:
    """`out.hours` by the clock of the place, of hours whose temperature, humidity and wind are all known."""
    at = {name: _by_hour(found, name == "rain") for name, found in spans.items()}
    hour = out.issued.astimezone(UTC).replace(minute=0, second=0, microsecond=0)
    while hour < last:
        told = {name: held.get(hour) for name, held in at.items()}
        row: dict[str, Any] = {n: round(v, 3) for n in _AIR if (v := told.get(n)) is not None}
        if len(row) == len(_AIR):
            here = hour.astimezone(clock)
            if (way := compass(told.get("wind_from"))) is not None:
                row["wind_from"] = way
            if (rain := told.get("rain")) is not None:
                row["rain"] = round(rain, 4)
            out.hours[here.date(), here.hour] = row
        hour += _HOUR


def _by_hour(spans: Sequence[Span], spread: bool) -> dict[datetime, float]:
    held: dict[datetime, float] = {}
    for s in spans:
        at, hours = s.begins.astimezone(UTC), max((s.ends - s.begins) / _HOUR, 1.0)
        while at < s.ends:
            held[at] = s.value / hours if spread else s.value
            at += _HOUR
    return held
