"""Laws of pooling: between a field's own count and the district, less of it the more was counted, and honest widths."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from sideoats.facts import load
from sideoats.families.counted import Counted
from sideoats.insects.pooling import Fading, Looks, fit_district
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


def test_no_word_from_the_district_changes_nothing() -> None:
    """NaN stands for a field nobody can tell anything of: the published usual holds there."""
    scores = SCORES[None]
    counted = Counted(np.array([4.0]), np.array([20.0]), np.array([[4.0]]), np.array([0.5]), 0.5, np.ones(1), scores)
    silent = Counted(**{**vars(counted), "nearby": np.full((4, 1), np.nan)})
    usual = np.array([2.0])
    assert np.array_equal(counted.against(usual, load()).density, silent.against(usual, load()).density)
