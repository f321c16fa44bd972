"""Layouts of which no real file was at hand, by files made after their descriptions; and any layout as people save it.

Expected values are reckoned by hand from the lines of ``tests/fuzz/corpus``.
"""

from __future__ import annotations

import csv
import gzip
import io
import random
import zipfile
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from sideoats.errors import InputError
from sideoats.intake.drought import shares
from sideoats.intake.ghcnh import read_ghcnh
from sideoats.intake.gsod import read_gsod
from sideoats.intake.isd import read_isd, read_isd_days
from sideoats.intake.laid import local_offset
from sideoats.intake.normals import read_normals
from sideoats.intake.pixel import heading_at, read_pixel
from sideoats.intake.taken import read_file, recognised
from sideoats.intake.uscrn import read_uscrn_hourly
from sideoats.schema import read_all

CORPUS = Path(__file__).parents[1] / "fuzz" / "corpus"


def body(path: Path, **options: str) -> list[tuple[str, dict[str, Any]]]:
    """What a file gives without what its name gives."""
    chosen = recognised(path)
    given = {**options, **({"place": "p"} if any(f.name == "place" for f in chosen.options) else {})}
    taken = read_file(chosen.name, path, read_all(chosen.options, given))
    return [(d.kind, {k: v for k, v in d.body.items() if k not in ("source", "name")}) for d in taken.drafts]


def test_hours_of_the_reference_network_end_at_their_time() -> None:
    hours = read_uscrn_hourly(CORPUS / "uscrn-hourly" / "good.txt")
    assert (str(hours.start), hours.utc_offset_hours, hours.longitude, hours.latitude) == (
        "2026-07-01 00:00:00",
        -6,
        -99.2,
        38.5,
    )
    assert hours.get("temperature")[0] == 21.0 and hours.get("temperature_max")[0] == 22.0  # the line of 0100
    assert np.isnan(hours.get("solar")[5]) and hours.set_aside[0].reason == "marked as bad by the publisher"
    day = hours.to_days()
    assert day.get("tmax")[0] == 32.0 and day.get("tmin")[0] == 19.0  # highest and lowest within the hours
    assert day.get("soil_temperature_5")[0] == 22.0 and day.get("rain")[0] == pytest.approx(0.9)
    older = read_uscrn_hourly(CORPUS / "uscrn-hourly" / "older.txt")
    assert older.get("soil_temperature_5")[0] == 22.0 and older.get("humidity")[0] == 0.55


def test_hourly_reports_of_the_global_archive() -> None:
    hours = read_ghcnh(CORPUS / "ghcn-hourly" / "good.psv")
    assert (hours.station, str(hours.start), hours.elevation_m) == ("ZZW00000001", "2026-07-01 00:00:00", 610.0)
    assert hours.get("temperature")[:4].tolist() == [20, 21, 22, 23]  # the special report of 99 degC is not taken
    assert np.isnan(hours.get("temperature")[4]) and np.isnan(hours.get("wind_direction")[0])
    assert hours.get("rain")[0] == 1.3 and hours.get("humidity")[0] == 0.61
    early = read_ghcnh(CORPUS / "ghcn-hourly" / "early.psv")
    assert early.get("temperature")[:4].tolist() == [20, 21, 22, 23]


def test_daily_summaries_in_both_layouts() -> None:
    old = read_gsod(CORPUS / "gsod" / "old.op")
    assert old.get("tmax")[:2] == pytest.approx([(66.9 - 32) / 1.8, (75.9 - 32) / 1.8])
    assert old.get("rain")[1] == pytest.approx(5.08) and np.isnan(old.get("rain")[3])  # an incomplete zero is not sure
    assert old.get("gust")[1] == pytest.approx(15 * 0.514444, abs=1e-4) and np.isnan(old.get("dewpoint")[1])
    new = read_gsod(CORPUS / "gsod" / "yearly.csv")
    assert new.get("tmin")[1] == pytest.approx((-11.9 - 32) / 1.8) and new.get("snow_depth")[1] == pytest.approx(99.06)
    assert (new.latitude, new.name) == (38.5, "PLAIN AIRPORT, ZZ US")


def test_full_records_and_their_summary_of_the_day() -> None:
    path = CORPUS / "isd" / "good.txt"
    hours = read_isd(path)
    assert hours.get("temperature")[0] == 25.0 and hours.get("rain")[0] == 1.3 and hours.get("wind")[0] == 3.6
    days = read_isd_days(path, -6)  # reported on 2 July at 05:59 UTC: the end of 1 July
    at = (np.datetime64("2026-07-01") - days.times[0]).astype(int)
    assert (days.get("tmax")[at], days.get("tmin")[at], days.get("rain")[at]) == (33.3, 18.3, 5.1)
    assert days.get("tmax")[at + 1] == 31.0  # no summary: made of hours


@pytest.mark.parametrize(
    ("longitude", "latitude", "hours"),
    [
        (-99.2, 38.5, -6),
        (-102.4, 34.2, -6),
        (-104.5, 34.2, -7),
        (-102.8, 39.0, -7),
        (12.8, 60.7, 1),
        (-118.3, 34.0, -8),
    ],
)
def test_central_time_reaches_over_the_plains(longitude: float, latitude: float, hours: float) -> None:
    assert local_offset(None, longitude, latitude, "x")[0] == hours
    assert local_offset(-5.0, longitude, latitude, "x")[0] == -5.0


def test_one_point_of_a_grid_in_the_units_of_its_heading(tmp_path: Path) -> None:
    sun = read_pixel(CORPUS / "point-csv" / "daylight.csv")
    assert (str(sun.start), sun.latitude, sun.longitude, sun.elevation_m) == ("2024-02-24", 38.5, -99.2, 610.0)
    assert sun.get("solar")[0] == pytest.approx(310.4 * 34560 / 1e6) and sun.get("tmax")[0] == 15.5
    kelvin = read_pixel(CORPUS / "point-csv" / "kelvin.csv")
    assert kelvin.get("tmax")[0] == pytest.approx(300.1 - 273.15) and kelvin.latitude == 38.5
    inches = read_pixel(CORPUS / "point-csv" / "inches.csv")
    assert inches.get("rain")[0] == pytest.approx(2.54) and inches.get("tmin")[0] == pytest.approx((20.1 - 32) / 1.8)
    assert inches.elevation_m == pytest.approx(2001 * 0.3048) and inches.notes[0].code == "take.pixel.prism"
    bare = tmp_path / "bare.csv"
    bare.write_text("year,yday,tmax,prcp (mm)\n2024,60,50,1\n")
    with pytest.raises(InputError, match="does not tell the unit of tmax"):
        read_pixel(bare)
    told = read_pixel(bare, given="imperial")
    assert told.get("tmax")[0] == pytest.approx(10) and told.get("rain")[0] == 1 and str(told.start) == "2024-02-29"


def test_normals_of_months_and_days() -> None:
    _, monthly, told, rejected = read_normals(CORPUS / "normals" / "monthly.csv")
    assert told["system"] == "imperial" and rejected == []
    assert monthly["tmax"]["07"] == pytest.approx((93 - 32) / 1.8, abs=1e-4)
    assert monthly["tmean"]["01"] == pytest.approx((42 - 12 - 32) / 1.8, abs=1e-4)
    assert monthly["rain"]["03"] == pytest.approx(0.8 * 25.4, abs=1e-4)
    _, daily, where, _ = read_normals(CORPUS / "normals" / "daily.csv")
    assert daily["tmin"]["01-02"] == pytest.approx((22.1 - 32) / 1.8, abs=1e-4) and where["latitude"] == 38.5
    assert daily["rain"]["01-02"] == pytest.approx(0.02 * 25.4, abs=1e-3)


def test_shares_by_class_and_cumulative_are_the_same_map() -> None:
    classes = ["22.18", "37.82", "35.00", "5.00", "0", "0"]
    by_class = shares(classes, "2")
    assert by_class == pytest.approx(shares(["22.18", "77.82", "40.00", "5.00", "0", "0"], "1"))
    assert by_class == pytest.approx(shares(classes, ""))  # by their sum
    assert shares(["1,000", "3,000", "1,000", "0", "0", "0"], "1") == pytest.approx([0.25, 0.75, 0.25, 0, 0, 0])
    for cells in (["0", "50", "60", "0", "0", "0"], ["", "1", "1", "1", "1", "1"], ["--"] * 6, ["nan"] * 6):
        with pytest.raises(ValueError, match=r"class|cumulative"):
            shares(cells, "1")


ANY = [CORPUS / name for name in (
    "ghcn-daily/good.dly", "ghcn-hourly/good.psv", "uscrn-hourly/good.txt", "uscrn-daily/good.txt", "gsod/yearly.csv",
    "gsod/old.op", "isd/good.txt", "point-csv/daylight.csv", "point-csv/kelvin.csv", "point-csv/inches.csv",
    "normals/monthly.csv", "drought-map/cumulative.csv", "lcd/good.csv", "quick-stats/yields.xml",
) if (CORPUS / name).exists()]  # fmt: skip


@pytest.mark.parametrize("path", ANY, ids=lambda p: f"{p.parent.name}-{p.name}")
def test_any_layout_is_read_as_people_save_it(path: Path, tmp_path: Path) -> None:
    """Line ends, byte-order marks, UTF-16, gzip, zip, blank lines, any name; a CSV with quotes and columns mixed."""
    text, base = path.read_text("utf-8"), body(path)
    made = {
        "crlf": text.replace("\n", "\r\n").encode(),
        "bom": b"\xef\xbb\xbf" + text.encode(),
        "utf16": text.encode("utf-16"),
        "blank": b"\n" + text.rstrip().encode() + b"\n\n\n",
        "gzip": gzip.compress(text.encode()),
    }
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        archive.writestr("inside/data.txt", text)
        archive.writestr("README.txt", "what this is")
    made["zip"] = packed.getvalue()
    if path.suffix in (".csv", ".psv"):
        made["mixed"] = _mixed(text).encode()
    for how, data in made.items():
        (tmp_path / "any").write_bytes(data)
        assert body(tmp_path / "any") == base, how


def _mixed(text: str) -> str:
    at = max(heading_at(text), 0)
    mark = max(",|;\t", key=text[at:].split("\n", 1)[0].count)
    rows = [row for row in csv.reader(io.StringIO(text[at:]), delimiter=mark) if row]
    order = list(range(len(rows[0])))
    random.Random(5).shuffle(order)
    out = io.StringIO()
    writer = csv.writer(out, delimiter=mark, quoting=csv.QUOTE_ALL, lineterminator="\n")
    writer.writerows([row[i] for i in order] for row in rows if len(row) == len(order))
    return text[:at] + out.getvalue()
