"""Is it fit to spray now, and which hours of the coming days are? The label governs."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.call import ACT, STOP, WAIT
from sideoats.decide import Decision, decide
from sideoats.errors import InputError
from sideoats.facts import Facts
from sideoats.question import Answers, Bar, Context, Option, Places, Question, Table
from sideoats.schema import Field
from sideoats.weather.psychrometrics import delta_t
from sideoats.weather.spraying import (
    BARRING,
    Fault,
    fault_words,
    inversion_likely,
    judge_hours,
    rain_within,
    sun_clock,
)
from sideoats.weather.station_air import calendar

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
DAYS = 5
OPTIONS = (
    Option("day-0", "Spray today", day=0),
    Option("day-1", "Spray tomorrow", day=1),
    *(Option(f"day-{d}", f"Spray in {d} days", day=d) for d in range(2, DAYS)),
    Option("wait", "Do not spray in these days", passive=True),
)
_HOUR = (
    Field("date", "date", "the day", required=True),
    Field("hour", "number", "clock hour", low=0, high=23, required=True),
    Field("temperature", "number", "air temperature", unit="degF", low=-20, high=125, required=True),
    Field("humidity", "share", "relative humidity", required=True),
    Field("wind", "number", "wind", unit="mph", low=0, high=100, required=True),
    Field("rain", "number", "rain in that hour", unit="inch", low=0, high=10),
)
INPUTS = (
    Field("temperature", "number", "air temperature now", unit="degF", low=-20, high=125, example="78 F"),
    Field("humidity", "share", "relative humidity now", example="45 %"),
    Field("wind", "number", "wind now, at boom height", unit="mph", low=0, high=100, example="7 mph"),
    Field("hour", "number", "clock hour now", unit="hour", bare=True, low=0, high=24, example="9.5"),
    Field("sky", "choice", "sky now", choices=("clear", "cloudy"), default="clear"),
    Field("hanging", "flag", "dust, smoke or fog hangs in the air", default=False),
    Field("rain_in", "number", "hours until rain is expected", unit="hour", bare=True, low=0, high=240),
    Field("hours", "records", "hours ahead: date, hour, temperature, humidity, wind, rain", fields=_HOUR,
          found_in=("evidence:spray_plan.hours",), fresh_days=2,
          example="date=2026-08-12, hour=9, temperature=78 F, humidity=55 %, wind=6 mph"),
    Field("active", "text", "active ingredient", found_in=("evidence:spray_plan.active",), example="glyphosate"),
    Field("rainfast", "number", "hours without rain that the label asks for", unit="hour", bare=True, low=0, high=72,
          found_in=("evidence:spray_plan.rainfast",)),
    Field("wind_low", "number", "lowest wind that the label allows", unit="mph", low=0, high=20,
          found_in=("evidence:spray_plan.wind_low",)),
    Field("wind_high", "number", "highest wind that the label allows", unit="mph", low=1, high=30,
          found_in=("evidence:spray_plan.wind_high",)),
    Field("needed", "number", "hours needed to do the job", unit="hour", bare=True, low=0.5, high=24, default=2.0,
          found_in=("evidence:spray_plan.needed",)),
    Field("sensitive", "flag", "sensitive crops, water, bees, homes or people downwind", default=False,
          found_in=("evidence:spray_plan.sensitive",)),
    Field("delay_cost", "number", "what a day's delay costs", unit="USD/ac/day", low=0, high=200, default=0.0,
          found_in=("evidence:spray_plan.delay_cost",)),
    Field("station", "text", "weather station", found_in=("place:station",)),
)  # fmt: skip


def _check(values: dict[str, Any]) -> None:
    if values["hours"]:
        return
    for name, example in (("wind", "7 mph"), ("temperature", "78 F"), ("humidity", "45 %")):
        if values[name] is None:
            raise InputError("is missing", where=f"spray-hours {name}", expected=f"{name}='{example}', or hours='...'",
                             todo="give the air now, or the hours ahead")  # fmt: skip


@dataclass(frozen=True)
class _Limits:
    """Limits of each row and of the district, with where they come from."""

    low: Floats
    high: Floats
    rainfast: Floats
    humid: float
    dry: float
    sunrise: Floats
    sunset: Floats
    publisher: str


def _limits(table: Table, context: Context) -> _Limits:
    facts = context.facts
    publisher, wind = facts.choose("weather/spray_wind")
    drying = facts["weather/spraying.delta_t"].column("from")
    records, unknown = context.outlook.records, facts.value("weather/livestock.latitude_unknown")
    latitude = [records[s].latitude if s in records else np.nan for s in table.text("station")]
    day, _ = calendar(context.on, 1)
    noon = facts.value("weather/spraying.solar_noon")
    up, down = sun_clock(np.where(np.isfinite(latitude), latitude, unknown), day, noon=noon)
    return _Limits(
        np.where(table.known("wind_low"), table.number("wind_low"), wind.low),
        np.where(table.known("wind_high"), table.number("wind_high"), wind.high),
        _rainfast(table, facts), float(drying[1]), float(drying[3]), up, down, publisher,
    )  # fmt: skip


def _rainfast(table: Table, facts: Facts) -> Floats:
    """Hours that must stay dry: the label's, else the published figure of the active, else the longest of those."""
    fact = facts["weather/spraying.rainfast"]
    known = dict(zip(fact.column("active"), fact.column("high"), strict=True))
    unknown = facts.value("weather/spraying.rainfast_unknown")
    by_active = np.array([known.get(str(a).strip().lower(), unknown) for a in table.text("active")], dtype=np.float64)
    return np.where(table.known("rainfast"), table.number("rainfast"), by_active)


def _faults_now(table: Table, facts: Facts, limits: _Limits) -> NDArray[np.int64]:
    """Faults of the air as given; UNKNOWN where it was not."""
    hour = table.number("hour")
    wind = table.number("wind")
    hidden = inversion_likely(
        wind, hour, limits.sunrise, limits.sunset, clear=table.text("sky") != "cloudy",
        calm_below=facts.value("weather/spraying.inversion_wind"),
        before_sunset=facts.value("weather/spraying.inversion_before_sunset"),
        after_sunrise=facts["weather/spraying.inversion_after_sunrise"].high,
    )  # fmt: skip
    drying = delta_t((table.number("temperature") - 32) / 1.8, table.number("humidity"))
    rain = table.number("rain_in") < limits.rainfast
    return judge_hours(
        wind, drying, hidden | table.flag("hanging"), rain, wind_low=limits.low, wind_high=limits.high,
        too_humid=limits.humid, too_dry=limits.dry,
    )  # fmt: skip


def _faults_ahead(table: Table, context: Context, limits: _Limits) -> NDArray[np.int64]:
    """(place, day, hour) faults of the hours ahead; UNKNOWN where no hour was given."""
    names = ("temperature", "humidity", "wind", "rain")
    air = {name: np.full((len(table), DAYS * 24), np.nan) for name in names}
    for row, hours in enumerate(table.rows("hours")):
        for hour in hours or ():
            at = (hour["date"] - context.on).days * 24 + int(hour["hour"])
            if 0 <= at < DAYS * 24:
                for name in names:
                    air[name][row, at] = np.nan if hour.get(name) is None else hour[name]
    facts = context.facts
    clock = np.tile(np.arange(24.0), DAYS)
    hidden = inversion_likely(
        air["wind"], clock, limits.sunrise[:, None], limits.sunset[:, None], clear=True,
        calm_below=facts.value("weather/spraying.inversion_wind"),
        before_sunset=facts.value("weather/spraying.inversion_before_sunset"),
        after_sunrise=facts["weather/spraying.inversion_after_sunrise"].high,
    )  # fmt: skip
    rain = rain_within(air["rain"] * 25.4, limits.rainfast, least=facts.value("weather/spraying.rain_least"))
    faults = judge_hours(
        air["wind"], delta_t((air["temperature"] - 32) / 1.8, air["humidity"]), hidden, rain,
        wind_low=limits.low[:, None], wind_high=limits.high[:, None], too_humid=limits.humid, too_dry=limits.dry,
    )  # fmt: skip
    dark = (clock < limits.sunrise[:, None]) | (clock > limits.sunset[:, None])
    faults = np.where(dark & (faults == 0), int(Fault.INVERSION), faults)
    return np.asarray(faults.reshape(len(table), DAYS, 24), dtype=np.int64)


@dataclass(frozen=True)
class _Judged:
    """Faults now and ahead, fit hours by day, and which days are open."""

    table: Table
    context: Context
    limits: _Limits
    now: NDArray[np.int64]
    ahead: NDArray[np.int64]
    fit: NDArray[np.int64]  # (place, day) fit hours
    open_days: Bools  # (place, day)

    @property
    def told_now(self) -> Bools:
        """(place,) the air now is known."""
        return np.asarray((self.now & int(Fault.UNKNOWN)) == 0)

    @property
    def told_ahead(self) -> Bools:
        """(place, day) any hour of the day is known."""
        return np.asarray(((self.ahead & int(Fault.UNKNOWN)) == 0).any(axis=2))


def _judge(table: Table, context: Context) -> _Judged:
    limits = _limits(table, context)
    now, ahead = _faults_now(table, context.facts, limits), _faults_ahead(table, context, limits)
    fit = ((ahead & int(BARRING)) == 0).sum(axis=2)
    open_days = fit >= np.ceil(table.number("needed"))[:, None]
    fit_now = (now & int(BARRING)) == 0
    told = (now & int(Fault.UNKNOWN)) == 0
    open_days[:, 0] = np.where(told, fit_now, open_days[:, 0])
    return _Judged(table, context, limits, now, ahead, fit, open_days)


def _decide(judged: _Judged) -> tuple[Decision, tuple[Bar, ...]]:
    table, draws = judged.table, judged.context.outlook.draws
    n = len(table)
    delay = np.nan_to_num(table.number("delay_cost"))[:, None] * np.arange(DAYS + 1.0)
    payoff = np.broadcast_to(-delay[:, None, :], (n, draws, DAYS + 1))
    closed = np.concatenate([~judged.open_days, np.zeros((n, 1), bool)], axis=1)
    inversion = np.zeros((n, DAYS + 1), bool)
    inversion[:, 0] = judged.told_now & ((judged.now & int(Fault.INVERSION)) != 0)
    unknown = closed & ~inversion
    unknown[:, :DAYS] &= ~judged.told_ahead
    unknown[:, 0] &= ~judged.told_now
    rest = closed & ~inversion & ~unknown
    bars = (
        Bar(inversion, "an inversion is likely: drift can travel miles", hazard=True),
        Bar(unknown, "the weather of that day is not known here"),
        *(Bar(_only(rest, day), partial(_reason, judged, day)) for day in range(DAYS)),
    )
    decision = decide(payoff, barred=closed, days=[*range(DAYS), -1], risk_aversion=judged.context.risk_aversion)
    return decision, bars


def _only(mask: Bools, day: int) -> Bools:
    alone = np.zeros_like(mask)
    alone[:, day] = mask[:, day]
    return alone


def _reason(judged: _Judged, day: int, row: int) -> str:
    """Why a day is closed: what is wrong now, else the faults of most of its hours."""
    if day == 0 and judged.told_now[row]:
        return "; ".join(fault_words(int(judged.now[row] & int(BARRING))))
    hours = judged.ahead[row, day]
    hours = hours[(hours & int(Fault.UNKNOWN)) == 0]
    common = [f for f in Fault if f & BARRING and ((hours & int(f)) != 0).sum() >= max(1, len(hours) / 3)]
    words = "; ".join(w for f in common for w in fault_words(int(f)))
    return f"{judged.fit[row, day]} fit hours; {words}" if words else f"only {judged.fit[row, day]} fit hours"


def answer(table: Table, context: Context) -> Answers:
    """The first day with enough fit hours, by what delay costs."""
    judged = _judge(table, context)
    decision, bars = _decide(judged)
    hazard = judged.told_now & ((judged.now & int(Fault.INVERSION)) != 0)
    best = decision.best
    verdict = np.where(hazard, STOP, np.where((best >= 0) & (best < DAYS), ACT, WAIT)).astype(np.int8)
    words = _Words(judged, decision)
    missing = ~judged.told_now & ~judged.told_ahead.any(axis=1)
    return Answers(
        table, context, headline=words.headline, because=words.because, options=OPTIONS, decision=decision,
        unit="USD/ac", bars=bars, verdict=verdict, act_by=np.where(verdict == ACT, decision.act_by, -1),
        quantities=_quantities(judged), missing=missing, cautions=words.cautions,
        missing_headline="No air now and no hours ahead: read wind, temperature and humidity at the field.",
    )  # fmt: skip


def _quantities(judged: _Judged) -> dict[str, tuple[Any, str]]:
    table, limits = judged.table, judged.limits
    drying = delta_t((table.number("temperature") - 32) / 1.8, table.number("humidity"))
    fact = judged.context.facts["weather/spraying.delta_t"]
    names, bounds = [str(c) for c in fact.column("class")], [float(b) for b in fact.column("from")[1:]]
    classes = np.searchsorted(bounds, np.nan_to_num(drying), side="right")
    found: dict[str, tuple[Any, str]] = {
        "delta_t": (drying, "delta_degC"),
        "delta_t_class": (np.where(np.isnan(drying), "", np.array(names)[classes]), ""),
        "wind_low": (limits.low, "mph"),
        "wind_high": (limits.high, "mph"),
        "rain_free_hours": (limits.rainfast, "hour"),
        "sunrise": (limits.sunrise, "hour"),
        "sunset": (limits.sunset, "hour"),
    }
    for day in range(DAYS):
        found[f"fit_hours_day_{day}"] = (np.where(judged.told_ahead[:, day], judged.fit[:, day], np.nan), "hour")
    return found


@dataclass(frozen=True)
class _Words:
    """Sentences by row."""

    judged: _Judged
    decision: Decision

    def headline(self, i: int) -> str:
        j, best = self.judged, int(self.decision.best[i])
        if j.told_now[i] and j.now[i] & int(Fault.INVERSION):
            return "Do not spray: an inversion is likely, and drift can travel miles."
        if best == 0 and j.told_now[i]:
            return "Fit to spray now, as far as the weather goes; the label governs."
        if 0 <= best < DAYS:
            hours = np.flatnonzero((j.ahead[i, best] & int(BARRING)) == 0)
            when = "today" if best == 0 else f"on {np.datetime64(j.context.on, 'D') + best}"
            return f"{len(hours)} fit hours {when}, between {hours[0]:02d} and {hours[-1] + 1:02d} h."
        why = _reason(j, 0, i) if j.told_now[i] else "no day ahead has hours enough"
        return f"Wait: {why}."

    def because(self, i: int) -> list[str]:
        j, facts = self.judged, self.judged.context.facts
        limits = j.limits
        source = "the label's" if j.table.known("wind_high")[i] else f"{limits.publisher}'s, where the label gives none"
        out = [f"Wind limits {limits.low[i]:.0f} to {limits.high[i]:.0f} mph ({source})."]
        if j.told_now[i]:
            words = fault_words(int(j.now[i]))
            out.append("Now: " + ("; ".join(words) if words else "no fault found") + ".")
            if not j.table.known("hour")[i]:
                out.append("The hour was not given: an inversion was judged from signs only.")
            if not j.table.known("rain_in")[i]:
                out.append("No rain is reckoned with, because rain_in was not given.")
        if j.told_ahead[i].any():
            days = ", ".join(f"day {d}: {j.fit[i, d]}" for d in range(DAYS) if j.told_ahead[i, d])
            out.append(f"Fit hours by day ({days}); hours of darkness are not counted. The forecast is taken as given.")
        if not j.table.known("rainfast")[i]:
            out.append(f"Rain-free hours {limits.rainfast[i]:g}, from the published list; the label's figure governs.")
        out.append(str(facts["weather/spraying.inversion_signs"].text))
        return out

    def cautions(self, i: int) -> list[str]:
        out = [
            "The label is the law: its limits on wind, temperature, rain, droplets, buffers and re-entry govern.",
            "Measure at the field and at boom height just before spraying; write down wind, temperature and humidity.",
            "Wear what the label asks for; keep people, livestock and bees out as it says.",
        ]
        if self.judged.table.flag("sensitive")[i]:
            out.append("Something sensitive lies downwind: wait for wind away from it, or keep the label's buffer.")
        return out


def _planned(table: Table, context: Context) -> Bools:
    """The week asks only where a job is planned and its hours are on file."""
    return table.known("hours")


QUESTION = Question(
    name="spray-hours", room="weather", title="Fit to spray?",
    about="Whether the air now, and which hours of the coming days, are fit to spray in: wind, inversion, drying, "
    "rain.",
    inputs=INPUTS, answer=answer, places=Places(kinds=("field", "pasture")), size="acres", in_season=_planned,
    check=_check, options_count=len(OPTIONS),
    limits="Weather only; the label governs. An inversion is judged from wind, hour and sky, not measured.",
)  # fmt: skip
