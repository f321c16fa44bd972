"""Freezes: first and last by threshold, their probabilities, days to the next one; vernalisation.

A record in whole degF kept in tenths of degC stores 28 degF (-2.222) as -2.2: every comparison therefore allows `slack`
of 0.05 degC, half the step of the record.

References
----------
.. [1] NOAA freeze/frost probabilities: in spring the chance that a threshold is reached later than a date, in fall
   earlier than a date; years without a freeze enter as a separate chance (definitions read).
.. [2] I.I. Gringorten, A plotting rule for extreme probability paper, J. Geophys. Res. 68:813-814, 1963 (from memory).
.. [3] H.C.S. Thom, R.H. Shaw, Climatological analysis of freeze data for Iowa, Mon. Weather Rev. 86:251-257, 1958
   (normal dates; from memory).
.. [4] E. Wang, T. Engel, Simulation of phenological development of wheat crops, Agric. Syst. 58:1-24, 1998 (beta
   response; cardinal temperatures from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sideoats.weather.arrays import Floats, floats

SLACK = 0.05


@dataclass(frozen=True)
class FreezeDays:
    """Day of the freeze in each year, counted from the first day of the window.

    `day` is NaN where there is none; `none` marks years that surely had no freeze; `unknown` years whose missing days
    could hide the answer. A year is exactly one of the three.
    """

    day: Floats
    none: NDArray[np.bool_]
    unknown: NDArray[np.bool_]


def first_freeze(tmin: ArrayLike, threshold: float, *, slack: float = SLACK) -> FreezeDays:
    """First day at or below a threshold, along the last axis of (..., year, day).

    A missing day before that first freeze makes the year unknown: it may have been earlier.

    Parameters
    ----------
    tmin : daily minimum [degC]
    threshold : [degC]
    """
    low = floats(tmin)
    cold = low <= threshold + slack
    gone = np.isnan(low)
    happened = cold.any(axis=-1)
    day = np.where(happened, np.argmax(cold, axis=-1), low.shape[-1])
    early_gap = np.where(gone.any(axis=-1), np.argmax(gone, axis=-1), low.shape[-1]) < day
    return FreezeDays(floats(np.where(happened & ~early_gap, day, np.nan)), ~happened & ~early_gap, early_gap)


def last_freeze(tmin: ArrayLike, threshold: float, *, slack: float = SLACK) -> FreezeDays:
    """Last day at or below a threshold, along the last axis of (..., year, day); see `first_freeze`."""
    low = floats(tmin)
    back = first_freeze(low[..., ::-1], threshold, slack=slack)
    return FreezeDays(low.shape[-1] - 1 - back.day, back.none, back.unknown)


@dataclass(frozen=True)
class FreezeChances:
    """Quantiles of a freeze date over years.

    `shares` are chances, `days` the day (counted from the window's first) by which a freeze has come with that chance,
    NaN where fewer than that share of years have one; `chance` is the share of years with a freeze at all.
    """

    shares: Floats
    days: Floats
    chance: float
    years: int
    unknown: int


def freeze_chances(
    found: FreezeDays, shares: ArrayLike = (0.1, 0.5, 0.9), *, method: str = "empirical"
) -> FreezeChances:
    """Days by which a freeze has come with given chances, from one station's years.

    The share of years without a freeze is set apart [1], the dates of the others are ranked with Gringorten's plotting
    positions (``empirical`` [2], straight lines between them, NaN beyond the extreme years) or taken as ``normal`` [3].
    Unknown years are left out.

    Parameters
    ----------
    found : years along one axis
    shares : chances, 0 to 1, over all years
    """
    wanted = floats(shares).reshape(-1)
    day = np.sort(found.day[~np.isnan(found.day)])
    years = int((~found.unknown).sum())
    chance = day.size / years if years else np.nan
    with np.errstate(invalid="ignore"):
        inside = wanted / chance if chance else np.full(wanted.shape, np.nan)
    if method == "normal":
        from scipy.special import ndtri

        spread = day.std(ddof=1) if day.size > 1 else np.nan
        at = day.mean() + spread * ndtri(np.where(inside < 1, inside, np.nan)) if day.size else inside * np.nan
    else:
        rank = np.arange(1, day.size + 1)
        position = (rank - 0.44) / (day.size + 0.12)
        at = np.interp(inside, position, day, left=np.nan, right=np.nan) if day.size else inside * np.nan
    return FreezeChances(wanted, floats(at), float(chance), years, int(found.unknown.sum()))


def season_days(last_spring: ArrayLike, first_fall: ArrayLike) -> Floats:
    """Days strictly between the last freeze of spring and the first of fall, both counted from the same day."""
    return floats(first_fall) - floats(last_spring) - 1


def days_until_freeze(tmin: ArrayLike, threshold: float, *, slack: float = SLACK) -> NDArray[np.int64]:
    """Days from today to the first day at or below a threshold, along the last axis of (..., day); -1 for none.

    For the draws of the outlook, whose days have no gaps.
    """
    cold = floats(tmin) <= threshold + slack
    return np.where(cold.any(axis=-1), np.argmax(cold, axis=-1), -1).astype(np.int64)


def vernalisation_rate(temperature: ArrayLike, *, minimum: float, optimum: float, maximum: float) -> Floats:
    """Effectiveness of a day for vernalisation, 0 to 1 at the optimum: Wang and Engel's beta response [4].

    Parameters
    ----------
    temperature : daily mean at the growing point [degC]
    minimum, optimum, maximum : cardinal temperatures [degC]
    """
    t = floats(temperature)
    power = np.log(2) / np.log((maximum - minimum) / (optimum - minimum))
    inside = (t >= minimum) & (t <= maximum)
    above = np.where(inside, t - minimum, 0.0) ** power
    top = (optimum - minimum) ** power
    return np.where(np.isnan(t), np.nan, np.where(inside, (2 * above * top - above**2) / top**2, 0.0))
