"""Coming days as the insects feel them: degree-days and growth over the outlook's draws."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.insects.growth import day_response, field_growth, response
from sideoats.question import Context, Table
from sideoats.weather.degree_days import degree_days

Floats = NDArray[np.float64]


def alike(*columns: NDArray[Any]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """First row of each distinct combination of columns, and for every row which of them it is.

    Fields under one station with larvae of one size share their coming days, which are then worked out once. Without
    `numpy.unique`, whose first use imports `numpy.ma`: an eighth of `import numpy`.
    """
    told = [(column.astype(str) if column.dtype == object else column).tolist() for column in columns]
    first: dict[tuple[Any, ...], int] = {}
    rows = [tuple(None if value != value else value for value in row) for row in zip(*told, strict=True)]
    at = [first.setdefault(row, i) for i, row in enumerate(rows)]
    place = {i: k for k, i in enumerate(first.values())}
    return np.array(list(place), np.int64), np.array([place[i] for i in at], np.int64)


def spread_to(values: Floats, at: NDArray[np.int64]) -> Floats:
    """(day, place, draw) out of what `alike` rows share, (day, row, draw); where all share one it stays one for all."""
    return values if values.shape[1] == 1 else np.take(values, at, axis=1)


def degree_days_ahead(
    table: Table, context: Context, lower: float, upper: float, days: int, *, cutoff: str = "horizontal"
) -> Floats:
    """Degree-days from today to the morning of each coming day, (day, place, draw) [degC day]; 0 on day 0.

    By a single sine from the station's past years; without a station, from a steady temperature drawn about what is
    usual in the region on that day.
    """
    out = context.outlook
    if not out.has_weather:
        region = context.region.with_air
        air = region.usual_air(context.on) + out.between("usual air", -region.either_way, region.either_way)
        half = region.swing / 2  # cool days have warm hours, in which larvae eat
        daily = degree_days(air + half, air - half, lower, upper, method="single_sine", cutoff=cutoff)
        return np.repeat(np.arange(days)[:, None, None] * daily[None, None, :], len(table), axis=1)

    def running_sums(fresh: Context) -> Floats:
        weather = fresh.outlook
        high, low = weather.daily("tmax")[..., : days - 1], weather.daily("tmin")[..., : days - 1]
        daily = np.nan_to_num(degree_days(high, low, lower, upper, method="single_sine", cutoff=cutoff))
        running = np.concatenate([np.zeros((*daily.shape[:2], 1)), np.cumsum(daily, axis=2)], axis=2)
        return np.asarray(running[:, weather.year_of_draw])

    by_draw = context.once(f"degree-days ahead {lower} {upper} {days} {cutoff}", running_sums)
    return np.asarray(by_draw[out.station_rows(table.text("station"))].transpose(2, 0, 1))


def heat_units(context: Context, station: str, days: int, base: float) -> float:
    """Heat units over `base` [degF] of so many days up to yesterday [degF day].

    From the station's own record; without one, or where it lacks days, from what is usual in the region.
    """
    record, lower = context.outlook.records.get(station), (base - 32.0) / 1.8
    region = context.region.with_air
    half = region.swing / 2
    usual = np.array([region.usual_air(context.on - timedelta(days=d)) for d in range(days, 0, -1)])
    high, low = usual + half, usual - half
    if record is not None:
        span = slice(record.index(context.on) - days, record.index(context.on))
        if span.start >= 0:
            for name, values in (("tmax", high), ("tmin", low)):
                seen = record.usable(name)[span]
                values[: len(seen)] = np.where(np.isnan(seen), values[: len(seen)], seen)
    return float(degree_days(high, low, lower).sum() * 1.8) if days else 0.0


def growth_ahead(
    table: Table, context: Context, rate: Floats, cardinal: tuple[float, float, float], reference: float, days: int
) -> tuple[Floats, Floats]:
    """Cumulative growth to the morning of each day (place, draw, day), and the rate afterwards (place, draw) [1/day].

    `rate` (draw,) or (place, draw) is the field rate at a steady `reference` temperature [degC]; each day's temperature
    scales it by the response with `cardinal` lower, optimum and upper.  Without a station the rate holds every day.
    """
    out = context.outlook
    rates = np.broadcast_to(rate, (len(table), out.draws))
    if not out.has_weather:
        return rates[..., None] * np.arange(days), rates
    horizon = days + 14
    suits = day_response(out.daily("tmin")[..., :horizon], out.daily("tmax")[..., :horizon], *cardinal)
    usual = float(response(reference, *cardinal))
    scaled = field_growth(1.0, suits, usual, most=1.0 / usual)[:, out.year_of_draw]
    own = scaled[out.station_rows(table.text("station"))]
    running = np.concatenate([np.zeros((*own.shape[:2], 1)), np.cumsum(own[..., : days - 1], axis=2)], axis=2)
    return rates[..., None] * running, rates * own[..., days - 1 :].mean(axis=2)
