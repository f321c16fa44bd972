"""The stated assurance holds on simulated lots with the Kansas spread: for the hottest bale and for the blend."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sideoats.facts import load
from sideoats.forage import dilution, lots
from sideoats.forage.judge import Lots, judge

FACTS = load()
MEAN, LOWEST, HIGHEST, BALES = FACTS["forage/lot.spread"].rows[0]
SPREAD = lots.log_spread_from_range(LOWEST, HIGHEST, BALES)
WEIGHT, ASSURANCE = FACTS["forage/lot.hottest"].column("amount")


def _lots(rng: np.random.Generator, count: int, bales: int, mean: float = MEAN) -> np.ndarray:
    """(lot, bale) levels, lognormal with the Kansas mean and log spread."""
    centre = np.log(mean) - SPREAD**2 / 2
    return np.exp(rng.normal(centre, SPREAD, (count, bales)))


def test_simulated_lots_look_like_the_kansas_lot() -> None:
    # the printed range of 23 bales is 1,525 to 6,250 about 2,764 ppm; simulated lots must bracket it
    bales = _lots(np.random.default_rng(5), 4000, int(BALES))
    ratio = np.log(bales.max(axis=1) / bales.min(axis=1))
    assert ratio.mean() == pytest.approx(np.log(HIGHEST / LOWEST), rel=0.02)
    assert bales.mean() == pytest.approx(MEAN, rel=0.02)


@pytest.mark.parametrize("cores", [1, 5, 10, 20])
def test_assurance_of_a_composite_holds(cores: int) -> None:
    rng = np.random.default_rng(11 + cores)
    bales = _lots(rng, 4000, int(BALES))
    composite = bales[:, :cores].mean(axis=1)
    spread, freedom = lots.pooled_spread(np.zeros(4000), np.zeros(4000), SPREAD, WEIGHT)
    bound = lots.hottest_credible(composite, np.full(4000, cores), np.full(4000, BALES), spread, freedom, ASSURANCE)
    held = (bales.max(axis=1) <= bound).mean()
    assert held >= ASSURANCE - 3 * np.sqrt(ASSURANCE * (1 - ASSURANCE) / 4000)


@pytest.mark.parametrize("cores", [5, 12])
def test_assurance_of_bales_tested_one_by_one_holds(cores: int) -> None:
    rng = np.random.default_rng(31 + cores)
    bales = _lots(rng, 3000, 40)
    mean, squares, count, seen = lots.core_summary(list(bales[:, :cores]))
    spread, freedom = lots.pooled_spread(squares, count, SPREAD, WEIGHT)
    bound = lots.hottest_credible(mean, count, np.full(3000, 40), spread, freedom, ASSURANCE, seen)
    assert (bales.max(axis=1) <= bound).mean() >= ASSURANCE - 3 * np.sqrt(ASSURANCE * (1 - ASSURANCE) / 3000)


@pytest.mark.parametrize("composites", [(10, 10), (4, 12, 6), (20,)])
@pytest.mark.parametrize("alone", [0, 4])
def test_assurance_of_all_results_pooled_holds(composites: tuple[int, ...], alone: int) -> None:
    rng = np.random.default_rng(sum(composites) + alone)
    many, bales = 2000, _lots(np.random.default_rng(3), 2000, 60)
    found: list[list[tuple[float, float]]] = []
    for lot in bales:
        first, own = 0, []
        for cores in composites:
            own.append((float(lot[first : first + cores].mean()), float(cores)))
            first += cores
        found.append([*own, *((float(v), 1.0) for v in rng.choice(lot[first:], alone, replace=False))])
    centre, squares, results, cored = lots.pool_results(found)
    assert set(cored) == {float(sum(composites) + alone)} and set(results) == {float(len(composites) + alone)}
    spread, freedom = lots.pooled_spread(squares, results, SPREAD, WEIGHT, (np.zeros(many), np.zeros(many)))
    bound = lots.hottest_credible(centre, cored, np.full(many, 60), spread, freedom, ASSURANCE)
    assert (bales.max(axis=1) <= bound).mean() >= ASSURANCE - 3 * np.sqrt(ASSURANCE * (1 - ASSURANCE) / many)


def test_pooled_results_by_hand() -> None:
    # by hand: (10 ln 900 + 20 ln 300) / 30 = 6.0700, e^6.0700 = 432.7; 10 x 0.7324^2 + 20 x 0.3662^2 = 8.046
    centre, squares, results, cores = lots.pool_results([[(900.0, 10.0), (300.0, 20.0)], []])
    assert centre[0] == pytest.approx(432.67, abs=0.1) and squares[0] == pytest.approx(8.046, abs=0.01)
    assert (results[0], cores[0]) == (2.0, 30.0) and np.isnan(centre[1])


@pytest.mark.parametrize(("cores", "low", "ceiling"), [(5, 150.0, 1500.0), (20, 300.0, 2100.0), (10, 0.0, 700.0)])
def test_a_blend_is_safe_to_the_hottest_bale_with_the_stated_assurance(cores: int, low: float, ceiling: float) -> None:
    rng = np.random.default_rng(71)
    bales = _lots(rng, 4000, int(BALES))
    spread, freedom = lots.pooled_spread(np.zeros(4000), np.zeros(4000), SPREAD, WEIGHT)
    composite = bales[:, :cores].mean(axis=1)
    hottest = lots.hottest_credible(composite, np.full(4000, cores), np.full(4000, BALES), spread, freedom, ASSURANCE)
    share = dilution.safe_share(hottest, low, ceiling)
    on_the_worst_day = share[:, None] * bales + (1 - share)[:, None] * low
    safe = (on_the_worst_day < ceiling).all(axis=1)
    assert safe.mean() >= ASSURANCE - 3 * np.sqrt(ASSURANCE * (1 - ASSURANCE) / 4000)
    # a blend made for the average bale would not hold: the check above can fail
    naive = dilution.safe_share(composite, low, ceiling)
    assert (naive[:, None] * bales + (1 - naive)[:, None] * low < ceiling).all(axis=1).mean() < 0.2


@pytest.mark.parametrize(("cores", "bales"), [(5, 23), (12, 40)])
def test_the_share_that_is_advised_is_safe_to_the_hottest_bale(cores: int, bales: int) -> None:
    """The whole way of `hay-nitrate`, from single bales to the share, on lots with the Kansas spread."""
    rng, count, low = np.random.default_rng(17), 1500, 150.0
    lot = _lots(rng, count, bales, mean=1100.0)
    geometric, squares, cored, seen = lots.core_summary(list(lot[:, :cores]))
    blank = np.full(count, np.nan)
    known = Lots(
        level=lot[:, :cores].mean(axis=1), centre=geometric, squares=squares, cores=cored.astype(float), seen=seen,
        singles=cored.astype(float), results=cored.astype(float), apart=squares,
        stated=np.ones(count, bool), states=["baled"] * count,
        bales=np.full(count, float(bales)), animals=["growing"] * count, weakened=np.zeros(count, bool),
        low=np.full(count, low), water=blank, air=blank, weight=blank, asked_share=blank,
    )  # fmt: skip
    judged = judge(known, FACTS)
    share, ceiling = judged.share, judged.ruling.ceiling
    assert (share > 0).mean() > 0.5 and (ceiling == 1500).all()  # Clemson's line for cattle not at special risk
    worst = share[:, None] * lot + (1 - share)[:, None] * low
    safe = ((worst < ceiling[:, None]) | (share[:, None] == 0)).all(axis=1)[share > 0]
    assert safe.mean() >= ASSURANCE - 3 * np.sqrt(ASSURANCE * (1 - ASSURANCE) / safe.size)


@settings(max_examples=200, deadline=None)
@given(st.floats(0, 20_000), st.floats(0, 5000), st.floats(1, 5000), st.floats(0, 2000))
def test_a_safe_share_is_strictly_under_the_ceiling(hot: float, low: float, ceiling: float, water: float) -> None:
    share = float(dilution.safe_share(hot, low, ceiling, water))
    assert 0.0 <= share <= 1.0 and round(share * 100) == pytest.approx(share * 100)
    if share > 0:
        assert share * hot + (1 - share) * low + water < ceiling
    wider = float(dilution.safe_share(hot * 1.5 + 1, low, ceiling, water))
    assert wider <= share


@settings(max_examples=40, deadline=None)
@given(st.integers(1, 30), st.integers(1, 80), st.floats(3, 40))
def test_more_cores_never_raise_the_factor_and_more_bales_never_lower_it(
    cores: int, bales: int, freedom: float
) -> None:
    here = lots.prediction_factor(cores, bales, freedom, 0.95)
    assert lots.prediction_factor(cores + 1, bales, freedom, 0.95) <= here + 1e-9
    assert lots.prediction_factor(cores, bales + 1, freedom, 0.95) >= here - 1e-9
    assert lots.prediction_factor(cores, bales, freedom, 0.99) >= here - 1e-9


def test_coring_as_many_more_bales_as_said_clears_the_lot_and_one_fewer_does_not() -> None:
    line, level, cores, bales = 3000.0, 900.0, 2, 40
    more = lots.more_bales_to_core([level], [line], [cores], [bales], SPREAD, WEIGHT, ASSURANCE)
    assert more[0] > 0
    for step, clears in ((0, True), (-1, False)):
        extra = int(more[0]) + step
        factor = lots.prediction_factor(cores + extra, bales, WEIGHT + extra, ASSURANCE)
        assert bool(level * np.exp(factor * SPREAD) < line) == clears
    assert np.isnan(lots.more_bales_to_core([2900.0], [line], [cores], [bales], SPREAD, WEIGHT, ASSURANCE)[0])


def test_a_lot_whose_own_bales_spread_widely_needs_more_cores_than_the_kansas_spread_says() -> None:
    """The count is made with the spread that the lot's own cores show, and holds with it."""
    given = {"centre": [500.0, 500.0], "line": [2259.0, 2259.0], "cores": [4, 4], "bales": [60, 60]}
    wide = lots.more_bales_to_core(**given, spread=[SPREAD, 0.45], weight=[WEIGHT, WEIGHT + 3], assurance=ASSURANCE)
    assert np.isnan(wide[1]) or wide[1] > wide[0] > 0
    factor = lots.prediction_factor(4 + int(wide[0]), 60, WEIGHT + int(wide[0]), ASSURANCE)
    assert 500 * np.exp(factor * SPREAD) < 2259
    assert 500 * np.exp(lots.prediction_factor(4, 60, WEIGHT + 3, ASSURANCE) * 0.45) > 2259
