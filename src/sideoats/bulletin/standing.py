"""The standing parts of an edition: weather against the usual, markets, what to scout, dates, one table explained."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from sideoats.bulletin.seasons import Season, quoted, warmth
from sideoats.bulletin.stories import Story
from sideoats.facts import Facts
from sideoats.region import Region
from sideoats.station import StationDays
from sideoats.weather.pace import heat, pace
from sideoats.weather.rain_standing import rain_standing
from sideoats.words import Measured, Name, Paid, Reader, Said, Share, Term, Value, say, sentence, shown

AHEAD_DAYS = 45
_HEAT_BASE = 50.0  # degF: common practice for a first look at a season, no source
_SOIL = "soil_temperature_10"
# Windows of the region that the public counts to, and its usual days.
_WINDOWS = (
    "topdress-nitrogen", "graze-pull-off", "alfalfa-weevil-larvae", "haying", "cull-cows",
    "precondition", "soil-sampling-spring", "cotton-pace", "sorghum-heads", "soybean-pods", "wheat-purpose",
    "freeze-injury", "wheat-harvest",
)  # fmt: skip
_DAYS = ("killing-freeze", "weaning", "cattle-off-grain-wheat", "wheat-green-up")
# The window in which each question's reminder is worth a walk.
SCOUTED: Mapping[str, str] = {
    "alfalfa-weevil-larvae": "alfalfa-weevil", "cotton-squares": "cotton-fleahopper-bollworm",
    "fall-armyworm-in-wheat": "wheat-fall-armyworm", "graze-pull-off": "graze-pull-off",
    "sorghum-growing": "sorghum-aphid", "sorghum-heads": "sorghum-headworm", "soybean-pods": "soybean-stinkbug",
    "wheat-green-up": "wheat-aphid", "freeze-injury": "freeze-injury", "wheat-harvest": "harvest-loss",
    "frozen": "stock-water", "wean-date-unknown": "wean-date", "bred-heifers": "bred-heifers",
    "soil-sampling-spring": "soil-sampling",
}  # fmt: skip


@dataclass(frozen=True)
class Part:
    """A part with a table, lines, or both; in one language."""

    key: str
    title: str
    columns: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()
    lines: tuple[str, ...] = ()


@dataclass(frozen=True)
class PublicDay:
    """A day that the edition names to everyone."""

    day: date
    what: Said
    key: str


def parts(season: Season, stories: Sequence[Story], scout: Sequence[str], reader: Reader) -> tuple[Part, ...]:
    """Every part that has something to say; `scout` are lines in the reader's language."""
    dates = tuple((reader.day(d.day), _first_up(sentence(d.what, reader))) for d in public_days(season, stories))
    found = (
        _weather(season, reader),
        _market(season, reader),
        Part("scout", _say("edition.part.scout", reader), lines=tuple(scout)),
        Part("dates", _say("edition.part.dates", reader), _heads(("day", "what"), reader), dates),
        _why(season.facts, stories, reader),
    )
    return tuple(p for p in found if p is not None and (p.rows or p.lines))


def _say(code: str, reader: Reader, **values: Value | Said) -> str:
    return sentence(say(code, **values), reader)


def _first_up(text: str) -> str:
    return text[:1].upper() + text[1:]


def _heads(names: Sequence[str], reader: Reader) -> tuple[str, ...]:
    return tuple(_say(f"edition.col.{name}", reader) for name in names)


def _weather(season: Season, reader: Reader) -> Part:
    """A row a station; heat and soil temperature where one has them."""
    soil = any(_SOIL in r.values for r in season.stations.values())
    names = ("station", "rain7", "usual7", "rain90", "usual90", "ends", "away", "heat", *(("soil",) if soil else ()))
    rows = tuple(_station(record, season, reader, soil) for record in season.whole)
    return Part("weather", _say("edition.part.weather", reader), _heads(names, reader), rows)


def _station(record: StationDays, season: Season, reader: Reader, soil: bool) -> tuple[str, ...]:
    def amount(value: float, unit: str, digits: int = 1) -> str:
        return "–" if not math.isfinite(value) else shown(Measured(round(value, digits), unit=unit), reader)

    week, quarter = (rain_standing(record, season.on, days, most_missing=0.3).stands for days in (7, 90))
    rain = [amount(v / 25.4, "in") for s in (week, quarter) for v in (s.amount, s.normal)]
    end = record.index(season.on)
    low, high = (record.usable(name)[max(end - 7, 0) : end] * 1.8 + 32 for name in ("tmin", "tmax"))
    ends = {"low": Measured(float(round(np.nanmin(low)))), "top": Measured(float(round(np.nanmax(high))), unit="degF")}
    away, _ = warmth(record, season.on, 30)
    than = "edition.warmer" if away >= 0 else "edition.colder"
    told = "–" if not math.isfinite(away) else _say(than, reader, away=Measured(round(abs(away), 1), unit="delta_degF"))
    cells = [
        record.name or record.station,
        *rain,
        _say("edition.degrees", reader, **ends),
        told,
        _heat(record, season, reader),
    ]
    if soil:
        deep = record.usable(_SOIL)[max(end - 7, 0) : end]
        cells.append("–" if np.isnan(deep).all() or not deep.size else amount(float(np.nanmean(deep)), "degC", 0))
    return tuple(cells)


def _heat(record: StationDays, season: Season, reader: Reader) -> str:
    first = date(season.on.year, 1, 1)
    if season.on == first or record.index(first) < 0:
        return "–"
    found = pace(record, heat(record, _HEAT_BASE), first, season.on - timedelta(days=1), past=10)
    usual = f" ({reader.number(round(found.mean))})" if math.isfinite(found.mean) else ""
    return reader.number(round(found.total)) + usual


def _market(season: Season, reader: Reader) -> Part:
    rows = []
    for q in quoted(season.quotes, season.on):
        sign = "+" if q.change > 0 else ""
        change = sign + shown(Paid(q.change, unit=q.unit), reader)
        year = _say("edition.degrees", reader, low=Name(shown(Paid(q.low), reader)), top=Paid(q.high, unit=q.unit))
        good = _first_up(shown(Term(q.commodity, of="commodity"), reader))
        rows.append((good, shown(q.paid, reader), change, reader.short_day(q.before), year))
    return Part(
        "market",
        _say("edition.part.market", reader),
        _heads(("good", "price", "change", "since", "year"), reader),
        tuple(rows),
    )


def scouted(region: Region, on: date) -> list[str]:
    """Questions whose reminder is in season, in the order of the calendar's list."""
    return [q for window, q in SCOUTED.items() if window in region.windows and region.holds(window, on)]


def public_days(season: Season, stories: Sequence[Story]) -> list[PublicDay]:
    """Days of the stories, then openings, ends and usual days of the region's calendar in the coming weeks."""
    region, on, last = season.facts.region, season.on, season.on + timedelta(days=AHEAD_DAYS)
    found = [PublicDay(s.by, s.head, s.key) for s in stories]
    for name in _WINDOWS:
        for first, end in region.windows.get(name, ()):
            what = {"what": say(f"edition.window.{name}")}
            for kind, (month, day) in (("opens", first), ("closes", end)):
                there = _next(month, day, on)
                if on < there <= last:
                    found.append(PublicDay(there, say(f"edition.date.{kind}", **what), f"{name}.{kind}"))
    for name in _DAYS:
        if name in region.days and on < (there := region.next(name, on)) <= last:
            found.append(PublicDay(there, say("edition.date.usual", what=say(f"edition.window.{name}")), name))
    return sorted(found, key=lambda d: (d.day, d.key))


def _next(month: int, day: int, on: date) -> date:
    """The next such day; 29 February ends on the 28th of a common year."""
    for year in (on.year, on.year + 1):
        leap = (month, day) == (2, 29) and (year % 4 or (year % 100 == 0 and year % 400))
        if (there := date(year, month, 28 if leap else day)) > on:
            return there
    return there


Rows = tuple[tuple[str, ...], tuple[tuple[str, ...], ...]]


def _aphids(facts: Facts, reader: Reader) -> Rows:
    fact = facts["insects/sorghum_aphid.threshold"]
    pairs = zip(("fast", "middling", "slow"), (fact.low, fact.mid, fact.high), strict=True)
    rows = tuple((_say(f"edition.pace.{k}", reader), shown(Measured(v, unit="aphids/leaf"), reader)) for k, v in pairs)
    return _heads(("pace", "line"), reader), rows


def _nitrate(facts: Facts, reader: Reader) -> Rows:
    fact = facts["forage/nitrate_class.clemson"]
    cells = zip(*(fact.column(name) for name in ("from", "share", "at_risk")), strict=True)
    rows = tuple(
        (shown(Measured(start, unit="ppm"), reader), shown(Share(rest), reader), shown(Share(bred), reader))
        for start, rest, bred in cells
    )
    return _heads(("from", "open", "bred"), reader), rows


def _index(facts: Facts, reader: Reader) -> Rows:
    fact = facts["weather/livestock.thi_classes"]
    rows = tuple(
        (
            _say(f"edition.class.{name}", reader),
            reader.number(start) if start > 0 else _say("edition.under", reader, x=Measured(fact.column("from")[1])),
        )
        for name, start in zip(fact.column("class"), fact.column("from"), strict=True)
    )
    return _heads(("class", "index"), reader), rows


def _coats(facts: Facts, reader: Reader) -> Rows:
    fact = facts["weather/livestock.coat.kansas"]
    rows = tuple(
        (_say(f"edition.coat.{coat}", reader), shown(Measured(line, unit="degF"), reader))
        for coat, line in zip(fact.column("coat"), fact.column("critical"), strict=True)
    )
    return _heads(("coat", "critical"), reader), rows


def _drought(facts: Facts, reader: Reader) -> Rows:
    fact = facts["weather/drought.classes"]
    rows = tuple(
        (_say(f"edition.drought.{key}", reader), shown(Share(upper / 100), reader))
        for key, upper in zip(fact.column("class"), fact.column("upper"), strict=True)
    )
    return _heads(("class", "share"), reader), rows


EXPLAINED: Mapping[str, Callable[[Facts, Reader], Rows]] = {
    "sorghum-aphid": _aphids,
    "hay-nitrate": _nitrate,
    "cattle-heat": _index,
    "cattle-cold": _coats,
    "rain": _drought,
}


def _why(facts: Facts, stories: Sequence[Story], reader: Reader) -> Part | None:
    """One published table explained: that of the first story which has one."""
    story = next((s for s in stories if s.key in EXPLAINED), None)
    if story is None:
        return None
    columns, rows = EXPLAINED[story.key](facts, reader)
    title = _say("edition.part.why", reader, what=say(f"edition.why.{story.key}"))
    return Part("why", title, columns, rows, (_say(f"edition.why.{story.key}.text", reader), *story.sources[:1]))
