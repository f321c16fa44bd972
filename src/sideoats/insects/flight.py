"""Moth flights from nightly trap catches: when a flight began and peaked, and when its larvae will matter.

A camera's count is not a catch: it counts other things too and misses moths. The estimates here use the shape of the
series only, so a camera that doubles every count finds the same nights; how sure a flight is uses the scatter of the
counts themselves (quasi-Poisson), so doubling does not make it surer either.

References
----------
[1] Hinkley D.V., Biometrika 57:1-17, 1970: a change point by greatest likelihood (memory)
[2] McCullagh P., Nelder J.A., Generalized Linear Models, 2nd ed., 1989: quasi-likelihood and dispersion (memory)
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
_LEAST_NIGHTS = 5  # nights outside the flight that a background rate needs


@dataclass(frozen=True)
class Flight:
    """What the catches say; arrays (trap,). Nights count from the first of the series.

    Attributes
    ----------
    evidence : drop in deviance over dispersion by letting a flight stand out of the background
    onset, end : first and last night of the flight
    peak : its centre of catch [night]; peak_sd : its standard error [night]
    going_on : the series ends inside the flight, so the peak may still be to come
    background, level : mean catch a night outside and inside the flight
    dispersion : variance over mean of the counts around their local mean, 1 at least
    nights : nights with a count
    """

    evidence: Floats
    onset: Ints
    end: Ints
    peak: Floats
    peak_sd: Floats
    going_on: NDArray[np.bool_]
    background: Floats
    level: Floats
    dispersion: Floats
    nights: Ints


def camera_catch(reported: ArrayLike, false_share: ArrayLike, missed: ArrayLike) -> Floats:
    """Moths behind a camera's count: ``R (1 - f) / (1 - m)``, f the false share of R reported, m the share missed."""
    r, f, m = (np.asarray(x, float) for x in (reported, false_share, missed))
    return np.asarray(r * (1 - f) / (1 - m), dtype=np.float64)


def camera_variance(reported: ArrayLike, seen_share: ArrayLike) -> Floats:
    """Variance of a catch estimated from a camera, about ``R / s^2`` for Poisson catches, s the share seen."""
    return np.asarray(np.asarray(reported, float) / np.asarray(seen_share, float) ** 2, dtype=np.float64)


def find_flight(catches: ArrayLike) -> Flight:
    """The stretch of nights that stands out most from the rest, in each trap.

    Parameters
    ----------
    catches : (trap, night) moths a night, NaN where the trap was not read or did not work

    Returns
    -------
    Flight; evidence 0 and onset, end -1 where there are too few nights
    """
    x = np.atleast_2d(np.asarray(catches, float))
    traps, nights = x.shape
    known = ~np.isnan(x)
    counts = np.where(known, x, 0.0)
    total = np.concatenate([np.zeros((traps, 1)), np.cumsum(counts, axis=1)], axis=1)
    days = np.concatenate([np.zeros((traps, 1)), np.cumsum(known, axis=1)], axis=1)
    best = np.zeros(traps)
    onset, end = np.full(traps, -1), np.full(traps, -1)
    whole, seen = total[:, -1], days[:, -1]
    for first in range(nights):
        inside = total[:, first + 1 :] - total[:, first : first + 1]
        length = days[:, first + 1 :] - days[:, first : first + 1]
        outside, rest = whole[:, None] - inside, seen[:, None] - length
        drop = _drop(inside, length, outside, rest)
        at = np.argmax(drop, axis=1)
        value = drop[np.arange(traps), at]
        better = value > best
        best = np.where(better, value, best)
        onset = np.where(better, first, onset)
        end = np.where(better, first + at, end)
    dispersion = _dispersion(x)
    return _describe(x, known, best, onset, end, dispersion)


def _drop(inside: Floats, length: Floats, outside: Floats, rest: Floats) -> Floats:
    """Drop in Poisson deviance when the nights inside get a mean of their own, if it is the higher one [1]_."""
    enough = (length >= 1) & (rest >= _LEAST_NIGHTS)
    within = inside / np.maximum(length, 1.0)
    beyond = outside / np.maximum(rest, 1.0)
    mean = (inside + outside) / np.maximum(length + rest, 1.0)

    def part(sum_: Floats, rate: Floats) -> Floats:
        positive = (sum_ > 0) & (mean > 0)
        ratio = np.where(positive, rate / np.maximum(mean, 1e-300), 1.0)
        return np.where(positive, sum_ * np.log(ratio), 0.0)

    return np.where(enough & (within > beyond), 2 * (part(inside, within) + part(outside, beyond)), 0.0)


def _dispersion(x: Floats) -> Floats:
    """Variance over mean around a five-night mean, 1 at least, (trap,) [2]_."""
    nights = x.shape[1]
    padded = np.pad(x, ((0, 0), (2, 2)), constant_values=np.nan)
    windows = np.stack([padded[:, i : i + nights] for i in range(5)])
    held = (~np.isnan(windows)).sum(axis=0)
    local = np.nansum(windows, axis=0) / np.maximum(held, 1)
    use = ~np.isnan(x) & (local > 0) & (held > 1)
    squares = np.where(use, (x - local) ** 2 / np.maximum(local, 1e-300) * held / np.maximum(held - 1, 1), 0.0)
    return np.asarray(np.maximum(np.nansum(squares, axis=1) / np.maximum(use.sum(axis=1), 1), 1.0))


def _describe(x: Floats, known: NDArray[np.bool_], best: Floats, onset: Ints, end: Ints, dispersion: Floats) -> Flight:
    nights = np.arange(x.shape[1])
    inside = (nights >= onset[:, None]) & (nights <= end[:, None]) & known
    outside = known & ~inside
    counts = np.where(known, x, 0.0)
    level = (counts * inside).sum(axis=1) / np.maximum(inside.sum(axis=1), 1)
    background = (counts * outside).sum(axis=1) / np.maximum(outside.sum(axis=1), 1)
    # The centre uses a margin about the flight, so that cutting its tails off does not pull the peak to one side.
    reach = np.maximum((end - onset + 1) // 2, 2)
    margin = (nights >= (onset - reach)[:, None]) & (nights <= (end + reach)[:, None]) & known
    above = np.maximum(counts - background[:, None], 0.0) * margin
    mass = np.maximum(above.sum(axis=1), 1e-9)
    peak = (above * nights).sum(axis=1) / mass
    spread = np.sqrt((above * (nights - peak[:, None]) ** 2).sum(axis=1) / mass)
    last = np.where(known.any(axis=1), x.shape[1] - 1 - np.argmax(known[:, ::-1], axis=1), -1)
    return Flight(
        evidence=best / dispersion,
        onset=onset.astype(np.int64),
        end=end.astype(np.int64),
        peak=np.where(onset >= 0, peak, np.nan),
        peak_sd=np.where(onset >= 0, spread * np.sqrt(dispersion / mass), np.nan),
        going_on=(end >= 0) & (end >= last - 1),
        background=background,
        level=level,
        dispersion=dispersion,
        nights=known.sum(axis=1).astype(np.int64),
    )


def event_days(start: ArrayLike, observed: ArrayLike, ahead: ArrayLike, requirement: ArrayLike) -> Floats:
    """Days from today on which a degree-day sum after a flight is reached, by draw.

    Parameters
    ----------
    start : (trap, draw) days from today at which the sum begins; negative in the past
    observed : (trap, past day) degree-days of each past day, the last being yesterday [degC day]
    ahead : (day, trap, draw) running degree-days from today, 0 on day 0 [degC day]
    requirement : degree-days after the start [degC day]

    Returns
    -------
    (trap, draw) days from today, negative where already reached; NaN where not within the days given
    """
    begin, past = np.asarray(start, float), np.asarray(observed, float)
    running, need = np.asarray(ahead, float), np.asarray(requirement, float)
    behind = np.concatenate([np.zeros((past.shape[0], 1)), np.cumsum(past, axis=1)], axis=1)
    behind -= behind[:, -1:]  # the sum on each past day, 0 today
    before = np.arange(-past.shape[1], 1)
    floor = np.clip(np.floor(begin).astype(np.intp), 0, running.shape[0] - 2)
    below, above = (np.take_along_axis(running, (floor + step)[None], axis=0)[0] for step in (0, 1))
    coming = below + np.clip(begin - floor, 0.0, 1.0) * (above - below)  # the sum at a start that is yet to come
    past_sum = np.stack([np.interp(b, before, line) for b, line in zip(begin, behind, strict=True)])
    target = np.where(begin > 0, coming, past_sum) + need
    reached = np.stack([np.interp(t, line, before) for t, line in zip(target, behind, strict=True)])
    at = (running < target).sum(axis=0)  # first day whose sum reaches the target
    inside = np.clip(at, 1, running.shape[0] - 1)
    high, low = (np.take_along_axis(running, (inside - back)[None], axis=0)[0] for back in (0, 1))
    step = high - low
    later = inside - 1 + np.where(step > 0, (target - low) / np.where(step > 0, step, 1.0), 0.0)
    later = np.where(at < running.shape[0], later, np.nan)
    return np.where(target <= 0, reached, later)
