"""Outlines of fields from GeoJSON, KML, a zipped shapefile or a GeoPackage, as places with their outline in WGS84.

GeoJSON is read by the standard library; KML too, without any entity of its own. Shapefiles go through pyshp (190 kB,
pure Python, 39 ms to import; the all-in-one wheel was 103 MB and 355 ms), the well-known binary of a GeoPackage through
shapely, and coordinates of another system through pyproj: extras (`requirements/office.txt`). A file is taken whole or
not at all. A place that is known keeps all else that is known of it.

References
----------
RFC 7946 (GeoJSON); OGC 07-147r2 (KML); OGC 12-128 (GeoPackage: header of a geometry blob, from memory).
"""

from __future__ import annotations

import io
import sqlite3
import struct
import zipfile
from collections.abc import Iterator, Mapping
from datetime import UTC, date, datetime, time
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

from sideoats.errors import InputError
from sideoats.intake.quotes import place_id
from sideoats.intake.rows import json_value, plain_name, read_text
from sideoats.intake.sheets import MOST_UNPACKED
from sideoats.intake.taken import Draft, Format, Head, Taken
from sideoats.schema import Field
from sideoats.station import Rejected
from sideoats.words import Count, Name, say

Feature = tuple[Mapping[str, Any], Any, str]  # attributes, GeoJSON geometry, coordinate system ("" for WGS84)
_NAMES = ("name", "field", "fieldname", "place", "id", "label", "nombre", "parcela", "lote", "potrero")
_SQLITE, _ZIP = b"SQLite format 3\x00", b"PK\x03\x04"
_MOST = 5_000
_DIGITS = 7  # of a degree: a centimeter
_ENVELOPE = (0, 32, 48, 48, 64)  # bytes of a GeoPackage's envelope by its code


def read_outlines(path: str | Path, *, day: date, name: str = "", farm: str = "", kind: str = "field") -> Taken:
    """Places with their outlines.

    Parameters
    ----------
    day : on which they are described so
    name : the attribute that names a place; left out, the first that is called as names are
    farm : whose they are; kind : field, pasture, ...

    Raises
    ------
    InputError : unreadable, no polygon in it, an extra is missing, or coordinates that are not told
    """
    path = Path(path)
    drafts: list[Draft] = []
    rejected: list[Rejected] = []
    seen: dict[str, int] = {}
    column = ""
    for number, (about, geometry, system) in enumerate(_features(path), 1):
        if number > _MOST:
            raise InputError(f"holds more than {_MOST:,} outlines", where=path.name, todo="give those of one farm")
        try:
            column = column or _name_of(about, name, path.name)
            text = str(about.get(column) or "").strip()
            key = ".".join(part for part in (place_id(farm), place_id(text)) if part)
            if not text or not place_id(text):
                raise ValueError(f"has no {column}")
            if key in seen:
                raise ValueError(f"names {text[:40]!r}, as number {seen[key]} does")
            seen[key] = number
            body = {"name": text, "kind": kind, "outline": _polygon(geometry, system)}
            drafts.append(
                Draft("place", body, datetime.combine(day, time(12), tzinfo=UTC), key, place_id(farm) or None, number)
            )
        except ValueError as error:
            rejected.append(Rejected(number, str(error)))
    if not drafts and not rejected:
        raise InputError("holds no outlines", where=path.name, expected="polygons with a name")
    notes = [say("take.outlines", n=Count(len(drafts)), column=Name(column))]
    if rejected:
        notes.append(say("take.table.refused", n=Count(len(rejected)), of=Count(len(drafts) + len(rejected))))
        drafts = []
    return Taken(tuple(drafts), tuple(rejected), tuple(notes), whole=True, onto=True)


def _name_of(about: Mapping[str, Any], wanted: str, where: str) -> str:
    plain = {plain_name(str(key)): str(key) for key in about}
    for word in (plain_name(wanted),) if wanted else _NAMES:
        if word in plain:
            return plain[word]
    has = ", ".join(map(str, list(about)[:12])) or "none"
    raise InputError(f"has no attribute that names its places: {has}", where=where, todo="give name=ATTRIBUTE")


def _features(path: Path) -> Iterator[Feature]:
    try:
        with path.open("rb") as raw:
            lead = raw.read(16)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError(f"cannot be read ({reason})", where=path.name, todo="check the path") from None
    if lead == _SQLITE:
        return _of_geopackage(path)
    if lead[:4] == _ZIP:
        return _of_archive(path)
    text = read_text(path)
    if text.lstrip()[:1] == "{":
        return _of_geojson(json_value(text, path.name), path.name)
    if text.lstrip()[:1] == "<":
        return _of_kml(text, path.name)
    raise InputError("is no GeoJSON, KML, zipped shapefile or GeoPackage", where=path.name)


def _of_geojson(data: Mapping[str, Any], name: str) -> Iterator[Feature]:
    features = data.get("features") if data.get("type") == "FeatureCollection" else [data]
    if not isinstance(features, list):
        raise InputError("holds no features", where=name, expected="a GeoJSON FeatureCollection")
    system = str(((data.get("crs") or {}).get("properties") or {}).get("name") or "")
    system = "" if "CRS84" in system or "4326" in system else system
    for feature in features:
        held = feature if isinstance(feature, Mapping) else {}
        yield held.get("properties") or {}, held.get("geometry"), system


def _of_kml(text: str, name: str) -> Iterator[Feature]:
    if "<!ENTITY" in text:
        raise InputError("defines entities of its own", where=name, expected="plain KML")
    try:
        root = ElementTree.fromstring(text.lstrip())  # noqa: S314 - without entities nothing can grow
    except ElementTree.ParseError as error:
        raise InputError(f"is not XML ({error})", where=name) from None
    for mark in root.iter():
        if not mark.tag.endswith("}Placemark") and mark.tag != "Placemark":
            continue
        about = {"name": (_child(mark, "name").text or "").strip()} if _child(mark, "name") is not None else {}
        for held in mark.iter():
            key = held.get("name")
            if key and held.tag.rpartition("}")[2] in ("Data", "SimpleData"):
                about[key] = "".join(held.itertext()).strip()
        polygons = [p for p in mark.iter() if p.tag.rpartition("}")[2] == "Polygon"]
        rings = [[_positions(r) for r in p.iter() if r.tag.rpartition("}")[2] == "coordinates"] for p in polygons]
        if rings:
            yield about, {"type": "MultiPolygon", "coordinates": rings}, ""


def _child(element: Any, name: str) -> Any:
    return next((c for c in element if c.tag.rpartition("}")[2] == name), None)


def _positions(element: Any) -> list[list[float]]:
    try:
        return [[float(x) for x in part.split(",")[:2]] for part in (element.text or "").split()]
    except ValueError:
        return []


def _of_archive(path: Path) -> Iterator[Feature]:
    """A zipped shapefile, or a KMZ."""
    try:
        with zipfile.ZipFile(path) as archive:
            infos = archive.infolist()
            if sum(info.file_size for info in infos) > MOST_UNPACKED:
                raise InputError("unpacks to more than 200 MB", where=path.name)
            ends: dict[str, list[str]] = {}
            for info in infos:
                if "__MACOSX" not in info.filename:
                    ends.setdefault(info.filename.rpartition(".")[2].lower(), []).append(info.filename)
            if len(ends.get("shp", [])) == 1 and "dbf" in ends:
                stem = ends["shp"][0][:-4].lower()
                held = {e: archive.read(n) for e, names in ends.items() for n in names if n.lower().startswith(stem)}
            elif len(ends.get("kml", [])) == 1:
                yield from _of_kml(archive.read(ends["kml"][0]).decode("utf-8-sig", "replace"), path.name)
                return
            else:
                found = f"holds {len(ends.get('shp', []))} shapefiles"
                raise InputError(found, where=path.name, expected="one, with its .shp, .shx, .dbf and .prj")
    except (zipfile.BadZipFile, OSError, NotImplementedError, RuntimeError, EOFError) as error:
        raise InputError(f"cannot be read ({error})", where=path.name) from None
    yield from _of_shapefile(held, path.name)


def _of_shapefile(held: Mapping[str, bytes], name: str) -> Iterator[Feature]:
    shapefile = _extra("shapefile", name)
    if not held.get("prj"):
        raise InputError("has no .prj, so its coordinates are not told", where=name, todo="add the .prj file")
    system = held["prj"].decode("utf-8", "replace").strip()
    try:
        reader = shapefile.Reader(
            shp=io.BytesIO(held["shp"]), dbf=io.BytesIO(held["dbf"]),
            shx=io.BytesIO(held["shx"]) if "shx" in held else None, encoding="utf-8", encodingErrors="replace",
        )  # fmt: skip
        rows = [(shape.record.as_dict(), shape.shape.__geo_interface__) for shape in reader.iterShapeRecords()]
    except Exception as error:  # whatever the library finds wrong with the file's insides
        what = f"cannot be read as a shapefile ({type(error).__name__}: {str(error)[:120]})"
        raise InputError(what, where=name) from None
    for about, geometry in rows:
        yield about, geometry, system


def _of_geopackage(path: Path) -> Iterator[Feature]:
    shapely = _extra("shapely", path.name)
    try:
        with sqlite3.connect(f"file:{path}?mode=ro&immutable=1", uri=True) as base:
            base.row_factory = sqlite3.Row
            layers = base.execute(
                "SELECT g.table_name, g.column_name, s.definition, s.organization_coordsys_id AS code "
                "FROM gpkg_geometry_columns g LEFT JOIN gpkg_spatial_ref_sys s ON s.srs_id = g.srs_id"
            ).fetchall()
            if len(layers) != 1:
                raise InputError(f"has {len(layers)} layers", where=path.name, expected="one")
            table, column, definition, code = layers[0]
            quoted = '"' + str(table).replace('"', '""') + '"'
            rows = base.execute(f"SELECT * FROM {quoted} LIMIT {_MOST + 1}").fetchall()  # noqa: S608 - quoted name
    except sqlite3.Error as error:
        raise InputError(f"cannot be read as a GeoPackage ({error})", where=path.name) from None
    system = "" if code == 4326 else str(definition or "")
    for row in rows:
        blob = row[column]
        try:
            geometry = shapely.geometry.mapping(shapely.from_wkb(_bare(blob)))
        except Exception:
            geometry = None
        yield {k: row[k] for k in row.keys() if k != column}, geometry, system  # noqa: SIM118 - a Row has no items


def _bare(blob: bytes) -> bytes:
    """Well-known binary behind a GeoPackage's header."""
    if blob[:2] != b"GP":
        raise ValueError("no geometry")
    return blob[8 + _ENVELOPE[(blob[3] >> 1) & 7] :]


def _extra(module: str, name: str) -> Any:
    try:
        if module == "shapely":
            import shapely
            import shapely.geometry

            return shapely
        if module == "pyproj":
            import pyproj

            return pyproj
        import shapefile

        return shapefile
    except ImportError:
        todo = "pip install -r requirements/office.txt, or save it as GeoJSON"
        raise InputError(f"needs the office extra ({module})", where=name, todo=todo) from None


def _polygon(geometry: Any, system: str) -> dict[str, Any]:
    """A Polygon or MultiPolygon in WGS84, rounded. Raises ValueError with a sentence."""
    kind = str(geometry.get("type")) if isinstance(geometry, Mapping) else "no geometry"
    if not isinstance(geometry, Mapping) or kind not in ("Polygon", "MultiPolygon"):
        raise ValueError(f"is a {kind[:30]}, not a Polygon")
    polygons = [geometry["coordinates"]] if kind == "Polygon" else list(geometry["coordinates"])
    turn = _to_wgs84(system)
    try:
        out = [[[turn(float(p[0]), float(p[1])) for p in ring] for ring in polygon] for polygon in polygons]
    except (TypeError, IndexError, ValueError, struct.error):
        raise ValueError("has a position that is none") from None
    for polygon in out:
        for ring in polygon:
            if len(ring) < 4 or not all(abs(x) <= 180 and abs(y) <= 90 for x, y in ring):
                raise ValueError("has a ring without four positions of longitude and latitude")
            if ring[0] != ring[-1]:
                ring.append(ring[0])
    if not out or not out[0]:
        raise ValueError("has no rings")
    return {"type": "Polygon", "coordinates": out[0]} if len(out) == 1 else {"type": "MultiPolygon", "coordinates": out}


def _to_wgs84(system: str) -> Any:
    """A function from a position of a coordinate system to longitude and latitude. Raises ValueError."""
    if not system:
        return lambda x, y: [round(x, _DIGITS), round(y, _DIGITS)]
    pyproj = _extra("pyproj", "outline")
    try:
        transformer = pyproj.Transformer.from_crs(system, 4326, always_xy=True)
    except Exception:
        raise ValueError(f"is in a coordinate system that is not known: {system[:60]}") from None

    def turn(x: float, y: float) -> list[float]:
        east, north = transformer.transform(x, y)
        return [round(east, _DIGITS), round(north, _DIGITS)]

    return turn


def _take(path: Path, options: dict[str, Any]) -> Taken:
    return read_outlines(
        path,
        day=options["date"],
        name=options.get("name") or "",
        farm=options.get("farm") or "",
        kind=options.get("kind") or "field",
    )


def _is_outlines(head: Head) -> bool:
    if head.data[:16] == _SQLITE:
        return True
    if head.data[:4] == _ZIP:
        return b".shp" in head.data or b".kml" in head.data
    if head.json:
        told = head.text[:20_000]
        return '"Feature' in told and ("Polygon" in told) and "weather.gov" not in told
    return "<kml" in head.text[:2000]


FORMATS = (
    Format(
        "outlines",
        "outlines of fields: GeoJSON, KML, zipped shapefile or GeoPackage",
        _take,
        (
            Field("date", "date", "day on which the places are described so", required=True),
            Field("name", "text", "attribute that names a place; found by its name if absent"),
            Field("farm", "text", "farm whose places they are"),
            Field("kind", "choice", "what the places are", choices=("field", "pasture", "pen", "hay lot")),
        ),
        _is_outlines,
    ),
)
