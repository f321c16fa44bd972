"""What a station's past says of a piece of ground: its rain beside normal, its root zone now and to come."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from sideoats.question import Context
from sideoats.station import StationDays, same_day
from sideoats.weather.rain_standing import RainStanding, rain_standing
from sideoats.weather.rainfall import days_since, dry_spells
from sideoats.weather.root_zone import RootZone, daily_coefficient, forage_ahead, root_zone
from sideoats.weather.station_air import StationAir, calendar, reference_et, station_air

Floats = NDArray[np.float64]
INCH = 25.4
AHEAD = 60
SPANS = (30, 90, 180, 365)
MAIN = 90
GROUNDS = 96  # balances at a time: the loop over days is shared, and the arrays stay near 100 MB


@dataclass(frozen=True)
class Standing:
    """What a station's rain says: one entry a span, dry spell and days since half an inch.

    `since` rain since the days of the year that triggers count from, by their text.
    """

    spans: dict[int, RainStanding]
    dry_now: int
    since_soaking: float  # NaN where none fell in the last 400 days
    since: dict[str, RainStanding]


@dataclass(frozen=True)
class Ground:
    """A root zone at a station with its coming weeks, for the least, middle and most water that the soil may hold.

    `depletion_today` (soil,), `depletion` (soil, year, day), `growth` (soil, year); `missing` days of the record.
    """

    zone: RootZone
    depletion_today: Floats
    depletion: Floats
    growth: Floats
    missing: int


@dataclass(frozen=True)
class Weather:
    """A station's past up to yesterday (day,) and its coming weeks (year, day), in mm."""

    start: date
    et: Floats
    rain: Floats
    ahead_et: Floats
    ahead_rain: Floats
    missing: int


Key = tuple[int, str, str, date | None, float]  # station, crop, soil, planting date, share of water left or -1


def _standing(record: StationDays, context: Context) -> Standing:
    facts, on = context.facts, context.on
    most = facts.value("weather/pace.most_missing")
    spans = {days: rain_standing(record, on, days, most_missing=most) for days in SPANS}
    rain = record.usable("rain")[: max(record.index(on), 1)][-400:]
    spell = dry_spells(rain, dry_below=facts.value("weather/drought.dry_day"))
    since = float(days_since(rain, facts.value("weather/drought.soaking_rain") * INCH))
    from_day = {
        day: rain_standing(record, on, days_since_day(on, day), most_missing=most)
        for day in dict.fromkeys(facts["weather/drought.range_triggers"].column("since"))
        if days_since_day(on, day) > 0
    }
    return Standing(spans, int(spell.current), since if since >= 0 else np.nan, from_day)


def days_since_day(on: date, month_day: str) -> int:
    """Days since that day of this year, of today; negative before it."""
    month, day = (int(part) for part in month_day.split("-"))
    return (on - date(on.year, month, day)).days


def standing_at(context: Context, station: str) -> Standing:
    found: Standing = context.once(
        f"rain-deficit standing {station}", lambda fresh: _standing(fresh.outlook.records[station], fresh)
    )
    return found


def _weather(context: Context, at: int) -> Weather:
    out, on = context.outlook, context.on
    record = out.records[out.windows.stations[at] if out.windows else ""]
    until = min(record.index(on), len(record))
    air = context.once("rain-deficit air", _air).only(at)
    tmax, tmin = record.usable("tmax")[None, :until], record.usable("tmin")[None, :until]
    et, rain = reference_et(air, tmax, tmin, record.start)[0], record.usable("rain")[:until]
    high, low = out.daily("tmax")[[at], :, :AHEAD], out.daily("tmin")[[at], :, :AHEAD]
    ahead, coming = reference_et(air, high, low, on)[0], out.daily("rain")[at, :, :AHEAD]
    missing = int((np.isnan(et) | np.isnan(rain)).sum()) + record.index(on) - until
    return Weather(record.start, et, rain, ahead, coming, missing)


def _air(context: Context) -> StationAir:
    out, facts = context.outlook, context.facts
    return station_air(
        out.records,
        out.windows.stations if out.windows else (),
        usual_wind=facts.value("weather/rain.usual_wind"),
        usual_latitude=facts.value("weather/livestock.latitude_unknown"),
    )


def grounds_of(context: Context, keys: list[Key]) -> dict[Key, Ground]:
    """The balances of many kinds of ground at once, whatever their station: the loop runs over days only."""
    found: dict[Key, Ground] = {}
    for first in range(0, len(keys), GROUNDS):
        part = keys[first : first + GROUNDS]
        weather = [_weather_at(context, key[0]) for key in part]
        zones = [root_zone(context.facts, crop, soil) for _, crop, soil, _, _ in part]
        available = np.array([[z.available_low, z.available, z.available_high] for z in zones])
        left = np.array([np.nan if key[4] < 0 else key[4] for key in part])
        past = Past.of(context.on, part, weather, zones)
        coming, _ = calendar(context.on, AHEAD)
        curves = [_coefficient(z, coming, context.on, key[3]) for z, key in zip(zones, part, strict=True)]
        ahead = forage_ahead(
            past.et,
            past.rain,
            past.coefficient,
            np.stack([w.ahead_et for w in weather])[:, None],
            np.stack([w.ahead_rain for w in weather])[:, None],
            np.stack(curves)[:, None],
            available,
            np.array([[z.fraction] for z in zones]),
            start_of_window=past.windows,
            window_counts=past.counts[:, None],
            told_depletion=(1 - left)[:, None] * available,
        )
        for i, key in enumerate(part):
            found[key] = Ground(
                zones[i], ahead.depletion_today[i], ahead.depletion[i], ahead.growth[i], weather[i].missing
            )
    return found


def _weather_at(context: Context, at: int) -> Weather:
    found: Weather = context.once(f"rain-deficit weather {at}", lambda fresh: _weather(fresh, at))
    return found


def _coefficient(zone: RootZone, of_year: NDArray[np.int64], first: date, planted: date | None) -> Floats:
    """Crop coefficient of days on end, the first of which is `first`."""
    since = None if planted is None else (first - planted).days + np.arange(float(of_year.size))
    return daily_coefficient(zone, of_year, since)


@dataclass(frozen=True)
class Past:
    """Pasts of several kinds of ground on one calendar, (ground, 1, day); nothing happens outside a station's record.

    `windows` (window,) are the positions of today's calendar day in earlier years, `counts` (ground, window) is True
    where the station's record had run for a year by then.
    """

    et: Floats
    rain: Floats
    coefficient: Floats
    windows: NDArray[np.int64]
    counts: NDArray[np.bool_]

    @classmethod
    def of(cls, on: date, keys: list[Key], weather: list[Weather], zones: list[RootZone]) -> Past:
        """Lay the pasts out side by side."""
        first = min(w.start for w in weather)
        begins = [(w.start - first).days for w in weather]
        days = max(b + w.et.size for b, w in zip(begins, weather, strict=True))
        et, rain, coefficient = (np.full((len(keys), days), fill) for fill in (np.nan, np.nan, 0.0))
        years = range(first.year + 1, on.year)
        windows = np.array([(same_day(on, year) - first).days for year in years], dtype=np.int64)
        counts = np.zeros((len(keys), len(windows)), bool)
        for i, (key, w, begin, zone) in enumerate(zip(keys, weather, begins, zones, strict=True)):
            own = slice(begin, begin + w.et.size)
            et[i, own], rain[i, own] = w.et, w.rain
            of_year, _ = calendar(w.start, w.et.size)
            coefficient[i, own] = _coefficient(zone, of_year, w.start, key[3])
            counts[i] = (np.array(years) > w.start.year) & (windows + AHEAD <= own.stop)
        return cls(et[:, None], rain[:, None], coefficient[:, None], windows, counts)
