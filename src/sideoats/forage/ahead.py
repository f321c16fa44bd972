"""Hazards of standing forage that find themselves: frost in a forecast or in the station's past years, a record that is
dry, and the day on which cattle are to go on; so that a warning stands in the week days ahead of the night.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.facts import Facts
from sideoats.forage.drought import dry_by_place
from sideoats.question import Context, Table

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True)
class Ahead:
    """What comes, (n,) each.

    Attributes
    ----------
    frost : days until the first night of frost that is forecast, or by whose date it is likely; NaN where none is
    low : [degF] of that night in the forecast; NaN without one
    chance : share of the station's futures with frost in the days looked ahead; NaN without a record or in them
    dressed : the futures begin with a forecast
    turnout : days until cattle are to go on; NaN not known
    near : they are to go on within the days looked ahead
    dry : the station's record is dry
    """

    frost: Floats
    low: Floats
    chance: Floats
    turnout: Floats
    near: Bools
    dry: Bools
    dressed: Bools


def frost_bound(facts: Facts) -> tuple[float, float]:
    """[degF] at or under which a forecast low is frost on the ground, and a station's minimum is frost."""
    return facts.value("forage/prussic.forecast_frost"), facts.value("forage/prussic.frost")


def ahead(table: Table, context: Context) -> Ahead:
    """All of it. A forecast that reaches as far as the days looked ahead speaks before the past years do.

    Where the station's futures begin with a forecast they hold its error, and so speak beside it: a low forecast a few
    degrees over frost is no clear week.
    """
    facts, n = context.facts, len(table)
    (_, nights_ahead), (_, likely) = facts["forage/prussic.ahead"].rows
    days = int(nights_ahead)
    on_ground, at_station = frost_bound(facts)
    night, low, reach = (np.full(n, np.nan) for _ in range(3))
    for i, told in enumerate(table.rows("forecast")):
        nights = sorted(_nights(told or (), context))
        reach[i] = max((day for day, _ in nights), default=np.nan)
        night[i], low[i] = next(((day, at) for day, at in nights if at <= on_ground), (np.nan, np.nan))
    chance = _chance(table, context, days, (at_station - 32) / 1.8)
    dressed = np.array([i in table.expected for i in range(n)], dtype=bool)
    by_years = (chance >= likely) & (dressed | ~(reach >= days - 1))
    turnout = table.days_until("turnout", context.on)
    return Ahead(
        np.where(np.isnan(night) & by_years, float(days), night),
        low,
        np.where(by_years, chance, np.nan),
        turnout,
        np.asarray((turnout >= 0) & (turnout <= days)),
        dry_by_place(table.text("station"), context.outlook.records, context.on, facts),
        dressed,
    )


def _nights(told: Any, context: Context) -> list[tuple[float, float]]:
    """(days from today, low [degF]) of the days of a forecast that are not past."""
    nights = [(float((day["date"] - context.on).days), float(day["low"])) for day in told]
    return [each for each in nights if each[0] >= 0]


def _chance(table: Table, context: Context, days: int, threshold_degc: float) -> Floats:
    """(n,) share of the past years of each place's station with a minimum at or under the threshold in so many days."""
    out = context.outlook
    if not out.has_weather:
        return np.full(len(table), np.nan)
    lows = out.daily("tmin")[..., :days]
    seen = np.asarray(np.nanmin(np.where(np.isnan(lows), np.inf, lows), axis=2) <= threshold_degc)
    return np.asarray(seen.mean(axis=1)[out.station_rows(table.text("station"))], dtype=np.float64)
