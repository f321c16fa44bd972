"""What must hold for any injury, price and growth."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from sideoats.insects import growth, injury

positive = st.floats(0.01, 1e4)


@given(positive, positive, st.floats(1e-4, 0.5), st.floats(0.05, 1))
def test_injury_level_is_where_control_breaks_even(cost, value, share, prevented):
    level = injury.injury_level_from_share(cost, value, share, prevented)
    gain = injury.net_gain(value, injury.loss_share(level, share, np.inf), prevented, cost)
    assert abs(float(gain)) <= 1e-9 * cost
    assert float(injury.injury_level_from_share(cost * 1.1, value, share, prevented)) > float(level)
    assert float(injury.injury_level_from_share(cost, value * 1.1, share, prevented)) < float(level)


@given(st.floats(0.1, 500), st.floats(-0.3, 0.5), st.integers(1, 30))
def test_delay_formula_agrees_with_fine_steps(start, rate, days):
    steps = np.linspace(0, days, 4001)
    stepped = injury.pest_days(start * np.exp(rate * steps), steps)[-1]
    np.testing.assert_allclose(injury.delay_pest_days(start, rate, days), stepped, rtol=1e-4)


@given(st.floats(0, 500), st.lists(st.floats(-0.3, 0.5), min_size=1, max_size=30), st.floats(100, 1000))
def test_paths_never_pass_the_higher_of_start_and_ceiling(start, rates, ceiling):
    path = growth.density_path(start, np.array(rates), ceiling)
    assert (path <= max(start, ceiling) * (1 + 1e-9)).all()
    assert (path >= 0).all()
    higher = growth.density_path(start * 1.1, np.array(rates), ceiling)
    assert (higher >= path - 1e-9).all()
