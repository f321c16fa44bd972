"""What treating an exponentially growing pest on day 0, 1, 2, ... saves: pest-days by day, losses by option.

The population follows a logistic path whose rate is the field rate scaled by each day's temperature; injury is
pest-days by the trapeze (to which published slopes are fitted) day by day up to the last treatment day, and by the
closed-form integral of the logistic path from there to the end of the injury. Everything is vectorised over places and
draws; the only loop is over days.

References
----------
[1] Ruppel R.F., J. Econ. Entomol. 76:375-377, 1983: cumulative insect-days (memory)
[2] Verhulst's logistic curve, N = K / (1 + (K/N0 - 1) exp(-R)) with R the sum of daily rates; its integral at a
    constant rate r is (K/r) ln(1 + (N0/K)(exp(r t) - 1)) (textbook, checked in tests by numerical integration)
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
_LEAST_RATE = 1e-4  # below this a day's growth is nothing, and the closed form would divide by it
_MOST_LOG = 30.0  # e^30 times any density is far above every ceiling


def pest_days_by_day(
    start: ArrayLike,
    cumulative: ArrayLike,
    which: ArrayLike,
    later_rate: ArrayLike,
    ceiling: ArrayLike,
    injury_days: ArrayLike,
) -> tuple[Floats, Floats]:
    """Pest-days gathered before each treatment day, and over the whole injury, without treatment.

    Places that share a growth path (same station, no natural enemies) share a row of `cumulative`, so that the
    exponential is taken once for all of them.

    Parameters
    ----------
    start : (place, draw) density today [count per unit]
    cumulative : (day, row, draw) sum of daily rates up to each treatment day; day 0 is zero [1]
    which : (place,) row of each place
    later_rate : (row, draw) mean rate after the last of these days [1/day]
    ceiling : (place or 1, draw) highest density that leaves hold [count per unit]
    injury_days : (place, draw) days from today until feeding no longer costs yield [day]

    Returns
    -------
    (day, place, draw) and (place, draw) [count day per unit]
    """
    n0, rates, row = np.asarray(start, float), np.asarray(cumulative, float), np.asarray(which, np.intp)
    roof, last = np.maximum(np.asarray(ceiling, float), n0), np.asarray(injury_days, float)
    days = rates.shape[0]
    share = n0 / roof
    before = np.empty((days, *n0.shape))
    before[0] = 0.0
    density = n0
    soonest = last.min() if last.size else 0.0
    for day in range(1, days):
        grown = np.expm1(np.minimum(rates[day], _MOST_LOG))[row]
        following = n0 + n0 * grown
        following /= 1.0 + share * grown
        np.add(density, following, out=before[day])
        before[day] *= 0.5
        if soonest < day:  # only where the injury of some place or draw ends within the fortnight
            before[day] *= np.clip(last - (day - 1), 0.0, 1.0)
        before[day] += before[day - 1]
        density = following
    left = np.maximum(last - (days - 1), 0.0)
    rate = np.maximum(np.asarray(later_rate, float), _LEAST_RATE)[row]
    filled = density / roof
    tail = roof / rate * np.log1p(filled * np.expm1(np.minimum(rate * left, _MOST_LOG)))
    return before, before[-1] + tail


def triangular(uniform: ArrayLike, low: float, mid: float, high: float) -> Floats:
    """Draws between low and high with a peak at mid, from uniform numbers: how a range with a middle is carried."""
    u = np.asarray(uniform, float)
    if high <= low:
        return np.full_like(u, mid)
    split = (mid - low) / (high - low)
    rising = low + np.sqrt(u * (high - low) * (mid - low))
    falling = high - np.sqrt((1 - u) * (high - low) * (high - mid))
    return np.asarray(np.where(u < split, rising, falling), dtype=np.float64)
