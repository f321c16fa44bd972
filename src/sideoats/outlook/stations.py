"""Which station stands for a place: the one it names, else the nearest within reach, else none.

A place never takes the record of a station that it neither names nor lies near; the call says which station it was and
how far off.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from sideoats.errors import InputError
from sideoats.facts import Facts
from sideoats.records import dataclass
from sideoats.station import km_between
from sideoats.words import Count, Measured, Name, Phrase, Said, say

if TYPE_CHECKING:
    from sideoats.outlook.draws import Outlook

_MILE_KM, _FOOT_M = 1.609344, 0.3048
_TOLD_F = 0.1  # less of a change is none in words


@dataclass(frozen=True)
class Spot:
    """Where a place lies, and the station that it names; NaN and "" where not known."""

    named: str = ""
    latitude: float = math.nan
    longitude: float = math.nan
    elevation_m: float = math.nan


@dataclass(frozen=True)
class Stand:
    """The station that stands for a place ("" for none), and a sentence that says so for the call's reasons."""

    station: str
    said: Said


@dataclass(frozen=True)
class Site:
    """A station on file: where it stands, whether it has a past year and still reports."""

    station: str
    name: str
    latitude: float
    longitude: float
    elevation_m: float
    drawn: bool
    alive: bool

    @property
    def shown(self) -> str:
        """Its name, with its id where that says more."""
        plain = self.name.strip().lower().replace(" ", "-")
        return self.name if plain == self.station.lower() else f"{self.name} ({self.station})"


@dataclass(frozen=True)
class Sites:
    """Every station on file. `reach` in miles, `rise` in feet: see the facts ``outlook/station``."""

    sites: tuple[Site, ...] = ()
    reach: float = 0.0
    rise: float = 0.0

    def stand_for(self, spot: Spot) -> Stand:
        """The station that stands for a place."""
        named = next((s for s in self.sites if s.station == spot.named), None)
        if named is not None:
            return Stand(named.station, say("station.named", station=Name(named.shown), off=Phrase(_off(spot, named))))
        nearest = self._nearest(spot)
        lead = Phrase(say("station.lacks", station=Name(spot.named)) if spot.named else None)
        if nearest is not None:
            off = Phrase(_off(spot, nearest))
            return Stand(nearest.station, say("station.nearest", lead=lead, station=Name(nearest.shown), off=off))
        return Stand("", self._none(spot, lead))

    def _none(self, spot: Spot, lead: Phrase) -> Said:
        if not self.sites:
            return say("station.none.on-file", lead=lead)
        if math.isnan(spot.latitude):
            return say("station.none.position", lead=lead)
        reach, rise = Measured(self.reach, unit="mile"), Measured(self.rise, unit="ft")
        return say("station.none.near", lead=lead, reach=reach, rise=rise)

    def _nearest(self, spot: Spot) -> Site | None:
        """The nearest within reach, of those that still report where any does, and of those with a past year."""
        if not self.sites or math.isnan(spot.latitude):
            return None
        where = [s.latitude for s in self.sites], [s.longitude for s in self.sites]
        off = km_between(spot.latitude, spot.longitude, *where)
        near = [
            (not site.alive, not site.drawn, km, site.station, site)
            for site, km in zip(self.sites, off.tolist(), strict=True)
            if km <= self.reach * _MILE_KM and not abs(site.elevation_m - spot.elevation_m) > self.rise * _FOOT_M
        ]
        return min(near, key=lambda found: found[:4])[4] if near else None


def _off(spot: Spot, site: Site) -> Said:
    """How far off, and how much higher or lower, the station lies."""
    miles = float(km_between(spot.latitude, spot.longitude, site.latitude, site.longitude)) / _MILE_KM
    if math.isnan(miles):
        return say("station.off.unknown")
    rise = (site.elevation_m - spot.elevation_m) / _FOOT_M
    way = "same" if math.isnan(rise) else "higher" if rise > 0 else "lower"
    height = {} if math.isnan(rise) else {"rise": Measured(float(round(abs(rise))), unit="ft")}
    if miles < 1:
        return say(f"station.off.here.{way}", **height)
    return say(f"station.off.far.{way}", miles=Measured(float(round(miles)), unit="mile"), **height)


def sites_of(outlook: Outlook, facts: Facts) -> Sites:
    """The stations of an outlook as `Sites`."""
    drawn = {station for windows in outlook.sets for station in windows.stations}
    silent = facts.value("outlook/station.silent")
    found = tuple(
        Site(
            station,
            record.name or station,
            record.latitude,
            record.longitude,
            record.elevation_m,
            station in drawn,
            (outlook.on - record.end).days <= silent,
        )
        for station, record in sorted(outlook.records.items())
    )
    return Sites(found, facts.value("outlook/station.reach"), facts.value("outlook/station.rise"))


def years_said(outlook: Outlook, station: str) -> Said | None:
    """Which past years of a station are drawn, and how much warmer today's climate is; None where none is."""
    windows = next((w for w in outlook.sets if station in w.stations), None)
    if windows is None:
        return None
    warmer = windows.warmer[station]
    by = round(abs(warmer) * 1.8, 1)
    way = "same" if by < _TOLD_F else "warmer" if warmer > 0 else "cooler"
    told = {} if way == "same" else {"by": Measured(by, unit="delta_degF")}
    first, last = (Name(str(windows.years[at])) for at in (0, -1))
    return say(f"outlook.years.{way}", n=Count(len(windows.years)), first=first, last=last, **told)


def known_station(given: str, stations: Iterable[str], where: str) -> str:
    """The id as given, if it is one of `stations`. Raises InputError with the nearest names."""
    on_file: Sequence[str] = sorted(stations)
    if given in on_file:
        return given
    import difflib

    near = difflib.get_close_matches(given, on_file, 1, 0.6) or difflib.get_close_matches(
        given.lower(), [s.lower() for s in on_file], 1, 0.6
    )
    hint = f"did you mean {near[0]}?" if near else f"one of {', '.join(on_file[:8])}" + (", ..." if on_file[8:] else "")
    raise InputError(f"no station {given[:60]!r} is on file", where=where, expected=hint, todo="take its file first")
