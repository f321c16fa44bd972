"""Ranges and chances brought nearer to what came, as far as there is evidence: pure array functions, shrunk to none.

A range is moved and widened in units of its own half: an outcome lies ``v = (came - middle) / half`` from its middle,
and 80 % of ``|v - shift|`` should be under 1. A chance is moved along its log odds. Both start from no change and leave
it only as outcomes are many: as if so many outcomes that agreed (`PRIOR`) had been seen before the first.

References
----------
Platt, J., Probabilistic outputs for support vector machines, 1999 (from memory): chances moved along their log odds.
Gneiting, T., Balabdaoui, F., Raftery, A.E., J. R. Stat. Soc. B 69:243-268, 2007 (from memory): sharp, given calibrated.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

PRIOR = 20.0  # outcomes that agree with what is said, in hand before the first (common practice, no source)
STATED = 0.8  # what the ranges are meant to hold
_LEAST, _MOST = 0.25, 4.0  # of a range's widening: beyond it the question is wrong, not its spread
_EDGE = 1e-4


@dataclass(frozen=True)
class Widened:
    """How ranges are moved and widened.

    Attributes
    ----------
    shift : of the middle, in halves of the range
    factor : of the half
    count, held : outcomes behind it, and how many of them the raw ranges held
    """

    shift: float = 0.0
    factor: float = 1.0
    count: int = 0
    held: int = 0

    def text(self) -> str:
        """One line that `widening` reads again."""
        return f"{self.held} of {self.count} held; shift {self.shift:.4f}, factor {self.factor:.4f}"

    def apply(self, low: ArrayLike, high: ArrayLike) -> tuple[Floats, Floats]:
        """The ends of ranges so moved."""
        a, b = np.asarray(low, np.float64), np.asarray(high, np.float64)
        half, middle = (b - a) / 2, (a + b) / 2
        return middle + half * (self.shift - self.factor), middle + half * (self.shift + self.factor)


_TEXT = re.compile(r"(\d+) of (\d+) held; shift (-?[\d.]+), factor ([\d.]+)")


def widening(text: str) -> Widened | None:
    """The inverse of `Widened.text`; None for any other text."""
    found = _TEXT.fullmatch(text.strip())
    if found is None:
        return None
    held, count, shift, factor = found.groups()
    return Widened(float(shift), float(factor), int(count), int(held))


def widened(low: ArrayLike, high: ArrayLike, came: ArrayLike, start: Widened | None = None) -> Widened:
    """What ranges and outcomes (n,) say, shrunk to `start` (of all questions together; no change where None)."""
    a, b, y = (np.asarray(x, np.float64) for x in (low, high, came))
    begin = start or Widened()
    known = np.isfinite(a + b + y) & (b > a)
    a, b, y = a[known], b[known], y[known]
    n = len(y)
    if n < 2:
        return Widened(begin.shift, begin.factor, n, int(((y >= a) & (y <= b)).sum()))
    v = (2 * y - a - b) / (b - a)
    weight = n / (n + PRIOR)
    shift = weight * float(np.median(v)) + (1 - weight) * begin.shift
    wide = float(np.clip(np.quantile(np.abs(v - shift), STATED), _LEAST, _MOST))
    factor = float(np.exp(weight * np.log(wide) + (1 - weight) * np.log(begin.factor)))
    return Widened(shift, factor, n, int(((y >= a) & (y <= b)).sum()))


@dataclass(frozen=True)
class Moved:
    """How chances are moved: log odds times `slope` plus `shift`; `count` outcomes behind it."""

    shift: float = 0.0
    slope: float = 1.0
    count: int = 0

    def apply(self, chance: ArrayLike) -> Floats:
        """The chances so moved, 0 to 1."""
        p = np.clip(np.asarray(chance, np.float64), _EDGE, 1 - _EDGE)
        return np.asarray(1.0 / (1.0 + np.exp(-(self.shift + self.slope * np.log(p / (1 - p))))))


def moved(chance: ArrayLike, came: ArrayLike, start: Moved | None = None) -> Moved:
    """What stated chances and outcomes (n,) of 0 and 1 say, shrunk to `start` (no change where None).

    The maximum of the likelihood with a normal prior on shift and slope about the start, of variance 1 / `PRIOR` times
    four: about what so many outcomes of even odds would allow. Newton's steps, which cannot miss a concave maximum.
    """
    begin = start or Moved()
    p, y = np.asarray(chance, np.float64), np.asarray(came, np.float64)
    known = np.isfinite(p + y)
    p, y = np.clip(p[known], _EDGE, 1 - _EDGE), y[known]
    if not len(y):
        return Moved(begin.shift, begin.slope, 0)
    x = np.stack([np.ones(len(p)), np.log(p / (1 - p))], axis=1)
    centre = np.array([begin.shift, begin.slope])
    tight = np.diag([PRIOR / 4, PRIOR / 4])
    beta = centre.copy()
    for _ in range(25):
        q = 1.0 / (1.0 + np.exp(-x @ beta))
        slope = x.T @ (y - q) - tight @ (beta - centre)
        step = np.linalg.solve((x * (q * (1 - q))[:, None]).T @ x + tight, slope)
        beta += step
        if np.abs(step).max() < 1e-9:
            break
    return Moved(float(beta[0]), float(beta[1]), len(y))
