"""Properties of carry, shrink, schedules, split sales, storage time and the stand."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sideoats import facts
from sideoats.grain.carry import MONTH_DAYS, break_even_price, indifference_price, storage_charge, storage_hedge_return
from sideoats.grain.condition import INSIDE, allowable_days, is_heating
from sideoats.grain.holding import expected_price, month_days
from sideoats.grain.load import protein_adjustment, stepped_discount, water_shrink
from sideoats.grain.sales import equal_shares, split_sd
from sideoats.grain.stand import break_even_prepared, break_even_sales, contribution, stand_profit, triangular

money = st.floats(0.1, 50, allow_nan=False)
rate = st.floats(0, 0.3)
months = st.floats(0, 24)


@given(money, months, st.floats(0, 2), rate, st.floats(0, 0.2))
def test_indifference_price_turns_break_even_round(price, time, store, interest, loss):
    later = break_even_price(price, time, storage=store, annual_rate=interest, loss=loss)
    assert indifference_price(later, time, storage=store, annual_rate=interest, loss=loss) == pytest.approx(price)
    assert later >= price - 1e-12


@given(st.lists(months, min_size=2, max_size=8), st.floats(0, 0.2), st.floats(0, 90), st.floats(0, 1), st.floats(0, 1))
def test_storage_is_never_less_for_longer_and_never_below_the_minimum(times, per_month, free, least, once):
    time = np.sort(np.array(times))
    charge = storage_charge(time, per_month, free_days=free, minimum=least, handling=once)
    assert (np.diff(charge) >= -1e-12).all()
    begun = time > free / MONTH_DAYS  # nothing runs while days are free
    assert (charge[begun] >= least + once - 1e-12).all() and (charge[time == 0] == 0).all()


def test_a_negative_time_is_not_charged_but_unknown():
    assert np.isnan(storage_charge(-1.0, 0.05))


@given(st.floats(12, 40), st.floats(8, 30))
def test_drying_keeps_the_dry_matter(wet, dry):
    left = 1 - water_shrink(wet, dry) / 100
    if wet > dry:
        assert left * (100 - dry) == pytest.approx(100 - wet)
    else:
        assert left == 1


@given(st.lists(st.floats(50, 62), min_size=2, max_size=30))
def test_a_lighter_load_is_never_docked_less(pounds):
    weights = np.sort(np.array(pounds))
    off = stepped_discount(weights, 58.0, [(56.0, 0.5, 0.02), (50.0, 0.5, 0.04)])
    assert (np.diff(off) <= 1e-12).all() and (off[weights >= 58] == 0).all()


@given(st.integers(-15, 15))
def test_whole_fifths_of_protein_are_counted_whatever_their_binary_form(fifths):
    paid = protein_adjustment(12.0 + fifths * 0.2, 12.0, premium=0.10, discount=0.12)
    assert paid == pytest.approx(0.10 * max(fifths, 0) - 0.12 * max(-fifths, 0))
    begun = protein_adjustment(12.0 + fifths * 0.2, 12.0, premium=0.10, discount=0.12, fraction_counts=True)
    assert begun == pytest.approx(paid)


@given(money, money, st.floats(-2, 2), st.floats(0, 3), st.floats(-3, 3))
def test_a_storage_hedge_does_not_care_where_futures_go(cash, deferred, basis_later, cost, move):
    # sell grain at (deferred + move + basis), buy futures back at (deferred + move)
    by_hand = (deferred + move + basis_later) + (deferred - (deferred + move)) - cash - cost
    assert storage_hedge_return(cash, deferred, basis_later, cost) == pytest.approx(by_hand, abs=1e-9)


@given(st.integers(1, 8), st.floats(0, 1), st.floats(0.01, 5))
def test_selling_in_parts_never_adds_spread(parts, rho, sd):
    assert split_sd(np.full(parts, sd), rho, equal_shares(parts)) <= sd + 1e-9


@given(st.floats(10, 32), st.floats(20, 90))
def test_warmer_or_wetter_grain_never_keeps_longer(moisture, temperature):
    table = facts.load()["grain/allowable_days.cereal"]
    here, code = allowable_days(moisture, temperature, table)
    worse, worse_code = allowable_days([moisture + 1, moisture], [temperature, temperature + 5], table)
    if code == INSIDE:
        assert (worse[worse_code == INSIDE] <= here).all()
    else:
        assert np.isnan(here)


@given(st.booleans(), st.floats(-20, 180), st.floats(-20, 180))
def test_heating_is_what_is_said_or_a_rise(stated, now, before):
    assert is_heating(stated, now, before, 10.0) == (stated or now - before >= 10.0)
    assert is_heating(stated, now, np.nan, 10.0) == stated


@given(st.floats(0, 1, exclude_max=True), st.floats(0, 100), st.floats(0, 100), st.floats(0, 100))
def test_triangular_draws_stay_between_the_ends(u, a, b, c):
    low, likely, high = sorted((a, b, c))
    assert low - 1e-6 <= triangular(u, low, likely, high) <= high + 1e-6


@given(st.floats(1, 1000), st.floats(1, 30), st.floats(0, 20), st.integers(1, 300), st.floats(0, 1))
def test_break_even_sales_leave_nothing(fixed, price, cost, prepared, spoilage):
    margin = float(contribution(price, cost))
    needed = float(break_even_prepared(fixed, margin, cost, prepared, spoilage))
    if margin > 0.01 and needed <= prepared:
        _, profit = stand_profit(
            [needed], float(prepared), price=price, unit_cost=cost, fixed_cost=fixed, spoilage=spoilage
        )
        assert profit == pytest.approx(0, abs=1e-6)
    if margin > 0.01:
        assert needed >= break_even_sales(fixed, margin) - 1e-9 or prepared < break_even_sales(fixed, margin)


@given(money, st.lists(money, min_size=1, max_size=4), st.dates(min_value=np.datetime64("2020-01-01").astype(object)))
def test_expected_price_passes_through_its_quotes(price, quoted, on):
    if on.year > 2100:
        on = on.replace(year=2100, day=min(on.day, 28))
    days = month_days(on)
    dates = [(np.datetime64(on) + np.timedelta64(int(days[3 * i + 2]), "D")).astype(object) for i in range(len(quoted))]
    series = np.empty(1, dtype=object)
    series[0] = tuple(zip(dates, quoted, strict=True))
    curve = expected_price(np.array([price]), series, np.zeros(1), on)[0]
    assert curve[2 : 3 * len(quoted) : 3] == pytest.approx(quoted)
    assert np.isnan(curve[3 * len(quoted) :]).all()
