"""Factors and covariates of a mixed model, coded once as whole numbers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sideoats.errors import InputError

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True)
class Term:
    """One term of the model: a factor, or a covariate (with a slope for each level of a factor).

    Attributes
    ----------
    name : as shown with its variance or its estimates
    codes : (n,) level of each plot, 0 to ``len(labels) - 1``
    labels : names of the levels
    values : (n,) covariate that multiplies the level's indicator; None for a plain factor
    """

    name: str
    codes: Ints
    labels: tuple[str, ...]
    values: Floats | None = None

    def __len__(self) -> int:
        return len(self.labels)

    def column_values(self) -> Floats:
        """(n,) what stands in the design matrix at the plot's own level."""
        return np.ones(len(self.codes)) if self.values is None else self.values


def factor(name: str, *columns: ArrayLike) -> Term:
    """A factor from one column of labels, or the cross of several (levels that occur, in sorted order)."""
    if not columns:
        raise ValueError("a factor needs at least one column")
    codes, labels = _coded(columns[0])
    for column in columns[1:]:
        more, more_labels = _coded(column)
        if len(more) != len(codes):
            raise InputError(f"columns of {name} have {len(codes)} and {len(more)} rows", where="trial table")
        joint = codes * len(more_labels) + more
        found, codes = np.unique(joint, return_inverse=True)
        labels = tuple(f"{labels[j // len(more_labels)]}:{more_labels[j % len(more_labels)]}" for j in found.tolist())
    return Term(name, codes.astype(np.int64), labels)


def covariate(name: str, values: ArrayLike, by: Term | None = None) -> Term:
    """A numeric covariate with one slope, or one slope for each level of `by`."""
    x = np.asarray(values, dtype=np.float64)
    if not np.isfinite(x).all():
        raise InputError(f"covariate {name} has missing or infinite values", where="trial table")
    if by is None:
        return Term(name, np.zeros(len(x), np.int64), (name,), x)
    return Term(name, by.codes, by.labels, x)


def intercept(n: int) -> Term:
    """The overall mean."""
    return Term("mean", np.zeros(n, np.int64), ("mean",))


def _coded(column: ArrayLike) -> tuple[Ints, tuple[str, ...]]:
    values = np.asarray(column)
    if values.dtype.kind == "O":
        values = values.astype(str)
    found, codes = np.unique(values, return_inverse=True)
    return codes.astype(np.int64), tuple(str(v) for v in found.tolist())


def nested(inner: Ints, outer: Ints) -> bool:
    """True if every level of `inner` lies in one level of `outer`."""
    first = np.full(int(inner.max()) + 1, -1, dtype=np.int64)
    first[inner[::-1]] = outer[::-1]
    return bool((first[inner] == outer).all())


def redundant(fixed: Sequence[Term], weights: Floats) -> list[NDArray[np.bool_]]:
    """Which fixed levels are linear combinations of those before them (their estimates are set to zero).

    Returns one boolean array (levels,) for each term. Tolerance 1e-9 of the column's own sum of squares.
    """
    sizes = [len(t) for t in fixed]
    offsets = np.concatenate([[0], np.cumsum(sizes)]).astype(int)
    cross = np.zeros((offsets[-1], offsets[-1]))
    for a, left in enumerate(fixed):
        for b, right in enumerate(fixed):
            if b >= a:
                both = weights * left.column_values() * right.column_values()
                flat = np.bincount(left.codes * sizes[b] + right.codes, both, minlength=sizes[a] * sizes[b])
                cross[offsets[a] : offsets[a + 1], offsets[b] : offsets[b + 1]] = flat.reshape(sizes[a], sizes[b])
    cross = np.triu(cross) + np.triu(cross, 1).T
    own = np.diag(cross).copy()
    drop = np.zeros(len(own), bool)
    for k in range(len(own)):  # Gaussian elimination in the given order, so that the earlier term keeps its levels
        if cross[k, k] <= 1e-9 * max(own[k], 1e-300):
            drop[k] = True
            continue
        row = cross[k, k + 1 :]
        cross[k + 1 :, k + 1 :] -= np.outer(row, row / cross[k, k])
    return [drop[offsets[i] : offsets[i + 1]] for i in range(len(fixed))]
