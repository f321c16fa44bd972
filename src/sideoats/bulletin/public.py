"""From a week to what may be said in public: groups of farms, never a farm; small groups are not reported.

A group is one question with one verdict. It is reported only if it holds at least `LEAST_FARMS` farms. Where all groups
of a question are smaller, but it was asked on that many farms in all, it is reported once over all its verdicts, which
are then named without numbers or dates; what is left is only counted together. Places and farms are never named, and
no number of a single place is shown: a group's money is a median over its places, rounded. A hazard met anywhere
brings its general warning, without any number: `Bulletin.hazards`, which every form puts first and none cuts.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from statistics import median
from typing import TYPE_CHECKING

import numpy as np

from sideoats.bulletin.words import Words
from sideoats.call import VERDICTS, Call

if TYPE_CHECKING:
    from sideoats.station import StationDays
    from sideoats.week import Week

LEAST_FARMS = 5
_SHOWN = ("stop", "act", "look")


@dataclass(frozen=True)
class Item:
    """One group of calls, in one language; `mixed` where it holds all verdicts of its question, as `word` says."""

    question: str
    verdict: str
    word: str
    title: str
    sentence: str
    reminder: str
    places: int
    farms: int
    first: date | None
    last: date | None
    mixed: bool = False

    @property
    def said(self) -> str:
        """Read aloud: which verdicts there are says nothing to a listener, so that what holds for all stands for it."""
        return self.reminder if self.mixed and self.reminder else f"{self.sentence} {self.reminder}".strip()


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
        if call.farm:
            out.setdefault((call.question, call.verdict), []).append(call)
    return out


def _farms(calls: Iterable[Call]) -> int:
    return len({c.farm for c in calls})


def reported(
    found: Mapping[tuple[str, str], list[Call]],
) -> tuple[list[tuple[str, str, list[Call], bool]], int]:
    """What may be told, as (question, verdict, calls, all verdicts together?) in rank order, and how many may not.

    A question is told over all its verdicts only where none of its groups is told by itself: else the small ones could
    be had by subtraction. It then carries the severest verdict that someone has, a stop too.
    """
    told, withheld, done = [], 0, set()
    for (question, verdict), calls in found.items():
        if verdict not in _SHOWN:
            continue
        if _farms(calls) >= LEAST_FARMS:
            told.append((question, verdict, calls, False))
            continue
        own = {v: c for (q, v), c in found.items() if q == question}
        every = [c for part in own.values() for c in part]
        alone = any(_farms(part) >= LEAST_FARMS for v, part in own.items() if v in _SHOWN)
        due = next((v for v in ("act", "look") if v in own), None)
        if alone or due is None or _farms(every) < LEAST_FARMS:
            withheld += 1
        elif question not in done:
            told.append((question, "stop" if "stop" in own else due, every, True))
        done.add(question)
    return sorted(told, key=lambda group: group[1] != "stop"), withheld


def _gain(calls: list[Call]) -> tuple[float, str] | None:
    """Median over places of what the best open option is worth over doing nothing, two figures, and its unit.

    Doing nothing is the baseline that a call names, else its passive options; a call where neither is open, or none is
    known, has no such figure (what a bad choice would lose is not what acting is worth).
    """
    gains, unit = [], ""
    for call in calls:
        money = {o.key: o.expected for o in call.options if o.barred is None and np.isfinite(o.expected)}
        idle = [call.baseline] if call.baseline else [o.key for o in call.options if o.passive]
        left = [money[key] for key in idle if key in money]
        if left:
            gains.append(max(money.values()) - max(left))
            unit = call.options[0].unit
    if len(gains) < LEAST_FARMS:
        return None
    middle = median(gains)
    return float(f"{middle:.2g}"), unit


def _mixed(question: str, verdict: str, calls: list[Call], words: Words, reminder: str) -> Item:
    """All verdicts of a question together: which there are, and on how many farms it was asked."""
    kinds = [words.phrase(f"mixed.{v}") for v in VERDICTS if any(c.verdict == v for c in calls)]
    farms = _farms(calls)
    sentence = words.phrase(
        "group.mixed", places=words.number(len(calls)), farms=words.number(farms), kinds=words.joined(kinds)
    )
    word = words.phrase("mixed.word", verdict=words.verdict(verdict))
    return Item(
        question,
        verdict,
        word,
        words.question(question),
        sentence,
        reminder,
        len(calls),
        farms,
        None,
        None,
        mixed=True,
    )


def _item(question: str, verdict: str, calls: list[Call], words: Words, reminder: str) -> Item:
    dates = sorted(d for c in calls if (d := c.act_by or c.look_by))
    first, last = (dates[0], dates[-1]) if dates else (None, None)
    farms = _farms(calls)
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
        question,
        verdict,
        words.verdict(verdict),
        words.question(question),
        sentence,
        reminder,
        len(calls),
        farms,
        first,
        last,
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
    items = []
    told, withheld = reported(groups(week.calls))
    hazards = _hazards({c.question for c in week.of("stop")}, words)
    for question, verdict, calls, mixed in told:
        reminder = words.reminder(question)
        reminder = "" if reminder in hazards else reminder  # it stands at the top already
        item = (_mixed if mixed else _item)(question, verdict, calls, words, reminder)
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
        hazards=hazards,
        withheld=withheld,
        waiting=len(week.of("wait")),
        stations=lines,
        closing=written.get(f"closing.{words.language}") or words.phrase("closing"),
        cautions=tuple(words.list("cautions")),
        head=week.head,
        places=len({c.place for c in week.calls}),
        farms=_farms(c for c in week.calls if c.farm),
    )


def _hazards(stopped: Iterable[str], words: Words) -> tuple[str, ...]:
    """Warnings of every question with a hazard anywhere: general words, no numbers; several questions share one."""
    return tuple(w for w in dict.fromkeys(words.hazard(name) for name in sorted(stopped)) if w)


def _opening(items: list[Item], lines: tuple[StationLine, ...], words: Words) -> str:
    acts = [i for i in items if i.verdict in ("stop", "act") and not i.mixed]
    some = [i for i in items if i.mixed]
    told = []
    for key, found in (("opening.act", acts), ("opening.mixed", some)):
        if found:
            told.append(words.phrase(f"{key}.one" if len(found) == 1 else key, count=words.number(len(found))))
    text = " ".join(told) or words.phrase("opening.quiet")
    if lines:
        rain = sum(s.rain_mm for s in lines) / len(lines)
        usual = sum(s.usual_rain_mm for s in lines) / len(lines)
        text += " " + words.phrase("opening.rain", rain=words.rain(rain), usual=words.rain(usual))
    return text
