"""What stands for a station today: the newest forecast while it is fresh, its skill, and the warnings in force.

A forecast that is no longer fresh counts as none, and the call says so.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any

from sideoats.outlook.blend import blended, persistence
from sideoats.outlook.forecasts import Forecast, Row, kept_for
from sideoats.outlook.noise import generator
from sideoats.outlook.skill import ELEMENTS, Floats, Skill, days_of_year, skill_of, usual_by_day
from sideoats.words import Count, Day, Measured, Name, Said, Term, say

if TYPE_CHECKING:
    from sideoats.facts import Facts
    from sideoats.station import StationDays

ERROR, RAIN = "outlook/forecast_error", "outlook/forecast_rain"
ALERT_KIND, ALERT_BEARS = "outlook/alert_kind", "outlook/alert_bears"
Begins = Callable[[str, "StationDays", Mapping[str, Floats]], dict[str, Floats]]


@dataclass(frozen=True)
class Alert:
    """A warning in force: what it is called, from when to when, and who sent it."""

    event: str
    begins: date
    ends: date
    sender: str = ""


@dataclass(frozen=True)
class Standing:
    """What is expected at one station.

    Attributes
    ----------
    forecast : the newest of days, fresh or not; None where there is none
    fresh : it is new enough to be used
    age : days since its issue
    skill : how far off its kind has been here, or as published
    hours, hours_age : the newest of hours, if fresh, and days since its issue
    alerts : warnings in force, or to come
    """

    forecast: Forecast | None = None
    fresh: bool = False
    age: int = 0
    skill: Skill | None = None
    hours: Forecast | None = None
    hours_age: int = 0
    alerts: tuple[Alert, ...] = ()

    @property
    def used(self) -> Forecast | None:
        """The forecast of days that futures begin with."""
        return self.forecast if self.fresh else None

    def told(self) -> dict[str, Any] | None:
        """As JSON: whose it is, from when, how old, how far off [degF] at a lead of a day and of how many kept ones."""
        if self.used is None or self.skill is None:
            hours = self.hours
            return None if hours is None else {**_issue(hours, self.hours_age), "hours": len(hours.hours)}
        off = {}
        for element in ELEMENTS:
            measured = self.skill.measured(element)
            published = self.skill.published(element, 1)
            off[element] = {
                "mean_error": {"value": round(measured[0] if measured else published, 2), "unit": "degF"},
                "kept": measured[1] if measured else 0,
            }
        return {**_issue(self.used, self.age), "days": len(self.used.days), "error": off}

    def rows(self, what: str) -> tuple[Row, ...] | None:
        """The coming days, or hours, as the fields of that name hold them; None where no fresh forecast tells any."""
        if what == "hours":
            return self.hours.hours if self.hours is not None and self.hours.hours else None
        if self.used is None or not self.used.days:
            return None
        return tuple({"date": day, **told} for day, told in sorted(self.used.days.items()))


def _issue(forecast: Forecast, age: int) -> dict[str, Any]:
    return {"source": forecast.source, "issued_at": forecast.issued_at, "age_days": age}


def forecast_said(held: Standing | None) -> list[Said]:
    """Which forecast stands for a station, its age and how far off such ones have been; [] where none is known."""
    if held is None or held.forecast is None:
        return []
    at = held.forecast
    if not held.fresh:
        return [say("forecast.stale", day=Day(at.issued), n=Count(held.age))]
    age = say("forecast.age", n=Count(held.age)) if held.age else say("forecast.age.today")
    known: dict[str, Any] = {"source": Name(at.source), "day": Day(at.issued), "age": age}
    skill = held.skill
    if skill is None:
        return [say("forecast.stands.bare", **known)]
    off = {name: _off(skill.published(element, lead)) for name, element, lead in _TOLD}
    if skill.measured("low") is None:
        return [say("forecast.stands.published", **known, **off)]
    (high, n), (low, _) = (skill.measured(element) or (math.nan, 0) for element in ("high", "low"))
    return [say("forecast.stands.measured", **known, n=Count(n), high=_off(high), low=_off(low))]


def hours_said(held: Standing | None) -> list[Said]:
    """Whose the hours are that are forecast for a station, and how old."""
    if held is None or held.hours is None:
        return []
    at = held.hours
    age = say("forecast.age", n=Count(held.hours_age)) if held.hours_age else say("forecast.age.today")
    return [say("forecast.hours", source=Name(at.source), day=Day(at.issued), age=age)]


_TOLD = (("high", "high", 1), ("low", "low", 1), ("last_high", "high", 7), ("last_low", "low", 7))


def _off(degrees_f: float) -> Measured:
    return Measured(float(round(degrees_f, 1)), unit="delta_degF")


def alerts_said(held: Standing | None, question: str, facts: Facts) -> list[Said]:
    """The warnings in force at a station that bear on a question's calls."""
    if held is None or not held.alerts:
        return []
    kinds = dict(facts[ALERT_KIND].rows)
    about = {kind for kind, asked in facts[ALERT_BEARS].rows if asked == question}
    return [
        say(
            "forecast.alert",
            event=Term(kinds[a.event], of="alert"),
            own=Name(a.event),
            sender=Name(a.sender),
            begins=Day(a.begins),
            ends=Day(a.ends),
        )
        for a in held.alerts
        if kinds.get(a.event) in about
    ]


def in_force(alerts: Iterable[Alert], on: date) -> tuple[Alert, ...]:
    """Those not over by a day, the first to begin first."""
    return tuple(sorted((a for a in alerts if a.ends >= on), key=lambda a: (a.begins, a.event, a.ends)))


def standings(
    stations: Mapping[str, StationDays],
    on: date,
    *,
    forecasts: Sequence[Forecast],
    hours: Sequence[Forecast],
    alerts: Mapping[str, Sequence[Alert]],
    facts: Facts,
    fresh_days: tuple[float, float],
) -> dict[str, Standing]:
    """Station -> what stands for it; only stations of which something is expected.

    Parameters
    ----------
    stations : records up to the day before `on`
    forecasts, hours : kept forecasts of days and of hours, oldest first, none issued after `on`
    alerts : station -> warnings
    fresh_days : age at which a forecast of days, and one of hours, still counts
    """
    reach, out = facts.value("outlook/station.reach"), {}
    for station, record in stations.items():
        where = (station, record.latitude, record.longitude, reach)
        kept, by_hour = (kept_for(held, *where) for held in (forecasts, hours))
        newest = kept[-1] if kept else None
        age = (on - newest.issued).days if newest else 0
        clock = by_hour[-1] if by_hour and (on - by_hour[-1].issued).days <= fresh_days[1] else None
        stands = Standing(
            newest,
            newest is not None and age <= fresh_days[0],
            age,
            skill_of(facts, kept, record, on) if newest is not None else None,
            clock,
            (on - clock.issued).days if clock is not None else 0,
            in_force(alerts.get(station, ()), on),
        )
        if newest is not None or clock is not None or stands.alerts:
            out[station] = stands
    return out


def beginnings(stands: Mapping[str, Standing], on: date, facts: Facts, seed: int, horizon: int) -> Begins:
    """What makes the windows of a station's past years begin with its forecast; as they are where none is fresh."""
    set_by = facts[RAIN]
    shape = float(dict(zip(set_by.column("what"), set_by.column("value"), strict=True))["shape"])

    def begins(station: str, record: StationDays, values: Mapping[str, Floats]) -> dict[str, Floats]:
        held = stands.get(station)
        if held is None or held.used is None or held.skill is None:
            return dict(values)
        ties = generator(seed, "which dry year is wet").random((len(values["rain"]), horizon))
        usual, at = usual_by_day(record), days_of_year(record)
        unknown = held.skill.settings["fade"]
        fade = {v: persistence(record.usable(v) - usual[v][at], unknown) for v in ELEMENTS.values()}
        return blended(values, on, held.used, held.skill, fade=fade, ties=ties, rain_shape=shape)

    return begins
