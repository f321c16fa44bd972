"""Our own arithmetic of growth and injury: guards the code, says nothing about the world."""

import numpy as np
import pytest

from sideoats.facts import load
from sideoats.insects import growth, injury
from sideoats.weather.degree_days import degree_days


def test_dynamic_threshold():
    rate = np.log(2) / 4.2
    np.testing.assert_allclose(injury.dynamic_threshold([102, 37], rate, 7), [32.1, 11.7], atol=0.05)


def test_waiting_gathers_pest_days():
    rate = np.log(2) / 4.2
    np.testing.assert_allclose(injury.delay_pest_days(20, rate, [3, 7]), [77.6, 263.6], atol=0.1)
    np.testing.assert_allclose(growth.density_path(20.0, np.full(7, rate))[[3, 7]], [32.81, 63.50], atol=0.01)
    assert float(injury.delay_pest_days(20, 0.0, 7)) == 140


def test_both_ways_of_counting_pest_days():
    days, counts = [0, 7, 14, 21, 28], [0, 20, 80, 300, 40]
    assert float(injury.pest_days(counts, days)[-1]) == pytest.approx(2940)
    assert float(injury.pest_days(counts, days, "log_mean")[-1]) == pytest.approx(2441.35, abs=0.01)


def test_days_until():
    got = injury.days_until(100, [100, 50, 0, 50, 150], [0.1, 0.1, 0.1, -0.1, -0.1])
    np.testing.assert_allclose(got, [0, np.log(2) / 0.1, np.inf, np.inf, 0])


def test_paths_level_off_at_the_ceiling():
    path = growth.density_path(
        [10.0, 10.0, 0.0, 900.0], np.full((4, 200), 0.2), np.array([400.0, np.inf, 400.0, 400.0])
    )
    assert path[0, -1] == pytest.approx(400)
    assert path[1, 10] == pytest.approx(10 * np.exp(2))
    assert (path[2] == 0).all()
    assert path[3] == pytest.approx(900)


def test_treating_early_leaves_fewer_pest_days():
    running = injury.pest_days(growth.density_path(20.0, np.full(14, 0.16)))
    treated = injury.pest_days_if_treated(running, 0.9)
    assert treated[0] == pytest.approx(0.1 * running[-1])
    assert treated[-1] == pytest.approx(running[-1])
    assert (np.diff(treated) > 0).all()


def test_losses_are_capped_and_have_a_free_part():
    np.testing.assert_allclose(injury.loss_share([0, 5, 15, 500], 0.01, 0.3, 5), [0, 0, 0.1, 0.3])


@pytest.mark.parametrize("method", ["yin_1995", "briere_1999", "linear"])
def test_response_is_a_share_and_zero_outside(method):
    t = np.linspace(-5, 45, 101)
    got = growth.response(t, 8.6, 28.3, 37.8, method)
    assert ((got >= 0) & (got <= 1 + 1e-9)).all()
    assert (got[(t <= 8.6) | (t >= 37.8)] == 0).all()
    assert got.max() > 0.99
    assert np.isnan(growth.response(np.nan, 8.6, 28.3, 37.8, method))
    with pytest.raises(ValueError, match="out of order"):
        growth.response(20, 30, 20, 40, method)


def test_a_day_of_extremes_suits_less_than_a_steady_one():
    steady, swinging = growth.day_response([28.3, 18.3], [28.3, 38.3], 8.6, 28.3, 37.8)
    assert steady == pytest.approx(1)
    assert 0.4 < swinging < 0.9
    assert float(growth.field_growth(0.164, swinging, swinging)) == pytest.approx(0.164)
    assert float(growth.field_growth(0.164, 1.0, 0.5, most=1.5)) == pytest.approx(0.246)


def test_predators_hold_a_population():
    np.testing.assert_allclose(growth.held_by_predators(1, 100, [0.164, 0.405]), [561, 200], rtol=0.005)
    assert float(growth.slowed(0.1, 0.15)) == pytest.approx(-0.05)


def test_first_day_reaching_a_requirement():
    running = np.cumsum(np.full((2, 5), 10.0), axis=1)
    np.testing.assert_array_equal(growth.first_reaching(running, [30.0, 60.0]), [2, np.nan])


def test_lines_through_the_printed_days_of_fall_armyworm():
    """Arithmetic of the days printed at 20, 25 and 30 degC (Egypt): lower threshold and degree-days by stage."""
    for days, lower, needed in (
        ([6.9, 3.4, 2.1], 15.8, 30.2),
        ([38.5, 23.7, 18.6], 10.4, 359.8),
        ([22.5, 9.4, 7.7], 14.0, 117.1),
    ):
        assert growth.development_line([20, 25, 30], days) == pytest.approx((lower, needed), abs=0.1)


def test_five_per_cent_a_headworm_fits_big_heads_only():
    """Pounds per larva as a share of the head: 20.5 % in light heads, 6.2 % in heavy ones, against a rule of 5 %."""
    loss = load().value("insects/sorghum_headworm.loss.per_larva")
    assert loss * 60_000 / 3000 == pytest.approx(0.205, abs=5e-4)
    assert loss * 30_000 / 5000 == pytest.approx(0.062, abs=5e-4)


def test_earworm_eggs_at_a_steady_80_degrees():
    limits = load()["insects/moth_flight.corn_earworm_limits"]
    low, high = 1.8 * limits.low + 32, 1.8 * limits.high + 32
    daily = float(degree_days(80.0, 80.0, low, high, cutoff="intermediate"))
    assert 72.9 / daily == pytest.approx(2.88, abs=0.01)
