"""Cotton: heat units against past years, and whether the last bolls will mature before a killing freeze."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.call import ACT, LOOK, WAIT
from sideoats.decide import decide
from sideoats.errors import InputError
from sideoats.question import Answers, Context, Option, Places, Question, Table
from sideoats.schema import Field
from sideoats.station import StationDays
from sideoats.weather import cotton, freeze
from sideoats.weather.degree_days import accumulate, degree_days
from sideoats.weather.pace import Pace, heat, pace

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
OPTIONS = (
    Option("carry", "Go on protecting and feeding bolls set from now on", day=0),
    Option("let-go", "Spend nothing more on bolls set from now on", passive=True),
)
_SEASON_START = (7, 1)
_SEASON_DAYS = 200
INPUTS = (
    Field("planting_date", "date", "day of planting", found_in=("place:planting_date",), example="2026-05-24"),
    Field("bloom_date", "date", "day of the bloom asked about; today if absent",
          found_in=("evidence:cotton_map.bloom_date",), fresh_days=60),
    Field("nodes_above_white_flower", "number", "nodes above the uppermost first-position white flower", low=0, high=15,
          found_in=("evidence:cotton_map.nodes_above_white_flower",), fresh_days=14),
    Field("late_value", "number", "what bolls set from now on would bring if they mature", unit="USD/ac", low=0,
          high=2000, found_in=("evidence:cotton_map.late_value", "setting:cotton.late_value")),
    Field("cost", "number", "what carrying them costs from now on", unit="USD/ac", low=0, high=1000,
          found_in=("setting:cotton.late_cost",)),
    Field("killing_freeze", "number", "air temperature that ends boll maturing", unit="degF", low=20, high=36),
    Field("heat_per_day", "number", "DD60 gained a day, where no station is on file", unit="delta_degF", low=0, high=40,
          bare=True),
    Field("freeze_date", "date", "usual first killing freeze, where no station is on file"),
    Field("station", "text", "weather station", found_in=("place:station",)),
)  # fmt: skip


def _check(values: dict[str, Any]) -> None:
    if values["freeze_date"] is not None and values["heat_per_day"] is None:
        raise InputError("is missing", where="cotton-pace heat_per_day", expected="heat_per_day=18 beside freeze_date",
                         todo="give both, or use a ledger with a station")  # fmt: skip


@dataclass(frozen=True)
class _Answer:
    """What one station says about one bloom date, planting date and killing temperature."""

    mature: Bools  # (draw,)
    already: float = np.nan
    cutoff_even: str = ""
    cutoff_sure: str = ""
    freeze_usual: str = ""
    pace: Pace | None = None
    lack: str = ""  # in words, where too many days since the bloom are missing to count their heat


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


def _last_blooms(record: StationDays, daily: Floats, threshold: float, target: float, on: date) -> Floats:
    """Last effective bloom of every past year of one station, days from `_SEASON_START`."""
    month, day = _SEASON_START
    years, low = record.seasons("tmin", month, day, _SEASON_DAYS)
    found = freeze.first_freeze(low, threshold)
    end = np.where(found.none, _SEASON_DAYS, found.day)
    rows = np.full(low.shape, np.nan)
    for at, year in enumerate(years.tolist()):
        first = record.index(date(year, month, day))
        begin, stop = max(first, 0), min(first + _SEASON_DAYS, len(daily))
        rows[at, begin - first : stop - first] = daily[begin:stop]
    past = years < on.year
    return cotton.last_effective_bloom(rows[past], end[past], target)


def _dated(since: date, days: float) -> str:
    return "" if not np.isfinite(days) or days < 0 else (since + timedelta(days=int(days))).isoformat()


def _by_station(
    context: Context, name: str, threshold: float, back: int, planted: date | None, target: Floats
) -> _Answer:
    """The answer of one station's record and drawn years."""
    out, facts, on = context.outlook, context.facts, context.on
    record, at = out.records[name], out.windows.stations.index(name) if out.windows else 0
    base, cap = facts.value("weather/cotton.base"), _cap(context)
    _, boll = facts.choose("weather/cotton_boll")
    daily = _heat(record, base, cap)
    high, low = out.daily("tmax")[at], out.daily("tmin")[at]
    ahead = _capped(high * 1.8 + 32, low * 1.8 + 32, base, cap)
    killed = freeze.days_until_freeze(low, threshold)
    today = record.index(on)
    missing = record.lacking(("tmax", "tmin"), on, back)
    lack = record.lack_told(on, back, missing) if missing > facts.value("weather/pace.most_missing") * back else ""
    already = float(accumulate(daily[max(today - back, 0) : max(today, 0)]).total)
    mature, _ = cotton.matures_before_freeze(ahead[out.year_of_draw], killed[out.year_of_draw], already, target)
    last = _last_blooms(record, daily, threshold, boll.mid, on)
    usual = float(np.sort(np.where(killed < 0, np.inf, killed))[len(killed) // 2])
    start = date(on.year, *_SEASON_START)
    even, sure = (_dated(start, cotton.day_with_chance(last, chance)) for chance in (0.5, 0.8))
    return _Answer(mature, already, even, sure, _dated(on, usual), _pace(record, daily, planted, context), lack)


def _answers(table: Table, context: Context) -> list[_Answer | None]:
    """One answer a row; rows of one station, killing temperature, bloom and planting share the work."""
    facts, out, on = context.facts, context.outlook, context.on
    _, boll = facts.choose("weather/cotton_boll")
    target = out.between("heat units of a boll", boll.low, boll.high)
    known = facts["weather/freeze.killing.cotton"].mid
    limit = (np.where(table.known("killing_freeze"), table.number("killing_freeze"), known) - 32) / 1.8
    back = np.maximum(np.nan_to_num(-table.days_until("bloom_date", on)), 0.0).astype(int)
    if out.has_weather and out.windows is not None:
        stations = [out.windows.stations[k] for k in out.station_rows(table.text("station"))]
        planted = [None if np.isnat(d) else d.item() for d in table.date("planting_date")]
        keys = list(zip(stations, limit.tolist(), back.tolist(), planted, strict=True))
        found = {key: _by_station(context, *key, target) for key in set(keys)}
        return [found[key] for key in keys]
    gain, end = table.number("heat_per_day"), table.days_until("freeze_date", on)
    reach = gain * (np.maximum(end, 0) + back)
    return [None if np.isnan(r) else _Answer(target <= r) for r in reach]


def _pace(record: StationDays, daily: Floats, planted: date | None, context: Context) -> Pace | None:
    yesterday = min(context.on - timedelta(days=1), record.end)
    if planted is None or not 0 < (yesterday - planted).days < 366 or record.index(planted) < 0:
        return None
    return pace(record, daily, planted, yesterday, past=int(context.facts.value("weather/pace.past_years")))


def answer(table: Table, context: Context) -> Answers:
    """Carrying late bolls pays where they are likely enough to mature."""
    found = _answers(table, context)
    known = np.array([f is not None and not f.lack for f in found])
    none = np.zeros(context.outlook.draws, bool)
    mature = np.stack([none if f is None or f.lack else f.mature for f in found])
    value, cost = table.number("late_value"), table.number("cost")
    priced = ~np.isnan(value)
    carry = mature * np.nan_to_num(value)[:, None] - np.nan_to_num(cost)[:, None]
    decision = decide(
        np.stack([carry, np.zeros_like(carry)], axis=2), days=[0, -1], risk_aversion=context.risk_aversion
    )
    chance = np.where(known, mature.mean(axis=1), np.nan)
    unpriced = np.where(chance < 0.5, WAIT, LOOK)
    verdict = np.where(priced, np.where(decision.best == 0, ACT, WAIT), unpriced).astype(np.int8)
    words = _Words(table, context, found, chance, priced)
    return Answers(
        table, context, headline=words.headline, because=words.because, options=OPTIONS, decision=decision,
        unit="USD/ac", verdict=verdict, act_by=np.where(verdict == ACT, 0, -1), missing=~known,
        look_by=np.where(verdict == LOOK, 5, -1), quantities=_quantities(context, found, chance),
        missing_headline=words.missing_headline,
        cautions=(
            "Heat units at a station are not those of the field; low ground freezes first and 3 to 5 degF colder.",
            "Harvest aids and insecticides: the label governs rates, intervals before harvest and weather.",
        ),
    )  # fmt: skip


def _quantities(context: Context, found: list[_Answer | None], chance: Floats) -> dict[str, tuple[Any, str]]:
    def of(name: str) -> Floats:
        return np.array([np.nan if f is None or f.pace is None else float(getattr(f.pace, name)) for f in found])

    def text(name: str) -> NDArray[np.str_]:
        return np.array(["" if f is None else getattr(f, name) for f in found])

    _, boll = context.facts.choose("weather/cotton_boll")
    heat_units = "delta_degF*day"
    return {
        "chance_that_a_bloom_matures": (chance, "1"),
        "heat_units_since_bloom": (np.array([np.nan if f is None else f.already for f in found]), heat_units),
        "heat_units_needed": (np.full(len(chance), boll.mid), heat_units),
        "heat_units_since_planting": (of("total"), heat_units),
        "heat_units_past_years": (of("mean"), heat_units),
        "heat_units_departure": (of("departure"), heat_units),
        "days_ahead_of_past_years": (of("days_ahead"), "day"),
        "missing_days_since_planting": (of("missing"), "day"),
        "last_bloom_even_chance": (text("cutoff_even"), ""),
        "last_bloom_four_in_five": (text("cutoff_sure"), ""),
        "usual_killing_freeze": (text("freeze_usual"), ""),
    }


@dataclass(frozen=True)
class _Words:
    """Sentences by row."""

    table: Table
    context: Context
    found: list[_Answer | None]
    chance: Floats
    priced: Bools

    def missing_headline(self, i: int) -> str:
        f = self.found[i]
        if f is not None:
            return f"Take the newest days of weather in: {f.lack}."
        return "No station record is on file and no heat_per_day with freeze_date was given."

    def headline(self, i: int) -> str:
        f = self.found[i]
        bloom = self.table.date("bloom_date")[i]
        which = "today" if np.isnat(bloom) else f"on {bloom.item():%d %B}"
        text = f"A bloom {which} has a {100 * self.chance[i]:.0f} % chance of a mature boll before a killing freeze"
        if f is not None and f.cutoff_even:
            text += f"; even chance ends {date.fromisoformat(f.cutoff_even):%d %B}"
        if f is not None and f.pace is not None and np.isfinite(f.pace.days_ahead):
            side = "ahead of" if f.pace.days_ahead >= 0 else "behind"
            text += f". Heat is {abs(f.pace.days_ahead):.0f} days {side} the last {len(f.pace.years)} years"
        return text + "."

    def because(self, i: int) -> list[str]:
        f = self.found[i]
        _, boll = self.context.facts.choose("weather/cotton_boll")
        out = [f"A boll needs {boll.low:.0f} to {boll.high:.0f} DD60 from bloom ({boll.conditions})."]
        if f is not None and np.isfinite(f.already):
            out.append(f"Since that bloom {f.already:.0f} DD60 have come.")
            out += list(self.context.outlook.notes[:1])
        elif f is not None:
            out.append("Reckoned from one rate of heat and one freeze date, without draws: heat falls off in the fall.")
        if f is not None and f.pace is not None:
            p = f.pace
            past = ", ".join(f"{y} {s:.0f}" for y, s in zip(p.years, p.sums, strict=True))
            out.append(
                f"DD60 since {p.since:%d %B}: {p.total:.0f}, past years on this date {p.mean:.0f} ({past}); "
                f"{p.missing} days missing and not counted."
            )
        nodes = self.table.number("nodes_above_white_flower")[i]
        if np.isfinite(nodes) and nodes <= self.context.facts.value("weather/cotton.cutout_nodes"):
            rest = self.context.facts["weather/cotton.after_cutout"]
            steps = ", ".join(f"{r[0]:.0f} DD60 {r[1]}" for r in rest.rows)
            out.append(f"{nodes:.0f} nodes above white flower: cut-out. From there {steps} (from memory).")
        if not self.priced[i]:
            out.append("No money is put on late bolls: give late_value and cost.")
        return out


QUESTION = Question(
    name="cotton-pace", room="weather", title="Will the last cotton bolls mature?",
    about="Heat units since planting against past years, the chance that a bloom still makes a boll before a killing "
    "freeze, and whether carrying late bolls pays.",
    inputs=INPUTS, answer=answer, places=Places(kinds=("field",), crops=("cotton",)), size="acres", check=_check,
    limits="Heat only: lack of water, disease and insects are asked elsewhere. One freeze temperature stands for all.",
    options_count=len(OPTIONS),
)  # fmt: skip
