"""What must hold for any weather: identities between methods, monotony, block independence, missing days kept apart."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from sideoats.weather import drought, freeze, livestock, psychrometrics, rainfall
from sideoats.weather.arrays import by_blocks
from sideoats.weather.crop_water import water_balance
from sideoats.weather.degree_days import CUTOFFS, accumulate, degree_days, hours_between
from sideoats.weather.evapotranspiration import reference_et_daily
from sideoats.weather.spraying import rain_within

degrees = st.floats(-40, 130, allow_nan=False)
curves = ("single_triangle", "single_sine")


@given(degrees, st.floats(0, 60))
@settings(deadline=None)
def test_between_the_thresholds_every_method_gives_mean_less_base(low: float, swing: float) -> None:
    high = low + swing
    base, top = low - 1.0, high + 1.0
    for method in ("simple", "modified", *curves):
        for cutoff in CUTOFFS if method not in ("modified",) else ("none", "horizontal"):
            found = degree_days(high, low, base, top, method=method, cutoff=cutoff)
            assert found == pytest.approx((high + low) / 2 - base, abs=1e-9)


@given(degrees, st.floats(0, 60), st.floats(20, 60), st.floats(1, 50))
@settings(deadline=None)
def test_cutoffs_are_ordered_and_never_negative(low: float, swing: float, base: float, gap: float) -> None:
    high, upper = low + swing, base + gap
    for method in curves:
        none, flat, falling, dead = (
            float(degree_days(high, low, base, upper, method=method, cutoff=c)) for c in CUTOFFS
        )
        assert none + 1e-9 >= flat >= falling - 1e-9
        assert flat + 1e-9 >= dead >= 0 and falling >= 0


@given(degrees, st.floats(0, 60), st.floats(20, 60), st.floats(0, 10))
@settings(deadline=None)
def test_a_warmer_day_never_gives_fewer_units_uncut(low: float, swing: float, base: float, more: float) -> None:
    for method in ("simple", "modified", *curves):
        here = degree_days(low + swing, low, base, method=method)
        warmer = degree_days(low + swing + more, low + more, base, method=method)
        assert warmer >= here - 1e-9


@given(degrees, st.floats(0, 60), st.floats(20, 60))
@settings(deadline=None)
def test_celsius_and_fahrenheit_agree(low: float, swing: float, base: float) -> None:
    high = low + swing
    for method in ("simple", *curves):
        in_f = degree_days(high, low, base, base + 30, method=method)
        in_c = degree_days((high - 32) / 1.8, (low - 32) / 1.8, (base - 32) / 1.8, (base - 2) / 1.8, method=method)
        assert in_f == pytest.approx(1.8 * in_c, abs=1e-8)


@given(degrees, st.floats(0, 60), st.floats(-20, 110), st.floats(1, 40))
@settings(deadline=None)
def test_hours_of_the_day_add_to_24(low: float, swing: float, first: float, width: float) -> None:
    for method in curves:
        parts = [
            hours_between(low + swing, low, a, b, method=method)
            for a, b in ((-np.inf, first), (first, first + width), (first + width, np.inf))
        ]
        assert sum(float(p) for p in parts) == pytest.approx(24.0, abs=1e-9)


@given(arrays(np.float64, (3, 400), elements=st.floats(-20, 45)), st.integers(1, 5000), st.integers(1, 3))
@settings(max_examples=25, deadline=None)
def test_blocks_and_workers_do_not_change_the_answer(tmin: np.ndarray, block: int, workers: int) -> None:
    whole = np.exp(tmin) * np.arange(1.0, 401.0)
    found = by_blocks(lambda a, b: np.exp(a) * b, tmin, np.arange(1.0, 401.0), block=block, workers=workers)
    assert np.array_equal(found, whole)


def test_grids_of_any_shape_give_what_single_cells_give() -> None:
    rng = np.random.default_rng(8)
    tmin = rng.normal(10, 8, (4, 5, 3000))
    tmax = tmin + rng.uniform(1, 20, tmin.shape)
    latitude, day = rng.uniform(30, 45, (4, 5, 1)), np.arange(3000) % 365 + 1
    grid = reference_et_daily(tmax, tmin, 1.0, 18.0, 2.0, elevation_m=300, latitude=latitude, day=day)
    cell = reference_et_daily(
        tmax[2, 3], tmin[2, 3], 1.0, 18.0, 2.0, elevation_m=300, latitude=latitude[2, 3, 0], day=day
    )
    assert np.array_equal(grid[2, 3], cell)
    assert np.array_equal(degree_days(tmax, tmin, 10, 30)[1, 4], degree_days(tmax[1, 4], tmin[1, 4], 10, 30))


def test_missing_or_impossible_days_are_nan_and_counted() -> None:
    tmax, tmin = np.array([80.0, np.nan, 60.0, 90.0]), np.array([60.0, 50.0, 70.0, 70.0])
    for method in ("simple", "modified", *curves, "double_sine"):
        found = degree_days(tmax, tmin, 50, 86, method=method, tmin_next=tmin)
        assert np.isnan(found).tolist() == [False, True, True, False]
        total = accumulate(found)
        assert (int(total.days), int(total.missing)) == (2, 2)


@given(st.floats(-10, 44), st.floats(0.02, 1.0))
@settings(deadline=None)
def test_wet_bulb_lies_between_dew_point_and_air(temperature: float, humidity: float) -> None:
    wet = float(psychrometrics.wet_bulb(temperature, humidity))
    dew = float(psychrometrics.dew_point(humidity * psychrometrics.saturation_vapour_pressure(temperature)))
    assert dew - 1e-6 <= wet <= temperature + 1e-6
    assert psychrometrics.relative_humidity(temperature, dew) == pytest.approx(humidity, abs=1e-9)


@given(st.floats(0, 40), st.floats(0.5, 25), st.floats(0.3, 3.5), st.floats(1, 32), st.floats(0, 10))
@settings(deadline=None)
def test_reference_et_grows_with_sun_and_dryness(
    tmin: float, swing: float, ea: float, solar: float, wind: float
) -> None:
    day = {"elevation_m": 300, "latitude": 38, "day": 200}
    here = reference_et_daily(tmin + swing, tmin, ea, solar, wind, **day)
    assert reference_et_daily(tmin + swing, tmin, ea, solar + 3, wind, **day) >= here - 1e-9


@given(
    arrays(np.float64, 60, elements=st.floats(0, 60)), arrays(np.float64, 60, elements=st.floats(0, 9)),
    st.floats(20, 250), st.floats(0.2, 0.7), st.floats(0, 1),
)  # fmt: skip
@settings(deadline=None)
def test_water_balance_closes(
    rain: np.ndarray, et: np.ndarray, available: float, fraction: float, start: float
) -> None:
    found = water_balance(et, rain, np.ones(60), available, fraction, start_depletion=start * available)
    assert (found.depletion >= 0).all() and (found.depletion <= available + 1e-9).all()
    assert (found.stress >= 0).all() and (found.stress <= 1).all()
    gained = rain.sum() - found.drained.sum() - found.crop_et.sum()
    left_off = found.depletion[-1] - (start * available - gained)  # clipped at the wilting point: evaporation not met
    assert left_off == pytest.approx(0.0, abs=1e-6) or left_off < 0


def test_reference_et_of_impossible_input_is_nan_and_of_polar_night_is_finite() -> None:
    day = {"elevation_m": 300, "latitude": np.array([38.0, 38.0, 38.0, 38.0, 80.0]), "day": 355}
    tmax, tmin = np.array([10.0, 10.0, 10.0, 2.0, -20.0]), np.array([0.0, 0.0, 0.0, 5.0, -25.0])
    ea, solar, wind = np.array([0.5, -0.1, 0.5, 0.5, 0.05]), np.array([8, 8, 8, 8, 0.0]), np.array([2, 2, -1, 2, 2.0])
    for standard in ("fao56", "asce_short", "asce_tall"):
        found = reference_et_daily(tmax, tmin, ea, solar, wind, standard=standard, **day)
        assert np.isnan(found).tolist() == [False, True, True, True, False]


def test_a_missing_day_in_the_balance_is_marked() -> None:
    rain = np.array([5.0, np.nan, 0.0, 0.0])
    found = water_balance(np.array([4.0, 4.0, np.nan, 4.0]), rain, np.ones(4), 100.0, 0.5, start_depletion=30.0)
    assert found.missing.tolist() == [False, True, True, False]
    assert np.isfinite(found.depletion).all()


@given(st.floats(0, 300), st.floats(40, 100), st.floats(0, 50))
@settings(deadline=None)
def test_runoff_grows_with_rain_and_curve_number(rain: float, number: float, more: float) -> None:
    here = float(rainfall.runoff(rain, number))
    assert 0 <= here <= rain + 1e-9
    assert rainfall.runoff(rain + more, number) >= here - 1e-9
    assert rainfall.runoff(rain, min(number + 5, 100)) >= here - 1e-9
    dry, wet = float(rainfall.curve_number_dry(number)), float(rainfall.curve_number_wet(number))
    assert dry <= number + 1e-9 <= wet + 2e-9 or number == 100


@given(arrays(np.float64, 40, elements=st.floats(0.1, 400)), st.floats(0.5, 20))
@settings(deadline=None)
def test_the_precipitation_index_ignores_units_and_keeps_order(amounts: np.ndarray, factor: float) -> None:
    if np.ptp(amounts) < 1:
        return
    index = drought.gamma_index(amounts, drought.fit_gamma(amounts))
    scaled = drought.gamma_index(amounts * factor, drought.fit_gamma(amounts * factor))
    assert scaled == pytest.approx(index, abs=1e-6)
    order = np.argsort(amounts)
    assert (np.diff(index[order]) >= -1e-9).all()


def test_index_series_keep_missing_months_missing() -> None:
    rain = np.random.default_rng(1).gamma(2, 30, 360)
    rain[100] = np.nan
    found = drought.precipitation_index(rain, 3)
    assert np.isnan(found).nonzero()[0].tolist() == [0, 1, 100, 101, 102]
    balance = drought.balance_index(rain - 60, 3)
    assert np.isnan(balance).nonzero()[0].tolist() == [0, 1, 100, 101, 102]


@given(arrays(np.float64, (6, 50), elements=st.one_of(st.floats(-15, 20), st.just(np.nan))))
@settings(deadline=None)
def test_each_year_is_frozen_unfrozen_or_unknown(tmin: np.ndarray) -> None:
    for found in (freeze.first_freeze(tmin, 0.0), freeze.last_freeze(tmin, 0.0)):
        ways = (~np.isnan(found.day)).astype(int) + found.none.astype(int) + found.unknown.astype(int)
        assert (ways == 1).all()


@given(st.floats(25, 44), st.floats(0.3, 1.0), st.floats(0, 10), st.floats(0, 1000), st.floats(0, 3), st.floats(0, 100))
@settings(deadline=None)
def test_shade_and_wind_relieve_heat(t: float, h: float, wind: float, sun: float, more: float, less: float) -> None:
    here = livestock.comprehensive_climate_index(t, h, wind, sun)
    assert livestock.comprehensive_climate_index(t, h, wind, max(sun - less, 0)) <= here + 1e-9
    adjusted = livestock.adjusted_index(livestock.temperature_humidity_index(t, h), wind, sun)
    assert livestock.adjusted_index(livestock.temperature_humidity_index(t, h), wind + more, sun) <= adjusted + 1e-9


@given(st.integers(0, 23), st.integers(1, 12))
@settings(deadline=None)
def test_rain_within_looks_ahead_and_not_back(at: int, hours: int) -> None:
    rain = np.zeros(24)
    rain[at] = 5.0
    found = rain_within(rain, hours, least=0.2)
    assert found.tolist() == [0 <= at - h < hours for h in range(24)]
