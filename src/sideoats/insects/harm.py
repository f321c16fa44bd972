"""How the injury ahead is spread over coming days, so that treating on day d saves what has not happened yet.

Progress is the share of the injury ahead that is done by the morning of day 0, 1, 2, ... if nothing is treated: 0
today, 1 when the pest has finished.  With it one engine serves pests that feed steadily, that multiply, and that grow.
All progress arrays are (day, place or 1, draw or 1).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sideoats.insects.treatment import losses, pest_days_by_day

Floats = NDArray[np.float64]
_ROOMY = 1e12  # a ceiling that no field reaches: a nominal threshold says nothing of crowding


def steady_progress(window: ArrayLike, days: int) -> Floats:
    """Injury done at an even pace over `window` days (place or 1, draw or 1)."""
    length = np.asarray(window, float)
    return np.asarray(np.minimum(np.arange(days)[:, None, None] / length, 1.0))


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


def treatment_payoffs(
    at_stake: ArrayLike, progress: ArrayLike, prevented: ArrayLike, cap: ArrayLike, cost: ArrayLike
) -> Floats:
    """Money for treating on each day and for never treating, counted from a crop without the pest.

    Parameters
    ----------
    at_stake : (place, draw) money the injury ahead would cost if nothing capped it [USD/ac]
    progress : (day, place or 1, draw or 1) share of it done by each treatment day
    prevented : (day or 1, place or 1, draw or 1) share of the rest that a treatment on that day prevents
    cap : (place, draw or 1) the most that can be lost [USD/ac]
    cost : (place,) of one treatment [USD/ac]

    Returns
    -------
    (place, draw, day + 1): the last is never; zero or negative [USD/ac]
    """
    stake = np.asarray(at_stake, float)
    done, never = losses(np.asarray(progress, float) * stake, stake, 1.0, cap, prevented)
    spent = np.asarray(cost, float)[:, None]
    payoff = np.empty((stake.shape[0], done.shape[0] + 1, stake.shape[1]))
    for day in range(done.shape[0]):
        payoff[:, day] = -done[day] - spent
    payoff[:, -1] = -never
    return payoff.transpose(0, 2, 1)
