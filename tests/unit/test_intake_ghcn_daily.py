"""The three layouts of GHCN-Daily: what is kept, what is set aside, what is refused, each with its reason."""

from __future__ import annotations

import gzip
import json
from datetime import date
from pathlib import Path

import numpy as np
import pytest

from sideoats.errors import InputError
from sideoats.intake.ghcn_daily import read_ghcn_daily, stations_in
from sideoats.station import Flag

REAL = Path(__file__).parents[2].parent / "shared" / "data" / "weather" / "USW00003870.dly"
real = pytest.mark.skipif(not REAL.exists(), reason="../shared/data is not beside the project")


def line(element: str, values: dict[int, tuple[int, str]], station: str = "ZZ000000001", month: str = "202401") -> str:
    """A .dly line: day -> (value, three marks)."""
    blocks = "".join(f"{values.get(d, (-9999, '   '))[0]:5d}{values.get(d, (0, '   '))[1]:3s}" for d in range(1, 32))
    return f"{station}{month}{element}{blocks}"


def write(tmp_path: Path, text: str, name: str = "a.dly") -> Path:
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    return path


def test_values_units_and_marks(tmp_path: Path) -> None:
    text = "\n".join(
        [
            line("TMAX", {1: (289, "  X"), 2: (-11, "  X"), 4: (999, " GX")}),
            line("PRCP", {1: (0, "T X"), 2: (113, "  X"), 3: (0, "P X")}),
            line("SNWD", {2: (51, "  X")}),
            line("AWND", {2: (26, "  X")}),
        ]
    )
    days = read_ghcn_daily(write(tmp_path, text))
    assert (days.station, days.start, days.end) == ("ZZ000000001", date(2024, 1, 1), date(2024, 1, 3))
    np.testing.assert_array_equal(days.get("tmax"), [28.9, -1.1, np.nan])
    np.testing.assert_array_equal(days.get("rain"), [0.0, 11.3, 0.0])
    np.testing.assert_array_equal(days.get("snow_depth"), [np.nan, 51.0, np.nan])
    np.testing.assert_array_equal(days.get("wind"), [np.nan, 2.6, np.nan])
    assert days.flags["rain"].tolist() == [Flag.TRACE, 0, Flag.PRESUMED_ZERO]
    assert [(a.when, a.text, a.reason) for a in days.set_aside] == [("2024-01-04", "99.9", "failed a gap check")]
    assert np.isnan(days.get("solar")).all()


def test_an_amount_of_several_days_is_never_spread(tmp_path: Path) -> None:
    text = line("PRCP", {1: (10, "   "), 5: (20, "   ")}) + "\n" + line("MDPR", {4: (381, "   ")})
    days = read_ghcn_daily(write(tmp_path, text))
    np.testing.assert_array_equal(days.get("rain"), [1.0, np.nan, np.nan, np.nan, 2.0])
    assert days.flags["rain"][3] == Flag.ABSENT | Flag.ACCUMULATED
    assert [(a.variable, a.text) for a in days.set_aside] == [("rain", "38.1 mm")]


@pytest.mark.parametrize(
    ("bad", "reason"),
    [
        (line("TMAX", {1: (100, "   ")})[:143], "line 2: is cut or overlong: 143 characters; a line has 269"),
        (line("TMAX", {1: (100, "   ")}, month="202413"), "line 2: '202413' is not a year and month"),
        (line("TMAX", {1: (100, "   ")}, month="000001"), "line 2: '000001' is not a year and month"),
        (line("TMAX", {1: (100, "   ")}).replace("  100", "1e309"), "line 2: TMAX of day 1 is '1e309'"),
        (line("TMAX", {1: (100, "   ")}).replace("  100", "1 00 "), "line 2: TMAX of day 1 is '1 00 '"),
        (line("TMIN", {1: (5, "   ")}), "line 2: TMIN of 2024-01 stands in the file a second time"),
        ("=cmd|' /C calc'!A0", "line 2: is cut or overlong: 18 characters"),
    ],
)
def test_a_bad_line_is_named_and_the_others_are_kept(tmp_path: Path, bad: str, reason: str) -> None:
    good = line("TMIN", {2: (5, "   "), 3: (6, "   ")})
    days = read_ghcn_daily(write(tmp_path, good + "\n" + bad + "\n"))
    np.testing.assert_array_equal(days.get("tmin"), [0.5, 0.6])
    assert len(days.rejected) == 1
    assert str(days.rejected[0]).startswith(reason)


def test_a_day_that_the_month_does_not_have_is_set_aside(tmp_path: Path) -> None:
    days = read_ghcn_daily(write(tmp_path, line("TMAX", {28: (10, "   "), 30: (70, "   ")}, month="202302")))
    assert days.end == date(2023, 2, 28)
    assert days.set_aside[0].reason == "day 30 is not in 2023-02"


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "is empty"),
        ("  \n \n", "is empty"),
        ("ZZ00000000120240", "line 1: is cut"),
        (line("WT01", {1: (1, "   ")}), "holds no usable value"),
        (
            line("TMAX", {1: (1, "   ")}) + "\n" + line("TMAX", {1: (1, "   ")}, station="ZZ000000002"),
            "holds 2 stations",
        ),
    ],
)
def test_a_file_without_a_record_is_one_clear_line(tmp_path: Path, text: str, message: str) -> None:
    with pytest.raises(InputError) as error:
        read_ghcn_daily(write(tmp_path, text))
    assert message in str(error.value)
    assert "\n" not in str(error.value)


def test_one_of_several_stations_can_be_named(tmp_path: Path) -> None:
    text = line("TMAX", {1: (10, "   ")}) + "\n" + line("TMAX", {1: (20, "   ")}, station="ZZ000000002")
    path = write(tmp_path, text)
    assert stations_in(path) == ["ZZ000000001", "ZZ000000002"]
    assert read_ghcn_daily(path, station="ZZ000000002").get("tmax").tolist() == [2.0]
    with pytest.raises(InputError, match="has no station 'nowhere'"):
        read_ghcn_daily(path, station="nowhere")


def test_the_file_may_be_packed_and_must_exist(tmp_path: Path) -> None:
    packed = tmp_path / "a.dly.gz"
    packed.write_bytes(gzip.compress(line("TMAX", {1: (10, "   ")}).encode()))
    assert read_ghcn_daily(packed).get("tmax").tolist() == [1.0]
    packed.write_bytes(packed.read_bytes()[:20])
    with pytest.raises(InputError, match="cannot be read"):
        read_ghcn_daily(packed)
    with pytest.raises(InputError, match=r"b\.dly: cannot be read"):
        read_ghcn_daily(tmp_path / "b.dly")


def test_csv_without_header(tmp_path: Path) -> None:
    text = (
        "ZZ000000001,20240101,TMAX,289,,,X,\n"
        "ZZ000000001,20240102,TMAX,999,,X,X,0700\n"
        "ZZ000000001,20240103,TMAX,250,,,X\n"
        "ZZ000000001,20240230,TMAX,250,,,X\n"
        "ZZ000000001,20240104,TMAX,NaN,,,X\n"
        "ZZ000000001,20240104\n"
        "ZZ000000001,20240103,PRCP,0,T,,X\n"
    )
    days = read_ghcn_daily(write(tmp_path, text, "a.csv"))
    np.testing.assert_array_equal(days.get("tmax"), [28.9, np.nan, 25.0])
    assert days.flags["tmax"].tolist() == [0, Flag.ABSENT, 0]  # read at seven: of the day before
    assert [r.line for r in days.rejected] == [6, 4, 5]
    assert "not a calendar date" in str(days.rejected[1])


def season(days: int, first: str = "2024-01-01") -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Made-up days of a mid-latitude station: highest and lowest temperature [degC] and rain [mm], to a tenth."""
    rng = np.random.default_rng(3)
    day = np.arange(days) + (np.datetime64(first) - np.datetime64("2024-01-01")).astype(int)
    mean = (
        12
        - 14 * np.cos(2 * np.pi * (day - 15) / 365.25)
        + np.convolve(rng.normal(0, 4, days + 2), [0.3, 0.4, 0.3], "valid")
    )
    high, low = mean + 6 + rng.normal(0, 1.5, days), mean - 6 + rng.normal(0, 1.5, days)
    return high.round(1), low.round(1), np.where(rng.random(days) < 0.25, rng.gamma(0.8, 9, days), 0).round(1)


def access(system: str, days: int = 400, first: str = "2024-01-01") -> str:
    """The same days as each system prints them."""
    high, low, rain = season(days, first)
    if system == "tenths":
        cells = [[f"{v * 10:.0f}" for v in x] for x in (high, low, rain)]
    elif system == "metric":
        cells = [[f"{v:.1f}" for v in x] for x in (high, low, rain)]
    else:
        cells = [[f"{v * 1.8 + 32:.0f}" for v in x] for x in (high, low)] + [[f"{v / 25.4:.2f}" for v in rain]]
    rows = [
        f'"ZZ000000001","{np.datetime64(first) + i}","41.5","-97.25","380.1","HILL, ZZ","{a}","{b}","{c}"'
        for i, (a, b, c) in enumerate(zip(*cells, strict=True))
    ]
    return "\n".join(['"STATION","DATE","LATITUDE","LONGITUDE","ELEVATION","NAME","TMAX","TMIN","PRCP"', *rows])


@pytest.mark.parametrize("system", ["tenths", "metric", "imperial"])
@pytest.mark.parametrize(
    ("days", "first"), [(400, "2023-05-01"), (60, "2024-01-01"), (60, "2024-07-01"), (45, "2024-04-01")]
)
def test_units_that_the_file_does_not_say_are_told_by_all_its_columns(
    tmp_path: Path, system: str, days: int, first: str
) -> None:
    """A winter in tenths once became 48 m of rain, and one in degF highs of 53 degC."""
    record = read_ghcn_daily(write(tmp_path, access(system, days, first), "a.csv"))
    high, low, rain = season(days, first)
    near = 0.5 if system == "imperial" else 1e-9
    np.testing.assert_allclose(record.get("tmax"), high, atol=near)
    np.testing.assert_allclose(record.get("tmin"), low, atol=near)
    np.testing.assert_allclose(record.get("rain"), rain, atol=0.2 if system == "imperial" else 1e-9)
    assert (record.latitude, record.longitude, record.elevation_m, record.name) == (41.5, -97.25, 380.1, "HILL, ZZ")
    assert record.notes[0].code == "take.units.found"


def test_units_that_cannot_be_told_are_asked_for(tmp_path: Path) -> None:
    text = "\n".join(access("imperial").split("\n")[:4])
    path = write(tmp_path, text, "d.csv")
    with pytest.raises(InputError, match=r"does not say its units.*give units="):
        read_ghcn_daily(path)
    told = read_ghcn_daily(path, units="imperial")
    assert told.get("tmax")[0] == pytest.approx(season(400)[0][0], abs=0.5) and told.notes[0].code == "take.units.told"
    assert read_ghcn_daily(path, units="us").get("tmax")[0] == told.get("tmax")[0]
    with pytest.raises(InputError, match="is not a unit system"):
        read_ghcn_daily(path, units="kelvin")


def test_columns_in_any_order_with_marks_blanks_and_other_line_ends(tmp_path: Path) -> None:
    text = ('PRCP_ATTRIBUTES,PRCP,TMIN,TMIN_ATTRIBUTES,TMAX,DATE,STATION\r\n'
            '"T,,N","  0.0"," -1.1 ",",,N",  5.6,2024-01-01,Z1\r\n,12.7,-9999,,M,1/2/2024,Z1\r\n'
            ',,-3.0,",I,N",7.0,20240103,Z1\r\n')  # fmt: skip
    path = tmp_path / "wide.csv"
    path.write_bytes(b"\xef\xbb\xbf" + text.encode())
    days = read_ghcn_daily(path, units="metric")
    np.testing.assert_array_equal(days.get("tmax"), [5.6, np.nan, 7.0])
    np.testing.assert_array_equal(days.get("tmin"), [-1.1, np.nan, np.nan])
    np.testing.assert_array_equal(days.get("rain"), [0.0, 12.7, np.nan])
    assert days.flags["rain"][0] == Flag.TRACE and days.set_aside[0].text == "-3"


def test_an_answer_in_json_is_read_as_its_table(tmp_path: Path) -> None:
    rows = [
        {
            "DATE": str(np.datetime64("2024-01-01") + i),
            "STATION": "Z1",
            "TMAX": f"  {h}",
            "TMIN": f"{t}",
            "PRCP": f"{r}",
        }
        for i, (h, t, r) in enumerate(zip(*season(40), strict=True))
    ]
    days = read_ghcn_daily(write(tmp_path, json.dumps(rows), "a.json"), units="metric")
    np.testing.assert_allclose(days.get("tmax"), season(40)[0])
    old = [
        {
            "date": "2024-01-01T00:00:00",
            "datatype": "TMAX",
            "station": "GHCND:Z1",
            "attributes": ",,W,2400",
            "value": 56,
        },
        {
            "date": "2024-01-02T00:00:00",
            "datatype": "PRCP",
            "station": "GHCND:Z1",
            "attributes": "T,,7,0700",
            "value": 0,
        },
    ]
    days = read_ghcn_daily(write(tmp_path, json.dumps({"results": old}), "b.json"))
    assert (days.station, days.get("tmax")[0], days.get("rain")[0], len(days)) == ("Z1", 5.6, 0.0, 1)
    with pytest.raises(InputError, match="the service refused: no token"):
        read_ghcn_daily(write(tmp_path, '{"error": "no token"}', "c.json"))


LONG = "ID,DATE,ELEMENT,DATA_VALUE,M_FLAG,Q_FLAG,S_FLAG,OBS_TIME\n"


def test_csv_with_a_header_in_any_of_its_spellings(tmp_path: Path) -> None:
    body = "Z1,20240102,TMAX,289,,,7,\nZ1,20240102,TMIN,-11,,,7,\nZ2,20240102,TMAX,1,,,7,\nZ1,20240102,WT01,1,,,7,\n"
    for head in (LONG, "ID,YEAR/MONTH/DAY,ELEMENT,DATA VALUE,M-FLAG,Q-FLAG,S-FLAG,OBS-TIME\n", ""):
        path = write(tmp_path, head + body, "a.csv")
        assert stations_in(path) == ["Z1", "Z2"]
        days = read_ghcn_daily(path, station="Z1")
        assert (days.get("tmax")[0], days.get("tmin")[0]) == (28.9, -1.1)
        with pytest.raises(InputError, match=r"holds 2 stations.*name one of Z1, Z2"):
            read_ghcn_daily(path)


def test_a_morning_observer_reads_yesterday_s_highest_temperature_and_rain(tmp_path: Path) -> None:
    kinds = (("TMAX", 100), ("TMIN", 0), ("PRCP", 0))
    body = "".join(f"Z1,2024010{d},{e},{v + d},,,7,0700\n" for d in (2, 3) for e, v in kinds)
    path = write(tmp_path, LONG + body, "a.csv")
    days = read_ghcn_daily(path)
    assert (days.start, days.get("tmax").tolist()[:2], days.get("rain").tolist()[:2]) == (
        date(2024, 1, 1), [10.2, 10.3], [0.2, 0.3],
    )  # fmt: skip
    np.testing.assert_array_equal(days.get("tmin"), [np.nan, 0.2, 0.3])
    assert days.notes[0].code == "take.observed.rows"
    filed = read_ghcn_daily(path, observed="as filed")
    assert (filed.start, filed.get("tmax").tolist()) == (date(2024, 1, 2), [10.2, 10.3])
    evening = read_ghcn_daily(write(tmp_path, LONG + body.replace("0700", "1800"), "b.csv"))
    assert evening.start == date(2024, 1, 2) and evening.notes == ()
    fixed = read_ghcn_daily(write(tmp_path, line("TMAX", {2: (102, "   ")}) + "\n" + line("TMIN", {2: (5, "   ")})),
                            observed="morning")  # fmt: skip
    assert (fixed.start, fixed.get("tmax")[0], fixed.get("tmin")[1]) == (date(2024, 1, 1), 10.2, 0.5)


@real
def test_a_real_file_is_read_whole() -> None:
    days = read_ghcn_daily(REAL, latitude=34.9, longitude=-82.2, elevation_m=285)
    assert (days.station, days.start, days.end, len(days)) == (
        "USW00003870",
        date(1962, 10, 15),
        date(2012, 12, 9),
        18319,
    )
    assert days.rejected == ()
    by_name = {c.variable: c for c in days.coverage()}
    assert (by_name["tmax"].missing, by_name["rain"].missing, by_name["wind"].missing) == (1, 2, 8296)
    assert [(a.variable, a.when, a.reason) for a in days.set_aside] == [
        ("rain", "1976-07-29", "failed a spatial consistency check")
    ]
    assert days.get("tmax")[:3].tolist() == [28.9, 26.7, 28.3]  # read by eye in the file's first line


@real
def test_a_real_file_cut_anywhere_never_yields_a_value_that_the_whole_file_does_not_hold(tmp_path: Path) -> None:
    data = REAL.read_bytes()[: 270 * 40]
    whole = read_ghcn_daily(write(tmp_path, data.decode(), "whole.dly"))
    for cut in (270 * 20 + 5, 270 * 20 + 19, 270 * 20 + 143, 270 * 39 + 265, 270 * 39 + 268):
        path = tmp_path / "cut.dly"
        path.write_bytes(data[:cut])
        part = read_ghcn_daily(path)
        for name, values in part.values.items():
            expected = whole.window(part.start, part.end).get(name)
            assert (np.isnan(values) | (values == expected)).all()
        assert len(part.rejected) == (1 if cut % 270 < 266 else 0)
