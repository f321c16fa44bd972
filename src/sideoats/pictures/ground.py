"""Places at their positions: outlines and marks told apart by their filling, names beside them, a scale and north.

Longitude and latitude are laid flat about the middle of what is drawn (equirectangular), which is true enough within a
few counties; no base map is drawn and nothing is fetched.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

from sideoats.errors import InputError
from sideoats.pictures.axis import Words, words_of
from sideoats.pictures.paper import LINE, Paper, measured
from sideoats.pictures.picture import Picture, Table
from sideoats.pictures.ticks import number_ticks
from sideoats.words import Measured, Reader, say, sentence

Ring = Sequence[tuple[float, float]]
FILLS = ("blank", "dots", "lines", "cross", "solid")  # from the lightest to the heaviest
KM_PER_DEGREE = 111.1949  # of latitude, on the sphere of 6,371 km
MOST_NAMED, MOST_TALL = 300, 0.75
_TOP, _EDGE = 40, 26


@dataclass(frozen=True)
class Spot:
    """One place.

    Attributes
    ----------
    at : (longitude, latitude), degrees; of an outline where it is named, None for the middle of its rings
    rings : its outline, closed rings of (longitude, latitude); () for a mark
    fill : one of `FILLS`
    said : what it says when pointed at
    label : words beside it
    cells : its row in the table after its name
    link : the page about it
    here : the place that the map is about
    """

    name: Words
    at: tuple[float, float] | None = None
    rings: Sequence[Ring] = ()
    fill: str = "blank"
    said: Words = ""
    label: Words = ""
    cells: tuple[Words, ...] = ()
    link: str = ""
    here: bool = False

    @property
    def corners(self) -> list[tuple[float, float]]:
        """Every position of it; none where it has none."""
        found = [p for ring in self.rings for p in ring] or ([self.at] if self.at else [])
        return [p for p in found if math.isfinite(p[0]) and math.isfinite(p[1])]


@dataclass
class _Flat:
    """Degrees to paper."""

    west: float
    north: float
    narrow: float
    scale: float
    left: float
    top: float
    taken: list[tuple[float, float, float, float]] = field(default_factory=list)

    def at(self, place: tuple[float, float]) -> tuple[float, float]:
        x, y = place
        return self.left + (x - self.west) * self.narrow * self.scale, self.top + (self.north - y) * self.scale

    def free(self, box: tuple[float, float, float, float]) -> bool:
        """True where no name stands in the box yet."""
        return all(box[2] <= o[0] or o[2] <= box[0] or box[3] <= o[1] or o[3] <= box[1] for o in self.taken)


@dataclass(frozen=True, kw_only=True)
class Map(Picture):
    """Places on blank paper.

    Attributes
    ----------
    spots : places; those without a position stand in the table only
    path : a way through spots, by their place in `spots`
    key : what the fillings mean, in words
    heads : of the table's columns
    """

    spots: Sequence[Spot]
    path: Sequence[int] = ()
    key: Sequence[tuple[str, Words]] = ()
    heads: Sequence[Words] = ()

    def table(self, reader: Reader) -> Table:
        """One row a place."""
        rows = tuple((words_of(s.name, reader), *(words_of(c, reader) for c in s.cells)) for s in self.spots)
        return Table(tuple(words_of(h, reader) for h in self.heads), rows)

    @property
    def drawn(self) -> int:
        """How many places have a position."""
        return sum(bool(s.corners) for s in self.spots)

    def draw(self, paper: Paper, reader: Reader) -> None:
        """Outlines, marks, names where there is room, scale and key. InputError where no place has a position."""
        placed = [s for s in self.spots if s.corners]
        if not placed:
            raise InputError("no place has a position and a value", where="map")
        flat, tall = _frame(paper, [p for s in placed for p in s.corners])
        _fillings(paper)
        at = {id(s): flat.at(_middle(s)) for s in placed}
        way = [at[id(self.spots[i])] for i in self.path if id(self.spots[i]) in at]
        if len(way) > 1:
            paper.trace(way, width=1.2, dash="4 4")
        for spot in placed:
            _mark(paper, flat, spot, at[id(spot)])
        flat.taken += [(x - 9, y - 9, x + 9, y + 9) for x, y in at.values()]
        if len(placed) <= MOST_NAMED:
            for spot in sorted(placed, key=lambda s: not s.here):
                _label(paper, flat, words_of(spot.label, reader), at[id(spot)], spot.here)
        for spot in placed:
            if spot.said or spot.link:
                paper.point(*at[id(spot)], words_of(spot.said, reader), spot.link)
        foot = self._scale(paper, reader, flat, tall)
        paper.height = self._key(paper, reader, foot)

    def _scale(self, paper: Paper, reader: Reader, flat: _Flat, tall: float) -> float:
        """A bar of a round length at the foot, and north at the head."""
        paper.text(paper.width - 4, 16, sentence(say("picture.north_up"), reader), anchor="end", faded=True)
        unit = reader.unit("mile")
        km = 1.0 if unit == "km" else 1.609344
        across = (paper.width - 2 * _EDGE) / flat.scale * KM_PER_DEGREE / km
        size = number_ticks(0.0, across * 0.42).at[1]
        length = size * km / KM_PER_DEGREE * flat.scale
        y = tall + 18
        paper.line(_EDGE, y, _EDGE + length, y, width=2)
        for x in (_EDGE, _EDGE + length):
            paper.line(x, y - 5, x, y + 5, width=2)
        paper.text(_EDGE + length + 10, y + 5, sentence(say(f"picture.scale.{unit}", size=Measured(size)), reader))
        return y + 12

    def _key(self, paper: Paper, reader: Reader, foot: float) -> float:
        """What the fillings mean, in as many lines as they need."""
        x, y = 10.0, foot + 20
        for fill, words in self.key:
            text = words_of(words, reader)
            wide = 30 + measured(text) + 14
            if x + wide > paper.width and x > 10:
                x, y = 10.0, y + LINE + 6
            _disk(paper, x + 9, y - 5, fill)
            paper.text(x + 24, y, text)
            x += wide
        return y + 10 if self.key else foot + 4


def _frame(paper: Paper, corners: list[tuple[float, float]]) -> tuple[_Flat, float]:
    """The whole of what is drawn, inside the edges; and where its foot is."""
    west, east = min(p[0] for p in corners), max(p[0] for p in corners)
    south, north = min(p[1] for p in corners), max(p[1] for p in corners)
    narrow = math.cos(math.radians((south + north) / 2))
    wide, tall = (east - west) * narrow, north - south
    room = paper.width - 2 * _EDGE - 20
    scale = min(room / max(wide, 1e-4), MOST_TALL * room / max(tall, 1e-4))
    left = _EDGE + 10 + (room - wide * scale) / 2
    flat = _Flat(west, north, narrow, scale, left, _TOP)
    return flat, _TOP + max(tall * scale, 20) + 24


def _middle(spot: Spot) -> tuple[float, float]:
    if spot.at is not None and not spot.rings:
        return spot.at
    ring = spot.rings[0]
    return sum(p[0] for p in ring) / len(ring), sum(p[1] for p in ring) / len(ring)


def _mark(paper: Paper, flat: _Flat, spot: Spot, at: tuple[float, float]) -> None:
    if not spot.rings:
        _disk(paper, *at, spot.fill, here=spot.here)
        return
    path = "".join("M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in map(flat.at, ring)) + "Z" for ring in spot.rings)
    extra = ' class="outline now" stroke-width="4"' if spot.here else ' class="outline" stroke-width="1"'
    paper.parts.append(
        f'<path d="{path}" fill-rule="evenodd" fill="{_paint(paper, spot.fill)}" stroke="currentColor"{extra}/>'
    )
    xs, ys = zip(*(flat.at(p) for p in spot.corners), strict=True)
    small = max(max(xs) - min(xs), max(ys) - min(ys)) < 14
    if small and spot.fill != "blank":  # an outline may be too small for its filling to be seen
        _disk(paper, *at, spot.fill)


def _disk(paper: Paper, x: float, y: float, fill: str, *, here: bool = False) -> None:
    extra = ' class="now" stroke-width="3.5"' if here else ' stroke-width="1.5"'
    paper.parts.append(
        f'<circle cx="{x:.1f}" cy="{y:.1f}" r="8" fill="{_paint(paper, fill)}" stroke="currentColor"{extra}/>'
    )


def _label(paper: Paper, flat: _Flat, text: str, at: tuple[float, float], here: bool) -> None:
    """Words beside a place: right of it, left, under or over; none where every side is taken."""
    if not text:
        return
    x, y = at
    wide = measured(text, bold=here)
    for dx, dy, anchor in ((12, 5, "start"), (-12, 5, "end"), (0, 26, "middle"), (0, -14, "middle")):
        start = x + dx - {"start": 0.0, "end": wide, "middle": wide / 2}[anchor]
        box = (start, y + dy - 15, start + wide, y + dy + 5)
        if start >= 0 and start + wide <= paper.width and flat.free(box):
            flat.taken.append(box)
            paper.text(x + dx, y + dy, text, anchor=anchor, bold=here)
            return


def _paint(paper: Paper, fill: str) -> str:
    return {"blank": "none", "solid": "currentColor"}.get(fill, f"url(#{paper.key}{fill})")


def _fillings(paper: Paper) -> None:
    stroke = 'stroke="currentColor" stroke-width="1.4"'
    slant = 'patternUnits="userSpaceOnUse" patternTransform="rotate(45)"'
    paper.parts.append(
        f'<defs><pattern id="{paper.key}lines" width="6" height="6" {slant}><path d="M0 0V6" {stroke}/></pattern>'
        f'<pattern id="{paper.key}cross" width="6" height="6" {slant}><path d="M0 0V6M0 0H6" {stroke}/></pattern>'
        f'<pattern id="{paper.key}dots" width="6" height="6" patternUnits="userSpaceOnUse">'
        '<circle cx="3" cy="3" r="1.5" fill="currentColor"/></pattern></defs>'
    )
