"""What questions of a rate share: a response that falls off, money over a base, and when a rate presses."""

import numpy as np
import pytest

from sideoats.families import rate_of_an_input as rate


def test_the_recommended_rate_brings_its_share_and_less_brings_less_than_in_proportion():
    # quadratic up to its plateau: at a share of 0.9 the join is at 1 / (1 - sqrt(0.1)) = 1.46 of the rate (algebra)
    shares = np.array([0.0, 0.25, 0.5, 1.0, 1.4625, 3.0])
    brought = rate.reached(shares, 0.9)
    assert brought == pytest.approx([0.0, 0.3128, 0.5675, 0.9, 1.0, 1.0], abs=1e-3)
    assert (np.diff(brought) >= 0).all() and brought[2] > brought[3] / 2
    assert rate.reached(1.0, 1.0) == pytest.approx(1.0)


def test_every_dollar_of_cost_is_a_dollar():
    value = np.array([[[0.0, 30.0, 45.0], [0.0, 10.0, 12.0]]])  # (place, draw, rate)
    cost = np.array([[[0.0, 12.0, 24.0]]])
    gain = rate.over_base(value, cost)
    assert gain.tolist() == [[[0.0, 18.0, 21.0], [0.0, -2.0, -12.0]]]
    dearer = rate.over_base(value, cost + np.array([0.0, 7.0, 7.0]))
    assert (gain - dearer).tolist() == [[[0.0, 7.0, 7.0]] * 2]
    assert rate.over_base(value, cost, base=1)[0, 0].tolist() == [-18.0, 0.0, 3.0]


DAYS = np.array([np.nan, 0.0, 7.0, 8.0, -1.0])


def test_a_rate_presses_in_its_last_week_and_where_nobody_said_when():
    assert rate.now(DAYS).tolist() == [True, True, True, False, False]
    assert rate.due(DAYS).tolist() == [7, 0, 7, -1, -1]


def test_waiting_loses_all_of_it_in_the_last_week_and_nothing_before_or_after():
    gain = np.tile([0.0, 20.0, -5.0], (5, 3, 1)) + np.zeros((5, 3, 3))
    lost = rate.delay(gain, DAYS)
    assert lost[:, 1].tolist() == [20.0, 20.0, 20.0, 0.0, 0.0]
    assert np.isnan(lost[:3, 2]).all() and lost[3:, 2].tolist() == [0.0, 0.0]  # no gain: it presses at no known cost


def test_one_looks_again_a_week_before_and_after_the_day_at_the_next_crop_s_turn():
    assert rate.again(DAYS, after=200, settled=30).tolist() == [30, 30, 30, 1, 200]
    assert rate.again(DAYS, 200, np.array([1, 2, 3, 4, 5])).tolist() == [1, 2, 3, 1, 200]
