"""Least-cost rations: optimum by brute force, ceilings always kept, prices never buying past one."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sideoats.cattle.ration import Feeds, Needs, solve
from sideoats.cattle.ration_account import account, least_of, shortfalls


def _vertices(feeds: Feeds, needs: Needs) -> float:
    """Cheapest vertex of one herd's feasible set by trying every basis: an oracle that shares nothing with HiGHS."""
    count = feeds.price.size
    rows = [-feeds.tdn, -feeds.protein, feeds.nitrate / 1000]
    limits = [-needs.tdn[0], -needs.protein[0], (needs.nitrate[0] - needs.water_nitrate[0]) * needs.intake[0] / 1000]
    a = np.vstack([*rows, -np.eye(count), np.eye(count)])
    b = np.concatenate([limits, np.zeros(count), np.minimum(feeds.most_lb, feeds.most_share * needs.intake[0])])
    best = np.inf
    for active in combinations(range(len(b)), count - 1):
        square = np.vstack([np.ones(count), a[list(active)]])
        if np.linalg.matrix_rank(square) < count:
            continue
        x = np.linalg.solve(square, np.concatenate([needs.intake, b[list(active)]]))
        if (a @ x <= b + 1e-7).all():
            best = min(best, float(feeds.price @ x))
    return best


feed_rows = st.lists(
    st.tuples(
        st.floats(0.02, 0.2), st.floats(0.4, 0.9), st.floats(0.03, 0.45),
        st.floats(0, 4000).map(lambda v: round(v, 3)), st.floats(0.2, 1.0)
    ),
    min_size=2, max_size=5,
)  # fmt: skip


def _feeds(rows: list[tuple[float, ...]]) -> Feeds:
    price, tdn, protein, nitrate, most = (np.array(c) for c in zip(*rows, strict=True))
    return Feeds.of(price, tdn=tdn, protein=protein, nitrate=nitrate, most_share=most)


@settings(max_examples=100, deadline=None)
@given(feed_rows, st.floats(10, 30), st.floats(0.4, 0.7), st.floats(0.05, 0.2), st.floats(100, 3000), st.floats(0, 500))
def test_the_optimum_is_the_cheapest_vertex(
    rows: list[tuple[float, ...]], intake: float, tdn: float, protein: float, ceiling: float, water: float
) -> None:
    feeds = _feeds(rows)
    needs = Needs.of([intake], tdn=tdn * intake, protein=protein * intake, nitrate=ceiling, water_nitrate=water)
    found, oracle = solve(feeds, needs), _vertices(feeds, needs)
    missed, unfilled = shortfalls(feeds, needs)
    edge = 1e-9 < missed.sum() + unfilled[0] < 1e-5
    if np.isfinite(oracle) and found.feasible[0]:
        assert found.cost[0] == pytest.approx(oracle, rel=1e-6, abs=1e-9)
    elif not edge:
        assert bool(found.feasible[0]) == np.isfinite(oracle)


@settings(max_examples=60, deadline=None)
@given(
    feed_rows, st.lists(st.tuples(st.floats(10, 30), st.floats(50, 3000), st.floats(0, 400)), min_size=1, max_size=12),
    st.floats(1e-3, 1e3),
)  # fmt: skip
def test_a_ceiling_holds_whatever_the_prices(
    rows: list[tuple[float, ...]], herds: list[tuple[float, float, float]], scale: float
) -> None:
    feeds = _feeds(rows)
    intake, ceiling, water = (np.array(c) for c in zip(*herds, strict=True))
    needs = Needs.of(intake, tdn=0.4 * intake, nitrate=ceiling, water_nitrate=water)
    hottest = int(np.argmax(feeds.nitrate))
    prices = feeds.price.copy()
    prices[hottest] = 0.0  # the hot feed for nothing
    for price in (prices, feeds.price * scale):
        cheap = Feeds.of(
            price, tdn=feeds.tdn, protein=feeds.protein, nitrate=feeds.nitrate, most_share=feeds.most_share
        )
        found = solve(cheap, needs)
        good = found.feasible
        assert (found.level["nitrate"][good] <= ceiling[good] * (1 + 1e-7) + 1e-6).all()
        assert found.pounds[good].sum(axis=1) == pytest.approx(intake[good])
        assert np.isnan(found.cost[~good]).all()


@settings(max_examples=60, deadline=None)
@given(feed_rows, st.lists(st.tuples(st.floats(10, 30), st.floats(20, 3000)), min_size=2, max_size=15))
def test_herds_solved_together_and_alone_agree(rows: list[tuple[float, ...]], herds: list[tuple[float, float]]) -> None:
    feeds = _feeds(rows)
    intake, ceiling = (np.array(c) for c in zip(*herds, strict=True))
    needs = Needs.of(intake, tdn=0.5 * intake, protein=0.07 * intake, nitrate=ceiling)
    together = solve(feeds, needs)
    alone = [solve(feeds, needs.take(np.array([i]))) for i in range(len(intake))]
    missed, unfilled = shortfalls(feeds, needs)
    clear = (missed.sum(axis=1) + unfilled < 1e-10) | (missed.sum(axis=1) + unfilled > 1e-5)
    for i, one in enumerate(alone):
        if clear[i]:
            assert one.feasible[0] == together.feasible[i]
            if one.feasible[0]:
                assert one.cost[0] == pytest.approx(together.cost[i], rel=1e-7)


@settings(max_examples=60, deadline=None)
@given(
    st.floats(10, 30), st.floats(500, 2000), st.floats(0, 400), st.lists(st.floats(2500, 9000), min_size=1, max_size=3)
)
def test_the_account_names_a_feed_that_would_do_and_no_less(
    intake: float, ceiling: float, water: float, hot: list[float]
) -> None:
    feeds = Feeds.of(np.full(len(hot), 0.05), tdn=0.6, protein=0.1, nitrate=np.array(hot))
    needs = Needs.of([intake], tdn=0.5 * intake, nitrate=ceiling, water_nitrate=water)
    assert not solve(feeds, needs).feasible[0]
    why = account(feeds, needs)
    assert why.unsafe[0] and why.hazard[0] == "nitrate" and not why.water[0]
    level, pounds = why.added_level[0], why.added_lb[0]
    # by hand: with share f of the added feed, f level + (1 - f) coolest + water = ceiling
    coolest = min(hot)
    share = (coolest + water - ceiling) / (coolest - level)
    assert pounds == pytest.approx(share * intake, rel=1e-6)
    assert np.isnan(least_of(feeds, needs, {"nitrate": ceiling - water + 2000.0}, ("nitrate",))[0])


def test_water_at_the_ceiling_is_blamed_on_the_water() -> None:
    feeds = Feeds.of([0.05, 0.06], tdn=[0.6, 0.6], nitrate=[0.0, 10.0])
    why = account(feeds, Needs.of([24.0], nitrate=500.0, water_nitrate=600.0))
    assert why.unsafe[0] and why.water[0] and np.isnan(why.added_lb[0])


def test_floors_are_blamed_only_when_a_safe_blend_exists() -> None:
    feeds = Feeds.of([0.05], tdn=[0.42], protein=[0.035], nitrate=[100.0])
    why = account(feeds, Needs.of([24.0], tdn=13.0, protein=2.0, nitrate=1500.0))
    assert not why.unsafe[0] and why.short[0] == ["tdn", "protein"]


def test_what_is_on_hand_limits_and_its_lack_is_named() -> None:
    feeds = Feeds.of([0.05, 0.06], tdn=[0.6, 0.6], most_lb=[10.0, 8.0])
    needs = Needs.of([24.0])
    assert not solve(feeds, needs).feasible[0]
    assert account(feeds, needs).unfilled[0] == pytest.approx(6.0)


def test_every_empty_stack_answers() -> None:
    feeds = Feeds.of([0.05], tdn=[0.6])
    assert solve(feeds, Needs.of(np.zeros(0))).cost.size == 0
