"""Every station file beside the project, told by its content and read, against a parser of its own for each layout.

The parsers here share nothing with the package: they cut lines and split cells by hand, and take every value of the
file, of which a dozen spread over the record are compared for each variable.
"""

from __future__ import annotations

import csv
import gzip
import io
import json
from collections.abc import Callable, Iterator
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from sideoats.intake.taken import Taken, read_file, recognised
from sideoats.schema import read_all

DATA = Path(__file__).parents[2].parent / "shared" / "data" / "weather"
pytestmark = pytest.mark.skipif(not DATA.is_dir(), reason="../shared/data is not beside the project")
Found = Iterator[tuple[str, date, float]]  # our variable, day, value in our unit


def taken(file: str, /, **options: str) -> tuple[str, Taken]:
    """A file of the folder as `take` would read it without being told its format."""
    chosen = recognised(DATA / file)
    return chosen.name, read_file(chosen.name, DATA / file, read_all(chosen.options, options))


def days(found: Taken) -> dict[str, dict[date, float]]:
    """Variable -> day -> value, of every block."""
    out: dict[str, dict[date, float]] = {}
    for draft in found.drafts:
        if draft.kind == "station_days":
            start = date.fromisoformat(draft.body["start"])
            for variable, column in draft.body.items():
                if isinstance(column, list):
                    for i, value in enumerate(column):
                        if value is not None:
                            out.setdefault(variable, {})[start + timedelta(days=i)] = value
    return out


def dly(path: Path) -> Found:
    names = {"TMAX": ("tmax", 10), "TMIN": ("tmin", 10), "PRCP": ("rain", 10), "SNOW": ("snow", 1),
             "SNWD": ("snow_depth", 1), "AWND": ("wind", 10), "TAVG": ("tmean", 10)}  # fmt: skip
    for line in path.read_text().splitlines():
        if line[17:21] in names:
            for d in range(31):
                cell = line[21 + 8 * d : 29 + 8 * d]
                if cell.strip() and cell[:5] != "-9999" and cell[6:7].strip() == "":
                    name, scale = names[line[17:21]]
                    yield name, date(int(line[11:15]), int(line[15:17]), d + 1), int(cell[:5]) / scale


def by_year(path: Path) -> Found:
    for line in path.read_text().splitlines()[1:]:
        cells = line.split(",")
        if cells[2] in ("TMAX", "TMIN") and not cells[5]:
            when = datetime.strptime(cells[1], "%Y%m%d").date()
            yield cells[2].lower(), when, int(cells[3]) / 10


def lincoln(path: Path) -> Found:
    for row in csv.DictReader(io.StringIO(path.read_text())):
        for name in ("TMAX", "TMIN"):
            if row[name]:
                yield name.lower(), date.fromisoformat(row["DATE"]), (int(row[name]) - 32) / 1.8


def crnd(path: Path) -> Found:
    at = {"tmax": 5, "tmin": 6, "tmean": 8, "rain": 9, "solar": 10, "soil_moisture_5": 18, "soil_moisture_100": 22,
          "soil_temperature_5": 23, "soil_temperature_100": 27}  # fmt: skip
    for line in path.read_text().splitlines():
        cells = line.split()
        for name, i in at.items():
            if not cells[i].startswith(("-9999", "-99.0")):
                yield name, datetime.strptime(cells[1], "%Y%m%d").date(), float(cells[i])


def lcd(us: bool) -> Callable[[Path], Found]:
    def read(path: Path) -> Found:
        inch, degree = (25.4 if us else 1), (lambda x: (x - 32) / 1.8) if us else (lambda x: x)
        with path.open() as handle:
            reader = csv.reader(handle)
            header = next(reader)
            for row in reader:
                cells = dict(zip(header, row))
                if row[header.index("REPORT_TYPE")].strip() == "SOD":
                    when = date.fromisoformat(cells["DATE"][:10])
                    yield "tmax", when, degree(float(cells["DailyMaximumDryBulbTemperature"]))
                    yield "tmin", when, degree(float(cells["DailyMinimumDryBulbTemperature"]))
                    rain = cells["DailyPrecipitation"]
                    yield "rain", when, 0 if rain == "T" else float(rain) * inch
                    depth = cells["DailySnowDepth"]
                    yield "snow_depth", when, 0 if depth == "T" else float(depth) * inch

    return read


def gsod(path: Path) -> Found:
    for line in gzip.decompress(path.read_bytes()).decode().splitlines()[1:]:
        when = datetime.strptime(line[14:22], "%Y%m%d").date()
        yield "tmean", when, (float(line[24:30]) - 32) / 1.8
        yield "tmax", when, (float(line[102:108]) - 32) / 1.8
        yield "tmin", when, (float(line[110:116]) - 32) / 1.8
        yield "rain", when, float(line[118:123]) * 25.4
        yield "wind", when, float(line[78:83]) * 1852 / 3600


def summaries(path: Path) -> Found:
    """Official days of an American ISD file: highest and lowest temperature of the report at the end of the day."""
    for line in gzip.decompress(path.read_bytes()).decode().splitlines():
        if line[41:44] == "SOD":
            when = (datetime.strptime(line[15:27], "%Y%m%d%H%M") - timedelta(hours=8)).date()
            for mark, name in (("M", "tmax"), ("N", "tmin")):
                at = line.find(mark + "+", 105)
                yield name, when, int(line[at + 1 : at + 6]) / 10
            at = line.find("AA124", 105)
            yield "rain", when, int(line[at + 5 : at + 9]) / 10


def synoptic(path: Path) -> Found:
    """Whole days of a Swedish ISD file with all 24 hours: highest and lowest hourly temperature on UTC + 1 h."""
    hours: dict[date, list[float]] = {}
    seen = set()
    for line in gzip.decompress(path.read_bytes()).decode().splitlines():
        hour = line[15:25]
        if hour not in seen and line[87:92] != "+9999" and line[92] not in "2367":
            seen.add(hour)
            when = (datetime.strptime(hour, "%Y%m%d%H") + timedelta(hours=1)).date()
            hours.setdefault(when, []).append(int(line[87:92]) / 10)
    for when, values in hours.items():
        if len(values) == 24:
            yield "tmax", when, max(values)
            yield "tmin", when, min(values)
            yield "tmean", when, sum(values) / 24


def daymet(path: Path) -> Found:
    lines = path.read_text().splitlines()
    start = next(i for i, line in enumerate(lines) if line.startswith("year,yday"))
    for line in lines[start + 1 :]:
        year, yday, daylight, rain, sun, _, high, low, _ = map(float, line.split(","))
        when = date(int(year), 1, 1) + timedelta(days=int(yday) - 1)
        yield "rain", when, rain
        yield "tmax", when, high
        yield "tmin", when, low
        yield "solar", when, sun * daylight / 1e6


CASES: list[tuple[str, str, Callable[[Path], Found]]] = [
    ("USW00003870.dly", "ghcn-daily", dly),
    ("USC00305816.dly", "ghcn-daily", dly),
    ("AE000041196.dly", "ghcn-daily", dly),
    ("ghcn_by_year_1763.csv", "ghcn-daily", by_year),
    ("lincoln_weather.csv", "ghcn-daily", lincoln),
    ("CRND0103-2020-03067.txt", "uscrn-daily", crnd),
    ("CRND0103-2020-53974.txt", "uscrn-daily", crnd),
    ("lcd1_3876540.csv", "lcd", lcd(us=True)),
    ("lcd2_USW00014939_2020.csv", "lcd", lcd(us=False)),
    ("722874-93134-2007.op.gz", "gsod", gsod),
    ("722874-93134-2007.isd.gz", "isd", summaries),
    ("024130-99999-2016.isd.gz", "isd", synoptic),
    ("daymet_v3_point_36.01_-84.26.csv", "point-csv", daymet),
]


@pytest.mark.parametrize(("name", "format_name", "parser"), CASES, ids=[case[0] for case in CASES])
def test_a_dozen_values_of_every_variable_are_those_of_another_parser(
    name: str, format_name: str, parser: Callable[[Path], Found]
) -> None:
    told, found = taken(name)
    assert told == format_name and found.rejected == ()
    ours = days(found)
    theirs: dict[str, dict[date, float]] = {}
    for variable, when, value in parser(DATA / name):
        theirs.setdefault(variable, {})[when] = value
    assert theirs
    for variable, values in theirs.items():
        assert set(values) <= set(ours[variable]), variable
        picked = sorted(values)[:: max(len(values) // 12, 1)]
        assert len(picked) >= 12
        for when in picked:
            assert ours[variable][when] == pytest.approx(values[when], abs=1e-9), (variable, when)


def test_what_the_pages_about_these_files_print() -> None:
    """Values of `../shared/reference/forecast_data.md`: LCD v2 and its degree days (A5), Daymet's first day (A8)."""
    lincoln_2023 = days(taken("lcd2_USW00014939_2020.csv")[1])
    first = date(2023, 1, 1)
    assert (lincoln_2023["tmax"][first], lincoln_2023["tmin"][first], lincoln_2023["tmean"][first]) == (10, -3.8, 3.1)
    assert sum(lincoln_2023["rain"].values()) == pytest.approx(57.9 + 7.6, abs=0.05)  # hours gave 49.9, none that day
    assert days(taken("daymet_v3_point_36.01_-84.26.csv")[1])["solar"][date(2000, 1, 1)] == pytest.approx(
        10.73, abs=0.005
    )


def test_position_is_taken_from_the_file_or_as_told() -> None:
    place = taken("lcd2_USW00014939_2020.csv")[1].drafts[0].body
    assert (place["latitude"], place["longitude"], place["elevation"], place["name"]) == (
        40.8508, -96.7475, 362.7, "LINCOLN AIRPORT, NE US",
    )  # fmt: skip
    assert taken("daymet_v3_point_36.01_-84.26.csv")[1].drafts[0].body["longitude"] == -84.2625
    told = (
        taken("AE000041196.dly", latitude="25.33", longitude="55.52", elevation="34 m", name="Coast")[1].drafts[0].body
    )
    assert told == {"name": "Coast", "kind": "station", "latitude": 25.33, "longitude": 55.52, "elevation": 34.0}


def test_normals_of_the_older_interface_are_tenths() -> None:
    _, found = taken("cdo_v2_normal_dly_tmax.json", station="AQW00061705")
    raw = json.loads((DATA / "cdo_v2_normal_dly_tmax.json").read_text())["results"]
    value = next(row["value"] for row in raw if row["station"] == "GHCND:AQW00061705")
    assert value == 869
    body = next(d.body for d in found.drafts if d.kind == "station_normals")
    assert body["values"] == {"tmax": {"05-01": pytest.approx((86.9 - 32) / 1.8, abs=1e-4)}}


def test_drought_maps_are_cumulative_shares_with_their_index() -> None:
    assert [d.body["index"] for d in taken("usdm_county_percent_2022.csv")[1].drafts] == [pytest.approx(177.82)]
    rows: list[dict[str, Any]] = [dict(d.body) for d in taken("usdm_county_percent_cumulative.csv")[1].drafts]
    with (DATA / "usdm_county_percent_cumulative.csv").open(newline="") as handle:
        for row, given in zip(rows, sorted(csv.DictReader(handle), key=lambda r: r["MapDate"]), strict=True):
            assert [row[k] for k in ("none", "d0", "d1", "d4")] == [
                pytest.approx(float(given[k]) / 100) for k in ("None", "D0", "D1", "D4")
            ]
