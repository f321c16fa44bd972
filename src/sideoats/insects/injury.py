"""From insects to money: injury accumulated, yield lost, injury levels, thresholds and the cost of delay.

Slopes hold on the straight part of the damage curve only; above it plants lose less per insect, so every loss here is
capped at a stated greatest loss.

References
----------
[1] Univ. of Illinois, Pest Management & Crop Development Bulletin no. 18, 24 Jul 1998: EIL = C/(V I D)
[2] North Carolina State Univ., Bug Bytes, economics of pest control: EIL = C N/(V I)
[3] Ruppel R.F., J. Econ. Entomol. 76:375-377, 1983: cumulative insect-days (memory)
[4] Higley L.G., Pedigo L.P. (eds.), Economic Thresholds for Integrated Pest Management, 1996 (memory)
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]


def _a(value: ArrayLike) -> Array:
    return np.asarray(value, float)


def economic_injury_level(
    cost: ArrayLike, value: ArrayLike, loss_per_pest: ArrayLike, prevented: ArrayLike = 1.0
) -> Array:
    """Pests per sample unit whose preventable loss equals the cost of control, ``C / (V b K)`` [1]_.

    Parameters
    ----------
    cost : of control [USD/ac]
    value : of the yield [USD per unit of yield]
    loss_per_pest : yield lost per pest per sample unit [unit of yield/ac]; injury per pest times loss per injury
    prevented : share of the injury that control prevents (K), above 0, at most 1 [4]_

    Returns
    -------
    pests per sample unit; infinite where nothing is lost or nothing prevented
    """
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        return _a(cost) / (_a(value) * _a(loss_per_pest) * _a(prevented))


def injury_level_from_share(
    cost: ArrayLike, crop_value: ArrayLike, loss_share_per_pest: ArrayLike, prevented: ArrayLike = 1.0
) -> Array:
    """The same level when losses are printed as a share of the crop: ``C / (Y V p K)``.

    `cost` and `crop_value` in the same money per area; `loss_share_per_pest` p per pest per sample unit.
    """
    return economic_injury_level(cost, crop_value, loss_share_per_pest, prevented)


def injury_level_from_case(cost: ArrayLike, crop_value: ArrayLike, pests: ArrayLike, loss_share: ArrayLike) -> Array:
    """The level from one observed case: `pests` that cost `loss_share` of the crop, ``C N / (V I)`` [2]_."""
    return injury_level_from_share(cost, crop_value, _a(loss_share) / _a(pests))


def gain_threshold(cost: ArrayLike, price: ArrayLike) -> Array:
    """Yield that must be saved to pay for control, ``C / V`` [unit of yield/ac]; infinite at a price of zero."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return _a(cost) / _a(price)


def dynamic_threshold(injury_level: ArrayLike, field_rate: ArrayLike, lead_days: ArrayLike) -> Array:
    """Density at which to act so that the injury level is not passed before control works, ``EIL exp(-r L)``.

    `field_rate` [1/day] must be a field rate, not a laboratory one; exponential growth only.
    """
    return np.asarray(_a(injury_level) * np.exp(-_a(field_rate) * _a(lead_days)))


def days_until(injury_level: ArrayLike, density: ArrayLike, field_rate: ArrayLike) -> Array:
    """Days until a growing population reaches the level, ``ln(EIL/N0) / r``; 0 if there, infinite if it never will."""
    level, n, r = np.broadcast_arrays(_a(injury_level), _a(density), _a(field_rate))
    growing = (n > 0) & (r > 0)
    ratio = np.where(growing, level / np.where(growing, n, 1.0), 1.0)
    days = np.log(np.maximum(ratio, 1.0)) / np.where(growing, r, 1.0)
    return np.where(n >= level, 0.0, np.where(growing, days, np.inf))


def delay_pest_days(density: ArrayLike, field_rate: ArrayLike, days: ArrayLike) -> Array:
    """Pest-days gathered while waiting, ``N0 (exp(r d) - 1) / r``; ``N0 d`` at r = 0 [count day per unit]."""
    n, r, d = np.broadcast_arrays(_a(density), _a(field_rate), _a(days))
    flat = np.abs(r) < 1e-9
    return n * np.where(flat, d, np.expm1(r * d) / np.where(flat, 1.0, r))


def pest_days(
    density: ArrayLike, days: ArrayLike | None = None, method: Literal["ruppel_1983", "log_mean"] = "ruppel_1983"
) -> Array:
    """Running pest-days from a series of densities [count day per unit].

    Parameters
    ----------
    density : (..., time) counts per unit
    days : (time,) day of each; one day apart when not given
    method : "ruppel_1983" (trapezes) [3]_, to which published slopes were fitted; "log_mean", exact for exponential
        change, which falls back on the trapeze where a density is zero

    Returns
    -------
    (..., time), starting at 0
    """
    x = _a(density)
    step = np.ones(x.shape[-1] - 1) if days is None else np.diff(_a(days))
    first, second = x[..., :-1], x[..., 1:]
    piece = (first + second) / 2
    if method == "log_mean":
        proper = (first > 0) & (second > 0) & (np.abs(second - first) > 1e-9 * (first + second))
        top = np.where(proper, second - first, 0.0)
        bottom = np.log(np.where(proper, second, np.e) / np.where(proper, first, 1.0))
        piece = np.where(proper, top / bottom, piece)
    return np.concatenate([np.zeros((*x.shape[:-1], 1)), np.cumsum(piece * step, axis=-1)], axis=-1)


def pest_days_if_treated(running: ArrayLike, prevented: ArrayLike) -> Array:
    """Pest-days of the whole period if treated on each of its days.

    Before the treatment all injury is done; after it, the share not prevented.  (A rebound after the treatment has
    worn off is not in this; add it where it is known.)

    Parameters
    ----------
    running : (..., time) running pest-days without treatment
    prevented : share prevented after the treatment, broadcasting against (...,)

    Returns
    -------
    (..., time): pest-days of the period when treated on that day
    """
    before = _a(running)
    rest = before[..., -1:] - before
    return before + (1 - _a(prevented)[..., None]) * rest


def loss_share(injury: ArrayLike, slope: ArrayLike, most: ArrayLike, free: ArrayLike = 0.0) -> Array:
    """Share of yield lost: straight line above an injury that plants tolerate, capped at a greatest loss.

    Parameters
    ----------
    injury : pests, pest-days or any injury measure
    slope : share lost per unit of injury above `free`
    most : greatest share that can be lost; free : injury without loss
    """
    return np.minimum(np.maximum(_a(injury) - _a(free), 0.0) * _a(slope), _a(most))


def net_gain(crop_value: ArrayLike, loss: ArrayLike, prevented: ArrayLike, cost: ArrayLike) -> Array:
    """Money gained by control now: ``Y V loss K - C`` [USD/ac]; `loss` as a share, already capped."""
    return _a(crop_value) * _a(loss) * _a(prevented) - _a(cost)


def break_even_chance(cost: ArrayLike, crop_value: ArrayLike, loss: ArrayLike, prevented: ArrayLike = 1.0) -> Array:
    """Chance of the loss above which control pays, ``C / (Y V loss K)``; above 1 it never pays."""
    return economic_injury_level(cost, crop_value, loss, prevented)
