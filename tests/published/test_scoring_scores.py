"""Scores against printed figures and an independent integration."""

import numpy as np
import pytest

from sideoats.week.scoring import (
    brier,
    brier_parts,
    crps_ensemble,
    crps_normal,
    pinball,
    ranked_probability,
    share_interval,
    skill,
)

CHANCE = [0.9, 0.7, 0.7, 0.3, 0.3, 0.3, 0.1, 0.1, 0.5, 0.5]
CAME = [1, 1, 0, 0, 1, 0, 0, 0, 1, 0]


def test_brier_and_its_parts():
    # constructed check of the reference page (V1)
    parts = brier_parts(CHANCE, CAME)
    assert brier(CHANCE, CAME) == pytest.approx(0.178)
    assert parts.reliability == pytest.approx(0.0113333, abs=5e-8)
    assert parts.resolution == pytest.approx(0.0733333, abs=5e-8)
    assert parts.uncertainty == pytest.approx(0.24)
    assert parts.skill == pytest.approx(0.2583333, abs=5e-8)
    assert parts.within == pytest.approx(0.0, abs=1e-12)


def test_ranked_probability():
    # reference page, V2: (.2, .5, .3) and the third category came: .53, or .265 over k - 1; climatology .555556
    stated, usual = [0.2, 0.5, 0.3], [1 / 3] * 3
    assert ranked_probability(stated, 2) == pytest.approx(0.53)
    assert ranked_probability(stated, 2, normalised=True) == pytest.approx(0.265)
    assert ranked_probability(usual, 2) == pytest.approx(0.555556, abs=5e-7)
    assert skill(ranked_probability(stated, 2), ranked_probability(usual, 2)) == pytest.approx(0.046, abs=5e-4)


@pytest.mark.parametrize(
    ("quantile", "observed", "level", "printed"),
    [(200, 215, 0.9, 13.5), (200, 190, 0.9, 1.0), (200, 190, 0.1, 9.0), (200, 215, 0.5, 7.5)],
)
def test_pinball(quantile, observed, level, printed):
    # reference page, V3
    assert pinball(quantile, observed, level) == pytest.approx(printed)


def test_crps_of_a_normal_forecast():
    # documentation of the properscoring package: 0.23369497725510913 for N(0, 1) at 0
    assert crps_normal(0, 1, 0) == pytest.approx(0.23369497725510913, abs=1e-14)
    # reference page
    assert crps_normal(0, 1, 1) == pytest.approx(0.6024414, abs=5e-8)
    assert crps_normal(200, 20, 215) == pytest.approx(8.9628850, abs=5e-8)


def test_crps_of_four_draws():
    # reference page: 7.8125 with pairs over 2 n^2, fair 5.8333
    draws = [190, 200, 205, 220]
    assert crps_ensemble(draws, 215) == pytest.approx(7.8125)
    assert crps_ensemble(draws, 215, fair=True) == pytest.approx(5.8333, abs=5e-5)


@pytest.mark.parametrize("observed", [-1.0, 0.3, 2.5])
def test_crps_is_the_integral_of_the_squared_difference_of_distributions(observed):
    # definition (Gneiting and Raftery 2007): the integral of (F(x) - 1{x >= y})^2, done here by scipy's quadrature
    from scipy.integrate import quad
    from scipy.stats import norm

    below = quad(lambda x: norm.cdf(x) ** 2, -np.inf, observed)[0]
    above = quad(lambda x: norm.sf(x) ** 2, observed, np.inf)[0]
    assert crps_normal(0, 1, observed) == pytest.approx(below + above, abs=1e-7)


@pytest.mark.parametrize(("hits", "count"), [(0, 10), (8, 10), (83, 105), (10, 10)])
def test_interval_of_a_share(hits, count):
    # Wilson interval as statsmodels computes it
    from statsmodels.stats.proportion import proportion_confint

    low, high = share_interval(hits, count)
    assert (float(low), float(high)) == pytest.approx(proportion_confint(hits, count, method="wilson"), abs=1e-12)
