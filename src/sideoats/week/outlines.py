"""Outlines of places: checked GeoJSON, the map of a district, and places as the phone keeps them.

References
----------
RFC 7946, The GeoJSON Format, 2016: longitude before latitude, WGS84, first position equal to the last.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sideoats.errors import InputError
from sideoats.ledger import Place
from sideoats.pictures import Map, Picture, Spot
from sideoats.words import Count, say

Ring = list[tuple[float, float]]
MOST_VERTICES, MOST_RINGS = 5_000, 200


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


FILLS = {"stop": "cross", "act": "lines", "look": "dots"}  # darker as it presses more; blank for the rest
MOST_LABELS = 60


@dataclass(frozen=True)
class OnMap:
    """One place on the map: its verdict, what is said of it, and whether the page is about it."""

    place: Place
    verdict: str
    title: str
    here: bool = False


def places_map(places: Sequence[OnMap], numbers: Mapping[str, str] | None = None) -> Picture | None:
    """Outlines and points filled by verdict, each leading to its place; None where none has a position.

    `numbers` are what a list calls the places, by id: a map that stands beside one bears them before the names.
    """
    spots = [_spot(p, len(places) <= MOST_LABELS, (numbers or {}).get(p.place.id, "")) for p in places]
    drawn = sum(bool(s.corners) for s in spots)
    if not drawn:
        return None
    told = any(p.verdict for p in places)
    key = [(FILLS.get(v, "blank"), say(f"picture.places.{v}")) for v in ("stop", "act", "look", "wait")]
    return Map(
        finding=say("picture.places.title", n=Count(drawn)),
        saying=say("picture.places.says") if told else "",
        spots=spots,
        key=key if told else (),
        heads=(say("picture.place"), say("picture.places.verdict")),
    )


def _spot(p: OnMap, labelled: bool, number: str) -> Spot:
    at = where_is(p.place)
    verdict = say(f"picture.places.{p.verdict}") if p.verdict in FILLS else say("picture.places.wait")
    return Spot(
        p.place.name,
        at if isinstance(at, tuple) else None,
        rings=at if isinstance(at, list) else (),
        fill=FILLS.get(p.verdict, "blank"),
        said=p.title,
        label=f"{number} {p.place.name}".strip() if labelled or p.here else number,
        cells=(verdict,),
        link=f"/places/{p.place.id}",
        here=p.here,
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
