"""What a call about varieties says: the values of its headlines, its reasons and cautions."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from functools import cached_property
from typing import Any

import numpy as np

from sideoats.problem import RowSaid
from sideoats.question import Context, Table
from sideoats.wheat import variety_case as case
from sideoats.wheat.asked import known_or
from sideoats.words import Count, Day, LongDay, Measured, Money, Name, Paid, Phrase, Said, say

_F = "wheat/trials."


@dataclass(frozen=True)
class Told:
    """A batch as its sentences need it."""

    table: Table
    context: Context
    choices: case.Choices

    def values(self) -> dict[str, Any]:
        """Values of the headlines."""
        return {
            "grown": self._grown,
            "kept": self._kept,
            "fault": Name(np.array(self.choices.faults, dtype=object)),
            "found": self._found,
            "fewest": Count(int(self.context.facts.value(_F + "fewest"))),
            "order": self._order,
            "later": self._later,
            "top": self._top,
            "rival": lambda i: Name(self.choices.names[self._near[i]]) if self._near[i] >= 0 else None,
            "lead": lambda i: self._lead(i)[0],
            "apart": lambda i: self._lead(i)[1],
            "worth": self._worth,
        }

    @cached_property
    def _near(self) -> np.ndarray:
        return case.near(self.table, self.context, self.choices)

    def _lead(self, i: int) -> tuple[Measured | None, Measured | None]:
        """By how much the rival led what is grown, and the lead that would not be chance."""
        r, at, current = self.choices.results[i], int(self._near[i]), str(self.table.text("current")[i])
        if r is None or at < 0:
            return None, None
        told = (r.lead(self.choices.names[at], current), r.least_lead(current))
        led, apart = (Measured(round(float(x), 1), unit="bu/ac") for x in told)
        return led, apart

    def _worth(self, i: int) -> Money | None:
        """What the rival brings on average before its seed is paid."""
        at = int(self._near[i])
        if at < 0:
            return None
        cost = known_or(self.table.number("cost"), self.context, _F + "change_cost")[i]
        return Money(float(self.choices.gain[i, :, at + 1].mean() + cost), unit=case.UNIT)

    def _grown(self, i: int) -> Phrase:
        """What a change is compared with."""
        r, current = self.choices.results[i], str(self.table.text("current")[i])
        if not current:
            return Phrase(say("variety-choice.average"))
        code = "grown" if r is None or current in r.names else "stranger"
        return Phrase(say(f"variety-choice.{code}", current=Name(current)))

    def _kept(self, i: int) -> Phrase:
        current = str(self.table.text("current")[i])
        return Phrase(say("variety-choice.grown", current=Name(current)) if current else say("variety-choice.own"))

    def _found(self, i: int) -> Phrase:
        """How many trials there are."""
        trials = self.choices.trials[i]
        return Phrase(say("variety-choice.trials", n=Count(int(trials))) if np.isfinite(trials) else None)

    def _order(self, i: int) -> Day:
        days = float(self.choices.days[i])
        return Day(self.context.on + timedelta(days=int(days)) if np.isfinite(days) else None)

    def _later(self, i: int) -> LongDay:
        return LongDay(self.context.on + timedelta(days=int(case.recheck(self.context, self.choices)[i])))

    def _top(self, i: int) -> Phrase:
        """The highest variety of trials that are too few, and its lead over their mean."""
        mean = self.choices.deviation[i].mean(axis=0)
        if not np.isfinite(mean).any():
            return Phrase(None)
        at = int(np.nanargmax(mean))
        lead = Measured(round(float(mean[at]), 1), unit="bu/ac")
        return Phrase(say("variety-choice.top", variety=Name(self.choices.names[at]), lead=lead))

    def heads(self) -> tuple[tuple[np.ndarray, str], ...]:
        """Headlines that take the place of the verdict's own."""
        fault = np.array([bool(f) for f in self.choices.faults])
        priced = self.table.known("price")
        return (
            (case.too_few(self.choices, self.context) & priced, "variety-choice.few.need"),
            (fault, "variety-choice.unusable.need"),
            (self.choices.days < 0, "variety-choice.sown.wait"),
            (self._near >= 0, "variety-choice.near.wait"),
        )

    def reasons(self) -> tuple[RowSaid, ...]:
        """In the order in which they are read."""
        read = np.array([r is not None for r in self.choices.results])
        price = self.context.facts.by_id[_F + "change_cost"].mid
        return (
            self._compared,
            self._stranger,
            self._set,
            say("variety-choice.because.season").where(read),
            *(self._noted(name) for name in ("new_site", "one_year", "few_trials")),
            say("variety-choice.because.change_cost", price=Paid(price, unit=case.UNIT)).where(
                read & ~self.table.known("cost")
            ),
        )

    def _compared(self, i: int) -> Said | None:
        r = self.choices.results[i]
        if r is None:
            return None
        return say(
            "variety-choice.because.compared",
            trials=self._found(i),
            varieties=Count(len(r.names)),
            lsd=Measured(round(r.lsd, 1), unit="bu/ac"),
        )

    def _stranger(self, i: int) -> Said | None:
        """What is grown now is not in the trials, or was not named."""
        r, current = self.choices.results[i], str(self.table.text("current")[i])
        if r is None or current in r.names:
            return None
        if not current:
            return say("variety-choice.because.unnamed")
        return say("variety-choice.because.stranger", current=Name(current))

    def _set(self, i: int) -> Said | None:
        """The best two or three to share the seed between."""
        from sideoats.wheat.trials.compare import best_sets

        open_ = [at for at in range(len(self.choices.names)) if np.isfinite(self.choices.deviation[i, 0, at])]
        size = int(min(np.nan_to_num(self.table.number("size")[i], nan=1.0), len(open_)))
        if size < 2:
            return None
        names = tuple(self.choices.names[at] for at in open_)
        risk = float(np.nan_to_num(self.table.number("risk")[i]))
        (best,) = best_sets(self.choices.deviation[i][:, open_].T, names, size, risk, most=1)
        worst = Measured(round(best.worst_fifth, 1), unit="bu/ac")
        return say("variety-choice.because.set", varieties=Name(", ".join(best.varieties)), worst=worst)

    def _noted(self, name: str) -> Any:
        """What the trials cannot tell, where it is so."""

        def said(i: int) -> Said | None:
            r = self.choices.results[i]
            if r is None:
                return None
            holds = {"new_site": r.new_site, "one_year": r.years == 1, "few_trials": r.season.df < r.season.sure_from}
            return say(f"variety-choice.because.{name}") if holds[name] else None

        return said

    @staticmethod
    def cautions() -> tuple[RowSaid, ...]:
        """What a ranking hides first."""
        return tuple(say(f"variety-choice.care.{name}") for name in ("few", "more", "seed"))
