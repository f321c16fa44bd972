"""What a call about stocking wheat says: the values of its headlines, its reasons and cautions."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from sideoats.decide.laws import quantile
from sideoats.problem import RowSaid
from sideoats.question import Context, Table
from sideoats.wheat import stocking_case as case
from sideoats.wheat.standing_forage import FACTS, SPRING, WINTER, Forage
from sideoats.words import Between, Day, Measured, Name, Phrase, Said, say


@dataclass(frozen=True)
class Told:
    """A batch as its sentences need it."""

    table: Table
    context: Context
    forage: Forage
    carried: case.Carried
    asked_days: np.ndarray

    def values(self) -> dict[str, Any]:
        """Values of the headlines."""
        return {
            "advised": Measured(self.carried.advised, unit="head/ac"),
            "planned": Measured(self.carried.planned, unit="head/ac"),
            "days": Measured(self.table.number("days"), unit="day"),
            "weight": Measured(self.table.number("weight"), unit="lb"),
            "of_all": self._of_all,
        }

    def _of_all(self, i: int) -> Phrase:
        """Head for the whole field, where its acres are known."""
        acres, head = float(self.table.number("acres")[i]), float(self.carried.advised[i])
        whole = np.floor(acres * head)
        return Phrase(say("stocking-rate.of_all", head=Measured(whole, unit="head")) if np.isfinite(whole) else None)

    def heads(self) -> tuple[tuple[np.ndarray, str], ...]:
        """Headlines that take the place of the verdict's own."""
        planned = np.isfinite(self.carried.planned)
        return (
            (self.carried.past, "stocking-rate.past.wait"),
            (case.thin(self.forage), "stocking-rate.thin.wait"),
            (self.carried.over, "stocking-rate.over.act"),
            (planned & ~self.carried.over, "stocking-rate.fits.wait"),
        )

    def reasons(self) -> tuple[RowSaid, ...]:
        """In the order in which they are read."""
        return (self._counted, self._carries, self._published, self._eaten(), say("stocking-rate.because.out"))

    def _counted(self, i: int) -> Said | None:
        """To when grazing is counted, where nobody said."""
        days = float(self.table.number("days")[i])
        if self.asked_days[i] or np.isnan(days):
            return None
        kind = "graze_out" if self.table.text("purpose")[i] == "graze-out" else "hollow_stem"
        return say(f"stocking-rate.because.to_{kind}", day=Day(np.datetime64(self.context.on) + int(days)))

    def _carries(self, i: int) -> Said:
        low, middle, high = quantile(self.carried.head[i], [0.1, 0.5, 0.9])
        return say(
            "stocking-rate.because.carries",
            middle=Measured(float(middle), unit="head/ac"),
            ends=Between((float(low), float(high)), unit="head/ac"),
            days=Measured(float(self.table.number("days")[i]), unit="day"),
        )

    def _published(self, i: int) -> Said:
        winter, facts = bool(self.carried.winter[i]), self.context.facts
        fact = WINTER if winter else SPRING
        return say(
            f"stocking-rate.because.{'winter' if winter else 'spring'}",
            by=Name(facts.by(fact)),
            ends=Between(facts.span(fact), unit="lb/ac", fact=fact),
        )

    def _eaten(self) -> Said:
        low, high = self.context.facts.span(FACTS + "intake")
        least, most = self.context.facts.span(FACTS + "harvested")
        return say(
            "stocking-rate.because.eaten",
            eaten=Between((100 * low, 100 * high), unit="percent", fact=FACTS + "intake"),
            kept=Between((100 * least, 100 * most), unit="percent", fact=FACTS + "harvested"),
        )

    @staticmethod
    def cautions() -> tuple[RowSaid, ...]:
        """Animals first."""
        return (say("wheat.care.cattle"), say("stocking-rate.care.hay"))
