"""Forecasts in the Digital Weather Markup Language (DWML), the weather service's XML.

Structure as its answers show it: `time-layout` elements hold starts and ends under a key, `parameters` name their
layout, their unit and their values in order; ``xsi:nil="true"`` is a value that is not known.
"""

from __future__ import annotations

import math
from datetime import datetime
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

from sideoats import units
from sideoats.errors import InputError
from sideoats.intake.expected import PLACE, UNITS, Expected, Span, fill_days, fill_hours, moment, rain_chances
from sideoats.intake.rows import read_text
from sideoats.intake.taken import Draft, Format, Taken
from sideoats.station import Rejected

_NIL = "{http://www.w3.org/2001/XMLSchema-instance}nil"
_UNITS = {
    "Fahrenheit": "degF", "Celsius": "degC", "percent": "percent", "inches": "inch", "knots": "knot",
    "meters/second": "m/s", "miles/hour": "mph", "centimeters": "cm", "millimeters": "mm", "degrees true": "degree",
}  # fmt: skip
_PARAMETERS = {  # (element, its type) -> our name
    ("temperature", "maximum"): "high",
    ("temperature", "minimum"): "low",
    ("temperature", "hourly"): "temperature",
    ("humidity", "relative"): "humidity",
    ("wind-speed", "sustained"): "wind",
    ("direction", "wind"): "wind_from",
    ("probability-of-precipitation", "12 hour"): "rain_chance",
    ("precipitation", "liquid"): "rain",
}


def read_dwml(path: str | Path, *, place: str | None = None) -> Taken:
    """The forecasts of a DWML document, one for each of its points.

    Parameters
    ----------
    path : the file
    place : id of the place that it is for; its points' positions decide where None

    Raises
    ------
    InputError : no DWML, no issue time, or nothing in it that can be used
    """
    name = Path(path).name
    root = _root(read_text(path), name)
    issued = root.findtext("head/product/creation-date")
    if issued is None:
        raise InputError("does not say when it was issued", where=name, expected="head/product/creation-date")
    drafts: list[Draft] = []
    rejected: list[Rejected] = []
    notes: list[str] = []
    for data in root.iter("data"):
        points = {location.findtext("location-key", ""): location.find("point") for location in data.iter("location")}
        layouts = _layouts(data, rejected)
        for parameters in data.iter("parameters"):
            point = points.get(parameters.get("applicable-location", ""))
            held = {} if point is None else point.attrib
            latitude, longitude = (float(held.get(key, "nan")) for key in ("latitude", "longitude"))
            try:
                found = _forecast(parameters, layouts, moment(issued), rejected)
            except ValueError as error:
                raise InputError(f"is not as the service writes it ({error})", where=name) from None
            if found is None:
                continue
            found.latitude, found.longitude = latitude, longitude
            if place is None and not math.isfinite(latitude):
                raise InputError("has no position", where=name, expected="place=ID of the place that it is for")
            drafts += found.drafts(place)
            notes.append(f"issued {found.issued:%d %b %Y %H:%M %z}: {len(found.days)} days, {len(found.hours)} hours")
    if not drafts:
        raise InputError("holds no day that can be used", where=name)
    return Taken(tuple(drafts), tuple(rejected), tuple(notes))


def _root(text: str, name: str) -> ElementTree.Element:
    if "<!DOCTYPE" in text or "<!ENTITY" in text:  # a service sends none; entities can be made to grow without end
        raise InputError("declares a document type or entities", where=name, expected="plain DWML")
    try:
        root = ElementTree.fromstring(text)  # noqa: S314 - no entity can be declared in what gets here
    except ElementTree.ParseError as error:
        raise InputError(f"is not XML ({error})", where=name) from None
    if root.tag != "dwml":
        raise InputError(f"is not DWML but {root.tag[:40]!r}", where=name)
    return root


def _layouts(data: ElementTree.Element, rejected: list[Rejected]) -> dict[str, list[tuple[datetime, datetime]]]:
    out = {}
    for layout in data.iter("time-layout"):
        key = layout.findtext("layout-key", "")
        try:
            starts = [moment(e.text or "") for e in layout.iter("start-valid-time")]
            ends = [moment(e.text or "") for e in layout.iter("end-valid-time")]
        except ValueError as error:
            rejected.append(Rejected(0, f"time layout {key}: {error}"))
            continue
        if not ends:  # values at a time: each stands until the next
            ends = [*starts[1:], starts[-1] + (starts[-1] - starts[-2])] if len(starts) > 1 else list(starts)
        out[key] = list(zip(starts, ends, strict=len(starts) == len(ends)))
    return out


def _forecast(
    parameters: ElementTree.Element,
    layouts: dict[str, list[tuple[datetime, datetime]]],
    issued: datetime,
    rejected: list[Rejected],
) -> Expected | None:
    spans: dict[str, list[Span]] = {}
    for element in parameters:
        ours = _PARAMETERS.get((element.tag, element.get("type", "")))
        if ours is None:
            continue
        own = element.get("units", "")
        values, times = element.findall("value"), layouts.get(element.get("time-layout", ""))
        if own not in _UNITS or times is None or len(times) != len(values):
            why = f"unit {own!r} is not known" if own not in _UNITS else "its times do not fit its values"
            rejected.append(Rejected(0, f"{element.tag} {element.get('type', '')}: {why}"))
            continue
        factor, offset = units.conversion(_UNITS[own], UNITS[ours])
        for at, ((begins, ends), value) in enumerate(zip(times, values, strict=True), 1):
            if value.get(_NIL) == "true" or not (value.text or "").strip():
                continue
            try:
                spans.setdefault(ours, []).append(Span(begins, ends, float(value.text or "") * factor + offset))
            except ValueError:
                rejected.append(Rejected(at, f"{element.tag} {at}: {value.text!r} is not a number"))
    if not spans:
        return None
    clock: Any = min(s.begins for held in spans.values() for s in held).tzinfo
    out = Expected(issued.astimezone(clock))
    last = max(s.ends for held in spans.values() for s in held)
    daily = {name: held for name, held in spans.items() if name in ("high", "low", "rain", "wind", "humidity")}
    fill_days(out, daily, clock, last=last)
    days = sorted(out.days)
    for day, chance in rain_chances(spans.get("rain_chance", ()), days, clock).items():
        out.put(day, "rain_chance", chance)
    fill_hours(out, spans, clock, last=last)
    return out


def _read(path: Path, options: dict[str, Any]) -> Taken:
    return read_dwml(path, place=options.get("place"))


FORMATS = (
    Format(
        "dwml",
        "forecasts of the public weather service as DWML (XML)",
        _read,
        (PLACE,),
        lambda head: "<dwml" in head.text[:4000],
    ),
)
