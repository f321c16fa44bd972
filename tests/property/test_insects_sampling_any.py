"""What must hold for any plan and any counts."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from sideoats.insects import dispersion, sampling

means = st.floats(0.05, 200)
ks = st.floats(0.05, 20)


@given(means, st.floats(1.2, 5), ks, st.floats(0.02, 0.3), st.floats(0.02, 0.3))
def test_wald_keeps_its_risks_at_the_two_means(safe, ratio, k, alpha, beta):
    plan = sampling.wald_plan("negative binomial", safe, safe * ratio, alpha=alpha, beta=beta, k=k)
    accept, units = sampling.wald_characteristics(plan, [plan.safe, plan.treat])
    np.testing.assert_allclose(accept, [1 - alpha, beta], atol=1e-6)
    assert (units > 0).all()
    assert plan.safe < plan.slope < plan.treat


@given(means, ks, st.floats(0, 150))
def test_tally_share_and_mean_are_inverse(mean, k, tally):
    share = float(dispersion.share_above(mean, k, tally))
    if 1e-9 < share < 1 - 1e-9:
        assert abs(float(dispersion.mean_from_share(share, k, tally)) / mean - 1) < 1e-6


@given(means, ks, st.integers(2, 400))
def test_a_higher_count_never_draws_a_lower_mean(mean, k, n):
    scores = np.linspace(-3.5, 3.5, 15)
    low, high = dispersion.mean_draws([mean, mean * 1.1], n, k, scores)
    assert (high >= low).all()
    assert (np.diff(low) >= 0).all()


@given(st.floats(0.01, 0.99), ks, st.integers(5, 400))
def test_draws_from_a_share_rise_with_it(share, k, n):
    scores = np.linspace(-3, 3, 13)
    low, high = dispersion.mean_draws_from_share([share * 0.9, share], n, k, 50, scores)
    assert (high >= low * (1 - 1e-12)).all()


@given(means, st.floats(0.3, 5), st.floats(1.0, 1.9), st.floats(0.1, 0.4))
def test_green_line_gives_the_asked_precision(mean, a, b, precision):
    n = float(sampling.units_for_precision(mean, a * mean**b, precision))
    assert abs(float(sampling.green_line(n, a, b, precision)) / (n * mean) - 1) < 1e-9
