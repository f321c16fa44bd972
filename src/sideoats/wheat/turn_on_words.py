"""What a call about turning cattle onto wheat says: the values of its headlines, its reasons and cautions."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from sideoats.problem import RowSaid
from sideoats.question import Context, Table
from sideoats.wheat import turn_on_case as case
from sideoats.wheat.asked import stocking
from sideoats.wheat.standing_forage import FACTS, WINTER, Forage
from sideoats.words import Between, Day, Measured, Name, say


@dataclass(frozen=True)
class Told:
    """A batch as its sentences need it."""

    table: Table
    context: Context
    forage: Forage
    end: np.ndarray
    past: np.ndarray
    best: np.ndarray

    def values(self) -> dict[str, Any]:
        """Values of the headlines."""
        stand, most = self.forage.standing.mean(axis=1), np.round(case.most_head(self.table, self.context), 2)
        return {
            "stands": lambda i: Measured(float(np.round(stand[i], -1)), unit="lb/ac"),
            "until": lambda i: Day(np.datetime64(self.context.on) + round(float(self.end[i].mean()))),
            "when": self._when,
            "most": lambda i: Measured(float(most[i]), unit="head/ac") if np.isfinite(most[i]) else None,
            "weight": Measured(self.table.number("weight"), unit="lb"),
            "named": Measured(stocking(self.table), unit="head/ac"),
        }

    def heads(self) -> tuple[tuple[np.ndarray, str], ...]:
        """Headlines that take the place of the verdict's own."""
        return (
            (self.past, "graze-turn-on.past.wait"),
            (case.unrooted(self.table) & self.table.flag("rooted"), "graze-turn-on.seedling.wait"),
            (case.unrooted(self.table), "graze-turn-on.pulled.wait"),
            (case.young(self.table, self.context)[:, 0] & (self.best < case.OFF), "graze-turn-on.young.wait"),
            (case.heavy(self.table, self.context), "graze-turn-on.heavy.act"),
            (self.best < case.OFF, "graze-turn-on.later.wait"),
        )

    def _when(self, i: int) -> Day:
        days = [*case.DAYS, 0][int(self.best[i])]
        return Day(np.datetime64(self.context.on) + days)

    def reasons(self) -> tuple[RowSaid, ...]:
        """In the order in which they are read."""
        f = self.forage
        left = Measured(f.left, unit="lb/ac", fact=FACTS + "leave_standing")
        least = Measured(f.least, unit="lb/ac", fact=FACTS + "turn_on_forage")
        stand = Measured(np.round(f.standing.mean(axis=1), -1), unit="lb/ac")
        low, high = f.growth.min(axis=1), f.growth.max(axis=1)
        _ = self.context.facts[FACTS + "turn_on_stage"]  # the sentence about anchored plants rests on it
        return (
            say("graze-turn-on.because.stands", stands=stand, least=least, left=left),
            say("graze-turn-on.because.grows", ends=Between((np.round(low), np.round(high)), unit="lb/ac")),
            say("graze-turn-on.because.anchored"),
            say(
                "graze-turn-on.because.published",
                by=Name(self.context.facts.by(WINTER)),
                ends=Between(self.context.facts.span(WINTER), unit="lb/ac", fact=WINTER),
            ).where(case.heavy(self.table, self.context)),
            say("graze-turn-on.because.height").where(~self.table.known("forage") & self.table.known("height")),
        )

    @staticmethod
    def cautions() -> tuple[RowSaid, ...]:
        """Animals first."""
        return tuple(say(c) for c in ("wheat.care.cattle", "graze-turn-on.care.first", "graze-turn-on.care.label"))
