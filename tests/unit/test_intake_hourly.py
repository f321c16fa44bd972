"""USCRN daily, ISD-Lite and LCD files: units, missing codes, cut lines, days made of hours."""

from __future__ import annotations

import re
from datetime import date, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from sideoats.errors import InputError
from sideoats.intake.isd_lite import read_isd_lite
from sideoats.intake.lcd import read_lcd, read_lcd_days
from sideoats.intake.taken import find_format, formats
from sideoats.intake.uscrn import read_uscrn_daily
from sideoats.station import Flag

USCRN = (
    "94996 {day}  2.422  -96.85   40.70    {tmax}    -5.0     2.5     2.4     1.2    {sun} C    15.0    -6.0     3.2"
    "    95.1    35.0    70.2   0.250   0.240   0.230   0.210   0.200     2.0     2.1     2.2     3.0     4.0"
)
ISD = "2024 07 {day:02d} {hour:02d} {t:5d} {td:5d} 10132   180 {wind:5d}     0 {rain:5d} -9999"


def write(tmp_path: Path, lines: list[str], name: str) -> Path:
    path = tmp_path / name
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def test_uscrn_daily(tmp_path: Path) -> None:
    lines = [
        USCRN.format(day="20240101", tmax="   10.1", sun="   9.80"),
        USCRN.format(day="20240103", tmax="-9999.0", sun="-9999.00"),
        USCRN.format(day="20240230", tmax="   10.1", sun="   9.80"),
        USCRN.format(day="20240104", tmax="   1e99", sun="    nan"),
        USCRN.format(day="20240105", tmax="   10.1", sun="   9.80")[:90],
    ]
    days = read_uscrn_daily(write(tmp_path, lines, "CRND0103-2024.txt"))
    assert (days.station, days.start, days.end) == ("94996", date(2024, 1, 1), date(2024, 1, 4))
    assert (days.latitude, days.longitude, days.wind_height_m) == (40.70, -96.85, 1.5)
    np.testing.assert_allclose(days.get("tmax"), [10.1, np.nan, np.nan, 1e99])
    np.testing.assert_allclose(days.get("humidity_max")[[0, 2]], 0.951)
    np.testing.assert_allclose(days.get("solar"), [9.8, np.nan, np.nan, np.nan])
    assert [str(r)[:30] for r in days.rejected] == [
        "line 5: is cut: 11 fields; a l", "line 3: '20240230' is not a ca", "line 4: solar 'nan' is not a n",
    ]  # fmt: skip
    with pytest.raises(InputError, match="holds no usable value"):
        read_uscrn_daily(write(tmp_path, ["only three fields"], "x.txt"))


def test_isd_lite(tmp_path: Path) -> None:
    lines = [
        ISD.format(day=1, hour=0, t=251, td=152, wind=31, rain=0),
        ISD.format(day=1, hour=1, t=-9999, td=-11, wind=-9999, rain=-1),
        ISD.format(day=1, hour=3, t=-5, td=-11, wind=0, rain=25),
        ISD.format(day=32, hour=0, t=251, td=152, wind=31, rain=0),
        ISD.format(day=2, hour=0, t=251, td=152, wind=31, rain=0)[:40],
        "2024 07 02 01 x y z 1 2 3 4 5",
    ]
    hours = read_isd_lite(write(tmp_path, lines, "725555-14939-2024"))
    assert (hours.station, hours.start, hours.utc_offset_hours) == ("725555-14939", datetime(2024, 7, 1), 0.0)
    np.testing.assert_allclose(hours.get("temperature"), [25.1, np.nan, np.nan, -0.5])
    np.testing.assert_allclose(hours.get("dewpoint"), [15.2, -1.1, np.nan, -1.1])
    np.testing.assert_allclose(hours.get("wind"), [3.1, np.nan, np.nan, 0.0])
    np.testing.assert_allclose(hours.get("rain"), [0.0, 0.0, np.nan, 2.5])
    assert hours.flags["rain"].tolist() == [0, Flag.TRACE, Flag.ABSENT, 0]
    assert [r.line for r in hours.rejected] == [4, 5, 6]


def lcd(rows: list[str], tmp_path: Path, name: str = "lcd.csv") -> Path:
    header = (
        '"STATION","DATE","REPORT_TYPE","HourlyDryBulbTemperature","HourlyPrecipitation","HourlyStationPressure",'
        '"HourlyWindDirection","HourlyWindSpeed","HourlyRelativeHumidity"'
    )
    return write(tmp_path, [header, *rows], name)


def test_lcd(tmp_path: Path) -> None:
    rows = [
        '"Z1","2024-07-01T00:53:00","FM-15","86","T","28.65","180","10","45"',
        '"Z1","2024-07-01T01:20:00","FM-16","85","","28.66","180","11","46"',
        '"Z1","2024-07-01T01:53:00","FM-15","84s","0.10","28.66","VRB","*","46"',
        '"Z1","2024-07-01T02:53:00","FM-15","hot","0.00","28.66","170","5","46"',
        '"Z1","2024-07-01T23:59:00","SOD  ","","","","","",""',
        '"Z1","2024-13-01T02:53:00","FM-15","80","0.00","28.66","170","5","46"',
        '"Z1","2024-07-01T03:53:00","FM-15"',
    ]
    hours = read_lcd(lcd(rows, tmp_path))
    assert (hours.station, hours.start) == ("Z1", datetime(2024, 7, 1, 0))  # a report stays in the hour it was made in
    np.testing.assert_allclose(hours.get("temperature"), [30.0, np.nan, np.nan])
    np.testing.assert_allclose(hours.get("rain"), [0.0, 2.54, 0.0])
    np.testing.assert_allclose(hours.get("wind"), [4.4704, np.nan, 2.2352])
    np.testing.assert_allclose(hours.get("humidity"), [0.45, 0.46, 0.46])
    assert [(a.variable, a.reason) for a in hours.set_aside] == [("temperature", "marked as suspect by the publisher")]
    assert [(n.code, *(v.amount for v in n.values.values() if v.kind in "nt")) for n in hours.notes] == [
        ("take.units.told",), ("take.passed", 1, "FM-16"),
    ]  # fmt: skip
    assert [r.line for r in hours.rejected] == [8, 7, 5]
    metric = read_lcd(lcd(['"Z1","2024-07-01T00:53:00","FM-15","30","0.0","970.2","180","4.5","45"'], tmp_path))
    assert metric.get("temperature")[0] == 30.0
    with pytest.raises(InputError, match="does not tell its units"):
        read_lcd(lcd(['"Z1","2024-07-01T00:53:00","FM-15","30","0.0","","180","4.5","45"'], tmp_path))


def test_the_day_of_a_climatological_file_is_the_official_one(tmp_path: Path) -> None:
    """Days rebuilt of hours were up to 5.8 degF too warm at night and lost a tenth of the rain."""
    header = ('"STATION","DATE","REPORT_TYPE","HourlyDryBulbTemperature","HourlyPrecipitation","HourlyStationPressure",'
              '"DailyMaximumDryBulbTemperature","DailyMinimumDryBulbTemperature","DailyPrecipitation"')  # fmt: skip
    rows = [
        f'"Z1","2024-07-0{d}T{h:02d}:53:00","FM-15","{60 + h}","0.01","28.65","","",""'
        for d in (1, 2)
        for h in range(24)
    ]
    rows += ['"Z1","2024-07-01T23:59:00","SOD  ","","","","91","55","0.75"']
    days = read_lcd_days(write(tmp_path, [header, *rows], "lcd.csv"))
    assert (days.start, days.end) == (date(2024, 7, 1), date(2024, 7, 2))  # the report of 23:53 opens no third day
    np.testing.assert_allclose(days.get("tmax"), [(91 - 32) / 1.8, (83 - 32) / 1.8])
    np.testing.assert_allclose(days.get("tmin"), [(55 - 32) / 1.8, (60 - 32) / 1.8])
    np.testing.assert_allclose(days.get("rain"), [0.75 * 25.4, 24 * 0.254])
    names = {
        "REPORT_TYPE": "REPORTTPYE",
        "HourlyDryBulbTemperature": "HOURLYDRYBULBTEMPF",
        "HourlyPrecipitation": "HOURLYPrecip",
        "DailyMaximumDryBulbTemperature": "DAILYMaximumDryBulbTemp",
    }
    old = [re.sub("|".join(names), lambda found: names[found[0]], header)]
    old += [re.sub(r"2024-07-01T(\d\d:\d\d):00", r"7/1/2024 \1", row) for row in rows if "2024-07-01" in row]
    older = read_lcd_days(write(tmp_path, old, "lcd2017.csv"))
    assert older.get("tmax")[0] == pytest.approx((91 - 32) / 1.8) and older.start == date(2024, 7, 1)


def test_days_made_of_hours(tmp_path: Path) -> None:
    start = datetime(2024, 7, 1)
    lines = []
    for i in range(72):
        when = start + timedelta(hours=i)
        if 50 <= i < 60:
            continue
        row = ISD.format(day=when.day, hour=when.hour, t=200 + when.hour, td=100, wind=20, rain=10)
        lines.append(row)
    hours = read_isd_lite(write(tmp_path, lines, "1-2-2024"))
    days = hours.to_days()
    np.testing.assert_allclose(days.get("tmax"), [22.3, 22.3, np.nan])
    np.testing.assert_allclose(days.get("tmin"), [20.0, 20.0, np.nan])
    np.testing.assert_allclose(days.get("rain"), [24.0, 24.0, np.nan])
    west = hours.to_days(-6)
    assert west.start == date(2024, 6, 30) and len(west) == 4
    np.testing.assert_allclose(west.get("tmax"), [np.nan, 22.3, 22.3, np.nan])  # the third day has just 20 hours


def test_every_station_format_can_be_taken(tmp_path: Path) -> None:
    assert {"ghcn-daily", "station-csv", "uscrn-daily", "isd-lite", "lcd"} <= set(formats())
    lines = [USCRN.format(day=f"202401{d:02d}", tmax="   10.1", sun="   9.80") for d in range(1, 11)]
    taken = find_format("uscrn-daily").read(write(tmp_path, lines, "x.txt"), {"place": "home", "station": None})
    assert [d.kind for d in taken.drafts] == ["place", "station_days"]
    assert taken.drafts[1].body["tmax"] == [10.1] * 10
    lines = [ISD.format(day=1, hour=h, t=200, td=100, wind=20, rain=0) for h in range(24)]
    taken = find_format("isd-lite").read(write(tmp_path, lines, "1-2-2024"), {"place": None, "utc_offset": 0.0})
    assert taken.drafts[1].body["tmin"] == [20.0]
