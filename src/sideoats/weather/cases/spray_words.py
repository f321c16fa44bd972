"""What a call about spraying weather says: the values of its headlines, its reasons and cautions."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.problem import RowSaid
from sideoats.weather.cases import spray_case as case
from sideoats.weather.cases.spray_air import DAYS, Judged
from sideoats.weather.spraying import BARRING, QUESTIONS, Fault
from sideoats.words import Day, Hour, Measured, Name, Parts, Said, Term, say

_FACTS = "weather/spraying."


@dataclass(frozen=True)
class Told:
    """A batch of spray jobs as its sentences need it."""

    judged: Judged

    def values(self) -> dict[str, Any]:
        """Values of the headlines."""
        return {
            "why": self._why,
            "ask": lambda i: case.told(int(self.judged.unsaid[i])),
            "hot": self._hot,
            "away": self._away,
            "hours": lambda i: self._hours(i, self._first(i)),
            "day": lambda i: self._day(self._first(i)),
            "also": self._also,
            "last": self._last,
            "instead": self._instead,
            "again": self._hour_again,
            "when": lambda i: say(f"spray.{'now' if self._asks_now(i) else 'then'}"),
        }

    def heads(self) -> tuple[tuple[NDArray[np.bool_], str], ...]:
        """Fit now, fit later; in a wait what is wrong now, or that no day has hours enough."""
        j = self.judged
        return (
            (j.fit_now, "spray-hours.now.act"),
            (j.told_now & np.isfinite(self._again), "spray-hours.today.wait"),
            (j.told_now, "spray-hours.now.wait"),
        )

    def _day(self, day: int) -> Day:
        return Day(self.judged.context.on + timedelta(days=day))

    def _first(self, i: int) -> int:
        """The first open day that is named by its hours, -1 for none."""
        j = self.judged
        named = j.open_days[i] & (j.fit[i] >= np.ceil(j.table.number("needed")[i]))
        return int(named.argmax()) if named.any() else -1

    def _hours(self, i: int, day: int) -> Parts | None:
        """Fit hours of a day, from and to."""
        if day < 0:
            return None
        runs = self.judged.runs(i, day)
        return Parts(tuple(say("spray.run", first=Hour(float(a)), last=Hour(float(b))) for a, b in runs))

    def _asks_now(self, i: int) -> bool:
        return bool(self.judged.told_now[i] and case.asked_day(self.judged, i) == 0)

    def _why(self, i: int) -> Parts | Said:
        """What stands against it: hazards, what is open, or what is wrong now."""
        j = self.judged
        if j.hazard[i]:
            now = int(j.now[i] & int(BARRING)) if j.told_now[i] else 0
            return case.told(now & ~int(QUESTIONS) | int(j.hazard[i]))
        if j.asked_days[i].any() and not j.open_days[i].any():
            return case.told(case.questions_on(j, i, case.asked_day(j, i)))
        return case.why_shut(j, 0, i) if j.told_now[i] or j.told_ahead[i, 0] else say("spray.no_day")

    def _hot(self, i: int) -> Said | None:
        """What the air's temperature leaves open, for products that are not volatile."""
        air, fact = self.judged.table.number("temperature")[i], self.judged.context.facts[_FACTS + "temperature"]
        if air > fact.high or air < fact.low:
            return say(f"spray.{'hot' if air > fact.high else 'cool'}", air=Measured(float(air), unit="degF"))
        return None

    def _away(self, i: int) -> Said | None:
        return say("spray.away") if self.judged.limits.near[i] else None

    def _last(self, i: int) -> Said | None:
        """The last open day, where it is another than the first."""
        open_ = np.flatnonzero(self.judged.open_days[i])
        return say("spray.last", day=self._day(int(open_[-1]))) if len(open_) > 1 else None

    def _also(self, i: int) -> Said | None:
        """The first fit hours ahead, beside those of now."""
        first = self._first(i)
        return None if first < 0 else say("spray.also", day=self._day(first), hours=self._hours(i, first))

    def _instead(self, i: int) -> Said:
        """When it can be sprayed instead."""
        first = self._first(i)
        if first < 0 and np.isfinite(self._again[i]):
            return say("spray.look_at", again=self._hour_again(i))
        return (
            say("spray.look_again")
            if first < 0
            else say("spray.instead", day=self._day(first), hours=self._hours(i, first), away=self._away(i))
        )

    @cached_property
    def _again(self) -> NDArray[np.float64]:
        """(place,) clock hour of today to look at the air again, while the job still fits into the day; else NaN.

        An inversion lifts one to two hours after sunrise; other air is looked at two hours on.
        """
        j, facts = self.judged, self.judged.context.facts
        hour, needed = j.table.number("hour"), j.table.number("needed")
        lifted = j.limits.sunrise + facts[_FACTS + "inversion_after_sunrise"].high
        end = j.limits.sunset - facts.value(_FACTS + "inversion_before_sunset")
        still = (j.now & int(Fault.INVERSION | Fault.CALM | Fault.DARK | Fault.OFF_HOURS | Fault.FROST)) != 0
        early = still & (hour < lifted)
        again = np.ceil(np.where(early, lifted, hour + facts.value(_FACTS + "look_again")))
        stays = (j.now & int(Fault.HOT | Fault.RAIN)) != 0  # the day's highest and the rain ahead do not pass by then
        stays |= ((j.now & int(Fault.DRY)) != 0) & (again <= facts.value(_FACTS + "hour_of_highest"))  # it only dries
        return np.where((again + needed <= end) & ~stays & j.told_now, again, np.nan)

    def _hour_again(self, i: int) -> Hour | None:
        return Hour(float(self._again[i])) if np.isfinite(self._again[i]) else None

    def reasons(self) -> tuple[RowSaid, ...]:
        """In the order in which they are read."""
        facts = self.judged.context.facts
        signs = facts[_FACTS + "inversion_signs"]
        return (
            self._wind,
            self._vapour,
            self._now,
            self._no_rain,
            *(self._of_day(day) for day in range(DAYS)),
            self._forecast,
            self._rainfast,
            self._drying,
            lambda i: say("spray-hours.because.signs", by=Name(facts.by(signs.id))),
        )

    def _wind(self, i: int) -> Said:
        j, limits = self.judged, self.judged.limits
        low, high = Measured(float(limits.low[i]), unit="mph"), Measured(float(limits.high[i]), unit="mph")
        if j.table.known("wind_high")[i]:
            return say("spray-hours.because.label_wind", low=low, high=high)
        return say("spray-hours.because.wind", low=low, high=high, by=Name(limits.publisher))

    def _vapour(self, i: int) -> Said | None:
        limits, facts = self.judged.limits, self.judged.context.facts
        if not limits.volatile[i]:
            return None
        first = limits.sunrise[i] + facts.value(_FACTS + "volatile_after_sunrise")
        last = limits.sunset[i] - facts.value(_FACTS + "volatile_before_sunset")
        heat = Measured(facts[_FACTS + "volatile_heat"].low, unit="degF", fact=_FACTS + "volatile_heat")
        return say("spray-hours.because.vapour", first=Hour(float(first)), last=Hour(float(last)), heat=heat)

    def _now(self, i: int) -> Said | None:
        j = self.judged
        if not j.told_now[i]:
            return None
        faults = int(j.now[i])
        return say("spray-hours.because.now", faults=case.told(faults)) if faults else say("spray-hours.because.clean")

    def _no_rain(self, i: int) -> Said | None:
        j = self.judged
        silent = j.told_now[i] and not j.table.known("rain_in")[i] and not j.told_ahead[i, 0]
        return say("spray-hours.because.no_rain") if silent else None

    def _of_day(self, day: int) -> RowSaid:
        """Fit hours of a day, or why it has none."""

        def said(i: int) -> Said | None:
            j = self.judged
            if not j.told_ahead[i, day]:
                return None
            if j.fit[i, day]:
                return say("spray-hours.because.day", day=self._day(day), hours=self._hours(i, day))
            hours = case.faults_on(j, i, day) if day or not j.told_now[i] else 0
            why = case.told(hours) if hours else say("spray.no_hours")
            return say("spray-hours.because.shut", day=self._day(day), why=why)

        return said

    def _forecast(self, i: int) -> Said | None:
        return say("spray-hours.because.forecast") if self.judged.told_ahead[i].any() else None

    def _rainfast(self, i: int) -> Said | None:
        j = self.judged
        if j.table.known("rainfast")[i]:
            return None
        hours = Measured(float(j.limits.rainfast[i]), unit="hour", fact=_FACTS + "rainfast")
        return say("spray-hours.because.rainfast", hours=hours)

    def _drying(self, i: int) -> Said | None:
        """Delta-T now and its class."""
        drying, named = (case.quantities(self.judged)[name][0][i] for name in ("delta_t", "delta_t_class"))
        if not np.isfinite(drying):
            return None
        shown = Measured(round(float(drying), 1), fact=_FACTS + "delta_t")  # the scale is in degrees Celsius
        return say("spray-hours.because.drying", drying=shown, named=Term(str(named), of="drying"))

    def cautions(self) -> tuple[RowSaid, ...]:
        """The label first."""
        near = self.judged.limits.near
        care = tuple(say(f"spray-hours.care.{of}") for of in ("label", "measure", "wear"))
        return (*care, say("spray-hours.care.near").where(near))
