"""Effective rain and runoff against tabulated and worked values."""

from __future__ import annotations

import numpy as np
import pytest

from sideoats.weather import rainfall

MM = 25.4


@pytest.mark.parametrize(
    ("rain", "number", "expected", "source"),
    [
        (8.0, 80, 5.625, "worked answer, Univ. of Nairobi question 18403837 (read)"),
        (5.0, 80, 2.89, "NRCS TR-55 table 2-1 (memory)"),
        (6.0, 75, 3.28, "NRCS TR-55 table 2-1 (memory)"),
        (4.0, 90, 2.92, "NRCS TR-55 table 2-1 (memory)"),
        (3.0, 70, 0.71, "NRCS TR-55 table 2-1 (memory)"),
        (2.5, 75, 0.65, "NRCS TR-55 table 2-1 (memory)"),
        (1.0, 85, 0.17, "NRCS TR-55 table 2-1 (memory)"),
        (0.5, 60, 0.0, "NRCS TR-55 table 2-1 (memory)"),
    ],
)
def test_runoff_by_curve_number(rain: float, number: float, expected: float, source: str) -> None:
    assert rainfall.runoff(rain * MM, number) / MM == pytest.approx(expected, abs=0.0051), source


def test_initial_abstraction() -> None:
    # 0.2 S in inches for curve numbers 60 to 90 as tabulated in TR-55 table 4-1 (memory)
    found = 0.2 * rainfall.storage_from_curve_number([60, 70, 75, 80, 85, 90]) / MM
    assert found == pytest.approx([1.333, 0.857, 0.667, 0.500, 0.353, 0.222], abs=5.1e-4)


def test_effective_rain_of_the_soil_conservation_service() -> None:
    # (rain, crop use, storage in inches): recomputed outside the project from NRCS NEH 623 chapter 2
    for rain, use, storage, expected in ((4, 6, 3, 2.949), (2, 5, 3, 1.508), (3, 8, 2, 2.361)):
        found = rainfall.effective_monthly(rain * MM, crop_et=use * MM, storage=storage * MM)
        assert found / MM == pytest.approx(expected, abs=1e-3)


def test_simple_and_dependable_rain() -> None:
    simple = rainfall.effective_monthly(np.array([20, 50, 100, 150, 260]), method="usda_simple")
    assert simple == pytest.approx([19.36, 46.0, 84.0, 114.0, 151.0])
    sure = rainfall.effective_monthly(np.array([20, 50, 75, 100, 150]), method="fao_dependable")
    assert sure == pytest.approx([2, 20, 35, 55, 95])
