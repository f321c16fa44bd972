"""Freezes of a real year, and probability rules against their definitions."""

from __future__ import annotations

from datetime import date, timedelta
from importlib.util import find_spec
from pathlib import Path

import numpy as np
import pytest

from sideoats.intake.ghcn_daily import read_ghcn_daily
from sideoats.weather import freeze

LINCOLN = find_spec("bokeh_sampledata")


@pytest.mark.skipif(LINCOLN is None, reason="bokeh-sampledata is not installed")
@pytest.mark.parametrize(
    ("fahrenheit", "spring", "fall", "between"),
    [  # read off the record by eye: GHCN station USW00094996, 2016
        (32, date(2016, 4, 12), date(2016, 10, 12), 182),
        (28, date(2016, 4, 9), date(2016, 11, 12), 216),
        (24, date(2016, 4, 9), date(2016, 11, 19), 223),
        (36, date(2016, 5, 14), date(2016, 10, 7), 145),
    ],
)
def test_freezes_at_lincoln_nebraska(fahrenheit: float, spring: date, fall: date, between: int) -> None:
    assert LINCOLN is not None and LINCOLN.origin is not None
    record = read_ghcn_daily(Path(LINCOLN.origin).parent / "_data" / "lincoln_weather.csv")
    threshold = (fahrenheit - 32) / 1.8
    first_half = record.window(date(2016, 1, 1), date(2016, 6, 1)).get("tmin")
    second_half = record.window(date(2016, 7, 1), date(2016, 12, 31)).get("tmin")
    last, first = freeze.last_freeze(first_half, threshold), freeze.first_freeze(second_half, threshold)
    last_day = date(2016, 1, 1) + timedelta(days=int(last.day))
    first_day = date(2016, 7, 1) + timedelta(days=int(first.day))
    assert (last_day, first_day) == (spring, fall)
    offset = (date(2016, 7, 1) - date(2016, 1, 1)).days
    assert freeze.season_days(last.day, first.day + offset) == between


def test_normal_dates_of_thom_and_shaw() -> None:
    # mean + z s with z(0.1) = -1.2816, z(0.9) = 1.2816 (standard normal table)
    days = np.array([90.0, 100.0, 110.0])
    found = freeze.freeze_chances(
        freeze.FreezeDays(days, np.zeros(3, bool), np.zeros(3, bool)), (0.1, 0.5, 0.9), method="normal"
    )
    assert found.days == pytest.approx([100 - 12.816, 100, 100 + 12.816], abs=1e-3)


def test_gringorten_plotting_positions() -> None:
    # (i - 0.44) / (n + 0.12): the median of an odd number of years is its middle year
    days = np.array([80.0, 95.0, 120.0])
    found = freeze.freeze_chances(freeze.FreezeDays(days, np.zeros(3, bool), np.zeros(3, bool)), (0.56 / 3.12, 0.5))
    assert found.days == pytest.approx([80.0, 95.0])


def test_vernalisation_response_at_its_cardinal_temperatures() -> None:
    # Wang and Engel 1998: 0 at minimum and maximum, 1 at the optimum
    assert freeze.vernalisation_rate(
        [-1.3, 4.9, 15.7, -5.0, 20.0], minimum=-1.3, optimum=4.9, maximum=15.7
    ) == pytest.approx([0, 1, 0, 0, 0], abs=1e-12)
