"""How the injury ahead is spread over coming days, so that treating on day d saves what has not happened yet.

Progress is the share of the injury ahead that is done by the morning of day 0, 1, 2, ... if nothing is treated: 0
today, 1 when the pest has finished.  With it one engine serves pests that feed steadily, that multiply, and that grow.
All progress arrays are (day, place or 1, draw or 1).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sideoats.insects.treatment import pest_days_by_day

Floats = NDArray[np.float64]
_ROOMY = 1e12  # a ceiling that no field reaches: a nominal threshold says nothing of crowding


def steady_progress(window: ArrayLike, days: int) -> Floats:
    """Injury done at an even pace over `window` days (place or 1, draw or 1)."""
    length = np.asarray(window, float)
    return np.asarray(np.minimum(np.arange(days)[:, None, None] / length, 1.0))


def cut_short(progress: Floats, alive: ArrayLike) -> tuple[Floats, Floats]:
    """Injury of pests that the days ahead kill by and by.

    Parameters
    ----------
    progress : (day, place or 1, draw or 1) share of the injury done by each day, were none killed
    alive : the same shape or broadcasting to it: share still alive on each day; 1 on day 0

    Returns
    -------
    progress of what they will really do, and that as a share of what they would have done (place, draw)
    """
    living = np.broadcast_to(alive, np.broadcast_shapes(np.shape(alive), progress.shape))
    done = np.cumsum(np.diff(progress, axis=0) * living[1:], axis=0)
    whole = done[-1] + (1.0 - progress[-1]) * living[-1]
    done = np.concatenate([np.zeros((1, *done.shape[1:])), done])
    return np.where(whole > 0, done / np.where(whole > 0, whole, 1.0), 1.0), whole


def multiplying_progress(
    cumulative: ArrayLike, later_rate: ArrayLike, window: ArrayLike, usual_rate: ArrayLike
) -> tuple[Floats, Floats]:
    """Injury of a multiplying pest, and how it compares with ordinary growth.

    Parameters
    ----------
    cumulative : (place, draw, day) sum of daily rates up to the morning of each day, column 0 zero [1]
    later_rate : (place, draw) rate afterwards [1/day]
    window : (place or 1, draw) days until feeding no longer costs yield [day]
    usual_rate : (place or 1, draw) the rate that ordinary weather without enemies would give [1/day]

    Returns
    -------
    progress (day, place, draw), and pest-days over the window as a multiple of those at the usual rate (place, draw)
    """
    later = np.asarray(later_rate, float)
    rates = np.moveaxis(np.broadcast_to(cumulative, (*later.shape, np.shape(cumulative)[-1])), -1, 0)
    shape, rows = later.shape, np.arange(later.shape[0])
    one, length = np.ones(shape), np.broadcast_to(window, shape)
    before, whole = pest_days_by_day(one, rates, rows, later, _ROOMY, length)
    ordinary = np.broadcast_to(usual_rate, shape)
    steady = np.arange(rates.shape[0])[:, None, None] * ordinary
    _, usual = pest_days_by_day(one, steady, rows, ordinary, _ROOMY, length)
    return before / whole, whole / usual


@dataclass(frozen=True)
class Larva:
    """A feeding larva: degree-days, length and share of all feeding done at the end of each instar, from hatch.

    `degree_days`, `length` [mm] and `done` begin with the values at hatch and rise; `done` ends at 1.
    """

    degree_days: Floats
    length: Floats
    done: Floats

    def age_at(self, length: ArrayLike) -> Floats:
        """Degree-days since hatch of a larva of this length [mm]; held at the ends."""
        return np.asarray(np.interp(np.asarray(length, float), self.length, self.degree_days))

    def length_at(self, age: ArrayLike) -> Floats:
        """Length [mm] at so many degree-days since hatch."""
        return np.asarray(np.interp(np.asarray(age, float), self.degree_days, self.length))

    def eaten_at(self, age: ArrayLike) -> Floats:
        """Share of a lifetime's feeding done at so many degree-days since hatch."""
        return np.asarray(np.interp(np.asarray(age, float), self.degree_days, self.done))

    def until_half(self, age: ArrayLike) -> Floats:
        """Degree-days from this age until half of the feeding still ahead is done."""
        now = np.asarray(age, float)
        return np.asarray(np.interp((1.0 + self.eaten_at(now)) / 2, self.done, self.degree_days) - now)

    def progress(self, age: ArrayLike, ahead: ArrayLike) -> Floats:
        """Share of the feeding still ahead that is done by each day.

        `age` (place or 1, draw or 1) degree-days since hatch today; `ahead` (day, place or 1, draw or 1) degree-days
        from today to the morning of each day.
        """
        now = self.eaten_at(age)
        later = self.eaten_at(np.asarray(age, float) + np.asarray(ahead, float))
        left = 1.0 - now
        return np.where(left > 0, (later - now) / np.where(left > 0, left, 1.0), 1.0)


def larva_from_instars(total: float, length: ArrayLike, eaten: ArrayLike) -> Larva:
    """A larva whose `total` degree-days are split evenly over instars.

    `length` [mm] at the end of each instar and `eaten`, each instar's share of all feeding, one value an instar.
    """
    sizes, parts = np.asarray(length, float), np.asarray(eaten, float)
    steps = np.linspace(0.0, total, len(sizes) + 1)
    done = np.concatenate([[0.0], np.cumsum(parts) / parts.sum()])
    return Larva(steps, np.concatenate([[0.0], sizes]), done)
