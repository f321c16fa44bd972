"""What a call about a price floor says: the values of its headlines, its reasons and its cautions."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from sideoats.cattle import answering, protection, slide
from sideoats.cattle import floor_case as case
from sideoats.cattle.tool_words import ToolsTold, tool_cautions
from sideoats.decide.laws import quantile
from sideoats.problem import RowSaid, labelled
from sideoats.question import Context, Table
from sideoats.words import Count, Day, LongDay, Measured, Money, Paid, Said, say

CWT = "USD/cwt"
ENDS = (0.8, 1.0, 1.2)  # of the futures today: where they could end


@dataclass(frozen=True)
class Told:
    """A batch of calves as its sentences need it; `silent` (place,) rows about whose money nothing is said."""

    table: Table
    context: Context
    floor: case.Floor
    barred: np.ndarray
    silent: np.ndarray

    def values(self) -> dict[str, Any]:
        """Values of the headlines, each a function of the row."""
        number, f = self.table.number, self.floor
        mean = np.nan_to_num(f.gain.mean(axis=1))
        return {
            "sale": Day(self.table.date("sale")),
            "gone": LongDay(self.table.date("sale")),
            "odd": lambda i: self.odd().asks(i),
            "expected": Paid(np.nan_to_num(f.expected), unit=CWT),
            "forward": Paid(np.nan_to_num(number("forward_price")), unit=CWT),
            "futures": Paid(np.nan_to_num(number("futures")), unit=CWT),
            "strike": Paid(np.nan_to_num(number("put_strike")), unit=CWT),
            "insured": Paid(np.nan_to_num(number("insured_price")), unit=CWT),
            "whole": Count(np.nan_to_num(f.tools.whole).astype(np.int64)),
            **{f"why_{o.key}": self._why(mean[:, at]) for at, o in enumerate(case.OPTIONS) if at},
            "nearest": self._nearest,
        }

    def odd(self) -> answering.OutOfLine:
        """Prices that cannot stand beside what the calves are expected to bring."""
        number = self.table.number
        names = ("futures", "forward_price", "put_strike", "insured_price")
        return answering.out_of_line(CWT, ("expected_price", self.floor.expected), *((n, number(n)) for n in names))

    def _why(self, mean: np.ndarray) -> Callable[[int], Said]:
        """What a tool brings or costs on average."""

        def said(i: int) -> Said:
            way = "gains" if mean[i] > 0 else "costs"
            return say(f"price-floor.why.{way}", x=Money(abs(float(mean[i])), unit=case.UNIT))

        return said

    def _nearest(self, i: int) -> Said | None:
        """The tool that costs least on average, for a price that is left open."""
        mean = np.where(self.barred[i], -np.inf, self.floor.gain[i].mean(axis=0))[1:]
        mean = np.where(np.isnan(mean), -np.inf, mean)
        if not np.isfinite(mean).any():
            return None
        at = int(np.argmax(mean))
        money = Money(abs(float(mean[at])), unit=case.UNIT)
        way = "gain" if mean[at] > 0 else "cost"
        return say(f"price-floor.nearest.{way}", tool=labelled(f"floor-{case.OPTIONS[at + 1].key}"), x=money)

    def reasons(self, odd: np.ndarray) -> tuple[RowSaid, ...]:
        """Where the futures could end, what the premium stands for, the subsidy, the contracts."""
        f = self.floor
        of = ToolsTold(self.table, f.tools, self.barred[:, 1:], f.by_put, f.by_insurance)
        told = (self._open, self._worst, self._forward, self._futures, self._put, self._insurance, of.spread,
                of.subsidy, of.premium, of.contracts)  # fmt: skip
        quiet = self.silent | odd

        def where(said: Callable[[int], Said | None]) -> Callable[[int], Said | None]:
            return lambda i: None if quiet[i] else said(i)

        return tuple(map(where, told))

    def _cash(self, i: int) -> np.ndarray:
        """(end,) cash prices where the futures end 20 % lower, as they stand, 20 % higher."""
        base = float(self.table.number("futures")[i])
        base = float(self.floor.expected[i]) if np.isnan(base) else base
        return float(self.floor.expected[i]) + base * (np.array(ENDS) - 1.0)

    def _net(self, key: str, net: np.ndarray) -> Said:
        low, mid, high = (Paid(float(x), unit=CWT) for x in net)
        return say("price-floor.because.net", tool=labelled(f"floor-{key}"), low=low, mid=mid, high=high)

    def _open(self, i: int) -> Said:
        low, mid, high = (Paid(float(x), unit=CWT) for x in self._cash(i))
        return say("price-floor.because.open", low=low, mid=mid, high=high)

    def _worst(self, i: int) -> Said:
        f = self.floor
        worst = float(quantile(f.cash[i], 0.1))
        money = Money(float((f.expected[i] - worst) * f.weight[i].mean() / 100), unit=case.UNIT)
        return say("price-floor.because.worst", worst=Paid(worst, unit=CWT), money=money)

    def _forward(self, i: int) -> Said | None:
        if self.barred[i, case.FORWARD]:
            return None
        number = self.table.number
        price, at = float(number("forward_price")[i]), float(number("forward_weight")[i])
        at = float(number("weight")[i]) if np.isnan(at) else at
        rate = float(np.nan_to_num(number("forward_slide")[i]))
        light, heavy = (float(slide.slide_price(price, at, at + over, rate)) for over in (-30.0, 30.0))
        return say(
            "price-floor.because.forward",
            price=Paid(price, unit=CWT),
            light=Paid(light, unit=CWT),
            heavy=Paid(heavy, unit=CWT),
            over=Measured(30.0, unit="lb"),
        )

    def _ends(self, i: int) -> np.ndarray:
        return float(self.table.number("futures")[i]) * np.array(ENDS)

    def _futures(self, i: int) -> Said | None:
        if self.barred[i, case.FUTURES]:
            return None
        f, sold = self.floor, float(self.table.number("futures")[i])
        net = protection.hedged(self._cash(i), sold, self._ends(i), f.tools.fee[i], f.tools.share[i])
        return self._net("futures", net)

    def _put(self, i: int) -> Said | None:
        if self.barred[i, case.PUT]:
            return None
        f, strike = self.floor, float(self.table.number("put_strike")[i])
        return self._net(
            "put", protection.floored(self._cash(i), strike, self._ends(i), f.tools.put_paid[i], f.tools.share[i])
        )

    def _insurance(self, i: int) -> Said | None:
        if self.barred[i, case.INSURANCE]:
            return None
        number = self.table.number
        insured, level = float(number("insured_price")[i]), float(number("insured_level")[i])
        ending = insured / level * np.array(ENDS)
        return self._net("insurance", self._cash(i) + protection.indemnity(insured, ending) - self.floor.tools.paid[i])

    def cautions(self) -> tuple[RowSaid, ...]:
        """What each tool leaves open, and whom to ask."""
        return (*tool_cautions(self.context), say("cull-cows.care.guess"))
