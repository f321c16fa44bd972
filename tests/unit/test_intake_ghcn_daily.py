"""The three layouts of GHCN-Daily: what is kept, what is set aside, what is refused, each with its reason."""

from __future__ import annotations

import gzip
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
    assert days.flags["tmax"].tolist() == [0, Flag.ABSENT | Flag.FAILED_AT_SOURCE, 0]
    assert [r.line for r in days.rejected] == [6, 4, 5]
    assert "not a calendar date" in str(days.rejected[1])


def access_csv(values: list[str]) -> str:
    header = '"STATION","DATE","LATITUDE","LONGITUDE","ELEVATION","NAME","TMAX"'
    rows = [
        f'"ZZ000000001","{np.datetime64("2024-01-01") + i}","41.5","-97.25","380.1","HILL, ZZ","{v}"'
        for i, v in enumerate(values)
    ]
    return "\n".join([header, *rows])


def test_csv_with_a_column_an_element_says_where_its_units_come_from(tmp_path: Path) -> None:
    tenths = read_ghcn_daily(write(tmp_path, access_csv([str(100 + 2 * i) for i in range(80)]), "a.csv"))
    assert tenths.get("tmax")[:2].tolist() == [10.0, 10.2]
    assert (tenths.latitude, tenths.longitude, tenths.elevation_m, tenths.name) == (41.5, -97.25, 380.1, "HILL, ZZ")
    assert "taken as tenths" in tenths.notes[0]
    imperial = read_ghcn_daily(write(tmp_path, access_csv([str(20 + i) for i in range(80)]), "b.csv"))
    assert imperial.get("tmax")[12] == pytest.approx(0.0)
    metric = read_ghcn_daily(write(tmp_path, access_csv([f"{20 + i / 10}" for i in range(80)]), "c.csv"))
    assert metric.get("tmax")[5] == 20.5
    short = write(tmp_path, access_csv(["50", "60"]), "d.csv")
    with pytest.raises(InputError, match="does not say its units"):
        read_ghcn_daily(short)
    assert read_ghcn_daily(short, units="imperial").get("tmax")[0] == pytest.approx(10.0)
    with pytest.raises(InputError, match="is not a unit system"):
        read_ghcn_daily(short, units="kelvin")


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
