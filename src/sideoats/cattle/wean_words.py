"""What a call about weaning for a sale says: the values of its headlines, its reasons and its cautions."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

import numpy as np

from sideoats.cattle import program
from sideoats.cattle import wean_case as case
from sideoats.cattle.wean_early import Early
from sideoats.decide.laws import quantile
from sideoats.families.own_and_sell import turning_points, turning_said
from sideoats.problem import RowSaid
from sideoats.question import Context, Table
from sideoats.words import Between, Count, Day, LongDay, Measured, Money, Name, Paid, Said, say


@dataclass(frozen=True)
class Told:
    """A batch of plans as its sentences need it."""

    table: Table
    context: Context
    plan: case.Plan
    early: Early
    given: dict[str, Any]
    gain: np.ndarray

    def values(self) -> dict[str, Any]:
        """Values of the headlines, each a function of the row."""
        plan, early = self.plan, self.early
        return {
            "sale": Day(plan.sale),
            "gone": LongDay(plan.sale),
            "asked": Count(plan.days_asked.astype(np.int64)),
            "other": Day(plan.other),
            "do": lambda i: self._step(i, "do"),
            "plan": self._plan,
            "then": self._then,
            "next": self._next,
            "from_when": self._from_when,
            "window": self._window_past,
            "money": self._pays,
            "wrong": self._wrong,
            "moved": self._moved,
            "plain": self._plain,
            "usual": Day(early.usual),
            "score": Measured(np.nan_to_num(self.table.number("cow_condition"))),
            "early": Money(np.nan_to_num(early.worth.mean(axis=1)), unit=case.UNIT),
            "low": Money(np.nan_to_num(quantile(early.worth, 0.1, axis=1)), unit=case.UNIT),
            "grass": self._grass,
            "keep": self._keep,
            "old_enough": self._old_enough,
        }

    def _step(self, i: int, way: str) -> Said | None:
        step = str(self.plan.step[i])
        return say(f"wean-date.{way}.{step}") if step else None

    def _sale(self, i: int) -> dict[str, Any]:
        return {"asked": Count(int(self.plan.days_asked[i])), "sale": Day(self.plan.sale[i])}

    def _plan(self, i: int) -> Said:
        """By when to wean for the sale, or how long they are weaned by then."""
        p = self.plan
        if np.isnat(p.weaned[i]):
            return say("wean-date.plan.wean", wean_by=Day(p.dates.wean_by[i]), **self._sale(i))
        days = Measured(float(program.days_between(p.weaned, p.sale)[i]), unit="day")
        return say("wean-date.plan.weaned", days=days, **self._sale(i))

    def _then(self, i: int) -> Said:
        """What this week's step is for."""
        if self.plan.step[i] == "wean":
            return say("wean-date.then.sale", **self._sale(i))
        return say("wean-date.then.plan", plan=self._plan(i))

    def _next(self, i: int) -> Said | None:
        """The next step with its day, where it is not the weaning itself."""
        days = int(self.plan.left[i])
        if days < 0 or self.plan.step[i] == "wean":
            return None
        return say("wean-date.next", step=self._step(i, "step"), day=Day(self.context.on + timedelta(days=days)))

    def _window_past(self, i: int) -> Said | None:
        late = self.plan.is_("first_past")[i] and self.plan.step[i] == "first"
        return say("wean-date.window_past") if late else None

    def _from_when(self, i: int) -> Said:
        weaned = self.plan.weaned[i]
        return say("wean-date.weaned_today") if np.isnat(weaned) else say("wean-date.weaned_on", day=Day(weaned))

    def _moved(self, i: int) -> Said | None:
        missed = self.plan.missed[i]
        return None if np.isnat(missed) else say("wean-date.moved", missed=Day(missed))

    def _pays(self, i: int) -> Said:
        """Whether the program pays, where its premium and weight are given."""
        worth, cost = float(case.net(**self.given)[i]), float(self.given["program_cost"][i])
        if not np.isfinite(worth):
            return say("wean-date.pays.unknown")
        if cost > 0:
            return say("wean-date.pays.net", worth=Money(worth, unit=case.UNIT), cost=Money(cost, unit=case.UNIT))
        return say("wean-date.pays.gross", worth=Money(worth, unit=case.UNIT))

    def _plain(self, i: int) -> Said:
        """Why the program is left alone."""
        given, worth = self.given, float(case.net(**self.given)[i])
        even = 100 * float(given["program_cost"][i]) / float(given["weight"][i])
        return say(
            f"wean-date.plain.{'loses' if worth < 0 else 'little'}",
            worth=Money(abs(worth), unit=case.UNIT),
            premium=Paid(float(given["premium"][i]), unit="USD/cwt"),
            even=Paid(even, unit="USD/cwt"),
        )

    def _wrong(self, i: int) -> Said | None:
        """What was done wrong or too late with knife or needle."""
        p = self.plan
        found = [name for name in case.TOLD_FIRST if case.told_first(p, name)[i]]
        if "order" in found and "close" in found:
            found.remove("close")
        apart = Count(int(np.nan_to_num(program.days_between(p.first_round, p.booster)[i])))
        shown: dict[str, dict[str, Any]] = {
            "uncut": {"day": Day(p.dates.castrate_by[i]), "less": self._bulls()},
            "close": {"n": apart, "least": Count(int(p.least_apart))},
        }
        told = [say(f"wean-date.wrong.{name}", **shown.get(name, {})) for name in found]
        whole = told[-1] if told else None
        for each in reversed(told[:-1]):
            whole = say("wean-date.wrong.both", first=each, second=whole)
        return whole

    def _bulls(self) -> Paid:
        """What bulls bring less; cited only by the call that says it."""
        less = self.context.facts.by_id["cattle/bull_discount"].value
        return Paid(less, unit="USD/cwt", fact="cattle/bull_discount")

    def _grass(self, i: int) -> Said:
        return say(f"wean-date.grass.{'short' if self.early.short[i] else 'enough'}")

    def _keep(self, i: int) -> Said:
        """Why calves stay on the cows where no sale is set."""
        worth = float(self.early.worth[i].mean())
        if not self.early.open[i]:
            return say("wean-date.keep.near")
        return say(f"wean-date.keep.{'loses' if worth < 0 else 'little'}", worth=Money(abs(worth), unit=case.UNIT))

    def _old_enough(self, i: int) -> Day | None:
        if not self.early.asked[i]:
            return None
        least = self.context.facts.value("cattle/early.young")
        age = float(np.nan_to_num(self.table.number("calf_age")[i]))
        return Day(self.context.on + timedelta(days=int(max(least - age, 0))))

    def reasons(self) -> tuple[RowSaid, ...]:
        """The plan with its windows, what is too late, the money, early weaning, the heat."""
        cited = ["program.asks", "rounds.closest"]  # read for every row, so that sources do not depend on the batch
        cited += ["early.feed_to_gain", "early.young", "early.youngest"] if self.early.asked.any() else []
        for name in cited:
            _ = self.context.facts[f"cattle/{name}"]
        self.context.facts.choose("cattle/first_round")
        turns = turning_said(
            turning_points(case.net, self.given, tuple(case.TURNS)), self.given, case.TURNS, case.net(**self.given)
        )
        wrong = tuple(self._counted(self._too_late(name)) for name in case.WRONG)
        plan = (self._rounds, self._first, self._second, self._castrate)
        money = (self._sum, lambda i: turns(i) if np.isfinite(case.net(**self.given)[i]) else None)
        return (
            self._past,
            *map(self._counted, plan),
            *wrong,
            *map(self._counted, (self._unlabeled, *money, self._asks)),
            self._early,
            self._ration,
            self._young,
            self._heat,
        )

    def _counted(self, said: Callable[[int], Said | None]) -> Callable[[int], Said | None]:
        """Not where no sale is known, or it is past and all the rest with it."""
        gone = self.plan.past | np.isnat(self.plan.sale)
        return lambda i: None if gone[i] else said(i)

    def _past(self, i: int) -> Said | None:
        return say("wean-date.because.past", asks=self._asks(i)) if self.plan.past[i] else None

    def _asks(self, i: int) -> Said:
        return say("wean-date.because.asks")

    def _rounds(self, i: int) -> Said:
        facts = self.context.facts
        key, first = facts.choose("cattle/first_round")
        by, least = Name(facts.whose("cattle/first_round", key)), Count(int(facts["cattle/rounds.closest"].value))
        return say("wean-date.because.rounds", ends=Between((first.low, first.high)), by=by, least=least)

    def _window(self, what: str, start: Any, end: Any, done: Any) -> Said:
        what_ = say(f"wean-date.step.{what}")
        if not np.isnat(done):
            return say("wean-date.because.done", what=what_, day=Day(done))
        if start > end:
            return say("wean-date.because.no_day", what=what_)
        past = end < np.datetime64(self.context.on, "D")
        return say(f"wean-date.because.window{'_past' if past else ''}", what=what_, first=Day(start), last=Day(end))

    def _first(self, i: int) -> Said:
        d = self.plan.dates
        return self._window("first", d.first_from[i], d.first_to[i], self.plan.first_round[i])

    def _second(self, i: int) -> Said:
        d = self.plan.dates
        return self._window("second", d.booster_from[i], d.booster_to[i], self.plan.booster[i])

    def _castrate(self, i: int) -> Said | None:
        by, done = self.plan.dates.castrate_by[i], self.table.date("castrated")[i]
        return self._window("castrate", by, by, done) if self.table.flag("bulls")[i] else None

    def _too_late(self, name: str) -> Callable[[int], Said | None]:
        return lambda i: say(f"wean-date.late.{name}") if self.plan.is_(name)[i] else None

    def _unlabeled(self, i: int) -> Said | None:
        return None if self.table.known("withdrawal_days")[i] else say("wean-date.because.unlabeled")

    def _sum(self, i: int) -> Said:
        return say(
            "wean-date.because.sum",
            worth=Paid(float(case.net(**self.given)[i])),
            premium=Paid(float(self.given["premium"][i]), unit="USD/cwt"),
            weight=Measured(float(self.given["weight"][i]), unit="lb"),
            cost=Paid(float(self.given["program_cost"][i])),
        )

    def _early(self, i: int) -> Said | None:
        e = self.early
        if not e.open[i]:
            return None
        cost = Money(float(abs(e.feed[i])))
        return say(
            f"wean-date.because.early{'_less' if e.feed[i] < 0 else ''}",
            n=Count(int(e.days[i])),
            usual=Day(e.usual[i]),
            forage=Money(float(e.forage[i])),
            condition=Money(float(e.condition[i])),
            cost=cost,
            grass=self._grass(i),
        )

    def _ration(self, i: int) -> Said | None:
        if not self.early.asked[i]:
            return None
        return say("wean-date.because.ration", each=Measured(self.context.facts.value("cattle/early.feed_to_gain")))

    def _young(self, i: int) -> Said | None:
        facts = self.context.facts
        if not self.early.asked[i] or self.table.number("calf_age")[i] >= facts.value("cattle/early.young"):
            return None
        youngest, young = (Count(int(facts.value(f"cattle/early.{name}"))) for name in ("youngest", "young"))
        return say("wean-date.because.young", youngest=youngest, young=young)

    def _heat(self, i: int) -> Said | None:
        """What past years say of the heat in the next working window, where a station is on file."""
        if not self.context.outlook.has_weather:
            return None
        p, on = self.plan, np.datetime64(self.context.on, "D")
        d, outlook = p.dates, self.context.outlook
        windows = (
            (p.first_round, d.first_from, d.first_to, "first"),
            (p.booster, d.booster_from, d.booster_to, "second"),
        )
        tmax = outlook.daily("tmax")[outlook.station_rows([self.table.text("station")[i]])[0]]
        for done, start, end, name in windows:
            first, last = (program.days_between(on, day[i]) for day in (start, end))
            if np.isnat(done[i]) and 0 <= last >= first and first < tmax.shape[1]:
                highs = tmax[:, max(0, int(first)) : int(last) + 1] * 9 / 5 + 32
                mean, hot = Measured(float(highs.mean()), unit="degF"), float(quantile(highs, 0.9))
                return say(
                    "wean-date.because.heat",
                    what=say(f"wean-date.step.{name}"),
                    mean=mean,
                    hot=Measured(hot, unit="degF"),
                )
        return None

    def cautions(self) -> tuple[RowSaid, ...]:
        """The veterinarian first."""
        for cited in ("veterinarian", "heat", "records", "feed_drugs"):
            _ = self.context.facts[f"cattle/care.{cited}"]  # the sentences rest on these
        ours = (say("precondition.care.veterinarian"), say("wean-date.care.heat"), say("cull-cows.care.records"))
        return (*ours, say("wean-date.care.feed_drugs"), say("precondition.care.premium"))
