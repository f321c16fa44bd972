"""Carry, spreads and storage charges against printed figures."""

import numpy as np
import pytest

from sideoats.grain.carry import (
    MONTH_DAYS,
    break_even_price,
    carrying_cost,
    daily_interest,
    interest_cost,
    share_of_full_carry,
    spread,
    storage_charge,
    storage_hedge_return,
)


def test_spread_and_interest_of_the_kentucky_example():
    # McNeill and Johnson, University of Kentucky, 2011 (mafg.net): July 7.59, March 8.63, 5 %, 8 months
    assert spread(7.59, 8.63) == pytest.approx(1.04, abs=5e-3)
    assert interest_cost(7.59, 0.05, 8) == pytest.approx(0.25, abs=5e-3)


@pytest.mark.parametrize(("months", "printed"), [(1, 5.5867), (3, 5.7600), (5, 5.9333), (6, 6.0200)])
def test_break_even_by_month(months, printed):
    # constructed check of the project's reference page (markets, G2): 5.50 USD/bu, 5 cents a month, 8 %
    assert break_even_price(5.50, months, storage=0.05 * months, annual_rate=0.08) == pytest.approx(printed, abs=5e-5)


@pytest.mark.parametrize(("months", "rate", "printed"), [(5.5, 0.05, 0.1696), (5.5, 0.06, 0.1925), (8.5, 0.06, 0.2975)])
def test_variable_cost_with_the_missouri_parameters(months, rate, printed):
    # reference page, G3; parameters of Reinbott, University of Missouri Extension: 1 cent a month, from 15 June
    cost = carrying_cost(5.00, months, storage=storage_charge(months, 0.01), annual_rate=rate)
    assert cost == pytest.approx(printed, abs=5e-5)


def test_daily_rate_of_a_printed_storage_sheet():
    # an elevator's 2012 sheet (countryvisionscoop.com): 0.167 cents/bu/day, about 5 cents a month; 10 days free; 15 out
    per_month = 0.00167 * MONTH_DAYS
    assert per_month == pytest.approx(0.05, abs=1e-3)
    days = np.array([5.0, 10.0, 40.0])
    charge = storage_charge(days / MONTH_DAYS, per_month, free_days=10, handling=0.15)
    assert charge == pytest.approx([0.15, 0.15, 0.15 + 30 * 0.00167])


def test_minimum_of_a_printed_delayed_price_sheet():
    # delayed price 8 cents/bu/month with a minimum of 24 cents (chsnortherngrain.com): reached after three months
    assert storage_charge([0, 1, 3, 4], 0.08, minimum=0.24) == pytest.approx([0, 0.24, 0.24, 0.32])


def test_interest_a_day():
    # reference page: 5.50 USD/bu at 8 % is 0.0012055 USD/bu/day
    assert daily_interest(5.50, 0.08) == pytest.approx(0.0012055, abs=5e-8)


def test_full_carry_is_one_when_the_spread_pays_storage_and_interest():
    # definition: spread = storage + interest on the near contract (Working 1949)
    # 5.00 + 0.30 + 5.00 x 6 % x half a year = 5.45
    assert share_of_full_carry(5.0, 5.45, 6, storage=0.30, annual_rate=0.06) == pytest.approx(1)
    assert share_of_full_carry(5.0, 4.8, 6, storage=0.30, annual_rate=0.06) < 0  # an inverse


def test_storage_hedge_return_is_the_carry_plus_basis_gain_less_cost():
    # own algebra of the reference page: (8.63 - 0.50) - (7.59 - 0.80) - 0.253 - 0.40
    # = spread 1.04 + basis gain 0.30 - cost 0.653
    made = storage_hedge_return(7.59 - 0.80, 8.63, -0.50, 0.653)
    assert made == pytest.approx(1.04 + 0.30 - 0.653)
