"""How varieties respond to environments: regression on the environment, stability variances, principal axes.

All functions take a complete table (variety, environment) of means; rows and columns with gaps are left out by
`complete` first, and said so.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sideoats.errors import InputError
from sideoats.wheat.trials.terms import Floats


def complete(means: ArrayLike) -> tuple[Floats, NDArray[np.bool_], NDArray[np.bool_]]:
    """The largest complete part found by dropping, one at a time, the variety or environment with the most gaps.

    Returns
    -------
    table without gaps, (variety,) kept, (environment,) kept
    """
    table = np.asarray(means, np.float64)
    rows, columns = np.ones(table.shape[0], bool), np.ones(table.shape[1], bool)
    gaps = np.isnan(table)
    while gaps[np.ix_(rows, columns)].any():
        by_row = np.where(rows, gaps[:, columns].mean(axis=1), -1.0)
        by_column = np.where(columns, gaps[rows].mean(axis=0), -1.0)
        if by_row.max() >= by_column.max():
            rows[by_row.argmax()] = False
        else:
            columns[by_column.argmax()] = False
    return table[np.ix_(rows, columns)], rows, columns


def _full(means: ArrayLike, least: int) -> Floats:
    table = np.asarray(means, np.float64)
    if np.isnan(table).any() or min(table.shape) < least:
        raise InputError(
            f"{table.shape[0]} varieties in {table.shape[1]} environments with {int(np.isnan(table).sum())} gaps",
            where="stability",
            expected=f"a complete table of {least} or more of each",
        )
    return table


class Regression(NamedTuple):
    """Slopes on the environment index and mean squares of deviations, both (variety,)."""

    slope: Floats
    deviation: Floats


def finlay_wilkinson(means: ArrayLike) -> Regression:
    """Slope b_i of each variety on the environment means (mean slope 1), and S_d^2 = SS of deviations / (e - 2).

    Finlay and Wilkinson, Aust. J. Agric. Res. 14:742-754, 1963; Eberhart and Russell, Crop Sci. 6:36-40, 1966 (from
    memory; pooled error is not subtracted).
    """
    table = _full(means, 3)
    index = table.mean(axis=0) - table.mean()
    own = table - table.mean(axis=1, keepdims=True)
    slope = own @ index / (index @ index)
    left = own - slope[:, None] * index
    return Regression(slope, np.asarray((left**2).sum(axis=1) / (table.shape[1] - 2)))


def ecovalence(means: ArrayLike) -> Floats:
    """Wricke's W_i, each variety's part of the interaction sum of squares (variety,)."""
    return np.asarray((_interaction(_full(means, 3)) ** 2).sum(axis=1))


def shukla(means: ArrayLike) -> Floats:
    """Shukla's stability variance (variety,): their mean is the interaction mean square; may be below zero.

    [g (g-1) W_i - sum W] / [(e-1)(g-1)(g-2)], Shukla, Heredity 29:237-245, 1972 (from memory).
    """
    table = _full(means, 3)
    g, e = table.shape
    w = ecovalence(table)
    return np.asarray((g * (g - 1) * w - w.sum()) / ((e - 1) * (g - 1) * (g - 2)))


def _interaction(table: Floats) -> Floats:
    return np.asarray(table - table.mean(axis=1, keepdims=True) - table.mean(axis=0) + table.mean())


class Axes(NamedTuple):
    """Principal axes: share of the sum of squares of each, degrees of freedom, variety and environment scores."""

    share: Floats
    df: NDArray[np.int64]
    variety: Floats
    environment: Floats


def principal_axes(means: ArrayLike, *, centre: str = "both") -> Axes:
    """Singular value decomposition of a table of means.

    Parameters
    ----------
    centre : "both" takes out variety and environment means (interaction only); "environment" leaves the varieties'
        main effect in
    """
    table = _full(means, 3)
    if centre not in ("both", "environment"):
        raise InputError(f"centre {centre!r} is not known", where="stability", expected="both or environment")
    x = _interaction(table) if centre == "both" else table - table.mean(axis=0)
    left, size, right = np.linalg.svd(x, full_matrices=False)
    g, e = table.shape
    count = min(g, e) - 1
    df = np.array([g + e - 1 - 2 * (k + 1) for k in range(count)], np.int64)
    root = np.sqrt(size[:count])
    return Axes((size**2 / (size**2).sum())[:count], df, left[:, :count] * root, right[:count].T * root)


def sums_of_squares(means: ArrayLike) -> dict[str, float]:
    """Sums of squares of a table of means: variety, environment, interaction."""
    table = _full(means, 2)
    grand = table.mean()
    return {
        "variety": table.shape[1] * float(((table.mean(axis=1) - grand) ** 2).sum()),
        "environment": table.shape[0] * float(((table.mean(axis=0) - grand) ** 2).sum()),
        "interaction": float((_interaction(table) ** 2).sum()),
    }
