"""Rate of an input: how much of something to put on (fertilizer, lime, seed), over a rate that needs no decision.

The baseline is none applied, or the rate that is put on now. What more input brings falls off towards a plateau; what
it costs does not. What goes on before a day (sowing, the end of topdressing) can still go on until then: nothing is
lost by waiting while that day is more than a week off, all of it once the day has come.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sideoats.ruling import WAIT_DAYS

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]
TROUBLE = "rate"  # the kind of act whose trouble a gain must be worth


def reached(share: ArrayLike, at_full: ArrayLike) -> Floats:
    """Share of the whole response [1] that part of a recommended rate brings: quadratic up to a plateau.

    Parameters
    ----------
    share : rate over the recommended rate [1], 0 and more
    at_full : what the recommended rate itself brings of the whole response [1], above 0 to 1; the plateau is further
    """
    at = np.asarray(at_full, np.float64)
    join = 1.0 - np.sqrt(1.0 - at)  # the recommended rate as a share of the rate that brings all
    left = 1.0 - np.clip(np.asarray(share, np.float64) * join, 0.0, 1.0)
    return np.asarray(1.0 - left**2)


def over_base(value: Floats, cost: Floats, base: int = 0) -> Floats:
    """(place, draw, rate) money over the rate at `base`; every dollar of cost is a dollar less.

    Parameters
    ----------
    value : (place, draw, rate) what the crop brings at each rate [USD/ac]
    cost : (place, 1 or draw, rate) input and putting it on [USD/ac]
    """
    net = np.nan_to_num(value - cost)
    return np.asarray(net - net[:, :, base : base + 1])


def now(days: Floats) -> Bools:
    """(place,) it goes on this week: the last day for it is within a week, or nobody said when (it is asked there)."""
    return np.asarray(~((days > WAIT_DAYS) | (days < 0)))


def due(days: Floats) -> Ints:
    """(place,) days to the last day on which it can go on, a week where nobody said when; -1 where not this week."""
    return np.where(now(days), np.where(np.isnan(days), WAIT_DAYS, days), -1).astype(np.int64)


def delay(gain: Floats, days: Floats) -> Floats:
    """(place, option) what a week's wait costs [money per unit]: all of it once the last day is within the week.

    NaN where it presses at no cost that is known; 0 where the last day is further off, or past and nothing can go on.

    Parameters
    ----------
    gain : (place, draw, option) over the baseline
    days : (place,) to the last day on which it can go on; NaN where nobody said, negative where past
    """
    lost = gain.mean(axis=1)
    return np.where(now(days)[:, None], np.where(lost > 0, lost, np.nan), 0.0)


def again(days: Floats, after: int, settled: ArrayLike) -> Ints:
    """(place,) days until one looks again: a week before the last day, `after` days where it is past, else `settled`.

    Parameters
    ----------
    days : (place,) to the last day on which it can go on; NaN where nobody said, negative where past
    after : days to the next crop's turn
    settled : (place,) or a number: days where nobody said when, or the day is at hand
    """
    ahead = np.where(days > WAIT_DAYS, days - WAIT_DAYS, settled)
    return np.where(days < 0, float(after), ahead).astype(np.int64)
