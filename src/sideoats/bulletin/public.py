"""From a week to the public edition: hazards, stories, standing parts; never a farm, never a farm's verdict.

A story of farms rests on at least five of them and tells the figure that decides beside the published line
(`sideoats.bulletin.stories`); no verdict of any farm is told, alone or counted, so that two editions cannot be
subtracted. A hazard met anywhere brings its general warning, without any number: `Bulletin.hazards`, which every form
puts first and none cuts; it tells that there is one, because that is what keeps others' animals alive.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING

import numpy as np

from sideoats.bulletin.seasons import Season, Series, season_stories
from sideoats.bulletin.spread import LEAST_FARMS, about
from sideoats.bulletin.standing import Part, PublicDay, parts, public_days, scouted
from sideoats.bulletin.stories import Story, farm_stories
from sideoats.bulletin.words import Words
from sideoats.facts import Facts
from sideoats.facts import load as load_facts
from sideoats.pictures import Picture
from sideoats.words import Count, Day, Name, Reader, say, sentence

if TYPE_CHECKING:
    from sideoats.station import StationDays
    from sideoats.week import Week

MOST_STORIES, MOST_SCOUTED = 8, 6


@dataclass(frozen=True)
class Told:
    """One story in one language; `codes` are its sentences' ids."""

    key: str
    by: date
    headline: str
    body: tuple[str, ...]
    caution: str
    source: str
    codes: tuple[str, ...]
    picture: Picture | None = None

    @property
    def text(self) -> str:
        """The body as a paragraph."""
        return " ".join(self.body)


@dataclass(frozen=True)
class StationLine:
    """A station's last seven days against its own past."""

    name: str
    rain_mm: float
    usual_rain_mm: float
    warmest_c: float
    coldest_c: float
    missing_days: int


@dataclass(frozen=True)
class Bulletin:
    """Everything the renderings need, in one language."""

    on: date
    language: str
    title: str
    district: str
    opening: str
    hazards: tuple[str, ...]
    stories: tuple[Told, ...]
    parts: tuple[Part, ...]
    days: tuple[PublicDay, ...]
    stations: tuple[StationLine, ...]
    counted: str
    closing: str
    cautions: tuple[str, ...]
    head: tuple[int, str]

    @property
    def pictures(self) -> list[Picture]:
        """The stories' pictures, in order."""
        return [s.picture for s in self.stories if s.picture is not None]


def station_lines(records: Mapping[str, StationDays], on: date) -> tuple[StationLine, ...]:
    """The last seven days of each station, and the mean of the same seven days in its past years."""
    out = []
    for record in records.values():
        first = record.index(on - timedelta(days=7))
        if first < 0 or first + 7 > len(record):
            continue
        part = slice(first, first + 7)
        rain, high, low = (record.usable(v)[part] for v in ("rain", "tmax", "tmin"))
        years, past = record.seasons("rain", (on - timedelta(days=7)).month, (on - timedelta(days=7)).day, 7)
        before = past[(years < (on - timedelta(days=7)).year) & ~np.isnan(past).any(axis=1)]
        if np.isnan(high).all() or np.isnan(low).all():
            continue
        out.append(
            StationLine(
                name=record.name or record.station,
                rain_mm=float(np.nansum(rain)),
                usual_rain_mm=float(before.sum(axis=1).mean()) if len(before) else float("nan"),
                warmest_c=float(np.nanmax(high)),
                coldest_c=float(np.nanmin(low)),
                missing_days=int((np.isnan(rain) | np.isnan(high) | np.isnan(low)).sum()),
            )
        )
    return tuple(out)


def make_bulletin(
    week: Week,
    words: Words,
    *,
    district: str = "",
    stations: Mapping[str, StationDays] | None = None,
    paragraphs: Mapping[str, str] | None = None,
    quotes: Series | None = None,
    facts: Facts | None = None,
) -> Bulletin:
    """The public bulletin of a week.

    Parameters
    ----------
    words : of the language wanted
    district : its name for the title
    stations : public records for the weather, by station
    paragraphs : slot -> text written by the adviser (``opening.en``, ``closing.en``, ``STORY.en``)
    quotes : (market, commodity) -> (day, price text), oldest first
    facts : as the district chose them; those that are shipped where None
    """
    written, reader = paragraphs or {}, Reader(words.language)
    season = Season(week.on, stations or {}, quotes or {}, facts or load_facts())
    stories = chosen([*farm_stories(week.calls, week.on, season.facts), *season_stories(season)])
    told = tuple(_told(story, reader, written.get(f"{story.key}.{words.language}", "")) for story in stories)
    hazards = _hazards({c.question for c in week.of("stop")}, words)
    keys = {s.key for s in stories}
    scout = [
        f"{words.question(q)}: {line}"
        for q in scouted(season.facts.region, week.on)
        if q not in keys and (line := words.reminder(q)) not in ("", *hazards)
    ][:MOST_SCOUTED]
    farms = len({c.farm for c in week.calls if c.farm})
    name = district or words.phrase("district")
    return Bulletin(
        on=week.on,
        language=words.language,
        title=words.phrase("title", district=name, day=words.long_day(week.on)),
        district=name,
        opening=written.get(f"opening.{words.language}") or _opening(stories, bool(hazards), reader),
        hazards=hazards,
        stories=told,
        parts=parts(season, stories, scout, reader),
        days=tuple(public_days(season, stories)),
        stations=station_lines(stations or {}, week.on),
        counted=_counted(farms, reader),
        closing=written.get(f"closing.{words.language}") or words.phrase("closing"),
        cautions=tuple(words.list("cautions")),
        head=week.head,
    )


def chosen(stories: Iterable[Story]) -> list[Story]:
    """The stories that press most, first the heaviest; equals by name, so that the same week gives the same edition."""
    return sorted(stories, key=lambda s: (-s.weight, s.key))[:MOST_STORIES]


def _told(story: Story, reader: Reader, own: str) -> Told:
    def line(said: object) -> str:
        text = sentence(said, reader)  # type: ignore[arg-type]
        return text[:1].upper() + text[1:]

    who = Name("; ".join(story.sources))
    source = say("edition.source", who=who) if story.sources else say("edition.source.market")
    body = (*map(line, story.body), *((own,) if own else ()))
    return Told(
        story.key, story.by, line(story.head), body, line(story.caution), line(source), story.codes, story.picture
    )


def _hazards(stopped: Iterable[str], words: Words) -> tuple[str, ...]:
    """Warnings of every question with a hazard anywhere: general words, no numbers; several questions share one."""
    return tuple(w for w in dict.fromkeys(words.hazard(name) for name in sorted(stopped)) if w)


def _opening(stories: list[Story], hazards: bool, reader: Reader) -> str:
    if not stories:
        return sentence(say("edition.opening.none"), reader)
    code = "edition.opening" if hazards else "edition.opening.calm"
    return sentence(say(code, n=Count(len(stories)), day=Day(min(s.by for s in stories))), reader)


def _counted(farms: int, reader: Reader) -> str:
    if farms < LEAST_FARMS:
        return sentence(say("edition.counted.none"), reader)
    near = about(farms)
    told = say("edition.farms.five") if near == LEAST_FARMS else say("edition.farms", n=Count(near))
    return sentence(say("edition.counted", farms=told), reader)
