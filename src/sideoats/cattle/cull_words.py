"""What a call about cull cows says: the values of its headlines, its reasons and cautions, its pictures."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from sideoats.cattle import answering, budget, growth
from sideoats.cattle import cull_case as case
from sideoats.cattle.usual_season import move_said
from sideoats.decide.laws import quantile
from sideoats.families.own_and_sell import turning_points, turning_said
from sideoats.problem import RowSaid
from sideoats.question import Context, Table
from sideoats.words import Between, Count, Day, Measured, Money, Name, Paid, Said, Share, Term, say

if TYPE_CHECKING:
    from sideoats.pictures import Picture


@dataclass(frozen=True)
class Told:
    """A batch of cull cows as its sentences need it; `silent` (place,) rows about whose money nothing is said."""

    table: Table
    context: Context
    plan: case.Plan
    gain: np.ndarray
    barred: np.ndarray
    needed: np.ndarray
    at: np.ndarray
    silent: np.ndarray

    def best_fed(self, i: int) -> int:
        """The way of feeding that brings most on average, 0 where none is open."""
        mean = np.where(self.barred[i], -np.inf, self.gain[i].mean(axis=0))[1:]
        mean = np.where(np.isnan(mean), -np.inf, mean)
        return 1 + int(np.argmax(mean)) if np.isfinite(mean).any() else 0

    def _turn(self, i: int) -> Said | None:
        """The gain over which feeding them pays, where there is one."""
        at = np.full(len(self.at), self.best_fed(i))
        turn = float(turning_points(case.net, self.plan.at(at), ("gain",))["gain"][i])
        return say("cull-cows.turn", x=Measured(turn, unit="lb/day")) if np.isfinite(turn) else None

    def values(self) -> dict[str, Any]:
        """Values of the headlines, each a function of the row."""
        facts = self.context.facts
        return {
            "score": Measured(np.nan_to_num(self.table.number("bcs"))),
            "line": Measured(facts.value("cattle/cow.fat_score")),
            "low": Measured(self.plan.gain_low, unit="lb/day"),
            "high": Measured(self.plan.gain_high, unit="lb/day"),
            "turn": self._turn,
            "fed": lambda i: self._fed(i, self.best_fed(i)),
            "instead": self._instead,
            "range": self._range,
            "longer": self._longer,
            "more_fed": lambda i: Money(float(self.gain[i, :, self.best_fed(i)].mean()), unit=case.UNIT),
            "pays_fed": lambda i: Share(float((self.gain[i, :, self.best_fed(i)] > 0).mean())),
            "odd": lambda i: self.odd().asks(i) or self.steep().asks(i) or self.underfed().asks(i),
            "ask_day": lambda i: self._ask(i)[0],
            "ask_price": lambda i: self._ask(i)[1],
            "today": Paid(self.plan.common["start_price"], unit="USD/cwt"),
            "worth": lambda i: self._ask(i)[2],
            "move": lambda i: move_said(self.plan.span),
            "month": lambda i: Term(str(self.context.on.month), of="month"),
        }

    def odd(self) -> answering.OutOfLine:
        """A later price that cannot stand beside today's."""
        later = ("later_price", self.table.number("later_price"))
        return answering.out_of_line("USD/cwt", ("price", self.table.number("price")), later)

    def steep(self) -> answering.OutOfLine:
        """A later price that no winter has made of today's."""
        price, later = (self.table.number(name) for name in ("price", "later_price"))
        more = ("later_price", later)
        return answering.out_of_line("USD/cwt", ("price", price), more, times=case.MOST_RISE, above_only=True)

    def underfed(self) -> answering.OutOfLine:
        """A day's feed for less than a cow eats."""
        return answering.underfed(self.table.number("weight"), self.table.number("cost_per_day"))

    def _fed(self, i: int, at: int) -> Said | None:
        """A way of feeding inside a sentence, with its last day; None where none is open."""
        days = float(self.plan.days[i, at])
        if at == 0 or not np.isfinite(days):
            return None
        return say("cull-cows.fed", n=Count(int(days)), day=case.until(self.context, days))

    def _instead(self, i: int) -> Said | None:
        """What feeding would bring, for cows that are sold."""
        at = self.best_fed(i)
        if at == 0:
            return say("cull-cows.not_open")
        more = float(self.gain[i, :, at].mean())
        return say("cull-cows.instead", fed=self._fed(i, at), more=answering.brings(more))

    def _range(self, i: int) -> Said | None:
        """Money of one future in ten either way, for the way of feeding that is best."""
        at = self.best_fed(i)
        if at == 0:
            return None
        low, high = quantile(self.gain[i, :, at], [0.1, 0.9])
        return say("cull-cows.range", low=Money(float(low)), high=Money(float(high)))

    def _longer(self, i: int) -> Said | None:
        """Said beside a figure that rests on more days of steady gain than the trial on file fed its cows."""
        facts, days = self.context.facts, float(self.plan.days[i, self.best_fed(i)])
        trials, kept = facts["cattle/cow.feeding_trials"], facts.value("cattle/cow.gain_kept")
        if not days > trials.high:
            return None
        return say("cull-cows.longer", low=Measured(trials.low), high=Measured(trials.high), kept=Share(kept))

    def _ask(self, i: int) -> tuple[Day | None, Paid, Money]:
        """The day, the price that feeding needs by then, and what it is worth at today's."""
        at = 1 + int(np.argmin(self.needed[i, 1:]))
        if not np.isfinite(self.needed[i, at]):
            return None, Paid(np.nan), Money(np.nan)
        price = float(self.plan.common["start_price"][i])
        worth = Money(float(self.gain[i, :, at].mean()), unit=case.UNIT)
        return case.until(self.context, self.plan.days[i, at]), Paid(self.needed[i, at] * price, unit="USD/cwt"), worth

    def reasons(self) -> tuple[RowSaid, ...]:
        """In the order in which they are read."""
        given = self.plan.at(self.at)
        turns = turning_said(turning_points(case.net, given, tuple(case.TURNS)), given, case.TURNS, case.net(**given))
        told = (self._sum(given), turns, self._gain, self._class, self._price, self._cold(given), self._trials(given))
        return (self._unfit, *map(self._money, told), self._money(lambda i: say("cull-cows.because.pays")))

    def _money(self, said: Callable[[int], Said | None]) -> Callable[[int], Said | None]:
        fit = self.table.flag("fit_to_travel", True)
        return lambda i: None if self.silent[i] or not fit[i] else said(i)

    def _unfit(self, i: int) -> Said | None:
        fit = self.table.flag("fit_to_travel", True)[i]
        return None if fit or self.silent[i] else say("cull-cows.because.unfit")

    def _sum(self, given: dict[str, Any]) -> Callable[[int], Said | None]:
        held = case.hold(**given)
        ends = (given["start_weight"], given["start_price"], held.gained + given["start_weight"], given["end_price"])
        by_price, by_gain = budget.split_of_change(*ends)
        return lambda i: say(
            "cull-cows.because.sum",
            days=Measured(float(given["days"][i]), unit="day"),
            gain=Measured(float(given["gain"][i]), unit="lb/day"),
            later=Paid(float(given["end_price"][i]), unit="USD/cwt"),
            net=Paid(float(held.net[i])),
            even=Paid(float(held.break_even_sale[i]), unit="USD/cwt"),
            by_price=Paid(float(by_price[i])),
            by_gain=Paid(float(by_gain[i])),
        )

    def _gain(self, i: int) -> Said | None:
        if self.table.rows("gain")[i]:
            return None
        ends = float(self.plan.gain_low[i]), float(self.plan.gain_high[i])
        return say("cull-cows.because.gain", ends=Between(ends, unit="lb/day"))

    def _class(self, i: int) -> Said | None:
        now, later = int(self.plan.class_now[i]), int(self.plan.class_later[i, self.at[i]])
        if now < 0 or later < 0:
            return None
        feeding = self.context.facts["cattle/cow.feeding_days"]
        names = self.plan.class_names
        return say(
            "cull-cows.because.class",
            by=Name(self.plan.class_source.capitalize()),
            now=Term(names[now], of="cow_class"),
            later=Term(names[later], of="cow_class"),
            low=Measured(feeding.low),
            high=Measured(feeding.high),
        )

    def _price(self, i: int) -> Said | None:
        """Where the later price comes from, where nobody gave one."""
        if self.table.known("later_price")[i]:
            return None
        season = self.plan.season
        if season is not None:
            return say(
                "cull-cows.because.season",
                first=Name(str(season.years[0])),
                last=Name(str(season.years[1])),
                ratio=Measured(season.ratio),
                low=Measured(season.low),
                high=Measured(season.high),
                higher=Share(season.share_above(1.0)),
            )
        least, most = self.plan.span
        month = Term(str(self.context.on.month), of="month")
        moves = say("cull-cows.because.seasons", move=move_said(self.plan.span), month=month) if least < most else None
        return say("cull-cows.because.carried", moves=moves)

    def _cold(self, given: dict[str, Any]) -> Callable[[int], Said | None]:
        cold = answering.cold_share(self.context, self.table, given["days"]).mean(axis=1)
        cold = np.broadcast_to(cold, (len(self.table),))
        return lambda i: (
            say("cull-cows.because.cold", more=Measured(100 * float(cold[i]), unit="percent"))
            if (cold[i] > 0)
            else None
        )

    def _trials(self, given: dict[str, Any]) -> Callable[[int], Said | None]:
        trials = self.context.facts["cattle/cow.feeding_trials"]

        def said(i: int) -> Said | None:
            if not given["days"][i] > trials.high:
                return None
            full = Measured(float(given["gain_days"][i]), unit="day")
            days = Measured(float(given["days"][i]), unit="day")
            low, high = Measured(trials.low), Measured(trials.high)
            return say("cull-cows.because.trials", low=low, high=high, days=days, full=full)

        return said

    def cautions(self) -> tuple[RowSaid, ...]:
        """What can hurt an animal or its eater first."""
        for cited in ("cow.fit_to_travel", "care.records", "cow.feeding_pays"):
            _ = self.context.facts[f"cattle/{cited}"]  # the sentences rest on these
        return tuple(say(f"cull-cows.care.{of}") for of in ("travel", "records", "guess"))

    def drawn(self, ruling: Any, i: int) -> Sequence[Picture]:
        """What feeding pays by day of sale, and its net by later price and cost of gain."""
        from sideoats.cattle.pictures import break_even_about, payoff_fan

        _ = ruling
        days, gain = self.plan.days[i], self.gain[i]
        open_ = np.flatnonzero(~self.barred[i] & np.isfinite(gain).all(axis=0))
        _, first = np.unique(days[open_], return_index=True)
        at = open_[first]
        out = []
        if len(at) > 2:
            out.append(payoff_fan(days[at], gain[:, at], what=say("picture.fan.culls"), unit=case.UNIT))
        given = self.plan.at(self.at)
        even = break_even_about(
            i,
            what=say("picture.grid.culls", n=Count(round(float(given["days"][i])))),
            running_interest_share=0.0,
            running_cost=given.pop("running_cost_per_day") * given["days"],
            end_weight=growth.weight_after(given["start_weight"], given.pop("gain"), given.pop("gain_days")),
            **given,
        )
        return [*out, *([even] if even and len(at) and at[-1] > 0 else [])]
