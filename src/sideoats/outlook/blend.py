"""The first days of futures out of a forecast: dressed with its error, ranked as the past years are, faded into them.

Each past year of a station becomes one future. For every forecast day and element the years get the quantiles of what
the forecast says, in the order in which the same days of the years themselves lie (Schaake shuffle, Clark et al. 2004,
from memory): so stations and elements go together as they do in weather, and a year that was warm on the seventh day is
joined to a forecast that ends warm. After the last forecast day the departure fades by the station's own persistence
and is gone three days later. Rain comes by its chance first: so many of the years are wet, the wettest first, with
amounts of a gamma of the told mean, or of the station's own where no amount is told. What is not told stays the years'.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from sideoats.outlook.forecasts import Forecast
from sideoats.outlook.skill import ELEMENTS, INCH_MM, WET_MM, Skill

Floats = NDArray[np.float64]
_AROUND = 7  # days on either side over which the weather's own spread and wet days are taken
_NINE_TENTHS = 1.2815515655446004  # standard normal quantile


def ranks(values: Floats, ties: Floats) -> Floats:
    """Where each value of (year, day) stands among its day's, a share in (0, 1); equal ones in the order of `ties`."""
    order = np.lexsort((ties, values), axis=0)
    at = np.empty_like(order)
    np.put_along_axis(at, order, np.arange(len(values))[:, None].repeat(values.shape[1], axis=1), axis=0)
    return np.asarray((at + 0.5) / len(values))


def persistence(record: Floats, unknown: float) -> float:
    """Share of a day's departure that is left the next day, from a record less its usual course; NaN are left out."""
    before, after = record[:-1], record[1:]
    both = ~np.isnan(before) & ~np.isnan(after)
    if both.sum() < 2 * 365:
        return unknown
    return float(np.clip(np.corrcoef(before[both], after[both])[0, 1], 0.0, 0.95))


def blended(
    values: Mapping[str, Floats],
    on: date,
    forecast: Forecast,
    skill: Skill,
    *,
    fade: Mapping[str, float],
    ties: Floats,
    rain_shape: float,
) -> dict[str, Floats]:
    """Windows of past years that begin with a forecast.

    Parameters
    ----------
    values : ``tmax``, ``tmin`` [degC] and ``rain`` [mm], each (year, day), day 0 being `on`
    on : today
    forecast : what is expected, in degF, inches and shares
    skill : its error
    fade : ``tmax`` and ``tmin`` -> share of a departure left the next day
    ties : (year, day) numbers that settle which of several dry years is wet first; the same for every station
    rain_shape : of the gamma of amounts

    Returns
    -------
    the same shapes; lows stay under highs
    """
    out = {name: v.copy() for name, v in values.items()}
    days = [k for k in range(values["tmax"].shape[1]) if _lead(on, k, forecast) <= skill.settings["last lead"]]
    for element, name in ELEMENTS.items():
        dressed = {k: d for k in days if (d := _dressed(element, values[name], on, k, forecast, skill)) is not None}
        _join(out[name], values[name], dressed, fade[name], int(skill.settings["fade days"]))
    keep_order = values["tmin"] <= values["tmax"]
    out["tmin"] = np.where(keep_order, np.minimum(out["tmin"], out["tmax"]), out["tmin"])
    for k in days:
        rain = _rain(values["rain"], k, _told(on, k, forecast), skill, ties, rain_shape)
        if rain is not None:
            out["rain"][:, k] = rain
    return out


def _lead(on: date, k: int, forecast: Forecast) -> int:
    return (on - forecast.issued).days + k


def _told(on: date, k: int, forecast: Forecast) -> Mapping[str, float]:
    return forecast.days.get(on + timedelta(days=k), {})


def _near(values: Floats, k: int) -> Floats:
    return values[:, max(k - _AROUND, 0) : k + _AROUND + 1]


def _dressed(element: str, values: Floats, on: date, k: int, forecast: Forecast, skill: Skill) -> Floats | None:
    """(year,) the forecast of day k with its error, in the order of the years' own values of that day."""
    from scipy.special import stdtrit  # takes longer than the answer where no forecast is on file

    told = _told(on, k, forecast)
    if element not in told:
        return None
    near = _near(values, k)
    usual, sd = float(near.mean()), float((near - near.mean(axis=0)).std() * np.sqrt(len(near) / max(len(near) - 1, 1)))
    u = ranks(values[:, [k]], np.zeros((len(values), 1)))[:, 0]
    freedom = skill.settings["tails"]
    unit = stdtrit(freedom, u) * np.sqrt((freedom - 2) / freedom)
    at = (told[element] - 32) / 1.8
    low, high = told.get(f"{element}_10"), told.get(f"{element}_90")
    if low is not None and high is not None and high > low:
        return np.asarray(at + unit * (high - low) / 1.8 / (2 * _NINE_TENTHS))
    line = skill.line(element, max(_lead(on, k, forecast), 1), sd)
    return np.asarray(usual + line.a + line.b * (at - usual) + line.sd * unit)


def _join(out: Floats, before: Floats, dressed: Mapping[int, Floats], fade: float, days: int) -> None:
    """Put the dressed days in, and let the departure of the nearest fade over the days beside them."""
    if not dressed:
        return
    moved = {k: v - before[:, k] for k, v in dressed.items()}
    for k in range(min(max(moved) + days, before.shape[1] - 1) + 1):
        nearest = min(moved, key=lambda at: (abs(at - k), at))
        off = abs(nearest - k)
        if off <= days:
            out[:, k] = before[:, k] + fade**off * moved[nearest]


def _rain(values: Floats, k: int, told: Mapping[str, float], skill: Skill, ties: Floats, shape: float) -> Floats | None:
    """(year,) rain of day k [mm]; None where no chance is told."""
    if "rain_chance" not in told:
        return None
    from scipy.special import gammaincinv

    chance = float(np.clip(told["rain_chance"] * skill.rain, 0.0, 1.0))
    u = ranks(values[:, [k]], ties[:, [k]])[:, 0]
    wet = u > 1 - chance
    if not wet.any():
        return np.zeros(len(values))
    near = _near(values, k)
    own = near[near >= WET_MM]
    mean = float(own.mean()) if own.size else WET_MM / shape
    if "rain" in told and chance > 0:
        mean = max(told["rain"] * INCH_MM / chance, WET_MM)
    within = np.clip((u - (1 - chance)) / chance, 0.0, 1 - 1e-9)
    amount = np.maximum(gammaincinv(shape, np.where(wet, within, 0.5)) * mean / shape, WET_MM)
    return np.where(wet, amount, 0.0)
