"""When to do it: the good days, and what a week's delay costs."""

import numpy as np

from sideoats.families.when_to_do_it import delay, stretch

DAYS = (0, 3, 6, 9, 12)


def gains(*means: float) -> np.ndarray:
    """(1, 2, 6) money that averages to `means` by day; the last option does nothing."""
    spread = np.array([1.0, -1.0])[:, None]
    return np.concatenate([np.array(means) + spread, np.zeros((2, 1))], axis=1)[None]


def test_the_good_days_are_those_near_the_best_that_are_open():
    closed = np.zeros((1, 6), bool)
    found = stretch(gains(50, 99, 100, 99, 40), DAYS, closed, 0.02)
    assert (found.best[0], found.worth[0], found.opens[0], found.closes[0]) == (6, 100, 3, 9) and found.pays[0]
    closed[0, 2] = True
    shut = stretch(gains(50, 99, 100, 97.5, 40), DAYS, closed, 0.02)
    assert (shut.best[0], shut.opens[0], shut.closes[0]) == (3, 3, 9)
    assert not stretch(gains(-5, -4, -3, -4, -5), DAYS, np.zeros((1, 6), bool), 0.02).pays[0]


def test_a_weeks_delay_costs_what_the_later_days_bring_less():
    late = delay(gains(100, 95, 90, 60, 50), DAYS)[0]
    assert late.tolist() == [40, 35, 30, 0, 0, 0]  # nine days on: nothing has to be begun this week
    assert delay(gains(50, 50, 50, 50, 50), DAYS)[0].tolist() == [0] * 6
    free = delay(gains(50, 50, 50, 50, 50), DAYS, at_no_cost=np.nan)[0]
    assert np.isnan(free[:3]).all() and free[3:].tolist() == [0, 0, 0]


def test_what_has_to_be_begun_beforehand_presses_earlier():
    begun = delay(gains(100, 95, 90, 60, 50), DAYS, begun=np.array([6.0]))[0]
    assert begun.tolist() == [100, 95, 90, 60, 50, 0]  # left a week, no day is open any more and nothing is gained
