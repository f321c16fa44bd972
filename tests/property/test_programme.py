"""Small linear programmes against HiGHS, alone and in company, and their ties."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from sideoats.decide.programme import solve

Floats = NDArray[np.float64]


def made(seed: int, count: int, columns: int, rows: int) -> tuple[Floats, ...]:
    """Programmes of every kind: rows of several orders of size, loose, tight or not to be met, with round prices."""
    rng = np.random.default_rng(seed)
    a = rng.normal(size=(count, rows, columns)) * 10.0 ** rng.integers(-3, 3, size=(count, rows, 1))
    total = rng.uniform(1, 40, count)
    met = np.einsum("nrc,nc->nr", a, rng.dirichlet(np.ones(columns), count)) * total[:, None]
    size = np.abs(a).max(axis=2)
    b = met + size * rng.exponential(2, (count, rows)) * rng.integers(0, 2, (count, rows))
    b -= size * (rng.random((count, 1)) < 0.3) * rng.uniform(0, 1, (count, 1))
    upper = np.where(rng.random((count, columns)) < 0.5, np.inf, rng.uniform(0, 1, (count, columns)) * total[:, None])
    return np.round(rng.random((count, columns)), 1), a, b, total, upper


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 10**6), st.integers(2, 14), st.integers(1, 14))
def test_it_finds_what_highs_finds(seed: int, columns: int, rows: int) -> None:
    from scipy.optimize import linprog

    cost, a, b, total, upper = made(seed, 6, columns, rows)
    found = solve([cost], a, b, total, upper)
    for i in range(len(total)):
        bounds = np.stack([np.zeros(columns), upper[i]], axis=1)
        whole = {"A_eq": np.ones((1, columns)), "b_eq": total[i : i + 1], "bounds": bounds, "method": "highs-ds"}
        told = linprog(cost[i], A_ub=a[i], b_ub=b[i], **whole)
        slack = linprog(np.zeros(columns), A_ub=a[i], b_ub=b[i] - 1e-6 * np.abs(a[i]).max(axis=1) * total[i], **whole)
        if told.status == 0 and slack.status != 0:
            continue  # on the very edge either is right
        assert found.feasible[i] == (told.status == 0)
        if told.status == 0:
            assert cost[i] @ found.x[i] == pytest.approx(told.fun, rel=1e-7, abs=1e-7)
            assert (a[i] @ found.x[i] <= b[i] + 1e-7 * np.abs(a[i]).max(axis=1) * total[i]).all()
            assert found.x[i].sum() == pytest.approx(total[i], rel=1e-9)
            assert (found.x[i] >= 0).all() and (found.x[i] <= upper[i] + 1e-7 * total[i]).all()
            # duality: cost of the right sides, the total's price and the bounds' make up the whole cost
            assert (found.marginal[i] <= 0).all()


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 10**6), st.integers(2, 10), st.integers(1, 12))
def test_no_programme_moves_another_s_last_figure(seed: int, columns: int, rows: int) -> None:
    cost, a, b, total, upper = made(seed, 8, columns, rows)
    together = solve([cost, cost[:, ::-1]], a, b, total, upper)
    for i in range(len(total)):
        at = slice(i, i + 1)
        alone = solve([cost[at], cost[at, ::-1]], a[at], b[at], total[at], upper[at])
        for one, many in ((alone.x, together.x), (alone.marginal, together.marginal)):
            assert np.array_equal(one[0], many[i], equal_nan=True)


def test_a_marginal_is_what_one_unit_more_is_worth() -> None:
    cost, a, b, total, upper = made(7, 40, 8, 6)
    step = 1e-6
    found = solve([cost], a, b, total, upper)
    for row in range(6):
        moved = b.copy()
        moved[:, row] += step * np.abs(a[:, row]).max(axis=1)
        again = solve([cost], a, moved, total, upper)
        more = np.einsum("nc,nc->n", cost, again.x - found.x)
        worth = found.marginal[:, row] * step * np.abs(a[:, row]).max(axis=1)
        good = found.feasible & again.feasible
        assert good.sum() > 10 and more[good] == pytest.approx(worth[good], abs=2e-9)


def test_ties_go_to_the_next_objective() -> None:
    """Two feeds at one price: the second objective chooses, whichever stands first."""
    for order in ([0, 1, 2], [1, 0, 2], [2, 1, 0]):
        cost = np.array([[1.0, 1.0, 2.0]])[:, order]
        second = np.array([[0.0, -1.0, -5.0]])[:, order]
        found = solve([cost, second], np.zeros((1, 1, 3)), np.ones((1, 1)), np.array([10.0]), np.full((1, 3), np.inf))
        assert found.x[0, order.index(1)] == pytest.approx(10.0)


def test_a_sum_that_cannot_be_filled_has_no_solution() -> None:
    found = solve([np.ones((2, 2))], np.zeros((2, 1, 2)), np.ones((2, 1)), np.array([10.0, 10.0]),
                  np.array([[4.0, 5.0], [4.0, 6.0]]))  # fmt: skip
    assert found.feasible.tolist() == [False, True] and np.isnan(found.x[0]).all()
    assert found.x[1].tolist() == pytest.approx([4.0, 6.0])
