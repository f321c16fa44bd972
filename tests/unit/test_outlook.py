"""The outlook's stated rules: years, gaps, short records, draws, keyed noise, prices."""

from __future__ import annotations

import pickle
from datetime import date
from pathlib import Path

import numpy as np
import pytest

from sideoats.outlook import make_outlook
from sideoats.station import StationDays

ON = date(2020, 8, 10)
DATA = Path(__file__).parents[2].parent / "shared" / "data" / "weather" / "USW00003870.dly"


def record(first: int, last: int, *, name: str = "s", hole: tuple[date, int] | None = None) -> StationDays:
    """tmax is the year, so that a window tells where it came from."""
    start = date(first, 1, 1)
    days = (date(last, 12, 31) - start).days + 1
    years = np.array([(np.datetime64(start) + np.timedelta64(i, "D")).astype(object).year for i in range(days)], float)
    values = {"tmax": years.copy(), "tmin": years - 10, "rain": np.ones(days)}
    if hole:
        at = (hole[0] - start).days
        for v in values.values():
            v[at : at + hole[1]] = np.nan
    return StationDays(station=name, start=start, values=values)


def test_draws_are_past_years_from_this_day_on() -> None:
    out = make_outlook(ON, stations={"s": record(2000, 2020)}, draws=100, horizon=60)
    assert out.windows is not None and out.windows.years == tuple(range(2000, 2020))
    first_day = out.daily("tmax")[0, :, 0]
    assert first_day.tolist() == list(range(2000, 2020))
    counts = np.bincount(out.year_of_draw)
    assert counts.min() == counts.max() == 5  # 100 draws of 20 years: each exactly five times


def test_a_window_over_new_year_needs_its_whole_length() -> None:
    out = make_outlook(ON, stations={"s": record(2000, 2020)}, draws=10, horizon=270)
    assert out.windows is not None and out.windows.years[-1] == 2019
    assert out.daily("tmax")[0, 0, 0] == 2000 and out.daily("tmax")[0, 0, -1] == 2001


def test_years_with_too_many_gaps_are_left_out_and_named_and_small_gaps_are_filled_and_counted() -> None:
    poor = make_outlook(ON, stations={"s": record(2010, 2020, hole=(date(2015, 8, 12), 20))}, draws=10, horizon=60)
    assert poor.windows is not None and 2015 not in poor.windows.years
    assert any("2015" in n for n in poor.notes)
    small = make_outlook(ON, stations={"s": record(2010, 2020, hole=(date(2015, 8, 12), 3))}, draws=10, horizon=60)
    assert small.windows is not None and 2015 in small.windows.years
    assert not np.isnan(small.daily("tmax")).any()
    assert any("3 missing tmax days filled" in n for n in small.notes)


def test_a_short_record_takes_its_own_years_and_says_so() -> None:
    out = make_outlook(
        ON,
        stations={"long": record(2000, 2020, name="long"), "short": record(2015, 2020, name="short")},
        draws=50,
        horizon=60,
    )
    assert out.windows is not None and out.windows.stations[0] == "long"
    short = out.daily("tmax")[1, :, 0]
    assert set(short) <= set(range(2015, 2020)) and short[-1] == 2019
    assert any("picked from its own" in n for n in out.notes)


def test_leap_day() -> None:
    out = make_outlook(date(2020, 2, 29), stations={"s": record(2000, 2020)}, draws=10, horizon=30)
    assert out.windows is not None and len(out.windows.years) == 20


def test_no_station_and_an_unusable_one() -> None:
    assert not make_outlook(ON).has_weather
    assert not make_outlook(ON, stations={"s": record(2020, 2020)}).has_weather


def test_noise_is_keyed_by_name_and_place_and_nothing_else() -> None:
    out = make_outlook(ON, draws=64)
    both, one = out.normal("x", ["a", "b"]), out.normal("x", ["b"])
    assert np.array_equal(both[1], one[0]) and not np.array_equal(both[0], both[1])
    assert not np.array_equal(out.normal("x", ["a"]), out.normal("y", ["a"]))
    again = pickle.loads(pickle.dumps(out))
    assert np.array_equal(again.normal("x", ["a"]), both[:1])
    assert np.array_equal(again.price_ratio("wheat", [30]), out.price_ratio("wheat", [30]))


def test_prices_without_history_have_no_drift_and_the_stated_spread() -> None:
    out = make_outlook(ON, draws=20_000)
    ratio = out.price_ratio("wheat", [0, 182.625, 365.25])
    assert np.all(ratio[:, 0] == 1)
    assert ratio.mean(axis=0) == pytest.approx([1, 1, 1], abs=0.01)
    assert np.log(ratio[:, 2]).std() == pytest.approx(0.30, rel=0.03)
    assert np.log(ratio[:, 1]).std() == pytest.approx(0.30 / np.sqrt(2), rel=0.03)
    other = out.price_ratio("soybean", [365.25])[:, 0]
    assert np.corrcoef(np.log(ratio[:, 2]), np.log(other))[0, 1] == pytest.approx(0.4, abs=0.03)


@pytest.mark.skipif(not DATA.exists(), reason="the shared GHCN-Daily file is not beside this checkout")
def test_a_real_station() -> None:
    from sideoats.intake.ghcn_daily import read_ghcn_daily

    found = read_ghcn_daily(DATA)
    out = make_outlook(date(2012, 8, 10), stations={found.station: found}, draws=500, horizon=60)
    assert out.windows is not None and len(out.windows.years) >= 45
    august = out.daily("tmax")[0, :, :20].mean()
    assert 28 < august < 34  # upland South Carolina in August
