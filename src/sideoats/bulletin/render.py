"""The bulletin as a page and as PDF (tagged, PDF/UA-1): one set of data, two templates."""

from __future__ import annotations

import itertools
from datetime import timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from sideoats.bulletin.public import Bulletin
from sideoats.bulletin.spoken import made, notes, weather_lines
from sideoats.bulletin.typeset import printed_picture, typeset
from sideoats.bulletin.words import Words
from sideoats.decide.laws import median, quantile
from sideoats.pictures import STYLE, Axis, Bars, Picture
from sideoats.printed import SHAPES
from sideoats.words import Count, Measured, Name, Reader, say

if TYPE_CHECKING:
    from collections.abc import Mapping

    from sideoats.station import StationDays

_HERE = Path(__file__).parent / "templates"
_WEEKS, MOST_CHARTS = 10, 4


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


def pdf(bulletin: Bulletin, words: Words, *, pictures: list[Picture] | None = None) -> bytes:
    """The bulletin as tagged PDF, checked against PDF/UA-1 while it is made; the same data give the same bytes."""
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
        "made": made(bulletin, words), "chart": printed_picture(verdict_chart(bulletin, words), reader),
        "pictures": [printed_picture(p, reader) for p in pictures or ()],
        "labels": {k: words.phrase(k) for k in ("what_to_do", "how_many", "weather", "care")},
    }  # fmt: skip
    return typeset(_HERE / "bulletin.typ", data, bulletin.on, words.phrase("unprinted"))
