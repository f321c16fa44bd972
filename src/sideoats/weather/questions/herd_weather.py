"""Heat or cold on a herd: now, and in the coming week. Water, shade, feed; when not to work cattle."""

from __future__ import annotations

from dataclasses import dataclass
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
    judged = Judged(table, context, classes, air_now(table, facts), days_ahead(table, context, classes))
    coats, critical, effective, extra = extra_feed(table, context, judged)
    decision, bars = _decide(table, context, judged)
    hot_or_cold = np.maximum(judged.chance_hot, judged.chance_cold)
    watch = hot_or_cold >= facts.value("weather/livestock.watch_chance")
    verdict = np.where(judged.work_barred, STOP, np.where(judged.first_bad >= 0, ACT, np.where(watch, LOOK, WAIT)))
    words = _Words(judged, coats, critical, effective, extra)
    known = ~np.isnan(judged.now.climate) | judged.ahead.known
    return Answers(
        table, context, headline=words.headline, because=words.because, options=OPTIONS, decision=decision,
        unit="USD/head", bars=bars, verdict=verdict.astype(np.int8), act_by=judged.first_bad,
        look_by=np.where((verdict == LOOK) & known, 2, -1), quantities=_quantities(judged, extra),
        missing=~known, missing_headline="No air reading, no forecast and no station on file: read the herd's weather.",
        cautions=words.cautions,
    )  # fmt: skip


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
    planned = table.flag("work")
    none = np.zeros(len(table), bool)
    too_hot = np.stack([none, none, judged.work_barred], axis=1)
    unplanned = np.stack([none, planned, ~planned], axis=1)
    decision = decide(
        np.stack([relieve, -loss, -loss], axis=2), barred=too_hot | unplanned, days=[0, -1, -1],
        risk_aversion=context.risk_aversion,
    )  # fmt: skip
    bars = (
        Bar(too_hot, "cattle must not be worked or hauled in this heat", hazard=True),
        Bar(np.stack([none, planned, none], axis=1), "work is planned: put it off or do it"),
        Bar(np.stack([none, none, ~planned], axis=1), "no work is planned"),
    )
    return decision, bars


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
        "nights_without_recovery": (np.where(judged.ahead.forecast.any(axis=1), judged.nights, np.nan), "night"),
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
        j, c = self.judged, self.judged.classes
        if j.bad_now[i] and j.cold_now[i] >= c.act_cold:
            feed = f"feed {100 * self.extra[i]:.0f} % more energy, windbreak, dry bedding"
            return f"Cold stress {c.cold_names[j.cold_now[i]]} now: {feed}."
        if j.bad_now[i]:
            work = "do not work or haul cattle; " if j.work_barred[i] else ""
            name = c.heat_names[j.heat_now[i]]
            return f"Heat {name} now (climate index {j.now.climate[i]:.0f} degC): {work}water and shade now, feed late."
        if j.first_bad[i] >= 0:
            day = j.context.on.fromordinal(j.context.on.toordinal() + int(j.first_bad[i]))
            hour = j.stop_hour[i]
            early = f"; work cattle before hour {hour:.0f} of the sun or not at all" if np.isfinite(hour) else ""
            ready = f"have water, shade or feed ready by then{early}"
            return f"Severe weather for cattle forecast for {day:%d %B}: {ready}."
        if not np.isnan(j.now.climate[i]):
            name = c.heat_names[j.heat_now[i]] if j.now.climate[i] > c.heat[0] else c.cold_names[j.cold_now[i]]
            return f"Stress on cattle now: {name}."
        chance = max(j.chance_hot[i], j.chance_cold[i])
        what = "heat" if j.chance_hot[i] >= j.chance_cold[i] else "cold"
        return f"By past years the chance of severe {what} in the coming week is {100 * chance:.0f} %."

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
                out.append("Wind was not given: taken as calm, the worse case.")
            if not table.known("radiation")[i]:
                out.append("Sun was not given: taken as a clear summer afternoon.")
            if self.extra[i] > 0:
                out.append(
                    f"Effective temperature {self.effective[i]:.0f} degF is below the critical "
                    f"{self.critical[i]:.0f} degF of a {self.coats[i]} coat: {100 * self.extra[i]:.0f} % more energy "
                    "for maintenance."
                )
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
        out.append("How much relief saves has no source here: it is drawn from none to all of the gain lost.")
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
        return out


QUESTION = Question(
    name="herd-weather", room="weather", title="Heat or cold on this herd?",
    about="Whether the weather now or in the coming week is a hazard to the herd, what relief it needs by when, and "
    "from which hour cattle must not be worked.",
    inputs=INPUTS, answer=answer, places=Places(kinds=("herd", "pen")), size="head", check=_check, options_count=24,
    limits="Thresholds come from feedlot cattle of temperate breeds. No drug, no dose: the veterinarian decides on "
    "sick animals.",
)  # fmt: skip
