"""Floors that hold in most drawn lots, weighable amounts as HiGHS finds them, prices in and out by solving again."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sideoats.cattle.ration import Feeds, Needs, blocks, most_of, solve
from sideoats.cattle.ration_sure import PARTS, Spread, affordable, chance, sure, weighable, worth_each


def made(seed: int, herds: int = 40, count: int = 7) -> tuple[Feeds, Needs, Spread]:
    """Herds of cows and calves with feeds of every richness; some can be fed, some cannot."""
    rng = np.random.default_rng(seed)
    shape = (herds, count)
    feeds = Feeds.of(
        rng.uniform(0.03, 0.25, shape), tdn=rng.uniform(0.42, 0.92, shape), protein=rng.uniform(0.03, 0.45, shape),
        forage=(rng.random(shape) < 0.5).astype(float),
    )  # fmt: skip
    intake = rng.uniform(12, 28, herds)
    needs = Needs.of(
        intake, tdn=intake * rng.uniform(0.5, 0.7, herds), protein=intake * rng.uniform(0.06, 0.14, herds),
        forage=0.25 * intake,
    )  # fmt: skip
    return (
        feeds,
        needs,
        Spread(
            np.full(shape, 0.05), np.full(shape, 0.075), np.full(herds, 0.85), np.tile(np.arange(count), (herds, 1))
        ),
    )


@settings(max_examples=12, deadline=None)
@given(st.integers(0, 10**6))
def test_floors_hold_in_85_of_100_drawn_lots(seed: int) -> None:
    feeds, needs, spread = made(seed)
    found, held = sure(feeds, needs, spread)
    rng = np.random.default_rng(seed + 1)
    draws = rng.normal(size=(4000, 1, feeds.price.shape[1]))
    for part in PARTS:
        content, sd, floor = getattr(feeds, part), getattr(spread, part), getattr(needs, part)
        lots = (np.nan_to_num(found.pounds) * content * (1 + sd * draws)).sum(axis=2)
        share = (lots >= floor).mean(axis=0)
        assert (share[held] > 0.85 - 0.03).all()  # of 4,000 drawn lots, to four standard errors
        told = chance(found.pounds, content, part, spread, floor)
        assert np.abs(share - told)[held].max(initial=0.0) < 0.03


@settings(max_examples=12, deadline=None)
@given(st.integers(0, 10**6))
def test_surety_costs_something_and_never_less(seed: int) -> None:
    feeds, needs, spread = made(seed)
    paper = solve(feeds, needs)
    last = np.nan_to_num(paper.cost)
    for level in (0.65, 0.75, 0.85):
        found, held = sure(feeds, needs, spread.at(level))
        assert (found.cost[held] >= last[held] - 1e-9).all()
        assert (found.feasible == paper.feasible).all()
        last = np.where(held, found.cost, last)
    mixed, assured = affordable(feeds, needs, spread, (0.85, 0.75, 0.65), 0.05)
    good = paper.feasible
    assert (mixed.cost[good] <= paper.cost[good] * 1.05 + 1e-9).all()
    assert set(np.unique(assured)) <= {0.5, 0.65, 0.75, 0.85}


def test_no_cheaper_sure_mix_is_found_by_a_general_solver() -> None:
    from scipy.optimize import NonlinearConstraint, minimize

    feeds, needs, spread = made(11, 12, 5)
    found, held = sure(feeds, needs, spread)
    z = float(spread.z[0])
    for i in np.flatnonzero(held)[:6]:

        def surely(x: np.ndarray, i: int = i) -> list[float]:
            out = []
            for part in PARTS:
                content, sd = getattr(feeds, part)[i], getattr(spread, part)[i]
                out.append(content @ x - z * np.sqrt(((content * sd * x) ** 2).sum() + 1e-12) - getattr(needs, part)[i])
            return [*out, float(feeds.forage[i] @ x - needs.forage[i])]

        rows = [NonlinearConstraint(surely, 0, np.inf), NonlinearConstraint(np.sum, needs.intake[i], needs.intake[i])]
        start = np.full(5, needs.intake[i] / 5)
        told = minimize(lambda x, i=i: feeds.price[i] @ x, start, bounds=[(0, None)] * 5, constraints=rows,
                        method="SLSQP", options={"maxiter": 500, "ftol": 1e-10})  # fmt: skip
        if told.success and min(surely(told.x)) > -1e-6:
            assert found.cost[i] <= told.fun * (1 + 1e-3)


@settings(max_examples=6, deadline=None)
@given(st.integers(0, 10**6))
def test_weighable_mixes_are_those_of_highs(seed: int) -> None:
    from scipy.optimize import Bounds, LinearConstraint, milp

    feeds, needs, spread = made(seed, 60)
    flat = replace(spread, tdn=np.zeros(feeds.price.shape), protein=np.zeros(feeds.price.shape)).at(0.5)
    least = np.full(feeds.price.shape, 0.25)
    paper = solve(feeds, needs)
    found = weighable(feeds, needs, flat, least, paper)
    tiny = (np.nan_to_num(paper.pounds) > 1e-9) & (np.nan_to_num(paper.pounds) < least)
    a, b = blocks(feeds, needs)
    top, count = np.minimum(most_of(feeds, needs), needs.intake[:, None]), feeds.price.shape[1]
    for i in np.flatnonzero(tiny.any(axis=1))[:6]:
        pounds, chosen = np.eye(count), np.eye(count)
        whole = np.block([
            [a[i], np.zeros((a.shape[1], count))], [pounds, -chosen * top[i]], [-pounds, chosen * least[i]],
            [np.ones((1, count)), np.zeros((1, count))],
        ])  # fmt: skip
        high = np.concatenate([b[i], np.zeros(2 * count), [needs.intake[i]]])
        low = np.concatenate([np.full(a.shape[1] + 2 * count, -np.inf), [needs.intake[i]]])
        told = milp(
            np.concatenate([feeds.price[i], np.zeros(count)]), constraints=LinearConstraint(whole, low, high),
            integrality=np.repeat([0, 1], count), bounds=Bounds(0, np.repeat([np.inf, 1.0], count)),
        )  # fmt: skip
        if told.status == 0:
            assert found.cost[i] == pytest.approx(told.fun, abs=1.1e-3)
            held = found.pounds[i]
            assert ((held < 1e-9) | (held >= least[i] * (1 - 1e-6))).all()


def test_a_feed_comes_in_below_its_price_and_goes_out_above_it() -> None:
    feeds, needs, spread = made(3, 25)
    found, held = sure(feeds, needs, spread)
    worth = worth_each(feeds, needs, spread, found)
    wrong = tried = 0
    for i in np.flatnonzero(held):
        at = np.array([i])
        for k in range(feeds.price.shape[1]):
            if not (np.isfinite(worth[i, k]) and worth[i, k] > 0.01):
                continue
            for by, inside in ((0.96, True), (1.04, False)):
                one = feeds.take(at)
                price = one.price.copy()
                price[0, k] = worth[i, k] * by
                again, _ = sure(replace(one, price=price), needs.take(at), spread.take(at))
                wrong += (again.pounds[0, k] > 1e-6) != inside
                tried += 1
    assert tried > 150 and wrong <= 0.01 * tried  # a price between two tangents may be off by more than 4 %


def test_an_amount_may_be_left_uneaten_and_limits_are_those_of_what_is_eaten() -> None:
    feeds = Feeds.of([0.10, 0.05], tdn=[0.5, 0.9], nitrate=[0.0, 800.0], starch=[0.0, 0.7])
    full, less = Needs.of([20.0], tdn=11.0, nitrate=600.0, starch=14.0), 8.0
    free = replace(full, uneaten=np.array([less]))
    whole, limited = solve(feeds, full), solve(feeds, free)
    assert limited.cost[0] < whole.cost[0] and 12.0 - 1e-9 <= limited.pounds[0].sum() < 20.0
    assert limited.level["nitrate"][0] <= 600.0 + 1e-6
    # by hand: 12 lb eaten, three quarters of it corn at 800 ppm makes 600 ppm
    assert limited.pounds[0, 1] <= 0.75 * limited.pounds[0].sum() + 1e-9


def test_a_second_lot_of_the_same_feed_makes_nothing_surer() -> None:
    feeds = Feeds.of([[0.06, 0.06, 0.12]], tdn=[[0.5, 0.5, 0.85]], protein=[[0.08, 0.08, 0.12]])
    needs, sd = Needs.of([20.0], tdn=11.0), np.full((1, 3), 0.05)
    apart = Spread(sd, sd, np.array([0.85]), np.array([[0, 1, 2]]))
    together = replace(apart, group=np.array([[0, 0, 2]]))
    one = Feeds.of([[0.06, 0.12]], tdn=[[0.5, 0.85]], protein=[[0.08, 0.12]])
    single, _ = sure(one, needs, Spread(sd[:, :2], sd[:, :2], np.array([0.85]), np.array([[0, 1]])))
    assert sure(feeds, needs, together)[0].cost[0] == pytest.approx(single.cost[0], rel=1e-4)
    assert sure(feeds, needs, apart)[0].cost[0] < single.cost[0] - 1e-4
