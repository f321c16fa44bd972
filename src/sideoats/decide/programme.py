"""Small linear programmes, many at once: each is solved by itself, the same to the last bit in any company.

``min c x`` subject to ``A x <= b``, ``sum x = total`` (over the columns that fill) and ``0 <= x <= upper``, for
programmes of a dozen variables and rows. All of them step together through a primal simplex with bounded variables [1]_
on dense tableaus; every operation is elementwise over the programmes, so none can move another's last figure, and
nothing but NumPy is imported. A general solver (HiGHS, by `scipy.optimize`) takes longer to be imported than these take
to be solved; the tests hold this one against it.

Ties are broken by further objectives, in order: among the cheapest solutions the second objective is made least, and so
on. Entering columns are those of steepest descent, and by Bland's rule [2]_ once a programme has taken many steps, so
that none goes round in circles.

References
----------
.. [1] Dantzig, G.B., Linear Programming and Extensions, Princeton 1963, ch. 18 (bounded variables).
.. [2] Bland, R.G., New finite pivoting rules for the simplex method, Math. Oper. Res. 2:103, 1977.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]

SMALL = 1e-9  # of rows scaled to 1: what is less is nought
_STEEPEST = 60  # steps by steepest descent before Bland's rule
_MOST = 2000  # steps, far beyond any programme of this size
_CHUNK = 256  # programmes at once: their tableaus stay in the cache


@dataclass(frozen=True, eq=False)
class Solved:
    """Solutions of n programmes.

    Attributes
    ----------
    x : (n, column), NaN where there is none
    feasible : (n,)
    marginal : (n, row) change of ``c x`` for one unit more of b; 0 where the row does not bind, never positive
    reduced : (n, column) by how much the cost of a column must fall before it enters; below 0 by how much it may rise
        before one that stands at its upper bound leaves it; 0 for the others
    """

    x: Floats
    feasible: Bools
    marginal: Floats
    reduced: Floats


def solve(
    objectives: Sequence[Floats], a: Floats, b: Floats, total: Floats, upper: Floats, fills: Floats | float = 1.0
) -> Solved:
    """Solve every programme.

    Parameters
    ----------
    objectives : (n, column) each; the first is the cost, the others break ties, each made least in turn
    a, b : (n, row, column) and (n, row)
    total : (n,) what x adds up to; above 0
    upper : (n, column) at least 0; infinite for none
    fills : (column,) or (n, column) 1 for those that the sum is over, else 0

    Raises
    ------
    RuntimeError : a programme that did not come to an end (not finite, or far out of scale)
    """
    n, rows, columns = a.shape
    over = np.broadcast_to(np.asarray(fills, np.float64), (n, columns))
    out = Solved(np.full((n, columns), np.nan), np.zeros(n, bool), np.zeros((n, rows)), np.zeros((n, columns)))
    for start in range(0, n, _CHUNK):
        at = slice(start, start + _CHUNK)
        tableau = _Tableau([c[at] for c in objectives], a[at], b[at], total[at], upper[at], over[at])
        out.feasible[at] = tableau.run()
        x, marginal, reduced = tableau.read()
        out.x[at] = np.where(out.feasible[at, None], x, np.nan)
        out.marginal[at] = np.where(out.feasible[at, None], marginal, 0.0)
        out.reduced[at] = np.where(out.feasible[at, None], reduced, 0.0)
    return out


class _Tableau:
    """Tableaus of some programmes, scaled: x in shares of the total, each row by its largest coefficient.

    Columns are the variables, then one slack a row, then the right side; rows are those of `a`, then that of the sum.
    Artificial variables have no column: they only leave. A variable at its upper bound is flipped (``upper - x``).
    """

    def __init__(
        self, objectives: Sequence[Floats], a: Floats, b: Floats, total: Floats, upper: Floats, fills: Floats
    ) -> None:
        n, rows, columns = a.shape
        self.rows, self.columns, self.total = rows, columns, total
        largest = np.abs(a).max(axis=2, initial=0.0)
        self.scale = np.where(largest > 0, largest, 1.0)
        sign = np.where(b < 0, -1.0, 1.0)
        self.t = np.zeros((n, rows + 1, columns + rows + 1))
        self.t[:, :rows, :columns] = a / self.scale[:, :, None] * sign[:, :, None]
        self.t[:, np.arange(rows), columns + np.arange(rows)] = sign
        self.t[:, :rows, -1] = b / self.scale / total[:, None] * sign
        self.t[:, rows, :columns] = fills
        self.t[:, rows, -1] = 1.0
        self.upper = np.concatenate([upper / total[:, None], np.full((n, rows), np.inf)], axis=1)
        self.flipped = np.zeros((n, columns + rows), bool)
        self.basis = np.where(b < 0, -1, columns + np.arange(rows))  # -1: an artificial variable
        self.basis = np.concatenate([self.basis, np.full((n, 1), -1)], axis=1)
        self.price = np.zeros((n, 1 + len(objectives), columns + rows + 1))
        for row in range(rows + 1):  # one by one, so that the sum does not hang on the shape
            self.price[:, 0] -= np.where((self.basis[:, row] < 0)[:, None], self.t[:, row], 0.0)
        for at, objective in enumerate(objectives, 1):
            size = np.abs(objective).max(axis=1, initial=0.0)
            self.price[:, at, :columns] = objective / np.where(size > 0, size, 1.0)[:, None]
        self.size = np.abs(objectives[0]).max(axis=1, initial=0.0)

    def run(self) -> Bools:
        """Make each objective least in turn; (n,) True where there is a solution at all."""
        self._descend(0, np.arange(len(self.total)), np.inf)
        feasible = np.asarray(self._left() <= SMALL)
        for at in range(1, self.price.shape[1]):
            self._descend(at, np.flatnonzero(feasible), 0.0)
        return feasible

    def _left(self) -> Floats:
        """(n,) sum of the artificial variables."""
        out = np.zeros(len(self.total))
        for row in range(self.rows + 1):
            out += np.where(self.basis[:, row] < 0, np.abs(self.t[:, row, -1]), 0.0)
        return out

    def _descend(self, at: int, going: Ints, artificial: float) -> None:
        """Step while a column makes objective `at` less and no earlier one more; `artificial`: their upper bound."""
        for step in range(_MOST):
            entering = self._entering(at, going, step >= _STEEPEST)
            going, entering = going[entering >= 0], entering[entering >= 0]
            if not going.size:
                return
            self._step(going, entering, artificial)
        raise RuntimeError("a linear programme did not come to an end")

    def _entering(self, at: int, going: Ints, bland: bool) -> Ints:
        """The column that enters each programme, -1 where none does."""
        reduced = self.price[going, at, :-1]
        open_ = (reduced < -SMALL) & (self.upper[going] > 0)
        for earlier in range(1, at):
            open_ &= self.price[going, earlier, :-1] <= SMALL
        best = np.where(open_, reduced, np.inf)
        found = open_.argmax(axis=1) if bland else best.argmin(axis=1)
        return np.where(open_.any(axis=1), found, -1)

    def _step(self, going: Ints, entering: Ints, artificial: float) -> None:
        """Let the entering column rise until something reaches a bound: it leaves, or the column itself flips."""
        t = self.t[going]
        column = np.take_along_axis(t, entering[:, None, None], axis=2)[:, :, 0]
        right = t[:, :, -1]
        own = np.take_along_axis(
            np.concatenate([self.upper[going], np.full((going.size, 1), artificial)], axis=1), self.basis[going], axis=1
        )
        with np.errstate(divide="ignore", invalid="ignore"):
            down = np.where(column > SMALL, np.maximum(right, 0.0) / column, np.inf)
            up = np.where((column < -SMALL) & np.isfinite(own), np.maximum(own - right, 0.0) / -column, np.inf)
        ratio = np.minimum(down, up)
        least = ratio.min(axis=1)
        tied = ratio <= least[:, None]
        leaving = np.where(tied, self.basis[going], self.columns + self.rows).argmin(axis=1)
        flips = self.upper[going, entering] <= least
        if not np.isfinite(np.where(flips, self.upper[going, entering], least)).all():
            raise RuntimeError("a linear programme has no least cost")
        self._flip(going[flips], entering[flips])
        rest, at = going[~flips], leaving[~flips]
        self._lift(rest, at, (up < down)[~flips][np.arange(rest.size), at], artificial)
        self._pivot(rest, at, entering[~flips])

    def _flip(self, going: Ints, column: Ints) -> None:
        """Count a variable from its upper bound down, or back."""
        bound = self.upper[going, column]
        for table in (self.t, self.price):
            held = table[going, :, column]
            table[going, :, -1] -= held * bound[:, None]
            table[going, :, column] = -held
        self.flipped[going, column] ^= True

    def _lift(self, going: Ints, row: Ints, high: Bools, artificial: float) -> None:
        """A variable that leaves at its upper bound is flipped in its row, so that it leaves at nought."""
        going, row = going[high], row[high]
        variable = self.basis[going, row]
        bound = np.where(variable < 0, artificial, self.upper[going, np.maximum(variable, 0)])
        self.t[going, row] *= -1.0
        self.t[going, row, -1] += bound
        real = variable >= 0
        self.t[going[real], row[real], variable[real]] *= -1.0
        self.flipped[going[real], variable[real]] ^= True

    def _pivot(self, going: Ints, row: Ints, column: Ints) -> None:
        """The entering column takes the place of the row's variable."""
        if not going.size:
            return
        pivot = self.t[going, row] / self.t[going, row, column][:, None]
        for table in (self.t, self.price):
            table[going] -= table[going, :, column][:, :, None] * pivot[:, None, :]
        self.t[going, row] = pivot
        self.basis[going, row] = column

    def read(self) -> tuple[Floats, Floats, Floats]:
        """(n, column) solutions, (n, row) marginals and (n, column) reduced costs in the units they were asked in."""
        n = len(self.total)
        values = np.zeros((n, self.columns + self.rows))
        for row in range(self.rows + 1):
            held = np.flatnonzero(self.basis[:, row] >= 0)
            values[held, self.basis[held, row]] = np.maximum(self.t[held, row, -1], 0.0)
        values = np.where(self.flipped, self.upper - values, values)[:, : self.columns]
        slack = self.price[:, 1, self.columns : -1]
        reduced = np.where(self.flipped[:, : self.columns], -1.0, 1.0) * self.price[:, 1, : self.columns]
        marginal = -np.maximum(slack, 0.0) * (self.size[:, None] / self.scale)
        return values * self.total[:, None], marginal, reduced * self.size[:, None]
