"""A CSV of any shape through a mapping; hostile content gives one line and loses nothing else."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from sideoats.errors import InputError, UnitError
from sideoats.intake.station_csv import read_station_csv
from sideoats.station import StationDays, StationHours

DAILY: dict[str, Any] = {
    "station": {"id": "home-farm", "latitude": 41.2, "elevation": "1250 ft", "wind_height": "2 m"},
    "time": {"column": "day"},
    "columns": {
        "tmax": {"column": "high", "unit": "degF"},
        "rain": {"column": "rain", "unit": "inch"},
        "solar": {"column": "sun", "unit": "W/m**2"},
    },
}


def write(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "weather.csv"
    path.write_text(text, encoding="utf-8")
    return path


def test_units_gaps_and_missing_cells(tmp_path: Path) -> None:
    text = "\ufeffday,high,rain,sun\n2024-02-28,50,0.10,250\n2024-03-01,212,NA,\n2024-03-02,-999,,\n"
    days = read_station_csv(write(tmp_path, text), DAILY)
    assert isinstance(days, StationDays)
    assert (days.start, days.end, days.elevation_m, days.wind_height_m) == (
        date(2024, 2, 28), date(2024, 3, 2), pytest.approx(381.0), 2.0,
    )  # fmt: skip
    np.testing.assert_allclose(days.get("tmax"), [10, np.nan, 100, np.nan])
    np.testing.assert_allclose(days.get("rain"), [2.54, np.nan, np.nan, np.nan])
    np.testing.assert_allclose(days.get("solar"), [21.6, np.nan, np.nan, np.nan])
    assert [str(t) for t in days.missing("tmax")] == ["2024-02-29", "2024-03-02"]


@pytest.mark.parametrize(
    ("row", "reason"),
    [
        ("2024-02-30,50,0,0", "line 3: its time cannot be read"),
        ("9999-01-01,50,0,0", "line 3: its time cannot be read (year 9999"),
        ("2024-01-02,1e309,0,0", "line 3: tmax '1e309' is not a number"),
        ("2024-01-02,NaN(0),0,0", "line 3: tmax 'NaN(0)' is not a number"),
        ("2024-01-02,=2+3,0,0", "line 3: tmax '=2+3' is not a number"),
        ("2024-01-02,50,0", "line 3: has 3 cells; the header has 4"),
        ("2024-01-02T05:00,50,0,0", "line 3: its time cannot be read (2024-01-02T05:00:00 is not on the step"),
        ("'; DROP TABLE entries; --,50,0,0", "line 3: its time cannot be read"),
    ],
)
def test_a_hostile_row_is_named(tmp_path: Path, row: str, reason: str) -> None:
    days = read_station_csv(write(tmp_path, f"day,high,rain,sun\n2024-01-01,41,0,0\n{row}\n"), DAILY)
    assert days.get("tmax")[0] == pytest.approx(5.0)
    assert len(days.rejected) == 1
    assert str(days.rejected[0]).startswith(reason)


def test_a_second_value_for_the_same_day_is_set_aside(tmp_path: Path) -> None:
    days = read_station_csv(write(tmp_path, "day,high,rain,sun\n2024-01-01,41,0,0\n2024-01-01,50,0,0\n"), DAILY)
    np.testing.assert_allclose(days.get("tmax"), [5.0])
    assert [a.reason for a in days.set_aside] == ["a second value for the same time"]


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"columns": {"tmax": {"column": "high", "unit": "mm"}}}, "columns.tmax: 'mm' is not a unit of that kind"),
        ({"columns": {"tmax": {"column": "high"}}}, "columns.tmax: lacks its column or its unit"),
        ({"columns": {"warmth": {"column": "high", "unit": "degF"}}}, "columns.warmth: is not a weather variable"),
        ({"columns": {"tmax": {"column": "tx", "unit": "degF"}}}, "has no column 'tx'"),
        ({"columns": {"solar": {"column": "sun", "unit": "mm"}}}, "columns.solar"),
        ({"time": {"parts": ["day"]}}, "time.parts names 1 columns"),
        ({"time": {}}, "has no [time]"),
        ({"tempo": "day"}, "'tempo' is not a key"),
        ({"step": "week"}, "step = 'week'"),
        ({"station": {"latitude": "north"}}, "station.latitude = 'north'"),
        ({"only": {"origin": "EWR"}}, "has no column 'origin'"),
    ],
)
def test_a_mapping_that_does_not_fit_is_one_clear_line(tmp_path: Path, change: dict[str, Any], message: str) -> None:
    with pytest.raises(InputError) as error:
        read_station_csv(write(tmp_path, "day,high,rain,sun\n2024-01-01,41,0,0\n"), DAILY | change)
    assert message in str(error.value)
    assert "\n" not in str(error.value)


def test_wrong_unit_is_a_unit_error(tmp_path: Path) -> None:
    with pytest.raises(UnitError):
        bad = DAILY | {"columns": {"tmax": {"column": "high", "unit": "furlong"}}}
        read_station_csv(write(tmp_path, "day,high\n2024-01-01,41\n"), bad)


def test_binary_and_empty_files(tmp_path: Path) -> None:
    path = tmp_path / "weather.csv"
    for content, message in ((b"\xff\xfe\x00", "not UTF-8"), (b"day\0,high", "NUL"), (b"", "is empty")):
        path.write_bytes(content)
        with pytest.raises(InputError, match=message):
            read_station_csv(path, DAILY)


def test_hourly_with_parts_comment_units_row_and_filter(tmp_path: Path) -> None:
    mapping = tmp_path / "map.toml"
    mapping.write_text(
        'step = "hour"\ndelimiter = ";"\ncomment = "#"\nunits_row = true\nmissing = ["", "x"]\n'
        '[station]\nid = "s"\nutc_offset = -6\n[only]\nsite = "A"\n[time]\nparts = ["y", "m", "d", "h"]\n'
        '[columns.wind]\ncolumn = "w"\nunit = "mph"\n[columns.humidity]\ncolumn = "rh"\nunit = "percent"\n',
        encoding="utf-8",
    )
    text = "# made up\nsite;y;m;d;h;w;rh\n;;;;;mph;%\nA;2024;1;1;0;10;50\nB;2024;1;1;1;99;99\nA;2024;1;1;3;x;80\n"
    hours = read_station_csv(write(tmp_path, text), mapping)
    assert isinstance(hours, StationHours)
    assert (hours.start, hours.utc_offset_hours, len(hours)) == (datetime(2024, 1, 1), -6.0, 4)
    np.testing.assert_allclose(hours.get("wind"), [4.4704, np.nan, np.nan, np.nan])
    np.testing.assert_allclose(hours.get("humidity"), [0.5, np.nan, np.nan, 0.8])


def test_seasons_stand_side_by_side(tmp_path: Path) -> None:
    rows = "".join(f"{np.datetime64('2022-03-01') + i},{32 + 1.8 * (i % 365)},0,0\n" for i in range(800))
    days = read_station_csv(write(tmp_path, "day,high,rain,sun\n" + rows), DAILY)
    assert isinstance(days, StationDays)
    years, table = days.seasons("tmax", 2, 29, 10)
    assert years.tolist() == [2022, 2023, 2024]
    np.testing.assert_allclose(table[0], np.arange(10.0), atol=1e-9)
    np.testing.assert_allclose(table[1], np.arange(10.0), atol=1e-9)
    assert table[2][0] == pytest.approx(0.0) and table.shape == (3, 10)
    with pytest.raises(InputError, match="has no day from"):
        days.window(date(1990, 1, 1), date(1990, 2, 1))


LOGGER: dict[str, Any] = {
    "step": "hour",
    "skip": 2,
    "station": {"id": "ridge", "utc_offset": -6},
    "time": {"columns": ["Date", "Time"], "stamps": "end"},
    "columns": {
        "temperature": {"column": "T", "unit": "degF"}, "rain": {"column": "R", "unit": "inch"},
        "gust": {"column": "G", "unit": "mph"},
    },
}  # fmt: skip


def test_a_logger_of_quarter_hours_with_a_clock_of_twelve(tmp_path: Path) -> None:
    rows = ["Logger 7", "downloaded today", "Date;Time;T;R;G"]
    start = datetime(2026, 7, 1)
    for i in range(1, 97):
        when = start + timedelta(minutes=15 * i)
        rows.append(f"{when:%m/%d/%Y};{when:%I:%M:%S %p};{50 + i % 4};{0.01};{i % 7}")
    path = write(tmp_path, "\r\n".join(rows) + "\r\n")
    hours = read_station_csv(path, LOGGER)
    assert isinstance(hours, StationHours)
    assert (hours.start, len(hours), hours.rejected) == (
        start,
        24,
        (),
    )  # the reading of midnight ends the day before it
    np.testing.assert_allclose(hours.get("temperature")[0], (51.5 - 32) / 1.8)
    np.testing.assert_allclose(hours.get("rain"), 0.04 * 25.4)
    day = hours.to_days()
    assert (day.start, len(day)) == (date(2026, 7, 1), 1) and day.get("rain")[0] == pytest.approx(0.96 * 25.4)
    assert day.get("gust")[0] == pytest.approx(6 * 0.44704)


def test_a_time_that_says_its_zone_becomes_local_standard_time(tmp_path: Path) -> None:
    text = "when,T\n2026-07-01T05:30:00+00:00,50\n2026-07-01T01:15:00-05:00,60\n"
    rules = {
        **LOGGER,
        "skip": 0,
        "time": {"column": "when"},
        "columns": {"temperature": {"column": "T", "unit": "degF"}},
    }
    hours = read_station_csv(write(tmp_path, text), rules)
    assert isinstance(hours, StationHours) and (hours.start, len(hours)) == (datetime(2026, 6, 30, 23), 2)
    utc = {**rules, "time": {"column": "when", "zone": 0}}
    hours = read_station_csv(write(tmp_path, "when,T\n2026-07-01 05:30,50\n"), utc)
    assert isinstance(hours, StationHours) and hours.start == datetime(2026, 6, 30, 23)
    with pytest.raises(InputError, match=r"give station\.utc_offset"):
        read_station_csv(write(tmp_path, text), {**rules, "station": {"id": "x"}})


def test_a_daily_reading_of_the_morning_is_of_the_day_before(tmp_path: Path) -> None:
    rules = {**DAILY, "time": {"column": "day", "observed": "morning"}}
    days = read_station_csv(write(tmp_path, "day,high,rain,sun\n2024-01-02,50,0.1,100\n"), rules)
    assert isinstance(days, StationDays) and days.start == date(2024, 1, 1)
    assert days.get("tmax")[0] == pytest.approx(10) and np.isnan(days.get("solar")[0])
