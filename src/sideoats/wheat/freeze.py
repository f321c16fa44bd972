"""Cold: spring freezes by growth stage, and what winter does to the crown. Screening, never a loss by itself."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sideoats.facts import Fact

Floats = NDArray[np.float64]


def night_hours_below(tmax: ArrayLike, tmin: ArrayLike, threshold: ArrayLike) -> Floats:
    """Hours of a day below a threshold from its extremes, all in one unit, by a sine day.

    The hours fall around sunrise in one stretch on a usual night; a front breaks that rule.
    """
    high, low, line = np.broadcast_arrays(*(np.asarray(v, np.float64) for v in (tmax, tmin, threshold)))
    mean, swing = (high + low) / 2, (high - low) / 2
    flat = swing < 1e-9  # a day without a swing: the line is above or below all of it
    at = np.clip((line - mean) / np.where(flat, 1.0, swing), -1.0, 1.0)
    share = 0.5 + np.arcsin(at) / np.pi
    return np.asarray(24.0 * np.where(flat, (line >= mean).astype(float), share))


def threshold_of(table: Fact, stage: str) -> float:
    """Temperature [degF] at which a stage is at risk; NaN where the table has no such stage."""
    for row in table.rows:
        if row[0] == stage:
            return float(row[1])
    return float("nan")


def not_cleared_below(
    followed: ArrayLike, strictest: ArrayLike, hours: ArrayLike, *, near: float, line_hours: float, shelter: float = 0.0
) -> Floats:
    """Temperature [degF] at or below which a night is not cleared, whatever else is known.

    Never below the strictest published line, however short the night: depth does in minutes what the line does in
    hours. Above the line that is followed a band of `near` [delta degF], because longer does what colder does and a
    canopy is colder than a shelter; known hours fewer than those of the line narrow it in proportion, though never to
    less than `shelter` above the strictest line: hours are guessed, and do not warm a canopy.

    Parameters
    ----------
    followed, strictest : lines of the tables [degF]
    hours : at or near the lowest [h]; NaN where not known, which counts as long
    near, shelter : [delta degF]; line_hours : exposure that the tables state [h]
    """
    share = np.clip(np.asarray(hours, np.float64) / line_hours, 0.0, 1.0)
    band = near * np.where(np.isnan(share), 1.0, share)
    return np.asarray(np.fmax(np.asarray(followed, np.float64) + band, np.asarray(strictest, np.float64) + shelter))


def yield_lost(low: ArrayLike, hours: ArrayLike, dose: ArrayLike, *, most_hours: float) -> tuple[Floats, Floats]:
    """Least and most of the yield that a freeze takes [1], by depth and hours.

    1/(1 + exp(k (T - T50))): the least as in 15 minutes, the most with T50 moved warmer by a third of the two-hour
    shift for every doubling of a quarter of an hour. A bracket between two publications, not a fit. Colder or longer
    never takes less.

    Parameters
    ----------
    low : lowest temperature [degF]
    hours : at or near it [h]; NaN (not known) and more than `most_hours` count as `most_hours`
    dose : (..., 4) k [1/degF], T50 after 15 minutes [degF], its shift at two hours [degF], T50 of the least [degF]
    """
    t, d = np.asarray(low, np.float64), np.asarray(dose, np.float64)
    slope, half, shift, sure = (d[..., k] for k in range(4))
    length = np.clip(np.nan_to_num(np.asarray(hours, np.float64), nan=most_hours), 0.25, most_hours)
    warmer = half + shift * np.log2(length / 0.25) / 3
    least, most = (1.0 / (1.0 + np.exp(np.clip(slope * (t - at), -60, 60))) for at in (sure, warmer))
    return np.asarray(least), np.asarray(np.maximum(most, least))


def yield_kept(dead: ArrayLike, regained: ArrayLike) -> Floats:
    """Share of yield left [1]: a share of stems is dead, and later tillers give back a share of what those carried."""
    return 1.0 - np.asarray(dead, np.float64) * (1.0 - np.asarray(regained, np.float64))


def crown_from_air(low: ArrayLike, snow: ArrayLike, offset: float, deep: float, bare: float) -> Floats:
    """Lowest temperature of the crown [degC] under a night's lowest air, offset + T (deep + bare (1 - S/15)^2).

    Colder air and less snow never make it warmer. Above freezing the crown is taken as no colder than the air.

    Parameters
    ----------
    low : lowest air temperature [degC]
    snow : lying snow S [cm]; more than 15 counts as 15
    offset, deep, bare : [degC], [1], [1]: a published form (fact ``winterkill.crown_from_air``)
    """
    t, s = np.asarray(low, np.float64), np.clip(np.asarray(snow, np.float64), 0.0, 15.0)
    return np.asarray(np.where(t < 0, offset + t * (deep + bare * (1 - s / 15) ** 2), np.maximum(t, offset)))


def crown_loss(crown: ArrayLike, dose: ArrayLike) -> tuple[Floats, Floats]:
    """Least and most of the plants that a winter night kills [1], 1/(1 + exp(k (T - T50))) of the crown.

    Parameters
    ----------
    crown : lowest crown temperature [degF]
    dose : (..., 3) k [1/degF], T50 of the least and of the most [degF]
    """
    t, d = np.asarray(crown, np.float64), np.asarray(dose, np.float64)
    least, most = (1.0 / (1.0 + np.exp(np.clip(d[..., 0] * (t - d[..., k]), -60, 60))) for k in (1, 2))
    return np.asarray(least), np.asarray(most)


def tapered(loss: ArrayLike, temperature: ArrayLike, cleared: ArrayLike, span: ArrayLike) -> Floats:
    """A loss that falls straight to nothing over `span` degrees below the temperature that clears a night, [1].

    What is cleared has lost nothing, and no hundredth of a degree turns nothing into a share of the crop.
    """
    depth = np.asarray(cleared, np.float64) - np.asarray(temperature, np.float64)
    return np.asarray(np.asarray(loss, np.float64) * np.clip(depth / np.asarray(span, np.float64), 0.0, 1.0))


def vernalisation_rate(mean_temperature: ArrayLike, lowest: float, best: float, highest: float) -> Floats:
    """Effectiveness of a day for vernalisation [0 to 1] by the beta function of Wang and Engel (1998).

    f = (2 (T-a)^k (b-a)^k - (T-a)^2k) / (b-a)^2k with k = ln 2 / ln((c-a)/(b-a)); 1 at the best, 0 at both ends.
    All temperatures in degC. From memory.
    """
    t = np.asarray(mean_temperature, np.float64)
    k = np.log(2.0) / np.log((highest - lowest) / (best - lowest))
    above = np.clip(t - lowest, 0.0, None)
    span = (best - lowest) ** k
    rate = (2 * above**k * span - above ** (2 * k)) / span**2
    return np.asarray(np.where((t > lowest) & (t < highest), np.maximum(rate, 0.0), 0.0))
