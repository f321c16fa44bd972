"""Pictures of the weather from plain data: heat against past years, rain against normal, stations on a map."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta

import numpy as np

from sideoats.errors import InputError
from sideoats.pictures import Axis, Bars, Course, Line, Map, Picture, Spot
from sideoats.pictures.ground import FILLS
from sideoats.weather.pace import Pace
from sideoats.weather.rain_standing import RainStanding
from sideoats.words import Count, Day, Measured, Name, Parts, Share, say

_CALENDAR = Axis(say("picture.day"), "day", Day)


def heat_against_past(found: Pace, *, limits: tuple[float, float] | None = None, station: str = "") -> Picture:
    """This season's running sum over the band and mean of the past years on the same dates.

    Parameters
    ----------
    found : from `sideoats.weather.pace.pace`
    limits : lower and upper limit of the sum, degrees Fahrenheit, for its name
    station : where it was measured

    Raises
    ------
    InputError : no past year to draw against
    """
    if not len(found.years):
        raise InputError("no past year is whole enough to draw against", where="heat picture")
    mean = found.courses.mean(axis=0)
    first, last = Name(str(min(found.years))), Name(str(max(found.years)))
    pace = "level"
    if math.isfinite(found.days_ahead) and round(abs(found.days_ahead)):
        pace = "ahead" if found.days_ahead > 0 else "behind"
    days = round(abs(found.days_ahead)) if math.isfinite(found.days_ahead) else 0
    values = {
        "total": Measured(float(found.total), unit="delta_degF"),
        "mean": Measured(float(found.mean), unit="delta_degF"),
        "n": Count(days), "since": Day(found.since), "on": Day(found.on), "first": first, "last": last,
        "missing": Count(int(found.missing)), "station": Name(station),
    }  # fmt: skip
    low, high = limits or (math.nan, math.nan)
    name = (
        say("picture.heat.name")
        if limits is None
        else say("picture.heat.limits", low=Measured(low, unit="degF"), high=Measured(high, unit="degF"))
    )
    across = [float((found.since + timedelta(days=i)).toordinal()) for i in range(len(found.course))]
    return Course(
        finding=say(f"picture.heat.{pace}" + (".at" if station else ""), **values),
        saying=say("picture.heat.says", **values),
        x=across,
        across=_CALENDAR,
        up=Axis(name, "delta_degF", label="picture.unit.degree_days"),
        lines=(
            Line(say("picture.this_season"), found.course, now=True),
            Line(
                say("picture.mean_of", first=first, last=last),
                mean,
                found.courses.min(axis=0),
                found.courses.max(axis=0),
            ),
        ),
    )


def rain_against_normal(spans: Sequence[RainStanding]) -> Picture:
    """Departure of the rain from normal over several spans, as bars.

    Parameters
    ----------
    spans : from `sideoats.weather.rain_standing.rain_standing`, shortest first; those not known are left out

    Raises
    ------
    InputError : none of them is known
    """
    spans = [s for s in spans if math.isfinite(s.stands.departure)]
    if not spans:
        raise InputError("too many of the last days are missing, or no past year is whole", where="rain picture")
    worst = min(spans, key=lambda s: s.stands.departure)
    short = worst.stands.departure
    parts = tuple(
        say(
            "picture.rain.span",
            n=Count(s.days),
            amount=Measured(float(s.stands.amount), unit="mm"),
            share=Share(float(s.stands.percent) / 100),
        )
        for s in spans
    )
    return Bars(
        finding=say(
            f"picture.rain.{'short' if short < 0 else 'over'}",
            amount=Measured(abs(float(short)), unit="mm"),
            n=Count(worst.days),
        ),
        saying=say("picture.rain.says", spans=Parts(parts)),
        names=[say("picture.days", n=Count(s.days)) for s in spans],
        over=say("picture.last_days"),
        values=[s.stands.departure for s in spans],
        axis=Axis(say("picture.rain.departure"), "mm"),
    )


@dataclass(frozen=True)
class Standing:
    """A station's position (degrees north and east) and its rain in percent of normal."""

    name: str
    latitude: float
    longitude: float
    percent: float


def rain_map(found: Sequence[Standing], days: int, bounds: Sequence[float] = (50, 75, 100, 125)) -> Picture:
    """Stations by their rain of the last days as a share of normal: the fuller the mark, the wetter.

    Parameters
    ----------
    found : stations whose rain is known; those without a position stand in the table only
    days : of the rain
    bounds : percent where the classes begin, rising, four

    Raises
    ------
    InputError : no station has a position
    """
    if not any(math.isfinite(p.latitude) and math.isfinite(p.longitude) for p in found):
        raise InputError("no place has a position and a value", where="map")
    driest = min(found, key=lambda p: p.percent)
    listed = tuple(say("picture.map.station", name=Name(p.name), share=Share(p.percent / 100)) for p in found)
    classes = [say(f"picture.map.class_{at}", **_ends(bounds, at)) for at in range(len(bounds) + 1)]
    spots = []
    for p, said in zip(found, listed, strict=True):
        at = int(np.searchsorted(bounds, p.percent, side="right"))
        placed = math.isfinite(p.latitude) and math.isfinite(p.longitude)
        spots.append(
            Spot(
                p.name,
                (p.longitude, p.latitude) if placed else None,
                fill=FILLS[at],
                said=said,
                label=said,
                cells=(say("picture.map.share", share=Share(p.percent / 100)), classes[at]),
            )
        )
    return Map(
        finding=say("picture.map.driest", name=Name(driest.name), n=Count(days), share=Share(driest.percent / 100)),
        saying=say("picture.map.says", n=Count(days), stations=Parts(listed)),
        spots=spots,
        key=list(zip(FILLS, classes, strict=False)),
        heads=(say("picture.station"), say("picture.map.of_normal"), say("picture.map.class")),
    )


def _ends(bounds: Sequence[float], at: int) -> dict[str, Share]:
    low = {"low": Share(bounds[at - 1] / 100)} if at else {}
    return low | ({"high": Share(bounds[at] / 100)} if at < len(bounds) else {})
