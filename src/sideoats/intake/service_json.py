"""The public weather service's JSON: forecasts of a grid point, by periods and by the hour; alerts; positions; reports.

Shapes as the service's files show them (api.weather.gov, public domain): a grid point's layers with ISO 8601 intervals
and unit codes, `periods` of twelve hours or one, alerts of the Common Alerting Protocol as GeoJSON, the stations of a
grid cell, and reports of a station. Which of them a file is follows from its content.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from datetime import UTC, timedelta
from pathlib import Path
from typing import Any

from sideoats.errors import InputError
from sideoats.intake.expected import (
    PLACE,
    UNITS,
    ZONE,
    Expected,
    Span,
    both,
    by_the_sun,
    fill_days,
    fill_hours,
    interval,
    measured,
    moment,
    zone_of,
)
from sideoats.intake.rows import json_value, read_text
from sideoats.intake.service_reports import alerts_of, reports_of, stations_of
from sideoats.intake.taken import Format, Taken
from sideoats.station import Rejected

_LAYERS = {
    "maxTemperature": "high",
    "minTemperature": "low",
    "temperature": "temperature",
    "relativeHumidity": "humidity",
    "windSpeed": "wind",
    "windDirection": "wind_from",
    "probabilityOfPrecipitation": "rain_chance",
    "quantitativePrecipitation": "rain",
}
_WAYS = "N NNE NE ENE E ESE SE SSE S SSW SW WSW W WNW NW NNW"
_BEARINGS = {way: 22.5 * at for at, way in enumerate(_WAYS.split())}
_SPEED = re.compile(r"(\d+(?:\.\d+)?)(?: to (\d+(?:\.\d+)?))? (mph|km/h)", re.IGNORECASE)


def read_service_json(path: str | Path, *, place: str | None = None, zone: str | None = None) -> Taken:
    """One answer of the weather service, whatever it is about.

    Parameters
    ----------
    path : the file as the service sent it
    place : id of the station, field or herd that it stands for; alerts and periods have no position of their own
    zone : time zone of the place, for the hours of a grid point, whose times are in UTC

    Raises
    ------
    InputError : no JSON, no answer of the service, or nothing in it that can be used
    """
    name = Path(path).name
    data = json_value(read_text(path), name)
    about = data.get("properties") if isinstance(data, dict) else None
    features = data.get("features") if isinstance(data, dict) else None
    try:
        if isinstance(features, list):
            return _features(data, features, name, place, zone)
        if not isinstance(about, dict):
            raise InputError("is no answer of the weather service", where=name, expected="properties or features")
        if "periods" in about:
            return _one(_periods(data, about), place, name)
        if "forecastGridData" in about:
            return _point(about)
        if any(isinstance(about.get(layer), dict) for layer in _LAYERS) and "validTimes" in about:
            return _one(_grid(data, about, zone_of(zone, name)), place, name)
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        if isinstance(error, InputError):
            raise
        raise InputError(f"is not as the service writes it ({error})", where=name, todo="tell the office") from None
    raise InputError("holds neither a forecast, alerts, stations nor reports", where=name)


def _one(found: tuple[Expected, list[Rejected], list[str]], place: str | None, name: str) -> Taken:
    expected, rejected, notes = found
    if place is None and not math.isfinite(expected.latitude):
        raise InputError("has no position", where=name, expected="place=ID of the place that it is for")
    drafts = expected.drafts(place)
    if not drafts:
        raise InputError("holds no day or hour that can be used", where=name)
    told = ", ".join(f"{len(d.body[part])} {part}" for d in drafts for part in ("days", "hours") if part in d.body)
    return Taken(drafts, tuple(rejected), (*notes, f"issued {expected.issued:%d %b %Y %H:%M %z}: {told}"))


def _position(data: Mapping[str, Any], about: Mapping[str, Any]) -> tuple[float, float, float]:
    """Latitude, longitude (of the point, else the middle of the cell) and elevation [m]."""
    geometry = data.get("geometry") or {}
    parts = geometry.get("geometries") or [geometry]
    points = [p["coordinates"] for p in parts if p.get("type") == "Point"]
    rings = [p["coordinates"][0][:-1] for p in parts if p.get("type") == "Polygon"]
    ring = points or (rings[0] if rings else [[math.nan, math.nan]])
    height = about.get("elevation") or {}
    up = measured(height.get("value"), height.get("unitCode") or height.get("uom"), "m")
    longitude, latitude = (sum(float(p[axis]) for p in ring) / len(ring) for axis in (0, 1))
    return round(latitude, 4), round(longitude, 4), math.nan if up is None else round(up, 1)


def _grid(data: Mapping[str, Any], about: Mapping[str, Any], zone: Any) -> tuple[Expected, list[Rejected], list[str]]:
    """A grid point's layers; hours only where the zone is known, because its times are in UTC."""
    latitude, longitude, up = _position(data, about)
    clock = zone or by_the_sun(longitude)
    out = Expected(moment(about["updateTime"]).astimezone(clock), latitude, longitude, up)
    spans: dict[str, list[Span]] = {}
    rejected: list[Rejected] = []
    for layer, ours in _LAYERS.items():
        held = about.get(layer) or {}
        for at, item in enumerate(held.get("values") or (), 1):
            try:
                value = measured(item["value"], held.get("uom"), UNITS[ours])
                if value is not None:
                    spans.setdefault(ours, []).append(Span(*interval(item["validTime"]), value))
            except (ValueError, KeyError, TypeError) as error:
                rejected.append(Rejected(at, f"{layer} {at}: {error}"))
    last = interval(about["validTimes"])[1]
    fill_days(out, spans, clock, last=last)
    notes = []
    if zone is not None:
        fill_hours(out, spans, clock, last=last)
    else:
        notes.append("its hours are left out: they are in UTC, and zone= was not given")
    return out, rejected, notes


def _periods(data: Mapping[str, Any], about: Mapping[str, Any]) -> tuple[Expected, list[Rejected], list[str]]:
    """Periods of half a day, or of an hour."""
    latitude, longitude, up = _position(data, about)
    periods = about["periods"]
    if not isinstance(periods, list) or not periods:
        raise ValueError("it has no periods")
    clock = moment(periods[0]["startTime"]).tzinfo or UTC
    out = Expected(moment(about.get("updateTime") or about["updated"]).astimezone(clock), latitude, longitude, up)
    rejected: list[Rejected] = []
    chances: dict[Any, list[float]] = {}
    spans: dict[str, list[Span]] = {}
    for at, period in enumerate(periods, 1):
        try:
            begins, ends = moment(period["startTime"]), moment(period["endTime"])
            told = _told(period)
        except (ValueError, KeyError, TypeError) as error:
            rejected.append(Rejected(at, f"period {at}: {error}"))
            continue
        if ends - begins <= timedelta(hours=1):
            for name, value in told.items():
                spans.setdefault(name, []).append(Span(begins, ends, value))
            continue
        day = (begins if period["isDaytime"] else ends).date()
        out.put(day, "high" if period["isDaytime"] else "low", told.get("temperature"))
        if period["isDaytime"]:
            out.put(day, "wind", told.get("wind"))
            out.put(day, "humidity", told.get("humidity"))
        if "rain_chance" in told:
            chances.setdefault(begins.date(), []).append(told["rain_chance"])
    for day, found in chances.items():
        out.put(day, "rain_chance", both(found))
    if spans:
        last = max(s.ends for held in spans.values() for s in held)
        fill_hours(out, spans, clock, last=last)
        _days_of_hours(out)
    return out, rejected, []


def _told(period: Mapping[str, Any]) -> dict[str, float]:
    """A period's values in the vocabulary's units; each unit is read beside its value."""
    found: dict[str, float | None] = {
        "temperature": measured(period.get("temperature"), f"wmoUnit:deg{period.get('temperatureUnit')}", "degF")
        if not isinstance(period.get("temperature"), dict)
        else _coded(period["temperature"], "degF"),
        "humidity": _coded(period.get("relativeHumidity"), "1"),
        "rain_chance": _coded(period.get("probabilityOfPrecipitation"), "1"),
        "wind": _speed(period.get("windSpeed")),
        "wind_from": _BEARINGS.get(str(period.get("windDirection"))),
    }
    return {name: value for name, value in found.items() if value is not None}


def _coded(held: Any, unit: str) -> float | None:
    return measured(held.get("value"), held.get("unitCode"), unit) if isinstance(held, dict) else None


def _speed(held: Any) -> float | None:
    """Wind [mph] from words such as "5 to 10 mph" (their middle) or from a value with its unit code."""
    if isinstance(held, dict):
        coded = {key: measured(held.get(key), held.get("unitCode"), "mph") for key in ("minValue", "maxValue", "value")}
        ends = [v for v in coded.values() if v is not None]
        return sum(ends) / len(ends) if ends else None
    if not held:
        return None
    found = _SPEED.fullmatch(str(held).strip())
    if found is None:
        raise ValueError(f"wind {str(held)[:40]!r} is not such as '5 to 10 mph'")
    low, high = float(found[1]), float(found[2] or found[1])
    return (low + high) / 2 * (1.0 if found[3].lower() == "mph" else 1 / 1.609344)


def _days_of_hours(out: Expected) -> None:
    """Days of which every hour is told, as their highest, lowest, driest and mean."""
    by_date: dict[Any, list[dict[str, Any]]] = {}
    for (day, _), row in out.hours.items():
        by_date.setdefault(day, []).append(row)
    for day, rows in by_date.items():
        if len(rows) >= 23:  # 23 on the day that the clock is put on
            air = [row["temperature"] for row in rows]
            out.put(day, "high", max(air))
            out.put(day, "low", min(air))
            out.put(day, "humidity", min(row["humidity"] for row in rows))
            out.put(day, "wind", sum(row["wind"] for row in rows) / len(rows))


def _point(about: Mapping[str, Any]) -> Taken:
    """Where a position lies in the service's grid: nothing of it is evidence, so nothing is stored."""
    told = f"grid {about['gridId']} {about['gridX']},{about['gridY']}, zone {about.get('timeZone', 'not said')}"
    return Taken((), (), (f"{told}: the addresses of its forecasts; nothing to store",))


def _features(data: Any, features: Sequence[Any], name: str, place: str | None, zone: str | None) -> Taken:
    """A collection is known by what its members hold, an empty one of alerts by its title."""
    held = [f for f in features if isinstance(f, dict) and isinstance(f.get("properties"), dict)]
    if any("event" in f["properties"] for f in held) or "watches, warnings" in str(data.get("title", "")):
        return alerts_of(features, name, place)
    if any("stationIdentifier" in f["properties"] for f in held):
        return stations_of(held)
    if any("/observations/" in str(f["properties"].get("@id", f.get("id"))) for f in held):
        return reports_of(held, name, place, zone_of(zone, name))
    raise InputError("holds neither alerts, stations nor reports", where=name)


def _read(path: Path, options: dict[str, Any]) -> Taken:
    return read_service_json(path, place=options.get("place"), zone=options.get("zone"))


FORMATS = (
    Format(
        "weather-service",
        "the public weather service's JSON: forecasts, alerts, stations, reports",
        _read,
        (PLACE, ZONE),
        lambda head: head.json and any(mark in head.text[:4000] for mark in ("api.weather.gov", "wmoUnit", "wx:")),
    ),
)
