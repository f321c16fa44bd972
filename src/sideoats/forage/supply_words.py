"""What a call about hay to grass says: the values of its headlines, its reasons and cautions."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from sideoats.decide.laws import quantile
from sideoats.forage import supply_case as case
from sideoats.problem import RowSaid
from sideoats.question import Context, Table
from sideoats.words import Between, Count, Day, Measured, Money, Paid, Said, Share, Term, say

_BRED = ("pregnant-cow", "pregnant-heifer", "lactating-cow", "unknown", "")


@dataclass(frozen=True)
class Told:
    """A batch of herds as its sentences need it."""

    table: Table
    context: Context
    s: case.Supply
    gain: np.ndarray
    even: np.ndarray

    def heads(self) -> tuple[tuple[np.ndarray, str], ...]:
        """Headlines that take the place of the verdict's own."""
        s, known = self.s, self.s.known
        beasts, past = ~case.cattle(self.table), np.isnan(s.days) & self.table.known("grass_date")
        mean = self.gain.mean(axis=1)
        sold = self.table.known("cow_price") & self.table.known("given_up") & (mean[:, 2] > mean[:, 1])
        facts = self.context.facts
        short, gap = facts["forage/hay.enough"].column("share")
        sure = s.risk <= short
        large = known & (s.short > gap * np.nan_to_num(s.need))
        large &= ~self.table.known("cow_price") & ~(self.table.number("later") < 1)  # no cheaper hay is on its way
        return (
            (beasts, "hay-supply.animals.need"),
            (past, "hay-supply.past.need"),
            (s.out & ~sold, "hay-supply.out.act"),
            (s.out, "hay-supply.weigh.look"),
            (known & (s.short <= 0) & sure, "hay-supply.enough.wait"),
            (known & (s.short <= 0), "hay-supply.thin.wait"),
            (large, "hay-supply.large.wait"),
            (known, "hay-supply.weigh.look"),
        )

    def values(self) -> dict[str, Any]:
        """Values of the headlines."""
        s = self.s
        return {
            "tons": _tons(s.short),
            "buy": _tons(s.to_buy),
            "spare": _tons(s.have - s.need),
            "days": Measured(s.days, unit="day"),
            "gone": lambda i: Day(self._gone(i)),
            "risk": Share(s.risk),
            "need": _tons(s.need),
            "high": _tons(quantile(s.short_drawn, 0.9, axis=1)),
            "n": Count(np.nan_to_num(case.cows_of(self.table, s)).astype(np.int64)),
            "grass": Day(self.table.date("grass_date")),
            "saves": case.saved(self.gain),
            "checked": self._checked,
            "steps": self._steps,
        }

    def _checked(self, i: int) -> Said:
        """What comes before any cow is sold."""
        bred = str(self.table.text("class")[i]) in _BRED
        return say("hay-supply.first.bred" if bred else "hay-supply.first.lender")

    def _steps(self, i: int) -> Said | None:
        """A large part of a herd is not sold in one week: half, and what another count of the hay leaves."""
        cows, head = float(case.cows_of(self.table, self.s)[i]), float(self.table.number("head")[i])
        if not cows > self.context.facts["forage/hay.enough"].column("share")[1] * head:
            return None
        again = np.datetime64(self.context.on, "D") + case.MONTH
        return say("hay-supply.first.steps", n=Count(int(np.ceil(cows / 2))), day=Day(again))

    def _gone(self, i: int) -> np.datetime64:
        """The day on which the last of the stack is fed."""
        return np.datetime64(self.context.on, "D") + int(np.nan_to_num(self.s.until[i]))

    def _of(self, said: Callable[[int], Said | None]) -> Callable[[int], Said | None]:
        return lambda i: said(i) if self.s.known[i] else None

    def reasons(self) -> tuple[RowSaid, ...]:
        """In the order in which they are read: the sum first."""
        parts = (
            self._need, self._have, self._storage, self._chance, self._weights, self._price, self._late, self._selling,
            self._week,
        )  # fmt: skip
        unknown = ~self.s.known & case.cattle(self.table)
        return (lambda i: say("hay-supply.because.guess") if unknown[i] else None, *map(self._of, parts))

    def _need(self, i: int) -> Said:
        table, facts = self.table, self.context.facts
        _, feeder = facts.choose("forage/hay_feeder", self._word("feeder", i))
        told = table.number("intake")[i]
        intake = facts["forage/hay.intake_share"].mid if np.isnan(told) else told
        return say(
            "hay-supply.because.need",
            need=_tons(self.s.need[i]),
            n=Count(int(table.number("head")[i])),
            weight=Measured(table.number("weight")[i], unit="lb"),
            days=Measured(self.s.days[i], unit="day"),
            eaten=Measured(100 * float(intake), unit="percent"),
            lost=Share(feeder.mid),
            feeder=Term(str(table.text("feeder")[i]) or "ring", of="place.feeder"),
        )

    def _have(self, i: int) -> Said:
        s = self.s
        held = {
            "counted": _tons(s.counted[i]), "lost": Share(s.stack_lost[i]),
            "have": _tons(s.have[i]), "tons": _tons(abs(s.have[i] - s.need[i])),
        }  # fmt: skip
        return say(f"hay-supply.because.{'short' if s.short[i] > 0 else 'spare'}", **held)

    def _storage(self, i: int) -> Said:
        facts = self.context.facts
        _, wet = facts.choose("forage/hay_storage", self._word("storage", i))
        wetted = facts["forage/hay.indoors"].mid + wet.mid * facts.value("forage/hay.rain_unknown")
        storage = str(self.table.text("storage")[i]) or "ground-bare"
        return say(
            f"hay-supply.because.{'weathered' if wet.mid > 0 else 'dry'}",
            year=Share(wetted),
            rain=Measured(round(float(self.s.rain[i])), unit="in"),
            storage=Term(storage, of="hay_count.storage"),
        )

    def _chance(self, i: int) -> Said:
        short, over = self.s.short_drawn[i], float(self.s.over_plan[i])
        figures = {"chance": Share(float((short > 0).mean())), "high": _tons(quantile(short, 0.9))}
        if over < 1.0:
            return say("hay-supply.because.chance", **figures)
        return say("hay-supply.because.over_plan", over=_tons(over), **figures)

    def _weights(self, i: int) -> Said:
        if self.table.known("bale_weight")[i] or self.table.known("hay")[i]:
            return say("hay-supply.because.weighed")
        book = self.context.facts["forage/hay.bale_weight"]
        return say("hay-supply.because.book", weight=Measured(book.mid, unit="lb", fact=book.id))

    def _price(self, i: int) -> Said:
        price = Paid(float(case.price_of(self.table, self.context)[i]), unit="USD/ton")
        return say(f"hay-supply.because.{'price' if self.table.known('price')[i] else 'round'}", price=price)

    def _late(self, i: int) -> Said | None:
        told = self.table.number("later")[i]
        if np.isfinite(told):
            return say("hay-supply.because.told", ratio=Measured(float(told)))
        spring = self.context.facts["forage/hay.spring_price"]
        return say("hay-supply.because.late", ends=Between((spring.low, spring.high)))

    def _selling(self, i: int) -> Said | None:
        if not (np.isfinite(self.even[i]) and self.s.short[i] > 0):
            return None
        cows = Count(int(case.cows_of(self.table, self.s)[i]))
        return say("hay-supply.because.selling", n=cows, even=Share(min(float(self.even[i]), 1.0)))

    def _week(self, i: int) -> Said | None:
        """What waiting gives up, where buying ahead saves anything."""
        lost = float(case.delay(self.s, self.gain)[i, 1])
        if not lost > 0:
            return None
        return say("hay-supply.because.week", n=Count(int(self.s.until[i])), lost=Money(lost, unit=case.UNIT))

    def _word(self, name: str, i: int) -> str | None:
        return str(self.table.text(name)[i]).replace("-", "_") or None

    def cautions(self) -> tuple[RowSaid, ...]:
        """What can hurt animals and people first."""
        return (
            say("forage.care.sick"),
            say("forage.care.treatment"),
            say("hay-supply.care.hungry"),
            say("hay-supply.care.nitrate"),
            say("hay-supply.care.fire"),
            say("hay-supply.care.cows"),
            say("forage.care.cattle_only"),
        )


def _tons(tons: Any) -> Measured:
    """Tons as they are told: whole from ten on."""
    amount = np.asarray(tons, np.float64)
    return Measured(np.where(np.abs(amount) < 10, np.round(amount, 1), np.round(amount)), unit="ton")
