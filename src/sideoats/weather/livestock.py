"""Heat and cold on cattle: temperature-humidity index and its adjusted form, comprehensive climate index, cold stress.

Temperature in degC, humidity 0 to 1, wind in m/s at the height of the animals, radiation in W/m2.

References
----------
.. [1] National Research Council, A guide to environmental research on animals, 1971 (from memory).
.. [2] T.L. Mader, M.S. Davis, T. Brown-Brandl, Environmental factors influencing heat stress in feedlot cattle, J.
   Anim. Sci. 84:712-719, 2006 (adjusted index; from memory).
.. [3] T.L. Mader, M.S. Davis, Wind speed and solar radiation corrections for the temperature-humidity index, 15th AMS
   Conf. Biometeorology 6A.1, 2002 (abstract read, equation from memory).
.. [4] T.L. Mader, L.J. Johnson, J.B. Gaughan, A comprehensive index for assessing environmental stress in animals, J.
   Anim. Sci. 88:2153-2165, 2010, with the erratum 89:2955, 2011 (equations read in the public package pyiem 1.28.1).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sideoats.errors import InputError
from sideoats.facts import Fact
from sideoats.weather.arrays import Floats, by_blocks, floats

RANGE = (-30.0, 45.0)  # degC: the air that the comprehensive climate index is stated for
THI_METHODS = ("mader_2006", "nrc_1971", "nrc_1971_26_8")


def temperature_humidity_index(temperature: ArrayLike, humidity: ArrayLike, *, method: str = "mader_2006") -> Floats:
    """Temperature-humidity index.

    Parameters
    ----------
    temperature : [degC]
    humidity : 0 to 1
    method : ``mader_2006`` (0.8 T form, the one that `adjusted_index` builds on), ``nrc_1971`` [1], or
        ``nrc_1971_26_8``, a variant in circulation that gives 0.14 to 0.31 more
    """
    t, h = floats(temperature), floats(humidity)
    h = np.where((h >= 0) & (h <= 1), h, np.nan)
    if method == "mader_2006":
        return floats(0.8 * t + h * (t - 14.4) + 46.4)
    if method in ("nrc_1971", "nrc_1971_26_8"):
        offset = 26.8 if method.endswith("26_8") else 26.0
        return floats((1.8 * t + 32) - (0.55 - 0.55 * h) * (1.8 * t - offset))
    raise InputError(f"method {method!r} is not known", where="THI", expected="one of " + ", ".join(THI_METHODS))


def adjusted_index(thi: ArrayLike, wind: ArrayLike, radiation: ArrayLike, *, method: str = "mader_2006") -> Floats:
    """Temperature-humidity index adjusted for wind and sun.

    Parameters
    ----------
    thi : of the ``mader_2006`` form
    wind : [m/s]
    radiation : [W/m2]
    method : ``mader_2006`` [2] or the earlier ``mader_2002`` [3]
    """
    if method == "mader_2006":
        return floats(4.51 + floats(thi) - 1.992 * floats(wind) + 0.0068 * floats(radiation))
    if method == "mader_2002":
        return floats(6.8 + floats(thi) - 3.075 * floats(wind) + 0.0055 * floats(radiation))
    raise InputError(f"method {method!r} is not known", where="adjusted THI", expected="mader_2006 or mader_2002")


def humidity_term(temperature: ArrayLike, humidity: ArrayLike) -> Floats:
    """The humidity correction of `comprehensive_climate_index` [degC]; 0 at 30 % humidity."""
    t, r = floats(temperature), 100 * floats(humidity)
    return floats(np.exp(0.00182 * r + 1.8e-5 * t * r) * (5.4e-5 * t**2 + 0.00192 * t - 0.0246) * (r - 30))


def wind_term(wind: ArrayLike) -> Floats:
    """The wind correction of `comprehensive_climate_index` [degC]; +3.33 in still air."""
    w = floats(wind)
    log03 = -2 * np.log(2.26 * w + 0.33) / np.log(0.3)  # logarithm to the base 0.3 of (2.26 w + 0.33)^-2
    inner = (2.26 * w + 0.23) ** -0.45 * (2.9 + 1.14e-6 * w**2.5 - log03)
    return floats(-6.56 / np.exp(inner) - 0.00566 * w**2 + 3.33)


def radiation_term(temperature: ArrayLike, radiation: ArrayLike) -> Floats:
    """The radiation correction of `comprehensive_climate_index` [degC]; 0 at 20 degC in the dark."""
    t, sun = floats(temperature), floats(radiation)
    return floats(0.0076 * sun - 0.00002 * sun * t + 0.00005 * t**2 * np.sqrt(sun) + 0.1 * t - 2)


def comprehensive_climate_index(
    temperature: ArrayLike, humidity: ArrayLike, wind: ArrayLike, radiation: ArrayLike
) -> Floats:
    """Comprehensive climate index [degC]: how warm or cold the weather is to cattle, hot and cold alike [4].

    Parameters
    ----------
    temperature : [degC], -30 to 45
    humidity : 0 to 1
    wind : [m/s]
    radiation : [W/m2]; full shade cuts it to about a fifth

    Returns
    -------
    [degC]; NaN outside the stated range of temperature, and for negative wind or radiation
    """
    return by_blocks(_climate_index, temperature, humidity, wind, radiation)


def _climate_index(t: Floats, h: Floats, w: Floats, sun: Floats) -> Floats:
    good = (t >= RANGE[0]) & (t <= RANGE[1]) & (h >= 0) & (h <= 1) & (w >= 0) & (sun >= 0)
    wind, light = np.where(good, w, 0.0), np.where(good, sun, 0.0)
    warm = np.where(good, t, 0.0)
    total = warm + humidity_term(warm, np.where(good, h, 0.0)) + wind_term(wind) + radiation_term(warm, light)
    return np.where(good, total, np.nan)


def class_number(value: ArrayLike, bounds: Sequence[float]) -> NDArray[np.int64]:
    """Which class a value falls in: 0 below the first bound, else the number of bounds that it reaches; -1 for NaN.

    Bounds rise (heat): a class begins AT its bound. For classes of cold give negative values and bounds.
    """
    x = floats(value)
    return np.where(np.isnan(x), -1, np.searchsorted(floats(bounds), x, side="right"))


def class_names(fact: Fact) -> tuple[list[str], list[float]]:
    """Names and rising bounds of a class table (columns class, from); the first row's bound is not a bound."""
    return [str(name) for name in fact.column("class")], [float(b) for b in fact.column("from")[1:]]


def index_hours(hourly_index: ArrayLike, base: float) -> Floats:
    """Sum over hours of (index - base) where above it, along the last axis: a day's load (Hahn; concept read)."""
    excess = floats(hourly_index) - base
    return floats(np.nansum(np.maximum(excess, 0.0), axis=-1))


def recovery_hours(hourly_index: ArrayLike, recovery: float) -> NDArray[np.int64]:
    """Hours of the last axis at or below the index at which cattle recover."""
    return np.asarray((floats(hourly_index) <= recovery).sum(axis=-1), dtype=np.int64)


def cold_feed_energy(
    effective_temperature: ArrayLike, lower_critical: ArrayLike, share_per_degree: ArrayLike
) -> Floats:
    """Extra maintenance energy in cold, as a share of maintenance: degrees below the critical temperature x share.

    Parameters
    ----------
    effective_temperature, lower_critical : [degF], because the published rule counts in whole degF; effective is wind
        chill in the open, air temperature behind a windbreak
    share_per_degree : per degF, such as 0.01
    """
    below = np.maximum(floats(lower_critical) - floats(effective_temperature), 0.0)
    return floats(below * floats(share_per_degree))
