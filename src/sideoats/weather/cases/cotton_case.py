"""Late bolls against the end of the season: the chance that a bloom matures, and what carrying it brings.

With a station its own past falls count, each with its own freeze. Without one the sketch is the told rate of heat, or
the region's, falling as falls do, against a usual freeze date with its spread; no money is spent on a sketch.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.problem import Choice, Look
from sideoats.question import Context, Table
from sideoats.station import StationDays
from sideoats.weather import cotton, freeze
from sideoats.weather.cases.record import lack_said
from sideoats.weather.degree_days import accumulate, degree_days
from sideoats.weather.pace import Pace, heat, pace
from sideoats.words import Said, say

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
UNIT = "USD/ac"
OPTIONS = (
    Choice("carry", say("option.cotton_carry"), day=0),
    Choice("let-go", say("option.cotton_let_go"), passive=True),
)
SEASON_DAYS = 200
_FACTS = "weather/cotton."
RECHECK, READ_STATION = 7, 5  # days
_FALL_AHEAD = 300  # days: a freeze farther off belongs to the next crop


@dataclass(frozen=True)
class Found:
    """What is found about one bloom date, planting date and killing temperature.

    `mature` (draw,); heat units `already` since the bloom; dates as ISO text, "" for none. `sketched`: without a
    station's own years, `regional`: not even a rate of heat was told. `lack`: too many days since the bloom are not
    on file.
    """

    mature: Bools
    already: float = np.nan
    cutoff_even: str = ""
    cutoff_sure: str = ""
    freeze_usual: str = ""
    pace: Pace | None = None
    sketched: bool = False
    regional: bool = False
    lack: Said | None = None


def _cap(context: Context) -> float | None:
    key, fact = context.facts.choose("weather/cotton_cap")
    return None if key == "none" else fact.value


def _heat(record: StationDays, base: float, cap: float | None) -> Floats:
    if cap is None:
        return heat(record, base, method="simple")
    return _capped(record.usable("tmax") * 1.8 + 32, record.usable("tmin") * 1.8 + 32, base, cap)


def _capped(high: Floats, low: Floats, base: float, cap: float | None) -> Floats:
    """DD60 with the day's maximum held at the cap."""
    top = high if cap is None else np.minimum(high, max(cap, base))
    return np.where(top >= low, degree_days(np.maximum(top, low), low, base, method="simple"), np.nan)


def _last_blooms(record: StationDays, daily: Floats, threshold: float, target: float, context: Context) -> Floats:
    """Last effective bloom of every past year of one station, days from the region's start of the season."""
    on = context.on
    month, day = context.region.days["cotton-season"]
    years, low = record.seasons("tmin", month, day, SEASON_DAYS)
    found = freeze.first_freeze(low, threshold)
    end = np.where(found.none, SEASON_DAYS, found.day)
    rows = np.full(low.shape, np.nan)
    for at, year in enumerate(years.tolist()):
        first = record.index(date(year, month, day))
        begin, stop = max(first, 0), min(first + SEASON_DAYS, len(daily))
        rows[at, begin - first : stop - first] = daily[begin:stop]
    past = years < on.year
    return cotton.last_effective_bloom(rows[past], end[past], target)


def _dated(since: date, days: float) -> str:
    return "" if not np.isfinite(days) or days < 0 else (since + timedelta(days=int(days))).isoformat()


def _by_station(context: Context, name: str, threshold: float, bloomed: int, planted: date | None) -> Found:
    """The answer of one station's record and drawn years; the bloom was, or will be, `bloomed` days from today."""
    out, facts, on = context.outlook, context.facts, context.on
    record, at = out.records[name], out.windows.stations.index(name) if out.windows else 0
    base, cap, target = facts.value(_FACTS + "base"), _cap(context), target_of(context)
    _, boll = facts.choose("weather/cotton_boll")
    back, ahead_by = max(-bloomed, 0), max(bloomed, 0)
    daily = _heat(record, base, cap)
    high, low = out.daily("tmax")[at], out.daily("tmin")[at]
    ahead = _capped(high * 1.8 + 32, low * 1.8 + 32, base, cap)
    ahead[..., :ahead_by] = 0.0  # no heat counts before the bloom
    killed = freeze.days_until_freeze(low, threshold)
    today = record.index(on)
    missing = record.lacking(("tmax", "tmin"), on, back)
    lack = lack_said(record, on, back, missing) if missing > facts.value("weather/pace.most_missing") * back else None
    already = float(accumulate(daily[max(today - back, 0) : max(today, 0)]).total)
    mature, _ = cotton.matures_before_freeze(ahead[out.year_of_draw], killed[out.year_of_draw], already, target)
    falls = out.as_today(name)
    last = _last_blooms(falls, _heat(falls, base, cap), threshold, boll.mid, context)
    usual = float(np.sort(np.where(killed < 0, np.inf, killed))[len(killed) // 2])
    start = date(on.year, *context.region.days["cotton-season"])
    even, sure = (_dated(start, cotton.day_with_chance(last, chance)) for chance in (0.5, 0.8))
    return Found(mature, already, even, sure, _dated(on, usual), _pace(record, daily, planted, context), lack=lack)


def target_of(context: Context) -> Floats:
    """(draw,) heat units from bloom to a mature boll."""
    _, boll = context.facts.choose("weather/cotton_boll")
    return context.outlook.between("heat units of a boll", boll.low, boll.high)


def found_of(table: Table, context: Context) -> list[Found]:
    """One answer a row; rows of one station, killing temperature, bloom and planting share the work."""
    facts, out, on = context.facts, context.outlook, context.on
    known = facts["weather/freeze.killing.cotton"].mid
    limit = (np.where(table.known("killing_freeze"), table.number("killing_freeze"), known) - 32) / 1.8
    bloomed = np.nan_to_num(table.days_until("bloom_date", on)).astype(int)
    if out.has_weather and out.windows is not None:
        stations = [out.windows.stations[k] for k in out.station_rows(table.text("station"))]
        planted = [None if np.isnat(d) else d.item() for d in table.date("planting_date")]
        keys = list(zip(stations, limit.tolist(), bloomed.tolist(), planted, strict=True))
        found = {key: _by_station(context, *key) for key in set(keys)}
        return [found[key] for key in keys]
    rate, end = table.number("heat_per_day"), table.days_until("freeze_date", on)
    return [_sketch(context, float(r), float(e), int(b)) for r, e, b in zip(rate, end, bloomed, strict=True)]


def _sketch(context: Context, rate: float, freeze_in: float, bloomed: int) -> Found:
    """Without a station: a rate of heat falling as falls do, against a freeze date with its spread.

    A usual freeze date is a median; a sketch never promises more than a stated chance. NaN for the region's rate and
    the region's freeze.
    """
    facts, out, on = context.facts, context.outlook, context.on
    table = facts[_FACTS + "fall_heat"]
    at = [date(on.year, *(int(p) for p in str(row[0]).split("-"))).timetuple().tm_yday for row in table.rows]
    courses = np.array([[float(v) for v in row[1:]] for row in table.rows]).T
    course = courses[np.minimum((out.uniform("fall of heat") * len(courses)).astype(int), len(courses) - 1)]
    today, back = on.timetuple().tm_yday, max(-bloomed, 0)
    regional = not np.isfinite(rate)
    now = np.array([np.interp(today, at, each) for each in course]) if regional else np.full(out.draws, rate)
    days = np.arange(today - back, today + SEASON_DAYS)
    level = cotton.falling_heat(now, today, days, at, course)
    most = now[:, None] * facts.value(_FACTS + "heat_ratio")
    sd = facts.value(_FACTS + ("region_spread" if regional else "heat_spread"))
    level = np.minimum(level, most) * np.exp(sd * out.normal("heat of this fall"))[:, None]
    level[:, : max(bloomed, 0)] = 0.0  # no heat counts before the bloom
    if not np.isfinite(freeze_in):
        freeze_in = float((_this_fall(context) - on).days)
    wide = out.between("spread of the freeze", *facts.span(_FACTS + "freeze_spread"))
    killed = np.maximum(np.rint(freeze_in + wide * out.normal("date of the freeze")), 0).astype(np.int64)
    already = level[:, :back].sum(axis=1)
    mature, _ = cotton.matures_before_freeze(level[:, back:], killed, already, target_of(context))
    kept = mature & (out.uniform("the sketch is wrong") < facts.value(_FACTS + "sketch_most"))
    usual = (on + timedelta(days=round(freeze_in))).isoformat()  # past or to come: asking later does not move it
    sketch = Found(kept, float(already.mean()), freeze_usual=usual, sketched=True)
    return replace(sketch, regional=regional)


def _this_fall(context: Context) -> date:
    """The region's usual killing freeze of the fall that blooms run into, just past or to come."""
    coming = context.region.next("killing-freeze", context.on)
    return coming if (coming - context.on).days <= _FALL_AHEAD else context.region.last("killing-freeze", context.on)


def _pace(record: StationDays, daily: Floats, planted: date | None, context: Context) -> Pace | None:
    yesterday = min(context.on - timedelta(days=1), record.end)
    if planted is None or not 0 < (yesterday - planted).days < 366 or record.index(planted) < 0:
        return None
    return pace(record, daily, planted, yesterday, past=int(context.facts.value("weather/pace.past_years")))


@dataclass(frozen=True)
class Case:
    """A batch of bolls; arrays (place,) unless said.

    `chance` that the bloom matures, NaN where days are missing; `priced`: what the bolls bring and what carrying them
    costs are known; `lacks`: days of the record are missing; `sketched`, `regional` as in `Found`.
    """

    table: Table
    context: Context
    found: list[Found]
    chance: Floats
    priced: Bools
    lacks: Bools
    sketched: Bools
    regional: Bools
    early: Bools  # cotton that cannot have bloomed yet, and nobody says that it did

    @property
    def gone(self) -> Bools:
        """Nothing more is asked about bolls that are as good as lost."""
        return np.asarray((self.chance < self.context.facts.value(_FACTS + "nothing_left")) & ~self.early)

    @property
    def over(self) -> Bools:
        """(place,) the usual killing freeze is past as well: nothing blooms any more this season."""
        return np.asarray(self.gone & (_this_fall(self.context) < self.context.on))

    @property
    def flowers(self) -> NDArray[np.datetime64]:
        """(place,) the first day on which this crop can bloom, by the days from planting; NaT where nobody told it."""
        first = self.context.facts.span(_FACTS + "first_flower_days")[0]
        planted = self.table.date("planting_date")
        this = -self.table.days_until("planting_date", self.context.on) < _FALL_AHEAD
        return np.where(this, planted + np.timedelta64(int(first), "D"), np.datetime64("NaT", "D"))

    def again(self) -> NDArray[np.int64]:
        """(place,) days until one looks again: next week, at first bloom, or in the next season."""
        on = self.context.on
        opens = (self.context.region.opens("cotton-pace", on) - on).days
        first = (self.flowers - np.datetime64(on)).astype("timedelta64[D]")
        bloom = np.where(np.isnat(first), float(opens or RECHECK), first.astype(np.float64))
        bloom = np.where(bloom > 0, bloom, RECHECK)
        return np.select([self.over, self.early], [float(opens or RECHECK), bloom], RECHECK).astype(np.int64)


def early_of(table: Table, context: Context, found: list[Found]) -> Bools:
    """(place,) no bloom is told, and none can be open yet: by the heat since planting where all its days are on file,
    else by the days since then; where nobody gave the planting, before the region's season of blooms.
    """
    facts = context.facts
    heat = np.array([f.pace.total if f.pace is not None and not f.pace.missing else np.nan for f in found])
    days = -table.days_until("planting_date", context.on)
    months = context.region.days["cotton-season"]
    young = np.where(
        np.isnan(heat), days < facts.span(_FACTS + "first_flower_days")[0], heat < facts[_FACTS + "first_bloom"].low
    )
    before = (context.on.month, context.on.day) < months
    this = days < _FALL_AHEAD  # False where nobody gave it, and for last year's crop
    return np.asarray(np.where(this, young, before) & ~table.known("bloom_date"))


def case_of(table: Table, context: Context) -> Case:
    """Everything that the verdict and the sentences need."""
    found = found_of(table, context)
    early = early_of(table, context, found)
    lacks = np.array([f.lack is not None for f in found]) & ~early
    chance = np.where(lacks | early, np.nan, [f.mature.mean() for f in found])
    return Case(
        table,
        context,
        found,
        chance,
        table.known("late_value") & table.known("cost"),
        lacks,
        np.array([f.sketched for f in found]),
        np.array([f.regional for f in found]),
        early,
    )


def gain_of(case: Case) -> Floats:
    """(place, draw, option) what carrying late bolls brings over letting them go."""
    mature = np.stack([f.mature for f in case.found])
    value, cost = (np.nan_to_num(case.table.number(name))[:, None] for name in ("late_value", "cost"))
    carry = np.where((case.priced & ~case.early)[:, None], mature * value - cost, 0.0)
    return np.stack([carry, np.zeros_like(carry)], axis=2)


def looks(case: Case, gain: Floats) -> tuple[Look, ...]:
    """A station's record, wherever a sketch would have money spent: worth at least what the sketch may be wrong by."""
    mean = gain[:, :, 0].mean(axis=1)
    least = dict((kind, low) for kind, money, low in case.context.facts["decide/trouble.least"].rows if money == UNIT)
    worth = np.maximum(np.maximum(-gain[:, :, 0], 0.0).mean(axis=1), least["pass"])
    n = len(mean)
    return (
        Look(
            np.zeros((n, 1)),
            np.zeros(n),
            np.full(n, READ_STATION),
            worth=np.where(case.sketched & (mean > 0), worth, 0.0),
        ),
    )


def needs(case: Case, gain: Floats) -> dict[str, Bools]:
    """Days that the record lacks; a station where only the region's falls are known and carrying may pay; money, where
    it may matter.
    """
    open_ = ~case.gone & ~case.lacks & ~case.early
    pays = ~case.priced | (gain[:, :, 0].mean(axis=1) > 0)
    likely = open_ & ~(case.chance < case.context.facts.value(_FACTS + "priced_from"))
    return {
        "station.days": case.lacks | (case.regional & open_ & pays),
        "cotton_map.late_value": likely & ~case.table.known("late_value"),
        "cotton-pace.cost": likely & ~case.table.known("cost"),
    }


def quantities(case: Case) -> dict[str, tuple[Any, Any]]:
    """Figures of a call."""
    found = case.found

    def of(name: str) -> Floats:
        return np.array([np.nan if f.pace is None else float(getattr(f.pace, name)) for f in found])

    def text(name: str) -> NDArray[np.str_]:
        return np.array([getattr(f, name) for f in found])

    _, boll = case.context.facts.choose("weather/cotton_boll")
    heat_units = "delta_degF*day"
    return {
        "chance_that_a_bloom_matures": (case.chance, "1"),
        "heat_units_since_bloom": (np.array([f.already for f in found]), heat_units),
        "heat_units_needed": (np.full(len(found), boll.mid), heat_units),
        "heat_units_since_planting": (of("total"), heat_units),
        "heat_units_past_years": (of("mean"), heat_units),
        "heat_units_departure": (of("departure"), heat_units),
        "days_ahead_of_past_years": (of("days_ahead"), "day"),
        "missing_days_since_planting": (of("missing"), "day"),
        "last_bloom_even_chance": (text("cutoff_even"), ""),
        "last_bloom_four_in_five": (text("cutoff_sure"), ""),
        "usual_killing_freeze": (text("freeze_usual"), ""),
    }
