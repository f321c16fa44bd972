"""A forecast as the outlook reads it, and which of several are for a station.

A forecast is for the station that it was recorded at, else for the stations that lie near its point.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any

import numpy as np

from sideoats.station import km_between

_MILE_KM = 1.609344
Row = Mapping[str, Any]


@dataclass(frozen=True)
class Forecast:
    """One forecast, its values in the units of the vocabulary (degF, inch, mph, shares).

    Attributes
    ----------
    issued : the day of its issue, by its own clock
    issued_at : the time as text
    source : who issued it
    place : the station or other place that it was recorded at, "" where its position counts
    latitude, longitude : of its point; NaN where not told
    days : day -> high, low, humidity, wind, rain_chance, rain and their quantiles, as far as they are told
    hours : rows by date and hour
    """

    issued: date
    issued_at: str
    source: str = ""
    place: str = ""
    latitude: float = math.nan
    longitude: float = math.nan
    days: Mapping[date, Mapping[str, float]] = field(default_factory=dict)
    hours: tuple[Row, ...] = ()


def kept_for(
    forecasts: Sequence[Forecast], station: str, latitude: float, longitude: float, reach_miles: float
) -> list[Forecast]:
    """The forecasts for a station: those recorded at it, else those of the point nearest to it within reach."""
    own = [f for f in forecasts if f.place == station]
    if own or math.isnan(latitude):
        return own
    placed = [f for f in forecasts if not f.place and not math.isnan(f.latitude)]
    if not placed:
        return []
    off = km_between(latitude, longitude, [f.latitude for f in placed], [f.longitude for f in placed])
    if not np.nanmin(off) <= reach_miles * _MILE_KM:
        return []
    return [f for f, km in zip(placed, off.tolist(), strict=True) if km <= np.nanmin(off) + 0.1]
