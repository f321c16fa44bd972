"""Price draws and seasonal indexes: bounds, gaps, refusals, variance over time, correlation."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from sideoats.asking import table_of
from sideoats.cattle import cull_case, retain_case
from sideoats.errors import InputError
from sideoats.facts import load
from sideoats.outlook import make_outlook, prices, seasonal, spread
from sideoats.question import Context, find
from sideoats.schema import read_all


def _record(step_days, years=12, sd_year=0.3, seed=1, shared=None):
    count = int(years * 365 / step_days)
    own = np.random.default_rng(seed).standard_normal(count)
    moves = own if shared is None else 0.6 * shared[:count] + 0.8 * own
    dates = np.datetime64("2012-01-02") + np.arange(count) * step_days
    return dates, 100 * np.exp(np.cumsum(sd_year * np.sqrt(step_days / 365) * moves))


@pytest.mark.parametrize("step_days", [7, 30])
def test_spread_grows_with_the_root_of_time_inside_and_past_a_block(step_days):
    dates, price = _record(step_days, years=60)
    starts = prices.block_starts(np.random.default_rng(2).random((4000, 4)), dates[0], dates[-1] - 91)
    at = np.array([7, 30, 91, 200, 360])
    spread = prices.block_log_paths(dates, price, starts, at).std(axis=0)
    assert spread == pytest.approx(0.3 * np.sqrt(at / 365), rel=0.17)


def test_shared_blocks_keep_the_correlation_of_the_record():
    shared = np.random.default_rng(9).standard_normal(5000)
    history = {name: _record(7, 40, seed=i, shared=shared) for i, name in enumerate(("calves", "wheat"), 3)}
    uniform = np.random.default_rng(4).random((4000, 2))
    paths = [prices.history_log_paths(history, name, uniform, [91])[:, 0] for name in history]
    moves = np.column_stack([prices.log_moves(price) for _, price in history.values()])
    told = prices.move_correlation(moves)[0, 1]
    assert told == pytest.approx(0.36, abs=0.05)
    assert np.corrcoef(paths)[0, 1] == pytest.approx(told, abs=0.1)


NAMES = ("feeder steer 500 lb", "cull cow", "corn", "wheat")


def _together(outlook):
    """Correlation between the four commodities' log ratios over 182 days, draw by draw."""
    return np.corrcoef([np.log(outlook.price_ratio(name, [182])[:, 0]) for name in NAMES])


def test_calves_cows_feed_and_wheat_move_together_on_the_shared_draws():
    """Weekly moves that share 0.36 of their variance over 40 years, about that over the newest ten: so do the draws.

    Blocks drawn for each commodity by itself would leave every pair within 0.05 of nothing at 4,000 draws.
    """
    shared = np.random.default_rng(9).standard_normal(5000)
    history = {name: _record(7, 40, seed=i, shared=shared) for i, name in enumerate(NAMES, 3)}
    got = _together(make_outlook(date(2052, 1, 2), price_history=history, facts=load(), draws=4000))
    apart = got[~np.eye(4, dtype=bool)]
    assert (apart > 0.08).all() and apart.mean() == pytest.approx(0.36, abs=0.12)
    alone = {name: _record(7, 40, seed=i) for i, name in enumerate(NAMES, 3)}  # and records that share nothing do not
    apart = _together(make_outlook(date(2052, 1, 2), price_history=alone, facts=load(), draws=4000))
    assert abs(apart[~np.eye(4, dtype=bool)].mean()) < 0.15


def _stated(facts, one, other):
    """Correlation that the joint table gives two commodities: products of their loadings over common factors."""
    by = {(name, factor): x for name, factor, x in facts["outlook/joint"].rows}
    return sum(x * by.get((other, factor), 0.0) for (name, factor), x in by.items() if name == one)


def test_without_a_record_they_move_together_as_the_joint_table_says():
    facts = load()
    apart = _together(make_outlook(date(2026, 9, 14), facts=facts, draws=8000))
    told = [[1.0 if a == b else _stated(facts, a, b) for a in NAMES] for b in NAMES]
    assert apart == pytest.approx(np.array(told), abs=0.05)
    assert _stated(facts, "feeder steer 500 lb", "feeder steer 750 lb") == pytest.approx(0.92, abs=0.03)
    assert _stated(facts, "corn", "grain sorghum") == pytest.approx(0.82, abs=0.01)
    assert _stated(facts, "wheat", "corn") == pytest.approx(0.53, abs=0.01)


def test_a_price_with_a_record_and_one_without_move_together():
    """Quotes of corn on file, none of sorghum: the two were drawn apart, as if feed and grain had nothing in common."""
    day, facts = date(2026, 9, 14), load()
    dates, price = _record(7, 10)
    outlook = make_outlook(
        day, price_history={"corn": (np.datetime64("2026-09-11") - (dates[-1] - dates), price)}, facts=facts, draws=4000
    )
    moved = [np.log(outlook.price_ratio(name, [182])[:, 0]) for name in ("corn", "grain sorghum", "cull cow")]
    got = np.corrcoef(moved)
    assert got[0, 1] == pytest.approx(_stated(facts, "corn", "grain sorghum"), abs=0.08) and abs(got[0, 2]) < 0.05


def test_ranges_widen_after_rough_years_and_narrow_after_calm_ones():
    dates, price = _record(30, 10, sd_year=0.3)
    moves = np.diff(np.log(price))
    moves[-36:] *= 2.0
    rough = np.exp(np.r_[np.log(price[0]), np.log(price[0]) + np.cumsum(moves)])
    how = {"years": 3.0, "weight": 0.5, "reverts": 365.0}
    ahead = np.array([30.0, 365.0, 3650.0])
    found = spread.recent_spread(dates, rough, ahead, **how)
    assert found[0] > found[1] > found[2] > 1 and found[2] == pytest.approx(1, abs=0.05)
    ratio = moves[-36:].std() / moves.std()
    assert found[0] == pytest.approx(ratio ** (0.5 * (365 / 30) * (1 - np.exp(-30 / 365))), rel=0.02)
    assert (spread.recent_spread(dates, rough, ahead, **{**how, "weight": 0.0}) == 1).all()
    assert (spread.recent_spread(dates[:20], rough[:20], ahead, **how) == 1).all()  # too few moves to tell
    wide = spread.with_spread(np.random.default_rng(3).standard_normal((4000, 3)) * 0.1, [2.0, 1.0, 0.5])
    assert wide.std(axis=0) == pytest.approx([0.2, 0.1, 0.05], rel=0.05)
    assert np.exp(wide).mean(axis=0) == pytest.approx(1)


def test_ranges_are_wider_over_months_that_have_been_rough():
    months = np.arange(np.datetime64("2010-01"), np.datetime64("2020-01"))
    when = months.astype("datetime64[D]")
    rough = np.isin(months.astype(int) % 12, (5, 6, 7))  # moves of June, July and August are three times the others'
    moves = np.random.default_rng(5).standard_normal(120) * np.where(rough, 0.09, 0.03)
    price = np.exp(np.cumsum(moves))

    def factor(last, weight):
        known = when <= np.datetime64(last)
        return spread.season_spread(when[known], price[known], np.array([60.0, 365.0]), weight=weight)

    before, after = factor("2019-05-01", 1.0), factor("2019-09-01", 1.0)
    assert before[0] > 1.2 and after[0] < 0.85
    assert before[1] == pytest.approx(1.0, abs=0.03) and after[1] == pytest.approx(1.0, abs=0.03)  # a whole year
    assert factor("2019-05-01", 0.5)[0] == pytest.approx(before[0] ** 0.5)
    assert (factor("2012-05-01", 1.0) == 1).all()  # three of each month tell nothing


def test_two_questions_are_answered_in_the_same_futures():
    """Cull cows fed to March and calves kept in a lot gain and lose in the same draws, though asked apart."""
    day = date(2026, 11, 24)
    outlook = make_outlook(day, facts=load(), draws=2000)
    cows = {"weight": "1150 lb", "price": "70 USD/cwt", "later_price": "82 USD/cwt", "days": "100",
            "gain": "1.8 lb/day", "cost_per_day": "2.35 USD/day"}  # fmt: skip
    calves = {"weight": "500 lb", "price": "250 USD/cwt", "later_price": "215 USD/cwt", "lot_gain": "2 lb/day",
              "lot_per_day": "2.60 USD/day", "lot_days": "100"}  # fmt: skip
    context, paid = Context(day, load(), outlook), []
    for name, values in (("cull-cows", cows), ("retain-calves", calves)):
        question = find(name)
        paid.append(table_of(question, [read_all(question.inputs, values)], ["phone-in"]))
    kept, pasture = retain_case.plan_of(paid[1], context), np.ones((1, 2000), bool)
    paid = [
        cull_case.gain_of(paid[0], context, cull_case.plan_of(paid[0], context))[0, :, 1],
        retain_case.gain_of(paid[1], context, kept, pasture, np.full(1, np.nan))[0, :, retain_case.LOT],
    ]
    assert np.corrcoef(paid)[0, 1] == pytest.approx(_stated(load(), "cull cow", retain_case.FEEDERS), abs=0.08)


def test_records_that_do_not_overlap_use_their_own_years():
    early, late = _record(7, 4), _record(7, 4)
    history = {"early": early, "late": (late[0] + 365 * 10, late[1])}
    assert prices.history_log_paths(history, "late", np.full((5, 1), 0.5), [30]).shape == (5, 1)
    with pytest.raises(InputError, match="share no stretch"):
        prices.shared_span(history)


def test_a_series_stands_on_its_own_span_whatever_else_is_on_file():
    """One short series cut every other price to its own years: 10-90 of wheat from 0.74-1.30 to 0.82-1.21."""
    day, facts = date(2026, 9, 14), load()
    end = np.datetime64("2026-09-11")
    wheat, hay, gone = _record(7, 10), _record(30, 4, seed=8), _record(7, 9, seed=9)
    wheat, hay = ((end - (dates[-1] - dates), price) for dates, price in (wheat, hay))
    gone = (end - 6 * 365 - (gone[0][-1] - gone[0]), gone[1])  # stopped six years ago
    alone = make_outlook(day, price_history={"wheat": wheat}, facts=facts, draws=400)
    among = make_outlook(day, price_history={"wheat": wheat, "hay": hay, "oats": gone}, facts=facts, draws=400)
    assert np.array_equal(alone.price_ratio("wheat", [30, 182]), among.price_ratio("wheat", [30, 182]))


def test_prices_share_the_days_on_which_both_were_quoted():
    """Series of other lengths moved apart: blocks of a long and a short record then joined other weeks of the past."""
    day, facts = date(2026, 9, 14), load()
    end = np.datetime64("2026-09-11")
    dates, price = _record(7, 10)
    dates = end - (dates[-1] - dates)
    history = {"wheat": (dates, price), "corn": (dates[len(dates) // 3 :], price[len(dates) // 3 :])}
    out = make_outlook(day, price_history=history, facts=facts, draws=2000)
    moved = [np.log(out.price_ratio(name, [60])[:, 0]) for name in history]
    assert np.corrcoef(moved)[0, 1] > 0.5  # the same prices: two thirds of the blocks are the same weeks


def test_short_or_thin_records_are_refused():
    dates, price = _record(7, 2)
    with pytest.raises(InputError, match="no record of three years"):
        prices.history_log_paths({"x": (dates, price)}, "x", np.full((5, 1), 0.5), [30])
    yearly = np.datetime64("2010-01-01") + 365 * np.arange(6), np.full(6, 5.0)
    assert prices.long_enough({"yearly": yearly}) == {}
    with pytest.raises(ValueError, match="more than 1 blocks"):
        prices.block_log_paths(*_record(7), np.full((3, 1), np.datetime64("2013-01-01")), [120])


def test_series_are_cleaned():
    dates, price = prices.clean_series(
        ["2020-01-03", "2020-01-01", "2020-01-01", "2020-01-02", "NaT"], [3, 1, 1.5, np.nan, 9]
    )
    assert dates.astype(str).tolist() == ["2020-01-01", "2020-01-03"] and price.tolist() == [1.5, 3]
    with pytest.raises(InputError, match="one price a date"):
        prices.clean_series(["2020-01-01"], [1, 2])


def test_volatility_of_a_record():
    _, price = _record(7, 60)
    assert prices.yearly_volatility(price, 365 / 7) == pytest.approx(0.3, rel=0.05)
    assert np.isnan(prices.yearly_volatility([5.0], 12))
    assert np.isnan(prices.log_moves([1.0, -1.0, 2.0])).all()


def test_correlation_tables_that_no_prices_can_have():
    for table in ([[1, 2], [2, 1]], [[1, 0.5], [0.1, 1]], [[1, 0.9, -0.9], [0.9, 1, 0.9], [-0.9, 0.9, 1]]):
        with pytest.raises(InputError):
            prices.correlated(np.zeros((3, len(table))), table)


def test_cash_is_futures_plus_basis_with_its_own_spread():
    assert prices.cash_price(215, -4, 3, [-1, 0, 2]).tolist() == [208, 211, 217]


def test_monthly_means_leave_gaps_open():
    first, last, monthly = seasonal.monthly_means(
        ["2020-01-05", "2020-01-20", "2020-03-01", "2021-12-31"], [10, 20, 7, -1]
    )
    assert (first, last) == (2020, 2020)
    assert monthly[0] == 15 and np.isnan(monthly[1]) and monthly[2] == 7
    with pytest.raises(InputError, match="no price above zero"):
        seasonal.monthly_means(["2020-01-01"], [0])


def test_too_short_for_a_season():
    with pytest.raises(InputError, match="no seasonal ratio"):
        seasonal.seasonal_index(2020, np.r_[np.ones(6), np.nan, np.ones(5)], "year_mean")
    with pytest.raises(ValueError, match="whole years"):
        seasonal.seasonal_index(2020, np.ones(13))
    with pytest.raises(ValueError, match="not one of"):
        seasonal.seasonal_index(2020, np.ones(24), "other")


def test_years_that_moved_up_between_two_months():
    table = np.tile(np.ones(12), (4, 1))
    table[:, 2] = [0.9, 1.2, 1.3, 1.1]  # March
    index = seasonal.seasonal_index(2001, table.ravel(), "year_mean")
    assert (seasonal.year_ratios(index, 1, 3) > 1.0).mean() == 0.75
    assert seasonal.year_ratios(index, 11, 1).size == 3  # across the turn of the year
    expected, low, high = seasonal.seasonal_price(100, index, 1, 3)
    assert low < expected < high


def test_the_outlook_uses_the_record_it_is_given():
    dates, price = _record(7, 8, sd_year=0.05)
    on = date(2020, 1, 1)
    calm = make_outlook(on, price_history={"cull cow": (dates, price)}, facts=load(), draws=300)
    fallback = make_outlook(on, facts=load(), draws=300)
    spread = [float(np.log(o.price_ratio("cull cow", [180])).std()) for o in (calm, fallback)]
    assert spread[0] < 0.5 * spread[1]
    assert calm.price_ratio("cull cow", [182]).mean() == pytest.approx(1)


def test_spread_past_a_stretch_grows_more_slowly_than_the_root_of_time():
    """One-factor price that returns: sigma^2 (s + (1 - e^(-2k(h-s))) / 2k), by hand with k of an eighth a year."""
    rate = -np.log(1 - 0.125) / 365.25
    factor = spread.reverting_spread([30, 91, 182, 273, 3650], a_year=0.125, from_days=91)
    assert factor[:2] == pytest.approx(1.0)
    by_hand = [np.sqrt((91 - np.expm1(-2 * rate * (h - 91)) / (2 * rate)) / h) for h in (182, 273, 3650)]
    assert factor[2:] == pytest.approx(by_hand)
    assert (np.diff(factor[1:]) < 0).all() and factor[3] == pytest.approx(0.979, abs=0.001)
