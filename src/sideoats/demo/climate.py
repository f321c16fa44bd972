"""A seeded generator of plausible daily weather for an invented station in dryland wheat-and-cattle country.

Every parameter is invented to look like a continental, summer-rain climate; nothing here is a measurement or a source.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Climate:
    """Yearly course of an invented station: means and swings in degC, chances of rain, mm on a wet day."""

    mean: float = 13.5
    swing: float = 13.8
    day_range: float = 13.5
    wet_after_dry: float = 0.17
    wet_after_wet: float = 0.38
    wet_amount: float = 8.5
    wind: float = 4.8


def daily_weather(
    climate: Climate, start: date, days: int, rng: np.random.Generator, shared: Floats
) -> dict[str, Floats]:
    """Daily tmax, tmin [degC], rain [mm], wind [m/s], humidity [0-1], solar [MJ/m2], each (days,).

    `shared` (days, 2) standard normal shocks common to neighbouring stations, so that they see the same spells.
    """
    first = start.timetuple().tm_yday
    season = 2 * np.pi * ((first + np.arange(days)) - 20) / 365.25
    warm = -np.cos(season)
    shock = 0.85 * shared[:, 0] + 0.53 * rng.standard_normal(days)
    anomaly = np.empty(days)
    state = 0.0
    for day in range(days):
        state = 0.72 * state + shock[day]
        anomaly[day] = state
    anomaly *= 3.4 - 1.1 * warm
    wet = np.zeros(days, dtype=bool)
    chance = 0.8 * rng.random(days) + 0.2 * (0.5 + 0.5 * np.tanh(shared[:, 1]))
    peak = 1 + 0.55 * np.cos(2 * np.pi * (first + np.arange(days) - 150) / 365.25)
    for day in range(days):
        after = climate.wet_after_wet if day and wet[day - 1] else climate.wet_after_dry
        wet[day] = chance[day] < 0.8 * after * peak[day] + 0.06
    rain = np.where(wet, rng.gamma(0.75, climate.wet_amount * (0.7 + 0.4 * peak) / 0.75), 0.0)
    mean = climate.mean + climate.swing * warm + anomaly
    spread = climate.day_range - 4.0 * wet + 0.8 * rng.standard_normal(days)
    clear = np.clip(0.72 - 0.33 * wet + 0.07 * rng.standard_normal(days), 0.15, 0.8)
    return {
        "tmax": np.round(mean + spread / 2, 1),
        "tmin": np.round(mean - spread / 2, 1),
        "rain": np.round(rain, 1),
        "wind": np.round(np.clip(climate.wind + 1.7 * rng.standard_normal(days), 0.4, None), 1),
        "humidity": np.round(np.clip(0.58 + 0.16 * wet - 0.05 * warm + 0.08 * rng.standard_normal(days), 0.15, 1.0), 2),
        "solar": np.round(clear * (26.0 + 12.5 * warm), 1),
    }
