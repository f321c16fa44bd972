"""Split sales, balance sheets and a stand's break-even against printed figures and a reference library."""

import numpy as np
import pytest

from sideoats.grain.balance import balance_sheet, price_range, stocks_to_use
from sideoats.grain.sales import draw_correlation, equal_shares, split_mean, split_sd
from sideoats.grain.stand import break_even_sales, contribution, stand_profit, triangular


def test_thirds_calm_little_when_dates_share_one_level():
    # reference page, own algebra: correlation 0.8, equal spread: 0.931 of the spread of one sale
    assert split_sd(np.ones(3), 0.8, equal_shares(3)) == pytest.approx(0.931, abs=5e-4)


def test_spread_of_parts_is_that_of_numpy():
    # variance of w'x under the sample covariance, from numpy.cov
    rng = np.random.default_rng(5)
    prices = rng.normal(5, 0.4, (4000, 3)) + rng.normal(0, 0.8, (4000, 1))
    weight = np.array([0.2, 0.3, 0.5])
    expected = float(np.sqrt(weight @ np.cov(prices, rowvar=False) @ weight))
    assert split_sd(prices.std(axis=0, ddof=1), draw_correlation(prices), weight) == pytest.approx(expected)
    assert split_mean(prices, weight).mean() == pytest.approx(float(np.average(prices.mean(axis=0), weights=weight)))


def test_stocks_to_use_of_printed_sheets():
    # United States, September 2016 (in Mallory, Price Analysis, chapter 15): corn 2,409 of 14,500, soybean 365 of 4,061
    assert 100 * stocks_to_use(2409, 14500) == pytest.approx(16.61, abs=5e-3)
    assert 100 * stocks_to_use(365, 4061) == pytest.approx(8.99, abs=5e-3)


def test_a_sheet_adds_up():
    # identity: supply = beginning + production + imports, ending = supply - use
    sheet = balance_sheet(600, 1900, 120, 1150, 800)
    assert (sheet.supply, sheet.use, sheet.ending_stocks) == (2620, 1950, 670)
    assert sheet.stocks_to_use == pytest.approx(670 / 1950)


def test_price_range_is_the_prediction_interval_of_statsmodels():
    import statsmodels.api as sm

    ratio = np.array([0.45, 0.38, 0.30, 0.52, 0.61, 0.28, 0.22, 0.35, 0.48, 0.41])
    price = np.array([4.1, 4.6, 5.9, 3.9, 3.4, 6.4, 7.9, 5.2, 4.3, 4.9])
    fit = sm.OLS(np.log(price), sm.add_constant(np.log(ratio))).fit()
    frame = fit.get_prediction(np.array([[1.0, np.log(0.33)]])).summary_frame(alpha=0.2)
    found = price_range(0.33, ratio, price)
    assert np.log([found.low, found.middle, found.high]) == pytest.approx(
        frame[["obs_ci_lower", "mean", "obs_ci_upper"]].to_numpy()[0]
    )
    assert found.residual_sd == pytest.approx(float(np.sqrt(fit.mse_resid)))
    assert found.inside and not price_range(0.9, ratio, price).inside


@pytest.mark.parametrize(
    ("fixed", "price", "cost", "printed"),
    [
        (7700, 10.0, 4.50, 1400),  # witiger.com, break-even analysis: 7,700 / (10.00 - 4.50)
        (2400, 1.0, 0.80, 12_000),  # a roadside fruit stand in a college text (study.com): 12,000 dollars of produce
        (9600, 1.0, 0.80, 48_000),  # the same with the wages given up
    ],
)
def test_break_even_sales(fixed, price, cost, printed):
    assert break_even_sales(fixed, contribution(price, cost)) == pytest.approx(printed)


def test_a_thousand_sales_lose_what_the_page_prints():
    # witiger.com: 1,000 sold at 10.00 with 4.50 variable and 7,700 fixed lose 2,200
    _, profit = stand_profit([1000.0], 1000.0, price=10.0, unit_cost=4.50, fixed_cost=7700.0)
    assert profit == pytest.approx(-2200)


def test_triangular_is_that_of_scipy():
    from scipy.stats import triang

    u = np.linspace(0.01, 0.99, 25)
    expected = triang.ppf(u, c=(60 - 20) / (180 - 20), loc=20, scale=160)
    assert triangular(u, 20, 60, 180) == pytest.approx(expected)
