"""What a call about cattle coming off wheat says: the values of its headlines, its reasons and cautions."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from sideoats.decide.laws import quantile
from sideoats.problem import RowSaid
from sideoats.question import Context, Table
from sideoats.wheat import grazing, own_dates
from sideoats.wheat import pull_off_case as case
from sideoats.words import Count, Measured, Name, Paid, Said, Share, say

_FACTS = "wheat/grazing."
_LONG = 2  # times the line: past that the day on which it was passed is not reckoned back
_NOW = 2  # days either way that a person calls "about now"


@dataclass(frozen=True)
class Told:
    """A batch as its sentences need it."""

    table: Table
    context: Context
    stem: case.Stem
    day: grazing.Day

    def values(self) -> dict[str, Any]:
        """Values of the headlines."""
        return {
            "due": self._due,
            "ago": self._ago,
            "benefit": Paid(self.day.benefit.mean(axis=1), unit=case.UNIT),
            "cost": Paid(self.day.cost.mean(axis=1), unit=case.UNIT),
        }

    def heads(self) -> tuple[tuple[np.ndarray, str], ...]:
        """Headlines that take the place of the verdict's own."""
        seen, reached = self.stem.seen, np.nan_to_num(self.stem.away, nan=1.0) <= 0
        out = case.grazed_out(self.table)
        return (
            (case.no_cattle(self.table), "graze-pull-off.empty.wait"),
            (out, "graze-pull-off.out.wait"),
            (~self.stem.dated, "graze-pull-off.unsplit.need"),
            (seen & reached, "graze-pull-off.reached.need"),
            (case.assumed(self.table, self.stem), "graze-pull-off.assumed.act"),
            (seen & reached, "graze-pull-off.reached.act"),
            (seen & reached, "graze-pull-off.pays.wait"),
            (self.stem.by_heat, "graze-pull-off.heat.look"),
            (self.stem.by_heat, "graze-pull-off.heat.wait"),
            (~seen, "graze-pull-off.unseen.look"),
            (~seen, "graze-pull-off.unseen.wait"),
        )

    def _due(self, i: int) -> Said | None:
        """When first hollow stem is due, in words; None where nothing tells."""
        away = float(self.stem.away[i])
        if np.isnan(away):
            return None
        if abs(away) < _NOW:
            return say("graze-pull-off.due.now")
        if away < 0 and self.stem.mean[i] > _LONG * self.stem.line:
            return say("graze-pull-off.due.long")
        return say("graze-pull-off.due.in" if away > 0 else "graze-pull-off.due.ago", n=Count(round(abs(away))))

    def _ago(self, i: int) -> Said | None:
        """How long it is past, in words; the stage tells only that it is."""
        away = -float(self.stem.away[i])
        if not away >= 0:
            return None
        if np.isnan(self.stem.mean[i]):
            return say("graze-pull-off.passed.stage")
        if self.stem.mean[i] > _LONG * self.stem.line:  # growth of early stems does not hold that far
            return say("graze-pull-off.passed.long")
        return say("graze-pull-off.passed.ago" if away >= _NOW else "graze-pull-off.passed.now", n=Count(round(away)))

    def reasons(self) -> tuple[RowSaid, ...]:
        """In the order in which they are read."""
        facts = self.context.facts
        late = facts.value(_FACTS + "late_loss.bushland")
        trial = say(
            "graze-pull-off.because.trial",
            by=Name(facts.by(_FACTS + "late_loss.bushland")),
            lost=Share(late, fact=_FACTS + "late_loss.bushland"),
        )
        usual = say("graze-pull-off.because.usual").where(case.assumed(self.table, self.stem))
        return (self._seen, self._heat, usual, self._past, self._compound, trial)

    def _seen(self, i: int) -> Said | None:
        if np.isfinite(self.stem.mean[i]):
            # the trade splits stems by the centimetre, whatever else a reader counts in
            line = Measured(self.stem.line, fact=_FACTS + "first_hollow_stem")
            mean = Measured(round(float(self.stem.mean[i]), 1))
            return say("graze-pull-off.because.split", mean=mean, line=line, due=self._due(i))
        if self.stem.by_heat[i]:
            return None
        kind = "stage" if self.stem.seen[i] else "unsplit" if self.stem.dated[i] else "usual_date"
        return say(f"graze-pull-off.because.{kind}")

    def _heat(self, i: int) -> Said | None:
        """The heat at which stems of the district passed the line, beside the figure on file and this season's."""
        facts, context = self.context.facts, self.context
        if not own_dates.own_stem(context) or "station" not in self.table.columns or self.stem.seen[i]:
            return None
        now = own_dates.heat_now(context, str(self.table.text("station")[i]))
        own, old = facts[own_dates.STEM], facts.by_id[own_dates.STEM].shipped
        if np.isnan(now) or old is None:
            return None
        return say(
            "graze-pull-off.because.own_heat",
            own=_heat_of(own.mid),
            low=_heat_of(own.low),
            high=_heat_of(own.high),
            old=_heat_of(old.mid),
            now=_heat_of(now),
        )

    def _past(self, i: int) -> Said:
        low, high = quantile(self.day.cost[i], [0.1, 0.9])
        facts = self.context.facts
        return say(
            "graze-pull-off.because.past",
            low=Paid(float(low), unit=case.UNIT),
            high=Paid(float(high), unit=case.UNIT),
            upper=Share(facts.value(_FACTS + "late_loss.kansas"), fact=_FACTS + "late_loss.kansas"),
            lower=Share(facts.value(_FACTS + "late_loss.low"), fact=_FACTS + "late_loss.low"),
        )

    def _compound(self, i: int) -> Said | None:
        return say("graze-pull-off.because.compound") if self.table.flag("compound")[i] else None

    @staticmethod
    def cautions() -> tuple[RowSaid, ...]:
        """Insurance and animals first."""
        return tuple(say(code) for code in ("wheat.care.insurance", "wheat.care.cattle", *_CARE))


def _heat_of(degrees_c: float) -> Measured:
    return Measured(float(round(degrees_c * 1.8)), unit="delta_degF*day")


_CARE = ("graze-pull-off.care.corner", "graze-pull-off.care.move")
