"""Lots of bales, bale geometry, hay need: printed figures and reference libraries."""

from __future__ import annotations

import numpy as np
import pytest

from sideoats.facts import load
from sideoats.forage import hay, lots


@pytest.mark.parametrize(("n", "d2"), [(2, 1.128), (5, 2.326), (10, 3.078), (20, 3.735), (25, 3.931)])
def test_expected_range_is_the_control_chart_constant(n: int, d2: float) -> None:
    # ASTM Manual on Presentation of Data and Control Chart Analysis, factor d2 (from memory)
    assert round(lots.expected_range(n), 3) == d2


@pytest.mark.parametrize("cores", [2, 5, 20])
@pytest.mark.parametrize("freedom", [4.0, 10.0, 30.0])
@pytest.mark.parametrize("assurance", [0.8, 0.95, 0.99])
def test_one_more_bale_is_students_t(cores: int, freedom: float, assurance: float) -> None:
    # Hahn and Meeker 1991: the one-sided prediction bound for one further observation is t sqrt(1 + 1/n); t from SciPy
    from scipy.stats import t

    expected = t.ppf(assurance, freedom) * np.sqrt(1 + 1 / cores)
    assert lots.prediction_factor(cores, 1, freedom, assurance) == pytest.approx(expected, rel=2e-4)


def test_known_spread_and_centre_is_the_normal_maximum() -> None:
    # with endless cores and freedom: Phi(k)^m = assurance, k from SciPy
    from scipy.stats import norm

    factor = lots.prediction_factor(10**6, 40, 1e7, 0.95)
    assert factor == pytest.approx(norm.ppf(0.95 ** (1 / 40)), abs=2e-3)


def test_kansas_spread_as_printed() -> None:
    # Kansas State, Testing methods for nitrates in forages: 23 bales of one field, mean 2,764, range 1,525 to 6,250 ppm
    mean, lowest, highest, bales = load()["forage/lot.spread"].rows[0]
    assert (mean, lowest, highest, bales) == (2764.0, 1525.0, 6250.0, 23)
    assert round(highest / mean, 2) == 2.26 and round(lowest / mean, 2) == 0.55


def test_round_bale_sizes_against_five_by_five() -> None:
    # University of Florida AN326: a 4 x 4 bale holds about half of a 5 x 5, a 5 x 6 (wide) bale 44 % more than 5 x 5
    base = hay.round_bale_volume(5.0, 5.0)
    assert hay.round_bale_volume(4.0, 4.0) / base == pytest.approx(0.5, abs=0.02)
    assert hay.round_bale_volume(6.0, 5.0) / base == pytest.approx(1.44, abs=0.005)
    # 1,100 lb in a 5 x 5 bale is 11.2 lb/ft3
    assert float(hay.round_bale_pounds(5.0, 5.0, 11.2)) == pytest.approx(1100, abs=2)


def test_weathered_share_as_printed() -> None:
    # Kansas State (Powell): the outer 2 in of a 6-ft bale hold over 10 % of it
    assert 0.10 < float(hay.weathered_share(6.0, 2.0)) < 0.12
    # Kansas State: "about 75 % of the hay is in the outer 18 in", exact for a 6-ft bale
    assert float(hay.weathered_share(6.0, 18.0)) == pytest.approx(0.75)
    # Ag Proud 35488, 5-ft bale: outer 4 in "one third", 8 in "more than half": true only if the ends are counted
    assert float(hay.weathered_share(5.0, 4.0, 5.0)) == pytest.approx(1 / 3, abs=0.02)
    assert float(hay.weathered_share(5.0, 8.0, 5.0)) > 0.5
    assert float(hay.weathered_share(5.0, 4.0)) < 0.26 and float(hay.weathered_share(5.0, 8.0)) < 0.5


def test_iowa_hay_need_as_printed() -> None:
    # barnmedia.net 2021 (Iowa): 150 cows of 1,200 lb at 2.5 % for 180 days = 30 lb, 405 t of dry matter, 476 t at 85 %
    # dry matter, 501 t with 5 % loss
    eaten = float(hay.hay_need_tons(150, 1200, 180, 0.025, 1.0))
    as_fed = float(hay.hay_need_tons(150, 1200, 180, 0.025, 0.85))
    assert eaten == pytest.approx(405) and as_fed == pytest.approx(476, abs=0.5)
    assert float(hay.hay_need_tons(150, 1200, 180, 0.025, 0.85, 0.05)) == pytest.approx(501, abs=1)


def test_iowa_list_of_stock_as_printed() -> None:
    # beefmagazine 2019 (Schwab, Iowa): 100 x 1,400, 20 x 1,000, 25 x 700, 6 x 2,000 lb at 2.5 % for 150 days
    need = hay.hay_need_tons(np.array([100, 20, 25, 6]), np.array([1400, 1000, 700, 2000]), 150, 0.025, 1.0)
    assert np.round(need * 2000).tolist() == [525_000, 75_000, 65_625, 45_000]


def test_missouri_inventory_as_printed() -> None:
    # University of Missouri (Meusch): 137 t in bales of 750 or 950 lb = 365 or 288 bales; 50 cows x 30 lb / 0.85 =
    # 1,750 lb
    assert np.round(137 * 2000 / np.array([750.0, 950.0])).tolist() == [365, 288]
    assert hay.hay_tons(np.array([365.0, 288.0]), np.array([750.0, 950.0])) == pytest.approx([137, 137], abs=0.3)
    daily = float(hay.hay_need_tons(50, 1200, 1, 0.025, 0.85)) * 2000
    assert daily == pytest.approx(1750, abs=20)


def test_storage_losses_as_printed() -> None:
    # University of Tennessee trial: ground bare 37, wrapped 19, covered and raised 8, inside 6 %; Nebraska inside 2-8
    # %; North Dakota State (Schroeder): 15 to 30 % left outside uncovered; Ag Proud 34965: up to 50 %. The "25" of that
    # page is inches of rain, not percent lost
    facts = load()
    middle = {"ground_bare": 0.37, "wrapped": 0.19, "covered_raised": 0.08, "inside": 0.06}
    assert {k: facts.by_id[f"forage/hay.storage_loss.{k}"].mid for k in middle} == middle
    assert facts.span("forage/hay.storage_loss.ground_bare") == (0.15, 0.50)
    assert facts.span("forage/hay.storage_loss.inside") == (0.02, 0.08)


def test_buskirk_feeder_waste_as_printed() -> None:
    # Buskirk and others 2003 (Michigan State): cone 3.5, ring 6.1, trailer 11.4, cradle 14.6 %
    facts = load()
    printed = {"cone": 0.035, "ring": 0.061, "trailer": 0.114, "cradle": 0.146}
    assert {k: facts.by_id[f"forage/hay.feeding_loss.{k}"].mid for k in printed} == printed
    # arithmetic by hand on a 1,200-lb bale at 70 USD: ring 73.2 lb, 4.27 USD a bale, 768.60 USD on 180 bales
    assert 1200 * printed["ring"] == pytest.approx(73.2)
    assert 180 * 70 * printed["ring"] == pytest.approx(768.60)


@pytest.mark.parametrize("freedom", [3.0, 8.0, 12.5, 40.0, 150.0, 900.0])
@pytest.mark.parametrize(("cores", "bales"), [(1, 1), (5, 60), (20, 400), (60, 5000)])
def test_the_factor_solves_its_equation_by_scipy(cores: int, bales: int, freedom: float) -> None:
    """The module's equation with SciPy's normal law and its own quadrature of the chi law."""
    from scipy import integrate, special, stats

    k = lots.prediction_factor(cores, bales, freedom, 0.95)
    z, weight = np.polynomial.hermite_e.hermegauss(40)

    def inner(w: float) -> float:
        met = np.exp(bales * special.log_ndtr(z / np.sqrt(cores) + k * w))
        return float(met @ weight / weight.sum() * stats.chi.pdf(w * np.sqrt(freedom), freedom) * np.sqrt(freedom))

    whole, _ = integrate.quad(inner, 0.0, 8.0, points=[0.5, 1.0, 1.5], limit=400)
    assert whole == pytest.approx(0.95, abs=2e-3)  # the nodes of few degrees of freedom and thousands of bales
