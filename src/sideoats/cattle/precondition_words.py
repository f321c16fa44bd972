"""What a call about preparing calves says: the values of its headlines, its reasons and cautions, its picture."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING, Any

import numpy as np

from sideoats.cattle import answering
from sideoats.cattle import precondition_case as case
from sideoats.cattle.usual_season import move_said
from sideoats.decide.laws import quantile
from sideoats.facts import Fact
from sideoats.families.own_and_sell import turning_points, turning_said
from sideoats.problem import RowSaid
from sideoats.question import Context, Table
from sideoats.words import Between, Count, Day, LongDay, Measured, Money, Name, Paid, Parts, Said, Share, Term, say

if TYPE_CHECKING:
    from sideoats.pictures import Picture


@dataclass(frozen=True)
class Told:
    """A batch of programs as its sentences need it; `silent` (place,) rows about whose money nothing is said."""

    table: Table
    context: Context
    program: case.Program
    gain: np.ndarray
    span: tuple[float, float]
    silent: np.ndarray

    def values(self) -> dict[str, Any]:
        """Values of the headlines, each a function of the row."""
        return {
            "more": lambda i: answering.brings(float(np.nan_to_num(self.gain[i, :, 1].mean()))),
            "range": self._range,
            "when": self._when,
            "missed": self._missed,
            "gone": LongDay(self.table.date("sale")),
            "over_coin": Money(self.gain[:, :, 1].mean(axis=1), unit=case.UNIT),
            "odd": lambda i: self.odd().asks(i) or self.steep().asks(i) or self.underfed().asks(i),
            "ask_day": lambda i: self._after(i),
            "worth": Money(case.net(**self.program.given), unit=case.UNIT),
            "least": Money(self.program.at_season(self.span[0])),
            "most": Money(self.program.at_season(self.span[1])),
            "move": lambda i: move_said(self.span),
            "month": lambda i: Term(str(self.context.on.month), of="month"),
        }

    def odd(self) -> answering.OutOfLine:
        """Later prices and quotes too far from today's: a decimal point out of place."""
        figures = (("later_price", "later_price"), ("quote_500", "quote_500"), ("quote_750", "quote_750"))
        others = ((words, self.table.number(name)) for words, name in figures)
        return answering.out_of_line("USD/cwt", ("price", self.program.given["start_price"]), *others)

    def steep(self) -> answering.OutOfLine:
        """Premiums too large a part of the price."""
        return answering.out_of_line(
            "USD/cwt",
            ("price", self.program.given["start_price"]),
            ("premium", self.program.premium_high),
            times=case.MOST_PREMIUM,
            above_only=True,
        )

    def underfed(self) -> answering.OutOfLine:
        """A day's feed for less than a calf eats."""
        return answering.underfed(self.table.number("weight"), self.table.number("feed_per_day"))

    def _after(self, i: int) -> Day:
        return Day(self.context.on + timedelta(days=int(np.nan_to_num(self.program.given["days"][i]))))

    def _range(self, i: int) -> Said | None:
        worth = self.gain[i, :, 1]
        if np.isnan(worth).any():
            return None
        low, high = quantile(worth, [0.1, 0.9])
        pays = Share(float((worth > 0).mean()))
        return say("precondition.range", low=Money(float(low)), high=Money(float(high)), pays=pays)

    def _late(self, i: int) -> bool:
        """The program cannot be ended before the sale that is set."""
        return bool(self.program.to_start[i] < 0)

    def _missed(self, i: int) -> Said | None:
        return say("precondition.missed", sale=Day(self.table.date("sale")[i])) if self._late(i) else None

    def _when(self, i: int) -> Said:
        """For which sale the program is, and from when on."""
        start = self.program.to_start[i]
        if np.isnan(start):
            return say("precondition.any_sale")
        sale = Day(self.table.date("sale")[i])
        if self._late(i):
            return say("precondition.too_late", sale=sale)
        return say("precondition.wean_by", day=Day(self.context.on + timedelta(days=int(start))), sale=sale)

    def reasons(self) -> tuple[RowSaid, ...]:
        """The money first, then what the studies found."""
        turns = turning_said(
            turning_points(case.net, self.program.given, tuple(case.TURNS)),
            self.program.given,
            case.TURNS,
            case.net(**self.program.given),
        )
        premiums = self._premiums()  # read for every row, so that sources do not depend on the batch
        told = (self._sum, turns, self._chance, self._gain, self._by_weight, self._season)
        return (*map(self._money, told), *self._studies(), self._money(lambda i: premiums))

    def _money(self, said: Callable[[int], Said | None]) -> Callable[[int], Said | None]:
        return lambda i: None if self.silent[i] else said(i)

    def _sum(self, i: int) -> Said:
        held = case.hold(**self.program.given)
        cost = float((held.running_cost + held.other_cost)[i])
        return say(
            "precondition.because.sum",
            now=Paid(float(held.start_value[i])),
            later=Paid(float(held.income[i])),
            days=Measured(float(self.program.given["days"][i]), unit="day"),
            cost=Paid(cost),
            interest=Paid(float(held.interest[i])),
            net=Paid(float(held.net[i])),
        )

    def _chance(self, i: int) -> Said | None:
        chance = float(self.table.number("premium_chance")[i])
        return say("precondition.because.chance", chance=Share(chance)) if chance < 1 else None

    def _gain(self, i: int) -> Said | None:
        if self.table.rows("gain")[i]:
            return None
        ends = float(self.program.gain_low[i]), float(self.program.gain_high[i])
        return say("precondition.because.gain", ends=Between(ends, unit="lb/day"))

    def _by_weight(self, i: int) -> Said | None:
        return None if self.table.known("later_price")[i] else say("precondition.because.by_weight")

    def _season(self, i: int) -> Said | None:
        if self.table.known("later_price")[i] or not self.span[0] < self.span[1]:
            return None
        month = Term(str(self.context.on.month), of="month")
        return say("precondition.because.season", month=month, move=move_said(self.span))

    def _studies(self) -> tuple[Said, ...]:
        """Whether preparing calves keeps them well: one line a study, then the range that they leave open."""
        facts, lines = self.context.facts, []
        for name in ("mijar", "montana", "wheat_pasture"):
            fact = facts[f"cattle/health.{name}"]
            _, prepared, other, head = fact.rows[0]
            shown = {"by": facts.by(f"cattle/health.{name}"), "head": Count(int(head))}
            if np.isfinite(prepared):
                shown |= {
                    "prepared": Measured(100 * prepared, unit="percent"),
                    "other": Measured(100 * other, unit="percent"),
                }
            lines.append(say(f"precondition.because.{name}", **shown))
        _, avoided = facts["cattle/health.rounds_apart"], facts["cattle/health.avoided"]
        rounds = say("precondition.because.rounds", by=facts.by("cattle/health.rounds_apart"))
        apart = say("precondition.because.apart", low=Share(avoided.low), high=Share(avoided.high))
        return (*lines, rounds, apart)

    def _premiums(self) -> Said:
        """Published premiums with their year, for comparison only."""
        found = self.context.facts.under("cattle/premium.weaned_45")
        return say("precondition.because.premiums", each=Parts(tuple(_premium(k, f) for k, f in found.items())))

    def cautions(self) -> tuple[RowSaid, ...]:
        """The veterinarian first."""
        for cited in ("first_step", "care.veterinarian", "care.records"):
            _ = self.context.facts[f"cattle/{cited}"]  # the sentences rest on these
        ours = tuple(say(f"precondition.care.{of}") for of in ("first", "veterinarian"))
        return (*ours, say("cull-cows.care.records"), say("precondition.care.premium"))

    def drawn(self, ruling: Any, i: int) -> Sequence[Picture]:
        """Net of the program by later price, premium included, and cost of gain."""
        from sideoats.cattle.pictures import break_even_about

        _ = ruling
        given = self.program.given
        held = case.hold(**given)
        kept = ("start_weight", "start_price", "days", "other_cost", "interest_rate", "death_share", "start_shrink",
                "end_shrink")  # fmt: skip
        grid = break_even_about(
            i,
            what=say("picture.grid.program", n=Count(round(float(given["days"][i])))),
            cost=say("picture.grid.feed_and_labor"),
            price=say("picture.grid.with_premium"),
            running_cost=held.running_cost,
            running_interest_share=0.0,
            end_weight=held.gained + given["start_weight"],
            end_price=given["later_price"] + given["premium"],
            **{name: given[name] for name in kept},
        )
        return [grid] if grid else []


def _premium(name: str, fact: Fact) -> Said:
    """One publication's premium; its years stand in the fact's name (``y1995_2003``)."""
    low, high = fact.span
    years = Name(name.rpartition(".")[2].lstrip("y").replace("_", "–"))
    if low < high:
        return say("precondition.premium_range", low=Paid(low), high=Paid(high), years=years)
    return say("precondition.premium_one", x=Paid(low), years=years)
