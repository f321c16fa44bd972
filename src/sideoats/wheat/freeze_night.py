"""What is known of a freeze: how cold, how long, at which stage, from a grower's words or from a station.

In winter what counts is the crown, told by a probe or reckoned from the night's air and the snow; in spring it is the
air at the stage, against the published lines.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

import numpy as np
from numpy.typing import NDArray

from sideoats.decide.laws import median
from sideoats.facts import Fact, Facts
from sideoats.question import Context, Table
from sideoats.wheat import freeze, stages
from sideoats.wheat.days import days_ahead
from sideoats.wheat.drawn import INCH_MM

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
MEMORY_DAYS = 12  # nights looked back on
COMING_DAYS = 7  # nights of a forecast that are looked ahead to
WARM_DAYS = 14  # days whose mean air tells whether wheat has lost its hardiness
BELOW_GROUND = ("seedling", "tillering")  # the growing point is in the crown: a crown temperature is nearer to it
_WINTER = "wheat/winterkill."


@dataclass(frozen=True)
class Crown:
    """The crown's side of a night, (place,) unless said [degF]."""

    low: Floats  # the colder of what was told or reckoned; NaN where neither
    forms: tuple[Floats, Floats]  # as each published form reckons it; NaN where it was told
    line: Floats  # below it wheat is killed
    clear: Floats  # above it wheat is cleared
    hardened: Bools
    decides: Bools  # the crown is judged, not the air

    @property
    def cold(self) -> Bools:
        """(place,) below the line."""
        return np.asarray(self.low < self.line)

    @property
    def close(self) -> Bools:
        """(place,) between the line and what clears it."""
        return np.asarray((self.low >= self.line) & (self.low <= self.clear))


@dataclass(frozen=True)
class Night:
    """What is known of the freeze, (place,) unless said."""

    stage: NDArray[np.object_]
    low: Floats  # degF
    hours: Floats  # at or near the lowest; NaN where not known
    line: Floats  # degF, the strictest published for the stage; NaN where no table has it
    publisher: NDArray[np.object_]  # whose that line is
    not_clear: Floats  # degF, at or below it the air does not clear the stage
    days_ago: Floats
    crown: Crown
    from_station: Bools
    sketched: Bools  # stage by heat units, not observed
    unfrozen: Bools  # too warm for frost on any stage
    gaps: Bools  # the station lacks so many of the last nights that no freeze among the rest says nothing
    gone: Floats  # nights that it lacks
    summer: Bools  # told to have frozen in a night of summer
    coming: Coming

    @property
    def by_air(self) -> Bools:
        """(place,) at or below what the air would have to be for the stage to be cleared."""
        return np.asarray((self.low <= self.not_clear) & ~self.crown.decides)

    @property
    def cold(self) -> Bools:
        """(place,) at or below the strictest line: not cleared, however short."""
        return np.asarray((self.low <= self.line) & ~self.crown.decides)

    @property
    def exposed(self) -> Bools:
        """(place,) not cleared without a look."""
        return np.asarray(self.by_air | self.crown.cold | self.crown.close)


def station_nights(table: Table, context: Context) -> tuple[Floats, Floats, Floats, Floats]:
    """Lowest of the station's last nights [degF], how many days ago it was, that day's highest [degF], (place,).

    Last, how many of these nights the record lacks: nothing is known of them, and one night is enough.
    """
    found = {}
    for name in dict.fromkeys(str(s) for s in table.text("station")):
        record = context.outlook.records.get(name)
        found[name] = (np.nan, np.nan, np.nan, np.nan)
        if record is None:
            continue
        back = max(0, record.index(context.on))
        first = max(0, back - MEMORY_DAYS)
        nights = record.usable("tmin")[first:back]
        gone = float(record.lacking(("tmin",), context.on, MEMORY_DAYS))
        found[name] = (np.nan, np.nan, np.nan, gone)
        if nights.size and np.isfinite(nights).any():
            at = int(np.nanargmin(nights))
            day = record.usable("tmax")[first:back][at]
            found[name] = (nights[at] * 1.8 + 32, float(back - first - at), day * 1.8 + 32, gone)
    rows = np.array([found[str(s)] for s in table.text("station")], dtype=np.float64).reshape(len(table), 4)
    return rows[:, 0], rows[:, 1], rows[:, 2], rows[:, 3]


@dataclass(frozen=True)
class Coming:
    """A freeze that is forecast, (place,): NaN and False where none is, or no fresh forecast stands for the station."""

    chance: Floats  # share of the futures with a night at or below the line
    day: Floats  # days to the night in which that is likeliest
    low: Floats  # degF, its middle
    told: Floats  # degF, as the service has it
    likely: Bools


def coming_of(table: Table, context: Context, line: Floats) -> Coming:
    """Nights of the coming days at or below `line` (place,) [degF], as the futures that begin with a forecast have it.

    Past years alone say nothing here: a late freeze that some years have had is no news.
    """
    out, n = context.outlook, len(table)
    chance, day, low, told = (np.full(n, np.nan) for _ in range(4))
    held = {s for s, standing in out.forecasts.items() if standing.used is not None}
    rows = [i for i, s in enumerate(table.text("station").astype(str)) if s in held and np.isfinite(line[i])]
    if rows and out.has_weather:
        at = out.station_rows(table.text("station")[rows])
        nights = out.daily("tmin")[at, :, 1 : COMING_DAYS + 1] * 1.8 + 32  # (row, year, night)
        cold = nights <= line[rows, None, None]
        likeliest = cold.mean(axis=1).argmax(axis=1)
        chance[rows] = cold.any(axis=2).mean(axis=1)
        day[rows] = likeliest + 1.0
        low[rows] = median(nights, axis=1)[np.arange(len(rows)), likeliest]
        for i in rows:
            used = out.forecasts[str(table.text("station")[i])].used
            on = context.on + timedelta(days=int(day[i]))
            told[i] = used.days.get(on, {}).get("low", low[i]) if used is not None else low[i]
    return Coming(chance, day, low, told, np.asarray(chance >= context.facts.value("wheat/freeze.coming")))


def read_tables(facts: Facts) -> list[Fact]:
    """Every published table of freeze lines that was read."""
    tables = (facts[i] for i in facts.choices["wheat/freeze_table"].among.values())
    return [table for table in tables if table.provenance == "read"]


def whose(table: Fact) -> str:
    """Publisher and year of a table, from its citation."""
    return table.citation.split(",")[0]


def _lines(facts: Facts, stage: NDArray[np.object_]) -> tuple[Floats, Floats, NDArray[np.object_]]:
    """(place,) the line followed and the strictest one read [degF], and whose the strictest is.

    A table that lacks the stage gives way to the mildest that has it for the band, to the strictest for the line.
    """
    _, followed = facts.choose("wheat/freeze_table")
    tables = [followed, *(t for t in read_tables(facts) if t.id != followed.id)]  # a tie is told by the one followed
    found = {}
    for name in dict.fromkeys(stage.tolist()):
        known = [(line, whose(t)) for t in tables if np.isfinite(line := freeze.threshold_of(t, str(name)))]
        own = freeze.threshold_of(followed, str(name))
        strictest, publisher = max(known, default=(np.nan, ""), key=lambda pair: pair[0])
        found[name] = (own if np.isfinite(own) else min(known, default=(np.nan, ""))[0], strictest, publisher)
    rows = [found[name] for name in stage.tolist()]
    numbers = np.array([row[:2] for row in rows], dtype=np.float64).reshape(len(rows), 2)
    return numbers[:, 0], numbers[:, 1], np.array([row[2] for row in rows], dtype=object)


def night_of(table: Table, context: Context) -> Night:
    """The coldest night: as told, else the station's; judged against the published lines."""
    facts = context.facts
    stage = table.text("stage").copy()
    sketched = np.zeros(len(table), bool)
    if (stage == "").any() and context.outlook.records:
        guess = _sketched_stage(table, context)
        sketched = (stage == "") & (guess != "")
        stage = np.where(sketched, guess, stage).astype(object)
    low, hours = table.number("low"), table.number("hours")
    told_on = -table.days_until("night", context.on)
    by_station, ago, high, gone = station_nights(table, context)
    use = np.isnan(low) & ~np.isnan(by_station)
    low = np.where(use, by_station, low)
    days_ago = np.where(use, ago, np.where(np.isnan(told_on), 0.0, told_on))
    long = freeze.night_hours_below(high, by_station, by_station + facts.value("wheat/freeze.near_low"))
    hours = np.where(use, long, hours)
    followed, line, publisher = _lines(facts, stage)
    not_clear = freeze.not_cleared_below(
        followed,
        line,
        hours,
        near=facts.value("wheat/freeze.near"),
        line_hours=facts.value("wheat/freeze.hours"),
        shelter=facts["wheat/freeze.shelter_difference"].low,
    )
    not_clear = np.where(np.isnan(line) & (stage != ""), facts.value("wheat/freeze.hard"), not_clear)
    crown = crown_of(table, context, stage, low)
    told = table.known("low") | table.known("crown_low")
    exposed = ((low <= not_clear) & ~crown.decides) | crown.cold | crown.close
    return Night(
        stage,
        low,
        hours,
        line,
        publisher,
        not_clear,
        days_ago,
        crown,
        use,
        sketched,
        unfrozen=(low > facts.value("wheat/freeze.frost")) & ~(crown.low <= crown.clear),
        gaps=~told & ~exposed & (gone > facts.value("wheat/freeze.nights_missing")),
        gone=gone,
        summer=table.known("low") & (low <= facts.value("wheat/freeze.frost")) & _in_summer(context, days_ago),
        coming=coming_of(table, context, line),
    )


def _in_summer(context: Context, days_ago: Floats) -> Bools:
    """(place,) the night was one on which nothing freezes in the region."""
    nights = [context.on - timedelta(days=float(ago)) for ago in np.maximum(days_ago, 0.0)]
    return np.array([context.region.holds("no-freeze", night) for night in nights], dtype=bool)


def crown_of(table: Table, context: Context, stage: NDArray[np.object_], low: Floats) -> Crown:
    """The crown as told, else as both published forms reckon it from the air of a winter night and the snow told.

    Wheat with tillers, hardened or not, is cleared while the reckoned crown stays out of what kills it: the air that
    such a crown goes with is published. A probe and a seedling need the whole margin.

    Snow that nobody spoke of is not counted on, and wheat is not taken as hardened outside the region's winter or after
    a warm fortnight at the station.
    """
    facts, region = context.facts, context.region
    told, below = table.number("crown_low"), np.isin(stage.astype(str), BELOW_GROUND)
    winter = below & region.holds("wheat-winter", context.on) & np.isnan(told)
    snow = np.nan_to_num(table.number("snow")) * INCH_MM / 10
    rows = facts[_WINTER + "crown_from_air"].rows
    air = (low - 32) / 1.8
    forms = [freeze.crown_from_air(air, snow, *(float(v) for v in row[1:])) * 1.8 + 32 for row in rows]
    first, second = (np.where(winter, form, np.nan) for form in forms)
    cold = region.holds("wheat-hardened", context.on) & ~warm_spell(table, context)
    hardened = np.where(table.known("hardened"), table.flag("hardened"), cold)
    lost = np.where(hardened, 0.0, facts.value(_WINTER + "unhardened"))
    line, clear = (facts.value(_WINTER + name) + lost for name in ("crown", "crown_clear"))
    stands = winter & (stage == BELOW_GROUND[-1])  # its air is published, not its crown
    return Crown(
        np.where(np.isnan(told), np.fmin(first, second), told),
        (first, second),
        line,
        np.where(stands, line, clear),
        np.asarray(hardened, bool),
        (np.isfinite(told) & (below | (stage == ""))) | (winter & np.isfinite(low)),
    )


def warm_spell(table: Table, context: Context) -> Bools:
    """(place,) the station's last fortnight was warm enough for wheat to lose its hardiness; False without a record."""
    line, found = context.facts.value(_WINTER + "dehardens"), {}
    for name in dict.fromkeys(str(s) for s in table.text("station")):
        record = context.outlook.records.get(name)
        back = 0 if record is None else max(0, record.index(context.on))
        days = slice(max(0, back - WARM_DAYS), back)
        mean = np.zeros(0) if record is None else (record.usable("tmax")[days] + record.usable("tmin")[days]) / 2
        found[name] = bool(np.isfinite(mean).any() and np.nanmean(mean) * 1.8 + 32 > line)
    return np.array([found[str(s)] for s in table.text("station")], dtype=bool)


def _sketched_stage(table: Table, context: Context) -> NDArray[np.object_]:
    """The freeze table's stage by heat units since planting, "" where the record does not reach back."""
    since = -table.days_until("planting_date", context.on)
    month, day = (int(p) for p in context.facts["wheat/stages.usual_sowing"].text.split("-"))
    usual = 365.0 - days_ahead(context.on, month, day)
    since = np.where((since > 0) & (since < 330), since, usual)
    constants = stages.calendar(context.facts)
    pairs = list(zip((str(s) for s in table.text("station")), since.tolist(), strict=True))
    found = {pair: _sketch(context, *pair, constants) for pair in dict.fromkeys(pairs)}
    return np.array([found[pair] for pair in pairs], dtype=object)


def _sketch(context: Context, station: str, since: float, constants: stages.Calendar) -> str:
    from sideoats.weather.radiation import daylight_hours

    record = context.outlook.records.get(station)
    if record is None or np.isnan(record.latitude) or not 0 < since < 330:
        return ""
    back = record.index(context.on)
    first = back - int(since)
    if first < 0 or back > len(record):
        return ""
    day_of_year = (np.arange(first, back) + record.start.timetuple().tm_yday - 1) % 365 + 1
    hours = daylight_hours(np.deg2rad(record.latitude), day_of_year)
    codes = stages.zadoks_by_day(
        _bridged(record.usable("tmax")[first:back]), _bridged(record.usable("tmin")[first:back]), hours, constants
    )
    return stages.freeze_stage(float(codes[-1])) if np.isfinite(codes[-1]) else ""


def _bridged(values: Floats) -> Floats:
    """Gaps filled straight between their neighbours: a stage sketch needs every day."""
    good = np.isfinite(values)
    if good.sum() < 0.9 * len(values):
        return values
    return np.interp(np.arange(len(values)), np.flatnonzero(good), values[good])
