"""From a week to what may be said in public: groups of farms, never a farm; small groups are not reported.

A group is one question with one verdict. It is reported only if it holds at least `LEAST_FARMS` farms; smaller groups
are only counted together. Places and farms are never named, and no number of a single place is shown: a group's money
is a median over its places, rounded. A hazard met anywhere still brings its general reminder, without any number.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from statistics import median
from typing import TYPE_CHECKING

import numpy as np

from sideoats.bulletin.words import Words
from sideoats.call import Call

if TYPE_CHECKING:
    from sideoats.station import StationDays
    from sideoats.week import Week

LEAST_FARMS = 5
_SHOWN = ("stop", "act", "look")


@dataclass(frozen=True)
class Item:
    """One group of calls, in one language."""

    question: str
    verdict: str
    title: str
    sentence: str
    reminder: str
    places: int
    farms: int
    first: date | None
    last: date | None


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
    opening: str
    items: tuple[Item, ...]
    hazards: tuple[str, ...]
    withheld: int
    waiting: int
    stations: tuple[StationLine, ...]
    closing: str
    cautions: tuple[str, ...]
    head: tuple[int, str]
    places: int
    farms: int


def groups(calls: Iterable[Call]) -> dict[tuple[str, str], list[Call]]:
    """(question, verdict) -> its calls, in rank order."""
    out: dict[tuple[str, str], list[Call]] = {}
    for call in calls:
        if call.verdict in _SHOWN and call.farm:
            out.setdefault((call.question, call.verdict), []).append(call)
    return out


def _gain(calls: list[Call]) -> tuple[float, str] | None:
    """Median over places of what the best open option is worth over the worst open one, two figures, and its unit."""
    gains, unit = [], ""
    for call in calls:
        money = [o.expected for o in call.options if o.barred is None and np.isfinite(o.expected)]
        if len(money) > 1:
            gains.append(max(money) - min(money))
            unit = call.options[0].unit
    if len(gains) < LEAST_FARMS:
        return None
    middle = median(gains)
    return float(f"{middle:.2g}"), unit


def _item(question: str, verdict: str, calls: list[Call], words: Words) -> Item:
    dates = sorted(d for c in calls if (d := c.act_by or c.look_by))
    first, last = (dates[0], dates[-1]) if dates else (None, None)
    farms = len({c.farm for c in calls})
    sentence = words.phrase(f"group.{verdict}", places=words.number(len(calls)), farms=words.number(farms))
    if first and last:
        span = (
            words.day(first) if first == last else words.phrase("between", first=words.day(first), last=words.day(last))
        )
        sentence += " " + words.phrase(f"by.{verdict}" if verdict != "stop" else "by.act", span=span)
    gain = _gain(calls) if verdict == "act" else None
    if gain is not None and gain[0] >= 1:
        sentence += " " + words.phrase("worth", money=f"{gain[0]:g}", unit=words.unit(gain[1]))
    return Item(
        question, verdict, words.question(question), sentence, words.reminder(question), len(calls), farms, first, last
    )


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
) -> Bulletin:
    """The public bulletin of a week.

    Parameters
    ----------
    words : of the language wanted
    district : its name for the title
    stations : records for the weather lines
    paragraphs : slot -> text written by the adviser (``opening.en``, ``closing.en``, ``QUESTION.en``)
    """
    written = paragraphs or {}
    items, withheld = [], 0
    for (question, verdict), calls in groups(week.calls).items():
        if len({c.farm for c in calls}) < LEAST_FARMS:
            withheld += 1
            continue
        item = _item(question, verdict, calls, words)
        own = written.get(f"{question}.{words.language}")
        items.append(item if not own else Item(**{**item.__dict__, "sentence": f"{item.sentence} {own}"}))
    lines = station_lines(stations or {}, week.on)
    opening = written.get(f"opening.{words.language}") or _opening(items, lines, words)
    return Bulletin(
        on=week.on,
        language=words.language,
        title=words.phrase("title", district=district or words.phrase("district"), day=words.long_day(week.on)),
        opening=opening,
        items=tuple(items),
        hazards=_hazards(week.of("stop"), items, words),
        withheld=withheld,
        waiting=len(week.of("wait")),
        stations=lines,
        closing=written.get(f"closing.{words.language}") or words.phrase("closing"),
        cautions=tuple(words.list("cautions")),
        head=week.head,
        places=len({c.place for c in week.calls}),
        farms=len({c.farm for c in week.calls if c.farm}),
    )


def _hazards(stops: Iterable[Call], items: list[Item], words: Words) -> tuple[str, ...]:
    """Reminders of questions with a hazard anywhere that no reported group shows: general words, no numbers."""
    told = {i.question for i in items}
    names = sorted({c.question for c in stops} - told)
    return tuple(r for name in names if (r := words.reminder(name)))


def _opening(items: list[Item], lines: tuple[StationLine, ...], words: Words) -> str:
    acts = [i for i in items if i.verdict in ("stop", "act")]
    text = words.phrase("opening.act", count=words.number(len(acts))) if acts else words.phrase("opening.quiet")
    if lines:
        rain = sum(s.rain_mm for s in lines) / len(lines)
        usual = sum(s.usual_rain_mm for s in lines) / len(lines)
        text += " " + words.phrase("opening.rain", rain=words.rain(rain), usual=words.rain(usual))
    return text
