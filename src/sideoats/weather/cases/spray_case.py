"""A spray job against the weather: the days it can be done, what closes them, what is to be asked first."""

from __future__ import annotations

from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.problem import Barred, Choice, Hazard
from sideoats.weather.cases.spray_air import DAYS, Judged
from sideoats.weather.psychrometrics import delta_t
from sideoats.weather.spraying import BARRING, FAULTS, QUESTIONS, Fault, faults_of
from sideoats.words import Count, Parts, Said, say

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
UNIT = "USD/ac"
OPTIONS = (
    Choice("day-0", say("option.spray_today"), day=0),
    Choice("day-1", say("option.spray_tomorrow"), day=1),
    *(Choice(f"day-{d}", say("option.spray_in", n=Count(d)), day=d) for d in range(2, DAYS)),
    Choice("wait", say("option.spray_wait"), passive=True),
)
# What settles a question to the label or to the grower.
SETTLES = {
    Fault.DARK: "spray-hours.label", Fault.LATE: "spray-hours.label", Fault.WARM: "spray-hours.label",
    Fault.COOL: "spray-hours.label", Fault.HOUR: "spray-hours.hour", Fault.TOWARD: "spray-hours.wind_from",
    Fault.BESIDE: "spray_plan.sensitive",
    Fault.PRODUCT: "spray_plan.active", Fault.NAME: "spray_plan.active", Fault.HIGH: "spray_plan.hours",
}  # fmt: skip

_SETTLED_BY = {what: int(sum(f for f, w in SETTLES.items() if w == what)) for what in dict.fromkeys(SETTLES.values())}


def fault_said(fault: Fault) -> Said:
    """The sentence of a fault."""
    return say(f"spray.fault.{str(fault.name).lower()}")


def told(faults: int) -> Parts:
    """Every fault in words, one behind the other."""
    return Parts(tuple(map(fault_said, faults_of(faults))))


def gain_of(judged: Judged) -> Floats:
    """(place, draw, option) what spraying on each day saves of the delay, over not spraying in these days."""
    table, draws = judged.table, judged.context.outlook.draws
    saved = np.nan_to_num(table.number("delay_cost"))[:, None] * (DAYS - np.arange(DAYS + 1.0))
    return np.asarray(np.broadcast_to(saved[:, None, :], (len(table), draws, DAYS + 1)))


def bars(judged: Judged) -> tuple[Barred, ...]:
    """Days without hours enough, each with its reason; where a day is open the planned job is not left undone."""
    n = len(judged.table)
    shut = np.concatenate([~judged.open_days, judged.open_days.any(axis=1, keepdims=True)], axis=1)
    shut[:, 0] |= judged.hazard != 0

    def only(day: int) -> Bools:
        mask = np.zeros((n, DAYS + 1), bool)
        mask[:, day] = shut[:, day]
        return mask

    days = (Barred(only(day), partial(why_shut, judged, day)) for day in range(DAYS))
    return (*days, Barred(only(DAYS), say("bar.spray_planned")))


def faults_on(judged: Judged, row: int, day: int) -> int:
    """What is wrong now, for today; else the faults of at least a third of the day's known hours."""
    if day == 0 and judged.told_now[row]:
        found = int(judged.now[row] & int(BARRING))
    else:
        hours = judged.ahead[row, day]
        hours = hours[(hours & int(Fault.UNKNOWN)) == 0]
        found = sum(int(f) for f in FAULTS if f & BARRING and ((hours & int(f)) != 0).sum() >= max(1, len(hours) / 3))
    return found & ~int(QUESTIONS) or found  # what nobody can settle comes first


def questions_on(judged: Judged, row: int, day: int) -> int:
    """What keeps a day shut that the label or the grower can settle, of now and of the hours that want nothing else."""
    hours = judged.ahead[row, day]
    if day == 0 and judged.told_now[row]:
        hours = np.append(hours, judged.now[row])
    hours = hours[(hours & int(BARRING & ~QUESTIONS)) == 0]
    return int(np.bitwise_or.reduce(hours & int(QUESTIONS), initial=0))


def why_shut(judged: Judged, day: int, row: int) -> Said:
    """Why a day is closed."""
    now = day == 0 and judged.told_now[row]
    if not (now or judged.told_ahead[row, day]):
        return say("spray.unknown_day")
    faults = faults_on(judged, row, day)
    if now:
        return say("spray.why", why=told(faults))
    hours = Count(int(judged.fit[row, day]))
    return say("spray.fit_but", n=hours, why=told(faults)) if faults else say("spray.only_fit", n=hours)


def hazards(judged: Judged, values: dict[str, Any]) -> tuple[Hazard, ...]:
    """An inversion, drift onto what is sensitive, vapour in heat; then what the label or the grower has to say first,
    also where the weather alone would have it wait.
    """
    stands, none = judged.hazard, np.zeros(len(judged.table), bool)
    asked = judged.asked_days & ~judged.open_days
    day = np.where(asked.any(axis=1), asked.argmax(axis=1), -1)
    open_ = np.array([0 if d < 0 else questions_on(judged, i, int(d)) for i, d in enumerate(day)])
    unsettled = asked.any(axis=1) & ~judged.open_days.any(axis=1)
    doubts = {what: unsettled & ((open_ & faults) != 0) for what, faults in _SETTLED_BY.items()}
    closed = ~judged.open_days.any(axis=1) & ~unsettled
    unsaid = {what: closed & ((judged.unsaid & faults) != 0) for what, faults in _SETTLED_BY.items()}
    return (
        Hazard("spray-hours.drift", (stands & int(Fault.DRIFT | Fault.DOWNWIND)) != 0, values=values),
        Hazard("spray-hours.inversion", (stands & int(Fault.INVERSION)) != 0, values=values),
        Hazard("spray-hours.heat", (stands & int(Fault.HOT)) != 0, values=values),
        Hazard("spray-hours.unsettled", none, doubts, values, look_within=np.maximum(day, 0)),
        Hazard("spray-hours.unsaid", none, unsaid, values),
    )


def asked_day(judged: Judged, row: int) -> int:
    """The first day that only a question to the label or the grower keeps shut."""
    return int((judged.asked_days & ~judged.open_days)[row].argmax())


def quantities(judged: Judged) -> dict[str, tuple[Any, Any]]:
    """Figures of a call."""
    table, limits = judged.table, judged.limits
    drying = delta_t((table.number("temperature") - 32) / 1.8, table.number("humidity"))
    fact = judged.context.facts["weather/spraying.delta_t"]
    names, bounds = [str(c) for c in fact.column("class")], [float(b) for b in fact.column("from")[1:]]
    classes = np.searchsorted(bounds, np.nan_to_num(drying), side="right")
    fit = {
        f"fit_hours_day_{day}": (np.where(judged.told_ahead[:, day], judged.fit[:, day], np.nan), "hour")
        for day in range(DAYS)
    }
    return {
        "delta_t": (drying, "delta_degC"),
        "delta_t_class": (np.where(np.isnan(drying), "", np.array(names)[classes]), ""),
        "wind_low": (limits.low, "mph"),
        "wind_high": (limits.high, "mph"),
        "rain_free_hours": (limits.rainfast, "hour"),
        "sunrise": (limits.sunrise, "hour"),
        "sunset": (limits.sunset, "hour"),
        **fit,
    }
