"""Heat or cold on a herd: now, and in the coming week. Water, shade, feed; when not to work cattle."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.call import ACT, LOOK, STOP, WAIT
from sideoats.decide import Decision, decide
from sideoats.errors import InputError
from sideoats.question import Answers, Bar, Context, Option, Places, Question, Table
from sideoats.schema import Field
from sideoats.weather import livestock
from sideoats.weather.questions._herd import Judged, air_now, class_tables, days_ahead, extra_feed, intake_lost

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
_LOOK_WITHIN = 2
_OF_COLD = ("livestock.cci_cold", "livestock.coat", "livestock.cold_energy", "livestock.frostbite")
_OF_DAYS = ("livestock.days_ahead", "livestock.latitude_unknown", "livestock.recovery_hours", "livestock.watch_chance")
COATS = ("wet", "summer", "fall", "winter", "heavy winter")
RELIEVE, LEAVE, WORK = range(3)
OPTIONS = (
    Option("relieve", "Put off work, give relief: in heat water, shade, late feed; in cold feed and shelter", day=0),
    Option("leave", "Leave them as they are", passive=True),
    Option("work", "Work or haul them today as planned", passive=True),
)
_DAYS = (
    Field("date", "date", "the day", required=True),
    Field("high", "number", "highest temperature", unit="degF", low=-60, high=130, required=True),
    Field("low", "number", "lowest temperature", unit="degF", low=-80, high=110, required=True),
    Field("humidity", "share", "relative humidity in the hottest hour"),
    Field("wind", "number", "wind of the day", unit="mph", low=0, high=100),
)
INPUTS = (
    Field("temperature", "number", "air temperature now or at the hottest hour", unit="degF", low=-60, high=130,
          example="98 F", found_in=("evidence:herd_air.temperature",), fresh_days=1),
    Field("humidity", "share", "relative humidity at that time", found_in=("evidence:herd_air.humidity",), fresh_days=1,
          example="60 %"),
    Field("dewpoint", "number", "dew point, where humidity is not known", unit="degF", low=-60, high=95,
          found_in=("evidence:herd_air.dewpoint",), fresh_days=1),
    Field("wind", "number", "wind where the cattle stand; calm if absent", unit="mph", low=0, high=100,
          found_in=("evidence:herd_air.wind",), fresh_days=1, example="4 mph"),
    Field("radiation", "number", "sun on them; a clear afternoon if absent", unit="W/m**2", low=0, high=1500,
          found_in=("evidence:herd_air.radiation",), fresh_days=1, example="850 W/m^2"),
    Field("night_low", "number", "lowest temperature of the coming night", unit="degF", low=-80, high=110),
    Field("forecast", "records", "days ahead: date, high, low, humidity, wind", fields=_DAYS,
          found_in=("evidence:herd_forecast.days",), fresh_days=3,
          example="date=2026-08-12, high=101 F, low=76 F, humidity=40 %, wind=5 mph"),
    Field("coat", "choice", "their coat; by the month if absent", choices=COATS, found_in=("evidence:herd_air.coat",)),
    Field("shelter", "flag", "a windbreak that they use", default=False, found_in=("place:shelter",)),
    Field("susceptible", "flag", "young, sick, very fat, dark-hided or not used to this weather", default=False,
          found_in=("place:susceptible",)),
    Field("work", "flag", "cattle are to be worked, sorted or hauled today", default=False,
          found_in=("evidence:herd_air.work",), fresh_days=2),
    Field("gain", "number", "weight they gain a day", unit="lb/day", low=0, high=6, found_in=("place:daily_gain",)),
    Field("value_of_gain", "number", "what a pound gained is worth", unit="USD/lb", low=0, high=10,
          found_in=("setting:value_of_gain",)),
    Field("cost", "number", "cost of relief for the week", unit="USD/head", low=0, high=100, default=0.0,
          found_in=("setting:cost.heat_relief",)),
    Field("hay", "number", "hay or hay equivalent fed a day", unit="lb/day", low=1, high=60,
          found_in=("place:daily_hay",)),
    Field("hay_price", "number", "price of that hay", unit="USD/ton", low=10, high=1000,
          found_in=("quote:grass hay", "setting:price.hay")),
    Field("station", "text", "weather station", found_in=("place:station",)),
)  # fmt: skip


def _check(values: dict[str, Any]) -> None:
    if values["forecast"]:
        return
    if values["temperature"] is None:
        expected = "temperature='98 F', or forecast='...'"
        raise InputError("is missing", where="herd-weather temperature", expected=expected, todo="give the air now")
    if values["humidity"] is None and values["dewpoint"] is None:
        expected = "humidity='60 %' or dewpoint='72 F'"
        todo = "heat cannot be judged from temperature alone"
        raise InputError("is missing", where="herd-weather humidity", expected=expected, todo=todo)


def answer(table: Table, context: Context) -> Answers:
    """Classes now and ahead; relief against leaving them, with working cattle barred in the heat."""
    facts = context.facts
    classes = class_tables(facts)
    judged = Judged(table, context, classes, air_now(table, facts, classes), days_ahead(table, context, classes))
    coats, critical, effective, extra = extra_feed(table, context, judged)
    decision, bars = _decide(table, context, judged)
    hot_or_cold = np.maximum(judged.chance_hot, judged.chance_cold)
    watch = hot_or_cold >= facts.value("weather/livestock.watch_chance")
    verdict = np.where(judged.work_barred, STOP, np.where(judged.first_bad >= 0, ACT, np.where(watch, LOOK, WAIT)))
    words = _Words(judged, coats, critical, effective, extra)
    known = ~np.isnan(judged.now.climate) | judged.ahead.known
    quantities = _quantities(judged, extra)
    return Answers(
        table, context, headline=words.headline, because=words.because, options=OPTIONS, decision=decision,
        unit="USD/head", bars=bars, verdict=verdict.astype(np.int8), act_by=judged.first_bad,
        look_by=np.where((verdict == LOOK) & known, _LOOK_WITHIN, -1), quantities=quantities,
        missing=~known, missing_headline="No air reading, no forecast and no station on file: read the herd's weather.",
        cautions=words.cautions, sources=_sources(judged, extra),
    )  # fmt: skip


def _sources(judged: Judged, extra: Floats) -> Callable[[int], list[dict[str, str]]]:
    """The facts read, by row: those of cold only where it may be cold, those of days only where days are known."""
    facts = judged.context.facts
    for name in ("risk_factors", "frostbite"):
        facts[f"weather/livestock.{name}"]
    every = facts.cited()
    cold = (judged.cold_now > 0) | (judged.chance_cold > 0) | (extra > 0)

    def of(i: int) -> list[dict[str, str]]:
        left_out: tuple[str, ...] = () if cold[i] else _OF_COLD
        left_out += () if judged.ahead.known[i] else _OF_DAYS
        return [s for s in every if not s["id"].removeprefix("weather/").startswith(left_out)] if left_out else every

    return of


def _decide(table: Table, context: Context, judged: Judged) -> tuple[Decision, tuple[Bar, ...]]:
    """Relief saves an unpublished share of the gain that heat costs, so that share is drawn from none to all."""
    facts, out = context.facts, context.outlook
    cool = judged.ahead.recovery >= facts.value("weather/livestock.recovery_hours")
    lost = np.nan_to_num(intake_lost(facts, judged.ahead.tmax, cool)).sum(axis=2)
    cool_tonight = ~(judged.now.night_thi > facts.value("weather/livestock.thi_recovery"))
    today = np.nan_to_num(intake_lost(facts, judged.now.temperature, cool_tonight))
    lost = np.where(judged.ahead.known[:, None], lost, today[:, None])
    worth = np.nan_to_num(table.number("gain") * table.number("value_of_gain"))[:, None]
    loss = np.broadcast_to(lost * worth, (len(table), out.draws))
    saved = out.between("relief from heat", 0.0, 1.0)
    relieve = -loss * (1 - saved) - np.nan_to_num(table.number("cost"))[:, None]
    unpriced = ~(table.known("gain") & table.known("value_of_gain"))
    planned = table.flag("work")
    none = np.zeros(len(table), bool)
    too_hot = np.stack([none, none, judged.work_barred], axis=1)
    unplanned = np.stack([none, planned, ~planned], axis=1)
    decision = decide(
        np.stack([relieve, -loss, -loss], axis=2), barred=too_hot | unplanned, days=[0, -1, -1],
        risk_aversion=context.risk_aversion,
    ).without_money(unpriced)  # fmt: skip
    bars = (
        Bar(too_hot, "cattle must not be worked or hauled in this heat", hazard=True),
        Bar(np.stack([none, planned, none], axis=1), "work is planned: put it off or do it"),
        Bar(np.stack([none, none, ~planned], axis=1), "no work is planned"),
    )
    return decision, bars


def _span(on: date, first: int, last: int) -> str:
    """ "14 September", or "14 to 16 September" for days counted from `on`."""
    begin, end = on + timedelta(days=first), on + timedelta(days=last)
    if first == last:
        return f"{begin.day} {begin:%B}"
    return f"{begin.day}{'' if begin.month == end.month else f' {begin:%B}'} to {end.day} {end:%B}"


def _words_of(names: list[str], numbers: NDArray[np.int64]) -> NDArray[np.str_]:
    return np.array([names[k] if k >= 0 else "" for k in numbers])


def _quantities(judged: Judged, extra: Floats) -> dict[str, tuple[Any, str]]:
    now, c, table = judged.now, judged.classes, judged.table
    people = judged.context.facts["weather/livestock.human_heat"]
    names, bounds = livestock.class_names(people)
    known = ~np.isnan(now.climate)
    hay = extra * table.number("hay")
    return {
        "temperature_humidity_index": (now.thi, "1"),
        "adjusted_temperature_humidity_index": (now.adjusted, "1"),
        "comprehensive_climate_index": (now.climate, "degC"),
        "comprehensive_climate_index_in_shade": (now.shade, "degC"),
        "temperature_humidity_class": (_words_of(c.thi_names, judged.thi_now), ""),
        "heat_class": (_words_of(c.heat_names, judged.heat_now), ""),
        "cold_class": (_words_of(c.cold_names, judged.cold_now), ""),
        "heat_index_for_people": (np.where(now.heat_index >= bounds[0], now.heat_index, np.nan), "degF"),
        "heat_class_for_people": (_words_of(names, livestock.class_number(now.heat_index, bounds)), ""),
        "wind_chill": (np.where(now.temperature <= 10, now.chill, np.nan), "degF"),
        "extra_maintenance_energy": (np.where(known & (extra > 0), extra, np.nan), "1"),
        "extra_hay": (np.where(extra > 0, hay, np.nan), "lb/day"),
        "extra_hay_cost": (np.where(extra > 0, hay / 2000 * table.number("hay_price"), np.nan), "USD/head/day"),
        "no_work_from_hour": (judged.stop_hour, "hour"),
        "nights_without_recovery": (np.where(judged.ahead.known, judged.nights, np.nan), "night"),
        "hours_of_severe_heat": (np.where(judged.ahead.known, judged.hot_hours, np.nan), "hour"),
        "chance_of_severe_heat": (np.where(judged.ahead.known, judged.chance_hot, np.nan), "1"),
        "chance_of_severe_cold": (np.where(judged.ahead.known, judged.chance_cold, np.nan), "1"),
    }


@dataclass(frozen=True)
class _Words:
    """Sentences by row."""

    judged: Judged
    coats: NDArray[np.object_]
    critical: Floats
    effective: Floats
    extra: Floats

    def headline(self, i: int) -> str:
        j = self.judged
        if j.bad_now[i]:
            return self._now(i)
        if j.first_bad[i] >= 0:
            return self._forecast(i)
        if not np.isnan(j.now.climate[i]):
            hot, cold = int(j.heat_now[i]), int(j.cold_now[i])
            index = f"(climate index {j.now.climate[i]:.0f} degC)"
            if hot == 0 and cold == 0:
                return f"No stress on cattle now {index}."
            stress = f"{j.classes.heat_names[hot]} heat" if hot else f"{j.classes.cold_names[cold]} cold"
            return f"{stress.capitalize()} stress on cattle now {index}: nothing beyond clean water and a daily look."
        chance = max(j.chance_hot[i], j.chance_cold[i])
        what = "heat" if j.chance_hot[i] >= j.chance_cold[i] else "cold"
        told = f"severe {what} for cattle in {100 * chance:.0f} of 100 such weeks"
        if chance >= j.context.facts.value("weather/livestock.watch_chance"):
            return f"Read the forecast for this herd: past years brought {told}."
        return f"Past years brought {told}."

    def _now(self, i: int) -> str:
        j, c = self.judged, self.judged.classes
        if j.cold_now[i] >= c.act_cold:
            index = f"{c.cold_names[j.cold_now[i]]} cold now (climate index {j.now.climate[i]:.0f} degC)"
            feed = f"feed {100 * self.extra[i]:.0f} % more energy, " if self.extra[i] > 0 else ""
            return f"{index[0].upper()}{index[1:]}: {feed}windbreak and dry bedding today."
        name = c.heat_names[j.heat_now[i]] if j.heat_now[i] >= c.act_heat else c.thi_names[j.thi_now[i]]
        index = f"climate index {j.now.climate[i]:.0f} degC, temperature-humidity index {j.now.thi[i]:.0f}"
        if j.work_barred[i]:
            return f"Do not work or haul these cattle today: heat is {name} ({index}). Water and shade now, feed late."
        return f"Heat is {name} now ({index}): water and shade today, feed late, no work or hauling."

    def _forecast(self, i: int) -> str:
        j = self.judged
        first, last = int(j.first_bad[i]), j.last_bad(i)
        days = _span(j.context.on, first, last)
        high = j.ahead.climate[i, 0, first : last + 1].max()
        if high < j.classes.hot:
            low = j.ahead.coldest[i, 0, first : last + 1].min()
            said = f"Severe cold for cattle forecast for {days} (climate index down to {low:.0f} degC)"
            return f"{said}: feed, windbreak and dry bedding ready by then."
        nights = int(j.nights[i])
        relief = f", {nights} night{'s' if nights > 1 else ''} without relief" if nights else ""
        said = f"heat for cattle forecast for {days} (climate index up to {high:.0f} degC{relief})"
        hour = j.stop_hour[i]
        if j.work_barred[i]:
            return f"Do not work or haul these cattle today: severe {said}. Water and shade ready now."
        early = f"only before {hour:02.0f} h sun time, or not at all" if np.isfinite(hour) else "not at all"
        return f"Severe {said}: water and shade ready by then; work cattle {early}."

    def because(self, i: int) -> list[str]:
        j, table = self.judged, self.judged.table
        out = []
        if not np.isnan(j.now.climate[i]):
            out.append(
                f"Temperature-humidity index {j.now.thi[i]:.0f} ({j.classes.thi_names[j.thi_now[i]]}), "
                f"adjusted for wind and sun {j.now.adjusted[i]:.0f}; comprehensive climate index "
                f"{j.now.climate[i]:.1f} degC (heat: {j.classes.heat_names[j.heat_now[i]]}; cold: "
                f"{j.classes.cold_names[j.cold_now[i]]}), in shade {j.now.shade[i]:.1f} degC."
            )
            if not table.known("wind")[i]:
                worse = "which hides wind chill: give it" if j.cold_now[i] > 0 else "the worse case in heat"
                out.append(f"Wind was not given: taken as calm, {worse}.")
            if not table.known("radiation")[i]:
                sun = "no sun at all, the worse case in cold" if j.now.dark[i] else "a clear summer afternoon"
                out.append(f"Sun was not given: taken as {sun}.")
            if self.extra[i] > 0:
                out.append(
                    f"Effective temperature {self.effective[i]:.0f} degF is below the critical "
                    f"{self.critical[i]:.0f} degF of a {self.coats[i]} coat: {100 * self.extra[i]:.0f} % more energy "
                    "for maintenance."
                )
        out += self._hours(i)
        if j.ahead.forecast[i].any():
            usual = j.context.facts.value("weather/rain.usual_wind")
            out.append(
                f"{int(j.ahead.forecast[i].sum())} days come from a forecast that is taken as given; wind of {usual:g} "
                "m/s stands where it gives none."
            )
        if j.ahead.known[i] and j.context.outlook.has_weather:
            hot, cold = 100 * j.chance_hot[i], 100 * j.chance_cold[i]
            out.append(f"Chance of severe heat in the coming week {hot:.0f} %, of severe cold {cold:.0f} %.")
            out += list(j.context.outlook.notes[:1])
        if not (table.known("gain")[i] and table.known("value_of_gain")[i]):
            out.append("No money is put on lost gain: give gain and value_of_gain.")
        else:
            out.append("How much relief saves has no source here: it is drawn from none to all of the gain lost.")
        return out

    def _hours(self, i: int) -> list[str]:
        """Hours in each class of heat and relief at night, by forecast day; else of the week in the middle future."""
        j, names = self.judged, self.judged.classes.heat_names
        out = []
        for day in np.flatnonzero(j.ahead.forecast[i]).tolist():
            hours = j.ahead.hours[i, day]
            spent = ", ".join(f"{hours[k]} {names[k]}" for k in range(1, len(names)) if hours[k]) or "none above mild"
            relief = int(j.ahead.recovery[i, 0, day])
            out.append(
                f"{_span(j.context.on, day, day)}: climate index up to {j.ahead.climate[i, 0, day]:.0f} degC; hours of "
                f"heat {spent}; {relief} hours of relief in the day and its night."
            )
        if out and np.isfinite(j.stop_hour[i]):
            hour = f"{j.stop_hour[i]:02.0f} h sun time"
            out.append(f"Handling ends before {hour} on such a day (12 h: the sun at its highest).")
        if j.ahead.known[i] and not out:
            out.append(
                f"In the middle one of past years this week holds {j.hot_hours[i]:.0f} hours of severe heat or worse "
                f"and {j.nights[i]:.0f} nights without relief."
            )
        return out

    def cautions(self, i: int) -> list[str]:
        j, facts = self.judged, self.judged.context.facts
        out = [
            "Cattle: panting with open mouth, drooling or going down is an emergency: stop handling, offer water, call "
            "the veterinarian.",
            "Keep water clean and plenty; check its flow at the hottest hour. Move heavy, dark, young and sick animals "
            "first.",
            str(facts["weather/livestock.risk_factors"].text),
        ]
        heat = j.now.heat_index[i]
        _, bounds = livestock.class_names(facts["weather/livestock.human_heat"])
        if np.isfinite(heat) and heat >= bounds[0]:
            out.append(
                f"People: heat index {heat:.0f} degF in the shade, more in the sun: work early, rest in shade, drink "
                "often; confusion or collapse is heat stroke: cool the person and call emergency services."
            )
        if np.isfinite(j.now.chill[i]) and j.now.chill[i] <= facts.value("weather/livestock.frostbite"):
            out.append(f"People: wind chill {j.now.chill[i]:.0f} degF freezes bare skin within about half an hour.")
        if self.extra[i] > 0:
            out.append("Raise grain slowly: a sudden jump in cold weather brings acidosis; extra hay is safer.")
            out.append("Poor hay alone does not meet a high need: shelter from wind and dry bedding come first.")
        return out


QUESTION = Question(
    name="herd-weather", room="weather", title="Heat or cold on this herd?",
    about="Whether the weather now or in the coming week is a hazard to the herd, what relief it needs by when, and "
    "from which hour cattle must not be worked.",
    inputs=INPUTS, answer=answer, places=Places(kinds=("herd", "pen")), size="head", check=_check, options_count=24,
    desk_look=True,  # the forecast is to be read
    limits="Thresholds come from feedlot cattle of temperate breeds. No drug, no dose: the veterinarian decides on "
    "sick animals.",
)  # fmt: skip
