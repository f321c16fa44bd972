"""What a call about weather on a herd says: the values of its headlines, its reasons and cautions."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.problem import RowSaid
from sideoats.weather import livestock
from sideoats.weather.cases.herd_air import COLD_UP_TO
from sideoats.weather.cases.herd_case import Standing, priced
from sideoats.words import Count, Day, Hour, Measured, Said, Share, Term, say

_FACTS = "weather/livestock."
CLASS = "stress_class"
WORTH_FEEDING = 0.045  # share of energy: less rounds to nothing that anyone weighs out


def _degrees(celsius: float) -> Measured:
    """Whole degrees Fahrenheit: no forecast and no meter is finer."""
    return _whole(float(celsius) * 1.8 + 32, "degF")


def _whole(amount: float, unit: str = "1") -> Measured:
    return Measured(float(np.rint(amount)), unit=unit)


@dataclass(frozen=True)
class Told:
    """A batch of herds as its sentences need it."""

    at: Standing

    def values(self) -> dict[str, Any]:
        """Values of the headlines."""
        at = self.at.context.facts
        likelier = np.maximum(self.at.chance_hot, self.at.chance_cold)
        return {
            "heat": self._heat,
            "cold": self._cold,
            "index": self._index,
            "thi": Measured(np.rint(self.at.now.thi)),
            "chill": self._chill,
            "feed": self._feed,
            "share_fed": Share(np.nan_to_num(self.at.cold.fed)),
            "high": self._high,
            "low": self._low,
            "days": self._days,
            "nights": self._nights,
            "handling": self._handling,
            "until": self._until,
            "early": self._early,
            "morning": Hour(at.value(_FACTS + "work_best"), _FACTS + "work_best"),
            "latest": Hour(at.value(_FACTS + "work_until"), _FACTS + "work_until"),
            "hour": self._hour,
            "if_wet": self._if_wet,
            "work": lambda i: say("herd-weather.work_on") if self.at.planned[i] else None,
            "what": self._likelier,
            "share": Share(likelier),
        }

    def heads(self) -> tuple[tuple[NDArray[np.bool_], str], ...]:
        """Headlines that take the place of the verdict's own."""
        at = self.at
        morning = at.stop_hour > at.context.facts.value(_FACTS + "work_from")
        later = (at.first_bad >= 0) & ~at.hot_now & ~at.cold_bad_now
        today, warm, cool = at.first_bad == 0, (at.heat_now > 0) | at.tense, at.cold_now > 0
        return (
            (at.cold_bad_now & at.table.flag("shelter"), "herd-weather.sheltered.act"),
            (at.cold_bad_now, "herd-weather.cold.act"),
            (at.hot_now & at.unsaid & ~at.dire_now, "herd-weather.only_early.act"),
            (at.hot_now, "herd-weather.hot.act"),
            (later & at.heat_ahead & today & morning, "herd-weather.early.act"),
            (later & at.heat_ahead & today, "herd-weather.no_morning.act"),
            (later & at.heat_ahead, "herd-weather.coming_heat.act"),
            (later, "herd-weather.coming_cold.act"),
            (~at.known, "herd-weather.nothing.need"),
            (at.watch, "herd-weather.watch.need"),
            (at.now.known & cool & ~warm & (at.cold.fed >= WORTH_FEEDING), "herd-weather.cool.wait"),
            (at.now.known & cool & ~warm, "herd-weather.slight.wait"),
            (at.now.known & at.tense & at.planned, "herd-weather.working.wait"),
            (at.now.known & warm, "herd-weather.warm.wait"),
            (at.now.known, "herd-weather.calm.wait"),
            (np.asarray(at.ahead.forecast.any(axis=1)), "herd-weather.forecast.wait"),
        )

    def _heat(self, i: int) -> Term:
        """The class of heat now, by the index that makes the case."""
        at, c = self.at, self.at.classes
        by_climate = at.heat_now[i] >= c.act_heat or at.thi_now[i] < c.act_thi
        return Term(c.heat_names[max(at.heat_now[i], 0)] if by_climate else c.thi_names[at.thi_now[i]], of=CLASS)

    def _cold(self, i: int) -> Term:
        return Term(self.at.classes.cold_names[self.at.cold_now[i]], of=CLASS)

    def _index(self, i: int) -> Said | None:
        """The climate index in the reader's degrees, "" where it is not known."""
        climate = self.at.now.climate[i]
        return say("herd-weather.index", index=_degrees(climate)) if np.isfinite(climate) else None

    def _chill(self, i: int) -> Said:
        cold = self.at.cold
        code = "herd-weather.air" if self.at.table.flag("shelter")[i] else "herd-weather.chill"
        return say(
            code + self._whose(i),
            chill=_whole(cold.effective[i], "degF"),
            coat=Term(str(cold.coats[i]), of="herd_coat"),
            under=_whole(cold.deficit[i], "delta_degF"),
        )

    def _whose(self, i: int) -> str:
        """Whose line it is, as the end of a sentence's name: thin, young or sick cattle stand less than their coat."""
        least = self.at.context.facts.value(_FACTS + "coat_susceptible")
        tender = self.at.table.flag("susceptible")[i] and self.at.cold.critical[i] == least
        return "_tender" if tender else ""

    def _feed(self, i: int) -> Said:
        """What feed can do, and whether that covers it."""
        cold = self.at.cold
        code = "herd-weather.feed_short" if cold.extra[i] > cold.fed[i] else "herd-weather.feed"
        return say(code, share=Share(float(np.nan_to_num(cold.fed[i]))))

    def _run(self, i: int) -> slice:
        return slice(max(int(self.at.first_bad[i]), 0), self.at.last_bad(i) + 1)

    def _high(self, i: int) -> Measured:
        return _degrees(self.at.ahead.climate[i, 0, self._run(i)].max())

    def _low(self, i: int) -> Measured:
        return _whole(self.at.ahead.chill[i, 0, self._run(i)].min(), "degF")

    def _day(self, days: int) -> Day:
        return Day(self.at.context.on + timedelta(days=days))

    def _days(self, i: int) -> Said:
        """One day, or the run of days."""
        first, last = max(int(self.at.first_bad[i]), 0), self.at.last_bad(i)
        if first == last:
            return say("herd-weather.day", day=self._day(first))
        return say("herd-weather.days", first=self._day(first), last=self._day(last))

    def _nights(self, i: int) -> Said | None:
        nights = int(self.at.nights[i]) if np.isfinite(self.at.nights[i]) else 0
        return say("herd-weather.nights", n=Count(nights)) if nights else None

    def _hour(self, i: int) -> Hour | None:
        """Clock hour from which it is too hot to work cattle, None where no morning is left."""
        hour = float(self.at.stop_hour[i])
        left = np.isfinite(hour) and hour > self.at.context.facts.value(_FACTS + "work_from")
        return Hour(hour) if left else None

    def _handling(self, i: int) -> Said:
        """Work only before an hour, or not at all."""
        hour = None if self._warm_night(i) else self._hour(i)
        return say("herd-weather.before", hour=hour) if hour else say("herd-weather.not_at_all")

    def _warm_night(self, i: int) -> bool:
        """A forecast night before one of the bad days gives no relief: its morning is no time to work cattle either."""
        first, last = max(int(self.at.first_bad[i]), 0), self.at.last_bad(i)
        least = self.at.context.facts.value(_FACTS + "recovery_hours")
        nights = range(max(first - 1, 0), last)
        return any(self.at.ahead.forecast[i, d] and self.at.ahead.recovery[i, 0, d] < least for d in nights)

    def _early(self, i: int) -> Said | None:
        """When they may be worked, where nobody said that they are not to be."""
        at, facts = self.at, self.at.context.facts
        if not at.tense[i]:
            return say("herd-weather.work_on") if at.planned[i] else None
        if not at.unsaid[i]:
            return None
        best, latest = (Hour(facts.value(_FACTS + each), _FACTS + each) for each in ("work_best", "work_until"))
        return say("herd-weather.early_only", morning=best, latest=latest)

    def _until(self, i: int) -> Said:
        """After which hour no cattle are worked today."""
        hour = self._hour(i)
        return say("herd-weather.after", hour=hour) if hour else say("herd-weather.all_day")

    def _if_wet(self, i: int) -> Said | None:
        """What rain would change, where nobody spoke of the coats and a wet one would be in severe cold."""
        at, c = self.at, self.at.classes
        would = at.cold.if_wet[i] >= c.cold_wet[c.act_cold - 1] and not at.table.known("coat")[i]
        return say("herd-weather.if_wet") if would else None

    def _likelier(self, i: int) -> Said:
        return say(f"herd-weather.of_{'heat' if self.at.chance_hot[i] >= self.at.chance_cold[i] else 'cold'}")

    def reasons(self) -> tuple[RowSaid, ...]:
        """In the order in which they are read."""
        days = range(self.at.sure.shape[1])
        return (
            self._indices,
            self._guessed_wind,
            self._guessed_sun,
            self._energy,
            self._guessed_coat,
            self._dry_air,
            *(self._of_day(day) for day in days),
            self._hours,
            self._usual_week,
            self._usual_wind,
            self._chances,
            self._money,
        )

    def _indices(self, i: int) -> Said | None:
        at, c = self.at, self.at.classes
        if not np.isfinite(at.now.climate[i]):
            return None
        return say(
            "herd-weather.because.indices",
            thi=Measured(float(np.rint(at.now.thi[i])), fact=_FACTS + "thi_classes"),
            thi_class=Term(c.thi_names[at.thi_now[i]], of=CLASS),
            adjusted=_whole(at.now.adjusted[i]),
            index=_degrees(at.now.climate[i]),
            heat=Term(c.heat_names[at.heat_now[i]], of=CLASS),
            shade=_degrees(at.now.shade[i]),
        )

    def _guessed_wind(self, i: int) -> Said | None:
        at = self.at
        if not at.now.known[i] or at.table.known("wind")[i]:
            return None
        return say(
            f"herd-weather.because.{'hidden_wind' if at.now.temperature[i] * 1.8 + 32 <= COLD_UP_TO else 'calm'}"
        )

    def _guessed_sun(self, i: int) -> Said | None:
        if self.at.table.known("radiation")[i] or not np.isfinite(self.at.now.climate[i]):
            return None
        return say(f"herd-weather.because.{'no_sun' if self.at.now.dark[i] else 'full_sun'}")

    def _energy(self, i: int) -> Said | None:
        cold = self.at.cold
        if not cold.extra[i] > 0:
            return None
        return say(
            "herd-weather.because.energy" + self._whose(i),
            effective=_whole(cold.effective[i], "degF"),
            critical=Measured(float(cold.critical[i]), unit="degF"),
            coat=Term(str(cold.coats[i]), of="herd_coat"),
            extra=Share(float(cold.extra[i]), fact=_FACTS + "cold_energy"),
        )

    def _guessed_coat(self, i: int) -> Said | None:
        at = self.at
        cold_ahead = at.first_bad[i] >= 0 and not at.heat_ahead[i]
        if at.table.known("coat")[i] or not (cold_ahead or at.cold.if_wet[i] > 0):
            return None
        return say("herd-weather.because.coat", coat=Term(str(at.cold.coats[i]), of="herd_coat"))

    def _dry_air(self, i: int) -> Said | None:
        at = self.at
        if at.now.driest[i] or at.now.dampest[i]:
            return say(f"herd-weather.because.{'driest' if at.now.driest[i] else 'dampest'}")
        return say("herd-weather.because.no_humidity") if at.now.known[i] and np.isnan(at.now.climate[i]) else None

    def _of_day(self, day: int) -> RowSaid:
        """Hours of the heat that is acted on, relief and cold of one forecast day."""

        def said(i: int) -> Said | None:
            at, names = self.at, self.at.classes.heat_names
            if not at.ahead.forecast[i, day]:
                return None
            hours, cold = at.ahead.hours[i, day], self._cold_night(i, day)
            if not hours[1:].any():
                return say("herd-weather.because.cold_day", day=self._day(day), cold=cold)
            # from the class that is acted on, or from the worst that such a day reaches
            worst = max(k for k in range(1, len(names)) if hours[k])
            since = min(at.classes.act_heat, worst)
            return say(
                "herd-weather.because.day",
                day=self._day(day),
                index=_degrees(at.ahead.climate[i, 0, day]),
                spent=say("herd-weather.spent", n=Count(int(hours[since:].sum())), heat=Term(names[since], of=CLASS)),
                relief=Count(int(at.ahead.recovery[i, 0, day])),
                cold=cold,
            )

        return said

    def _cold_night(self, i: int, day: int) -> Said | None:
        chill = float(self.at.ahead.chill[i, 0, day])
        return say("herd-weather.cold_night", chill=_whole(chill, "degF")) if chill <= COLD_UP_TO else None

    def _hours(self, i: int) -> Said | None:
        at = self.at
        if not (at.first_bad[i] >= 0 and at.heat_ahead[i] and np.isfinite(at.stop_hour[i])):
            return None
        until = at.context.facts.value(_FACTS + "work_until")
        return say(
            "herd-weather.because.hours", hour=Hour(float(at.stop_hour[i])), until=Hour(until, _FACTS + "work_until")
        )

    def _usual_week(self, i: int) -> Said | None:
        at = self.at
        if not at.ahead.known[i] or at.ahead.forecast[i].any():
            return None
        hours, nights = Measured(float(at.hot_hours[i]), unit="hour"), Measured(float(at.nights[i]))
        return say("herd-weather.because.usual", hours=hours, nights=nights)

    def _usual_wind(self, i: int) -> Said | None:
        days = self.at.table.rows("forecast")[i] or ()
        if not self.at.ahead.forecast[i].any() or all(day.get("wind") is not None for day in days):
            return None
        usual = self.at.context.facts.value("weather/rain.usual_wind")
        return say("herd-weather.because.wind", wind=Measured(usual, unit="m/s", fact="weather/rain.usual_wind"))

    def _chances(self, i: int) -> Said | None:
        at = self.at
        if not (at.ahead.known[i] and at.context.outlook.has_weather):
            return None
        hot, cold = Share(float(at.chance_hot[i])), Share(float(at.chance_cold[i]))
        return say("herd-weather.because.chances", hot=hot, cold=cold)

    def _money(self, i: int) -> Said | None:
        heat = self.at.heat_ahead[i] or self.at.heat_now[i] > 0
        return say(f"herd-weather.because.{'shared' if priced(self.at.table)[i] else 'unpriced'}") if heat else None

    def cautions(self) -> tuple[RowSaid, ...]:
        """What can kill an animal or a person first."""
        facts, now, cold = self.at.context.facts, self.at.now, self.at.cold
        _, warm = facts[_FACTS + "risk_factors"], facts.value(_FACTS + "warm_night")  # the sentence rests on them
        _, bounds = livestock.class_names(facts[_FACTS + "human_heat"])
        with np.errstate(invalid="ignore"):
            hot, bitter = now.heat_index >= bounds[0], now.chill <= facts.value(_FACTS + "frostbite")
        people = Measured(np.rint(now.heat_index), unit="degF", fact=_FACTS + "human_heat")
        chill, chilled = Measured(np.rint(now.chill), unit="degF", fact=_FACTS + "frostbite"), cold.extra > 0
        coming = (self.at.first_bad >= 0) & ~self.at.heat_ahead
        heat = ~(chilled | coming) | self.at.heat_ahead | (self.at.heat_now > 0)
        return (
            say("herd-weather.care.panting").where(heat),
            say("herd-weather.care.water").where(heat),
            say("herd-weather.care.open_water").where(~heat),
            say("herd-weather.care.risk", night=Measured(warm, unit="degF", fact=_FACTS + "warm_night")).where(heat),
            say("herd-weather.care.people_heat", index=people).where(hot),
            say("herd-weather.care.people_cold", chill=chill).where(bitter),
            say("herd-weather.care.calves").where(chilled | coming),
            say("herd-weather.care.grain").where(chilled | coming),
        )
