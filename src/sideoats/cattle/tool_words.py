"""What is said of the tools that fix or floor a price, in whatever question offers them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sideoats.cattle.tools import FUTURES, INSURANCE, PUT, Tools
from sideoats.problem import RowSaid
from sideoats.question import Context, Table
from sideoats.words import Between, Count, Measured, Paid, Said, Share, say

CWT = "USD/cwt"


@dataclass(frozen=True)
class ToolsTold:
    """A batch of sales; `barred` (place, tool) what is not open to them, `by_put`, `by_insurance` (place,) the yearly
    spread that each premium stands for."""

    table: Table
    tools: Tools
    barred: np.ndarray
    by_put: np.ndarray
    by_insurance: np.ndarray

    def spread(self, i: int) -> Said | None:
        """The volatility that the premium of the put stands for."""
        implied = float(self.by_put[i])
        shown = not self.barred[i, PUT] and np.isfinite(implied)
        return say("price-floor.because.implied", spread=Share(implied)) if shown else None

    def subsidy(self, i: int) -> Said | None:
        """What the government pays of the premium."""
        if self.barred[i, INSURANCE]:
            return None
        return say(
            "price-floor.because.subsidy",
            share=Share(float(self.tools.subsidy[i]), fact="cattle/floor.subsidy"),
            premium=Paid(float(self.table.number("insurance_premium")[i]), unit=CWT),
            paid=Paid(float(self.tools.paid[i]), unit=CWT),
            fair=Paid(float(self.tools.fair[i]), unit=CWT),
        )

    def premium(self, i: int) -> Said | None:
        """What the premium of an insurance stands for, where no put tells the market's own spread."""
        implied = float(self.by_insurance[i])
        if self.barred[i, INSURANCE] or np.isfinite(self.by_put[i]) or not np.isfinite(implied):
            return None
        drawn = Share(float(self.tools.drawn[i]))
        way = "dear" if self.table.number("insurance_premium")[i] > self.tools.fair[i] else "plain"
        return say(f"price-floor.because.premium.{way}", spread=Share(implied), drawn=drawn)

    def contracts(self, i: int) -> Said | None:
        """How many contracts these calves are, and how much of them that covers."""
        if self.barred[i, FUTURES] or not self.table.known("head")[i]:
            return None
        whole, share = float(self.tools.whole[i]), float(self.tools.share[i])
        return say("price-floor.because.contracts", n=Count(int(whole)), share=Share(share))


def tool_cautions(context: Context) -> tuple[RowSaid, ...]:
    """What each tool leaves open, and whom to ask."""
    weeks, last = context.facts["cattle/floor.weeks"], context.facts.value("cattle/floor.last_days")
    cover = say("price-floor.care.cover", weeks=Between((weeks.low, weeks.high)), last=Measured(last, unit="day"))
    ours = tuple(say(f"price-floor.care.{of}") for of in ("margin", "basis"))
    return (*ours, cover, say("price-floor.care.agent"))
