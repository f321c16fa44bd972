"""Which places to visit with the hours there are: worth of a look for each hour, counting the road.

A visit is worth what the looks at that place are worth; it costs the time on the spot and the detour. Visits are added
one by one, each time the one that brings most for each extra hour, at the point of the round where it adds least road
(cheapest insertion). That is a heuristic: it is compared with every order in tests/property/test_insects_planner.py.
What may not wait, or has no price, has an earlier turn: hours go to the visits of a turn before the next is tried.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sideoats.station import km_between

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Round:
    """A round of visits.

    Attributes
    ----------
    order : rows in the order of the round
    hours : of each visit on the spot, in that order; road_hours : driving in all, back to the start
    worth : of each visit, in that order
    left : rows not visited, by turn, the most worth an hour first
    """

    order: NDArray[np.int64]
    hours: Floats
    road_hours: float
    worth: Floats
    left: NDArray[np.int64]

    @property
    def hours_in_all(self) -> float:
        """Time on the spot and on the road."""
        return float(self.hours.sum() + self.road_hours)


def road_hours(latitude: ArrayLike, longitude: ArrayLike, *, speed: float, winding: float) -> Floats:
    """Driving hours between every two points: great circle x `winding` / `speed`.

    Parameters
    ----------
    latitude, longitude : (n,) degrees; a point that is not known (NaN) counts as standing at the mean of the others
    speed : [km/h]; winding : road over straight line
    """
    lat, lon = np.asarray(latitude, float), np.asarray(longitude, float)
    lat, lon = (np.where(np.isnan(v), np.nanmean(v) if np.isfinite(v).any() else 0.0, v) for v in (lat, lon))
    return np.asarray(km_between(lat[:, None], lon[:, None], lat, lon) * winding / speed)


def first_look_worth(over: float, excess: float, cost: float) -> float:
    """What a first look at a field is worth, where only the chance that it is over the threshold is known.

    A field over the threshold holds `excess` times it and loses so many treatments' cost; without a look one treats all
    such fields or none, with it those that pay: the value of perfect information of that choice.

    Parameters
    ----------
    over : chance of being over the threshold, 0 to 1
    excess : density over the threshold in such a field, above 1; none is lost in the others
    cost : of one treatment, any money

    Returns
    -------
    money, in the unit of `cost`
    """
    saved = over * (excess - 1.0) * cost
    return saved - max(0.0, saved - (1.0 - over) * cost)


def plan_round(
    worth: ArrayLike, hours: ArrayLike, road: ArrayLike, available: float, *, turn: ArrayLike | None = None
) -> Round:
    """A round from and back to the start within the hours there are.

    Parameters
    ----------
    worth : (n,) of a visit [USD]; hours : (n,) on the spot [h]
    road : (n + 1, n + 1) driving hours, row and column 0 the start [h]
    available : hours in all [h]
    turn : (n,) whole numbers, the lower before the higher whatever they are worth; all the same where None
    """
    gain, stay, ways = np.asarray(worth, float), np.asarray(hours, float), np.asarray(road, float)
    turns = np.zeros(len(gain), dtype=np.int64) if turn is None else np.asarray(turn, dtype=np.int64)
    route, spent = [0, 0], 0.0
    for now in np.unique(turns).tolist():
        spent = _fill(route, spent, np.flatnonzero((turns == now) & (gain > 0)).tolist(), gain, stay, ways, available)
    order = np.array([n - 1 for n in route[1:-1]], dtype=np.int64)
    driving = float(sum(ways[a, b] for a, b in pairwise(route)))
    left = np.array([i for i in range(len(gain)) if i not in set(order.tolist())], dtype=np.int64)
    left = left[np.lexsort((-gain[left] / np.maximum(stay[left], 1e-9), turns[left]))]
    return Round(order, stay[order], driving, gain[order], left)


def _fill(
    route: list[int], spent: float, waiting: list[int], gain: Floats, stay: Floats, ways: Floats, available: float
) -> float:
    """Put into the route what of `waiting` there are hours for, the best rate first; the hours spent then."""
    while waiting:
        best = None
        for i in waiting:
            node = i + 1
            detours = [ways[a, node] + ways[node, b] - ways[a, b] for a, b in pairwise(route)]
            at = int(np.argmin(detours))
            extra = detours[at] + stay[i]
            rate = gain[i] / max(extra, 1e-9)
            if spent + extra <= available + 1e-9 and (best is None or rate > best[0]):
                best = (rate, i, at, extra)
        if best is None:
            break
        _, chosen, at, extra = best
        route.insert(at + 1, chosen + 1)
        waiting.remove(chosen)
        spent += extra
    return spent
