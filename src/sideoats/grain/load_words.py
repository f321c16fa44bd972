"""What a call about a load says beside its headline: each buyer's sums, and what is unusual about schedule or load."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from sideoats.grain.load_case import MOST_BUYERS, Loads, Offer
from sideoats.problem import RowSaid
from sideoats.question import Context, Table
from sideoats.words import Day, Measured, Name, Paid, Parts, Phrase, Said, say

SAMPLE_GRADE = 6  # stands for U.S. Sample grade in `sideoats.grain.condition.wheat_grade`


@dataclass(frozen=True)
class Told:
    """A batch of loads as its sentences need it."""

    table: Table
    context: Context
    offers: list[dict[str, Offer]]
    loads: Loads

    def buyer(self, at: int) -> Callable[[int], Said | None]:
        """The sums of the buyer of that index, where his schedule prices the load."""

        def said(i: int) -> Said | None:
            if at >= len(self.loads.names):
                return None
            name, loads = self.loads.names[at], self.loads
            own = self.offers[i].get(name)
            if own is None or (i, at) in loads.unpriced:
                return None
            return say(
                "load-price.because.buyer",
                buyer=Name(name),
                day=Day(own.record["effective"]),
                bid=Paid(own.bid),
                off=Paid(float(loads.adjustment[i, at])),
                freight=Paid(own.freight),
                net=Measured(float(loads.net_bushels[i, at]), unit="bu"),
                shrink=Measured(float(loads.shrink[i, at]), unit="percent"),
            )

        return said

    def later(self, at: int) -> Callable[[int], Said | None]:
        """What the buyer of that index would pay once his schedule is in force, where it is more than anybody today."""

        def said(i: int) -> Said | None:
            loads = self.loads
            own = self.offers[i].get(loads.names[at])
            if own is None or not loads.complete[i, at] or loads.in_force[i, at]:
                return None
            begins = own.record["effective"]
            best = np.nanmax(np.where(loads.open[i], loads.money[i], np.nan), initial=0.0)
            more = float(loads.money[i, at] - best)
            if begins <= self.context.on or not more >= 1:
                return None
            return say("load-price.because.later", buyer=Name(loads.names[at]), day=Day(begins), more=Paid(more))

        return said

    def reasons(self) -> tuple[RowSaid, ...]:
        """One a buyer, then who would pay more later."""
        every = range(len(self.loads.names))
        return (*(self.buyer(at) for at in every), *(self.later(at) for at in every))

    def unpriced(self, i: int) -> Said | None:
        """Why no schedule prices a load: once where the buyers' reasons agree, by buyer where they differ."""
        found = {self.loads.names[at]: why for (row, at), why in self.loads.unpriced.items() if row == i}
        if not found:
            return say("load-price.out_of_force")
        lacking = tuple({repr(part.plain()): part for why in found.values() for part in why}.values())
        if all(part.code == "load.why.unmeasured" for part in lacking):
            return say("load-price.test", why=Parts(lacking))
        if len(set(map(_shape, found.values()))) == 1:
            return say("load-price.ask_one", why=Parts(next(iter(found.values()))))
        each = tuple(say("load-price.of_buyer", buyer=Name(name), why=Parts(why)) for name, why in found.items())
        return say("load-price.ask_all", why=Parts(each))

    def at_a_tenth(self, i: int) -> Paid:
        """What the best buyer would pay if the dockage were a tenth of what was given: a slip of the decimal."""
        best = np.nanmax(np.where(self.loads.open[i], self.loads.money[i], np.nan), initial=-np.inf)
        share = float(self.table.number("dockage")[i])
        return Paid(float(best) * (1 - share / 10) / (1 - share) if np.isfinite(best) else np.nan)

    def barred(self, at: int) -> Callable[[int], Said | None]:
        """Why the buyer of that index does not price a load."""
        return lambda i: say("load-price.ask_one", why=Parts(self.loads.unpriced.get((i, at), ())))

    def ahead(self, i: int) -> Phrase:
        """By how much the best leads the next."""
        lead = float(self.loads.lead()[i])
        if np.isnan(lead):
            return Phrase(None)
        return Phrase(say("load-price.ahead", more=Paid(lead)) if lead >= 1 else say("load-price.level"))

    def cautions(self) -> tuple[RowSaid, ...]:
        """What differs at the scale first."""
        unusual = tuple(self._unusual(at) for at in range(2 * min(len(self.loads.names), MOST_BUYERS)))
        return (say("load-price.care.scale"), say("load-price.care.factors"), *unusual, self._off, self._sample)

    def _unusual(self, at: int) -> Callable[[int], Said | None]:
        """A schedule's moisture shrink beyond what is in use: pencil factors at even places, handling at odd ones."""
        facts = self.context.facts
        name, handling = self.loads.names[at // 2], at % 2
        most = facts.span("grain/handling_loss" if handling else "grain/pencil_factor")[1]

        def said(i: int) -> Said | None:
            own = self.offers[i].get(name)
            moisture = (own.record.get("moisture") if own else None) or {"shrink": "none"}
            if moisture["shrink"] != ("water" if handling else "pencil"):
                return None
            taken = moisture["handling" if handling else "factor"] or 0.0
            shown = {"taken": Measured(taken, unit="percent"), "most": Measured(most, unit="percent")}
            code = f"load-price.care.{'handling' if handling else 'pencil'}"
            return say(code, buyer=Name(name), **shown) if taken > most else None

        return said

    def _off(self, i: int) -> Said | None:
        _ = self.context.facts["grain/sample_grade"]  # the cautions rest on it
        return say("load-price.care.off") if self.table.flag("odor")[i] or self.table.flag("heating")[i] else None

    def _sample(self, i: int) -> Said | None:
        return say("load-price.care.sample") if self.loads.grade[i] >= SAMPLE_GRADE else None


def _shape(why: tuple[Said, ...]) -> str:
    return repr([part.plain() for part in why])
