"""What treated and untreated strips say of a pest's loss: the published slope times a factor, with its interval.

Of each pair of strips the question says what the treatment should have saved, and the scale said what it did. The
factor is the slope of the one on the other through zero: 1 where the published loss holds here.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

_Z = 1.2816  # of an 80 % interval


@dataclass(frozen=True)
class Refit:
    """The factor on the published loss: of the strips alone, and weighed with what is published (80 % intervals)."""

    strips: int
    alone: float
    alone_low: float
    alone_high: float
    factor: float
    low: float
    high: float


def refit(expected: ArrayLike, seen: ArrayLike, *, spread: float, fewest: int) -> Refit | None:
    """Fit the factor; None for fewer than `fewest` pairs or where nothing was to be expected of any.

    Parameters
    ----------
    expected, seen : (pair,) what the treatment should have saved by the published loss and did save, any one unit
    spread : standard deviation of the factor about 1 before any strip
    fewest : pairs, at least three

    Notes
    -----
    ``f = sum(x y) / sum(x^2)`` with variance ``s^2 / sum(x^2)``, s from the residuals with n - 1 degrees of freedom and
    Student's t; then the mean of it and of 1, each weighed by its precision. It is kept above a twentieth.
    """
    from scipy.stats import t

    x, y = np.asarray(expected, float), np.asarray(seen, float)
    known = np.isfinite(x) & np.isfinite(y)
    x, y = x[known], y[known]
    if len(x) < max(fewest, 3) or not np.sum(x * x) > 0:
        return None
    alone = float(np.sum(x * y) / np.sum(x * x))
    left = float(np.sum((y - alone * x) ** 2) / (len(x) - 1))
    wide = float(t.ppf(0.9, len(x) - 1)) * float(np.sqrt(left / np.sum(x * x)))
    error = max(wide / _Z, 1e-6)
    own, before = 1 / error**2, 1 / spread**2
    factor = (own * alone + before) / (own + before)
    half = _Z / float(np.sqrt(own + before))
    ends = (max(factor + side * half, 0.05) for side in (-1, 1))
    return Refit(len(x), alone, alone - wide, alone + wide, max(factor, 0.05), *ends)
