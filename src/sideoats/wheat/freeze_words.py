"""What a call about a freeze on wheat says: the values of its headlines, its reasons and cautions."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from sideoats.decide.laws import quantile
from sideoats.problem import RowSaid
from sideoats.question import Context, Table
from sideoats.wheat import freeze
from sideoats.wheat import freeze_case as case
from sideoats.wheat.freeze_night import BELOW_GROUND, MEMORY_DAYS, Night, read_tables, whose
from sideoats.words import Between, Count, Day, Measured, Name, Parts, Said, Share, Term, say

_FREEZE, _WINTER = "wheat/freeze.", "wheat/winterkill."


@dataclass(frozen=True)
class Told:
    """A batch as its sentences need it."""

    table: Table
    context: Context
    night: Night
    injury: case.Injury
    needs: dict[str, np.ndarray]

    def values(self) -> dict[str, Any]:
        """Values of the headlines."""
        n, facts = self.night, self.context.facts
        count, dead = self.table.number("split"), self.table.number("dead")
        return {
            "task": self._task,
            "after": self._after,
            "kept": self._kept,
            "left": lambda i: Between(tuple(round(100 * end) for end in self._left_ends(i)), unit="percent"),
            "green": self._green(),
            "low": Measured(n.low.round(1), unit="degF"),
            "stage": lambda i: Term(str(n.stage[i]), of="wheat_check.stage"),
            "line": Measured(n.line, unit="degF"),
            "by": Name(n.publisher),
            "hours": Count(round(facts.value(_FREEZE + "hours")), fact=_FREEZE + "hours"),
            "crown": Measured(self._crown(), unit="degF"),
            "clear": Measured(n.crown.clear, unit="degF"),
            "count": Count(np.nan_to_num(count).astype(np.int64)),
            "dead": lambda i: Share(float(dead[i] / count[i])) if self.injury.split[i] else None,
            "parts": lambda i: say(f"freeze-injury.parts.{'heads' if n.stage[i] in case.IN_HEAD else 'stems'}"),
            "gone": self._gone,
            "nights": Count(MEMORY_DAYS),
            "counted": Count(np.nan_to_num(dead).astype(np.int64)),
            "loss": lambda i: self._loss_span(i) if self.injury.heavy[i] else None,
            "cold": Measured(n.coming.told.round(), unit="degF"),
            "odds": Share(n.coming.chance),
            "night": lambda i: self._coming(i, 0),
            "from": lambda i: self._coming(i, self.injury.after),
        }

    def heads(self) -> tuple[tuple[np.ndarray, str], ...]:
        """Headlines that take the place of the verdict's own."""
        n, injury, needs = self.night, self.injury, self.needs
        split, crown = injury.split, n.crown
        no_line = np.isnan(n.line)
        winter = crown.cold | crown.close
        unweighed = injury.hurt & ~injury.few
        found_out = {k: needs[k] for k in ("freeze_night.night", "wheat_check.stage", "freeze_night.low")}
        return (
            (injury.absurd, "freeze-injury.slip.need"),
            (n.summer, "freeze-injury.summer.need"),
            (found_out["freeze_night.night"], "freeze-injury.ahead.need"),
            (injury.of_how_many, "freeze-injury.of_how_many.need"),
            (found_out["freeze_night.low"] & n.gaps, "freeze-injury.gaps.need"),
            (found_out["freeze_night.low"], "freeze-injury.cold.need"),
            (found_out["wheat_check.stage"] & np.isfinite(n.low), "freeze-injury.stage.need"),
            (found_out["wheat_check.stage"], "need.headline"),
            (injury.few, "freeze-injury.few.need"),
            (unweighed, "freeze-injury.weigh.need"),
            (winter & n.crown.hardened, "freeze-injury.crown.need"),
            (winter, "freeze-injury.soft.need"),
            (n.cold & injury.heavy, "freeze-injury.heavy.need"),
            (n.cold, "freeze-injury.hurt.need"),
            (no_line, "freeze-injury.lineless.need"),
            (n.exposed, "freeze-injury.near.need"),
            (n.coming.likely & ~split, "freeze-injury.coming.wait"),
            (injury.lost, "freeze-injury.lost.wait"),
            (split & injury.hurt, "freeze-injury.thinned.wait"),
            (split, "freeze-injury.split.wait"),
            (n.unfrozen, "freeze-injury.warm.wait"),
            (crown.decides, "freeze-injury.crown.wait"),
            (no_line, "freeze-injury.lineless.wait"),
        )

    def _green(self) -> Said | None:
        """When plants show at green-up what a winter night left, while that is ahead."""
        region, on = self.context.region, self.context.on
        return (
            say("freeze-injury.green", day=Day(region.next("wheat-green-up", on)))
            if region.holds("wheat-winter", on)
            else None
        )

    def _crown(self) -> np.ndarray:
        """Whole degrees, or tenths where whole ones would hide on which side of the line it is."""
        crown = self.night.crown
        whole = crown.low.round()
        return np.where((whole >= crown.clear) & (crown.low < crown.clear), crown.low.round(1), whole)

    @property
    def _gone(self) -> Count:
        """Nights that the station's record lacks, 0 without a station."""
        return Count(np.nan_to_num(self.night.gone).astype(np.int64))

    def _on(self, days: int) -> Day:
        return Day(np.datetime64(self.context.on) + days)

    def _task(self, i: int) -> Said:
        """What is looked at, how many, by when."""
        stage = self.night.stage[i]
        what = "crowns" if stage in BELOW_GROUND or stage == "" else "heads" if stage in case.IN_HEAD else "stems"
        least = round(self.context.facts.value(_FREEZE + "split_least"))
        return say(f"freeze-injury.task.{what}", n=Count(least), day=self._on(int(self.injury.due[i])))

    def _after(self, i: int) -> Said | None:
        """The first day on which there is anything to see, where that is ahead and before the look."""
        first = int(self.injury.first[i])
        return say("freeze-injury.after", first=self._on(first)) if 0 < first < self.injury.due[i] else None

    def _coming(self, i: int, later: int) -> Day | None:
        """The night of a freeze that is forecast, or so many days after it."""
        return self._on(int(self.night.coming.day[i]) + later) if self.night.coming.likely[i] else None

    def _kept(self, i: int) -> Share | None:
        kept = float(self.injury.kept[i].mean())
        return Share(kept) if np.isfinite(kept) else None

    def reasons(self) -> tuple[RowSaid, ...]:
        """In the order in which they are read."""
        n, facts = self.night, self.context.facts
        ends = {
            k: Between(facts.by_id[_FREEZE + k].span, unit=u, fact=_FREEZE + k)
            for k, u in (("look_after", "day"), ("shelter_difference", "delta_degF"))
        }
        waits, lost = case.look_at(n, self.injury), _WINTER + "unhardened"
        short = n.cold & (n.hours < facts.value(_FREEZE + "hours"))
        return (
            say(
                "freeze-injury.because.coming",
                chance=Share(n.coming.chance, fact=_FREEZE + "coming"),
                line=Measured(n.line, unit="degF"),
                cold=Measured(n.coming.low.round(), unit="degF"),
            ).where(n.coming.likely),
            say("freeze-injury.because.gone", n=self._gone, of=Count(MEMORY_DAYS)).where(n.gone > 0),
            say("freeze-injury.because.signs", days=ends["look_after"]).where(waits),
            self._lines,
            self._loss,
            self._forms,
            say("freeze-injury.because.no_snow").where(np.isfinite(n.crown.forms[0]) & ~self.table.known("snow")),
            say(
                "freeze-injury.because.not_hardened", lost=Measured(facts.value(lost), unit="delta_degF", fact=lost)
            ).where(np.isfinite(n.crown.low) & ~n.crown.hardened),
            say("freeze-injury.because.short").where(short),
            say("freeze-injury.because.shelter", colder=ends["shelter_difference"]).where(n.from_station),
            say("freeze-injury.because.sketch").where(n.sketched),
            self._left,
            self._hay,
            say("freeze-injury.because.hayless").where(self.injury.hayless & self.injury.hurt),
        )

    def _lines(self, i: int) -> Said | None:
        """What each publisher prints for the stage, side by side."""
        stage, at = str(self.night.stage[i]), self.context.facts
        if self.night.crown.decides[i]:
            return None
        found = [
            say("freeze-injury.line", by=Name(whose(t)), line=Measured(line, unit="degF", fact=t.id))
            for t in read_tables(at)
            if np.isfinite(line := freeze.threshold_of(t, stage))
        ]
        return say("freeze-injury.because.lines", lines=Parts(tuple(found))) if found else None

    def _loss(self, i: int) -> Said | None:
        """The bracket between the pots and the two-hour tables, until stems are split."""
        injury, n = self.injury, self.night
        if injury.split[i] or not n.exposed[i] or not np.isfinite(injury.most[i]):
            return None
        least, most = Share(float(injury.least[i])), Share(float(injury.most[i]))
        if n.crown.decides[i] or np.isnan(n.low[i]):
            return say("freeze-injury.because.plants", least=least, most=most)
        pots, table = self.context.facts.by_id[_FREEZE + "ohio"], self.context.facts.by_id[_FREEZE + "kansas_c646"]
        return say("freeze-injury.because.loss", least=least, most=most, pots=Name(whose(pots)), by=Name(whose(table)))

    def _loss_span(self, i: int) -> Said:
        """Least and most of the crop that the two curves take."""
        least, most = (Share(float(end[i])) for end in (self.injury.least, self.injury.most))
        return say("freeze-injury.loss", least=least, most=most)

    def _left(self, i: int) -> Said | None:
        """The yield left, and whether later tillers make up for the dead."""
        if not self.injury.split[i]:
            return None
        kept = self.injury.kept[i]
        if self.night.stage[i] not in (*case.BEFORE_BOOT, ""):
            return say("freeze-injury.because.kept_late", kept=Share(float(kept.mean())))
        low, high = (Share(end) for end in self._left_ends(i))
        return say("freeze-injury.because.kept", low=low, high=high)

    def _left_ends(self, i: int) -> tuple[float, float]:
        """The share of the yield that is left in eight futures of ten."""
        low, high = quantile(self.injury.kept[i], [0.1, 0.9])
        return float(low), float(high)

    def _hay(self, i: int) -> Said | None:
        """The hay yield that is taken where none is told."""
        told = self.table.known("hay_yield")[i] or not self.table.known("hay_price")[i]
        if told or not self.injury.hurt[i] or self.injury.hayless[i]:
            return None
        usual = self.context.facts.by_id["wheat/hay.wheat_yield"]
        return say("freeze-injury.because.hay", tons=Between(usual.span, unit="ton/ac", fact=usual.id))

    def _forms(self, i: int) -> Said | None:
        """The crown as each form reckons it."""
        first, second = (float(form[i]) for form in self.night.crown.forms)
        if np.isnan(first):
            return None
        kind = "form" if round(first) == round(second) else "forms"
        return say(
            f"freeze-injury.because.{kind}",
            first=Measured(round(first), unit="degF"),
            second=Measured(round(second), unit="degF"),
            clear=Measured(float(self.night.crown.clear[i]), unit="degF"),
        )

    @staticmethod
    def cautions() -> tuple[RowSaid, ...]:
        """Insurance first."""
        return tuple(say(f"freeze-injury.care.{code}") for code in ("agent", "screen", "nitrate"))
