"""Indices of the air where cattle stand, now and in the days ahead, and the classes that they fall in."""

from __future__ import annotations

from dataclasses import dataclass, replace
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
COLD_UP_TO = 59.0  # degF: the highest critical temperature of a coat; humidity decides about heat above it only


@dataclass(frozen=True)
class Now:
    """Indices of the air as given, (place,); NaN where it was not.

    `stirred` is the climate index with the usual wind where none was given; `dark`: no sun was given, and it is cold.
    `driest`, `dampest`: no humidity was given, and that air is taken, as too hot, or no stress, all the same.
    """

    thi: Floats
    adjusted: Floats
    climate: Floats
    stirred: Floats
    shade: Floats
    heat_index: Floats
    chill: Floats
    night_thi: Floats
    temperature: Floats
    dark: Bools
    driest: Bools
    dampest: Bools

    @property
    def known(self) -> Bools:
        """(place,) the air was read: cold is judged by temperature and wind alone."""
        return ~np.isnan(self.temperature)


def air_now(table: Table, facts: Facts, c: Classes) -> Now:
    """The air as given. Humidity that is not given and does not decide is that of the driest or the dampest air."""
    t = (table.number("temperature") - 32) / 1.8
    silent = ~table.known("humidity") & ~table.known("dewpoint") & (table.number("temperature") > COLD_UP_TO)
    least = np.full(len(table), facts.value("weather/livestock.driest_air"))
    dew = (facts.value("weather/livestock.dampest_air") - 32) / 1.8
    most = np.minimum(psychrometrics.relative_humidity(t, np.full(len(table), dew)), 1.0)
    dry, damp = (_air(table, facts, np.where(silent, taken, np.nan)) for taken in (least, most))
    stands = np.minimum(livestock.class_number(dry.climate, c.heat), livestock.class_number(dry.stirred, c.heat))
    driest = silent & ((stands >= c.stop_heat) | (livestock.class_number(dry.thi, c.thi) >= c.act_thi))
    calm = (livestock.class_number(damp.climate, c.heat) < c.act_heat) & (damp.thi < c.thi[0])
    dampest = silent & calm & ~driest
    now = _air(table, facts, np.where(driest, least, np.where(dampest, most, np.nan)))
    return replace(now, driest=driest, dampest=dampest)


def _air(table: Table, facts: Facts, taken: Floats) -> Now:
    """Wind that is not given is calm, sun a clear afternoon's in heat and none in cold; humidity `taken` likewise."""
    t = (table.number("temperature") - 32) / 1.8
    dew = (table.number("dewpoint") - 32) / 1.8
    from_dew = np.minimum(psychrometrics.relative_humidity(t, dew), 1.0)
    humid = np.where(table.known("humidity"), table.number("humidity"), from_dew)
    humid = np.where(np.isnan(humid), taken, humid)
    wind = np.nan_to_num(table.number("wind")) * MPH
    usual = np.where(table.known("wind"), wind, facts.value("weather/rain.usual_wind"))
    dark = ~table.known("radiation") & (table.number("temperature") <= COLD_UP_TO)
    guess = np.where(dark, 0.0, facts.value("weather/livestock.daylight_sun"))
    sun = np.where(table.known("radiation"), table.number("radiation"), guess)
    thi = livestock.temperature_humidity_index(t, humid)
    night = (table.number("night_low") - 32) / 1.8
    vapour = humid * psychrometrics.saturation_vapour_pressure(t)
    night_thi = livestock.temperature_humidity_index(night, psychrometrics.humidity_at(night, vapour))
    held = np.clip(t, *livestock.RANGE)  # worse air is at least as bad as that of the range's end
    shade = livestock.comprehensive_climate_index(held, humid, wind, sun * facts.value("weather/livestock.shade_share"))
    climate = livestock.comprehensive_climate_index(held, humid, wind, sun)
    stirred = livestock.comprehensive_climate_index(held, humid, usual, sun)
    return Now(
        thi,
        livestock.adjusted_index(thi, wind, sun),
        climate,
        stirred,
        shade,
        human.heat_index(t, humid) * 1.8 + 32,
        human.wind_chill(t, wind) * 1.8 + 32,
        night_thi,
        t,
        dark,
        np.zeros(len(table), bool),
        np.zeros(len(table), bool),
    )


@dataclass(frozen=True)
class Classes:
    """Class tables of the indices and the numbers from which to act."""

    heat_names: list[str]
    heat: list[float]
    cold_names: list[str]
    cold: list[float]
    cold_wet: list[float]
    thi_names: list[str]
    thi: list[float]
    act_heat: int
    act_cold: int
    act_thi: int
    stop_heat: int

    @property
    def hot(self) -> float:
        """Climate index from which cattle are given relief and worked in the early morning only [degC]."""
        return self.heat[self.act_heat - 1]

    @property
    def dire(self) -> float:
        """Climate index from which cattle are not worked at all [degC]."""
        return self.heat[self.stop_heat - 1]


def class_tables(facts: Facts) -> Classes:
    heat_names, heat = livestock.class_names(facts["weather/livestock.cci_heat"])
    scale = facts["weather/livestock.cold_deficit"]
    cold_names, cold = livestock.class_names(scale)
    wet = [float(v) for v in scale.column("wet_from")[1:]]
    thi_names, thi = livestock.class_names(facts["weather/livestock.thi_classes"])
    rule = facts["weather/livestock.act_class"]
    act = dict(zip(rule.column("scale"), rule.column("class"), strict=True))
    return Classes(
        heat_names,
        heat,
        cold_names,
        cold,
        wet,
        thi_names,
        thi,
        heat_names.index(act["heat"]),
        cold_names.index(act["cold"]),
        thi_names.index(act["thi"]),
        heat_names.index(facts["weather/livestock.stop_class"].text),
    )


@dataclass(frozen=True)
class Ahead:
    """The coming days: from the forecast where there is one, else from past years. Shapes (place, draw, day).

    `chill` is the night's wind chill [degF], the air alone behind a windbreak; `first_hot` the hour of the sun from
    which it is too hot to work cattle.

    `hot_hours` are hours of the day in the classes from which to act; `forecast` (place, day) marks days that are
    forecast, `hours` (place, day, class) their hours in each class of heat; NaN where nothing is known.
    """

    climate: Floats
    tmax: Floats
    recovery: Floats
    chill: Floats
    first_hot: Floats
    hot_hours: Floats
    forecast: Bools
    hours: NDArray[np.int64]
    known: Bools


def _indices(facts: Facts, classes: Classes, air: dict[str, Any]) -> HerdDays:
    return herd_days(
        bounds=classes.heat,
        hot=classes.hot,
        recovery_index=facts.value("weather/livestock.thi_recovery"),
        shade_share=facts.value("weather/livestock.shade_share"),
        **air,
    )


def _drawn(context: Context, classes: Classes, horizon: int) -> tuple[HerdDays, Floats, Floats] | None:
    """Indices of the past years' coming days, (station, year, day), with their highest and lowest temperature."""
    out, facts = context.outlook, context.facts
    if not out.has_weather or out.windows is None:
        return None
    tmax, tmin = out.daily("tmax")[..., : horizon + 1], out.daily("tmin")[..., : horizon + 1]
    air = station_air(
        out.records,
        out.windows.stations,
        usual_wind=facts.value("weather/rain.usual_wind"),
        usual_latitude=facts.value("weather/livestock.latitude_unknown"),
    )
    of_year, month = calendar(context.on, horizon)
    high, low, after = tmax[..., :horizon], tmin[..., :horizon], tmin[..., 1:]
    latitude = air.latitude[:, None, None]
    top = radiation.extraterrestrial_daily(latitude, of_year)
    clear = radiation.clear_sky(top, air.elevation_m[:, None, None])
    found = _indices(
        facts,
        classes,
        {
            "tmax": high,
            "tmin": low,
            "tmin_next": after,
            "vapour_pressure": air.vapour_pressure(high, low, month),
            "wind": air.wind[:, None, month],
            "solar": radiation.from_temperature(high, low, top, clear=clear),
            "latitude": latitude,
            "day": of_year,
        },
    )
    return found, high, low


def _latitudes(table: Table, context: Context) -> Floats:
    """(place,) latitude of each place's station, or the stand-in."""
    unknown = context.facts.value("weather/livestock.latitude_unknown")
    records = context.outlook.records
    found = [records[s].latitude if s in records else np.nan for s in table.text("station")]
    return np.where(np.isfinite(found), found, unknown)


def _told(table: Table, context: Context, classes: Classes, horizon: int) -> tuple[HerdDays, Floats, Floats]:
    """Indices, highest and lowest temperature of the forecast days, (place, day); NaN without a forecast."""
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
        np.isnan(given["humidity"]),
        psychrometrics.saturation_vapour_pressure(low),
        given["humidity"] * psychrometrics.saturation_vapour_pressure(high),
    )
    wind = np.where(np.isnan(given["wind"]), facts.value("weather/rain.usual_wind"), given["wind"] * MPH)
    with np.errstate(invalid="ignore"):
        found = _indices(
            facts,
            classes,
            {
                "tmax": high,
                "tmin": low,
                "vapour_pressure": vapour,
                "wind": wind,
                "solar": radiation.from_temperature(high, low, top, clear=radiation.clear_sky(top, 0.0)),
                "latitude": latitude,
                "day": of_year,
            },
        )
    return found, high, low


def _by_day(days: tuple[HerdDays, Floats, Floats], classes: Classes) -> list[Floats]:
    """What `Ahead` keeps of days, in its order, and the night's lowest temperature [degF] last."""
    found, high, low = days
    hot_hours = found.hours[..., classes.act_heat :].sum(axis=-1)
    kept = (found.climate_high, high, found.recovery, found.chill, found.first_hot_hour, hot_hours, low * 1.8 + 32)
    return [np.asarray(values, dtype=np.float64) for values in kept]


def days_ahead(table: Table, context: Context, classes: Classes) -> Ahead:
    """The coming week of each row."""
    horizon = int(context.facts.value("weather/livestock.days_ahead"))
    told = _told(table, context, classes, horizon)
    forecast = ~np.isnan(told[1])
    ours = _by_day(told, classes)
    drawn = _drawn(context, classes, horizon)
    if drawn is None:
        blocks = [np.where(forecast, values, np.nan)[:, None, :] for values in ours]
    else:
        pick = np.ix_(context.outlook.station_rows(table.text("station")), context.outlook.year_of_draw)
        blocks = [
            np.where(forecast[:, None, :], values[:, None, :], before[pick])
            for values, before in zip(ours, _by_day(drawn, classes), strict=True)
        ]
    climate, tmax, recovery, chill, first_hot, hot_hours, air = blocks
    chill = np.where(table.flag("shelter")[:, None, None], air, np.fmin(air, chill))
    known = np.asarray(forecast.any(axis=1)) | (drawn is not None)
    return Ahead(climate, tmax, recovery, chill, first_hot, hot_hours, forecast, told[0].hours, known)


def intake_lost(facts: Facts, temperature: Floats, cool_nights: Bools) -> Floats:
    """Share of intake lost at a day's temperature [degC]; the printed steps are straight lines over a few degrees."""
    fact, half = facts["weather/livestock.intake_heat"], facts.value("weather/livestock.intake_step")
    steps = np.array(fact.column("from"), dtype=np.float64)[1:]
    ends = np.ravel(np.stack([steps - half, steps + half], axis=1))
    warm = np.nan_to_num(temperature, nan=-99.0)
    cooled, uncooled = (
        np.interp(warm, ends, np.repeat(np.array(fact.column(name), dtype=np.float64), 2)[1:-1])
        for name in ("night_cooling", "no_night_cooling")
    )
    return np.where(cool_nights, cooled, uncooled)
