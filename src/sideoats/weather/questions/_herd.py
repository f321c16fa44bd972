"""What the herd question reckons before it decides: indices of the air now, of the days ahead, and their classes."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.facts import Facts
from sideoats.question import Context, Table
from sideoats.weather import human, livestock, psychrometrics, radiation
from sideoats.weather.herd_days import HerdDays, herd_days
from sideoats.weather.station_air import calendar, station_air

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
MPH = 0.44704


@dataclass(frozen=True)
class Now:
    """Indices of the air as given, (place,); NaN where it was not. `dark`: no sun was given, and it is cold."""

    thi: Floats
    adjusted: Floats
    climate: Floats
    shade: Floats
    heat_index: Floats
    chill: Floats
    night_thi: Floats
    temperature: Floats
    dark: Bools


def air_now(table: Table, facts: Facts, classes: Classes) -> Now:
    """The air as given. Wind that is not given is calm; sun is a clear afternoon's in heat and none in cold."""
    t = (table.number("temperature") - 32) / 1.8
    dew = (table.number("dewpoint") - 32) / 1.8
    from_dew = np.minimum(psychrometrics.relative_humidity(t, dew), 1.0)
    humid = np.where(table.known("humidity"), table.number("humidity"), from_dew)
    wind = np.nan_to_num(table.number("wind")) * MPH
    without_sun = -livestock.comprehensive_climate_index(t, humid, wind, 0.0)
    dark = ~table.known("radiation") & (without_sun >= min(classes.cold_hardy[0], classes.cold_susceptible[0]))
    guess = np.where(dark, 0.0, facts.value("weather/livestock.daylight_sun"))
    sun = np.where(table.known("radiation"), table.number("radiation"), guess)
    thi = livestock.temperature_humidity_index(t, humid)
    night = (table.number("night_low") - 32) / 1.8
    vapour = humid * psychrometrics.saturation_vapour_pressure(t)
    night_thi = livestock.temperature_humidity_index(night, psychrometrics.humidity_at(night, vapour))
    shade = livestock.comprehensive_climate_index(t, humid, wind, sun * facts.value("weather/livestock.shade_share"))
    climate = livestock.comprehensive_climate_index(t, humid, wind, sun)
    return Now(
        thi, livestock.adjusted_index(thi, wind, sun), climate, shade,
        human.heat_index(t, humid) * 1.8 + 32, human.wind_chill(t, wind) * 1.8 + 32, night_thi, t, dark,
    )  # fmt: skip


@dataclass(frozen=True)
class Classes:
    """Class tables of the indices and the numbers from which to act."""

    heat_names: list[str]
    heat: list[float]
    cold_names: list[str]
    cold_hardy: list[float]
    cold_susceptible: list[float]
    thi_names: list[str]
    thi: list[float]
    act_heat: int
    act_cold: int
    act_thi: int

    @property
    def hot(self) -> float:
        """Climate index from which cattle are not worked [degC]."""
        return self.heat[self.act_heat - 1]


def class_tables(facts: Facts) -> Classes:
    heat_names, heat = livestock.class_names(facts["weather/livestock.cci_heat"])
    cold_names, hardy = livestock.class_names(facts["weather/livestock.cci_cold.hardy"])
    _, tender = livestock.class_names(facts["weather/livestock.cci_cold.susceptible"])
    thi_names, thi = livestock.class_names(facts["weather/livestock.thi_classes"])
    rule = facts["weather/livestock.act_class"]
    act = dict(zip(rule.column("scale"), rule.column("class"), strict=True))
    return Classes(
        heat_names, heat, cold_names, hardy, tender, thi_names, thi, heat_names.index(act["heat"]),
        cold_names.index(act["cold"]), thi_names.index(act["thi"]),
    )  # fmt: skip


@dataclass(frozen=True)
class Ahead:
    """The coming days: from the forecast where there is one, else from past years. Shapes (place, draw, day).

    `hot_hours` are hours of the day in the classes from which to act; `forecast` (place, day) marks days that are
    forecast, `hours` (place, day, class) their hours in each class of heat; NaN where nothing is known.
    """

    climate: Floats
    coldest: Floats
    tmax: Floats
    recovery: Floats
    first_hot: Floats
    hot_hours: Floats
    forecast: Bools
    hours: NDArray[np.int64]
    known: Bools


def _indices(facts: Facts, classes: Classes, air: dict[str, Any]) -> HerdDays:
    return herd_days(
        bounds=classes.heat, hot=classes.hot, recovery_index=facts.value("weather/livestock.thi_recovery"),
        shade_share=facts.value("weather/livestock.shade_share"), **air,
    )  # fmt: skip


def _drawn(context: Context, classes: Classes, horizon: int) -> tuple[HerdDays, Floats] | None:
    """Indices of the past years' coming days, (station, year, day), and their tmax."""
    out, facts = context.outlook, context.facts
    if not out.has_weather or out.windows is None:
        return None
    tmax, tmin = out.daily("tmax")[..., : horizon + 1], out.daily("tmin")[..., : horizon + 1]
    air = station_air(
        out.records, out.windows.stations, usual_wind=facts.value("weather/rain.usual_wind"),
        usual_latitude=facts.value("weather/livestock.latitude_unknown"),
    )  # fmt: skip
    of_year, month = calendar(context.on, horizon)
    high, low, after = tmax[..., :horizon], tmin[..., :horizon], tmin[..., 1:]
    latitude = air.latitude[:, None, None]
    top = radiation.extraterrestrial_daily(latitude, of_year)
    clear = radiation.clear_sky(top, air.elevation_m[:, None, None])
    found = _indices(facts, classes, {
        "tmax": high, "tmin": low, "tmin_next": after, "vapour_pressure": air.vapour_pressure(high, low, month),
        "wind": air.wind[:, None, month], "solar": radiation.from_temperature(high, low, top, clear=clear),
        "latitude": latitude, "day": of_year,
    })  # fmt: skip
    return found, high


def _latitudes(table: Table, context: Context) -> Floats:
    """(place,) latitude of each place's station, or the stand-in."""
    unknown = context.facts.value("weather/livestock.latitude_unknown")
    records = context.outlook.records
    found = [records[s].latitude if s in records else np.nan for s in table.text("station")]
    return np.where(np.isfinite(found), found, unknown)


def _told(table: Table, context: Context, classes: Classes, horizon: int) -> tuple[HerdDays, Floats]:
    """Indices of the forecast days, (place, day), NaN where there is no forecast."""
    facts = context.facts
    names = ("high", "low", "humidity", "wind")
    given = {name: np.full((len(table), horizon), np.nan) for name in names}
    for row, days in enumerate(table.rows("forecast")):
        for day in days or ():
            at = (day["date"] - context.on).days
            if 0 <= at < horizon:
                for name in names:
                    given[name][row, at] = np.nan if day.get(name) is None else day[name]
    high, low = (given["high"] - 32) / 1.8, (given["low"] - 32) / 1.8
    of_year, _ = calendar(context.on, horizon)
    latitude = _latitudes(table, context)[:, None]
    top = radiation.extraterrestrial_daily(latitude, of_year)
    vapour = np.where(
        np.isnan(given["humidity"]), psychrometrics.saturation_vapour_pressure(low),
        given["humidity"] * psychrometrics.saturation_vapour_pressure(high),
    )  # fmt: skip
    wind = np.where(np.isnan(given["wind"]), facts.value("weather/rain.usual_wind"), given["wind"] * MPH)
    with np.errstate(invalid="ignore"):
        found = _indices(facts, classes, {
            "tmax": high, "tmin": low, "vapour_pressure": vapour, "wind": wind,
            "solar": radiation.from_temperature(high, low, top, clear=radiation.clear_sky(top, 0.0)),
            "latitude": latitude, "day": of_year,
        })  # fmt: skip
    return found, high


def _by_day(found: HerdDays, classes: Classes) -> list[Floats]:
    """What `Ahead` keeps of indices by day, in its order."""
    hot_hours = found.hours[..., classes.act_heat :].sum(axis=-1)
    kept = (found.climate_high, found.climate_low, found.recovery, found.first_hot_hour, hot_hours)
    return [np.asarray(values, dtype=np.float64) for values in kept]


def days_ahead(table: Table, context: Context, classes: Classes) -> Ahead:
    horizon = int(context.facts.value("weather/livestock.days_ahead"))
    told, high = _told(table, context, classes, horizon)
    forecast = ~np.isnan(high)
    drawn = _drawn(context, classes, horizon)
    ours = _by_day(told, classes)
    if drawn is None:
        blocks = [np.where(forecast, values, np.nan)[:, None, :] for values in ours]
        warm = high[:, None, :]
        known = np.asarray(forecast.any(axis=1))
    else:
        past, past_high = drawn
        pick = np.ix_(context.outlook.station_rows(table.text("station")), context.outlook.year_of_draw)
        known = np.ones(len(table), bool)
        blocks = [
            np.where(forecast[:, None, :], values[:, None, :], before[pick])
            for values, before in zip(ours, _by_day(past, classes), strict=True)
        ]
        warm = np.where(forecast[:, None, :], high[:, None, :], past_high[pick])
    climate, coldest, recovery, first_hot, hot_hours = blocks
    return Ahead(climate, coldest, warm, recovery, first_hot, hot_hours, forecast, told.hours, known)


def intake_lost(facts: Facts, temperature: Floats, cool_nights: Bools) -> Floats:
    """Share of intake lost at a day's temperature [degC]."""
    fact = facts["weather/livestock.intake_heat"]
    at = np.maximum(np.searchsorted(np.array(fact.column("from")), np.nan_to_num(temperature, nan=-99), "right") - 1, 0)
    cooled, uncooled = np.array(fact.column("night_cooling")), np.array(fact.column("no_night_cooling"))
    return np.where(cool_nights, cooled[at], uncooled[at])


@dataclass
class Judged:
    """Everything the texts need, one row a place."""

    table: Table
    context: Context
    classes: Classes
    now: Now
    ahead: Ahead
    heat_now: NDArray[np.int64] = field(init=False)
    cold_now: NDArray[np.int64] = field(init=False)
    thi_now: NDArray[np.int64] = field(init=False)
    bad_now: Bools = field(init=False)
    first_bad: NDArray[np.int64] = field(init=False)
    sure: Bools = field(init=False)
    chance_hot: Floats = field(init=False)
    chance_cold: Floats = field(init=False)
    work_barred: Bools = field(init=False)

    def __post_init__(self) -> None:
        c, now = self.classes, self.now
        self.heat_now = livestock.class_number(now.climate, c.heat)
        tender = self.table.flag("susceptible")
        self.cold_now = np.where(
            tender, livestock.class_number(-now.climate, c.cold_susceptible),
            livestock.class_number(-now.climate, c.cold_hardy),
        )  # fmt: skip
        self.thi_now = livestock.class_number(now.thi, c.thi)
        hot_now = (self.heat_now >= c.act_heat) | (self.thi_now >= c.act_thi)
        self.bad_now = hot_now | (self.cold_now >= c.act_cold)
        cold_from = np.where(tender, c.cold_susceptible[c.act_cold - 1], c.cold_hardy[c.act_cold - 1])[:, None, None]
        with np.errstate(invalid="ignore"):
            hot, cold = self.ahead.climate >= c.hot, -self.ahead.coldest >= cold_from
        self.chance_hot, self.chance_cold = hot.any(axis=2).mean(axis=1), cold.any(axis=2).mean(axis=1)
        sure = (hot | cold).all(axis=1) & self.ahead.forecast
        self.first_bad = np.where(self.bad_now, 0, np.where(sure.any(axis=1), np.argmax(sure, axis=1), -1))
        self.sure = sure
        hot_today = hot_now | (hot.all(axis=1) & self.ahead.forecast)[:, 0]
        self.work_barred = self.table.flag("work") & hot_today

    @property
    def stop_hour(self) -> Floats:
        """(place,) solar hour from which cattle are not to be worked, today or on the first bad day; NaN for none."""
        day = np.maximum(self.first_bad, 0)
        first = self.ahead.first_hot[np.arange(len(day)), :, day]
        count = (~np.isnan(first)).sum(axis=1)
        usual = np.sort(first, axis=1)[np.arange(len(first)), np.maximum(count - 1, 0) // 2]
        return np.where(count > first.shape[1] / 2, usual, np.nan)

    @property
    def nights(self) -> Floats:
        """(place,) nights of the coming week without hours enough of relief, in the middle future."""
        least = self.context.facts.value("weather/livestock.recovery_hours")
        with np.errstate(invalid="ignore"):
            short = (self.ahead.recovery < least).sum(axis=2)
        return np.asarray(np.median(short, axis=1), dtype=np.float64)

    @property
    def hot_hours(self) -> Floats:
        """(place,) hours of the coming week in the classes of heat from which to act, in the middle future."""
        return np.asarray(np.median(np.nan_to_num(self.ahead.hot_hours).sum(axis=2), axis=1), dtype=np.float64)

    def last_bad(self, row: int) -> int:
        """Last day of the run of forecast bad days that begins on `first_bad`."""
        day = max(int(self.first_bad[row]), 0)
        while day + 1 < self.sure.shape[1] and self.sure[row, day + 1]:
            day += 1
        return day


def coats_of(table: Table, context: Context) -> tuple[NDArray[np.object_], Floats]:
    """Coat of each row and its lower critical temperature [degF]."""
    facts = context.facts
    by_month = facts["weather/livestock.coat_by_month"].column("coat")[context.on.month - 1]
    coats = np.array([str(c) or by_month for c in table.text("coat")], dtype=object)
    _, fact = facts.choose("weather/coat")
    critical = dict(zip(fact.column("coat"), fact.column("critical"), strict=True))
    return coats, np.array([critical[str(c)] for c in coats], dtype=np.float64)


def extra_feed(table: Table, context: Context, judged: Judged) -> tuple[NDArray[np.object_], Floats, Floats, Floats]:
    """Coat, critical temperature and effective temperature [degF], extra maintenance energy as a share."""
    facts = context.facts
    coats, critical = coats_of(table, context)
    open_air = judged.now.temperature * 1.8 + 32
    effective = np.where(table.flag("shelter"), open_air, judged.now.chill)
    wet = np.array([str(c) == "wet" for c in coats])
    rate = np.where(wet, facts.value("weather/livestock.cold_energy_wet"), facts.value("weather/livestock.cold_energy"))
    return coats, critical, effective, livestock.cold_feed_energy(effective, critical, rate)
