"""The laws that answers are drawn by, against SciPy."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import special

from sideoats.decide.laws import (
    beta_below,
    beta_log_odds,
    gamma_log,
    median,
    normal_below,
    normal_score,
    quantile,
    student_below,
    student_score,
)

SCORES = np.arange(-4.0, 4.01, 0.25)
BELOW, ABOVE = special.ndtr(SCORES)[None, :], special.ndtr(-SCORES)[None, :]
SIZES = {"rare": (1e-3, 0.1), "few": (0.5, 20.0), "many": (20.0, 1e3), "very many": (1e3, 1e5)}


def shapes(size: str, seed: int) -> np.ndarray:
    low, high = np.log(SIZES[size])
    return np.exp(np.random.default_rng(seed).uniform(low, high, 200))


def off(got: np.ndarray, wanted: np.ndarray) -> float:
    """Largest difference in the log, relative where it is above 1; SciPy's own limits left out."""
    held = np.abs(wanted) < 600
    assert np.isfinite(got[held]).all()
    return float(np.max(np.abs(got - wanted)[held] / np.maximum(1, np.abs(wanted[held]))))


@pytest.mark.parametrize("b", SIZES)
@pytest.mark.parametrize("a", SIZES)
def test_beta_quantiles_are_scipys(a: str, b: str) -> None:
    one, two = shapes(a, 1), shapes(b, 2)
    with np.errstate(divide="ignore", invalid="ignore"):
        wanted = np.log(special.betaincinv(one[:, None], two[:, None], BELOW)) - np.log(
            special.betaincinv(two[:, None], one[:, None], ABOVE)
        )
    assert off(beta_log_odds(one, two, SCORES), wanted) < (3e-4 if a == b == "rare" else 5e-5)


@pytest.mark.parametrize("a", SIZES)
def test_gamma_quantiles_are_scipys(a: str) -> None:
    shape = shapes(a, 3)
    with np.errstate(divide="ignore"):
        wanted = np.log(special.gammaincinv(shape[:, None], BELOW))
    assert off(gamma_log(shape, SCORES), wanted) < 1e-4


def test_every_row_is_read_at_scores_of_its_own_and_alone_as_among_others() -> None:
    a, b = shapes("few", 4), shapes("many", 5)
    scores = np.random.default_rng(6).standard_normal((200, 50))
    together = beta_log_odds(a, b, scores)
    assert np.array_equal(together[7:8], beta_log_odds(a[7:8], b[7:8], scores[7:8]))
    wanted = special.logit(special.betaincinv(a[:, None], b[:, None], special.ndtr(scores)))
    assert np.max(np.abs(together - wanted)) < 1e-4


def test_a_row_without_shapes_is_not_known_and_hinders_no_other() -> None:
    found = beta_log_odds([np.nan, 2.0, 2.0], [1.0, np.nan, 3.0], SCORES)
    assert np.isnan(found[:2]).all() and np.isfinite(found[2]).all()


def test_the_normal_law_is_scipys() -> None:
    z = np.linspace(-37, 8, 400)
    assert normal_below(z) == pytest.approx(special.ndtr(z), rel=1e-12)
    p = np.concatenate([10.0 ** -np.arange(1, 300.0), np.linspace(0.01, 0.99, 99), 1 - 10.0 ** -np.arange(2, 15.0)])
    assert normal_score(p) == pytest.approx(special.ndtri(p), rel=1e-12, abs=1e-13)
    assert normal_score([0.0, 1.0]).tolist() == [-np.inf, np.inf] and np.isnan(normal_score([-0.1, 1.1, np.nan])).all()


@pytest.mark.parametrize("share", [0.0, 0.1, 0.5, 0.9, 1.0])
def test_shares_of_draws_are_numpys(share: float) -> None:
    draws = np.random.default_rng(7).gamma(0.5, 30, (5, 999))
    draws[2, 5] = np.nan
    for axis in (None, 0, 1, -1):
        for shares in (share, [share, 0.5], [0.1, 0.25, 0.75, 0.9]):
            wanted = np.quantile(draws, shares, axis=axis)
            assert np.array_equal(quantile(draws, shares, axis), wanted, equal_nan=True)
        assert np.array_equal(median(draws, axis), np.median(draws, axis), equal_nan=True)
    assert quantile(draws[0, :1], share) == draws[0, 0] == median(draws[0, :1])
    assert median(draws[0]) == np.median(draws[0]) and median(draws[0, :-1]) == np.median(draws[0, :-1])


@pytest.mark.parametrize(("largest", "within"), [(2e4, 1e-12), (1e5, 3e-12)])
def test_chances_and_densities_of_a_beta_law_are_scipys(largest: float, within: float) -> None:
    rng = np.random.default_rng(7)
    a, b = np.exp(rng.uniform(np.log(0.05), np.log(largest), (2, 3000)))
    middle = a / (a + b)
    spread = np.sqrt(middle * (1 - middle) / (a + b + 1))
    x = np.clip(middle + 3 * spread * rng.standard_normal(3000), 1e-12, 1 - 1e-12)
    below, density = np.array([beta_below(*each) for each in zip(a, b, x, strict=True)]).T
    assert np.max(np.abs(below - special.betainc(a, b, x))) < within
    logs = special.xlogy(a, x) + special.xlog1py(b, -x) - special.betaln(a, b)
    assert np.allclose(density, np.exp(logs), rtol=1e-8, atol=1e-300)  # SciPy's own logs lose digits here


def test_beyond_the_ends_of_a_beta_law() -> None:
    assert beta_below(2.0, 3.0, 0.0) == (0.0, 0.0) and beta_below(2.0, 3.0, 1.0) == (1.0, 0.0)
    for a, b, x in ((np.nan, 1.0, 0.5), (1.0, 0.0, 0.5), (1.0, 1.0, np.nan), (1.0, 1.0, 1.5)):
        assert np.isnan(beta_below(a, b, x)).all()


@pytest.mark.parametrize("df", [1, 2, 3.5, 10, 47, 400, 20_000, np.inf])
def test_students_t_is_scipys(df: float) -> None:
    t = np.concatenate([np.linspace(-9, 9, 61), [-300.0, 0.0, 300.0]])
    wanted = special.stdtr(df, t) if np.isfinite(df) else special.ndtr(t)
    assert np.allclose(student_below(t, df), wanted, rtol=1e-10, atol=1e-14)
    chance = np.array([1e-4, 0.025, 0.2, 0.5, 0.6, 0.95, 0.975, 0.9995])
    wanted = special.stdtrit(df, chance) if np.isfinite(df) else special.ndtri(chance)
    assert np.allclose(student_score(chance, df), wanted, rtol=1e-9, atol=1e-12)


def test_students_t_of_nothing_is_not_known() -> None:
    assert np.isnan(student_below([np.nan, 1.0], [3.0, np.nan])).all()
    assert np.isnan(student_score([-0.1, 0.5], [3.0, 0.0])).all()
    assert student_score([0.0, 1.0], 4.0).tolist() == [-np.inf, np.inf]
