"""decide against printed decision examples and reference values from outside the project."""

from __future__ import annotations

import numpy as np
import pytest

from sideoats import decide as d

# Payoff tables printed with their answers: (payoff by action and state, chances, expected money values, EVPI).
PRINTED = {
    # Drill for oil or not: Samuelson and Marks, Managerial Economics, chapter 13, figure 13.2 read: a test is good with
    # chance .5; drilling is worth 280 after a good one (oil .6) and loses 40 after a bad one (oil .2). The payoffs 600
    # and -200, the chance .4 of oil and what follows are derived from those figures, exactly.
    "oil": ([[600, -200], [0, 0]], [0.4, 0.6], [120, 0], 120),
    # Potatoes where a virus may be in the land, or another crop: Goodwin and Wright, Decision Analysis for Management
    # Judgment, chapter 8, "Revising judgments in the light of new information" (figure 8.11 read: 57,000 untested).
    "potatoes": ([[90_000, -20_000], [30_000, 30_000]], [0.7, 0.3], [57_000, 30_000], 15_000),
}


@pytest.mark.parametrize("name", PRINTED)
def test_expected_values_and_perfect_information(name: str) -> None:
    table, chance, expected, evpi = PRINTED[name]
    assert np.allclose(np.array(table) @ np.array(chance), expected)
    assert d.perfect_information(table, chance) == pytest.approx(evpi)
    assert d.expected_regret(table, chance).min() == pytest.approx(evpi)


def test_sample_information_as_printed() -> None:
    """The same potatoes with a test that finds the virus in 90 % of infected and in 20 % of clean land.

    Printed (figure 8.11): the test says "present" with chance 0.41, posteriors 0.66 and 0.05, 62,155 with the test. The
    printed figure rounds the posteriors; without rounding it is 62,100.
    """
    table, chance, _, _ = PRINTED["potatoes"]
    says_present = np.array([0.2, 0.9])
    joint = says_present * np.array(chance)
    assert joint.sum() == pytest.approx(0.41)
    assert joint[1] / joint.sum() == pytest.approx(0.66, abs=0.005)
    found = d.sample_information(table, chance, [says_present, 1 - says_present])
    assert found == pytest.approx(62_155 - 57_000, abs=60)
    assert found == pytest.approx(62_100 - 57_000)


def test_a_test_that_is_right_three_times_in_four_as_printed() -> None:
    """The oil again: drill after a good test, leave it after a bad one; .5 x 280 = 140 with the test, 120 without."""
    table, chance, _, _ = PRINTED["oil"]
    good = np.array([0.5 * 0.6 / 0.4, 0.5 * 0.4 / 0.6])
    joint = good * np.array(chance)
    after = joint / joint.sum()
    assert joint.sum() == pytest.approx(0.5) and after[0] == pytest.approx(0.6)
    assert np.array(table[0]) @ after == pytest.approx(280)
    assert d.sample_information(table, chance, [good, 1 - good]) == pytest.approx(140 - 120)


@pytest.mark.parametrize("name", PRINTED)
def test_draws_give_the_printed_answer_too(name: str) -> None:
    """The batch function on draws in the printed proportions: every chance is a multiple of a tenth."""
    table, chance, expected, evpi = PRINTED[name]
    states = np.repeat(np.arange(len(chance)), np.round(np.array(chance) * 10).astype(int))
    payoff = np.array(table, dtype=float)[:, states].T[None]
    found = d.decide(payoff)
    assert found.expected[0] == pytest.approx(expected)
    assert found.perfect_information[0] == pytest.approx(evpi)
    assert found.best[0] == int(np.argmax(expected))
    assert found.chance_best[0].sum() == pytest.approx(1)


def test_net_present_value_and_annuity() -> None:
    # scipy-free reference values: 30-digit decimal arithmetic of the textbook definitions (recomputed by hand).
    assert float(d.net_present_value([-1000, 300, 400, 500], 0.10)) == pytest.approx(-21.0368, abs=5e-5)
    assert d.internal_rate([-1000, 300, 400, 500]) == pytest.approx(0.0889633946931, abs=1e-12)
    assert float(d.annuity_factor(0.08, 5)) == pytest.approx(3.9927100371, abs=1e-10)


def test_unit_normal_loss_table() -> None:
    # Values of the unit normal linear loss integral as tabulated in statistics handbooks (Raiffa and Schlaifer 1961).
    assert d.unit_normal_loss([0, 0.5, 1, 1.5, 2]) == pytest.approx(
        [0.3989423, 0.1977966, 0.0833155, 0.0293068, 0.0084907], abs=5e-8
    )


def test_linear_loss_against_numerical_integration() -> None:
    """EVPI of a normal prior with linear payoff equals scipy's quadrature of max(0, x) less max(0, mean)."""
    from scipy import integrate, stats

    mean, sd = 5.0, 20.0
    integral, _ = integrate.quad(lambda x: max(0.0, x) * stats.norm.pdf(x, mean, sd), -200, 200, limit=200)
    assert float(d.normal_linear_evpi(mean, sd)) == pytest.approx(integral - mean, abs=1e-6)


def test_sample_information_by_bayes_by_hand() -> None:
    """Treat or not, an outbreak of chance .3, scouting right in 85 % and falsely alarmed in 10 % of cases."""
    table, prior = [[-12.0, -12.0], [-40.0, 0.0]], [0.3, 0.7]
    likelihood = [[0.85, 0.10], [0.15, 0.90]]
    # P(+) = .325, P(outbreak | +) = .255/.325; treat after +, leave after -: -(.325 * 12) - .675 * (40 * .045/.675)
    by_hand = -(0.325 * 12) - 40 * 0.045
    assert d.sample_information(table, prior, likelihood) == pytest.approx(by_hand + 12)
    assert d.perfect_information(table, prior) == pytest.approx(12 - 0.3 * 12)


def test_sample_information_from_draws_approaches_the_formula() -> None:
    """A normal problem whose EVSI has a closed form: prior sd 20, mean 5, four observations with error sd 15."""
    rng = np.random.default_rng(1)
    state = rng.normal(5, 20, 200_000)
    signal = state + rng.normal(0, 15 / 2, state.size)
    payoff = np.stack([state, np.zeros_like(state)], axis=1)[None]
    exact = float(d.normal_linear_evsi(5, 20, 15, 4))
    assert exact == pytest.approx(5.2355, abs=1e-4)
    found = d.sample_information_from_draws(payoff, signal[None])[0]
    assert found == pytest.approx(exact, rel=0.02)


def test_a_signal_that_tells_nothing_is_worth_nothing() -> None:
    """And one that tells all is worth EVPI; 500 draws, many places, so that only a bias could show."""
    rng = np.random.default_rng(2)
    state = rng.normal(2, 20, (400, 500))
    payoff = np.stack([np.zeros_like(state), state], axis=2)
    nothing = d.sample_information_from_draws(payoff, rng.normal(size=state.shape))
    assert nothing.mean() < 0.1  # EVPI is 7.0
    whole = d.sample_information_from_draws(payoff, state)
    assert whole.mean() == pytest.approx(float(d.normal_linear_evpi(2, 20)), rel=0.02)


@pytest.mark.parametrize("error", [0.01, 10.0, 40.0, 1e6])
def test_two_ways_agree_with_the_closed_form(error: float) -> None:
    """What a ruling holds against the cost of a look: smooth, and right on average, at 500 draws a place."""
    from sideoats.decide.information import two_way_information_from_draws

    rng = np.random.default_rng(7)
    state = rng.normal(2, 20, (400, 500))
    found = two_way_information_from_draws(state, state + rng.normal(0, error, state.shape))
    exact = float(d.normal_linear_evsi(2, 20, error, 1))
    assert found.mean() == pytest.approx(exact, abs=0.06 * 7.02)


def test_a_signal_of_two_values() -> None:
    """The potatoes again, by draws in the printed proportions (100,000 of them)."""
    rng = np.random.default_rng(4)
    clean = rng.random(100_000) < 0.7
    positive = rng.random(clean.size) < np.where(clean, 0.2, 0.9)
    payoff = np.stack([np.where(clean, 90_000.0, -20_000.0), np.full(clean.size, 30_000.0)], axis=1)[None]
    found = d.sample_information_from_draws(payoff, positive.astype(float)[None])[0]
    assert found == pytest.approx(5_100, rel=0.05)


def test_certainty_equivalents_against_definitions() -> None:
    x, p = np.array([-50.0, 0, 50, 120]), np.array([0.1, 0.3, 0.4, 0.2])
    utility = float(np.sum(p * -np.exp(-0.01 * x)))  # invert the utility itself by root finding, not by our formula
    from scipy.optimize import brentq

    inverse = brentq(lambda c: -np.exp(-0.01 * c) - utility, -50, 120)
    assert float(d.cara_certainty_equivalent(x, 0.01, chance=p)) == pytest.approx(inverse, abs=1e-9)
    for gamma, expected in ((0.5, 38.37339), (1.0, 37.74747), (2.0, 36.49825)):
        assert d.crra_certainty_equivalent(x, gamma, 1000, chance=p) == pytest.approx(expected, abs=5e-6)
    assert float(d.cara_normal_certainty_equivalent(40, 50, 0.01)) == pytest.approx(27.5)


def test_coin_flip_premiums() -> None:
    # Babcock, Choi and Feinerman 1993: probability premium of a quarter belongs to a*h = ln 3.
    assert d.probability_premium(np.log(3) / 100, 100) == pytest.approx(0.25)
    assert d.risk_premium_coin_flip(0.005, 100) == pytest.approx(24.0229, abs=5e-5)


def test_dominance() -> None:
    a, b, c, better = [10, 20, 30, 40], [5, 25, 30, 40], [0, 20, 30, 60], [11, 22, 33, 44]
    assert not d.dominates_first_order(a, b) and not d.dominates_first_order(b, a)
    assert d.dominates_second_order(a, b) and d.dominates_first_order(better, a)
    assert not d.dominates_second_order(a, c) and not d.dominates_second_order(c, a)


def test_percentiles_equal_numpy() -> None:
    payoff = np.random.default_rng(3).normal(size=(4, 333, 5))
    found = d.decide(payoff)
    assert np.allclose(found.low, np.quantile(payoff, 0.1, axis=1))
    assert np.allclose(found.high, np.quantile(payoff, 0.9, axis=1))
    assert np.allclose(found.worst_tenth, np.sort(payoff, axis=1)[:, :33].mean(axis=1))
