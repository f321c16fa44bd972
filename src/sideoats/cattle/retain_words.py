"""What a call about keeping calves says: the values of its headlines, its reasons and cautions, its pictures."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING, Any

import numpy as np

from sideoats.cattle import answering
from sideoats.cattle import retain_case as case
from sideoats.cattle.retain_ruling import TURNS
from sideoats.cattle.tool_words import ToolsTold, tool_cautions
from sideoats.decide.laws import quantile
from sideoats.families.own_and_sell import turning_points, turning_said
from sideoats.problem import Barred, RowSaid
from sideoats.question import Context, Table
from sideoats.words import Count, Day, Measured, Money, Paid, Parts, Said, Share, Term, Terms, say

if TYPE_CHECKING:
    from sideoats.pictures import Picture

KEYS = tuple(option.key for option in case.WAYS)
LATER_PRICES = (
    "later_price", "spring_price", "lot_price", "futures", "forward_price", "put_strike", "insured_price", "quote_500",
    "quote_750",
)  # fmt: skip


@dataclass(frozen=True)
class Told:
    """A batch of calves as its sentences need it; `silent` (place,) rows about whose money nothing is said,
    `tool_barred` (place, tool) what is not open to them."""

    table: Table
    context: Context
    plan: case.Plan
    gain: np.ndarray
    barred: np.ndarray
    economic: tuple[Barred, ...]
    at: np.ndarray
    pasture: np.ndarray
    judged: Callable[[int], Said]
    silent: np.ndarray
    kept: case.Kept
    tool_barred: np.ndarray
    chosen: np.ndarray

    def values(self) -> dict[str, Any]:
        """Values of the headlines, each a function of the row."""
        enough = self.context.facts.value("decide/even_odds")  # read by every batch: sources must not vary
        return {
            "n": Count(self._carried_head().astype(np.int64)),
            "rest": Count(np.nan_to_num(self.table.number("head") - self._carried_head()).astype(np.int64)),
            "each": Paid(np.nan_to_num(self.gain[:, :, case.WHEAT].mean(axis=1))),
            "when": self._when,
            "doing": lambda i: Term(KEYS[self.at[i]], of="doing"),
            "more": lambda i: answering.brings(float(np.nan_to_num(self.gain[i, :, self.at[i]].mean()))),
            "others": self._others,
            "last": lambda i: self._last(i, int(self.at[i])),
            "range": self._range,
            "toss": lambda i: self._toss(i, enough),
            "hollow": lambda i: self._last(i, case.WHEAT),
            "till": lambda i: self._last(i, case.GRAZE_OUT),
            "kept_way": lambda i: Term(KEYS[self.kept.way[i]], of="way"),
            "kept_last": lambda i: self._last(i, int(self.kept.way[i])),
            "spread": Share(self.kept.strange),
            "odd": lambda i: self.odd().asks(i) or self.underfed().asks(i),
            "ways": self.lacking,
        }

    def odd(self) -> answering.OutOfLine:
        """Later prices that cannot stand beside today's."""
        others = ((name, self.table.number(name)) for name in LATER_PRICES)
        return answering.out_of_line("USD/cwt", ("price", self.plan.price[:, 0]), *others)

    def underfed(self) -> answering.OutOfLine:
        """A day in the lot for less than a calf eats."""
        return answering.underfed(self.table.number("weight"), self.table.number("lot_per_day"), answering.LEAST_LOT)

    def split(self) -> np.ndarray:
        """(place,) more head than the wheat carries, which pays for those it does, and no other way of keeping pays."""
        too_many, *rest = self.economic
        closed = np.logical_or.reduce([np.broadcast_to(bar.mask, self.barred.shape) for bar in rest])[:, case.WHEAT]
        mean = self.gain.mean(axis=1)
        best = mean[np.arange(len(self.at)), self.at]
        others = self.barred[np.arange(len(self.at)), self.at] | ~(best > 0)
        return np.asarray(
            too_many.mask[:, case.WHEAT]
            & ~closed
            & (mean[:, case.WHEAT] > case.WORTH_SPLITTING)
            & others
            & (self._carried_head() >= 1)
            & ~self.silent
        )

    def _carried_head(self) -> np.ndarray:
        """(place,) whole head that the wheat carries to March, at the heavy end."""
        return np.floor(np.nan_to_num(case.stocking(self.table, self.context)[1]))

    def _when(self, i: int) -> Said:
        ahead = self.table.days_until("sale", self.context.on)[i] > 0
        return (
            say("retain-calves.sell_on", sale=Day(self.table.date("sale")[i])) if ahead else say("retain-calves.sell")
        )

    def _last(self, i: int, at: int) -> Day | None:
        days = float(self.plan.days[i, at])
        return Day(self.context.on + timedelta(days=int(days))) if days > 0 else None

    def _range(self, i: int) -> Said | None:
        worth = self.gain[i, :, self.at[i]]
        if np.isnan(worth).any():
            return None
        low, high = quantile(worth, [0.1, 0.9])
        return say("retain-calves.range", low=Money(float(low)), high=Money(float(high)))

    def _others(self, i: int) -> Said | None:
        """What the best other way would bring for the head that find no wheat."""
        at = int(self.at[i])
        if at == case.WHEAT or not np.isfinite(self.gain[i, :, at]).all():
            return None
        more = answering.brings(float(self.gain[i, :, at].mean()))
        return say("retain-calves.split.others", doing=Term(KEYS[at], of="doing"), more=more)

    def _toss(self, i: int, enough: float) -> Said | None:
        """Said of a gain that comes little more often than not."""
        return say("retain-calves.even") if (self.gain[i, :, self.at[i]] > 0).mean() < enough else None

    def lacking(self, i: int) -> Said | None:
        """Why no way of keeping them is open, the ways together that lack the same; None where one is."""
        if not self.barred[i, 1:].all():
            return None
        ways: dict[str, tuple[tuple[Said, ...], list[str]]] = {}
        for at in range(1, len(KEYS)):
            in_season = at == case.LOT or not self.plan.no_wheat[i, at - 1]
            why = tuple(
                said
                for bar in self.economic
                if bar.mask[i, at] and (said := bar.why(i) if callable(bar.why) else bar.why.at(i)) is not None
            )
            ways.setdefault(repr([s.plain() for s in why]), (why, []))[1].extend([KEYS[at]] if in_season else [])
        each = (
            say("retain-calves.way", who=Terms(tuple(who), of="way"), why=Parts(why))
            if who
            else say("retain-calves.no_way", why=Parts(why))
            for why, who in ways.values()
            if why
        )
        return say("retain-calves.lacking", each=Parts(tuple(each)))

    def reasons(self) -> tuple[RowSaid, ...]:
        """The sum, what would turn it, then what it rests on."""
        given = self.plan.at(self.at)
        turns = turning_said(turning_points(case.net, given, tuple(TURNS)), given, TURNS, case.net(**given))
        kept = self.kept
        of = ToolsTold(self.table, kept.tools, self.tool_barred, kept.by_put, kept.by_insurance)
        told = (
            self._tools, of.spread, of.subsidy, of.premium, of.contracts,
            self._sum(given), self._even(given), turns, self._pasture, self._carried, self._price, self._fails,
            self._turnout, self._grain, self._cold(), self._march,
        )  # fmt: skip
        return (*map(self._money, told), self._shut_pasture, self._shut_turnout)

    def _shut(self, i: int) -> bool:
        return bool(self.barred[i, 1:].all() or not np.isfinite(self.gain[i, :, self.at[i]]).all())

    def _money(self, said: Callable[[int], Said | None]) -> Callable[[int], Said | None]:
        return lambda i: None if self.silent[i] or self._shut(i) else said(i)

    def _shut_pasture(self, i: int) -> Said | None:
        """What is known of the pasture where no money can be told."""
        known = self.silent[i] or not self._shut(i) or self.plan.no_wheat[i].all()
        return None if known else self.judged(i)

    def _shut_turnout(self, i: int) -> Said | None:
        return None if self.silent[i] or not self._shut(i) else self._turnout(i)

    def _tools(self, i: int) -> Said | None:
        """What each open tool costs or brings on average, and what it takes off the bad years."""
        open_ = np.flatnonzero(~self.tool_barred[i])
        if not open_.size:
            return None
        plain = self.gain[i, :, self.kept.way[i]]
        each = []
        for at in open_:
            net = self.kept.gain[i, :, at]
            worst, mean = Paid(float(quantile(net, 0.1)), unit=case.UNIT), Paid(float(net.mean()), unit=case.UNIT)
            label = case.OPTIONS[len(KEYS) + 1 + at].label
            each.append(say("retain-calves.because.tool", tool=label, mean=mean, worst=worst))
        return say(
            "retain-calves.because.tools",
            way=Term(KEYS[self.kept.way[i]], of="way"),
            mean=Paid(float(plain.mean()), unit=case.UNIT),
            worst=Paid(float(quantile(plain, 0.1)), unit=case.UNIT),
            each=Parts(tuple(each)),
        )

    def _sum(self, given: dict[str, Any]) -> Callable[[int], Said | None]:
        held = case.hold(**given)
        return lambda i: say(
            "retain-calves.because.sum",
            way=Term(KEYS[self.at[i]], of="way"),
            last=self._last(i, int(self.at[i])),
            now=Paid(float(held.start_value[i])),
            then=Paid(float(held.income[i])),
            cost=Paid(float((held.running_cost + held.other_cost)[i])),
            interest=Paid(float(held.interest[i])),
            net=Paid(float(held.net[i])),
        )

    def _even(self, given: dict[str, Any]) -> Callable[[int], Said | None]:
        held = case.hold(**given)
        return lambda i: say(
            "retain-calves.because.even",
            sold=Paid(float(held.break_even_sale[i]), unit="USD/cwt"),
            today=Paid(float(held.break_even_start[i]), unit="USD/cwt"),
        )

    def _pasture(self, i: int) -> Said | None:
        if self.plan.no_wheat[i].all():
            return None
        return say("retain-calves.because.pasture", judged=self.judged(i), chance=Share(float(self.pasture[i].mean())))

    def _carried(self, i: int) -> Said | None:
        light, heavy, _ = case.stocking(self.table, self.context)
        if not np.isfinite(heavy[i]):
            return None
        return say(
            "retain-calves.because.carried", low=Count(round(float(light[i]))), high=Count(round(float(heavy[i])))
        )

    def _price(self, i: int) -> Said | None:
        if not (self.table.known("later_price")[i] or self.table.known("futures")[i]):
            return say("precondition.because.by_weight")
        if self.table.known("spring_price")[i] or self.plan.no_wheat[i, 1]:
            return None
        spring = Paid(float(self.plan.price[i, case.GRAZE_OUT]), unit="USD/cwt")
        return say("retain-calves.because.spring", price=spring)

    def _fails(self, i: int) -> Said | None:
        """What is reckoned with where pasture fails."""
        if self.pasture[i].all() or self.plan.no_wheat[i].all():
            return None
        lot = float(self.plan.lot_per_day[i])
        if np.isfinite(lot):
            return say("retain-calves.because.fails_lot", cost=Paid(lot, unit="USD/day"))
        return say("retain-calves.because.fails_early", cost=Paid(float(self.plan.feed_cost[i]), unit="USD/day"))

    def _turnout(self, i: int) -> Said | None:
        """What is taken for turnout where none was given."""
        if self.table.known("turnout")[i] or self.plan.no_wheat[i].all():
            return None
        first = self.plan.turnout[i].min().item()
        if first <= self.context.on:
            return say("retain-calves.because.turnout_today")
        cost = Paid(float(self.plan.feed_cost[i]), unit="USD/day")
        return say("retain-calves.because.turnout", day=Day(first), cost=cost)

    def _grain(self, i: int) -> Said | None:
        return say("retain-calves.because.grain") if self.table.number("grain_given_up")[i] > 0 else None

    def _cold(self) -> Callable[[int], Said | None]:
        cold = answering.cold_share(self.context, self.table, self.plan.days[:, case.LOT]).mean(axis=1)
        cold = np.where(np.isnan(self.plan.lot_per_day), 0.0, cold)
        return lambda i: (
            say("retain-calves.because.cold", more=Measured(100 * float(cold[i]), unit="percent"))
            if (cold[i] > 0)
            else None
        )

    def _march(self, i: int) -> Said | None:
        """Keeping them on wheat keeps the choice of March open."""
        if self.barred[i, case.WHEAT : case.GRAZE_OUT + 1].any() or not np.isfinite(self.chosen[i]).all():
            return None
        ways = self.gain[i, :, case.WHEAT : case.GRAZE_OUT + 1].mean(axis=0)
        grazed = float((self.chosen[i] == self.gain[i, :, case.GRAZE_OUT]).mean())
        worth = max(float(self.chosen[i].mean() - ways.max()), 0.0)
        return say("retain-calves.because.march", worth=Paid(worth, unit=case.UNIT), grazed=Share(grazed))

    def cautions(self) -> tuple[RowSaid, ...]:
        """The veterinarian first."""
        for cited in ("care.veterinarian", "care.records"):
            _ = self.context.facts[f"cattle/{cited}"]  # the sentences rest on these
        return (
            say("precondition.care.veterinarian"),
            say("cull-cows.care.records"),
            say("retain-calves.care.bloat"),
            say("retain-calves.care.prices"),
            *(tool_cautions(self.context) if not self.tool_barred.all() else ()),
        )

    def drawn(self, ruling: Any, i: int) -> Sequence[Picture]:
        """What each open way pays with its range, and the best way of keeping them by later price and cost of gain."""
        from sideoats.cattle.pictures import break_even_about, ways_of_keeping

        names = [self._way(i, at) for at in range(len(KEYS))]
        gain = self.gain[i]
        open_ = [at for at in range(1, len(KEYS)) if not self.barred[i, at] and np.isfinite(gain[:, at]).all()]
        if not open_:
            return []
        ways = ways_of_keeping([names[at] for at in open_], gain[:, open_], unit=case.UNIT)
        _ = ruling
        held, rows = case.hold(**self.plan.at(self.at)), np.arange(len(self.at))
        grid = break_even_about(
            i,
            what=names[self.at[i]],
            running_cost=held.running_cost,
            end_price=self.plan.price[rows, self.at],
            days=self.plan.days[rows, self.at],
            end_weight=held.gained + self.plan.common["start_weight"],
            **self.plan.common | {"other_cost": held.other_cost},
        )
        return [ways, *([grid] if grid else [])]

    def _way(self, i: int, at: int) -> Said:
        """A way of keeping them as the subject of a sentence, with its last day."""
        last = self._last(i, at)
        code = f"picture.ways.{('now', 'pasture', 'graze_out', 'lot')[at]}"
        return say(code) if last is None else say(f"{code}.to", last=last)
