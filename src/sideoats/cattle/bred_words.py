"""What a call about replacement heifers says: the values of its headlines, its reasons and cautions, its picture."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from sideoats.cattle import bred_case as case
from sideoats.cattle import budget
from sideoats.families.own_and_sell import turning_points, turning_said
from sideoats.problem import RowSaid
from sideoats.question import Context, Table
from sideoats.words import Day, LongDay, Measured, Money, Paid, Said, Term, say

if TYPE_CHECKING:
    from sideoats.pictures import Picture

KEYS = tuple(option.key for option in case.OPTIONS)


@dataclass(frozen=True)
class Told:
    """A batch of replacement plans as its sentences need it; `silent` (place,) rows without money to tell."""

    table: Table
    context: Context
    given: case.Given
    worth: case.Worth
    barred: np.ndarray
    silent: np.ndarray

    def values(self) -> dict[str, Any]:
        """Values of the headlines, each a function of the row."""
        return {
            "odds": self._odds,
            "gone": LongDay(self.table.date("sale")),
            **{
                name: lambda i, code=f"bred-heifers.{name}": say(code) if self.barred[i, 2] else None
                for name in ("rather", "rather_buy", "unweighed")
            },
            "keep": lambda i: self._when(i, "keep"),
            "sell": lambda i: self._when(i, "sell"),
            **{f"than_{key}": self._than(at) for at, key in enumerate(KEYS)},
        }

    def _when(self, i: int, what: str) -> Said | None:
        """What becomes of the heifer calves on the day of the sale; None where none lies ahead."""
        if not self.table.days_until("sale", self.context.on)[i] >= 0:
            return None
        return say(f"bred-heifers.{what}", sale=Day(self.table.date("sale")[i]))

    def _than(self, at: int) -> Callable[[int], Said | None]:
        """By how much the option of that index is better than the one it is held against, and how often it is best."""

        def said(i: int) -> Said | None:
            mean = self.worth.gain[i].mean(axis=0)
            held = [k for k in range(len(mean)) if k != at and not self.barred[i, k]]  # the next best, were at not open
            other = max(held, key=lambda k: mean[k])
            if not np.isfinite(mean[[at, other]]).all():
                return None
            gap = Money(float(mean[at] - mean[other]))
            if self.barred[i, 2]:  # the headline names what it is held against
                return say("bred-heifers.cheaper", gap=gap)
            return say("bred-heifers.than", gap=gap, other=Term(KEYS[other], of="heifers"))

        return said

    def _odds(self, i: int) -> Said | None:
        """Said of keeping or buying that pays little more often than not; None where neither is not weighed."""
        best = int(np.argmax(self.worth.gain[i, :, :2].mean(axis=0)))
        often = float((self.worth.gain[i, :, best] > 0).mean())
        toss = not self.barred[i, 2] and often < self.context.facts.value("decide/even_odds")
        return say("cattle.even_odds") if toss else None

    def reasons(self) -> tuple[RowSaid, ...]:
        """What developing costs, what would turn it, and what a cow must bring."""
        own, bred = case.own_cost(self.given), np.mean(self.given.conception, axis=0)
        saved, inputs = case.saving(self.table, self.given)
        turns = turning_said(turning_points(saved, inputs, tuple(case.TURNS)), inputs, case.TURNS, saved(**inputs))

        def cost(i: int) -> Said:
            return say(
                "bred-heifers.because.cost",
                kept=Measured(float(1 / bred[i])),
                own=Paid(float(own[i])),
                days=Measured(float(self.given.days[i]), unit="day"),
                price=Paid(float(self.given.bred_price[i])),
            )

        def turned(i: int) -> Said:
            return say("bred-heifers.because.turns", turns=turns(i)) if turns(i).known else turns(i)

        return tuple(map(self._money, (cost, turned, self._cow)))

    def _money(self, said: Callable[[int], Said | None]) -> Callable[[int], Said | None]:
        return lambda i: None if self.silent[i] else said(i)

    def _cow(self, i: int) -> Said | None:
        if self.barred[i, 2]:
            return None
        develop = float(self.worth.gain[i, :, 0].mean())
        even = float(self.table.number("calf_price")[i]) * (1 - develop / float(self.worth.calves[i]))
        low, high = (Measured(float(end[i])) for end in self.given.years)
        return say("bred-heifers.because.cow", even=Paid(even, unit="USD/cwt"), low=low, high=high)

    def cautions(self) -> tuple[RowSaid, ...]:
        """The veterinarian first."""
        for cited in ("care.veterinarian", "care.records"):
            _ = self.context.facts[f"cattle/{cited}"]  # the sentences rest on these
        return (
            say("precondition.care.veterinarian"),
            say("cull-cows.care.records"),
            say("bred-heifers.care.papers"),
            say("bred-heifers.care.prices"),
        )

    def drawn(self, ruling: Any, i: int) -> Sequence[Picture]:
        """What developing saves on buying, by the two figures that are bargained over or budgeted."""
        from sideoats.cattle.pictures import develop_or_buy

        _, given = ruling, self.given
        more = float(case.more_at_check(self.table, given)[i])
        one = {"calf": given.calf[i], "open_value": given.open_value[i], "rate": given.rate[i], "days": given.days[i],
               "conception": np.mean(given.conception, axis=0)[i]}  # fmt: skip

        def saved(price: np.ndarray, cost: np.ndarray) -> np.ndarray:
            own = case.cost_developed(develop_cost=cost, **one)
            at_check = own * (1 + one["rate"]) ** (one["days"] / budget.DAYS_A_YEAR)
            return np.asarray(price - more - at_check, dtype=np.float64)

        picture = develop_or_buy(float(given.bred_price[i]), float(given.develop_cost[i]), saved)
        return [picture] if picture else []
