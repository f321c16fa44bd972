"""Our own arithmetic of plans: guards the code, says nothing about the world."""

import numpy as np
import pytest

from sideoats.insects import dispersion, sampling

NB = sampling.wald_plan("negative binomial", 0.2, 0.5, alpha=0.10, beta=0.10, k=0.6)
POISSON = sampling.wald_plan("poisson", 0.2, 0.5, alpha=0.10, beta=0.10)
BINOMIAL = sampling.wald_plan("binomial", 0.10, 0.25, alpha=0.10, beta=0.10)
NORMAL = sampling.wald_plan("normal", 20, 40, alpha=0.10, beta=0.10, variance=400)


@pytest.mark.parametrize(
    ("plan", "slope", "intercept"),
    [(NB, 0.3196, 3.6753), (POISSON, 0.3274, 2.3979), (BINOMIAL, 0.1660, 2.0), (NORMAL, 30, 43.94)],
)
def test_lines(plan, slope, intercept):
    assert plan.slope == pytest.approx(slope, abs=1e-4)
    assert (-plan.lower, plan.upper) == pytest.approx((intercept, intercept), abs=5e-3)


def test_lines_after_n_units():
    low, high = NB.lines([20, 50])
    np.testing.assert_allclose(low, [2.72, 12.31], atol=0.01)
    np.testing.assert_allclose(high, [10.07, 19.66], atol=0.01)
    assert NB.verdict([2, 5, 11], [20, 20, 20]).tolist() == [-1, 0, 1]


@pytest.mark.parametrize(
    ("plan", "means", "accept", "units"),
    [
        (NB, [0.2, 0.3196, 0.5], [0.90, 0.50, 0.10], [24.58, 27.58, 16.30]),
        (POISSON, [0.2, 0.3274, 0.5], [0.90, 0.50, 0.10], [15.06, 17.56, 11.12]),
        (BINOMIAL, [0.10, 0.1660, 0.25], [0.90, 0.50, 0.10], [24.26, 28.90, 19.04]),
        (NORMAL, [20, 25, 30, 35, 40], [0.90, 0.75, 0.50, 0.25, 0.10], [3.52, 4.39, 4.83, 4.39, 3.52]),
    ],
)
def test_characteristics(plan, means, accept, units):
    chance, number = sampling.wald_characteristics(plan, means)
    np.testing.assert_allclose(chance, accept, atol=0.01)
    np.testing.assert_allclose(number, units, atol=0.02)


@pytest.mark.parametrize(("mean", "accept", "units"), [(0.2, 0.937, 27.7), (0.32, 0.533, 36.0), (0.5, 0.095, 21.9)])
def test_simulation_shows_the_true_errors_and_numbers(mean, accept, units):
    got = sampling.simulate_plan(NB, mean, np.random.default_rng(1), fields=20_000)
    assert got.no_treatment == pytest.approx(accept, abs=0.015)
    assert got.mean_units == pytest.approx(units, abs=0.8)


def test_simulation_of_the_binomial_plan():
    safe = sampling.simulate_plan(BINOMIAL, 0.10, np.random.default_rng(2), fields=20_000)
    treat = sampling.simulate_plan(BINOMIAL, 0.25, np.random.default_rng(3), fields=20_000)
    assert (safe.no_treatment, treat.no_treatment) == pytest.approx((0.921, 0.085), abs=0.01)
    assert (safe.mean_units, treat.mean_units) == pytest.approx((27.4, 22.5), abs=0.5)


def test_green_line_and_back():
    np.testing.assert_allclose(
        sampling.green_line([10, 20, 40, 80], 3.05, 1.02, 0.25), [50.40, 49.70, 49.00, 48.31], atol=0.01
    )
    total = sampling.green_line(40, 3.05, 1.02, 0.25)
    law = dispersion.PowerLaw(3.05, 1.02, 0.0, 9)
    assert float(sampling.units_for_precision(total / 40, law.variance(total / 40), 0.25)) == pytest.approx(40)
    with pytest.raises(ValueError, match="below 2"):
        sampling.green_line(10, 1, 2.1, 0.25)


def test_kuno_line_and_back():
    assert np.isnan(sampling.kuno_line(4, 0.2, 1.5, 0.25))
    total = float(sampling.kuno_line(40, 0.2, 1.5, 0.25))
    m = total / 40
    assert float(sampling.units_for_precision(m, (0.2 + 1) * m + 0.5 * m * m, 0.25)) == pytest.approx(40)


def test_iwao_lines():
    law = dispersion.PowerLaw(3.05, 1.02, 0.0, 9)
    low, high = sampling.iwao_lines([15, 30, 50], 1.0, law.variance(1.0), 1.4395)
    np.testing.assert_allclose(low, [5.26, 16.23, 32.22], atol=0.01)
    np.testing.assert_allclose(high, [24.74, 43.77, 67.78], atol=0.01)


def test_fixed_sample_keeps_both_risks_and_one_unit_less_does_not():
    size, cut = sampling.fixed_size(NB)
    rng = np.random.default_rng(4)
    safe = sampling.draw_counts(rng, NB.model, NB.safe, (40_000, size), k=NB.k).sum(axis=1) > cut
    treat = sampling.draw_counts(rng, NB.model, NB.treat, (40_000, size), k=NB.k).sum(axis=1) <= cut
    assert safe.mean() < 0.105
    assert treat.mean() < 0.105
    assert np.isnan(sampling._cut_off(NB, size - 1))


@pytest.mark.parametrize(
    "bad",
    [
        {"safe": 0.5, "treat": 0.2},
        {"safe": 0.0, "treat": 0.2},
        {"alpha": 0.6},
        {"k": 0.0},
    ],
)
def test_impossible_plans_are_refused(bad):
    given = {"safe": 0.2, "treat": 0.5, "alpha": 0.1, "beta": 0.1, "k": 0.6} | bad
    with pytest.raises(ValueError, match=r"must|needs"):
        sampling.wald_plan("negative binomial", given.pop("safe"), given.pop("treat"), **given)


def test_summaries_of_ragged_counts():
    size, mean, variance = dispersion.summarise([[1, 2, 3], None, [], [4], [0, 0]])
    np.testing.assert_array_equal(size, [3, 0, 0, 1, 2])
    np.testing.assert_array_equal(mean, [2, np.nan, np.nan, 4, 0])
    np.testing.assert_array_equal(variance, [1, np.nan, np.nan, np.nan, 0])


def test_fits_find_what_was_put_in():
    mean = np.array([0.5, 1.0, 3.0, 9.0, 20.0])
    law = dispersion.fit_power_law(mean, 2.4 * mean**1.4)
    assert (law.a, law.b, law.residual) == pytest.approx((2.4, 1.4, 0.0), abs=1e-9)
    assert dispersion.fit_mean_crowding(mean, 1.2 * mean + 0.5 * mean**2) == pytest.approx((0.2, 1.5))
    assert dispersion.common_k(mean, mean + mean**2 / 0.7, np.inf * np.ones(5)) == pytest.approx(0.7)
    assert float(law.k(3.0)) == pytest.approx(9 / (2.4 * 3**1.4 - 3))
    with pytest.raises(ValueError, match="three fields"):
        dispersion.fit_power_law([1, 1, 1], [2, 2, 2])


def test_unknown_counts_stay_unknown():
    drawn = dispersion.mean_draws([np.nan, 3.0], [10, np.nan], 0.5, np.array([0.0, 1.0]))
    assert np.isnan(drawn).all()
