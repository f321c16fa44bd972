"""The air of a spray job, hour by hour, against the label's limits or the published ones."""

from __future__ import annotations

import re
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from sideoats.facts import Facts
from sideoats.question import Context, Table
from sideoats.vocabulary import entry
from sideoats.weather.cases.clock import solar_noon
from sideoats.weather.psychrometrics import delta_t
from sideoats.weather.spraying import (
    BARRING,
    HAZARDS,
    QUESTIONS,
    Fault,
    blows_toward,
    highest_to_come,
    inversion_likely,
    judge_hours,
    label_faults,
    rain_within,
    sun_clock,
)
from sideoats.weather.station_air import calendar

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
DAYS = 5
# "24D", "2 4-d" and "2,4 DB" are one spelling each.
_PHENOXY = re.compile(r"\b2[\W_]*4[\W_]*d(b|p)?(?![a-z])")
_PARTS = re.compile(r"[+/&;]|\band\b|\bwith\b")
COMPASS = tuple(entry("spray-hours.wind_from")["choices"])  # from north, clockwise, an eighth of a turn each


@dataclass(frozen=True)
class Limits:
    """Limits of each row and of the district, with where they come from."""

    low: Floats
    high: Floats
    rainfast: Floats
    humid: float
    dry: float
    sunrise: Floats
    sunset: Floats
    publisher: str
    volatile: Bools  # the active moves as vapour
    near: Bools  # something sensitive lies near
    unsaid: Bools  # nobody said whether it does
    unnamed: Bools  # nobody said what is sprayed, or by a name that is not known here
    stranger: Bools  # by such a name


def limits_of(table: Table, context: Context) -> Limits:
    """The label's limits where they are given, else the district's; a volatile herbicide's are never wider."""
    facts = context.facts
    _, wind = facts.choose("weather/spray_wind")
    drying = facts["weather/spraying.delta_t"].column("from")
    records, unknown = context.outlook.records, facts.value("weather/livestock.latitude_unknown")
    latitude = [records[s].latitude if s in records else np.nan for s in table.text("station")]
    day, _ = calendar(context.on, 1)
    place = np.where(np.isfinite(latitude), latitude, unknown)
    (up, _), (_, down) = (sun_clock(place, day, noon=solar_noon(context, sure=sure)) for sure in (False, True))
    actives = [spelled(str(a)) for a in table.text("active")]
    vapour = np.array([is_volatile(a, facts) for a in actives], dtype=bool)
    stranger = table.known("active") & ~vapour & ~np.array([is_known(a, facts) for a in actives], dtype=bool)
    low, high = np.full(len(table), wind.low), np.full(len(table), wind.high)
    if vapour.any():
        least, most = facts.span("weather/spraying.volatile_wind")
        low, high = np.where(vapour, np.maximum(low, least), low), np.where(vapour, np.minimum(high, most), high)
    near = table.flag("sensitive") | table.known("sensitive_side")
    return Limits(
        np.where(table.known("wind_low"), table.number("wind_low"), low),
        np.where(table.known("wind_high"), table.number("wind_high"), high),
        _rainfast(table, actives, facts),
        float(drying[1]),
        float(drying[3]),
        up,
        down,
        facts.by(wind.id),
        vapour,
        near,
        ~near & ~table.known("sensitive"),
        ~table.known("active") | stranger,
        stranger,
    )


def spelled(active: str) -> str:
    """An active ingredient, or a mix, in the one spelling of the lists."""
    return _PHENOXY.sub(lambda found: f"2,4-d{found[1] or ''}", active.strip().lower())


def _named(part: str, names: list[str]) -> bool:
    """A name is in the words, or is one of them but for a slip of the pen."""
    return any(n in part for n in names) or any(get_close_matches(word, names, 1, 0.8) for word in part.split())


def is_volatile(active: str, facts: Facts) -> bool:
    """The active, or one of a mix, is on the list of volatile herbicides."""
    names = [str(a) for a in facts["weather/spraying.volatile"].column("active")]
    return any(_named(part, names) for part in _PARTS.split(active))


def is_known(active: str, facts: Facts) -> bool:
    """The active, and every one of a mix, is on the list of those that do not move as vapour."""
    names = [str(a) for a in facts["weather/spraying.not_volatile"].column("active")]
    return all(_named(part, names) for part in _PARTS.split(active))


def _rainfast(table: Table, actives: list[str], facts: Facts) -> Floats:
    """Hours that must stay dry: the label's, else the published figure of the active, else the longest of those."""
    fact = facts["weather/spraying.rainfast"]
    known = dict(zip(fact.column("active"), fact.column("high"), strict=True))
    unknown = facts.value("weather/spraying.rainfast_unknown")
    by_active = np.array([known.get(a, unknown) for a in actives], dtype=np.float64)
    return np.where(table.known("rainfast"), table.number("rainfast"), by_active)


def _label(
    temperature: Floats, hour: Floats, limits: Limits, facts: Facts, warmest: Floats, lasts: Floats
) -> NDArray[np.int64]:
    """Faults of temperature and daylight; limits are spread over the hours where there are hours."""
    spread = (slice(None), None) if temperature.ndim == 2 else (slice(None),)
    lines = {str(r[0]): float(r[1]) for r in facts["weather/freeze.thresholds"].rows}
    warm, hot = facts.span("weather/spraying.volatile_heat")
    vapour, unnamed, unsaid = limits.volatile[spread], limits.unnamed[spread], limits.unsaid[spread]
    open_ = np.where(vapour & unsaid, int(Fault.BESIDE), 0)
    stranger, up, down = limits.stranger[spread], limits.sunrise[spread], limits.sunset[spread]
    early = facts.value("weather/spraying.volatile_after_sunrise")
    late = facts.value("weather/spraying.volatile_before_sunset")
    hot_for_it = np.fmax(temperature, warmest) > warm
    at_its_edge = stranger & ((hour < up + early) | (hour + lasts > down - late))
    asked = unnamed & (unsaid | hot_for_it | at_its_edge)
    open_ = open_ | np.where(asked, np.where(stranger, int(Fault.NAME), int(Fault.PRODUCT)), 0)
    return open_ | label_faults(
        temperature,
        hour,
        up,
        down,
        vapour,
        freeze=lines["freeze"],
        frost=lines["frost"],
        cool=facts.value("weather/spraying.floor"),
        warm=warm,
        hot=hot,
        after_sunrise=early,
        before_sunset=late,
        frost_lies=facts.value("weather/spraying.frost_lies"),
        warmest=warmest,
        lasts=lasts,
    )


def _hidden(wind: Floats, hour: Floats, limits: Limits, facts: Facts, clear: Bools) -> Bools:
    """An inversion is to be suspected."""
    spread = (slice(None), None) if wind.ndim == 2 else (slice(None),)
    return inversion_likely(
        wind,
        hour,
        limits.sunrise[spread],
        limits.sunset[spread],
        clear=clear,
        calm_below=facts.value("weather/spraying.inversion_wind"),
        before_sunset=facts.value("weather/spraying.inversion_before_sunset"),
        after_sunrise=facts["weather/spraying.inversion_after_sunrise"].high,
    )


def _degrees(words: NDArray[np.object_]) -> Floats:
    """Compass degrees of directions in words, NaN where none is given; any shape."""
    flat = [45.0 * COMPASS.index(w) if w in COMPASS else np.nan for w in words.ravel()]
    return np.array(flat, dtype=np.float64).reshape(words.shape)


def _unread_high(table: Table, facts: Facts, limits: Limits, told: Bools) -> NDArray[np.int64]:
    """HIGH where a volatile herbicide meets a day that may grow too warm for it, and nobody read its highest."""
    swing, at = facts.value("weather/spraying.day_swing"), facts.value("weather/spraying.hour_of_highest")
    air = table.number("temperature")
    come = highest_to_come(air, table.number("hour"), limits.sunrise, swing=swing, at=at)
    warm = facts["weather/spraying.volatile_heat"].low
    return np.where(limits.volatile & ~told & (air <= warm) & (come > warm), int(Fault.HIGH), 0)


def _faults_now(table: Table, facts: Facts, limits: Limits, warmest: Floats, told_high: Bools) -> NDArray[np.int64]:
    """Faults of the air as given; UNKNOWN where it was not. The whole job is looked at, as far as the clock goes."""
    hour, wind = table.number("hour"), table.number("wind")
    hidden = _hidden(wind, hour, limits, facts, table.text("sky") != "cloudy")
    drying = delta_t((table.number("temperature") - 32) / 1.8, table.number("humidity"))
    faults = judge_hours(
        wind,
        drying,
        hidden | table.flag("hanging"),
        _wet(table, limits),
        wind_low=limits.low,
        wind_high=limits.high,
        too_humid=limits.humid,
        too_dry=limits.dry,
    )
    beside = _beside(_degrees(table.text("wind_from")), _degrees(table.text("sensitive_side")), limits)
    high = _unread_high(table, facts, limits, told_high)
    label = _label(table.number("temperature"), hour, limits, facts, warmest, table.number("needed"))
    return np.asarray(faults | label | beside | high)


def _wet(table: Table, limits: Limits) -> Bools:
    """(place,) rain comes before the first of the job is rainfast, or before its last is."""
    rain, rainfast = table.number("rain_in"), limits.rainfast
    return np.asarray((rain <= rainfast) | (rain - table.number("needed") < rainfast))


def _beside(wind_from: Floats, side: Floats, limits: Limits) -> NDArray[np.int64]:
    """What lies downwind, or may: a volatile herbicide drifts onto it, others too where both sides were told; where
    they were not they need the label's buffer.
    """
    spread = (slice(None), None) if wind_from.ndim == 2 else (slice(None),)
    toward = limits.near[spread] & blows_toward(wind_from, side[spread])
    told = np.isfinite(wind_from) & np.isfinite(side[spread])
    others = np.where(told, int(Fault.DOWNWIND), int(Fault.TOWARD))
    return np.where(toward, np.where(limits.volatile[spread], int(Fault.DRIFT), others), 0)


def _hours_told(table: Table, context: Context) -> tuple[dict[str, Floats], NDArray[np.object_]]:
    """(place, hour) the air of the hours ahead, NaN where not given, and where its wind comes from, "" likewise."""
    air = {name: np.full((len(table), DAYS * 24), np.nan) for name in ("temperature", "humidity", "wind", "rain")}
    way = np.full((len(table), DAYS * 24), "", dtype=object)
    for row, hours in enumerate(table.rows("hours")):
        for hour in hours or ():
            at = (hour["date"] - context.on).days * 24 + int(hour["hour"])
            if 0 <= at < DAYS * 24:
                way[row, at] = hour.get("wind_from") or ""
                for name, values in air.items():
                    values[row, at] = np.nan if hour.get(name) is None else hour[name]
    return air, way


def _warmest(temperature: Floats) -> Floats:
    """(place, day) highest of the day and of the next, of the hours that are known; NaN where none is."""
    by_day = temperature.reshape(len(temperature), DAYS, 24)
    high = np.fmax.reduce(by_day, axis=2)
    after = np.concatenate([high[:, 1:], np.full((len(high), 1), np.nan)], axis=1)
    return np.asarray(np.fmax(high, after), dtype=np.float64)


def _faults_ahead(
    table: Table, context: Context, limits: Limits, air: dict[str, Floats], way: NDArray[np.object_]
) -> NDArray[np.int64]:
    """(place, day, hour) faults of the hours ahead; UNKNOWN where no hour was given.

    Where the hour does not say which way the wind blows, it may blow toward what is sensitive: a volatile herbicide
    has no such hour, nor what may be one, and others are told to wait for wind away from it.
    """
    facts = context.facts
    clock = np.broadcast_to(np.tile(np.arange(24.0), DAYS), air["wind"].shape)
    hidden = _hidden(air["wind"], clock, limits, facts, np.ones(clock.shape, bool))
    rain = rain_within(air["rain"] * 25.4, limits.rainfast, least=facts.value("weather/spraying.rain_least"))
    faults = judge_hours(
        air["wind"],
        delta_t((air["temperature"] - 32) / 1.8, air["humidity"]),
        hidden,
        rain,
        wind_low=limits.low[:, None],
        wind_high=limits.high[:, None],
        too_humid=limits.humid,
        too_dry=limits.dry,
    )
    warmest = np.repeat(_warmest(air["temperature"]), 24, axis=1)
    faults = faults | _label(air["temperature"], clock, limits, facts, warmest, np.ones(clock.shape))
    beside = _beside(_degrees(way), _degrees(table.text("sensitive_side")), limits)
    careful = limits.volatile | limits.unnamed
    faults = faults | np.where(careful[:, None] | (way != ""), beside, 0)
    return np.asarray(faults.reshape(len(table), DAYS, 24), dtype=np.int64)


@dataclass(frozen=True)
class Judged:
    """Faults now and ahead, fit hours by day, and which days are open."""

    table: Table
    context: Context
    limits: Limits
    now: NDArray[np.int64]
    ahead: NDArray[np.int64]
    fit: NDArray[np.int64]  # (place, day) fit hours
    open_days: Bools  # (place, day)
    asked_days: Bools  # (place, day) would be open if the label, or a look, answered what is open
    fit_now: Bools  # (place,)

    @cached_property
    def told_now(self) -> Bools:
        """(place,) the air now is known."""
        return np.asarray((self.now & int(Fault.UNKNOWN)) == 0)

    @cached_property
    def told_ahead(self) -> Bools:
        """(place, day) any hour of the day is known."""
        return np.asarray(((self.ahead & int(Fault.UNKNOWN)) == 0).any(axis=2))

    @cached_property
    def lasting(self) -> NDArray[np.int64]:
        """(place,) faults of now, or of every hour ahead where now is not known."""
        told = (self.ahead & int(Fault.UNKNOWN)) == 0
        always = np.bitwise_and.reduce(np.where(told, self.ahead, -1), axis=(1, 2))
        ahead = np.where(told.any(axis=(1, 2)) & ~self.told_now, always, 0)
        return np.asarray(np.where(self.told_now, self.now, ahead), dtype=np.int64)

    @cached_property
    def hazard(self) -> NDArray[np.int64]:
        """(place,) lasting faults that no money lifts."""
        return np.asarray(self.lasting & int(HAZARDS), dtype=np.int64)

    @cached_property
    def unsaid(self) -> NDArray[np.int64]:
        """(place,) lasting questions of drift: nobody said what is sprayed, or what lies downwind of it."""
        near = np.where(self.limits.unnamed, int(Fault.TOWARD), 0)
        return np.asarray(self.lasting & (int(Fault.BESIDE | Fault.PRODUCT | Fault.NAME) | near), dtype=np.int64)

    def runs(self, row: int, day: int) -> list[tuple[int, int]]:
        """Fit hours of a day on end: from the beginning of the first to the end of the last."""
        fit = np.concatenate([[False], (self.ahead[row, day] & int(BARRING)) == 0, [False]])
        edges = np.flatnonzero(fit[1:] != fit[:-1])
        return list(zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True))


def judge(table: Table, context: Context) -> Judged:
    """Every hour that is known, and the days with hours enough; of today those that are still to come."""
    limits = limits_of(table, context)
    air, way = _hours_told(table, context)
    afternoon = int(context.facts.value("weather/spraying.hour_of_highest"))
    read = np.isfinite(air["temperature"].reshape(len(table), DAYS, 24)[:, 0, afternoon - 2 :])
    told_high = np.asarray(read.any(axis=1))
    now = _faults_now(table, context.facts, limits, _warmest(air["temperature"])[:, 0], told_high)
    ahead = _faults_ahead(table, context, limits, air, way)
    past = np.arange(24.0)[None, :] < np.floor(np.nan_to_num(table.number("hour")))[:, None]
    told = (now & int(Fault.UNKNOWN)) == 0
    ahead[:, 0] = np.where(past & told[:, None], int(Fault.UNKNOWN), ahead[:, 0])
    fit = ((ahead & int(BARRING)) == 0).sum(axis=2)
    asked = ((ahead & int(BARRING & ~QUESTIONS)) == 0).sum(axis=2)
    needed = np.ceil(table.number("needed"))[:, None]
    open_days, asked_days = fit >= needed, asked >= needed
    fit_now = told & ((now & int(BARRING)) == 0)
    open_days[:, 0] |= fit_now
    asked_days[:, 0] |= told & ((now & int(BARRING & ~QUESTIONS)) == 0)
    return Judged(table, context, limits, now, ahead, fit, open_days, asked_days, fit_now)
