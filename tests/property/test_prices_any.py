"""What must hold for any price record, seasonal index and pasted report."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from sideoats.errors import InputError
from sideoats.intake.market_news import market_news
from sideoats.intake.report_rows import combined
from sideoats.outlook import prices, seasonal

DAY = np.datetime64("2015-01-05")


def _walk(seed, count, step_days):
    rng = np.random.default_rng(seed)
    return DAY + np.arange(count) * step_days, 100 * np.exp(np.cumsum(0.03 * rng.standard_normal(count)))


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 2**31), st.sampled_from([7, 14, 30]), st.integers(1, 4))
def test_block_paths_start_at_today_and_keep_the_mean(seed, step, blocks):
    dates, price = _walk(seed, 4000 // step, step)
    starts = prices.block_starts(np.random.default_rng(seed).random((60, blocks)), dates[0], dates[-1] - 91)
    at = np.unique(np.r_[0.0, np.linspace(1, 91 * blocks, 9)])
    paths = prices.block_log_paths(dates, price, starts, at)
    assert paths.shape == (60, at.size) and np.isfinite(paths).all()
    assert np.abs(paths[:, 0]).max() < 1e-12
    assert np.exp(paths).mean(axis=0) == pytest.approx(np.ones(at.size))


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 2**31), st.floats(0.2, 5))
def test_two_records_that_move_alike_stay_alike(seed, level):
    dates, price = _walk(seed, 300, 7)
    history = {"one": (dates, price), "two": (dates, level * price)}
    uniform = np.random.default_rng(seed).random((50, 2))
    paths = [prices.history_log_paths(history, name, uniform, [30, 150]) for name in history]
    assert np.abs(paths[0] - paths[1]).max() < 1e-9


@given(arrays(float, st.integers(2, 6), elements=st.floats(1, 500)), st.integers(2, 8))
def test_index_of_any_repeated_year_is_that_year(year, years):
    price = np.tile(np.resize(year, 12), years)
    found = seasonal.seasonal_index(2001, price, "year_mean")
    assert found.index == pytest.approx(price[:12] / price[:12].mean())
    assert found.index.mean() == pytest.approx(1)


@settings(deadline=None)
@given(arrays(float, st.sampled_from([24, 36, 60]), elements=st.floats(50, 150)))
def test_centred_index_averages_one_and_ignores_the_level(price):
    found, scaled = (seasonal.seasonal_index(2001, x) for x in (price, 7 * price))
    assert found.index.mean() == pytest.approx(1)
    assert found.index == pytest.approx(scaled.index)
    assert found.count.sum() == price.size - 12


@given(st.floats(50, 400), st.floats(0.02, 0.8), st.integers(1, 700), st.floats(0.02, 0.98))
def test_lognormal_percentiles_match_their_chances(quote, volatility, days, share):
    level = prices.lognormal_percentile(quote, volatility, days, share)
    assert float(prices.chance_above(quote, level, volatility, days)) == pytest.approx(1 - share, abs=1e-9)
    worst = float(prices.lognormal_worst_mean(quote, volatility, days, share))
    assert worst <= min(float(level), quote) + 1e-9


@given(st.floats(-0.99, 0.99))
def test_correlated_normals(rho):
    z = np.random.default_rng(5).standard_normal((20_000, 2))
    got = np.corrcoef(prices.correlated(z, [[1, rho], [rho, 1]]).T)[0, 1]
    assert got == pytest.approx(rho, abs=0.03)


@given(st.lists(st.tuples(st.integers(1, 900), st.integers(300, 1500), st.floats(20, 400)), min_size=1, max_size=8))
def test_a_joined_price_lies_among_its_rows(rows):
    head, weight, price = (list(x) for x in zip(*rows, strict=True))
    total, pounds, mean_weight, mean_price = combined(head, weight, price)
    assert min(weight) <= mean_weight + 1e-9 and mean_weight <= max(weight) + 1e-9
    assert min(price) - 1e-9 <= mean_price <= max(price) + 1e-9
    assert total == sum(head) and pounds == pytest.approx(mean_weight * total)


@settings(max_examples=200, deadline=None)
@given(st.text(max_size=400))
def test_any_pasted_text_is_read_or_refused_in_one_line(text):
    try:
        taken = market_news(text, market="m")
    except InputError as error:
        assert "\n" not in str(error)
    else:
        assert taken.drafts


WORDS = (
    "Feeder Steers", "Slaughter Cows Lean", "20", "505-545", "521", "160.00-171.00", "165.45", "- -", "NA", "13",
    "Unweaned", "Medium and Large 1", "Per Head", "October 13, 2023", "1e309", "-5", "999999.99",
)  # fmt: skip
LINE = st.lists(st.sampled_from(WORDS), max_size=9)


@settings(max_examples=200, deadline=None)
@given(st.lists(LINE, max_size=12))
def test_report_like_text_gives_only_sound_quotes(lines):
    try:
        taken = market_news("\n".join(" ".join(words) for words in lines), market="m")
    except InputError as error:
        assert "\n" not in str(error)
        return
    for draft in taken.drafts:
        if draft.kind == "quote":
            low, price, high = (float(draft.body[k].split()[0]) for k in ("low", "price", "high"))
            assert 0 < low <= price <= high
