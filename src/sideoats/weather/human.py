"""Heat index and wind chill for the people who work outside. Neither is meant for cattle.

References
----------
.. [1] L.P. Rothfusz, The heat index equation, National Weather Service Technical Attachment SR 90-23, 1990, as on
   wpc.ncep.noaa.gov/html/heatindex_equation.shtml (read).
.. [2] National Weather Service, wind chill index of 2001 (degF and mph form read at
   graphical.weather.gov/definitions/defineApparentT.html).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from sideoats.weather.arrays import Floats, floats


def heat_index(temperature: ArrayLike, humidity: ArrayLike) -> Floats:
    """Heat index [degC] of air in the shade, with the low- and high-humidity adjustments of [1].

    Parameters
    ----------
    temperature : [degC]
    humidity : 0 to 1

    Returns
    -------
    [degC]; below 80 degF the simple form; NaN for humidity outside 0 to 1
    """
    t, share = np.broadcast_arrays(floats(temperature) * 1.8 + 32, np.asarray(humidity, np.float64))
    r = np.where((share >= 0) & (share <= 1), 100 * share, np.nan)
    simple = (0.5 * (t + 61.0 + (t - 68.0) * 1.2 + r * 0.094) + t) / 2
    full = (
        -42.379
        + 2.04901523 * t
        + 10.14333127 * r
        - 0.22475541 * t * r
        - 0.00683783 * t**2
        - 0.05481717 * r**2
        + 0.00122874 * t**2 * r
        + 0.00085282 * t * r**2
        - 0.00000199 * t**2 * r**2
    )
    dry = (r < 13) & (t >= 80) & (t <= 112)
    full = np.where(dry, full - (13 - r) / 4 * np.sqrt(np.maximum(17 - np.abs(t - 95), 0) / 17), full)
    wet = (r > 85) & (t >= 80) & (t <= 87)
    full = np.where(wet, full + (r - 85) / 10 * (87 - t) / 5, full)
    return floats((np.where(simple < 80, simple, full) - 32) / 1.8)


def wind_chill(temperature: ArrayLike, wind: ArrayLike) -> Floats:
    """Wind chill [degC] of bare human skin [2].

    Parameters
    ----------
    temperature : [degC]; defined up to 50 degF
    wind : at 10 m (airport height) [m/s]; defined above 3 mph

    Returns
    -------
    [degC]; the air temperature where it is too warm or too calm for the index
    """
    t = floats(temperature) * 1.8 + 32
    v = floats(wind) / 0.44704
    blown = np.maximum(v, 0) ** 0.16
    chill = 35.74 + 0.6215 * t - 35.75 * blown + 0.4275 * t * blown
    return floats((np.where((t <= 50) & (v > 3), np.minimum(chill, t), t + 0 * v) - 32) / 1.8)
