"""Looking thresholds up in published tables, for many places at once, and turning them into what a pest costs.

A nominal threshold rests on experience and moves with neither price nor cost.  To weigh it in money it is read as the
density at which the injury ahead just pays for a treatment: a count at twice the threshold puts twice that at stake.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
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


def at_stake_by_threshold(density: ArrayLike, threshold: ArrayLike, cost: ArrayLike, usual_efficacy: float) -> Floats:
    """Money at stake by a nominal threshold: what control costs there, over what control prevents [USD/ac].

    `density` and `threshold` (place, draw) in the same unit, `cost` (place,) USD/ac; at the threshold, a treatment of
    usual efficacy that stops everything ahead just pays. Not finite at a threshold of zero, which control that costs
    nothing has.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.asarray(density, float) / np.asarray(threshold, float)
        return np.asarray(ratio * np.asarray(cost, float)[:, None] / usual_efficacy)


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
