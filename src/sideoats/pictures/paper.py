"""What pictures are drawn on: SVG by presentation attributes alone, so that a page without inline styles shows it.

One ink (``currentColor``) in tints and dashes; what is now or the best estimate carries the class ``now``, which a page
may colour and which is drawn heavier anyway, so that nothing rests on colour. All text is escaped.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from html import escape

SIZE = 16  # of letters: about that of the prose beside the picture
LINE = 20  # from one line of text to the next
DASHES = ("", "7 4", "2 3", "10 3 2 3", "1 5")
# Advances of the widest sans-serif letters in common use (DejaVu Sans; measured with its own tables), in ems, so that a
# drawing holds whatever letters the reader's machine has. Bold letters are about a ninth wider.
_EMS = {
    0.29: "'ijlIJ", 0.35: " ,./:;|f-", 0.4: "()[]!t", 0.42: "r", 0.53: "°–sz?*_c", 0.6: "LFkvxyPTYao",
    0.64: "eEhSbdgnpqu$0123456789", 0.7: "KAVBRXZC", 0.79: "UHNDGOQ&", 0.86: "wM#+<=>−→", 1.0: "%mW@…",
}  # fmt: skip
_WIDTHS = {letter: ems for ems, letters in _EMS.items() for letter in letters}


def measured(text: str, size: float = SIZE, *, bold: bool = False) -> float:
    """How wide a text is in the widest letters that are usual; in others it is up to a sixth less."""
    ems = sum(_WIDTHS.get(c, 0.64) for c in text)
    return ems * size * (1.12 if bold else 1.0)


def wrapped(text: str, width: float, most: int = 3, *, bold: bool = False) -> list[str]:
    """A text in lines no wider than `width` where its words allow, at most so many; what is left out is marked."""
    lines: list[str] = []
    for word in text.split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and measured(longer, bold=bold) <= width:
            lines[-1] = longer
        else:
            lines.append(word)
    kept = lines[:most]
    if len(lines) > most:
        kept[-1] += "…"
    return [_cut(line, width, bold) for line in kept]


def _cut(line: str, width: float, bold: bool) -> str:
    if measured(line, bold=bold) <= width:
        return line
    while line and measured(line + "…", bold=bold) > width:
        line = line[:-1]
    return line.rstrip() + "…"


@dataclass
class Paper:
    """A drawing of some width; `height` is set by what is drawn. `key` makes its ids its own."""

    width: float
    key: str
    height: float = 300.0
    parts: list[str] = field(default_factory=list)

    @property
    def narrow(self) -> bool:
        """Drawn for a phone."""
        return self.width < 480

    def line(
        self,
        x1: float,
        y1: float,
        x2: float,
        y2: float,
        *,
        width: float = 1,
        dash: str = "",
        faint: bool = False,
        now: bool = False,
    ) -> None:
        """A stroke."""
        extra = (f' stroke-dasharray="{dash}"' if dash else "") + (' stroke-opacity="0.25"' if faint else "")
        self.parts.append(
            f'<path d="M{x1:.1f} {y1:.1f}L{x2:.1f} {y2:.1f}" stroke="currentColor" stroke-width="{width:g}"'
            f"{_now(now)}{extra}/>"
        )

    def trace(
        self, points: Sequence[tuple[float, float]], *, width: float = 2, dash: str = "", now: bool = False
    ) -> None:
        """A line through points."""
        extra = f' stroke-dasharray="{dash}"' if dash else ""
        self.parts.append(
            f'<path d="M{_joined(points)}" fill="none" stroke="currentColor" stroke-width="{width:g}"'
            f' stroke-linejoin="round"{_now(now)}{extra}/>'
        )

    def area(self, points: Sequence[tuple[float, float]], tint: float) -> None:
        """A tinted area with an edge."""
        self.parts.append(
            f'<path d="M{_joined(points)}Z" fill="currentColor" fill-opacity="{tint:g}" stroke="currentColor" '
            'stroke-opacity="0.55" stroke-width="0.8"/>'
        )

    def box(self, x: float, y: float, width: float, height: float, *, fill: str = "solid", edge: bool = True) -> None:
        """A rectangle: solid, blank, tint, or hatched (what loses, or cannot be used)."""
        fills = {
            "solid": "currentColor", "blank": "none", "tint": 'currentColor" fill-opacity="0.12',
            "hatched": f"url(#{self.key}h)",
        }  # fmt: skip
        line = ' stroke="currentColor"' if edge else ""
        self.parts.append(
            f'<rect x="{x:.1f}" y="{y:.1f}" width="{max(width, 0.5):.1f}" height="{max(height, 0.5):.1f}" '
            f'fill="{fills[fill]}"{line}/>'
        )

    def dot(self, x: float, y: float, radius: float = 4.5, *, now: bool = False, ring: bool = False) -> None:
        """A dot, or an open ring."""
        fill = "none" if ring else "currentColor"
        self.parts.append(
            f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{radius:g}" fill="{fill}" stroke="currentColor"'
            f' stroke-width="1.5"{_now(now)}/>'
        )

    def shape(self, path: str, *, fill: str = "currentColor", width: float = 1, now: bool = False) -> None:
        """A path of one's own."""
        self.parts.append(f'<path d="{path}" fill="{fill}" stroke="currentColor" stroke-width="{width:g}"{_now(now)}/>')

    def text(
        self,
        x: float,
        y: float,
        words: str,
        *,
        anchor: str = "start",
        bold: bool = False,
        now: bool = False,
        faded: bool = False,
    ) -> None:
        """Words whose foot is at y."""
        if not words:
            return
        where = f' text-anchor="{anchor}"' if anchor != "start" else ""
        weight = ' font-weight="600"' if bold or now else ""
        pale = ' fill-opacity="0.8"' if faded else ""
        ink = f' fill="currentColor"{_now(now)}' if now else pale
        self.parts.append(f'<text x="{x:.1f}" y="{y:.1f}"{where}{weight}{ink}>{escape(words)}</text>')

    def texts(self, x: float, y: float, lines: Sequence[str], **how: bool | str) -> None:
        """Lines of words, the first with its foot at y."""
        for at, line in enumerate(lines):
            self.text(x, y + at * LINE, line, **how)  # type: ignore[arg-type]

    def hatching(self) -> None:
        """The hatch that boxes refer to."""
        self.parts.append(
            f'<defs><pattern id="{self.key}h" width="6" height="6" patternUnits="userSpaceOnUse" '
            'patternTransform="rotate(45)"><path d="M0 0V6" stroke="currentColor" stroke-width="1.6" '
            'stroke-opacity="0.6"/></pattern></defs>'
        )

    def point(self, x: float, y: float, said: str, link: str = "") -> None:
        """A place that says its value when pointed at, without a script as the browser shows titles."""
        target = f' data-link="{escape(link)}"' if link else ""
        self.parts.append(
            f'<circle class="point" cx="{x:.1f}" cy="{y:.1f}" r="10" fill="none" pointer-events="all"{target}>'
            f"<title>{escape(said)}</title></circle>"
        )

    def svg(self, title: str, summary: str) -> str:
        """The whole drawing with its title and description for assistive software."""
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {self.width:g} {self.height:.0f}" '
            f'width="{self.width:g}" height="{self.height:.0f}" role="img" '
            f'aria-labelledby="{self.key}t {self.key}d" font-family="sans-serif" font-size="{SIZE}" '
            f'fill="currentColor"><title id="{self.key}t">{escape(title)}</title>'
            f'<desc id="{self.key}d">{escape(summary)}</desc>{"".join(self.parts)}</svg>'
        )


def _joined(points: Sequence[tuple[float, float]]) -> str:
    return "L".join(f"{x:.1f} {y:.1f}" for x, y in points)


def _now(now: bool) -> str:
    return ' class="now"' if now else ""
