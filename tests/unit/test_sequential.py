"""Deciding again: an option priced in print, a tree counted out, and a choice that learns nothing."""

from __future__ import annotations

import numpy as np
import pytest

from sideoats.decide.sequential import sequential


def american_put(rng: np.random.Generator, start: float, years: float, sd: float, draws: int = 20_000) -> float:
    """Value of an American put of strike 40 at 6 % interest with fifty days of exercise a year."""
    steps = round(50 * years)
    step = years / steps
    half = rng.standard_normal((draws // 2, steps))
    z = np.concatenate([half, -half])
    path = start * np.exp(np.cumsum((0.06 - sd**2 / 2) * step + sd * np.sqrt(step) * z, axis=1))
    path = np.concatenate([np.full((draws, 1), start), path], axis=1)
    pay = np.maximum(40.0 - path, 0.0) * np.exp(-0.06 * step * np.arange(steps + 1))
    state = np.stack([np.minimum(path, 60.0), np.maximum(40.0 - path, 0.0)], axis=2)
    return float(sequential(pay[None], state[None], degree=3).value[0])


def tree(start: float, years: float, sd: float, steps: int = 2000) -> float:
    """The same put counted out on a binomial tree (Cox, Ross and Rubinstein 1979)."""
    step = years / steps
    up = np.exp(sd * np.sqrt(step))
    chance = (np.exp(0.06 * step) - 1 / up) / (up - 1 / up)
    value = np.maximum(40.0 - start * up ** np.arange(-steps, steps + 1, 2.0), 0.0)
    for level in range(steps - 1, -1, -1):
        price = start * up ** np.arange(-level, level + 1, 2.0)
        later = np.exp(-0.06 * step) * (chance * value[1:] + (1 - chance) * value[:-1])
        value = np.maximum(later, 40.0 - price)
    return float(value[0])


@pytest.mark.parametrize(
    ("start", "sd", "years", "printed"),
    [(36.0, 0.2, 1.0, 4.478), (40.0, 0.2, 1.0, 2.314), (44.0, 0.4, 2.0, 5.647), (36.0, 0.4, 2.0, 8.508)],
)
def test_american_puts(start: float, sd: float, years: float, printed: float) -> None:
    """Against a tree, and Longstaff and Schwartz (2001), table 1, finite differences (from memory); never much over."""
    counted = tree(start, years, sd)
    assert counted == pytest.approx(printed, rel=0.004)
    found = american_put(np.random.default_rng(1), start, years, sd)
    assert 0.97 * counted < found < 1.01 * counted


def test_a_fair_walk_is_worth_no_waiting() -> None:
    rng = np.random.default_rng(2)
    walk = np.cumsum(rng.standard_normal((30, 2000, 13)) * 0.2, axis=2)
    walk[:, :, 0] = 0.0
    costs = 0.02 * np.arange(13)
    found = sequential(walk - costs, walk)
    assert found.worth_of_waiting.mean() < 0.004  # what half the draws taught is no use on the other half


def test_a_drift_that_shows_itself_is_followed() -> None:
    """Two kinds of future, told apart by the first move: go on in the one, stop in the other."""
    rng = np.random.default_rng(3)
    up = rng.random(4000) < 0.5
    pay = np.stack([np.zeros(4000), np.where(up, 1.0, -1.0), np.where(up, 3.0, -3.0)], axis=1)
    found = sequential(pay[None], pay[None], degree=1)
    # at the first look one goes on to 3 or stops at -1: 1 on average; fixed days bring 0
    assert found.value[0] == pytest.approx(1.0, abs=0.06)
    assert found.worth_of_waiting[0] == pytest.approx(1.0, abs=0.06)


def test_days_that_are_shut_are_not_stopped_on() -> None:
    rng = np.random.default_rng(4)
    pay = rng.standard_normal((5, 500, 6))
    may = np.array([[True, False, True, True, False, False]] * 5)
    found = sequential(pay, pay, may)
    assert set(np.unique(found.stops)) <= {0, 2, 3}
    assert set(found.day.tolist()) <= {0, 2, 3}


def test_each_place_is_valued_as_if_alone() -> None:
    rng = np.random.default_rng(5)
    pay = np.cumsum(rng.standard_normal((4, 600, 5)), axis=2)
    together = sequential(pay, pay)
    alone = [sequential(pay[i : i + 1], pay[i : i + 1]).value[0] for i in range(4)]
    assert np.allclose(together.value, alone)
