"""Laws that wheat functions keep for any input: inverses, bounds, monotone answers, nothing beyond published ranges."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sideoats.errors import InputError
from sideoats.facts import load
from sideoats.wheat import drill, freeze, grazing, planting, response, seed, sprayer, stages

FACTS = load()
EARLY = FACTS["wheat/planting.early_yield.bushland"].rows
LATE = FACTS["wheat/planting.late_yield.witt1996"].rows
positive = st.floats(0.01, 1000, allow_nan=False)


@given(positive, positive, positive)
def test_flow_and_rate_are_inverse(rate, speed, width):
    flow = sprayer.nozzle_flow(rate, speed, width)
    assert sprayer.application_rate(flow, speed, width) == pytest.approx(rate)


@given(positive, positive)
def test_a_catch_over_the_ounce_course_is_its_own_rate(ounces, width):
    assert sprayer.rate_from_course(ounces, sprayer.ounce_course(width), width) == pytest.approx(ounces)


@given(positive, positive)
def test_catch_and_rate_are_inverse(rate, area):
    grams = drill.target_catch_g(rate, area)
    assert drill.sown_rate(grams / seed.GRAMS_PER_POUND, area) == pytest.approx(rate)


@given(st.floats(-39, 182), st.floats(-39, 182))
def test_yield_by_date_is_a_share_and_falls_away_from_the_best_day(a, b):
    first, second = planting.relative_yield([a, b], EARLY, LATE)
    assert 0 <= first <= 1 and 0 <= second <= 1
    if 0 <= a <= b or b <= a <= 0:
        assert first >= second - 1e-12


@given(st.lists(st.floats(0, 2), min_size=5, max_size=30), st.floats(0.05, 1.5))
def test_soaking_rain_is_the_first_that_is_enough(rain, threshold):
    found = planting.soaking_from(np.array(rain), threshold)
    two = [r + (rain[i - 1] if i else 0.0) for i, r in enumerate(rain)]
    for day in range(len(rain)):
        later = [i for i in range(day, len(rain)) if two[i] >= threshold]
        assert (np.isnan(found[day]) and not later) or found[day] == later[0]


@given(st.integers(0, 60), st.floats(0.001, 0.2))
def test_compound_loss_never_exceeds_straight_loss(days, rate):
    straight, compound = grazing.lost_after(days, rate), grazing.lost_after(days, rate, compound=True)
    assert 0 <= compound <= straight + 1e-12 <= 1 + 2e-12


@given(st.floats(100, 4000), st.floats(0, 40), st.floats(20, 200), st.floats(0.4, 0.9), st.floats(0.02, 0.035))
def test_what_is_carried_lasts_just_as_long(forage, growth, days, harvested, intake):
    left, weight = 50.0, 550.0
    head = grazing.head_carried(forage, left, growth, days, harvested, intake, weight)
    lasts = grazing.days_lasting(head, forage, left, growth, harvested, intake, weight)
    assert lasts == pytest.approx(days, rel=1e-6)


@given(st.floats(20, 80), st.floats(60, 200), st.floats(0.02, 0.3))
def test_the_optimum_beats_its_neighbours(potential, need, ratio):
    # on Y (1 - (1 - N/need)^2): b = 2Y/need, c = -Y/need^2
    b, c = 2 * potential / need, -potential / need**2
    best = float(response.optimum_quadratic(b, c, ratio))

    def net(rate):
        return float(response.supply_response(rate, need, potential)) - ratio * rate

    assert net(best) >= net(best + 1) - 1e-9 and net(best) >= net(max(best - 1, 0.0)) - 1e-9


@settings(deadline=None)  # the first call imports scipy.optimize
@given(st.floats(0.1, 0.6), st.floats(40, 110), st.floats(20, 60))
def test_fits_recover_their_own_curves(slope, join, start):
    rates = np.repeat(np.arange(0, 151, 15.0), 2)
    linear = response.fit_response(rates, response.linear_plateau(rates, start, slope, join), "linear_plateau")
    assert linear.coefficients == pytest.approx((start, slope, join), rel=0.02)
    c = -slope / (2 * join)
    curved = response.fit_response(rates, response.quadratic_plateau(rates, start, slope, c), "quadratic_plateau")
    assert curved.coefficients == pytest.approx((start, slope, c), rel=0.02)
    assert curved.r_squared > 0.999


def test_a_plain_quadratic_is_numpys():
    x, y = np.array([0, 40, 80, 120.0]), np.array([30, 41, 46, 45.0])
    assert response.fit_response(x, y, "quadratic").coefficients == pytest.approx(tuple(np.polyfit(x, y, 2)[::-1]))


@pytest.mark.parametrize(
    ("x", "y", "form", "message"),
    [
        ([0, 0, 40, 40], [1, 2, 3, 4], "linear_plateau", "2 different rates"),
        ([0, 40, 80, 120], [50, 40, 30, 20], "quadratic_plateau", "do not rise"),
        ([0, 40, 80, 120], [1, 2, 3, 4], "cubic", "not known"),
    ],
)
def test_responses_that_cannot_be_fitted_are_refused(x, y, form, message):
    with pytest.raises(InputError, match=message):
        response.fit_response(x, y, form)


@given(st.floats(-20, 60), st.floats(0, 40), st.floats(-20, 60))
def test_hours_below_grow_with_the_line(low, spread, line):
    hours = freeze.night_hours_below(low + spread, low, [line, line + 5])
    assert 0 <= hours[0] <= hours[1] <= 24


@given(st.floats(-10, 30))
def test_vernalisation_stays_within_a_day(temperature):
    assert 0 <= freeze.vernalisation_rate(temperature, -1.3, 4.9, 15.7) <= 1 + 1e-12


@given(st.floats(5, 25), st.integers(0, 5))
def test_stages_never_go_back_and_warmer_is_never_later(mean, seed_number):
    rng = np.random.default_rng(seed_number)
    tmax = mean + 6 + rng.normal(0, 3, 250)
    codes = stages.zadoks_by_day(np.stack([tmax, tmax + 2]), np.stack([tmax - 12, tmax - 10]), np.full(250, 13.0),
                                 stages.calendar(FACTS))  # fmt: skip
    assert (np.diff(codes, axis=1) >= -1e-9).all()
    up = stages.day_of_code(codes, 10)
    assert up[1] <= up[0] or np.isnan(up[0])


def test_a_missing_day_stops_the_stage_sketch():
    tmax = np.full(50, 20.0)
    tmax[10] = np.nan
    codes = stages.zadoks_by_day(tmax, tmax - 10, np.full(50, 12.0), stages.calendar(FACTS))
    assert np.isfinite(codes[:10]).all() and np.isnan(codes[10:]).all()
