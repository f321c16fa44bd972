"""Properties of the scores: identities that hold for any forecast and outcome."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from sideoats.week.scoring import (
    FEW,
    brier,
    brier_parts,
    coverage,
    crps_ensemble,
    pinball,
    ranked_probability,
    reliability,
)

chances = st.lists(st.floats(0, 1), min_size=1, max_size=60)


@given(chances, st.randoms(use_true_random=False))
def test_the_parts_add_up_whatever_the_bins(stated, random):
    came = [random.choice((0, 1)) for _ in stated]
    for edges in (None, np.linspace(0, 1, 11), [0.0, 0.3, 1.0]):
        parts = brier_parts(stated, came, edges=edges)
        total = parts.reliability - parts.resolution + parts.uncertainty + parts.within
        assert total == pytest.approx(brier(stated, came), abs=1e-9)
        assert parts.reliability >= 0 and parts.resolution >= 0


@given(st.floats(0, 1), st.integers(0, 1))
def test_two_categories_are_the_brier_score(chance, came):
    # Weigel et al. 2007: the ranked probability score of two categories is the Brier score
    assert ranked_probability([1 - chance, chance], came) == pytest.approx(brier([chance], [came]), abs=1e-12)


values = st.floats(-1e4, 1e4)


@given(arrays(np.float64, st.integers(2, 40), elements=values), values)
def test_crps_of_draws_is_its_definition(draws, observed):
    away = np.abs(draws - observed).mean()
    pairs = np.abs(draws[:, None] - draws[None, :]).sum()
    n = draws.size
    assert crps_ensemble(draws, observed) == pytest.approx(away - pairs / (2 * n * n), abs=1e-6)
    assert crps_ensemble(draws, observed, fair=True) == pytest.approx(away - pairs / (2 * n * (n - 1)), abs=1e-6)


@given(arrays(np.float64, st.integers(1, 20), elements=st.floats(-100, 100)), st.floats(-100, 100))
def test_crps_is_twice_the_mean_pinball_loss(draws, observed):
    # CRPS = 2 x the integral of the pinball loss over the levels; for n draws at the levels (i - 1/2)/n it is exact
    n = draws.size
    loss = pinball(np.sort(draws), observed, (np.arange(n) + 0.5) / n)
    assert 2 * loss.mean() == pytest.approx(float(crps_ensemble(draws, observed)), abs=1e-9)


@given(st.floats(0.05, 0.95))
def test_pinball_is_least_at_its_own_quantile(level):
    sample = np.sort(np.random.default_rng(4).normal(size=999))
    best = pinball(np.quantile(sample, level), sample, level).mean()
    for shift in (-0.4, 0.4):
        assert pinball(np.quantile(sample, level) + shift, sample, level).mean() > best


@given(chances)
def test_reliability_counts_every_outcome_once(stated):
    came = (np.arange(len(stated)) % 2).astype(float)
    table = reliability(stated, came)
    assert table.count.sum() == len(stated)
    assert (table.count * table.came).sum() == pytest.approx(came.sum())
    assert ((table.low <= table.came + 1e-12) & (table.came <= table.high + 1e-12)).all()
    assert table.enough == (len(stated) >= FEW)


def test_coverage_counts_the_ends_and_carries_its_sampling_error():
    found = coverage([0, 0, 0, 0], [1, 1, 1, 1], [0.0, 1.0, 0.5, 2.0])
    assert found.share == 0.75 and found.count == 4
    assert found.allows(0.8) and not found.allows(0.2)


@pytest.mark.parametrize(
    ("stated", "came"), [([1.2], [1]), ([0.5], [2]), ([0.5, 0.5], [1]), ([], []), ([float("nan")], [0])]
)
def test_what_is_no_chance_or_no_outcome_is_refused(stated, came):
    with pytest.raises(ValueError):
        brier(stated, came)


def test_categories_must_add_to_one_and_exist():
    with pytest.raises(ValueError):
        ranked_probability([0.5, 0.4], 0)
    with pytest.raises(ValueError):
        ranked_probability([0.5, 0.5], 2)
