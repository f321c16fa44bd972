"""Degree-days against printed examples, tabulated values and a real year."""

from __future__ import annotations

from datetime import date
from importlib.util import find_spec
from pathlib import Path

import numpy as np
import pytest

from sideoats.intake.ghcn_daily import read_ghcn_daily
from sideoats.weather.degree_days import CUTOFFS, accumulate, degree_days, hours_between

# Values computed outside the project by integrating the day's curve numerically at 2 million points; the closed forms
# agree with that integration to 1.6e-5. Columns: tmax, tmin, simple, 86/50, triangle x 4 cut-offs, sine x 4 cut-offs.
BY_QUADRATURE = [
    (40, 30, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0),
    (70, 55, 12.5, 12.5, 12.500, 12.500, 12.500, 12.500, 12.500, 12.500, 12.500, 12.500),
    (70, 40, 5.0, 10.0, 6.667, 6.667, 6.667, 6.667, 7.542, 7.542, 7.542, 7.542),
    (95, 60, 27.5, 23.0, 27.500, 26.343, 25.186, 17.086, 27.500, 25.509, 23.517, 13.320),
    (95, 40, 17.5, 18.0, 18.409, 17.673, 16.936, 11.782, 19.345, 17.773, 16.201, 8.228),
    (100, 90, 45.0, 36.0, 45.000, 36.000, 27.000, 0.000, 45.000, 36.000, 27.000, 0.000),
    (60, 48, 4.0, 5.0, 4.167, 4.167, 4.167, 4.167, 4.353, 4.353, 4.353, 4.353),
    (87, 51, 19.0, 18.5, 19.000, 18.986, 18.972, 17.986, 19.000, 18.929, 18.858, 15.091),
]


@pytest.mark.parametrize("row", BY_QUADRATURE)
def test_one_day_by_every_method_and_cutoff(row: tuple[float, ...]) -> None:
    tmax, tmin, simple, modified, *rest = row
    assert degree_days(tmax, tmin, 50, 86, method="simple", cutoff="none") == pytest.approx(simple, abs=1e-3)
    assert degree_days(tmax, tmin, 50, 86, method="modified") == pytest.approx(modified, abs=1e-3)
    for method, expected in (("single_triangle", rest[:4]), ("single_sine", rest[4:])):
        found = [float(degree_days(tmax, tmin, 50, 86, method=method, cutoff=c)) for c in CUTOFFS]
        assert found == pytest.approx(expected, abs=1e-3)


def test_celsius_by_quadrature() -> None:
    tmax, tmin = np.array([21.1, 30, 12]), np.array([4.4, 10, 2])
    assert degree_days(tmax, tmin, 10, 30) == pytest.approx([4.178, 10.0, 0.388], abs=1e-3)
    assert degree_days(tmax, tmin, 10, 30, method="single_triangle") == pytest.approx([3.689, 10.0, 0.2], abs=1e-3)
    assert degree_days(tmax, tmin, 10, method="simple") == pytest.approx([2.75, 10.0, 0.0], abs=1e-3)


def test_a_week_day_by_day() -> None:
    # Same origin; columns simple, 86/50, single and double triangle, single and double sine, horizontal cut-off.
    tmax = np.array([70, 62, 90, 95, 58, 75, 49])
    tmin = np.array([40, 45, 50, 65, 38, 52, 33, 30])
    expected = {
        "simple": [5.00, 3.50, 20.00, 30.00, 0.00, 13.50, 0],
        "modified": [10.00, 6.00, 18.00, 25.50, 4.00, 13.50, 0],
        "single_triangle": [6.67, 4.24, 19.80, 28.65, 1.60, 13.50, 0],
        "double_triangle": [7.33, 5.12, 23.49, 22.85, 3.30, 10.47, 0],
        "single_sine": [7.54, 4.69, 19.46, 27.84, 2.25, 13.50, 0],
        "double_sine": [8.01, 5.34, 23.13, 22.59, 3.62, 11.15, 0],
    }
    sums = {"simple": 72.00, "modified": 77.00, "single_triangle": 74.45, "double_triangle": 72.56,
            "single_sine": 75.27, "double_sine": 73.85}  # fmt: skip
    for method, row in expected.items():
        cutoff = "none" if method == "simple" else "horizontal"
        after = tmin[1:] if method.startswith("double") else None
        found = degree_days(tmax, tmin[:7], 50, 86, method=method, cutoff=cutoff, tmin_next=after)
        assert found == pytest.approx(row, abs=0.005)
        assert accumulate(found).total == pytest.approx(sums[method], abs=0.006)


@pytest.mark.parametrize(
    ("tmax", "tmin", "lower", "upper", "method", "expected", "source"),
    [
        (90, 65, 50, 86, "modified", 25.5, "Waushara Argus (Wisconsin), column of 2018-04-25"),
        (72, 46, 50, 86, "modified", 11.0, "the same"),
        (63, 42, 50, 86, "modified", 6.5, "the same"),
        (86, 70, 60, None, "simple", 18.0, "Univ. Georgia Cotton Production Guide 2011, as quoted 2011-07-20"),
        (83, 61, 50, None, "simple", 22.0, "dairy consulting note on maize heat units"),
        (80, 60, 50, None, "simple", 20.0, "Iowa news column of 2019"),
        (86, 50, 50, 86, "modified", 18.0, "pyiem 1.28.1, its own test"),
        (51, 49, 50, 86, "modified", 0.5, "pyiem 1.28.1, its own test"),
        (49, 40, 50, 86, "modified", 0.0, "pyiem 1.28.1, its own test"),
    ],
)
def test_printed_examples(
    tmax: float, tmin: float, lower: float, upper: float | None, method: str, expected: float, source: str
) -> None:
    assert degree_days(tmax, tmin, lower, upper, method=method) == pytest.approx(expected, abs=1e-9), source


LINCOLN = find_spec("bokeh_sampledata")


@pytest.mark.skipif(LINCOLN is None, reason="bokeh-sampledata is not installed")
def test_a_real_year_at_lincoln_nebraska() -> None:
    # GHCN station USW00094996, 2016, as shipped in bokeh-sampledata; sums computed outside, one day missing.
    assert LINCOLN is not None and LINCOLN.origin is not None
    record = read_ghcn_daily(Path(LINCOLN.origin).parent / "_data" / "lincoln_weather.csv")
    assert (len(record), [str(d) for d in record.missing("tmax")]) == (366, ["2016-06-17"])
    summer = record.window(date(2016, 5, 1), date(2016, 9, 30))
    high, low = summer.get("tmax") * 1.8 + 32, summer.get("tmin") * 1.8 + 32
    modified = accumulate(degree_days(high, low, 50, 86, method="modified"))
    assert (round(float(modified.total), 6), int(modified.days), int(modified.missing)) == (3142.5, 152, 1)
    assert accumulate(degree_days(high, low, 50, method="simple")).total == pytest.approx(3212.5, abs=1e-6)
    assert accumulate(degree_days(high, low, 60, method="simple")).total == pytest.approx(1773.0, abs=1e-6)
    assert accumulate(degree_days(high, low, 50, 86)).total == pytest.approx(3180.30, abs=0.005)
    spring = record.window(date(2016, 1, 1), date(2016, 4, 30))
    high, low = spring.get("tmax") * 1.8 + 32, spring.get("tmin") * 1.8 + 32
    assert accumulate(degree_days(high, low, 48, method="simple")).total == pytest.approx(353.5, abs=1e-6)
    assert accumulate(degree_days(high, low, 48)).total == pytest.approx(469.09, abs=0.005)
    assert accumulate(degree_days(high, low, 32, method="simple")).total == pytest.approx(1370.0, abs=1e-6)


def test_hours_in_a_band_by_symmetry_of_the_curve() -> None:
    # A sine or triangle spends half the day on either side of its mean: no formula needed.
    for method in ("single_sine", "single_triangle"):
        assert hours_between(90, 50, 70, method=method) == pytest.approx(12.0)
        assert hours_between(90, 50, -np.inf, 70, method=method) == pytest.approx(12.0)
    assert hours_between(90, 50, 60, 80, method="single_triangle") == pytest.approx(12.0)
    assert hours_between(90, 50, 60, 80) == pytest.approx(8.0)  # arcsin(1/2) = 30 degrees on either side of four
