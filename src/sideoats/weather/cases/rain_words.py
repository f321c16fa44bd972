"""What a call about ground short of water says: the values of its headlines, its reasons and cautions."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.decide.laws import median
from sideoats.problem import RowSaid
from sideoats.weather.cases import rain_case
from sideoats.weather.cases.rain_case import Case
from sideoats.weather.cases.rain_ground import AHEAD, INCH, MAIN, SPANS
from sideoats.words import Between, Count, Day, Measured, Name, Said, Share, Term, say

_FACTS = "weather/drought."
CLASS = "drought_class"


def _inches(amount_mm: float) -> Measured:
    return Measured(round(float(amount_mm) / INCH, 1), unit="in")


@dataclass(frozen=True)
class Told:
    """A batch of ground as its sentences need it."""

    case: Case

    def values(self) -> dict[str, Any]:
        """Values of the headlines."""
        return {
            "stands": self._stands,
            "lack": lambda i: self.case.rows[i].lack,
            "cut": self._cut,
            "ground": self._ground,
            "measure": self._measure,
        }

    def heads(self) -> tuple[tuple[NDArray[np.bool_], str], ...]:
        """Headlines that take the place of the verdict's own."""
        c = self.case
        lacks = np.array([r.lack is not None for r in c.rows]) & ~c.known & ~c.bare
        return (
            (lacks, "rain-deficit.lack.need"),
            (c.nothing, "rain-deficit.nothing.need"),
            (~c.nothing, "rain-deficit.dry.need"),
        )

    def _stands(self, i: int) -> Said:
        """How rain, soil and forage stand, in one clause."""
        case, r = self.case, self.case.rows[i]
        if not case.known[i]:
            return self._bare(i)
        grass = {
            "left": Share(rain_case.left(r)), "ahead": Count(AHEAD), "growth": Share(float(median(r.growth))),
        }  # fmt: skip
        if r.lack is not None or r.standing is None:
            return say("rain.not_known", **grass)
        main = r.standing.spans[MAIN].stands
        by = self._classed(int(case.classes[i]))
        named = say("rain.class", drought=by) if case.classes[i] >= 0 else None
        share = Share(float(main.percent) / 100)
        return say("rain.stands", amount=_inches(main.amount), days=Count(MAIN), percent=share, named=named, **grass)

    def _bare(self, i: int) -> Said:
        """Without a balance: what was told of rain and soil."""
        r, soil = self.case.rows[i], float(self.case.table.number("soil_water")[i])
        probed, felt = np.isfinite(soil), Share(soil)
        if not np.isfinite(r.percent):
            stress = Share(float(self.case.stress[i]))
            return say("rain.felt", left=felt, stress=stress) if probed else say("rain.unknown")
        return say(
            "rain.told",
            percent=Share(r.percent / 100),
            span=Measured(r.days, unit="day"),
            why=r.lack or say("rain.no_station"),
            soil=say("rain.and_felt", left=felt) if probed else None,
        )

    def _ground(self, i: int) -> Said | None:
        """Without a balance, what the water left in the ground means for the growth to come."""
        case = self.case
        soil, stress = float(case.table.number("soil_water")[i]), float(case.stress[i])
        if case.known[i] or not np.isfinite(soil) or not np.isfinite(case.rows[i].percent):
            return None
        return say("rain.ground_dry", stress=Share(stress)) if soil < stress else say("rain.ground_wet")

    def _measure(self, i: int) -> Said:
        """What to look for, where and how many: grass by the pasture, a standing crop by its soil and leaves."""
        within = Day(self.case.context.on + timedelta(days=rain_case.WITHIN))
        kind = "grass" if rain_case.grazed(str(self.case.table.text("crop")[i])) else "crop"
        return say(f"rain.measure_{kind}", look_by=within)

    @staticmethod
    def _classed(index: int) -> Term:
        return Term(rain_case.name_of(index), of=CLASS)

    def _cut(self, i: int) -> Said | None:
        """What the range's triggers ask for, in a headline."""
        r = self.case.rows[i]
        if r.trigger < 0:
            return None
        row = self.case.context.facts[_FACTS + "range_triggers"].rows[r.trigger]
        return say("rain.cut", cut=Between((100 * float(row[4]), 100 * float(row[5])), unit="percent"))

    def reasons(self) -> tuple[RowSaid, ...]:
        """In the order in which they are read."""
        return (
            self._newest,
            self._both_lines,
            self._trigger,
            self._made,
            self._little,
            self._unused,
            *(self._span(days) for days in SPANS),
            self._balance,
            *(self._assumed(at) for at in range(2)),
            self._few_years,
            self._dry_years,
            self._impact,
            self._unpriced,
        )

    def _newest(self, i: int) -> Said | None:
        r = self.case.rows[i]
        return say("rain-deficit.lack.need", lack=r.lack) if r.lack is not None and self.case.known[i] else None

    def _both_lines(self, i: int) -> Said | None:
        """The percentile's class and that of the percent of normal, and whether they agree."""
        r, facts = self.case.rows[i], self.case.context.facts
        by = facts.by(_FACTS + "percent_classes")
        if not np.isfinite(r.percent):
            return None
        if r.by_percent == rain_case.UNTOLD:
            return say("rain-deficit.because.untold", by=Name(by), days=Measured(r.days, unit="day"))
        percent = self._classed(r.by_percent)
        if np.isnan(r.percentile):
            told = {"named": percent, "by": Name(by), "days": Measured(r.days, unit="day")}
            later = facts[_FACTS + "percent_classes"].rows[r.by_percent + 1 :] if r.by_percent >= 0 else ()
            ends = any(float(row[2]) > r.days for row in later)  # worse classes are printed for longer spans only
            return say(f"rain-deficit.because.{'percent_least' if ends else 'percent'}", **told)
        own = self._classed(int(self.case.classes[i]))
        agree = "agree" if r.by_percent == self.case.classes[i] else "differ"
        return say(f"rain-deficit.because.lines_{agree}", own=own, named=percent, by=Name(by))

    def _trigger(self, i: int) -> Said | None:
        r, context = self.case.rows[i], self.case.context
        if r.trigger < 0:
            return None
        _, until, since, below, low, high = context.facts[_FACTS + "range_triggers"].rows[r.trigger]
        day, last = (
            Day(context.on.replace(month=int(each[:2]), day=int(each[3:]))) for each in (str(since), str(until))
        )
        return say(
            "rain-deficit.because.trigger",
            since=day,
            until=last,
            share=Share(r.share),
            below=Share(float(below)),
            cut=Between((100 * float(low), 100 * float(high)), unit="percent", fact=_FACTS + "range_triggers"),
            by=Name(context.facts.by(_FACTS + "range_triggers")),
        )

    def _made(self, i: int) -> Said | None:
        """How much of the year's grass is made already: rain from now on makes the rest."""
        made = rain_case.growth_made(self.case.context)
        if made is None or not self.case.dry[i]:
            return None
        low, high, warm = made
        by = Name(self.case.context.facts.by(_FACTS + "growth_made"))
        cool = Between((100 * low, 100 * high), unit="percent", fact=_FACTS + "growth_made")
        return say("rain-deficit.because.made", cool=cool, warm=Share(warm), by=by)

    def _little(self, i: int) -> Said | None:
        """Percent of normal, where nothing else is known."""
        if self.case.known[i] or not np.isfinite(self.case.rows[i].percent):
            return None
        least = self.case.context.facts.value(_FACTS + "least_normal")
        if self.case.table.number("normal")[i] < least:
            return say("rain-deficit.because.near_nothing", least=Measured(least, unit="in"))
        return say("rain-deficit.because.compare")

    def _unused(self, i: int) -> Said | None:
        """What was told and waits for a station."""
        case = self.case
        told = any(case.table.known(name)[i] for name in ("forage", "price", "soil"))
        return say("rain-deficit.because.unused") if case.bare[i] and told else None

    def _span(self, days: int) -> RowSaid:
        """Rain of one span beside its normal."""

        def said(i: int) -> Said | None:
            standing = self.case.rows[i].standing
            if standing is None or not (self.case.known[i] or self.case.rows[i].lack is not None):
                return None
            span = standing.spans[days]
            s = span.stands
            if np.isnan(s.amount):
                return say("rain-deficit.because.span_unknown", days=Count(days), n=Count(span.missing))
            return say(
                "rain-deficit.because.span",
                days=Count(days),
                amount=_inches(s.amount),
                normal=_inches(s.normal),
                years=Count(int(s.years)),
                index=Measured(round(float(span.index), 1)) if np.isfinite(span.index) else Name("?"),
                n=Count(span.missing),
            )

        return said

    def _balance(self, i: int) -> Said | None:
        r = self.case.rows[i]
        if r.standing is None or r.ground is None:
            return None
        return say("rain-deficit.because.balance", dry=Count(r.standing.dry_now), n=Count(r.ground.missing))

    def _assumed(self, at: int) -> RowSaid:
        def said(i: int) -> Said | None:
            ground = self.case.rows[i].ground
            held = () if ground is None else ground.zone.assumed
            return say("rain-deficit.because.assumed", what=held[at]) if at < len(held) else None

        return said

    def _few_years(self, i: int) -> Said | None:
        standing = self.case.rows[i].standing
        if standing is None:
            return None
        years = int((~np.isnan(standing.spans[MAIN].past)).sum())
        least = self.case.context.facts.value(_FACTS + "least_years")
        return say("rain-deficit.because.few_years", n=Count(years), least=Measured(least)) if years < least else None

    def _dry_years(self, i: int) -> Said | None:
        standing = self.case.rows[i].standing
        past = np.zeros(0) if standing is None else standing.spans[MAIN].past
        past = past[~np.isnan(past)]
        share = float((past == 0).mean()) if past.size else 0.0
        most = self.case.context.facts.value(_FACTS + "most_dry")
        return say("rain-deficit.because.dry_years", share=Share(share)) if share > most else None

    def _impact(self, i: int) -> Said | None:
        at = int(self.case.classes[i])
        return say(f"rain-deficit.because.impact_{at}") if at >= 0 else None

    def _unpriced(self, i: int) -> Said | None:
        priced = self.case.table.known("forage")[i] and self.case.table.known("price")[i]
        return None if priced or not self.case.known[i] else say("rain-deficit.because.unpriced")

    def cautions(self) -> tuple[RowSaid, ...]:
        """What a station's index is not, and what short forage may hold."""
        _ = self.case.context.facts[_FACTS + "impacts"]  # the sentences rest on it
        return (say("rain-deficit.care.forage"), say("rain-deficit.care.map"))
