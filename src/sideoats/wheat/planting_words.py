"""What a call about sowing wheat says: the values of its headlines, its reasons and cautions."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

import numpy as np

from sideoats.problem import RowSaid
from sideoats.question import Context, Table
from sideoats.ruling import Ruling
from sideoats.wheat import planting_case as case
from sideoats.wheat.days import DUE_DAYS, month_day
from sideoats.wheat.sowing import DAYS, share_at
from sideoats.words import Between, Count, Day, Measured, Money, Name, Said, Share, Term, say

if TYPE_CHECKING:
    from sideoats.pictures import Picture

_FACTS = "wheat/planting."
_FULL = 0.995  # of a crop: less is told as late
_MONTH, _THREE_WEEKS = 31, 21  # days after and before the window at which the two curves are told


@dataclass(frozen=True)
class Told:
    """A batch as its sentences need it."""

    table: Table
    context: Context
    season: case.Season
    closed: np.ndarray

    def values(self) -> dict[str, Any]:
        """Values of the headlines."""
        season, mean = self.season, self.season.gain.mean(axis=1)
        best, lead = season.days.best, self.context.facts.by_id[_FACTS + "volunteer_before"]
        today = np.where(self.closed[:, 0], np.nan, season.days.worth - mean[:, 0])
        shown = np.where(np.isfinite(today), today, 0.0)
        return {
            "sown": lambda i: self._day(self.table.days_until("planting_date", self.context.on)[i]),
            "span": self._span,
            "window": self._published,
            "opens": lambda i: self._day(season.days.opens[i]),
            "closes": lambda i: self._day(season.days.closes[i]),
            "first": lambda i: self._day(season.sown.season.first[i]),
            "day": lambda i: self._day(best[i]),
            "clear": lambda i: self._day(season.clear[i]),
            "heads": lambda i: self._day(season.sown.season.heads[i]),
            "purpose": lambda i: Term(str(self.table.text("purpose")[i]), of="wheat_use"),
            "share": Share(np.minimum(season.share, 1.0)),
            "more": Money(shown, unit=case.UNIT),
            "loss": Money(np.where(np.isfinite(season.days.worth), -season.days.worth, 0.0), unit=case.UNIT),
            "tilled": self._dead(0),
            "sprayed": self._dead(1),
            "lead": Between(lead.span, unit="day", fact=lead.id),
            "moist": self._moist,
            "late": self._late,
        }

    def heads(self) -> tuple[tuple[np.ndarray, str], ...]:
        """Headlines that take the place of the verdict's own."""
        season, days = self.season, self.season.days
        bounds = season.sown.season
        purpose = self.table.text("purpose")
        shut = np.asarray(self.closed[:, : case.NONE].all(axis=1))
        volunteer, far = season.kill > 0, days.opens > DUE_DAYS
        return (
            (season.drilled, "wheat-planting.sown.wait"),
            (bounds.heads < 0, "wheat-planting.heads.wait"),
            (shut, "wheat-planting.early.wait"),
            (season.poor, "wheat-planting.poor.need"),
            (~days.pays & (bounds.last < 0), "wheat-planting.late.wait"),
            (~days.pays, "wheat-planting.none.wait"),
            (volunteer & (season.clear <= 0), "wheat-planting.kill_now.act"),
            (volunteer, "wheat-planting.kill.act"),
            (volunteer, "wheat-planting.kill.wait"),
            (np.asarray((purpose == "grain") & (bounds.first > DAYS[-1])), "wheat-planting.window.wait"),
            (far | self.closed[:, 0], "wheat-planting.ahead.wait"),
            (days.opens > 0, "wheat-planting.soon.act"),
            ((days.closes == 0) & (days.best == 0), "wheat-planting.now.act"),
        )

    def _day(self, days: Any) -> Day | None:
        """The day so many days from today; None where that is not known."""
        return Day(np.datetime64(self.context.on) + round(float(days))) if np.isfinite(days) else None

    def _dead(self, way: int) -> Day:
        """The first sowing day where volunteer is killed today, by tillage (0) or by spraying (1)."""
        return Day(np.datetime64(self.context.on) + case.kill_lead(self.context)[way])

    def _printed(self, i: int) -> float:
        """Share of a crop for a sowing of today by the late curve as printed, counted from its own first day."""
        origin = month_day(str(self.context.facts[_FACTS + "last_heading"].rows[0][0]), self.context)
        printed = float(share_at(self.context, np.array(float(max((self.context.on - origin).days, 0)))))
        return min(printed, float(self.season.share[i]))

    def _span(self, i: int) -> Said:
        """The good days, one where it is one."""
        opens, closes = self.season.days.opens[i], self.season.days.closes[i]
        kind = "days" if closes > opens else "day"
        return say(f"wheat-planting.span.{kind}", opens=self._day(opens), closes=self._day(closes))

    def _published(self, i: int) -> Said | None:
        """The published window beside the days that past rain makes best; for grain, which it is for. For dual purpose
        the day that is published as ideal."""
        if self.table.text("purpose")[i] == "dual":
            ideal = self.context.facts.by_id[_FACTS + "dual_ideal"]
            return say("wheat-planting.ideal", ideal=Day(month_day(ideal.text, self.context), fact=ideal.id))
        if self.table.text("purpose")[i] != "grain" or self.table.known("best_date")[i]:
            return None
        first, last = (self._day(end[i]) for end in self.season.sown.season.window)
        return say("wheat-planting.published", first=first, last=last)

    def _moist(self, i: int) -> Said:
        """What the seedbed asks for."""
        known = self.table.known("top_moist")[i]
        kind = ("moist" if self.table.flag("top_moist")[i] else "dry") if known else "unknown"
        return say(f"wheat-planting.seedbed.{kind}")

    def _late(self, i: int) -> Said | None:
        """That it is late, and for what share of a crop."""
        if self.season.sown.season.last[i] >= 0 or self.season.share[i] >= _FULL:
            return None
        share = Share(min(float(self.season.share[i]), 1.0))
        if self.table.known("best_date")[i]:
            return say("wheat-planting.lateness", share=share)
        return say("wheat-planting.lateness_between", share=share, printed=Share(self._printed(i)))

    def reasons(self) -> tuple[RowSaid, ...]:
        """In the order in which they are read."""
        table, facts = self.table, self.context.facts
        cost, dry = facts.by_id[_FACTS + "cost"], table.known("top_moist") & ~table.flag("top_moist")
        purpose = table.text("purpose")
        grazed, out = np.isin(purpose.astype(str), ["dual", "graze-out"]), purpose == "graze-out"
        lead, rise = facts.by_id[_FACTS + "volunteer_before"], facts.value(_FACTS + "mites_rise")
        forage, live = facts.by_id[_FACTS + "fall_forage"], facts.by_id["cattle/wheat_pasture.stocking.winter"]
        up = (self.season.sown.up[:, :, 0] <= 10).mean(axis=1)
        return (
            self._window,
            self._dual,
            self._curves,
            self._unmoved,
            say(
                "wheat-planting.because.cost",
                low=Money(cost.span[0], unit=case.UNIT, fact=cost.id),
                high=Money(cost.span[1], unit=case.UNIT),
            ).where(~table.known("cost")),
            say("wheat-planting.because.instead", net=Money(table.number("instead"), unit=case.UNIT)),
            say(
                "wheat-planting.because.volunteer",
                days=Between(lead.span, unit="day", fact=lead.id),
                more=Count(round(lead.low + rise), fact=_FACTS + "mites_rise"),
            ).where(table.flag("volunteer")),
            say(
                "wheat-planting.because.forage",
                forage=Between(forage.span, unit="lb/ac", fact=forage.id),
                by=Name(forage.publisher),
                live=Between(live.span, unit="lb/ac", fact=live.id),
            ).where(grazed),
            say("wheat-planting.because.spring").where(out),
            say("wheat-planting.because.dry", up=Share(up)).where(dry & self.context.outlook.has_weather),
            say("wheat-planting.because.seedbed").where(~table.known("top_moist")),
            self._soil,
            say("wheat-planting.because.pests").where(self.season.sown.season.first > 0),
            say("wheat-planting.because.fly_ahead", fly=Day(table.date("fly_free"))).where(
                (table.days_until("fly_free", self.context.on) > 0) & (purpose == "grain")
            ),
            *(() if self.context.outlook.has_weather else (say("wheat-planting.because.no_station"),)),
        )

    def _window(self, i: int) -> Said:
        """The published window, in whose place the grower's own best day may stand, and another trial beside it."""
        table, bounds, facts = self.table, self.season.sown.season, self.context.facts
        first, last = (self.context.on + timedelta(days=int(end[i])) for end in bounds.window)
        trial = facts.by_id[_FACTS + "optimum_day"]
        own = table.known("best_date")[i]
        best = [date(first.year, 1, 1) + timedelta(days=int(day) - 1) for day in trial.span]
        return say(
            "wheat-planting.because.own" if own else "wheat-planting.because.window",
            zone=Name(str(table.text("zone")[i])),
            first=Day(first),
            last=Day(last),
            own=Day(self.context.on + timedelta(days=int(bounds.first[i]))),
            trial=Name(str(trial.publisher)),
            early=Day(best[0], fact=trial.id),
            late=Day(best[1]),
        )

    def _curves(self, i: int) -> Said:
        """The two published curves on either side of the window, and the last sowing that heads."""
        facts, bounds = self.context.facts, self.season.sown.season
        after, before = share_at(self.context, np.array([_MONTH * bounds.pace[i], -_THREE_WEEKS]))
        late, early = (_FACTS + k for k in ("late_yield.witt1996", "early_yield.bushland"))
        return say(
            "wheat-planting.because.curves",
            by=Name(facts.by(late)),
            month=Share(float(after), fact=late),
            other=Name(facts.by(early)),
            weeks=Share(float(before), fact=early),
            heads=Day(self.context.on + timedelta(days=int(bounds.heads[i]))),
        )

    def _dual(self, i: int) -> Said | None:
        """The days that are published as best for dual purpose, and what earlier risks."""
        if self.table.text("purpose")[i] != "dual":
            return None
        ideal, best = (self.context.facts.by_id[_FACTS + name] for name in ("dual_ideal", "dual_best"))
        days = (Day(month_day(fact.text, self.context), fact=fact.id) for fact in (ideal, best))
        return say(
            "wheat-planting.because.dual",
            by=Name(ideal.publisher),
            ideal=next(days),
            trial=Name(best.publisher),
            best=next(days),
        )

    def _unmoved(self, i: int) -> Said | None:
        """What the late curve makes of today as it is printed."""
        if self._late(i) is None or self.table.known("best_date")[i]:
            return None
        return say("wheat-planting.because.unmoved", printed=Share(self._printed(i)))

    def _soil(self, i: int) -> Said | None:
        """What the soil's temperature says of coming up."""
        soil = float(self.table.number("soil_temperature")[i])
        if np.isnan(soil):
            return None
        hot, days = self.context.facts.by_id[_FACTS + "soil_too_hot"], case.days_to_come_up(self.table, self.context)[i]
        told = Measured(soil, unit="degF")
        if soil > hot.value:
            each = self.context.facts.by_id[_FACTS + "hot_stand"]
            low, high = (Share(min((soil - hot.value) * end, 1.0)) for end in each.span)
            return say(
                "wheat-planting.because.hot",
                soil=told,
                hot=Measured(hot.value, unit="degF", fact=hot.id),
                low=low,
                high=high,
            )
        if np.isnan(days):
            return say("wheat-planting.because.frozen", soil=told)
        return say("wheat-planting.because.soil", soil=told, n=Count(round(float(days))))

    def cautions(self) -> tuple[RowSaid, ...]:
        """The fly, the seedbed, treated seed, and cattle where they graze."""
        grazed = np.isin(self.table.text("purpose").astype(str), ["dual", "graze-out"])
        own = (say(f"wheat-planting.care.{code}") for code in ("fly", "deep", "seed"))
        return (*own, say("wheat.care.cattle").where(grazed))

    def drawn(self, ruling: Ruling, i: int) -> Sequence[Picture]:
        """What each day of sowing that is open pays; none where no sowing pays."""
        from sideoats.wheat.pictures import sowing_dates

        found, open_ = ruling.figures, ~self.closed[i, : case.NONE]
        if not self.season.days.pays[i] or open_.sum() < 2:
            return []
        days = [day for day, kept in zip(DAYS, open_, strict=True) if kept]
        figures = (f[i][: case.NONE][open_] for f in (found.expected, found.low, found.high))
        return [sowing_dates(self.context.on, days, *figures)]
