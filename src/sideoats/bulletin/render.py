"""The bulletin as a page and as PDF (tagged, PDF/UA-1): one set of data, two templates."""

from __future__ import annotations

import itertools
import json
import re
from datetime import UTC, datetime, time, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from sideoats.bulletin.public import Bulletin
from sideoats.bulletin.spoken import made, notes, weather_lines
from sideoats.bulletin.words import Words
from sideoats.decide.laws import median, quantile
from sideoats.pictures import PRINT, STYLE, Axis, Bars, Picture
from sideoats.printed import SHAPES
from sideoats.words import Count, Measured, Name, Reader, say

if TYPE_CHECKING:
    from collections.abc import Mapping

    from sideoats.station import StationDays

_HERE = Path(__file__).parent / "templates"
_WEEKS, MOST_CHARTS = 10, 4
_INK, _NOW, _LETTERS = "#1d1a16", "#702a5b", "Libertinus Serif"
# What the typesetter says of a letter that its font lacks; the letters are replaced, and a line says so.
_LACKING = re.compile(r'the text `"(.+?)"` could not be displayed', re.DOTALL)
_ESCAPED = re.compile(r"\\u\{([0-9a-f]+)\}")
_LATIN, _MOST_TRIES = 0x24F, 40


def verdict_chart(bulletin: Bulletin, words: Words) -> Picture | None:
    """Places by verdict, in the groups of one verdict that are reported; none where they are all of one verdict."""
    verdicts = ("stop", "act", "look")
    counts = [sum(i.places for i in bulletin.items if i.verdict == v and not i.mixed) for v in verdicts]
    if sum(count > 0 for count in counts) < 2:
        return None
    names = [words.verdict(v) for v in verdicts]
    numbers = ", ".join(f"{n} {c}" for n, c in zip(names, counts, strict=True))
    return Bars(
        finding=say("picture.verdicts.title"),
        saying=say("picture.verdicts.says", numbers=numbers),
        names=names,
        values=counts,
        axis=Axis(say("picture.verdicts.axis")),
    )


def rain_charts(records: Mapping[str, StationDays], bulletin: Bulletin) -> list[Picture]:
    """Weekly rain of the last weeks with the usual week of past years, a picture each for the first stations."""
    found = (_rain_chart(record, bulletin) for record in records.values() if "rain" in record.values)
    return list(itertools.islice((picture for picture in found if picture is not None), MOST_CHARTS))


def _rain_chart(record: StationDays, bulletin: Bulletin) -> Picture | None:
    """None where this year's weeks are all unknown, or no past year is whole."""
    first = bulletin.on - timedelta(days=7 * _WEEKS)
    years, rows = record.seasons("rain", first.month, first.day, 7 * _WEEKS)
    weekly = rows.reshape(len(years), _WEEKS, 7).sum(axis=2)
    now = weekly[years == first.year]
    past = weekly[(years < first.year) & ~np.isnan(weekly).any(axis=1)]
    if not len(now) or np.isnan(now).all() or not len(past):
        return None
    told: dict[str, Any] = {
        "name": Name(record.name or record.station), "total": Measured(float(np.nansum(now[0])), unit="mm"),
        "usual": Measured(float(median(past.sum(axis=1))), unit="mm"), "weeks": Count(_WEEKS),
        "years": Count(len(past)),
    }  # fmt: skip
    ends = [first + timedelta(days=7 * (i + 1)) for i in range(_WEEKS)]
    return Bars(
        finding=say("picture.week.rain.title", **told),
        saying=say("picture.week.rain.says", **told),
        names=ends,
        over=say("picture.week.rain.to"),
        values=now[0],
        axis=Axis(say("picture.week.rain.axis"), "mm"),
        usual=median(past, axis=0),
        usual_name=say("picture.week.rain.usual"),
        reach=(quantile(past, 0.1, axis=0), quantile(past, 0.9, axis=0)),
    )


def page(bulletin: Bulletin, words: Words, *, pictures: list[Picture] | None = None) -> str:
    """The bulletin as one HTML page that needs no other file."""
    from jinja2 import Environment, FileSystemLoader
    from markupsafe import Markup

    environment = Environment(loader=FileSystemLoader(_HERE), autoescape=True, trim_blocks=True)
    reader, chart = Reader(words.language), verdict_chart(bulletin, words)
    # Drawings are our own and escape every text in them.
    drawn = [Markup(p.html(reader)) for p in pictures or ()]  # noqa: S704
    return environment.get_template("bulletin.html").render(
        b=bulletin,
        w=words,
        shapes=SHAPES,
        notes=notes(bulletin, words),
        weather=weather_lines(bulletin, words),
        made=made(bulletin, words),
        chart=Markup(chart.html(reader)) if chart else "",  # noqa: S704
        pictures=drawn,
        picture_style=Markup(STYLE),  # noqa: S704
    )


def _picture(picture: Picture | None, reader: Reader) -> dict[str, Any]:
    """A picture for the typesetter: drawn for its page in the letters of the text, in ink and one colour."""
    if picture is None:
        return {"svg": "", "title": "", "summary": "", "columns": [], "rows": []}
    svg = picture.drawing(PRINT, reader).replace("sans-serif", _LETTERS)
    svg = re.sub(r'<[^>]*class="now"[^>]*>', lambda tag: tag[0].replace("currentColor", _NOW), svg)
    svg = svg.replace("currentColor", _INK)
    table = picture.table(reader)
    return {
        "svg": svg.replace("currentColor", _INK).replace("<text", "<text"),
        "title": picture.title_for(reader),
        "summary": picture.summary_for(reader),
        "columns": table.columns,
        "rows": table.rows,
    }


def pdf(bulletin: Bulletin, words: Words, *, pictures: list[Picture] | None = None) -> bytes:
    """The bulletin as tagged PDF, checked against PDF/UA-1 while it is made; the same data give the same bytes."""
    import typst

    reader = Reader(words.language)
    data = {
        "title": bulletin.title, "language": bulletin.language, "opening": bulletin.opening,
        "closing": bulletin.closing,
        "items": [
            {"verdict": i.verdict, "word": i.word, "shape": SHAPES[i.verdict], "title": i.title,
             "sentence": i.sentence, "reminder": i.reminder}
            for i in bulletin.items
        ],
        "hazards": list(bulletin.hazards), "stop": f"{SHAPES['stop']} {words.verdict('stop').upper()}",
        "notes": notes(bulletin, words), "weather": weather_lines(bulletin, words), "cautions": list(bulletin.cautions),
        "made": made(bulletin, words), "chart": _picture(verdict_chart(bulletin, words), reader),
        "pictures": [_picture(p, reader) for p in pictures or ()],
        "unprinted": "", "labels": {k: words.phrase(k) for k in ("what_to_do", "how_many", "weather", "care")},
    }  # fmt: skip
    made_at = datetime.combine(bulletin.on, time(12, 0), tzinfo=UTC)
    text = json.dumps(data, ensure_ascii=False)
    for attempt in range(_MOST_TRIES):
        try:
            found = typst.compile(
                (_HERE / "bulletin.typ").read_bytes(),
                format="pdf",
                sys_inputs={"data": text},
                pdf_standards=["ua-1"],
                timestamp=made_at,
                ignore_system_fonts=True,
            )
            return bytes(found)
        except typst.TypstError as error:
            named = _ESCAPED.sub(lambda m: chr(int(m[1], 16)), "".join(_LACKING.findall(str(error))))
            lacking = set(named) if attempt < _MOST_TRIES - 2 else set(text)
            lacking = {letter for letter in lacking if ord(letter) > _LATIN}
            if not lacking:
                raise
            data["unprinted"] = words.phrase("unprinted")
            text = "".join("?" if c in lacking else c for c in json.dumps(data, ensure_ascii=False))
            data = json.loads(text)
    raise AssertionError("the last try prints Latin letters only")
