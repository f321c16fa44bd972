"""Weather: each station's heat and rain beside its own past years, and what the week says about the weather."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import date

import numpy as np
from starlette.responses import Response

from sideoats.call import Call
from sideoats.desk.pages.week import seen_calls
from sideoats.desk.visit import READ, Page, Visit
from sideoats.errors import InputError
from sideoats.facts import Facts
from sideoats.pictures import Picture
from sideoats.schema import read_date
from sideoats.station import StationDays

SPANS = (30, 60, 90, 180, 365)
PAST_YEARS = 5
_HEAT = "weather/corn.limits"
_MAP_DAYS = 90
_MAP_BOUNDS = (50.0, 75.0, 100.0, 125.0)
_MAP_NAMES = ("under half", "half to 75 %", "75 to 100 %", "100 to 125 %", "above 125 %")


def room_calls(visit: Visit, room: str) -> list[Call]:
    """This week's calls of one subject, but for those that wait."""
    asked, _ = visit.desk.weeks.on(visit.on)
    return [c for c in (seen_calls(visit, asked) if asked.ready else []) if c.room == room and c.verdict != "wait"]


def made(makers: Iterable[Callable[[], Picture | None]]) -> tuple[list[Picture], list[str]]:
    """The pictures that can be made, and one line for each that cannot."""
    pictures, lines = [], []
    for make in makers:
        try:
            picture = make()
        except InputError as error:
            lines.append(str(error))
        else:
            if picture is not None:
                pictures.append(picture)
    return pictures, lines


def heat_picture(record: StationDays, facts: Facts, since: date, on: date) -> Picture | None:
    """Heat units of the season so far, by the limits that the district's facts give for corn."""
    from sideoats.weather.pace import heat, pace
    from sideoats.weather.pictures import heat_against_past

    if on <= since:
        return None
    days = (on - since).days
    missing = record.lacking(("tmax", "tmin"), on, days)
    if missing > facts.value("weather/pace.most_missing") * days:  # heat that nobody measured makes no season late
        raise InputError("is not drawn", where="heat", expected="the newest days",
                         todo=record.lack_told(on, days, missing))  # fmt: skip
    limits = facts[_HEAT]
    daily = heat(record, limits.low, limits.high, method="modified")
    found = pace(record, daily, since, on, past=PAST_YEARS)
    what = f"Heat units {limits.high:.0f}/{limits.low:.0f} at {record.name or record.station}"
    return heat_against_past(found, what=what)


def rain_picture(record: StationDays, facts: Facts, on: date) -> Picture:
    """Rain of several spans against the station's own past years."""
    from sideoats.weather.pictures import rain_against_normal
    from sideoats.weather.rain_standing import rain_standing

    most = facts.value("weather/pace.most_missing")
    spans = [rain_standing(record, on, days, most_missing=most) for days in SPANS]
    if not any(np.isfinite(s.stands.amount) for s in spans):
        told = record.lack_told(on, _MAP_DAYS, record.lacking(["rain"], on, _MAP_DAYS))
        raise InputError("is not drawn", where="rain against normal", expected="the newest days", todo=told)
    return rain_against_normal(spans)


def map_picture(records: Iterable[StationDays], facts: Facts, on: date) -> Picture | None:
    """Rain of three months in percent of normal at every station; None for one station alone."""
    from sideoats.weather.pictures import MapPoint, district_map
    from sideoats.weather.rain_standing import rain_standing

    most = facts.value("weather/pace.most_missing")

    def percent(r: StationDays) -> float:
        return rain_standing(r, on, _MAP_DAYS, most_missing=most).stands.percent

    points = [MapPoint(r.name or r.station, r.latitude, r.longitude, percent(r)) for r in records if "rain" in r.values]
    points = [p for p in points if np.isfinite(p.value)]  # a station that lacks the last days has no place on the map
    if len(points) < 2:
        return None
    driest = min(points, key=lambda p: p.value)
    said = "; ".join(f"{p.name} {p.value:.0f} %" for p in points)
    return district_map(
        f"Driest over {_MAP_DAYS} days is {driest.name}, {driest.value:.0f} % of normal",
        f"Rain of the last {_MAP_DAYS} days in percent of the same days in past years: {said}.",
        points, unit="% of normal", bounds=_MAP_BOUNDS, class_names=_MAP_NAMES,
    )  # fmt: skip


def weather_page(visit: Visit) -> Response:
    """One station's pictures, and the district's."""
    district = visit.desk.districts.on(visit.on)
    records = district.outlook.records
    chosen = visit.query("station") or next(iter(records), "")
    since = read_date(visit.query("since")) if visit.query("since") else date(visit.on.year, 3, 1)
    record = records.get(chosen)
    facts = district.facts.reader()
    makers: list[Callable[[], Picture | None]] = []
    if record is not None:
        makers = [lambda: rain_picture(record, facts, visit.on), lambda: heat_picture(record, facts, since, visit.on)]
    makers.append(lambda: map_picture(records.values(), facts, visit.on))
    pictures, lines = made(makers)
    return visit.page(
        "weather.html", on=visit.on, stations={k: r.name or k for k, r in records.items()}, chosen=chosen, since=since,
        record=record, coverage=[str(c) for c in record.coverage()] if record else [], pictures=pictures, lines=lines,
        sources=facts.cited(), calls=room_calls(visit, "weather"), places=visit.desk.places(visit.person),
        notes=district.outlook.notes,
    )  # fmt: skip


PAGES = (Page("/weather", READ, weather_page),)
