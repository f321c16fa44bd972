"""When to do it: one act on one of the coming days, or not at all, which is what money is counted over.

The timed options stand first on the option's axis, in the order of their days; those that do nothing stand behind them.
An act on a day may have to be begun some days before it (volunteer wheat is killed, a machine is hired): what presses
is the beginning. The family knows no sentence and no publisher.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.records import dataclass

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]
WEEK = 7  # days: the list is weekly


@dataclass(frozen=True)
class Stretch:
    """The days on which the act pays about as well as on the best one, (place,)."""

    pays: Bools  # some day pays more than nothing
    best: Floats  # the best day
    worth: Floats  # what it brings on average [money per unit]
    opens: Floats  # first and last day within the share of the best
    closes: Floats


def stretch(gain: Floats, days: Sequence[int], closed: Bools, share: float) -> Stretch:
    """The days within `share` of the best day's average.

    Parameters
    ----------
    gain : (place, draw, option) money per unit over not doing it
    days : of the timed options, rising
    closed : (place, option) not open
    share : of the best day's money that a day may bring less
    """
    day, shut = np.asarray(days, np.float64), closed[:, : len(days)]
    mean = np.where(shut, -np.inf, gain[:, :, : len(days)].mean(axis=1))
    worth = mean.max(axis=1)
    finite = np.where(np.isfinite(worth), worth, 0.0)
    near = ~shut & (mean >= (finite - share * np.abs(finite))[:, None])
    any_ = near.any(axis=1)
    return Stretch(
        worth > 0,
        day[mean.argmax(axis=1)],
        worth,
        np.where(any_, day[near.argmax(axis=1)], day[-1]),
        np.where(any_, day[len(day) - 1 - near[:, ::-1].argmax(axis=1)], day[0]),
    )


def delay(
    gain: Floats, days: Sequence[int], closed: Any = False, *, begun: Any = 0.0, at_no_cost: float = 0.0
) -> Floats:
    """(place, option) what being a week late costs on average [money per unit], as `Problem.delay` takes it.

    Nothing for what need not be begun within the week.

    Parameters
    ----------
    gain, days, closed : as in `stretch`
    begun : (place,) or a number: days before its day on which the act has to be begun
    at_no_cost : what it counts as where a later day brings as much: 0, or NaN where a day let go may not come again
        (rain, a machine, an acreage to get over)
    """
    mean = np.where(closed, -np.inf, gain.mean(axis=1))
    start = np.asarray(days, np.float64)[None, :] - np.asarray(begun, np.float64).reshape(-1, 1)
    start = np.broadcast_to(start, (len(mean), len(days)))
    timed = mean.shape[1] - len(days)
    later = np.concatenate([start >= WEEK, np.ones((len(mean), timed), bool)], axis=1)
    left = np.where(later, mean, -np.inf).max(axis=1, keepdims=True)
    with np.errstate(invalid="ignore"):
        lost = np.where(np.isfinite(mean), mean - np.where(np.isfinite(left), left, 0.0), 0.0)
    presses = np.concatenate([start < WEEK, np.zeros((len(mean), timed), bool)], axis=1)
    return np.where(presses, np.where(lost > 0, lost, at_no_cost), 0.0)
