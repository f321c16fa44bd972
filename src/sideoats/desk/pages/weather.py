"""Weather: each station's heat and rain beside its own past years, and what the week says about the weather."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import date

import numpy as np
from starlette.responses import Response

from sideoats.call import Call
from sideoats.desk import tongue
from sideoats.desk.grants import READ
from sideoats.desk.pages.week import seen_calls
from sideoats.desk.visit import Page, Visit
from sideoats.errors import InputError
from sideoats.facts import Facts
from sideoats.pictures import Picture
from sideoats.schema import read_date
from sideoats.station import StationDays

SPANS = (30, 60, 90, 180, 365)
PAST_YEARS = 5
_HEAT = "weather/corn.limits"
_MAP_DAYS = 90


def room_calls(visit: Visit, room: str) -> list[Call]:
    """This week's calls of one subject, but for those that wait."""
    asked, _ = visit.desk.weeks.on(visit.on, who=visit.who.name)
    return [c for c in (seen_calls(visit, asked) if asked.ready else []) if c.room == room and c.verdict != "wait"]


def made(makers: Iterable[Callable[[], Picture | None]]) -> tuple[list[Picture], list[str]]:
    """The pictures that can be made, and one line for each that cannot."""
    pictures, lines = [], []
    for make in makers:
        try:
            picture = make()
        except InputError as error:
            lines.append(tongue.line_of(error))
        else:
            if picture is not None:
                pictures.append(picture)
    return pictures, lines


def _not_drawn(what: str, todo: str) -> InputError:
    """Why a picture is not there."""
    say = tongue.plain
    return InputError(say("weather.not_drawn"), where=say(what), expected=say("weather.newest"), todo=todo)


def heat_picture(record: StationDays, facts: Facts, since: date, on: date) -> Picture | None:
    """Heat units of the season so far, by the limits that the district's facts give for corn."""
    from sideoats.weather.pace import heat, pace
    from sideoats.weather.pictures import heat_against_past

    if on <= since:
        return None
    days = (on - since).days
    missing = record.lacking(("tmax", "tmin"), on, days)
    if missing > facts.value("weather/pace.most_missing") * days:  # heat that nobody measured makes no season late
        raise _not_drawn("weather.heat", record.lack_told(on, days, missing))
    limits = facts[_HEAT]
    daily = heat(record, limits.low, limits.high, method="modified")
    found = pace(record, daily, since, on, past=PAST_YEARS)
    return heat_against_past(found, limits=(limits.low, limits.high), station=record.name or record.station)


def rain_picture(record: StationDays, facts: Facts, on: date) -> Picture:
    """Rain of several spans against the station's own past years."""
    from sideoats.weather.pictures import rain_against_normal
    from sideoats.weather.rain_standing import rain_standing

    most = facts.value("weather/pace.most_missing")
    spans = [rain_standing(record, on, days, most_missing=most) for days in SPANS]
    if not any(np.isfinite(s.stands.amount) for s in spans):
        told = record.lack_told(on, _MAP_DAYS, record.lacking(["rain"], on, _MAP_DAYS))
        raise InputError(
            tongue.plain("weather.not_drawn"),
            where=tongue.plain("weather.rain"),
            expected=tongue.plain("weather.newest"),
            todo=told,
        )
    return rain_against_normal(spans)


def map_picture(records: Iterable[StationDays], facts: Facts, on: date) -> Picture | None:
    """Rain of three months in percent of normal at every station; None for one station alone."""
    from sideoats.weather.pictures import Standing, rain_map
    from sideoats.weather.rain_standing import rain_standing

    most = facts.value("weather/pace.most_missing")

    def percent(r: StationDays) -> float:
        return rain_standing(r, on, _MAP_DAYS, most_missing=most).stands.percent

    found = [Standing(r.name or r.station, r.latitude, r.longitude, percent(r)) for r in records if "rain" in r.values]
    found = [p for p in found if np.isfinite(p.percent)]  # a station that lacks the last days has no place on the map
    return rain_map(found, _MAP_DAYS) if len(found) > 1 else None


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
        "weather.html",
        on=visit.on,
        stations={k: r.name or k for k, r in records.items()},
        chosen=chosen,
        since=since,
        record=record,
        coverage=[str(c) for c in record.coverage()] if record else [],
        pictures=pictures,
        lines=lines,
        sources=facts.cited(),
        calls=room_calls(visit, "weather"),
        places=visit.desk.places(visit.person),
        notes=district.outlook.notes,
    )


PAGES = (Page("/weather", READ, weather_page),)
