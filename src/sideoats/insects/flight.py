"""Moth flights from trap catches by the night or by the week: when one began and peaked, when its larvae will matter.

A camera's count is not a catch: it counts other things too and misses moths. The estimates here use the shape of the
series only, so a camera that doubles every count finds the same nights; how sure a flight is uses the scatter of the
counts themselves (quasi-Poisson), so doubling does not make it surer either.

References
----------
[1] Hinkley D.V., Biometrika 57:1-17, 1970: a change point by greatest likelihood (memory)
[2] McCullagh P., Nelder J.A., Generalized Linear Models, 2nd ed., 1989: quasi-likelihood and dispersion (memory)
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
_LEAST_NIGHTS = 5  # nights outside the flight that a background rate needs
_GAP = 3  # quiet nights that do not end a flight
_MOST_PARTS = 4  # stretches that are joined into one flight
_WEEKS_K = 4.0  # of a week's catch around its mean, as of the nights that evidence was simulated with


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


def find_flight(catches: ArrayLike, nights_a_reading: ArrayLike = 1.0) -> Flight:
    """The stretch of nights that stands out most from the rest, in each trap.

    Parameters
    ----------
    catches : (trap, night) moths a night, NaN where the trap was not read or did not work
    nights_a_reading : (trap,) or one for all: over more than one, the scatter between nights is not seen; weeks are
        then taken to scatter as aggregated counts do (negative binomial, k of `_WEEKS_K`)

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
    inside = (np.arange(nights) >= onset[:, None]) & (np.arange(nights) <= end[:, None]) & known
    quiet = (counts * ~inside).sum(axis=1) / np.maximum((known & ~inside).sum(axis=1), 1)
    span = np.broadcast_to(np.asarray(nights_a_reading, float), quiet.shape)
    dispersion = np.where(span > 1, np.maximum(_dispersion(x), 1.0 + quiet * span / _WEEKS_K), _dispersion(x))
    return _describe(x, known, best, onset, end, dispersion)


def from_its_beginning(catches: ArrayLike, flight: Flight, nights_a_reading: ArrayLike, enough: float) -> Flight:
    """The same flight from its first nights on.

    A huge catch draws the stretch that stands out most to itself and leaves the nights before it outside. What stands
    out (with evidence of `enough`) of the rest once that stretch is taken away, and adjoins it, belongs to the flight.
    """
    x = np.atleast_2d(np.asarray(catches, float))
    night, onset = np.arange(x.shape[1]), flight.onset
    for _ in range(_MOST_PARTS):
        before = np.where((night >= onset[:, None]) & (onset >= 0)[:, None], np.nan, x)
        part = find_flight(before, nights_a_reading)
        joins = (onset >= 0) & (part.onset >= 0) & (part.evidence >= enough) & (part.end >= onset - 1 - _GAP)
        if not joins.any():
            break
        onset = np.where(joins, part.onset, onset)
    longer = _describe(x, ~np.isnan(x), flight.evidence * flight.dispersion, onset, flight.end, flight.dispersion)
    return either(flight, replace(longer, peak=flight.peak, peak_sd=flight.peak_sd), onset != flight.onset)


def either(first: Flight, second: Flight, which: NDArray[np.bool_]) -> Flight:
    """The second flight where `which` (trap,), else the first."""
    return Flight(*(np.where(which, getattr(second, f.name), getattr(first, f.name)) for f in fields(Flight)))


def heavy_flight(catches: ArrayLike, moths: ArrayLike, nights: ArrayLike) -> tuple[Flight, Floats]:
    """The newest run of heavy nights in each trap: a flight by its level, whatever its shape.

    Parameters
    ----------
    catches : (trap, night) moths a night, NaN where the trap was not read or did not work
    moths, nights : (trap,) so many moths in so many nights running are a flight; NaN where no level is on file

    Returns
    -------
    Flight of the run, with the spread of its catch as the error of the peak, and the most moths in so many nights
    running (trap,); onset and end -1 where the level is not reached
    """
    x = np.atleast_2d(np.asarray(catches, float))
    level, span = np.asarray(moths, float), np.nan_to_num(np.asarray(nights, float), nan=1.0)
    counts, night = np.nan_to_num(x), np.arange(x.shape[1])
    total = np.concatenate([np.zeros((len(x), 1)), np.cumsum(counts, axis=1)], axis=1)
    before = np.maximum(night + 1 - span[:, None], 0).astype(np.intp)
    running = total[:, 1:] - np.take_along_axis(total, before, axis=1)
    onset, end = np.full(len(x), -1), np.full(len(x), -1)
    for trap in np.flatnonzero((running >= level[:, None]).any(axis=1)).tolist():
        heavy = np.flatnonzero((running[trap] >= level[trap]) & (counts[trap] > 0))
        last = heavy[-1] if heavy.size else np.flatnonzero(running[trap] >= level[trap])[-1]
        busy = np.flatnonzero((counts[trap] >= level[trap] / span[trap]) & (night <= last))
        breaks = np.flatnonzero(np.diff(busy) > _GAP)
        onset[trap], end[trap] = busy[breaks[-1] + 1 if breaks.size else 0], busy[-1]
    found = _describe(x, ~np.isnan(x), np.zeros(len(x)), onset, end, np.ones(len(x)))
    inside = (night >= onset[:, None]) & (night <= end[:, None])
    mass = np.maximum((counts * inside).sum(axis=1), 1e-9)
    centre = (counts * inside * night).sum(axis=1) / mass
    spread = np.sqrt((counts * inside * (night - centre[:, None]) ** 2).sum(axis=1) / mass)
    reached = onset >= 0
    peak, error = np.where(reached, centre, np.nan), np.where(reached, spread, np.nan)
    return replace(found, peak=peak, peak_sd=error), running.max(axis=1, initial=0.0)


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
