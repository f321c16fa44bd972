"""The bulletin as a page and as PDF (tagged, PDF/UA-1): one set of data, two templates."""

from __future__ import annotations

import json
from datetime import UTC, datetime, time
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from sideoats.bulletin.public import Bulletin
from sideoats.bulletin.spoken import made, notes, weather_lines
from sideoats.bulletin.words import Words
from sideoats.pictures import Line as PictureLine
from sideoats.pictures import Picture, bars, lines
from sideoats.printed import SHAPES

if TYPE_CHECKING:
    from collections.abc import Mapping

    from sideoats.station import StationDays

_HERE = Path(__file__).parent / "templates"
_WEEKS = 10


def verdict_chart(bulletin: Bulletin, words: Words) -> Picture | None:
    """Places by verdict, in the groups of one verdict that are reported; none where they are all of one verdict."""
    verdicts = ("stop", "act", "look")
    counts = [sum(i.places for i in bulletin.items if i.verdict == v and not i.mixed) for v in verdicts]
    if sum(count > 0 for count in counts) < 2:
        return None
    names = [words.verdict(v) for v in verdicts]
    numbers = ", ".join(f"{n} {c}" for n, c in zip(names, counts, strict=True))
    title, summary = words.phrase("chart_title"), words.phrase("chart_summary", numbers=numbers)
    return bars(title, summary, names, counts, unit=words.phrase("places"))


def rain_chart(records: Mapping[str, StationDays], bulletin: Bulletin, words: Words) -> Picture | None:
    """Weekly rain of the last weeks at each station, with the band of past years of the first."""
    from datetime import timedelta

    first = bulletin.on - timedelta(days=7 * _WEEKS)
    series, past = [], None
    for record in records.values():
        years, rows = record.seasons("rain", first.month, first.day, 7 * _WEEKS)
        weekly = rows.reshape(len(years), _WEEKS, 7).sum(axis=2)
        now = weekly[years == first.year]
        if not len(now) or np.isnan(now).all():
            continue
        if past is None:
            past = weekly[(years < first.year) & ~np.isnan(weekly).any(axis=1)]
        series.append(PictureLine(record.name or record.station, now[0]))
    if not series or past is None or not len(past):
        return None
    usual = np.median(past, axis=0)
    low, high = np.quantile(past, 0.1, axis=0), np.quantile(past, 0.9, axis=0)
    series.append(PictureLine(words.phrase("usual"), usual, low, high))
    total = float(np.nansum(np.asarray(series[0].y, dtype=float)))
    title = words.phrase("rain_title", total=words.rain(total), usual=words.rain(float(np.median(past.sum(axis=1)))))
    summary = words.phrase("rain_summary", weeks=_WEEKS, years=len(past))
    ends = [first + timedelta(days=7 * (i + 1)) for i in range(_WEEKS)]
    names = [words.day(d) for d in ends]
    x = np.array([float(d.toordinal()) for d in ends])
    shown = [i for i in range(_WEEKS) if i % 2 == 0]
    ticks = ([x[i] for i in shown], [f"{ends[i].day} {words.list('months')[ends[i].month - 1][:3]}" for i in shown])
    return lines(
        title, summary, x, series, x_label=words.phrase("week_to"), y_label="mm", x_ticks=ticks, x_names=names
    )  # fmt: skip


def page(bulletin: Bulletin, words: Words, *, pictures: list[Picture] | None = None) -> str:
    """The bulletin as one HTML page that needs no other file."""
    from jinja2 import Environment, FileSystemLoader
    from markupsafe import Markup

    environment = Environment(loader=FileSystemLoader(_HERE), autoescape=True, trim_blocks=True)
    chart = verdict_chart(bulletin, words)
    # Drawings are our own and escape every text in them.
    drawn = [Markup(p.html()) for p in pictures or ()]  # noqa: S704
    return environment.get_template("bulletin.html").render(
        b=bulletin, w=words, shapes=SHAPES, notes=notes(bulletin, words), weather=weather_lines(bulletin, words),
        made=made(bulletin, words), chart=Markup(chart.html()) if chart else "", pictures=drawn,  # noqa: S704
    )  # fmt: skip


def _picture(picture: Picture | None) -> dict[str, Any]:
    if picture is None:
        return {"svg": "", "title": "", "summary": "", "columns": [], "rows": []}
    svg = picture.svg.replace("currentColor", "#1d1b16")
    return {
        "svg": svg,
        "title": picture.title,
        "summary": picture.summary,
        "columns": picture.columns,
        "rows": picture.rows,
    }


def pdf(bulletin: Bulletin, words: Words, *, pictures: list[Picture] | None = None) -> bytes:
    """The bulletin as tagged PDF, checked against PDF/UA-1 while it is made; the same data give the same bytes."""
    import typst

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
        "made": made(bulletin, words), "chart": _picture(verdict_chart(bulletin, words)),
        "pictures": [_picture(p) for p in pictures or ()],
        "labels": {k: words.phrase(k) for k in ("what_to_do", "how_many", "weather", "care")},
    }  # fmt: skip
    made_at = datetime.combine(bulletin.on, time(12, 0), tzinfo=UTC)
    found = typst.compile(
        (_HERE / "bulletin.typ").read_bytes(),
        format="pdf",
        sys_inputs={"data": json.dumps(data)},
        pdf_standards=["ua-1"],
        timestamp=made_at,
        ignore_system_fonts=True,
    )
    return bytes(found)
