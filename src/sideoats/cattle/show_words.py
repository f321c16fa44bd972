"""What a call about a show animal says: the values of its headlines, its reasons and cautions, its picture."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING, Any

import numpy as np

from sideoats.cattle import growth
from sideoats.cattle import show_case as case
from sideoats.decide.laws import quantile
from sideoats.families.own_and_sell import turning_points, turning_said
from sideoats.problem import RowSaid
from sideoats.question import Context, Table
from sideoats.words import Between, Day, LongDay, Measured, Money, Paid, Said, Share, Term, Value, say

if TYPE_CHECKING:
    from sideoats.pictures import Picture


def _weight(low: float, high: float) -> Value:
    """One weight or the ends of several."""
    low, high = float(np.round(low)), float(np.round(high))
    return Measured(low, unit="lb") if low == high or np.isnan(low) else Between((low, high), unit="lb")


def _rate(low: float, high: float) -> Value:
    low, high = round(low, 2), round(high, 2)
    return Measured(low, unit="lb/day") if low == high else Between((low, high), unit="lb/day")


@dataclass(frozen=True)
class Told:
    """A batch of show animals as its sentences need it; `silent` (place,) rows of which nothing is said yet."""

    table: Table
    context: Context
    animals: case.Animal
    given: dict[str, Any]
    gain: np.ndarray
    silent: np.ndarray

    def values(self) -> dict[str, Any]:
        """Values of the headlines, each a function of the row."""
        a, lost = self.animals, np.abs(np.nan_to_num(self.gain[:, :, 0].mean(axis=1)))
        return {
            "fair": Day(self.table.date("fair")),
            "gone": LongDay(self.table.date("fair")),
            "weighed": Day(a.weighed),
            "loses": Money(lost, unit=case.UNIT),
            "today": lambda i: _weight(*(float(a.today[i]),) * 2),
            "wanted": self._wanted,
            "animal": self._animal,
            "old": Measured(np.nan_to_num(a.since), unit="day"),
            "gained": Measured(np.nan_to_num(self.given["gain"]), unit="lb"),
            "given": Measured(np.nan_to_num(a.given), unit="lb"),
            "needs": self._needs,
            "seen": self._seen,
            "last": self._last,
            "change": self._change,
            "off": self._off,
            "held": a.held.said,
        }

    def _animal(self, i: int) -> Term:
        return Term(str(self.table.text("animal")[i]), of="show_weighing.animal")

    def _wanted(self, i: int) -> Value | None:
        low, high = self.animals.low[i], self.animals.high[i]
        return _weight(low, high) if np.isfinite(low) else None

    def _needs(self, i: int) -> Said | None:
        """The gain that makes the class."""
        least, most = (float(end[i]) for end in self.animals.needed)
        if not np.isfinite(least):
            return None
        fair = Day(self.table.date("fair")[i])
        if least < 0:
            most_ = Measured(round(max(most, 0.0), 2), unit="lb/day")
            return say("show-animal.needs_most", rate=most_, wanted=self._wanted(i), fair=fair)
        return say("show-animal.needs", rate=_rate(least, most), wanted=self._wanted(i), fair=fair)

    def _seen(self, i: int) -> Said | None:
        """What it will weigh at its gain now, with the chance of making the class where a range is known."""
        a = self.animals
        if not a.known[i] or np.isnan(a.chance[i]):
            return None
        weight = _weight(*(float(a.weight[i].mean()),) * 2)
        if np.ptp(a.weight[i]) == 0:
            return say("show-animal.seen", weight=weight)
        return say("show-animal.seen_chance", weight=weight, chance=Share(float(a.chance[i])))

    def _last(self, i: int) -> Said | None:
        """When it was last weighed, where that is weeks ago."""
        a = self.animals
        if not a.next_weighing[i] <= case.WEEK:
            return None
        return say("show-animal.last", day=Day(a.weighed[i]))

    def _missing(self, i: int) -> str:
        return next((name for name, rows in self.animals.off.items() if rows[i]), "")

    def _change(self, i: int) -> Said | None:
        """Which other class, by when, and why."""
        a, how = self.animals, self._missing(i)
        if not how:
            return None
        by = Day(self.context.on + timedelta(days=int(case.due(a)[i])))
        shown: dict[str, Any] = {"by": by, "rules": None if a.to_change[i] >= 0 else say("show-animal.ask_rules")}
        if how in ("light", "heavy"):
            return say(f"show-animal.change.{how}", needs=self._needs(i), seen=self._seen(i), **shown)
        shown |= {"wanted": self._wanted(i), "fair": Day(self.table.date("fair")[i]), "animal": self._animal(i)}
        if how == "fast":
            return say("show-animal.change.fast", rate=_rate(a.needed[0][i], a.needed[1][i]), **shown)
        least = float(a.sound[0][i])
        reached = _weight(*(float(a.today[i] + least * a.days[i]),) * 2)
        return say("show-animal.change.slow", least=Measured(least, unit="lb/day"), weight=reached, **shown)

    def _off(self, i: int) -> Said | None:
        """How it misses its class where that cannot be changed any more."""
        how = self._missing(i)
        if not how:
            return None
        under = how in ("fast", "light")
        return say(f"show-animal.off.{'light' if under else 'heavy'}", needs=self._needs(i), seen=self._seen(i))

    def reasons(self) -> tuple[RowSaid, ...]:
        """Its weight, what a sound animal gains, the feed, the money, the scale."""
        told = (self._spread, self._fill, self._sound, self._feed, self._net, self._turns(), self._scale)
        return tuple(self._where_known(said) for said in told)

    def _where_known(self, said: Callable[[int], Said | None]) -> Callable[[int], Said | None]:
        return lambda i: None if self.silent[i] else said(i)

    def _spread(self, i: int) -> Said | None:
        a = self.animals
        if not (a.days[i] > 0 and a.known[i]):
            return None
        low, high = quantile(a.weight[i], [0.1, 0.9])
        return say(
            f"show-animal.because.{'one' if low == high else 'range'}",
            weight=_weight(float(low), float(high)),
            gain=Measured(round(float(a.gain[i].mean()), 2), unit="lb/day"),
            moved=Measured(float(round(0.1 * a.days[i])), unit="lb"),
        )

    def _fill(self, i: int) -> Said | None:
        a = self.animals
        if a.known[i] or not (self.table.known("last_weighed")[i] and a.days[i] > 0):
            return None
        return say("show-animal.because.fill", least=Measured(self._every()[0], unit="day"))

    def _every(self) -> tuple[float, float]:
        return self.context.facts.by_id["cattle/show.weigh_every"].span

    def _sound(self, i: int) -> Said:
        least, most = (float(end[i]) for end in self.animals.sound)
        ends = Between((least, most), unit="lb/day")
        return say("show-animal.because.sound", animal=self._animal(i), ends=ends)

    def _feed(self, i: int) -> Said | None:
        a = self.animals
        gained = float((a.low[i] + a.high[i]) / 2 - a.today[i])
        if not (a.days[i] > 0 and gained > 0):
            return None
        ends = (float(growth.feed_for_gain(gained, of[i])) for of in a.feed)
        return say("show-animal.because.feed", feed=_weight(*ends))

    def _net(self, i: int) -> Said | None:
        return say("show-animal.because.net", net=Paid(float(case.net(**self.given)[i])))

    def _turns(self) -> Callable[[int], Said | None]:
        turns = turning_points(case.net, self.given, tuple(case.TURNS))
        said, priced = (
            turning_said(turns, self.given, case.TURNS, case.net(**self.given)),
            np.isfinite(case.net(**self.given)),
        )
        return lambda i: said(i) if priced[i] else None

    def _scale(self, i: int) -> Said:
        return say("show-animal.because.scale", ends=Between(self._every(), unit="day"))

    def cautions(self) -> tuple[RowSaid, ...]:
        """Never for a weight, the label, the haul, the show's rules."""
        for cited in ("show.care", "show.held_back", "care.records", "care.heat"):
            _ = self.context.facts[f"cattle/{cited}"]  # the sentences rest on these
        ours = tuple(say(f"show-animal.care.{of}") for of in ("weight", "products", "haul", "rules"))
        return (*ours, say("cull-cows.care.records"))

    def drawn(self, ruling: Any, i: int) -> Sequence[Picture]:
        """Weight from today to weigh-in beside the weight wanted, where the gain is known."""
        from sideoats.cattle.pictures import weight_to_fair

        _, a = ruling, self.animals
        if not (a.days[i] > 0 and a.known[i]):
            return []
        wanted = (float(a.low[i]), float(a.high[i]))
        fair = self.table.date("fair")[i].astype("datetime64[D]").item()
        return [weight_to_fair(float(a.days[i]), a.drawn[i], a.gain[i], wanted, fair=fair)]
