"""What a call about late cotton bolls says: the values of its headlines, its reasons and cautions."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.problem import RowSaid
from sideoats.weather.cases.cotton_case import Case
from sideoats.words import Between, Count, Day, Measured, Name, Said, Share, say

_FACTS = "weather/cotton."


@dataclass(frozen=True)
class Told:
    """A batch of bolls as its sentences need it."""

    case: Case

    def values(self) -> dict[str, Any]:
        """Values of the headlines."""
        first = self.case.context.facts.by_id[_FACTS + "first_flower_days"]
        return {
            "bloom": self._bloom,
            "share": self._share,
            "cutoff": self._cutoff,
            "pace": self._pace,
            "lack": lambda i: self.case.found[i].lack,
            "planted": lambda i: self._date(self.case.table.date("planting_date")[i]),
            "flowers": lambda i: self._date(self.case.flowers[i]),
            "usual": lambda i: self._date(self.case.found[i].freeze_usual),
            "days": Between(first.span, unit="day", fact=first.id),
        }

    def heads(self) -> tuple[tuple[NDArray[np.bool_], str], ...]:
        """Headlines that take the place of the verdict's own."""
        c = self.case
        return (
            (c.early & ~np.isnat(c.flowers), "cotton-pace.early.wait"),
            (c.early, "cotton-pace.before.wait"),
            (c.over, "cotton-pace.over.wait"),
            (c.gone, "cotton-pace.gone.wait"),
            (c.lacks, "cotton-pace.lack.need"),
            (c.regional, "cotton-pace.region.need"),
            (c.sketched, "cotton-pace.sketch.need"),
            (~c.lacks, "cotton-pace.money.need"),
            (c.sketched, "cotton-pace.sketch.wait"),
        )

    @staticmethod
    def _date(day: Any) -> Day | None:
        found = np.datetime64(day or "NaT", "D")
        return None if np.isnat(found) else Day(found.item())

    def _bloom(self, i: int) -> Said:
        bloom = self.case.table.date("bloom_date")[i]
        return say("cotton.today") if np.isnat(bloom) else say("cotton.on", day=Day(bloom.item()))

    def _share(self, i: int) -> Said:
        """The chance: of a sketch about, and less than so much."""
        chance, least = self.case.chance[i], self.case.context.facts.value(_FACTS + "nothing_left")
        if not np.isfinite(chance):
            return say("cotton.unknown")
        sketched = self.case.sketched[i]
        if sketched and chance < least:
            return say("cotton.less", share=Share(least))
        percent = round(100 * float(chance))
        vowel = percent in (8, 11, 18) or 80 <= percent < 90  # an 8 %, an 11 %, an 85 %
        return say(f"cotton.{'about' if sketched else 'share'}{'_an' if vowel else ''}", share=Share(float(chance)))

    def _cutoff(self, i: int) -> Said | None:
        even = self.case.found[i].cutoff_even
        return say("cotton.cutoff", day=Day(date.fromisoformat(even))) if even else None

    def _pace(self, i: int) -> Said | None:
        pace = self.case.found[i].pace
        if pace is None or not np.isfinite(pace.days_ahead):
            return None
        side = "ahead" if pace.days_ahead >= 0 else "behind"
        return say(f"cotton.{side}", n=Count(round(abs(pace.days_ahead))), years=Count(len(pace.years)))

    def reasons(self) -> tuple[RowSaid, ...]:
        """In the order in which they are read."""
        return (self._needed, self._sketch, self._since, self._standing, self._cutout)

    def _needed(self, i: int) -> Said:
        if self.case.early[i]:
            first = self.case.context.facts.by_id[_FACTS + "first_flower_days"]
            return say("cotton-pace.because.flowers", by=Name(first.publisher), days=Between(first.span, unit="day"))
        _, boll = self.case.context.facts.choose("weather/cotton_boll")
        by = Name(self.case.context.facts.by(boll.id))
        return say("cotton-pace.because.needs", heat=Between((boll.low, boll.high), fact=boll.id), by=by)

    def _sketch(self, i: int) -> Said | None:
        if not self.case.sketched[i] or self.case.early[i]:
            return None
        low, high = self.case.context.facts.span(_FACTS + "freeze_spread")
        spread = Between((low, high), fact=_FACTS + "freeze_spread")
        usual = Day(date.fromisoformat(self.case.found[i].freeze_usual))
        code = "region" if self.case.regional[i] else "sketch"
        return say(f"cotton-pace.because.{code}", spread=spread, usual=usual)

    def _since(self, i: int) -> Said | None:
        found = self.case.found[i]
        if found.sketched or found.lack is not None or self.case.early[i]:
            return None
        return say("cotton-pace.because.since", heat=Measured(float(np.rint(found.already))))

    def _standing(self, i: int) -> Said | None:
        pace = self.case.found[i].pace
        if pace is None:
            return None
        return say(
            "cotton-pace.because.pace",
            since=Day(pace.since),
            total=Measured(float(np.rint(pace.total))),
            mean=Measured(float(np.rint(pace.mean))),
            years=Name(", ".join(map(str, pace.years))),
            n=Count(int(pace.missing)),
        )

    def _cutout(self, i: int) -> Said | None:
        nodes, facts = self.case.table.number("nodes_above_white_flower")[i], self.case.context.facts
        if not nodes <= facts.value(_FACTS + "cutout_nodes"):
            return None
        (safe, _), (ready, _) = facts[_FACTS + "after_cutout"].rows
        return say(
            "cotton-pace.because.cutout",
            nodes=Measured(float(nodes)),
            ready=Measured(float(ready)),
            safe=Measured(float(safe), fact=_FACTS + "after_cutout"),
        )

    @staticmethod
    def cautions() -> tuple[RowSaid, ...]:
        """What the heat of a station does not know."""
        return (say("cotton-pace.care.field"), say("cotton-pace.care.label"))
