"""Livestock and human heat and cold against published check values and metpy."""

from __future__ import annotations

import warnings

import numpy as np
import pytest

from sideoats.weather import livestock as stock
from sideoats.weather.human import heat_index, wind_chill

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # of the oracle's own imports, and only here
    calc = pytest.importorskip("metpy.calc")
    units = pytest.importorskip("metpy.units").units


def degc(f: object) -> np.ndarray:
    return (np.asarray(f, dtype=float) - 32) / 1.8


def test_climate_index_of_the_paper() -> None:
    # Mader, Johnson, Gaughan, J. Anim. Sci. 88:2153-2165, 2010 with its erratum: 30 degC, 50 %, 1 m/s, 500 W/m2, quoted
    # in pyiem 1.28.1's test as from the paper; the second row is shade, a fifth of the sun.
    assert stock.comprehensive_climate_index(30, 0.5, 1, 500) == pytest.approx(37.93, abs=0.005)
    assert stock.comprehensive_climate_index(30, 0.5, 1, 100) == pytest.approx(34.58, abs=0.005)


# temperature, humidity %, wind, radiation; humidity term, wind term, radiation term, index: recomputed outside the
# project from pyiem 1.28.1's equations
TERMS = [
    (35, 40, 3, 800, 1.20, -4.34, 8.75, 40.62),
    (35, 60, 0.5, 900, 3.78, 2.42, 9.55, 50.75),
    (40, 30, 2, 900, 0, -2.41, 10.52, 48.11),
    (25, 30, 0, 0, 0, 3.33, 0.50, 28.83),
    (20, 50, 1, 500, 0.79, 0.59, 4.05, 25.43),
    (20, 30, 0, 0, 0, 3.33, 0, 23.33),
    (10, 50, 1, 300, 0.00, 0.59, 1.31, 11.90),
    (0, 80, 5, 200, -1.42, -6.51, -0.48, -8.42),
    (-10, 80, 8, 100, -2.19, -8.11, -2.17, -22.47),
    (-20, 70, 10, 0, -1.83, -8.76, -4.00, -34.60),
    (-30, 70, 15, 0, -1.47, -9.97, -5.00, -46.44),
]


@pytest.mark.parametrize("row", TERMS)
def test_climate_index_term_by_term(row: tuple[float, ...]) -> None:
    t, percent, wind, sun, humid, blown, lit, total = row
    assert stock.humidity_term(t, percent / 100) == pytest.approx(humid, abs=0.0051)
    assert stock.wind_term(wind) == pytest.approx(blown, abs=0.0051)
    assert stock.radiation_term(t, sun) == pytest.approx(lit, abs=0.0051)
    assert stock.comprehensive_climate_index(t, percent / 100, wind, sun) == pytest.approx(total, abs=0.0051)


def test_temperature_humidity_index_in_its_three_forms() -> None:
    # degF, %, degF form with 58, variant with 26.8, 0.8 T form: recomputed outside the project from the formulas as
    # published (National Research Council 1971; Dikmen and Hansen, J. Dairy Sci. 92:109-116, 2009; pyiem 1.28.1)
    rows = np.array(
        [
            (75, 50, 70.33, 70.55, 70.26), (80, 50, 73.95, 74.17, 73.87), (85, 40, 76.09, 76.35, 75.97),
            (85, 70, 80.55, 80.68, 80.49), (90, 30, 77.68, 77.99, 77.52), (90, 60, 82.96, 83.14, 82.87),
            (95, 50, 84.83, 85.05, 84.70), (100, 40, 86.14, 86.40, 85.97), (100, 60, 90.76, 90.94, 90.65),
        ]
    ).T  # fmt: skip
    for column, method in ((2, "nrc_1971"), (3, "nrc_1971_26_8"), (4, "mader_2006")):
        found = stock.temperature_humidity_index(degc(rows[0]), rows[1] / 100, method=method)
        assert found == pytest.approx(rows[column], abs=0.0051)


def test_adjusted_index() -> None:
    # Mader, Davis, Brown-Brandl, J. Anim. Sci. 84:712-719, 2006 and the 2002 conference form: recomputed outside
    rows = np.array(
        [
            (30, 50, 1, 500, 78.20, 84.12, 84.67), (35, 40, 3, 800, 82.64, 86.61, 84.62),
            (35, 60, 0.5, 900, 86.76, 96.39, 96.97), (25, 50, 2, 0, 71.70, 72.23, 72.35),
            (32, 65, 2.5, 700, 83.44, 87.73, 86.40),
        ]
    ).T  # fmt: skip
    thi = stock.temperature_humidity_index(rows[0], rows[1] / 100)
    assert thi == pytest.approx(rows[4], abs=0.0051)
    assert stock.adjusted_index(thi, rows[2], rows[3]) == pytest.approx(rows[5], abs=0.0051)
    assert stock.adjusted_index(thi, rows[2], rows[3], method="mader_2002") == pytest.approx(rows[6], abs=0.0051)


def test_cold_feed_energy_of_the_extension_examples() -> None:
    # Kansas State and University of Illinois: 1 % per degF; 24 lb of hay equivalent at 20 degF below -> 28.8 lb
    assert 24 * (1 + stock.cold_feed_energy(-2, 18, 0.01)) == pytest.approx(28.8)
    assert stock.cold_feed_energy(4, 32, 0.01) == pytest.approx(0.28)
    assert stock.cold_feed_energy(40, 32, 0.01) == 0


def test_heat_index_of_the_weather_service_branch_by_branch() -> None:
    # wpc.ncep.noaa.gov/html/heatindex_equation.shtml evaluated outside the project
    rows = [(80, 40, 79.79), (75, 50, 74.78), (70, 80, 70.23), (80, 90, 86.34), (86, 90, 105.39), (90, 50, 94.60),
            (90, 70, 105.92), (94, 60, 110.17), (96, 50, 107.64), (100, 40, 109.26), (100, 55, 123.64),
            (104, 10, 98.07), (110, 40, 135.66)]  # fmt: skip
    t, r, expected = np.array(rows).T
    assert heat_index(degc(t), r / 100) * 1.8 + 32 == pytest.approx(expected, abs=0.0051)


def test_heat_index_equals_metpy_where_the_regression_holds() -> None:
    t, r = (a.ravel() for a in np.meshgrid(np.arange(82, 112, 1.5), np.arange(16, 100, 3.0)))
    theirs = calc.heat_index(t * units.degF, r * units.percent, mask_undefined=False).to("degF").magnitude
    ours = heat_index(degc(t), r / 100) * 1.8 + 32
    regression = (0.5 * (t + 61 + (t - 68) * 1.2 + r * 0.094) + t) / 2 >= 80  # below it, rounding of the simple form
    assert ours[regression] == pytest.approx(np.asarray(theirs)[regression], abs=0.01)


def test_wind_chill_of_the_weather_service_and_metpy() -> None:
    # National Weather Service 2001, degF and mph form evaluated outside; the printed chart is the same in whole degF
    rows = [(40, 5, 36.47, 36), (30, 10, 21.25, 21), (20, 15, 6.22, 6), (10, 20, -8.88, -9), (0, 15, -19.40, -19),
            (0, 30, -25.86, -26), (-10, 25, -37.46, -37), (-20, 30, -53.03, -53), (-45, 60, -98.10, -98),
            (5, 30, -19.07, -19)]  # fmt: skip
    t, v, exact, chart = np.array(rows).T
    found = wind_chill(degc(t), v * 0.44704) * 1.8 + 32
    assert found == pytest.approx(exact, abs=0.0051)
    assert np.round(found).tolist() == chart.tolist()
    # metpy uses the degC and km/h form, whose coefficients are rounded differently: within 0.1 degF
    theirs = calc.windchill(t * units.degF, v * units.mph, mask_undefined=False).to("degF").magnitude
    assert found == pytest.approx(np.asarray(theirs), abs=0.1)
