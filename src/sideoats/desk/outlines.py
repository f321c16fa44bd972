"""Outlines of places: checked GeoJSON, a map as plain SVG without any tile server, and distances for the phone.

Longitude and latitude are laid flat about the middle of the district (equirectangular), which is true enough within a
few counties and needs no library.

References
----------
RFC 7946, The GeoJSON Format, 2016: longitude before latitude, WGS84, first position equal to the last.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from markupsafe import Markup

from sideoats.errors import InputError
from sideoats.ledger import Place

Ring = list[tuple[float, float]]
MOST_VERTICES, MOST_RINGS = 5_000, 200
_M_PER_DEGREE = 111_194.9  # of latitude, on the sphere of 6,371 km that the desk reckons with


def rings(geometry: Any) -> list[Ring]:
    """Every ring of a Polygon or MultiPolygon. Raises InputError with one line for anything else."""
    if not isinstance(geometry, Mapping):
        raise InputError("is not a GeoJSON geometry", where="outline", expected="a Polygon or MultiPolygon")
    kind, parts = geometry.get("type"), geometry.get("coordinates")
    if kind == "Polygon":
        polygons = [parts]
    elif kind == "MultiPolygon" and isinstance(parts, list | tuple):
        polygons = list(parts)
    else:
        raise InputError(f"is a {str(kind)[:30]!r}", where="outline", expected="a Polygon or MultiPolygon")
    out: list[Ring] = []
    vertices = 0
    for polygon in polygons:
        if not isinstance(polygon, list | tuple) or not polygon or len(polygon) > MOST_RINGS:
            raise InputError("has no rings", where="outline", expected="at least one ring of four positions")
        for ring in polygon:
            out.append(_ring(ring))
            vertices += len(out[-1])
    if vertices > MOST_VERTICES or len(out) > MOST_RINGS:
        raise InputError(f"has {vertices:,} corners", where="outline", expected=f"at most {MOST_VERTICES:,}")
    return out


def _ring(ring: Any) -> Ring:
    if not isinstance(ring, list | tuple) or not 4 <= len(ring) <= MOST_VERTICES:
        raise InputError("has a ring without four positions", where="outline", expected="closed rings")
    out = []
    for position in ring:
        if not isinstance(position, list | tuple) or len(position) < 2:
            raise InputError("has a position that is none", where="outline", expected="[longitude, latitude]")
        x, y = position[0], position[1]
        good = all(isinstance(v, int | float) and not isinstance(v, bool) and math.isfinite(v) for v in (x, y))
        if not good or not (-180 <= x <= 180 and -90 <= y <= 90):
            raise InputError(
                f"has the position {str(position)[:40]}", where="outline", expected="[longitude, latitude]"
            )
        out.append((float(x), float(y)))
    if out[0] != out[-1]:
        out.append(out[0])
    return out


def where_is(place: Place) -> list[Ring] | tuple[float, float] | None:
    """A place's rings, else its point (longitude, latitude), else None; an unreadable outline counts as none."""
    if place.attributes.get("outline") is not None:
        try:
            return rings(place.attributes["outline"])
        except InputError:
            pass
    east, north = place.attributes.get("longitude"), place.attributes.get("latitude")
    if isinstance(east, int | float) and isinstance(north, int | float):
        return float(east), float(north)
    return None


@dataclass(frozen=True)
class Spot:
    """One place on the map: what it is filled with, and what is said of it."""

    place: Place
    verdict: str
    title: str
    here: bool = False


@dataclass(frozen=True)
class DistrictMap:
    """A map and what could not be drawn on it."""

    drawing: Markup
    drawn: int
    without: tuple[Place, ...]
    width_km: float


def draw_map(spots: Sequence[Spot], *, width: float = 1000) -> DistrictMap:
    """Outlines and points in one frame, each a link to its place."""
    found = [(spot, where_is(spot.place)) for spot in spots]
    without = tuple(spot.place for spot, at in found if at is None)
    drawn = [(spot, at) for spot, at in found if at is not None]
    corners = [p for _, at in drawn for p in _corners(at)]
    if not corners:
        return DistrictMap(Markup(""), 0, without, 0.0)
    west, east = min(x for x, _ in corners), max(x for x, _ in corners)
    south, north = min(y for _, y in corners), max(y for _, y in corners)
    narrow = math.cos(math.radians((south + north) / 2))
    span = max((east - west) * narrow, (north - south), 1e-4)
    margin = span * 0.04
    scale = width / ((east - west) * narrow + 2 * margin or 1.0)
    scale = min(scale, width / (span + 2 * margin) * 2.2)

    def flat(x: float, y: float) -> tuple[float, float]:
        return ((x - west) * narrow + margin) * scale, ((north - y) + margin) * scale

    box = flat(east + margin / narrow, south - margin)
    parts = [_spot(spot, at, flat) for spot, at in drawn]
    drawing = Markup(
        '<svg class="map" viewBox="0 0 {:.0f} {:.0f}" aria-hidden="true" focusable="false">{}{}</svg>'
    ).format(max(box[0], 1), max(box[1], 1), PATTERNS, Markup("").join(parts))
    return DistrictMap(drawing, len(drawn), without, (east - west) * narrow * _M_PER_DEGREE / 1000)


def _corners(at: list[Ring] | tuple[float, float]) -> Iterable[tuple[float, float]]:
    return [at] if isinstance(at, tuple) else [p for ring in at for p in ring]


def _spot(spot: Spot, at: list[Ring] | tuple[float, float], flat: Any) -> Markup:
    classes = f"{spot.verdict}{' here' if spot.here else ''}".strip()
    if isinstance(at, tuple):
        x, y = flat(*at)
        shape = Markup('<circle class="dot {}" cx="{:.1f}" cy="{:.1f}" r="7"/>').format(classes, x, y)
        x += 7
    else:
        x, y = flat(max(p[0] for ring in at for p in ring), sum(p[1] for p in at[0]) / len(at[0]))
        path = " ".join("M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in (flat(*p) for p in ring)) + "Z" for ring in at)
        shape = Markup('<path class="outline {}" fill-rule="evenodd" d="{}"/>').format(classes, path)
    if spot.verdict not in ("", "wait"):  # an outline may be too small for its pattern to be seen
        shape += Markup('<use href="#mark-{}" x="{:.1f}" y="{:.1f}" width="18" height="24"/>').format(
            spot.verdict, x + 3, y - 12
        )
    return Markup('<a href="/places/{}" tabindex="-1"><title>{}</title>{}</a>').format(spot.place.id, spot.title, shape)


PATTERNS = Markup(
    '<defs><pattern id="fill-act" width="9" height="9" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
    '<path class="pattern-line" d="M0 0V9"/></pattern>'
    '<pattern id="fill-look" width="10" height="10" patternUnits="userSpaceOnUse">'
    '<circle class="pattern-dot" cx="5" cy="5" r="1.900"/></pattern>'
    '<pattern id="fill-stop" width="8" height="8" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
    '<path class="pattern-line" d="M0 0V8M0 0H8"/></pattern></defs>'
)


def for_phone(places: Iterable[Place]) -> list[dict[str, Any]]:
    """Places as the phone keeps them: id, name, kind, farm, crop, and rings or a point cut to five decimals (1 m).

    What belongs to a farm comes first.
    """
    out = []
    for place in sorted(places, key=lambda p: not p.farm):
        at = where_is(place)
        item: dict[str, Any] = {"id": place.id, "name": place.name, "kind": place.kind, "farm": place.farm}
        if place.attributes.get("crop"):
            item["crop"] = str(place.attributes["crop"])
        if isinstance(at, tuple):
            item["point"] = [round(at[0], 5), round(at[1], 5)]
        elif at is not None:
            item["rings"] = [[[round(x, 5), round(y, 5)] for x, y in ring] for ring in at]
        out.append(item)
    return out
