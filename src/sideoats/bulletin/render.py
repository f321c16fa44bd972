"""The edition as a page and as PDF (tagged, PDF/UA-1): one set of data, two templates."""

from __future__ import annotations

from pathlib import Path

from sideoats.bulletin.public import Bulletin
from sideoats.bulletin.spoken import made
from sideoats.bulletin.typeset import printed_picture, typeset
from sideoats.bulletin.words import Words
from sideoats.pictures import STYLE
from sideoats.printed import SHAPES
from sideoats.words import Reader, say, sentence

_HERE = Path(__file__).parent / "templates"


def _labels(words: Words) -> dict[str, str]:
    reader = Reader(words.language)
    return {"stories": sentence(say("edition.stories"), reader), "care": words.phrase("care")}


def page(bulletin: Bulletin, words: Words) -> str:
    """The edition as one HTML page that needs no other file."""
    from jinja2 import Environment, FileSystemLoader
    from markupsafe import Markup

    environment = Environment(loader=FileSystemLoader(_HERE), autoescape=True, trim_blocks=True)
    reader = Reader(words.language)
    # Drawings are our own and escape every text in them.
    drawn = {s.key: Markup(s.picture.html(reader)) for s in bulletin.stories if s.picture}  # noqa: S704
    return environment.get_template("bulletin.html").render(
        b=bulletin,
        w=words,
        labels=_labels(words),
        shapes=SHAPES,
        drawn=drawn,
        made=made(bulletin, words),
        picture_style=Markup(STYLE),  # noqa: S704
    )


def pdf(bulletin: Bulletin, words: Words) -> bytes:
    """The edition as tagged PDF, checked against PDF/UA-1 while it is made; the same data give the same bytes."""
    reader = Reader(words.language)
    data = {
        "title": bulletin.title, "language": bulletin.language, "opening": bulletin.opening,
        "closing": bulletin.closing,
        "stories": [
            {"head": s.headline, "text": s.text, "caution": s.caution, "source": s.source,
             "picture": printed_picture(s.picture, reader, _COLUMN)}
            for s in bulletin.stories
        ],
        "parts": [
            {"title": p.title, "columns": list(p.columns), "rows": [list(r) for r in p.rows], "lines": list(p.lines)}
            for p in bulletin.parts
        ],
        "hazards": list(bulletin.hazards), "stop": f"{SHAPES['stop']} {words.verdict('stop').upper()}",
        "cautions": list(bulletin.cautions), "made": made(bulletin, words), "counted": bulletin.counted,
        "labels": _labels(words),
    }  # fmt: skip
    return typeset(_HERE / "bulletin.typ", data, bulletin.on, words.phrase("unprinted"))


_COLUMN = 390.0  # pixels of a picture drawn for one of two columns
