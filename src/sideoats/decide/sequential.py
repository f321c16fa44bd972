"""Decisions that can be made again at stated days: what keeping the choice open is worth, by regression on the draws.

At each day one stops (sells, moves cattle off, cuts) or goes on. What going on is worth, given what will be seen by
that day, is fitted on the draws from the last day backward [1]_: least-squares Monte Carlo. The fit is made on one half
of the draws and followed on the other, both ways about, so that a choice that learns nothing is worth nothing: what is
found lies under the true value, never over it by having looked ahead.

References
----------
.. [1] Longstaff, F.A. and Schwartz, E.S., Valuing American options by simulation: a simple least-squares approach,
   Review of Financial Studies 14:113-147, 2001 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

_RIDGE = 1e-8  # of the normal equations, so that a state without spread fits a mean


@dataclass(frozen=True, eq=False)
class Sequential:
    """What deciding again is worth; (place,) unless said.

    Attributes
    ----------
    value : mean money of stopping when the fit says so
    fixed : mean money of the best day fixed today
    day : index of that day
    stops : (place, draw) index of the day on which each future stops
    """

    value: Floats
    fixed: Floats
    day: Ints
    stops: Ints

    @property
    def worth_of_waiting(self) -> Floats:
        """(place,) what deciding again adds over the best day fixed today; 0 where it adds nothing."""
        return np.asarray(np.maximum(self.value - self.fixed, 0.0))


def sequential(pay: Floats, state: Floats, open_: Bools | None = None, *, degree: int = 2) -> Sequential:
    """Value stopping on one of several days.

    Parameters
    ----------
    pay : (place, draw, day) money of stopping on each day, the first today, whose mean is what stopping now brings
    state : (place, draw, day) or (place, draw, day, feature) what is seen by each day that tells of the days after it
    open_ : (place, day) days on which one may stop; all where None. The last open day ends it
    degree : of the polynomial in each feature; two features also meet
    """
    n, draws, days = pay.shape
    seen = state[..., None] if state.ndim == 3 else state
    may = np.ones((n, days), bool) if open_ is None else open_
    money = np.where(may[:, None, :], pay, -np.inf)
    mean = np.where(may, np.where(may[:, None, :], pay, 0.0).mean(axis=1), -np.inf)
    last = days - 1 - np.argmax(may[:, ::-1], axis=1)
    at = np.arange(n)
    kept = np.take_along_axis(money, last[:, None, None], axis=2)[:, :, 0]
    stops = np.repeat(last[:, None], draws, axis=1)
    halves = np.arange(draws) % 2 == 0
    for day in range(days - 2, 0, -1):
        rows = np.flatnonzero(may[:, day] & (day < last))
        if not rows.size:
            continue
        on = np.empty((rows.size, draws))
        base = _powers(seen[rows, :, day], degree)
        for half in (halves, ~halves):  # fitted on the one, followed on the other
            on[:, ~half] = (base[:, ~half] @ _fit(base[:, half], kept[rows][:, half]))[..., 0]
        stop = money[rows, :, day] > on
        kept[rows] = np.where(stop, money[rows, :, day], kept[rows])
        stops[rows] = np.where(stop, day, stops[rows])
    today = mean[:, 0]
    going = kept.mean(axis=1)
    now = may[:, 0] & (today >= going)
    stops = np.where(now[:, None], 0, stops)
    return Sequential(np.where(now, today, going), mean.max(axis=1), np.argmax(mean, axis=1)[at], stops)


def _powers(x: Floats, degree: int) -> Floats:
    """(place, draw, column) powers of standardized features, and products of pairs."""
    middle, spread = x.mean(axis=1, keepdims=True), x.std(axis=1, keepdims=True)
    z = (x - middle) / np.where(spread > 0, spread, 1.0)
    columns = [np.ones(z.shape[:2]), *(z[..., f] ** d for f in range(z.shape[2]) for d in range(1, degree + 1))]
    columns += [z[..., a] * z[..., b] for a in range(z.shape[2]) for b in range(a)]
    return np.stack(columns, axis=2)


def _fit(base: Floats, y: Floats) -> Floats:
    """(place, column, 1) least squares of each place."""
    square = np.einsum("pdi,pdj->pij", base, base) + _RIDGE * base.shape[1] * np.eye(base.shape[2])
    return np.asarray(np.linalg.solve(square, np.einsum("pdi,pd->pi", base, y)[..., None]))
