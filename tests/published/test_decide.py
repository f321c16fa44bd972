"""decide against printed decision examples and reference values from outside the project."""

from __future__ import annotations

import numpy as np
import pytest

from sideoats import decide as d

# Payoff tables printed with their answers: (payoff by action and state, chances, expected money values, EVPI).
PRINTED = {
    # The encyclopaedia's example of expected value of perfect information: stock, fund, certificate (read in a mirror).
    "stock fund certificate": (
        [[1500, 300, -800], [900, 600, -200], [500, 500, 500]],
        [0.5, 0.3, 0.2],
        [680, 590, 500],
        350,
    ),
    # A textbook exercise with stocks, bonds and a certificate, good and poor economy (read at justaaa.com).
    "stocks bonds": ([[80e3, -20e3], [30e3, 20e3], [23e3, 23e3]], [0.5, 0.5], [30e3, 25e3, 23e3], 21_500),
    # Four investments, economy up, same or down, thousand USD (read at wizedu.com).
    "four investments": (
        [[100, 70, 20], [70, 30, -20], [40, 25, -10], [30, 30, 30]],
        [0.3, 0.2, 0.5],
        [54, 17, 12, 30],
        5,
    ),
}


@pytest.mark.parametrize("name", PRINTED)
def test_expected_values_and_perfect_information(name: str) -> None:
    table, chance, expected, evpi = PRINTED[name]
    assert np.allclose(np.array(table) @ np.array(chance), expected)
    assert d.perfect_information(table, chance) == pytest.approx(evpi)
    assert d.expected_regret(table, chance).min() == pytest.approx(evpi)


def test_expected_opportunity_loss_as_printed() -> None:
    table, chance, _, _ = PRINTED["stocks bonds"]  # printed: 21.5k, 26.5k, 28.5k
    assert d.expected_regret(table, chance) == pytest.approx([21_500, 26_500, 28_500])


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
    found = d.sample_information_from_draws(payoff, signal[None], cells=200)[0]
    assert found == pytest.approx(exact, rel=0.02)


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
