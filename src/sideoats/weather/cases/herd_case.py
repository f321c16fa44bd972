"""What weather does to a herd and what can be done about it: options, bars, hazards, what relief saves.

Heat and cold in their severe classes close the choice of leaving cattle as they are; work in that heat is a hazard, and
one that silence does not clear: who has not said that nothing is to be worked is answered as if it were.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.decide.laws import median
from sideoats.problem import Barred, Choice, Hazard
from sideoats.question import Context, Table
from sideoats.weather import livestock
from sideoats.weather.cases.clock import solar_noon
from sideoats.weather.cases.herd_air import (
    COLD_UP_TO,
    Ahead,
    Classes,
    Now,
    air_now,
    class_tables,
    days_ahead,
    intake_lost,
)
from sideoats.words import say

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
UNIT = "USD/head"
_FACTS = "weather/livestock."
OPTIONS = (
    Choice("relieve", say("option.herd_relieve"), day=0, trouble="chore"),
    Choice("leave", say("option.herd_leave"), passive=True),
    Choice("work", say("option.herd_work"), passive=True),
)
READ_FORECAST = 2  # days until the forecast is read where past years say that it may be bad


@dataclass(frozen=True)
class Cold:
    """Cold by coat and wind chill, (place,): temperatures in degF, `deficit` how far the one lies under the other.

    `extra` is the share of maintenance energy that the cold takes; `fed` as much of it as feed can make up;
    `if_wet` the deficit of a wet coat in this air.
    """

    coats: NDArray[np.object_]
    critical: Floats
    effective: Floats
    deficit: Floats
    extra: Floats
    fed: Floats
    if_wet: Floats


@dataclass(frozen=True)
class Standing:
    """How a batch of herds stands in its weather; arrays (place,) unless said.

    Attributes
    ----------
    heat_now, cold_now, thi_now : classes of the air now, 0 for none; -1 of an index that is not known
    hot_now, cold_bad_now : in a class from which to act
    still : hot only if the air stands still, and nobody read the wind
    hot_today : hot now, or forecast to be today
    sure : (place, day) forecast days in a class from which to act, `first_bad` the first of them, -1 for none
    heat_ahead : the first of them is hot
    chance_hot, chance_cold : of such a class in the coming week
    dire_now, dire_today : so hot that cattle are not worked at all
    unsaid : nobody said that no cattle are to be worked
    doubtful_coat : nobody spoke of the coats, and a wet one would be in such a class
    """

    table: Table
    context: Context
    classes: Classes
    now: Now
    ahead: Ahead
    cold: Cold
    heat_now: NDArray[np.int64]
    cold_now: NDArray[np.int64]
    thi_now: NDArray[np.int64]
    hot_now: Bools
    cold_bad_now: Bools
    still: Bools
    hot_today: Bools
    dire_now: Bools
    dire_today: Bools
    sure: Bools
    first_bad: NDArray[np.int64]
    heat_ahead: Bools
    chance_hot: Floats
    chance_cold: Floats
    unsaid: Bools
    doubtful_coat: Bools

    @cached_property
    def judged(self) -> Bools:
        """The air now was read well enough to judge it: cold needs no humidity."""
        return np.asarray(~np.isnan(self.now.climate) | (self.now.temperature * 1.8 + 32 <= COLD_UP_TO))

    @cached_property
    def known(self) -> Bools:
        """Something is known of now or of the coming days."""
        return np.asarray(self.judged | self.ahead.known)

    @cached_property
    def unread(self) -> Bools:
        """It is warm enough for heat, and the humidity that would tell was not read."""
        return np.asarray(self.now.known & ~self.judged)

    @cached_property
    def watch(self) -> Bools:
        """Past years make such a class likelier than not, and no forecast says more."""
        likely = np.maximum(self.chance_hot, self.chance_cold) >= self.context.facts.value(_FACTS + "watch_chance")
        return np.asarray(likely & (self.first_bad < 0) & ~self.ahead.forecast.all(axis=1))

    @cached_property
    def planned(self) -> Bools:
        """Work is planned."""
        return self.table.flag("work")

    @cached_property
    def stop_hour(self) -> Floats:
        """Clock hour from which cattle are not to be worked, today or on the first bad day; NaN for none."""
        day = np.maximum(self.first_bad, 0)
        first = self.ahead.first_hot[np.arange(len(day)), :, day]
        count = (~np.isnan(first)).sum(axis=1)
        usual = np.sort(first, axis=1)[np.arange(len(first)), np.maximum(count - 1, 0) // 2]
        on_clock = usual - 12.0 + solar_noon(self.context, sure=True)
        until = np.minimum(np.floor(on_clock), self.context.facts.value(_FACTS + "work_until"))
        return np.where(count > first.shape[1] / 2, until, np.nan)

    @cached_property
    def nights(self) -> Floats:
        """Nights of the coming week without hours enough of relief, in the middle future."""
        with np.errstate(invalid="ignore"):
            short = (self.ahead.recovery < self.context.facts.value(_FACTS + "recovery_hours")).sum(axis=2)
        return np.asarray(median(short, axis=1), dtype=np.float64)

    @cached_property
    def hot_hours(self) -> Floats:
        """Hours of the coming week in the classes of heat from which to act, in the middle future."""
        return np.asarray(median(np.nan_to_num(self.ahead.hot_hours).sum(axis=2), axis=1), dtype=np.float64)

    @cached_property
    def tense(self) -> Bools:
        """(place,) warm enough to work cattle in the early morning only: the published alert, or moderate heat."""
        return np.asarray((self.thi_now > 0) | (self.heat_now >= self.classes.act_heat - 1))

    def last_bad(self, row: int) -> int:
        """Last day of the run of forecast bad days that begins on `first_bad`."""
        day = max(int(self.first_bad[row]), 0)
        while day + 1 < self.sure.shape[1] and self.sure[row, day + 1]:
            day += 1
        return day


def standing_of(table: Table, context: Context) -> Standing:
    """Everything that the verdict and the sentences need."""
    facts = context.facts
    c = class_tables(facts)
    now, ahead = air_now(table, facts, c), days_ahead(table, context, c)
    cold = _cold_of(table, context, now)
    wet = np.array([str(each) == "wet" for each in cold.coats])
    heat_now = np.maximum(livestock.class_number(now.climate, c.heat), np.where(now.known, 0, -1))
    cold_now, thi_now = _cold_class(cold.deficit, wet, c), livestock.class_number(now.thi, c.thi)
    moist = thi_now >= c.act_thi
    still = (heat_now >= c.act_heat) & ~moist & (livestock.class_number(now.stirred, c.heat) < c.act_heat)
    hot_now, cold_bad = (heat_now >= c.act_heat) & ~still | moist, cold_now >= c.act_cold
    with np.errstate(invalid="ignore"):
        hot = ahead.climate >= c.hot
        dire = (ahead.climate >= c.dire).all(axis=1) & ahead.forecast
    dire_now = hot_now & ((heat_now >= c.stop_heat) | moist)
    chilled = _cold_class(cold.critical[:, None, None] - ahead.chill, wet[:, None, None], c) >= c.act_cold
    sure = (hot.all(axis=1) | chilled.all(axis=1)) & ahead.forecast
    first = np.where(hot_now | cold_bad, 0, np.where(sure.any(axis=1), np.argmax(sure, axis=1), -1))
    every = np.asarray(hot.all(axis=1))
    hot_on_first = every[np.arange(len(table)), np.maximum(first, 0)] & (first >= 0)
    return Standing(
        table,
        context,
        c,
        now,
        ahead,
        cold,
        heat_now,
        cold_now,
        thi_now,
        hot_now,
        cold_bad,
        still,
        hot_now | (every & ahead.forecast)[:, 0],
        dire_now,
        dire_now | dire[:, 0],
        sure,
        first,
        hot_now | hot_on_first,
        hot.any(axis=2).mean(axis=1),
        chilled.any(axis=2).mean(axis=1),
        ~(table.known("work") & ~table.flag("work")),
        _doubtful_coat(table, context, now, cold, c) & ~cold_bad,
    )


def _cold_class(deficit: Floats, wet: Bools, c: Classes) -> NDArray[np.int64]:
    """Class of cold by deficit, 0 where nothing is known."""
    known = np.nan_to_num(deficit, nan=-999.0)
    dry, soaked = (np.searchsorted(bounds, known, side="right") for bounds in (c.cold, c.cold_wet))
    return np.where(wet, soaked, dry)


def _doubtful_coat(table: Table, context: Context, now: Now, cold: Cold, c: Classes) -> Bools:
    """In rain or fog a wet coat may be in a class from which to act; in drier air only where it would be far under."""
    facts = context.facts
    wet_air = table.number("humidity") >= facts.value(_FACTS + "wet_air")
    line = np.where(wet_air, c.cold_wet[c.act_cold - 1], facts.value(_FACTS + "coat_unsaid"))
    return np.asarray(~table.known("coat") & now.known & (np.nan_to_num(cold.if_wet, nan=-999.0) >= line))


def _cold_of(table: Table, context: Context, now: Now) -> Cold:
    """Cold now. Behind a windbreak that they use the air counts, not the wind chill."""
    facts, region = context.facts, context.region
    seen = "winter" if region.holds("winter-coat", context.on) else "summer"
    seen = "fall" if region.holds("fall-coat", context.on) else seen
    coats = np.array([str(coat) or seen for coat in table.text("coat")], dtype=object)
    _, fact = facts.choose("weather/coat")
    lines = dict(zip(fact.column("coat"), fact.column("critical"), strict=True))
    critical = np.array([lines[str(coat)] for coat in coats], dtype=np.float64)
    tender = table.flag("susceptible") & (coats != "wet")
    critical = np.where(tender, np.maximum(critical, facts.value(_FACTS + "coat_susceptible")), critical)
    air = now.temperature * 1.8 + 32
    effective = np.where(table.flag("shelter"), air, np.fmin(air, now.chill))
    dry, soaked = facts.value(_FACTS + "cold_energy"), facts.value(_FACTS + "cold_energy_wet")
    extra = livestock.cold_feed_energy(effective, critical, np.where(coats == "wet", soaked, dry))
    fed = np.minimum(extra, facts.value(_FACTS + "cold_feed_most"))
    return Cold(coats, critical, effective, critical - effective, extra, fed, float(lines["wet"]) - effective)


def gain_of(table: Table, context: Context, at: Standing) -> tuple[Floats, Floats]:
    """(place, draw, option) what relief saves over leaving them, and (place, draw) what heat costs who is left.

    Relief saves an unpublished share of the gain that heat costs, so that share is drawn from none to all. Without a
    gain, its value and the cost of relief no money is put on it.
    """
    facts, out = context.facts, context.outlook
    cool = at.ahead.recovery >= facts.value(_FACTS + "recovery_hours")
    lost = np.nan_to_num(intake_lost(facts, at.ahead.tmax, cool)).sum(axis=2)
    cool_tonight = ~(at.now.night_thi > facts.value(_FACTS + "thi_recovery"))
    today = intake_lost(facts, at.now.temperature, cool_tonight)
    lost = np.where(at.ahead.known[:, None], lost, today[:, None])
    worth = np.nan_to_num(table.number("gain") * table.number("value_of_gain"))[:, None]
    loss = np.broadcast_to(lost * worth, (len(table), out.draws))
    saved = loss * out.between("relief from heat", 0.0, 1.0) - np.nan_to_num(table.number("cost"))[:, None]
    saved = np.where(priced(table)[:, None], saved, 0.0)
    return np.stack([saved, np.zeros_like(saved), np.zeros_like(saved)], axis=2), -loss


def priced(table: Table) -> Bools:
    """(place,) what heat costs, and what relief does, is known."""
    return np.asarray(table.known("gain") & table.known("value_of_gain") & table.known("cost"))


def bars(at: Standing) -> tuple[Barred, ...]:
    """Cattle are not left in severe weather, and not worked in that heat; a choice that nobody has is none."""
    none = np.zeros(len(at.table), bool)
    bad, planned = at.first_bad >= 0, at.planned
    return (
        Barred(np.stack([none, none, at.hot_today], axis=1), say("bar.herd_heat")),
        Barred(np.stack([none, bad, bad], axis=1), say("bar.herd_weather")),
        Barred(np.stack([none, planned, none], axis=1), say("bar.herd_planned")),
        Barred(np.stack([none, none, ~planned], axis=1), say("bar.herd_unplanned")),
    )


def hazards(at: Standing, values: dict[str, Any]) -> tuple[Hazard, ...]:
    """Work in heat first; then what nobody read or said that decides."""
    none = np.zeros(len(at.table), bool)
    today = at.dire_today & at.unsaid & (at.hot_now | ~at.now.known)
    told_today = at.ahead.forecast[:, 0]
    silent = ~at.now.known & ~told_today & at.ahead.forecast.any(axis=1) & at.planned
    return (
        Hazard("herd-weather.hot_now", at.dire_now & at.unsaid, values=values),
        Hazard("herd-weather.hot_today", today & ~at.dire_now, values=values),
        Hazard("herd-weather.unread", none, {"herd_air.humidity": at.unread, "herd_air.temperature": silent}, values),
        Hazard("herd-weather.still", none, {"herd_air.wind": at.still & (at.first_bad < 0)}, values),
        Hazard("herd-weather.coat", none, {"herd_air.coat": at.doubtful_coat & (at.first_bad < 0)}, values),
    )


def needs(at: Standing) -> dict[str, Bools]:
    """Nothing read and nothing forecast, or past years that ask for the forecast."""
    return {"forecast.days": at.watch | ~at.known & ~at.unread, "herd_air.temperature": ~at.known & ~at.unread}


def recheck(at: Standing) -> NDArray[np.int64]:
    """(place,) days until the next look: air read today is old tomorrow, a forecast in three days."""
    fresh = np.where(at.now.known, 1, np.where(at.ahead.forecast.any(axis=1), 3, 7))
    return np.where(at.watch | ~at.known, READ_FORECAST, fresh)


def quantities(at: Standing) -> dict[str, tuple[Any, Any]]:
    """Figures of a call."""
    now, c, table, cold = at.now, at.classes, at.table, at.cold
    people, bounds = livestock.class_names(at.context.facts[_FACTS + "human_heat"])
    hay = cold.extra * table.number("hay")
    some, days = cold.extra > 0, at.ahead.known
    return {
        "temperature_humidity_index": (now.thi, "1"),
        "adjusted_temperature_humidity_index": (now.adjusted, "1"),
        "comprehensive_climate_index": (now.climate, "degC"),
        "comprehensive_climate_index_in_shade": (now.shade, "degC"),
        "temperature_humidity_class": (_named(c.thi_names, at.thi_now), ""),
        "heat_class": (_named(c.heat_names, at.heat_now), ""),
        "cold_class": (_named(c.cold_names, at.cold_now), ""),
        "heat_index_for_people": (np.where(now.heat_index >= bounds[0], now.heat_index, np.nan), "degF"),
        "heat_class_for_people": (_named(people, livestock.class_number(now.heat_index, bounds)), ""),
        "wind_chill": (np.where(now.temperature <= 10, now.chill, np.nan), "degF"),
        "extra_maintenance_energy": (np.where(some, cold.extra, np.nan), "1"),
        "extra_hay": (np.where(some, hay, np.nan), "lb/day"),
        "extra_hay_cost": (np.where(some, hay / 2000 * table.number("hay_price"), np.nan), "USD/head/day"),
        "no_work_from_hour": (at.stop_hour, "hour"),
        "nights_without_recovery": (np.where(days, at.nights, np.nan), "night"),
        "hours_of_severe_heat": (np.where(days, at.hot_hours, np.nan), "hour"),
        "chance_of_severe_heat": (np.where(days, at.chance_hot, np.nan), "1"),
        "chance_of_severe_cold": (np.where(days, at.chance_cold, np.nan), "1"),
    }


def _named(names: list[str], numbers: NDArray[np.int64]) -> NDArray[np.str_]:
    return np.array([names[k] if k >= 0 else "" for k in numbers])
