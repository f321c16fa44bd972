"""Tables of the office and outlines of fields: told by headings or a mapping, taken whole or not at all."""

from __future__ import annotations

import io
import json
import sqlite3
import struct
import zipfile
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from sideoats.cli import group
from sideoats.errors import InputError
from sideoats.intake.office_table import read_office_table
from sideoats.intake.outlines import read_outlines
from sideoats.intake.sheets import read_sheet
from sideoats.intake.taken import recognised
from sideoats.ledger import open_ledger

DAY = date(2026, 9, 14)
FIELDS = (
    "Farm;Field;Kind;Acres (ac);Crop;Planted on;Remarks\n"
    "Plain Farm;North 40;field;40;milo;;wet corner\nPlain Farm;South;field;81.5;winter wheat;;\n"
)
RING = [[-99.0, 38.0], [-98.99, 38.0], [-98.99, 38.01], [-99.0, 38.01], [-99.0, 38.0]]


def write(tmp_path: Path, text: str, name: str = "t.csv") -> Path:
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    return path


def test_headings_tell_what_a_column_is_and_what_is_not_read(tmp_path: Path) -> None:
    taken = read_office_table(write(tmp_path, FIELDS), kind="place", day="2026-09-14")
    assert [(d.place, d.farm, d.body["acres"], d.body["crop"]) for d in taken.drafts] == [
        ("plain-farm.north-40", "plain-farm", "40 ac", "milo"),
        ("plain-farm.south", "plain-farm", "81.5 ac", "winter wheat"),
    ]
    unread = next(n for n in taken.notes if getattr(n, "code", "") == "take.table.unread")
    assert unread.values["columns"].amount == "Planted on, Remarks"
    spanish = FIELDS.replace("Farm;Field", "Rancho;Parcela").replace("Acres (ac)", "Superficie (ac)")
    taken = read_office_table(write(tmp_path, spanish), kind="place", day="2026-09-14")
    assert [d.place for d in taken.drafts] == ["plain-farm.north-40", "plain-farm.south"]


def test_a_table_is_taken_whole_or_not_at_all_and_every_wrong_row_is_named(tmp_path: Path) -> None:
    bad = FIELDS + "Plain Farm;West;meadow;12;milo;;\nPlain Farm;East;field;-3;milo;;\nPlain Farm;Far;field;9;mil0;;\n"
    taken = read_office_table(write(tmp_path, bad), kind="place", day="2026-09-14")
    assert taken.drafts == () and [r.line for r in taken.rejected] == [4, 5, 6]
    assert "meadow" in taken.rejected[0].reason and "acres" in taken.rejected[1].reason
    ledger = str(tmp_path / "l.sqlite")
    args = ["--ledger", ledger, "take", "office-table", str(tmp_path / "t.csv"), "kind=place", "date=2026-09-14"]
    found = CliRunner().invoke(group, args, standalone_mode=False)
    assert isinstance(found.exception, InputError) and "nothing is taken: 3 rows" in str(found.exception)
    assert all(f"line {n}:" in found.output for n in (4, 5, 6))
    with open_ledger(ledger) as kept:
        assert kept.places() == []


def test_a_preview_writes_nothing_and_what_is_taken_is_stored_once(tmp_path: Path) -> None:
    ledger = str(tmp_path / "l.sqlite")
    farms = write(tmp_path, "farm,name\nplain-farm,Plain Farm\n", "farms.csv")
    run = CliRunner()
    run.invoke(group, ["--ledger", ledger, "take", "office-table", str(farms), "kind=farm", "date=2026-09-14"])
    args = ["--ledger", ledger, "take", "office-table", str(write(tmp_path, FIELDS)), "kind=place", "date=2026-09-14"]
    seen = run.invoke(group, [*args, "--preview"], standalone_mode=False, catch_exceptions=False).output
    assert "Acres (ac): " in seen and "place plain-farm.north-40 2026-09-14" in seen and "nothing written" in seen
    with open_ledger(ledger) as kept:
        assert kept.places() == []
    first = run.invoke(group, args, standalone_mode=False, catch_exceptions=False).output
    again = run.invoke(group, args, standalone_mode=False, catch_exceptions=False).output
    assert "2 entries stored" in first and "0 entries stored, 2 were there already" in again
    sizes = write(tmp_path, "place,name,kind,acres\nplain-farm.south,South,field,82\n", "s.csv")
    run.invoke(group, ["--ledger", ledger, "take", "office-table", str(sizes), "kind=place", "date=2026-09-15"],
               standalone_mode=False, catch_exceptions=False)  # fmt: skip
    with open_ledger(ledger) as kept:
        south = next(p for p in kept.places() if p.id == "plain-farm.south")
    assert (south.attributes["acres"], south.attributes["crop"], south.farm) == (82.0, "winter wheat", "plain-farm")


def test_counts_and_slips_through_a_mapping(tmp_path: Path) -> None:
    path = write(tmp_path, "no,where,when,moths\n1,ridge.trap,9/2/2026,12\n2,ridge.trap,9/9/2026,0\n")
    columns = {"place": "where", "seen": "when", "caught": "moths"}
    mapping: dict[str, Any] = {"kind": "trap_catch", "columns": columns, "constants": {"species": "corn earworm"}}
    taken = read_office_table(path, mapping=mapping)
    assert [(d.kind, d.place, str(d.seen_at.date()), d.body) for d in taken.drafts] == [
        ("trap_catch", "ridge.trap", "2026-09-02", {"species": "corn earworm", "caught": "12"}),
        ("trap_catch", "ridge.trap", "2026-09-09", {"species": "corn earworm", "caught": "0"}),
    ]
    slips = write(tmp_path, "field,sampled,pH,N\nhome.west,2026-08-30,5.1,38\n", "slips.csv")
    (tmp_path / "m.toml").write_text(
        'kind = "soil_test"\n[columns]\nplace = "field"\nseen = "sampled"\nph = "pH"\n'
        'profile_nitrogen = { column = "N", unit = "lb/ac" }\n'
    )
    told = read_office_table(slips, mapping=tmp_path / "m.toml").drafts[0].body
    assert told == {"ph": "5.1", "profile_nitrogen": "38 lb/ac"}
    bare = {"place": "field", "seen": "sampled", "profile_nitrogen": "N"}
    no_unit = read_office_table(slips, mapping={"kind": "soil_test", "columns": bare})
    assert no_unit.drafts == () and "profile_nitrogen" in no_unit.rejected[0].reason
    with pytest.raises(InputError) as error:
        read_office_table(path, mapping={"kind": "note", "columns": {"text": "pounds", "x": "no"}, "colour": 1})
    for part in ("'colour' is not a key", "no column 'pounds'", "'x' is no field of note", "it names no column"):
        assert part in str(error.value)
    with pytest.raises(InputError, match="is no kind of a table"):
        read_office_table(path, kind="call")
    with pytest.raises(InputError, match="no heading that names a field of hay_nitrate"):
        read_office_table(write(tmp_path, "a,b\n1,2\n"), kind="hay_nitrate")


def test_a_spreadsheet_with_a_title_above_its_header(tmp_path: Path) -> None:
    pytest.importorskip("python_calamine")
    openpyxl = pytest.importorskip("openpyxl")
    book = openpyxl.Workbook()
    sheet = book.active
    sheet["A1"] = "Fields of 2026"
    for row in (
        ["Farm", "Field", "Kind", "Acres", "Planting date"],
        ["Plain Farm", "North 40", "field", 40, date(2026, 5, 24)],
    ):
        sheet.append(row)
    book.save(tmp_path / "f.xlsx")
    assert recognised(tmp_path / "f.xlsx").name == "office-table"
    taken = read_office_table(tmp_path / "f.xlsx", kind="place", day="2026-09-14")
    assert taken.drafts[0].body == {
        "name": "North 40", "kind": "field", "acres": "40", "planting_date": "2026-05-24",
    } and taken.drafts[0].line == 3  # fmt: skip
    book.create_sheet("more").append(["a", "b"])
    book.save(tmp_path / "g.xlsx")
    with pytest.raises(InputError, match="has 2 sheets with rows"):
        read_sheet(tmp_path / "g.xlsx")
    (tmp_path / "h.xlsx").write_bytes((tmp_path / "f.xlsx").read_bytes()[:900])
    with pytest.raises(InputError, match="cannot be read as a spreadsheet"):
        read_sheet(tmp_path / "h.xlsx")


def geojson(names: list[str]) -> str:
    features = [
        {
            "type": "Feature",
            "properties": {"NAME": n, "Acres": 3},
            "geometry": {"type": "Polygon", "coordinates": [RING]},
        }
        for n in names
    ]
    return json.dumps({"type": "FeatureCollection", "features": features})


def test_outlines_of_geojson_and_kml_are_alike(tmp_path: Path) -> None:
    path = write(tmp_path, geojson(["North 40", "South"]), "f.geojson")
    assert recognised(path).name == "outlines"
    taken = read_outlines(path, day=DAY, farm="Plain Farm")
    assert [(d.place, d.farm) for d in taken.drafts] == [
        ("plain-farm.north-40", "plain-farm"), ("plain-farm.south", "plain-farm"),
    ]  # fmt: skip
    assert taken.drafts[0].body["outline"] == {"type": "Polygon", "coordinates": [RING]}
    ring = " ".join(f"{x},{y},0" for x, y in RING)
    kml = ('<?xml version="1.0"?><kml xmlns="http://www.opengis.net/kml/2.2"><Document><Placemark><name>North 40</name>'
           f"<Polygon><outerBoundaryIs><LinearRing><coordinates>{ring}</coordinates></LinearRing></outerBoundaryIs>"
           "</Polygon></Placemark></Document></kml>")  # fmt: skip
    same = read_outlines(write(tmp_path, kml, "f.kml"), day=DAY, farm="Plain Farm").drafts[0]
    assert same.body == taken.drafts[0].body
    with zipfile.ZipFile(tmp_path / "f.kmz", "w") as archive:
        archive.writestr("doc.kml", kml)
    assert read_outlines(tmp_path / "f.kmz", day=DAY).drafts[0].body == same.body
    twice = read_outlines(write(tmp_path, geojson(["A", "A", ""]), "g.geojson"), day=DAY)
    assert twice.drafts == () and [r.line for r in twice.rejected] == [2, 3]


@pytest.mark.parametrize(
    ("name", "text", "line"),
    [
        ("a.kml", '<!DOCTYPE k [<!ENTITY a "b">]><kml>&a;</kml>', "entities of its own"),
        ("a.kml", "<kml><Placemark>", "is not XML"),
        ("a.kml", "<kml></kml>", "holds no outlines"),
        ("a.txt", "nothing", "is no GeoJSON"),
        ("a.geojson", '{"type": "FeatureCollection"}', "holds no features"),
        ("a.geojson", geojson(["x"]).replace("NAME", "colour"), "no attribute that names"),
    ],
)
def test_what_holds_no_outlines_is_one_clear_line(tmp_path: Path, name: str, text: str, line: str) -> None:
    with pytest.raises(InputError, match=line) as error:
        read_outlines(write(tmp_path, text, name), day=DAY)
    assert "\n" not in str(error.value)


def test_points_and_positions_that_are_none_are_named(tmp_path: Path) -> None:
    data = json.loads(geojson(["a", "b", "c"]))
    data["features"][0]["geometry"] = {"type": "Point", "coordinates": [-99, 38]}
    data["features"][1]["geometry"]["coordinates"] = [[[500000, 4200000]] * 4]
    taken = read_outlines(write(tmp_path, json.dumps(data), "f.json"), day=DAY)
    assert [r.reason for r in taken.rejected] == [
        "is a Point, not a Polygon", "has a ring without four positions of longitude and latitude",
    ]  # fmt: skip


UTM = [[500000.0 + x, 4205000.0 + y] for x, y in ((0, 0), (0, 400), (400, 400), (400, 0), (0, 0))]


def test_a_zipped_shapefile_in_metres(tmp_path: Path) -> None:
    shapefile = pytest.importorskip("shapefile")
    pyproj = pytest.importorskip("pyproj")
    parts: dict[str, Any] = {end: io.BytesIO() for end in ("shp", "shx", "dbf")}
    with shapefile.Writer(**parts) as writer:
        writer.field("FIELD", "C", 40)
        writer.poly([UTM])
        writer.record("North 40")
    prj = pyproj.CRS.from_epsg(26914).to_wkt("WKT1_ESRI")
    for held, name in ((True, "f.zip"), (False, "g.zip")):
        with zipfile.ZipFile(tmp_path / name, "w") as archive:
            for end, data in parts.items():
                archive.writestr(f"fields/mine.{end}", data.getvalue())
            if held:
                archive.writestr("fields/mine.prj", prj)
    assert recognised(tmp_path / "f.zip").name == "outlines"
    ring = read_outlines(tmp_path / "f.zip", day=DAY).drafts[0].body["outline"]["coordinates"][0]
    east, north = pyproj.Transformer.from_crs(26914, 4326, always_xy=True).transform(500000, 4205000)
    assert [pytest.approx(east, abs=1e-6), pytest.approx(north, abs=1e-6)] in ring and east == pytest.approx(-99.0)
    with pytest.raises(InputError, match=r"has no \.prj"):
        read_outlines(tmp_path / "g.zip", day=DAY)


def test_a_geopackage(tmp_path: Path) -> None:
    shapely = pytest.importorskip("shapely")
    path = tmp_path / "f.gpkg"
    with sqlite3.connect(path) as base:
        base.execute(
            "CREATE TABLE gpkg_spatial_ref_sys (srs_id INTEGER, definition TEXT, organization_coordsys_id INTEGER)"
        )
        base.execute("CREATE TABLE gpkg_geometry_columns (table_name TEXT, column_name TEXT, srs_id INTEGER)")
        base.execute("CREATE TABLE fields (fid INTEGER, geom BLOB, name TEXT)")
        base.execute("INSERT INTO gpkg_spatial_ref_sys VALUES (4326, 'GEOGCS', 4326)")
        base.execute("INSERT INTO gpkg_geometry_columns VALUES ('fields', 'geom', 4326)")
        bounds = struct.pack("<4d", -99.0, -98.99, 38.0, 38.01)
        blob = b"GP\0" + bytes([0b0000_0011]) + struct.pack("<i", 4326) + bounds + shapely.to_wkb(shapely.Polygon(RING))
        base.execute("INSERT INTO fields VALUES (1, ?, 'North 40')", (blob,))
    base.close()
    taken = read_outlines(path, day=DAY)
    assert taken.drafts[0].body["outline"] == {"type": "Polygon", "coordinates": [RING]}
    path.write_bytes(path.read_bytes()[:2000])
    with pytest.raises(InputError, match="cannot be read as a GeoPackage"):
        read_outlines(path, day=DAY)
