"""Stories that rest on no farm: the public stations' weather, published lines, the region's calendar and the market.

They make a full edition where no question is asked on five farms, and stand beside the farms' stories where there is.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from statistics import median
from typing import TYPE_CHECKING, Any

import numpy as np

from sideoats import units
from sideoats.bulletin.stories import Story
from sideoats.pictures import Axis, Course, Line, Picture
from sideoats.station import StationDays, same_day
from sideoats.weather.freeze import first_freeze, freeze_chances, last_freeze
from sideoats.weather.livestock import temperature_humidity_index
from sideoats.weather.pace import Pace, heat, pace
from sideoats.weather.psychrometrics import humidity_at, saturation_vapour_pressure
from sideoats.weather.rain_standing import rain_standing
from sideoats.words import Count, Day, Measured, Money, Name, Paid, Share, Term, say

if TYPE_CHECKING:
    from sideoats.facts import Fact, Facts

Series = Mapping[tuple[str, str], Sequence[tuple[date, str]]]
MOST_QUOTE_DAYS = 45  # an older quote is no news
_LEAST_YEARS = 5
_FREEZE_DAYS = 150  # from the first day of the window: past every freeze of a fall or a spring


@dataclass(frozen=True)
class Season:
    """What every story of the season is made of."""

    on: date
    stations: Mapping[str, StationDays]
    quotes: Series
    facts: Facts

    def by(self, days: int) -> dict[str, Day]:
        """The day of the headline."""
        return {"by": Day(self.on + timedelta(days=days))}

    def holds(self, window: str) -> bool:
        """Whether the region has the window and it is open."""
        region = self.facts.region
        return window in region.windows and region.holds(window, self.on)

    @property
    def whole(self) -> list[StationDays]:
        """Stations that have most of the last week."""
        return [r for r in self.stations.values() if r.lacking(("rain", "tmax", "tmin"), self.on, 7) <= 2]

    @property
    def first(self) -> StationDays | None:
        """The station that stories of heat and freezes tell of; the longest record."""
        return max(self.whole, key=len, default=None)


def season_stories(season: Season) -> Iterator[Story]:
    """Every story that the day has."""
    for make in (_rain, _hot_cattle, _cold_cattle, _sowing, _fall_freeze, _spring_freeze, _hollow_stem, _topdress,
                 _weevil, _cotton, _storing, _market):  # fmt: skip
        story = make(season)
        if story is not None and all(s.known for s in (story.head, *story.body)):
            yield story


def _name(record: StationDays) -> Name:
    return Name(record.name or record.station)


def _rain(season: Season) -> Story | None:
    """The driest station's three months beside its past years."""
    found = [(record, rain_standing(record, season.on, 90)) for record in season.whole]
    found = [(r, s) for r, s in found if s.stands.years >= _LEAST_YEARS and math.isfinite(s.stands.percentile)]
    if not found:
        return None
    record, standing = min(found, key=lambda pair: pair[1].stands.percentile)
    fact = season.facts["weather/drought.classes"]
    line = max(fact.column("upper"))
    dry = standing.stands.percentile <= line
    kind = "short" if dry else "fair"
    away = Measured(round(abs(standing.stands.departure) / 25.4, 1), unit="in")
    return Story(
        "rain",
        season.on + timedelta(days=6),
        say(f"edition.rain.{kind}.head", away=away, **season.by(6)),
        (
            say(
                f"edition.rain.{kind}.figure", name=_name(record), rain=_inches(standing.stands.amount),
                usual=_inches(standing.stands.normal),
            ),
            say(
                f"edition.rain.{kind}.line", share=Share(round(standing.stands.percentile / 100, 2)),
                line=Share(line / 100), years=Count(standing.stands.years),
            ),
            say(f"edition.rain.{kind}.why"),
        ),
        say(f"edition.rain.{kind}.caution"),
        (fact.citation,),
        _rain_picture(record, season),
        2.5 if dry else 0.5,
    )  # fmt: skip


def _inches(mm: float) -> Measured:
    return Measured(round(mm / 25.4, 1), unit="in")


def _rain_picture(record: StationDays, season: Season) -> Picture | None:
    """The same ninety days, and as many past years, as the story's sentence."""
    since, until = season.on - timedelta(days=90), season.on - timedelta(days=1)
    found = pace(record, record.usable("rain") / 25.4, since, until, past=season.on.year - record.start.year)
    return _pace_picture("edition.rain.picture", record, found, "in", 1)


def _pace_picture(code: str, record: StationDays, found: Pace, unit: str, digits: int) -> Picture | None:
    if len(found.years) < _LEAST_YEARS:
        return None
    usual = found.courses.mean(axis=0)
    return Course(
        finding=say(
            code,
            name=_name(record),
            now=Measured(round(found.total, digits), unit=unit),
            usual=Measured(round(found.mean, digits), unit=unit),
        ),
        saying=say("edition.picture.sums", years=Count(len(found.years))),
        x=found.since.toordinal() + np.arange(len(found.course)),
        across=Axis(say("edition.picture.day"), "day", Day),
        up=Axis(say(f"{code}.axis"), unit),
        lines=[
            Line(say("edition.picture.now"), found.course, now=True),
            Line(say("edition.picture.usual"), usual),
        ],
    )


def _index(record: StationDays) -> Any:
    """The day's highest temperature-humidity index: its mean vapour at its highest temperature."""
    high, low = record.usable("tmax"), record.usable("tmin")
    mean = (high + low) / 2
    vapour = record.usable("humidity") * saturation_vapour_pressure(mean)
    return temperature_humidity_index(high, np.clip(humidity_at(high, vapour), 0, 1))


def _chance_ahead(record: StationDays, values: Any, on: date, past_line: Any) -> tuple[float, int]:
    """Share of past years in which some day of the coming week passed the line, and of how many years."""
    hits = []
    for back in range(1, on.year - record.start.year + 1):
        at = record.index(same_day(on, on.year - back))
        week = values[max(at, 0) : at + 7]
        if at >= 0 and len(week) == 7 and not np.isnan(week).all():
            hits.append(bool(past_line(week)))
    return (sum(hits) / len(hits) if len(hits) >= _LEAST_YEARS else math.nan), len(hits)


def _hot_cattle(season: Season) -> Story | None:
    record = season.first
    if record is None or "humidity" not in record.values:
        return None
    fact = season.facts["weather/livestock.thi_classes"]
    line = dict(zip(fact.column("class"), fact.column("from"), strict=True))["danger"]
    index = _index(record)
    chance, years = _chance_ahead(record, index, season.on, lambda week: np.nanmax(week) >= line)
    end = record.index(season.on)
    worst = float(np.nanmax(np.r_[index[max(end - 7, 0) : end], np.nan * np.ones(1)])) if end > 0 else math.nan
    if not chance >= 0.3:
        return None
    return Story(
        "cattle-heat",
        season.on + timedelta(days=2),
        say("edition.cattle-heat.head", **season.by(2)),
        (
            say("edition.cattle-heat.figure", name=_name(record), worst=Measured(float(round(worst)))),
            say("edition.cattle-heat.line", line=Measured(line)),
            say("edition.cattle-heat.chance", chance=Share(round(chance, 2)), years=Count(years)),
            say("edition.cattle-heat.why"),
        ),
        say("edition.cattle-heat.caution"),
        (fact.citation,),
        weight=2 + (worst >= line),
    )


def _cold_cattle(season: Season) -> Story | None:
    record = season.first
    fact = season.facts["weather/livestock.coat.kansas"]
    coats = dict(zip(fact.column("coat"), fact.column("critical"), strict=True))
    if record is None or not season.holds("frozen"):
        return None
    low = record.usable("tmin") * 1.8 + 32
    chance, years = _chance_ahead(record, low, season.on, lambda week: np.nanmin(week) <= coats["heavy winter"])
    end = record.index(season.on)
    coldest = float(np.nanmin(low[max(end - 7, 0) : end]))
    if not chance >= 0.2:
        return None
    return Story(
        "cattle-cold",
        season.on + timedelta(days=2),
        say("edition.cattle-cold.head", **season.by(2)),
        (
            say("edition.cattle-cold.figure", name=_name(record), coldest=Measured(float(round(coldest)), unit="degF")),
            say(
                "edition.cattle-cold.line", dry=Measured(coats["heavy winter"], unit="degF"),
                wet=Measured(coats["wet"], unit="degF"),
            ),
            say("edition.cattle-cold.chance", chance=Share(round(chance, 2)), years=Count(years)),
            say("edition.cattle-cold.why"),
        ),
        say("edition.cattle-cold.caution"),
        (fact.citation,),
        weight=2,
    )  # fmt: skip


def _sowing(season: Season) -> Story | None:
    """The published window of the middle zone, from a month before it until it ends."""
    record, on = season.first, season.on
    fact, lead = (season.facts[f"wheat/planting.{k}"] for k in ("window.kansas_l818", "volunteer_before"))
    row = fact.rows[len(fact.rows) // 2]
    opens, closes = (date(on.year, *map(int, str(text).split("-"))) for text in row[1:3])
    if record is None or not opens - timedelta(days=30) <= on <= closes:
        return None
    ahead = on < opens
    kind = "ahead" if ahead else "open"
    day = max(opens - timedelta(days=int(lead.low)), on + timedelta(days=2)) if ahead else closes
    end = record.index(on)
    rain = float(np.nansum(record.usable("rain")[max(end - 14, 0) : end]))
    return Story(
        "wheat-sowing",
        day,
        say(f"edition.wheat-sowing.{kind}.head", by=Day(day)),
        (
            say("edition.wheat-sowing.figure", name=_name(record), rain=_inches(rain)),
            say("edition.wheat-sowing.line", opens=Day(opens), closes=Day(closes), zone=Name(row[0])),
            say("edition.wheat-sowing.why", least=Count(int(lead.low)), most=Count(int(lead.high))),
        ),
        say("edition.wheat-sowing.caution"),
        (fact.citation, lead.citation),
        weight=2.2,
    )


def _freezes(season: Season, record: StationDays, window: str, line: float) -> tuple[date, date, date, int] | None:
    """Days by which the freeze has come in one year of ten, in half, in nine of ten; and of how many years."""
    first = season.facts.region.windows[window][0][0]
    years, rows = record.seasons("tmin", *first, _FREEZE_DAYS)
    find = first_freeze if window == "fall-freeze" else last_freeze
    told = freeze_chances(find(rows[years < season.on.year] * 1.8 + 32, line), (0.1, 0.5, 0.9))
    if told.years < _LEAST_YEARS or np.isnan(told.days).any():
        return None
    early, middle, late = (date(season.on.year, *first) + timedelta(days=float(d)) for d in told.days)
    return early, middle, late, told.years


def _fall_freeze(season: Season) -> Story | None:
    record, on = season.first, season.on
    if record is None or not season.holds("fall-freeze"):
        return None
    fact = season.facts["weather/freeze.killing.cotton"]
    found = _freezes(season, record, "fall-freeze", fact.mid)
    if found is None or found[1] < on:
        return None
    early, middle, _, years = found
    return _freeze_story("fall-freeze", season, record, fact, fact.mid, middle, max(early, on), years)


def _spring_freeze(season: Season) -> Story | None:
    record, on = season.first, season.on
    if record is None or not season.holds("freeze-injury"):
        return None
    fact = season.facts["weather/freeze.thresholds"]
    line = dict(zip(fact.column("name"), fact.column("threshold"), strict=True))["hard freeze"]
    found = _freezes(season, record, "freeze-injury", line)
    if found is None or found[2] < on:
        return None
    _, middle, late, years = found
    return _freeze_story("spring-freeze", season, record, fact, line, middle, late, years)


def _freeze_story(
    key: str, season: Season, record: StationDays, fact: Fact, line: float, middle: date, edge: date, years: int
) -> Story:
    end = record.index(season.on)
    coldest = float(np.nanmin(record.usable("tmin")[max(end - 7, 0) : end]))
    by = edge if key == "fall-freeze" else season.on + timedelta(days=6)
    return Story(
        key,
        by,
        say(f"edition.{key}.head", by=Day(by)),
        (
            say(f"edition.{key}.figure", name=_name(record), coldest=Measured(round(coldest * 1.8 + 32), unit="degF")),
            say(f"edition.{key}.line", line=Measured(line, unit="degF")),
            say(f"edition.{key}.chance", middle=Day(middle), edge=Day(edge), years=Count(years)),
            say(f"edition.{key}.why"),
        ),
        say(f"edition.{key}.caution"),
        (fact.citation,),
        weight=1.0 if key == "fall-freeze" else 2.0,
    )


def warmth(record: StationDays, on: date, days: int) -> tuple[float, int]:
    """Mean temperature of the last days less that of past years [delta_degF], and of how many years."""
    mean = (record.usable("tmax") + record.usable("tmin")) * 0.9
    spans = []
    for back in range(on.year - record.start.year + 1):
        at = record.index(same_day(on, on.year - back))
        span = mean[max(at - days, 0) : max(at, 0)]
        spans.append(float(np.nanmean(span)) if len(span) and (~np.isnan(span)).sum() >= 0.8 * days else math.nan)
    past = [v for v in spans[1:] if math.isfinite(v)]
    return (spans[0] - sum(past) / len(past) if len(past) >= _LEAST_YEARS else math.nan), len(past)


def _hollow_stem(season: Season) -> Story | None:
    record, on = season.first, season.on
    if record is None or not season.holds("graze-pull-off"):
        return None
    stem, lost = (season.facts[f"wheat/grazing.{k}"] for k in ("first_hollow_stem", "late_loss.kansas"))
    away, years = warmth(record, on, 30)
    if not math.isfinite(away):
        return None
    kind = "warm" if away >= 0 else "cold"
    return Story(
        "hollow-stem",
        on + timedelta(days=6),
        say("edition.hollow-stem.head", **season.by(6)),
        (
            say(f"edition.hollow-stem.{kind}", name=_name(record), away=_degrees(away), years=Count(years)),
            say("edition.hollow-stem.line", line=Measured(round(stem.mid / 2.54, 1), unit="in")),
            say("edition.hollow-stem.why", lost=Share(lost.mid)),
        ),
        say("edition.hollow-stem.caution"),
        (stem.citation, lost.citation),
        weight=2.0,
    )


def _degrees(away: float) -> Measured:
    return Measured(max(round(abs(away), 1), 0.1), unit="delta_degF")


def _topdress(season: Season) -> Story | None:
    record, on = season.first, season.on
    if record is None or not season.holds("topdress-nitrogen"):
        return None
    fact, close = (season.facts[f"wheat/nitrogen.{k}"] for k in ("timing", "topdress_close"))
    month, day = map(int, close.text.split("-"))
    end = date(on.year, month, day)
    if on > end:
        return None
    at = record.index(on)
    rain = float(np.nansum(record.usable("rain")[max(at - 30, 0) : at]))
    return Story(
        "topdress",
        end,
        say("edition.topdress.head", by=Day(end)),
        (
            say("edition.topdress.figure", name=_name(record), rain=_inches(rain)),
            say("edition.topdress.line", whose=Name(season.facts["wheat/nitrogen.best_months"].publisher)),
            say("edition.topdress.why"),
        ),
        say("edition.topdress.caution"),
        (fact.citation, season.facts["wheat/nitrogen.best_months"].citation),
        weight=1.5,
    )


def _weevil(season: Season) -> Story | None:
    record, on = season.first, season.on
    if record is None or not season.holds("alfalfa-weevil-larvae"):
        return None
    base, start = (season.facts[f"insects/alfalfa_weevil.{k}"] for k in ("base", "scout_from"))
    found = pace(
        record, heat(record, base.mid, method="single_sine"), date(on.year, 1, 1), on - timedelta(days=1), past=10
    )
    kind = "over" if found.total >= start.mid else "under"
    return _heat_story("alfalfa-weevil", kind, season, record, found, start.mid, (start.citation,), 1.8)


def _cotton(season: Season) -> Story | None:
    record, on, region = season.first, season.on, season.facts.region
    if record is None or not season.holds("cotton-pace") or on <= region.last("cotton-season", on):
        return None
    fact = season.facts["weather/cotton.boll.delta"]
    since = region.last("cotton-season", on)
    found = pace(
        record, heat(record, season.facts.value("weather/cotton.base")), since, on - timedelta(days=1), past=10
    )
    if not math.isfinite(found.mean):
        return None
    kind = "over" if found.departure >= 0 else "under"
    return _heat_story("cotton-heat", kind, season, record, found, fact.mid, (fact.citation,), 1.2)


def _heat_story(
    key: str,
    kind: str,
    season: Season,
    record: StationDays,
    found: Pace,
    line: float,
    sources: tuple[str, ...],
    weight: float,
) -> Story:
    return Story(
        key,
        season.on + timedelta(days=6),
        say(f"edition.{key}.{kind}.head", **season.by(6)),
        (
            say(
                f"edition.{key}.figure", name=_name(record), now=Measured(round(found.total)),
                usual=Measured(round(found.mean)), since=Day(found.since),
            ),
            say(f"edition.{key}.line", line=Measured(line)),
            say(f"edition.{key}.why"),
        ),
        say(f"edition.{key}.caution"),
        sources,
        _pace_picture(f"edition.{key}.picture", record, found, "1", 0),
        weight,
    )  # fmt: skip


def _storing(season: Season) -> Story | None:
    record, on = season.first, season.on
    if record is None or not season.holds("wheat-harvest"):
        return None
    fact = season.facts["grain/moisture_limit.wheat.north_dakota"]
    line = float(fact.column("moisture")[0])
    end = record.index(on)
    rain = float(np.nansum(record.usable("rain")[max(end - 7, 0) : end]))
    return Story(
        "wheat-storing",
        on + timedelta(days=6),
        say("edition.wheat-storing.head", line=Name(f"{line:g} %"), **season.by(6)),
        (
            say("edition.wheat-storing.figure", name=_name(record), rain=_inches(rain)),
            say("edition.wheat-storing.line", line=Name(f"{line:g} %"), whose=Name(fact.publisher)),
            say("edition.wheat-storing.why"),
        ),
        say("edition.wheat-storing.caution"),
        (fact.citation,),
        weight=1.6,
    )


@dataclass(frozen=True)
class Quoted:
    """The newest price of one commodity, the one before it and the range of a year; `unit` as quoted."""

    commodity: str
    unit: str
    day: date
    price: float
    before: date
    change: float
    low: float
    high: float
    days: tuple[date, ...]
    prices: tuple[float, ...]

    @property
    def paid(self) -> Paid:
        """The price as money."""
        return Paid(self.price, unit=self.unit)


def quoted(quotes: Series, on: date) -> list[Quoted]:
    """Every commodity quoted lately, of the first market that quotes it."""
    out: dict[str, Quoted] = {}
    for (_, commodity), rows in quotes.items():
        rows = [row for row in rows if row[0] <= on]
        if commodity in out or len(rows) < 2 or (on - rows[-1][0]).days > MOST_QUOTE_DAYS:
            continue
        unit = units.split(rows[-1][1])[1]
        year = [(day, float(units.parse(text, unit))) for day, text in rows if (on - day).days <= 370]
        if len(year) < 2:
            continue
        days, prices = zip(*year, strict=True)
        out[commodity] = Quoted(
            commodity,
            unit,
            days[-1],
            prices[-1],
            days[-2],
            prices[-1] - prices[-2],
            min(prices),
            max(prices),
            days,
            prices,
        )
    return list(out.values())


def _market(season: Season) -> Story | None:
    """The commodity that moved most for its price."""
    found = quoted(season.quotes, season.on)
    if not found:
        return None
    most = max(found, key=lambda q: abs(q.change) / q.price)
    kind = "up" if most.change >= 0 else "down"
    good = {"good": Term(most.commodity, of="commodity")}
    middle = median(most.prices)
    return Story(
        "market",
        season.on + timedelta(days=6),
        say(f"edition.market.{kind}.head", **good, **season.by(6)),
        (
            say(
                f"edition.market.{kind}.figure", price=most.paid, change=Paid(abs(most.change), unit=most.unit),
                day=Day(most.day), before=Day(most.before),
            ),
            say("edition.market.line", low=Paid(most.low, unit=most.unit), top=Paid(most.high, unit=most.unit)),
            say("edition.market.why", middle=Paid(middle, unit=most.unit)),
        ),
        say("edition.market.caution"),
        (),
        Course(
            finding=say("edition.market.picture", price=most.paid, **good),
            saying=say("edition.market.picture.says"),
            x=[d.toordinal() for d in most.days],
            across=Axis(say("edition.picture.day"), "day", Day),
            up=Axis(say("edition.market.axis"), most.unit, Money),
            lines=[Line(say("edition.market.axis"), most.prices, now=True)],
        ),
        weight=0.8 + abs(most.change) / most.price * 10,
    )  # fmt: skip
