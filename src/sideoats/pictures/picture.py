"""A picture: its finding as a title, a sentence, the numbers as a table, and drawings for a page and for a phone."""

from __future__ import annotations

import zlib
from dataclasses import dataclass
from html import escape

from sideoats.pictures.axis import Words, words_of
from sideoats.pictures.paper import Paper
from sideoats.words import Reader, say, sentence

WIDE, PHONE, PRINT = 560, 344, 680  # widths that are drawn for; letters are of one size in all
MOST_ROWS = 400
READER = Reader()
# Which drawing is shown, and its one colour; for pages that carry their own style.
STYLE = (
    ".picture { container-type: inline-size; } .picture svg { display: block; width: 100%; height: auto; }"
    " .picture .wide svg { max-width: 40rem; } .picture .phone svg { max-width: 26rem; }"
    " .picture .phone { display: none; }"
    " @container (max-width: 29.9rem) { .picture .wide { display: none; } .picture .phone { display: block; } }"
    " .picture figcaption { font-weight: 600; }"
)


@dataclass(frozen=True)
class Table:
    """The numbers behind a picture, as text."""

    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, kw_only=True)
class Picture:
    """A chart with all that a reader who cannot see it needs, told to any reader.

    Attributes
    ----------
    finding : one sentence that says what is found
    saying : the same in words with the numbers that matter
    """

    finding: Words
    saying: Words

    def table(self, reader: Reader) -> Table:
        """The numbers as text."""
        raise NotImplementedError

    def draw(self, paper: Paper, reader: Reader) -> None:
        """Put the drawing on paper, and set its height."""
        raise NotImplementedError

    def title_for(self, reader: Reader) -> str:
        """The finding in the reader's words."""
        return words_of(self.finding, reader)

    def summary_for(self, reader: Reader) -> str:
        """The sentence in the reader's words."""
        return words_of(self.saying, reader)

    def drawing(self, width: float = WIDE, reader: Reader = READER) -> str:
        """The drawing for a width, one ``<svg>`` element."""
        title, summary = self.title_for(reader), self.summary_for(reader)
        key = f"p{zlib.crc32(f'{title}{summary}{width:g}'.encode()):08x}"
        paper = Paper(width, key)
        paper.hatching()
        self.draw(paper, reader)
        return paper.svg(title, summary)

    def html(self, reader: Reader = READER) -> str:
        """A ``<figure>`` with the drawing for pages and the one for phones, the sentence, and the table folded."""
        title, summary = escape(self.title_for(reader)), escape(self.summary_for(reader))
        codes = ("numbers", "behind", "read_values")
        said, values, aid = (escape(sentence(say(f"picture.{code}"), reader)) for code in codes)
        return (
            f'<figure class="picture" data-read="{aid}"><figcaption><b>{title}</b></figcaption>'
            f'<div class="wide">{self.drawing(WIDE, reader)}</div>'
            f'<div class="phone">{self.drawing(PHONE, reader)}</div>'
            f'<p class="aside">{summary}</p><details><summary>{said}</summary>'
            f'<div class="scroller" tabindex="0" role="region" aria-label="{values}: {title}">'
            f"{_table(self.table(reader))}</div></details></figure>"
        )

    @property
    def title(self) -> str:
        """The finding in English."""
        return self.title_for(READER)

    @property
    def summary(self) -> str:
        """The sentence in English."""
        return self.summary_for(READER)

    @property
    def columns(self) -> tuple[str, ...]:
        """Heads of the table in English."""
        return self.table(READER).columns

    @property
    def rows(self) -> tuple[tuple[str, ...], ...]:
        """Rows of the table in English."""
        return self.table(READER).rows

    @property
    def svg(self) -> str:
        """The drawing for a page in English."""
        return self.drawing()


def _table(table: Table) -> str:
    head = "".join(f'<th scope="col"{_figures(at)}>{escape(c)}</th>' for at, c in enumerate(table.columns))
    body = "".join(
        "<tr>"
        + "".join(
            f'<td class="figures">{escape(c)}</td>' if at else f'<th scope="row">{escape(c)}</th>'
            for at, c in enumerate(row)
        )
        + "</tr>"
        for row in table.rows[:MOST_ROWS]
    )
    return f"<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"


def _figures(at: int) -> str:
    return ' class="figures"' if at else ""
