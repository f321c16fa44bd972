"""What a call about the use of wheat says: the values of its headlines, its reasons and cautions."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from sideoats.problem import RowSaid
from sideoats.question import Context, Table
from sideoats.wheat import purpose_case as case
from sideoats.wheat.asked import stocking
from sideoats.wheat.own_dates import known_by_heat
from sideoats.words import Between, Day, Measured, Money, Name, Paid, Said, Share, Term, say

_FACTS = "wheat/grazing."


@dataclass(frozen=True)
class Told:
    """A batch as its sentences need it."""

    table: Table
    context: Context
    budget: case.Budget
    at: case.Standing

    def values(self) -> dict[str, Any]:
        """Values of the headlines."""
        facts = self.context.facts
        return {
            "stocking": lambda i: Measured(float(stocking(self.table)[i]), unit="head/ac"),
            "most": lambda i: Measured(facts.value(_FACTS + "stocking_asked"), unit="head/ac"),
            "plan": lambda i: Term(case.USES[max(int(case.plan_of(self.table)[i]), 0)], of="wheat_use"),
            "ahead": self._ahead,
            "stem": lambda i: Day(np.datetime64(self.context.on) + round(float(self.budget.stem[i]))),
            "net": Money(self.budget.payoff[:, :, case.GRAIN].mean(axis=1), unit=case.UNIT),
        }

    def heads(self) -> tuple[tuple[np.ndarray, str], ...]:
        """Headlines that take the place of the verdict's own."""
        past, kept, plan = self.budget.stem < 0, self.at.kept, case.plan_of(self.table)
        dual = kept & (plan == case.DUAL)
        return (
            (case.overstocked(self.table, self.context), "wheat-purpose.stocking.need"),
            (case.unspread(self.table), "wheat-purpose.acres.need"),
            (dual & past, "wheat-purpose.dual_past.wait"),
            (dual & (self.at.best == case.GRAIN), "wheat-purpose.dual_kept.wait"),
            (kept & (plan < 0), "wheat-purpose.only.wait"),
            (kept, "wheat-purpose.kept.wait"),
            (past, "wheat-purpose.past.act"),
        )

    def _ahead(self, i: int) -> Said | None:
        """How far the best use is ahead of the next one that is open."""
        following = int(self.at.following[i])
        if following < 0:
            return None
        return say(
            "wheat-purpose.ahead",
            margin=Money(float(self.at.margin[i]), unit=case.UNIT),
            next=Term(case.USES[following], of="wheat_use"),
        )

    def reasons(self) -> tuple[RowSaid, ...]:
        """In the order in which they are read."""
        undated, by_heat = ~self.table.known("hollow_stem_date"), known_by_heat(self.table, self.context)
        return (
            self._agent,
            say("wheat-purpose.because.grain", net=Money(self.budget.grain.mean(axis=1), unit=case.UNIT)),
            self._cattle,
            self._penalty(),
            say("wheat-purpose.because.taken_as_grazed").where(case.taken_as_grazed(self.table)),
            say("wheat-purpose.because.undated").where(undated & ~by_heat),
            say("wheat-purpose.because.by_heat").where(undated & by_heat),
            say("wheat-purpose.because.spent"),
        )

    def _agent(self, i: int) -> Said | None:
        """The use that the agent has to agree to, where it would bring more."""
        if not case.unasked_agent(self.table)[i]:
            return None
        gain = self.budget.gain[i].mean(axis=0)
        open_ = [
            at
            for at, known in ((case.OUT, stocking(self.table)[i] > 0), (case.HAY, self.table.known("hay_price")[i]))
            if known and gain[at] > gain[self.at.best[i]]
        ]
        if not open_:
            return None
        top = max(open_, key=lambda at: float(gain[at]))
        more = Money(float(gain[top] - gain[self.at.best[i]]), unit=case.UNIT)
        return say("wheat-purpose.because.agent", use=Term(case.USES[top], of="wheat_use"), more=more)

    def _cattle(self, i: int) -> Said | None:
        head = float(stocking(self.table)[i])
        if not head > 0:
            return None
        facts = self.context.facts
        low, high = facts.span(_FACTS + "graze_out_days")
        least, most = facts.span(_FACTS + "graze_out_stocking")
        return say(
            "wheat-purpose.because.cattle",
            head=Measured(head, unit="head/ac"),
            a_day=Paid(float(self.budget.graze_day[i].mean()), unit=case.UNIT),
            days=Between((low, high), unit="day", fact=_FACTS + "graze_out_days"),
            times=Between((least, most), fact=_FACTS + "graze_out_stocking"),
        )

    def _penalty(self) -> Said:
        facts = self.context.facts
        _, penalty = facts.choose("wheat/grazing_penalty")
        by = Name(facts.by(_FACTS + "late_loss.bushland"))
        return say("wheat-purpose.because.penalty", low=Share(penalty.low), high=Share(penalty.high), by=by)

    @staticmethod
    def cautions() -> tuple[RowSaid, ...]:
        """Insurance and animals first."""
        return tuple(
            say(code)
            for code in (
                "wheat.care.insurance",
                "wheat.care.cattle",
                "wheat-purpose.care.nitrate",
                "wheat-purpose.care.lease",
            )
        )
