"""Stop lines and sample sizes against printed plans and printed sample numbers."""

import numpy as np
import pytest

from sideoats.insects import dispersion, sampling


def test_rootworm_plans_share_one_ratio_of_intercepts():
    # Corn rootworm adults, southern Ontario: printed lines 0.98n - 17.75 / + 13.82 and 0.99n - 13.42 / + 10.45
    # (journal abstract, scilit.net/publications/25700c9bbf5c857cd7dd9e418e65ff12). The risks alone fix the ratio;
    # alpha 0.10 and beta 0.05 are inferred, not printed in the abstract.
    plan = sampling.wald_plan("negative binomial", 0.8, 1.2, alpha=0.10, beta=0.05, k=0.657)
    assert plan.lower / plan.upper == pytest.approx(-17.75 / 13.82, abs=0.001)
    assert plan.lower / plan.upper == pytest.approx(-13.42 / 10.45, abs=0.001)


@pytest.mark.parametrize(("k", "slope", "lower", "upper"), [(0.657, 0.98, -17.75, 13.82), (1.111, 0.99, -13.42, 10.45)])
def test_rootworm_lines_with_inferred_means(k, slope, lower, upper):
    # The same printed lines; means 0.8 and 1.2 and the k are inferred from them, so this is consistency, not proof.
    plan = sampling.wald_plan("negative binomial", 0.8, 1.2, alpha=0.10, beta=0.05, k=k)
    assert plan.slope == pytest.approx(slope, abs=0.011)
    assert (plan.lower, plan.upper) == pytest.approx((lower, upper), abs=0.02)


@pytest.mark.parametrize(
    ("calibrated_n", "d", "printed", "off"),
    [
        # kudzu bug in soybean, sweep net: n = 184, 48, 22 within 10, 20, 30 % (South Carolina)
        (184, 0.2, 48, 0),
        (184, 0.3, 22, 1),  # recomputes to 22.6
        (239, 0.2, 62, 0),  # the same by beat cloth: 239, 62, 29
        (239, 0.3, 29, 0),
        (112, 0.3, 15, 0),  # cotton bolls: 112 and 15, J. Econ. Entomol. 103(2), 2010
    ],
)
def test_printed_sample_numbers_follow_students_t(calibrated_n, d, printed, off):
    from scipy import optimize

    ratio = optimize.brentq(lambda r: float(sampling.units_for_half_width(r, 0.1, 0.95)) - calibrated_n, 0.05, 5)
    assert abs(round(float(sampling.units_for_half_width(ratio, d, 0.95))) - printed) <= off


def test_green_and_kuno_sample_numbers_scale_with_the_square_of_precision():
    # Alfalfa caterpillar eggs: D 0.25 -> 27 units, D 0.10 -> 161 (Green), 26 and 157 (Kuno); J. Insect Sci. 13:41, 2013
    few, many = (float(sampling.units_for_precision(1.0, 27 * 0.25**2, d)) for d in (0.25, 0.10))
    assert few == pytest.approx(27)
    assert many == pytest.approx(161, rel=0.06)


@pytest.mark.parametrize(("tally", "printed"), [(25, 0.23), (50, 0.16), (100, 0.11)])
def test_sorghum_aphid_tallies_at_forty_per_leaf(tally, printed):
    # "Tally-based thresholds as an alternative to density-based thresholds for sugarcane aphid ... in grain sorghum":
    # shares of leaves above 25, 50, 100 aphids at a mean of 40. One k, fitted to the three, gives all.
    assert float(dispersion.share_above(40, 0.122, tally)) == pytest.approx(printed, abs=0.01)


@pytest.mark.parametrize(("rate", "printed", "tolerance"), [(0.16, 207, 0.6)])
def test_binomial_sample_number(rate, printed, tolerance):
    # Normal approximation n = z^2 p (1 - p) / d^2 as in Cochran, Sampling Techniques (memory), p 0.16, d 0.05: 206.5
    variance = rate * (1 - rate)
    assert float(sampling.iwao_most_units(variance, 0.05, 1.959964)) == pytest.approx(printed, abs=tolerance)


def test_power_law_and_tallies_against_scipy_distributions():
    from scipy import stats

    mean, k = 7.3, 0.6
    other = stats.nbinom(k, k / (k + mean))
    for tally in (0, 3, 20):
        assert float(dispersion.share_above(mean, k, tally)) == pytest.approx(other.sf(tally), rel=1e-10)
    assert float(dispersion.share_above(mean, np.inf, 5)) == pytest.approx(stats.poisson(mean).sf(5), rel=1e-10)


def test_mean_draws_follow_the_beta_prime_of_scipy():
    from scipy import stats

    n, mean, k = 40, 12.5, 0.3
    scores = stats.norm.ppf(np.linspace(0.001, 0.999, 201))
    drawn = dispersion.mean_draws(mean, n, k, scores)[0]
    expected = k * stats.betaprime(n * mean + 0.5, n * k).ppf(np.linspace(0.001, 0.999, 201))
    np.testing.assert_allclose(drawn, expected, rtol=2e-3)


def test_poisson_mean_draws_follow_the_gamma_of_scipy():
    from scipy import stats

    chances = np.linspace(0.01, 0.99, 99)
    drawn = dispersion.mean_draws([0.0, 3.0], 10, np.inf, stats.norm.ppf(chances))
    np.testing.assert_allclose(drawn[1], stats.gamma(30.5).ppf(chances) / 10, rtol=2e-3)
    np.testing.assert_allclose(drawn[0], stats.gamma(0.5).ppf(chances) / 10, rtol=2e-2)
