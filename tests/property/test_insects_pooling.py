"""Laws of pooling: between a field's own count and the district, less of it the more was counted, and honest widths."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from sideoats.facts import load
from sideoats.families.counted import Counted
from sideoats.insects.dispersion import own_k, pulled_k
from sideoats.insects.pooling import Fading, Looks, as_prior, fit_district
from sideoats.station import km_between

Floats = NDArray[np.float64]
FADING = Fading(km=15, days=21, growth=0.1, growth_sd=0.05)
DAYS = np.array([-14.0, -7.0, -1.0, 0.0])
SCORES = np.random.default_rng(5).standard_normal(4000)


def simulated(rng: np.random.Generator, level: float, k: float) -> tuple[Looks, Floats, Floats, Floats, float]:
    """Looks of half of sixty fields, where the others lie, what those hold today, what was looked at, true growth."""
    n, units = 60, 30
    latitude, longitude = 38 + 0.6 * rng.random(n), -99 + 0.8 * rng.random(n)
    apart = km_between(latitude[:, None], longitude[:, None], latitude, longitude)
    places = np.linalg.cholesky(0.5 * np.exp(-apart / 15) + 0.5 * np.eye(n))
    days = np.linalg.cholesky(np.exp(-np.abs(DAYS[:, None] - DAYS) / 21))
    own, growth = places @ rng.standard_normal((n, 4)) @ days.T, float(rng.normal(0.1, 0.05))
    level += float(rng.normal(0, 0.5))
    true = level + growth * DAYS + own
    walked, rest = np.split(rng.permutation(n), [n // 2])
    looked = rng.random((len(walked), 3)) < 0.6
    rows, at = np.nonzero(looked)
    field = walked[rows]
    density = np.exp(true[field, at])
    counts = rng.negative_binomial(k, k / (k + density[:, None]), (len(field), units))
    looks = Looks(
        field,
        latitude[field],
        longitude[field],
        DAYS[at],
        counts.mean(axis=1),
        np.full(len(field), float(units)),
        np.full(len(field), k),
    )
    return looks, np.stack([rest, latitude[rest], longitude[rest]]), true[rest, 3], true[field, at], growth


@pytest.mark.parametrize(("level", "k"), [(3.0, 0.3), (3.0, 0.12), (0.0, 0.5)])
def test_eighty_per_cent_ranges_hold_eighty_per_cent(level: float, k: float) -> None:
    """Of fields nobody walked and of fields left out: 78 to 82 %; growth within chance of it on 150 districts."""
    rng = np.random.default_rng(1)
    held: dict[str, list[float]] = {"unwalked": [], "left out": [], "growth": []}
    for _ in range(150):
        looks, rest, today, seen, growth = simulated(rng, level, k)
        model = fit_district(looks, FADING)
        for name, true, (mean, variance) in (
            ("unwalked", today, model.forecast(*rest)),
            ("left out", seen, model.without()),
        ):
            held[name].append(float(np.mean(np.abs(true - mean) < 1.2816 * np.sqrt(variance))))
        middle, error = model.growth
        held["growth"].append(float(abs(growth - middle) < 1.2816 * error))
    assert 0.78 <= np.mean(held["unwalked"]) <= 0.82
    assert 0.77 <= np.mean(held["left out"]) <= 0.82
    assert 0.68 <= np.mean(held["growth"]) <= 0.90


def test_leaving_one_out_is_what_a_fit_without_it_says() -> None:
    looks = simulated(np.random.default_rng(8), 3.0, 0.3)[0]
    mean, variance = fit_district(looks, FADING).without()
    for row in range(0, len(looks), 7):
        rest = np.arange(len(looks)) != row
        others = Looks(*(part[rest] for part in vars(looks).values()))
        one = np.array([row])
        apart = fit_district(others, FADING).forecast(
            looks.field[one], looks.latitude[one], looks.longitude[one], looks.day[one]
        )
        assert mean[row] == pytest.approx(apart[0][0], abs=0.25 * np.sqrt(variance[row]))
        assert variance[row] == pytest.approx(apart[1][0], rel=0.35)


def test_the_order_of_the_looks_does_not_matter() -> None:
    looks, rest, *_ = simulated(np.random.default_rng(9), 3.0, 0.3)
    back = Looks(*(part[::-1] for part in vars(looks).values()))
    for one, other in zip(fit_district(looks, FADING).forecast(*rest), fit_district(back, FADING).forecast(*rest)):
        assert np.allclose(one, other, rtol=1e-6)


def test_a_field_without_neighbors_is_told_with_more_width_than_one_among_them() -> None:
    looks = simulated(np.random.default_rng(10), 3.0, 0.3)[0]
    near = float(np.mean(looks.latitude)), float(np.mean(looks.longitude))
    mean, variance = fit_district(looks, FADING).forecast([-1, -2], [near[0], 50.0], [near[1], -50.0])
    assert variance[1] > variance[0]
    assert np.isfinite(mean).all()


@given(st.floats(-3, 7), st.floats(0.05, 4), st.floats(0.05, 5))
@settings(max_examples=40, deadline=None)
def test_the_prior_has_the_mean_and_variance_of_the_forecast(mean: float, variance: float, k: float) -> None:
    usual, weight = (float(v) for v in as_prior(mean, variance, k))
    first = (weight - 1) * usual / k  # k times a beta prime of shapes first and weight (moments: Johnson and others)
    spread = k * k * first * (first + weight - 1) / ((weight - 2) * (weight - 1) ** 2)
    assert usual == pytest.approx(np.exp(mean + variance / 2))
    assert k * first / (weight - 1) == pytest.approx(usual)
    assert spread == pytest.approx(usual**2 * np.expm1(variance), rel=1e-6)
    assert weight > 2


def pooled(mean: float, units: float, k: float, log_mean: float, log_variance: float) -> float:
    """Mean of a field's density as the questions have it, where the district says so much of it."""
    counted = Counted(
        np.array([mean]),
        np.array([units]),
        np.array([[mean]]),
        np.array([k]),
        k,
        np.ones(1),
        SCORES[None],
        nearby=np.array([[log_mean], [log_variance], [9.0], [np.nan]]),
    )
    return float(counted.against(np.array([np.nan]), load()).density.mean())


@given(st.floats(0, 300), st.integers(5, 100), st.floats(0.1, 3), st.floats(-1, 5), st.floats(0.1, 3))
@settings(max_examples=60, deadline=None)
def test_a_pooled_field_lies_between_its_own_count_and_the_district_and_nearer_the_more_was_counted(
    mean: float, units: int, k: float, log_mean: float, log_variance: float
) -> None:
    usual = float(np.exp(log_mean + log_variance / 2))
    some, more = (pooled(mean, n, k, log_mean, log_variance) for n in (units, 3 * units))
    low, high = sorted((mean, usual))
    room = 1e-3 * (1 + high)
    assert low - room <= some <= high + room
    assert abs(more - mean) <= abs(some - mean) + room


@pytest.mark.parametrize(("k", "mean", "units"), [(0.12, 3, 20), (0.25, 30, 40), (0.6, 3, 40), (1.5, 30, 100)])
def test_a_k_pulled_to_the_district_is_nearer_the_truth_than_the_field_alone_or_the_district_alone(
    k: float, mean: float, units: int
) -> None:
    rng, facts = np.random.default_rng(4), load()
    true = k * np.exp(rng.normal(0, 0.3, 3000))
    counts = rng.negative_binomial(true[:, None], true[:, None] / (true[:, None] + mean), (3000, units))
    n, seen = np.full(3000, units), counts.mean(axis=1)
    own = own_k(n, np.maximum(seen, 1e-3), counts.var(axis=1, ddof=1), facts.span("insects/counting.k_bounds"))

    def error(weight: float) -> float:
        pulled = pulled_k(n, own, np.full(3000, k), weight)
        return float(np.sqrt(np.mean(np.log(pulled / true)[seen > 0] ** 2)))

    chosen = error(facts.value("insects/counting.k_weight"))
    assert chosen < min(error(0.0), error(1e9))
    assert chosen < error(800.0)


def test_a_wide_forecast_pulls_less_than_a_narrow_one() -> None:
    wide, narrow = (abs(pooled(5, 20, 0.5, 1.0 - v / 2, v) - 5) for v in (2.0, 0.2))
    assert wide < narrow


def test_a_count_far_from_what_others_say_is_not_pulled_to_them() -> None:
    """Ten leaves with four aphids in all, among fields of some 235 a leaf: this one is not like those."""
    assert pooled(0.4, 10, 0.6, 5.46, 1.1) < 1.0
    assert pooled(200, 10, 0.6, 0.0, 0.5) > 150
    assert pooled(90, 10, 0.6, 5.0, 0.5) > 95  # and one that is like them is pulled


def test_no_word_from_the_district_changes_nothing() -> None:
    """NaN stands for a field nobody can tell anything of: the published usual holds there."""
    scores = SCORES[None]
    counted = Counted(np.array([4.0]), np.array([20.0]), np.array([[4.0]]), np.array([0.5]), 0.5, np.ones(1), scores)
    silent = Counted(**{**vars(counted), "nearby": np.full((4, 1), np.nan)})
    usual = np.array([2.0])
    assert np.array_equal(counted.against(usual, load()).density, silent.against(usual, load()).density)
