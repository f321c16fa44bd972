"""SPI against climate-indices and a check set, SPEI against lmoments3, drought classes against the published table."""

from __future__ import annotations

import warnings

import numpy as np
import pytest

from sideoats.facts import load
from sideoats.weather import drought

# 30 invented rain sums with two zeros; Thom fit and indices computed outside the project (climate-indices 3.1.0 agrees)
RAIN = [62.0, 110.5, 38.1, 0, 95.2, 141.7, 71.6, 28.4, 84.9, 55.3, 120.0, 16.8, 0, 77.2, 99.1, 45.7, 133.4, 66.6, 89.5,
        22.9, 104.3, 51.0, 73.8, 160.2, 35.6, 80.4, 58.7, 117.9, 43.2, 92.6]  # fmt: skip
SPI = [-0.158, 0.953, -0.858, -1.501, 0.639, 1.520, 0.092, -1.151, 0.411, -0.344, 1.135, -1.418, -1.501, 0.230, 0.722,
       -0.626, 1.377, -0.036, 0.515, -1.296, 0.829, -0.468, 0.147, 1.822, -0.935, 0.306, -0.249, 1.095, -0.701,
       0.583]  # fmt: skip
BALANCE = [12.4, -35.1, 60.2, -88.0, 5.5, 41.9, -12.7, -60.3, 22.8, -20.0, 75.6, -102.5, -48.8, 9.9, 30.1, -5.2, 55.7,
           -71.4, 18.6, -28.3]  # fmt: skip
SPEI = [0.349, -0.647, 1.384, -1.505, 0.196, 0.998, -0.197, -1.091, 0.580, -0.349, 1.693, -1.694, -0.896, 0.293, 0.741,
        -0.037, 1.291, -1.265, 0.486, -0.515]  # fmt: skip


def test_gamma_fit_and_index_of_the_check_set() -> None:
    fitted = drought.fit_gamma(RAIN)
    assert fitted.dry_share == pytest.approx(2 / 30)
    assert fitted.shape == pytest.approx(3.9483569, abs=5e-7)
    assert fitted.scale == pytest.approx(19.6881175, abs=5e-6)
    assert drought.gamma_index(RAIN, fitted) == pytest.approx(SPI, abs=5.1e-4)


def test_thom_is_within_a_thousandth_of_maximum_likelihood() -> None:
    stats = pytest.importorskip("scipy.stats")
    x = np.array(RAIN)
    shape, _, scale = stats.gamma.fit(x[x > 0], floc=0)
    exact = drought.Gamma(np.float64(shape), np.float64(scale), np.float64(2 / 30))
    assert drought.gamma_index(x, drought.fit_gamma(x)) == pytest.approx(drought.gamma_index(x, exact), abs=1e-3)


@pytest.fixture
def climate_indices():  # type: ignore[no-untyped-def]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of the oracle's own imports, and only here
        indices = pytest.importorskip("climate_indices.indices")
        compute = pytest.importorskip("climate_indices.compute")
        yield indices, compute


@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize("scale", [1, 3, 6, 12])
def test_index_equals_climate_indices(climate_indices, scale: int) -> None:  # type: ignore[no-untyped-def]
    indices, compute = climate_indices
    rng = np.random.default_rng(4)
    rain = rng.gamma(1.8, 35.0, (6, 360)) * (rng.random((6, 360)) > 0.06)
    ours = drought.precipitation_index(rain, scale)
    for row, found in zip(rain, ours, strict=True):
        theirs = indices.spi(row, scale, indices.Distribution.gamma, 1991, 1991, 2020, compute.Periodicity.monthly)
        assert found == pytest.approx(theirs, abs=1e-9, nan_ok=True)


def test_log_logistic_fit_and_index_of_the_check_set() -> None:
    fitted = drought.fit_log_logistic(BALANCE)
    assert fitted.shape == pytest.approx(-13.629463, abs=5e-6)
    assert fitted.scale == pytest.approx(-394.472639, abs=5e-4)
    assert fitted.origin == pytest.approx(391.007487, abs=5e-4)
    assert drought.log_logistic_index(BALANCE, fitted) == pytest.approx(SPEI, abs=5.1e-4)
    older = drought.fit_log_logistic(BALANCE, moments="plotting_position")
    assert older.shape == pytest.approx(-47.886683, abs=5e-5)
    assert drought.log_logistic_index(BALANCE, older)[:4] == pytest.approx([0.418, -0.641, 1.414, -1.615], abs=5.1e-4)


@pytest.mark.filterwarnings("ignore")
def test_index_equals_lmoments3() -> None:
    # The log-logistic of SPEI is the generalized logistic of L-moments: same fit, same probability.
    distr = pytest.importorskip("lmoments3.distr")
    norm = pytest.importorskip("scipy.stats").norm
    rng = np.random.default_rng(9)
    samples = [np.array(BALANCE), rng.normal(-20, 60, 40), rng.gamma(2, 30, 35) - 90, -rng.gamma(2, 30, 50)]
    for sample in samples:
        glo = distr.glo(**distr.glo.lmom_fit(sample))
        ours = drought.log_logistic_index(sample, drought.fit_log_logistic(sample))
        assert ours == pytest.approx(np.clip(norm.ppf(glo.cdf(sample)), -3.09, 3.09), abs=1e-6)


def test_classes_of_the_drought_monitor() -> None:
    # drought.gov/explaining-drought-category-maps: 20-30, 10-20, 5-10, 2-5, 0-2 percentile (read)
    fact = load()["weather/drought.classes"]
    bounds = fact.column("upper")
    found = drought.drought_class([31, 30, 25, 20, 15, 10, 7, 5, 3, 2, 0.1, np.nan], bounds)
    assert found.tolist() == [-1, 0, 0, 1, 1, 2, 2, 3, 3, 4, 4, -1]
    # weather.gov/riw/drought prints SPI beside the classes; the middle of each printed range falls in its class
    printed = {0: -0.6, 1: -1.0, 2: -1.4, 3: -1.8, 4: -2.2}
    for number, index in printed.items():
        assert drought.drought_class(drought.percentile_of(index), bounds) == number
    # normal distribution at printed cut points
    assert drought.percentile_of([-0.5, -0.8, -1.3, -1.6, -2.0]) == pytest.approx(
        [30.85, 21.19, 9.68, 5.48, 2.28], abs=0.005
    )
