"""Laws that hold for any payoffs."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from sideoats.decide import decide, value_of_information

SEEDS = st.integers(0, 2**32 - 1)


def _payoff(seed: int) -> np.ndarray:
    rng = np.random.default_rng(seed)
    return rng.normal(scale=100, size=(rng.integers(1, 5), rng.integers(20, 200), rng.integers(1, 6)))


@given(SEEDS)
@settings(max_examples=60, deadline=None)
def test_a_barred_option_is_never_best_whatever_it_pays(seed: int) -> None:
    payoff = _payoff(seed)
    barred = np.zeros(payoff.shape[::2], dtype=bool)
    barred[:, 0] = True
    payoff[:, :, 0] += 1e9
    found = decide(payoff, barred=barred)
    assert (found.best != 0).all()
    assert (found.chance_best[:, 0] == 0).all()
    if payoff.shape[2] == 1:
        assert (found.best == -1).all()


@given(SEEDS)
@settings(max_examples=60, deadline=None)
def test_information_is_worth_between_nothing_and_perfection(seed: int) -> None:
    payoff = _payoff(seed)
    signal = np.random.default_rng(seed + 1).normal(size=payoff.shape[:2]) + payoff[:, :, 0]
    found = decide(payoff)
    worth = value_of_information(payoff, signal)
    assert (worth >= 0).all()
    assert (found.perfect_information >= -1e-9).all()
    assert np.allclose(found.chance_best.sum(axis=1), 1)
    assert (found.low <= found.high + 1e-12).all()


@given(SEEDS, st.floats(0, 50))
@settings(max_examples=60, deadline=None)
def test_act_by_is_within_tolerance_and_no_later_day_is(seed: int, tolerance: float) -> None:
    payoff = _payoff(seed)
    options = payoff.shape[2]
    days = np.arange(options)
    found = decide(payoff, days=days, tolerance=tolerance)
    expected = payoff.mean(axis=1)
    for row, day in enumerate(found.act_by):
        assert expected[row, day] >= expected[row].max() - tolerance - 1e-9
        assert (expected[row, day + 1 :] < expected[row].max() - tolerance).all()
    waiting = found.cost_of_waiting
    assert (waiting >= 0).all()


@given(SEEDS)
@settings(max_examples=30, deadline=None)
def test_places_do_not_influence_one_another(seed: int) -> None:
    payoff = _payoff(seed)
    whole = decide(payoff)
    for row in range(payoff.shape[0]):
        alone = decide(payoff[row : row + 1])
        assert np.array_equal(alone.expected[0], whole.expected[row])
        assert np.array_equal(alone.chance_best[0], whole.chance_best[row])


@given(SEEDS)
@settings(max_examples=40, deadline=None)
def test_money_that_is_not_known_is_not_shown_as_zero_and_the_choice_stays(seed: int) -> None:
    payoff = _payoff(seed)
    whole = decide(payoff, days=np.arange(payoff.shape[2]))
    rows = np.arange(len(payoff)) % 2 == 0
    blank = whole.without_money(rows)
    assert np.array_equal(blank.best, whole.best) and np.array_equal(blank.act_by, whole.act_by)
    for name in ("expected", "low", "high", "worst_tenth", "chance_best"):
        assert np.isnan(getattr(blank, name)[rows]).all()
        assert np.array_equal(getattr(blank, name)[~rows], getattr(whole, name)[~rows])
    assert (blank.cost_of_waiting[rows] == 0).all()


@given(SEEDS)
@settings(max_examples=40, deadline=None)
def test_where_nothing_survives_the_wait_the_whole_gain_is_lost(seed: int) -> None:
    payoff = _payoff(seed)
    days = np.arange(payoff.shape[2])  # all within the week
    found = decide(payoff, days=days, wait_days=7)
    gain = np.maximum(payoff.mean(axis=1).max(axis=1), 0.0)
    assert np.allclose(found.cost_of_waiting, gain)


def test_the_option_without_a_rival_after_the_wait_costs_more_to_leave_than_one_with_a_rival() -> None:
    payoff = np.array([[[10.0, 9.0]]])
    alone = decide(payoff, days=[0, 3])
    with_rival = decide(payoff, days=[0, 10])
    assert alone.cost_of_waiting[0] == 10.0 and with_rival.cost_of_waiting[0] == 1.0
