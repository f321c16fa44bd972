"""Development and increase of insects by temperature, and the path of a population over days.

Temperatures are degrees Celsius.  Rates from laboratory cages are two to three times those seen in fields, so a path is
built from a FIELD rate per day, scaled up and down by how well the day's temperatures suit the insect.

References
----------
[1] Yin X., Kropff M.J., McLaren G., Visperas R.M., Agric. For. Meteorol. 77:1-16, 1995: beta function (memory)
[2] Briere J.-F., Pracros P., Le Roux A.-Y., Pierre J.-S., Environ. Entomol. 28:22-29, 1999 (memory)
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]
Method = Literal["yin_1995", "briere_1999", "linear"]
_MOMENTS = 8


def response(temperature: ArrayLike, lower: float, optimum: float, upper: float, method: Method = "yin_1995") -> Array:
    """Rate of development or increase at a constant temperature, as a share of the rate at the optimum.

    Parameters
    ----------
    temperature : any shape [degC]
    lower, optimum, upper : cardinal temperatures [degC]; the rate is 0 at and outside lower and upper
    method : "yin_1995" (beta function of all three) [1]_; "briere_1999" (lower and upper only, scaled to its own
        greatest value) [2]_; "linear" (straight from lower to optimum, 1 up to upper, then 0)

    Returns
    -------
    share 0 to 1, shaped as `temperature`; NaN stays NaN
    """
    if not lower < optimum < upper:
        raise ValueError(f"cardinal temperatures {lower}, {optimum}, {upper} are out of order")
    t = np.asarray(temperature, float)
    inside = (t > lower) & (t < upper)
    x = np.where(inside, t, optimum)
    if method == "yin_1995":
        power = (optimum - lower) / (upper - optimum)
        share = (upper - x) / (upper - optimum) * ((x - lower) / (optimum - lower)) ** power
    elif method == "briere_1999":
        best = (4 * upper + 3 * lower + np.sqrt(16 * upper**2 + 9 * lower**2 - 16 * lower * upper)) / 10
        share = x * (x - lower) * np.sqrt(upper - x) / (best * (best - lower) * np.sqrt(upper - best))
    else:
        share = np.minimum(1.0, (x - lower) / (optimum - lower))
    return np.where(np.isnan(t), np.nan, np.where(inside, share, 0.0))


def day_response(
    low: ArrayLike,
    high: ArrayLike,
    lower: float,
    optimum: float,
    upper: float,
    method: Method = "yin_1995",
) -> Array:
    """Mean of `response` over a day whose temperature follows a sine between its low and high [degC].

    Hot afternoons and cold nights count as they are: a day of 20 to 36 suits an insect less than a steady 28.
    """
    t_low, t_high = np.asarray(low, float), np.asarray(high, float)
    middle, half = (t_low + t_high) / 2, (t_high - t_low) / 2
    total = np.zeros(np.broadcast(middle, half).shape)
    for moment in np.sin(np.pi * ((np.arange(_MOMENTS) + 0.5) / _MOMENTS - 0.5)):  # evenly spaced in time
        total = total + response(middle + half * moment, lower, optimum, upper, method)
    return total / _MOMENTS


def field_growth(field_rate: ArrayLike, suitability: ArrayLike, reference: float, *, most: float = np.inf) -> Array:
    """Increase per day in the field: a field rate scaled by the day's temperature response [1/day].

    Parameters
    ----------
    field_rate : rate seen in fields under ordinary warm weather [1/day], for example (place, draw, 1)
    suitability : `day_response` of each day, for example (place or 1, draw, day)
    reference : `day_response` of the weather in which the field rate was seen
    most : highest scaling allowed, so that a cool reference does not create rates never seen
    """
    return np.asarray(np.asarray(field_rate, float) * np.minimum(np.asarray(suitability, float) / reference, most))


def density_path(start: ArrayLike, growth: ArrayLike, ceiling: ArrayLike = np.inf) -> Array:
    """Density on day 0, 1, 2, ... under daily growth rates, levelling off at a ceiling.

    A growing day follows the logistic, ``N g / (1 + N (g - 1)/K)`` with g = exp(r), exact for its day; a shrinking day
    is exponential.  The ceiling is never below the start.

    Parameters
    ----------
    start : (...,) density now [count per unit]
    growth : (..., day) increase in each coming day [1/day]
    ceiling : (...,) highest density that the plants hold [count per unit]

    Returns
    -------
    (..., day + 1) density [count per unit]; the first is the start itself
    """
    rates = np.asarray(growth, float)
    n0 = np.asarray(start, float)
    roof = np.maximum(np.asarray(ceiling, float), n0)
    shape = np.broadcast_shapes(n0.shape, roof.shape, rates.shape[:-1])
    path = np.empty((*shape, rates.shape[-1] + 1))
    path[..., 0] = n0
    for day in range(rates.shape[-1]):
        times = np.exp(rates[..., day])
        now = path[..., day]
        path[..., day + 1] = now * times / (1 + now / roof * np.maximum(times - 1, 0.0))
    return path


def slowed(field_rate: ArrayLike, slowing: ArrayLike) -> Array:
    """Field rate with natural enemies at work: ``r - slowing``; may fall below zero, when they win [1/day].

    No predator count in the collection carries a published rate; pass the slowing as a draw between stated bounds.
    """
    return np.asarray(np.asarray(field_rate, float) - np.asarray(slowing, float))


def held_by_predators(predators: ArrayLike, eaten_per_day: ArrayLike, field_rate: ArrayLike) -> Array:
    """Density that `predators` per unit hold level: ``P c / (exp(r) - 1)`` [count per unit]."""
    growth = np.expm1(np.asarray(field_rate, float))
    return np.asarray(np.asarray(predators, float) * np.asarray(eaten_per_day, float) / growth)


def intrinsic_rate(net_reproduction: ArrayLike, generation_days: ArrayLike) -> Array:
    """``ln R0 / T``: rate of increase from a life table's net reproduction and generation time [1/day]."""
    return np.asarray(np.log(np.asarray(net_reproduction, float)) / np.asarray(generation_days, float))


def doubling_days(rate: ArrayLike) -> Array:
    """Days in which a population doubles, ``ln 2 / r`` [day]; infinite at r = 0, negative when it shrinks."""
    with np.errstate(divide="ignore"):
        return np.asarray(np.log(2.0) / np.asarray(rate, float))


def development_line(temperature: ArrayLike, days: ArrayLike) -> tuple[float, float]:
    """Lower threshold [degC] and degree-days [degC day] from days needed at constant temperatures.

    The straight line of 1/days on temperature: threshold ``-a/b``, requirement ``1/b``.
    """
    x, y = np.asarray(temperature, float), 1 / np.asarray(days, float)
    slope = float(np.sum((x - x.mean()) * (y - y.mean())) / np.sum((x - x.mean()) ** 2))
    return float(x.mean() - y.mean() / slope), 1 / slope


def first_reaching(accumulated: ArrayLike, requirement: ArrayLike) -> Array:
    """Index of the first day whose running degree-days reach a requirement.

    `accumulated` (..., day) must not fall; `requirement` broadcasts against its leading axes.  NaN where it is never
    reached within the days given.
    """
    running, need = np.asarray(accumulated, float), np.asarray(requirement, float)[..., None]
    reached = running >= need - 1e-9
    return np.where(reached.any(axis=-1), reached.argmax(axis=-1), np.nan)
