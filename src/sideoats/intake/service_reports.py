"""Alerts, stations and hourly reports out of the weather service's GeoJSON: see `sideoats.intake.service_json`."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from sideoats.errors import InputError
from sideoats.intake.expected import by_the_sun, measured, moment
from sideoats.intake.laid import Layout
from sideoats.intake.station_files import drafts_of
from sideoats.intake.taken import Draft, Taken
from sideoats.station import HOURLY_UNITS, Rejected, StationHours

_ALWAYS = datetime(2000, 1, 1, tzinfo=UTC)  # a list of stations bears no date; what is known of one by then is replaced
_LONG, _LISTED = 1000, 4000
_REPORTED = {
    "temperature": "temperature",
    "dewpoint": "dewpoint",
    "relativeHumidity": "humidity",
    "windSpeed": "wind",
    "windGust": "gust",
    "windDirection": "wind_direction",
    "barometricPressure": "pressure",
    "precipitationLastHour": "rain",
}
_FAILED = ("X", "Q")  # quality marks: rejected, questioned


def alerts_of(features: Sequence[Any], name: str, place: str | None) -> Taken:
    """Actual alerts as entries; tests, exercises and drafts are passed over. `place` is the one they were asked for."""
    if features and place is None:
        raise InputError("has no position", where=name, expected="place=ID of the station that these alerts are for")
    drafts, rejected, passed = [], [], 0
    for at, feature in enumerate(features, 1):
        try:
            about = feature["properties"]
            if about["status"] != "Actual":
                passed += 1
                continue
            drafts.append(_alert(about, place, at))
        except (ValueError, KeyError, TypeError, AttributeError) as error:
            rejected.append(Rejected(at, f"alert {at}: {error}"))
    notes = [f"{len(drafts)} alerts"] + ([f"{passed} tests or drafts passed over"] if passed else [])
    return Taken(tuple(drafts), tuple(rejected), tuple(notes))


def _alert(about: Mapping[str, Any], place: str | None, line: int) -> Draft:
    """`ends` is when the hazard ends, `expires` when the message does: the first counts where it is told."""
    ends = moment(about.get("ends") or about["expires"])
    begins = moment(about.get("onset") or about["effective"])
    body: dict[str, Any] = {
        "alert": about["id"],
        "event": about["event"],
        "begins": begins.date().isoformat(),
        "ends": ends.date().isoformat(),
        "message": str(about["messageType"]).lower(),
    }
    for ours, theirs in (("severity",) * 2, ("certainty",) * 2, ("headline",) * 2, ("sender", "senderName")):
        if about.get(theirs):
            body[ours] = str(about[theirs])[:_LONG]
    zones = (about.get("geocode") or {}).get("UGC") or ()
    replaced = [str(held["identifier"]) for held in about.get("references") or () if held.get("identifier")]
    for name, listed in (("zones", zones), ("replaces", replaced)):
        if listed:
            body[name] = " ".join(listed)[:_LISTED]
    return Draft("weather_alert", body, moment(about["sent"]), place=place, line=line)


def stations_of(features: Sequence[Mapping[str, Any]]) -> Taken:
    """Stations as places with their position."""
    drafts, rejected = [], []
    for at, feature in enumerate(features, 1):
        about = feature["properties"]
        try:
            longitude, latitude = (float(x) for x in feature["geometry"]["coordinates"][:2])
            height = about.get("elevation") or {}
            up = measured(height.get("value"), height.get("unitCode"), "m")
            body: dict[str, Any] = {"name": str(about.get("name") or about["stationIdentifier"]), "kind": "station"}
            body |= {"latitude": latitude, "longitude": longitude} | ({} if up is None else {"elevation": round(up, 1)})
            drafts.append(Draft("place", body, _ALWAYS, place=str(about["stationIdentifier"]), line=at))
        except (ValueError, KeyError, TypeError) as error:
            rejected.append(Rejected(at, f"station {at}: {error}"))
    return Taken(tuple(drafts), tuple(rejected), (f"{len(drafts)} stations",))


def reports_of(features: Sequence[Mapping[str, Any]], name: str, place: str | None, zone: ZoneInfo | None) -> Taken:
    """Reports of one station, made into days of local standard time; days with too few hours are left out."""
    layout = Layout(timedelta(hours=1))
    station, where, up = "", (float("nan"), float("nan")), float("nan")
    for at, feature in enumerate(features, 1):
        about = feature["properties"]
        try:
            when = moment(about["timestamp"]).astimezone(UTC)
            station = str(about["station"]).rpartition("/")[2]
            longitude, latitude = (float(x) for x in feature["geometry"]["coordinates"][:2])
            where = latitude, longitude
            height = about.get("elevation") or {}
            up = measured(height.get("value"), height.get("unitCode"), "m") or up
            _report(layout, about, layout.at(when))  # the hour in which it was made: 23:53 stays on its own day
        except (ValueError, KeyError, TypeError) as error:
            reason = "has no time of its own" if "timestamp" not in about else str(error)
            layout.reject(at, f"report {at}: {reason}")
    if not layout.seen:
        raise InputError("holds no report with a time", where=name, expected="reports of one station")
    start, values, flags = layout.arrays(name)
    hours = StationHours(
        station=station,
        start=start,
        values=values,
        flags=flags,
        latitude=where[0],
        longitude=where[1],
        elevation_m=up,
        utc_offset_hours=0.0,
        source=f"weather service reports {name}",
        set_aside=tuple(layout.set_aside),
    )
    clock = zone or by_the_sun(where[1])
    # local standard time: the offset of midwinter north of the equator
    standard = datetime(start.year, 1, 1, tzinfo=clock).utcoffset() or timedelta()
    days = hours.to_days(standard / timedelta(hours=1))
    drafts = [replace(d, seen_at=_ALWAYS) if d.kind == "place" else d for d in drafts_of(days, place)]
    whole = any("tmax" in draft.body for draft in drafts)
    notes = (*days.notes, *(() if whole else ("no day has 20 hours: nothing to store",)))
    return Taken(tuple(drafts) if whole else (), tuple(layout.rejected), notes)


def _report(layout: Layout, about: Mapping[str, Any], hour: int) -> None:
    layout.see(hour)
    for theirs, ours in _REPORTED.items():
        held = about.get(theirs)
        if not isinstance(held, dict):
            continue
        value = measured(held.get("value"), held.get("unitCode"), HOURLY_UNITS[ours])
        if value is None:
            continue
        mark = str(held.get("qualityControl")).rpartition(":")[2]
        if mark in _FAILED:
            layout.fail(ours, hour, f"{held['value']}", "marked as failed by the publisher")
        else:
            layout.put(ours, hour, value)
