"""Looking thresholds up in published tables, for many places at once, and turning them into what a pest costs.

A nominal threshold rests on experience and moves with neither price nor cost.  To weigh it in money it is read as the
density at which control just paid in the case that it was printed for: a reference cost, price, yield and year, which
are facts.  That fixes what one pest costs; price and yield scale it, and a grower's own cost is only subtracted.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


def look_up(
    keys: Sequence[tuple[str, ...]], table: Mapping[tuple[str, ...], tuple[float, float]]
) -> tuple[Floats, Floats]:
    """Low and high threshold of each place by its key, such as (stage, sample unit); NaN where the table has none."""
    distinct = {key: table.get(key, (np.nan, np.nan)) for key in set(keys)}
    found = np.array([distinct[key] for key in keys], dtype=float).reshape(-1, 2)
    return found[:, 0], found[:, 1]


def rows_by_key(
    columns: Sequence[str], rows: Sequence[Sequence[Any]], by: Sequence[str]
) -> dict[tuple[str, ...], tuple[float, float]]:
    """A published table with columns low and high as a mapping from the values of the columns named in `by`."""
    at = [list(columns).index(name) for name in by]
    low, high = list(columns).index("low"), list(columns).index("high")
    return {tuple(str(row[i]) for i in at): (float(row[low]), float(row[high])) for row in rows}


def first_known(candidates: Sequence[tuple[str, Floats, Floats]]) -> tuple[NDArray[np.object_], Floats, Floats]:
    """For each place the first publisher with a figure: (publisher, low, high), "" and NaN where none has one."""
    size = len(candidates[0][1])
    who = np.full(size, "", dtype=object)
    low, high = np.full(size, np.nan), np.full(size, np.nan)
    for name, lows, highs in candidates:
        fill = np.isnan(low) & ~np.isnan(lows)
        who[fill] = name
        low, high = np.where(fill, lows, low), np.where(fill, highs, high)
    return who, low, high


def bounded_loss(loss: ArrayLike, most: ArrayLike) -> Floats:
    """Loss that follows a straight line while small and nears `most` without a corner, ``x / sqrt(1 + (x/most)^2)``.

    Published slopes were measured on the straight part; no number of pests takes more than the crop has.  Both in the
    same unit; an infinite `most` leaves the line as it is, and nothing can be lost where `most` is zero.
    """
    x, roof = np.broadcast_arrays(np.asarray(loss, float), np.asarray(most, float))
    some = roof > 0
    ratio = np.where(some, x / np.where(some, roof, 1.0), 0.0)
    return np.where(some, x / np.sqrt(1.0 + ratio * ratio), 0.0)


def line_at_loss(loss: ArrayLike, most: ArrayLike) -> Floats:
    """The straight line's value at which `bounded_loss` gives this loss: its inverse; infinite where it never does."""
    y, roof = np.broadcast_arrays(np.asarray(loss, float), np.asarray(most, float))
    reached = (y < roof) & (roof > 0)
    ratio = np.where(reached, y / np.where(roof > 0, roof, 1.0), 0.0)
    return np.where(reached, y / np.sqrt(1.0 - ratio * ratio), np.where(y <= 0, 0.0, np.inf))


@dataclass(frozen=True)
class Reference:
    """The case in which a printed threshold is taken to break even.

    Attributes
    ----------
    cost : of control [USD/ac]
    price : of the crop [USD per unit of yield]; yields : without the pest [unit of yield/ac]
    prevented : share of the loss that control prevents
    year : of price and cost
    most : greatest share of the crop that the pest can take
    by_share : the pest takes a share of the crop; else so much of it, whatever the yield
    """

    cost: float
    price: float
    yields: float
    prevented: float
    year: str
    most: float
    by_share: bool

    def line(self, price: ArrayLike, yields: ArrayLike) -> Floats:
        """Money that a density at the threshold costs on the straight line, at any price and yield [USD/ac]."""
        at_level = line_at_loss(self.cost / self.prevented, self.most * self.price * self.yields)
        times = np.asarray(price, float) / self.price
        return np.asarray(at_level * times * (np.asarray(yields, float) / self.yields if self.by_share else 1.0))


def scaled_table(cost: ArrayLike, value: ArrayLike, coefficient: float, offset: ArrayLike) -> Floats:
    """Injury level of a table that follows ``coefficient x cost/value - offset`` (alfalfa weevil by stem height)."""
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):  # hay worth next to nothing pays for no spray
        ratio = np.asarray(cost, float) / np.asarray(value, float)
    return np.asarray(coefficient * ratio - np.asarray(offset, float))


def saved_by_scaled_table(
    density: ArrayLike, value: ArrayLike, coefficient: float, offset: ArrayLike, least_ratio: float
) -> Floats:
    """Money that treating saves by the same table, its inverse: ``value x (density + offset) / coefficient``.

    Below the density where the printed table begins (`least_ratio` of cost over value) the straight line is drawn to
    zero instead, since no larvae can cost nothing.
    """
    n, v, c = (np.asarray(x, float) for x in (density, value, offset))
    first = coefficient * least_ratio - c
    inside = v * (n + c) / coefficient
    below = v * least_ratio * n / first
    return np.asarray(np.where(n >= first, inside, below))
