"""The scouting round against every order there is, and its laws."""

from __future__ import annotations

from itertools import pairwise, permutations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sideoats.decide import perfect_information
from sideoats.insects.planner import first_look_worth, plan_round, road_hours


def best_by_all_orders(worth: np.ndarray, hours: np.ndarray, road: np.ndarray, available: float) -> float:
    """Most worth of any set of visits in any order within the hours."""
    best = 0.0
    places = range(len(worth))
    for count in range(1, len(worth) + 1):
        for order in permutations(places, count):
            route = [0, *(i + 1 for i in order), 0]
            spent = hours[list(order)].sum() + sum(road[a, b] for a, b in pairwise(route))
            if spent <= available + 1e-9:
                best = max(best, float(worth[list(order)].sum()))
    return best


@given(st.integers(0, 2**32 - 1))
@settings(max_examples=25, deadline=None)
def test_the_round_fits_the_hours_and_comes_near_the_best_there_is(seed: int) -> None:
    rng = np.random.default_rng(seed)
    n = 5
    latitude, longitude = 38 + 0.3 * rng.random(n + 1), -99 + 0.3 * rng.random(n + 1)
    road = road_hours(latitude, longitude, speed=60, winding=1.3)
    worth, hours, available = rng.gamma(1, 100, n), rng.uniform(0.3, 1.0, n), float(rng.uniform(0.5, 4))
    found = plan_round(worth, hours, road, available)
    assert found.hours_in_all <= available + 1e-6
    assert sorted([*found.order.tolist(), *found.left.tolist()]) == list(range(n))
    best = best_by_all_orders(worth, hours, road, available)
    assert found.worth.sum() <= best + 1e-9
    assert found.worth.sum() >= 0.5 * best  # worth an hour first is a heuristic with that bound in practice


@given(st.integers(0, 2**32 - 1))
@settings(max_examples=25, deadline=None)
def test_a_later_turn_takes_no_hour_from_an_earlier_one(seed: int) -> None:
    """Whatever the later visits are worth, those of the first turn are chosen as if they were alone."""
    rng = np.random.default_rng(seed)
    n = 8
    road = road_hours(38 + 0.3 * rng.random(n + 1), -99 + 0.3 * rng.random(n + 1), speed=60, winding=1.3)
    turn, hours, available = rng.integers(0, 2, n), rng.uniform(0.3, 1.0, n), float(rng.uniform(0.5, 5))
    worth = rng.gamma(1, 100, n) * np.where(turn == 1, 1e4, 1.0)
    first = np.flatnonzero(turn == 0)
    nodes = np.append(0, first + 1)
    alone = plan_round(worth[first], hours[first], road[np.ix_(nodes, nodes)], available)
    found = plan_round(worth, hours, road, available, turn=turn)
    assert set(found.order.tolist()) & set(first.tolist()) == set(first[alone.order].tolist())
    assert found.hours_in_all <= available + 1e-6
    assert np.all(np.diff(turn[found.left]) >= 0)


def test_distances_against_the_great_circle_formula_of_a_library() -> None:
    """One degree of latitude is 111.195 km on the mean sphere (6371.0088 km, IUGG)."""
    road = road_hours([38.0, 39.0, np.nan], [-99.0, -99.0, np.nan], speed=1.0, winding=1.0)
    assert road[0, 1] == pytest.approx(111.195, abs=1e-3)
    assert road[0, 2] == pytest.approx(road[1, 2], rel=1e-3) and np.allclose(np.diag(road), 0)


def test_nothing_worth_nothing_is_visited() -> None:
    road = np.zeros((4, 4))
    found = plan_round([0, 5, 0], [1, 1, 1], road, 8)
    assert found.order.tolist() == [1] and len(found.left) == 2


@pytest.mark.parametrize("over", [0.0, 0.05, 0.3, 0.5, 0.9, 1.0])
def test_a_first_look_is_worth_what_a_decision_table_says(over: float) -> None:
    """The same choice as a payoff table: treat or leave, field over the threshold or not."""
    cost, excess = 15.0, 2.5
    table = [[(excess - 1) * cost, -cost], [0.0, 0.0]]
    assert first_look_worth(over, excess, cost) == pytest.approx(perfect_information(table, [over, 1 - over]))
