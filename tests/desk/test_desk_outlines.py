"""Outlines and the map: what is drawn, what is refused, and distances against geodesic ones."""

from __future__ import annotations

import contextlib
import json
import math
import re
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sideoats.errors import InputError
from sideoats.ledger import Place
from sideoats.week.outlines import OnMap, for_phone, places_map, rings, where_is


def square(west: float, south: float, side: float) -> dict[str, Any]:
    east, north = west + side, south + side
    return {
        "type": "Polygon",
        "coordinates": [[[west, south], [east, south], [east, north], [west, north], [west, south]]],
    }


def place(key: str, **attributes: Any) -> Place:
    return Place(key, "farm", f"name of {key}", "field", attributes)


def test_polygons_with_holes_and_parts_are_read() -> None:
    holed = square(-99, 38, 1)
    holed["coordinates"].append(square(-98.6, 38.4, 0.1)["coordinates"][0])
    both = {"type": "MultiPolygon", "coordinates": [holed["coordinates"], square(-97, 38, 1)["coordinates"]]}
    assert [len(r) for r in rings(holed)] == [5, 5]
    assert len(rings(both)) == 3
    open_ring = square(-99, 38, 1)
    open_ring["coordinates"][0].pop()
    assert rings(open_ring)[0][0] == rings(open_ring)[0][-1]  # closed where the file forgot to


@pytest.mark.parametrize(
    "wrong",
    [
        None, [], "POINT(1 2)", {"type": "Point", "coordinates": [1, 2]}, {"type": "Polygon"},
        {"type": "Polygon", "coordinates": []}, {"type": "Polygon", "coordinates": [[]]},
        {"type": "Polygon", "coordinates": [[[0, 0], [1, 0], [0, 0]]]},
        {"type": "Polygon", "coordinates": [[[0, 0], [1, 0], [1, "x"], [0, 0]]]},
        {"type": "Polygon", "coordinates": [[[0, 0], [1, 0], [1, math.nan], [0, 0]]]},
        {"type": "Polygon", "coordinates": [[[0, 0], [200, 0], [1, 1], [0, 0]]]},
        {"type": "Polygon", "coordinates": [[[0, 0], [True, 0], [1, 1], [0, 0]]]},
        {"type": "Polygon", "coordinates": [[[i / 1e4, 0] for i in range(6000)]]},
        {"type": "MultiPolygon", "coordinates": 3}, {"type": "GeometryCollection", "geometries": []},
    ],
)  # fmt: skip
def test_what_is_no_outline_is_refused_in_one_line(wrong: Any) -> None:
    with pytest.raises(InputError) as caught:
        rings(wrong)
    assert "\n" not in str(caught.value)


ANYTHING = st.recursive(
    st.none() | st.booleans() | st.floats() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=5) | st.dictionaries(st.sampled_from(["type", "coordinates"]), inner),
)


@given(ANYTHING)
def test_nothing_breaks_the_reader(value: Any) -> None:
    with contextlib.suppress(InputError):
        assert all(len(r) >= 4 for r in rings(value))
    where_is(place("a", outline=value))


def test_the_map_keeps_shape_and_names() -> None:
    spots = [
        OnMap(place("a", outline=square(-99.0, 38.0, 0.01)), "act", 'A "quoted" <name>'),
        OnMap(place("b", longitude=-98.9, latitude=38.05), "", "b"),
        OnMap(place("c"), "", "c"),
    ]
    found = places_map(spots)
    assert found is not None and found.title == "2 places drawn" and len(found.rows) == 3
    assert found.rows[0] == ("name of a", "act") and found.rows[2][1] == "wait, or no call"
    assert "<name>" not in found.svg and "&lt;name&gt;" in found.svg
    assert 'data-link="/places/a"' in found.svg
    path = re.search(r'<path d="M([^"]+)Z" fill-rule="evenodd" fill="url\(#\w+lines\)"', found.svg)
    assert path is not None
    points = [tuple(map(float, p.split())) for p in path.group(1).split("L")]
    wide, high = (
        max(x for x, _ in points) - min(x for x, _ in points),
        max(y for _, y in points) - min(y for _, y in points),
    )
    # a hundredth of a degree of longitude at 38 N is cos(38 deg) as long as one of latitude
    assert wide / high == pytest.approx(math.cos(math.radians(38.025)), rel=2e-3)
    south_west = min(points, key=lambda p: (p[0], -p[1]))
    assert south_west[1] == max(y for _, y in points)  # north is up


def test_an_empty_map_is_no_map() -> None:
    assert places_map([]) is None and places_map([OnMap(place("a"), "", "a")]) is None


def test_one_point_alone_is_drawn() -> None:
    found = places_map([OnMap(place("a", longitude=-98.9, latitude=38.0), "", "a")])
    assert found is not None and "nan" not in found.svg.lower() and "inf" not in found.svg


def test_the_phone_gets_what_it_needs_and_no_more() -> None:
    own = place("a", outline=square(-99.123456789, 38.0, 0.01), crop="wheat", contact="private", price="5 USD/bu")
    assert for_phone([Place("s", "", "station", "station", {"latitude": 38.0, "longitude": -99.0}), own]) == [
        {"id": "a", "name": "name of a", "kind": "field", "farm": "farm", "crop": "wheat",
         "rings": [[[-99.12346, 38.0], [-99.11346, 38.0], [-99.11346, 38.01], [-99.12346, 38.01], [-99.12346, 38.0]]]},
        {"id": "s", "name": "station", "kind": "station", "farm": "", "point": [-99.0, 38.0]},
    ]  # fmt: skip
    assert "private" not in json.dumps(for_phone([own]))
