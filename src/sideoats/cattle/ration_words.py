"""What a call about a ration says: the values of its headlines, what stands in the way, its reasons and cautions."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.cattle import ration_case as case
from sideoats.cattle import ration_herds as herds
from sideoats.cattle import ration_pens as pens
from sideoats.cattle.nutrition_feeds import OneFeed
from sideoats.cattle.ration import CEILINGS
from sideoats.cattle.ration_made import A_CENT
from sideoats.forage.nitrate_tables import water_lines
from sideoats.problem import Barred, Hazard, RowSaid
from sideoats.question import Context, Table
from sideoats.words import Count, Day, Measured, Money, Paid, Parts, Said, Share, Term, Terms, say

OF = {"nitrate": ("ppm", 1.0), "sulfur": ("percent", 100.0), "aflatoxin": ("ppb", 1.0)}
UNSAFE = ("water", "kept_out", "blend")  # kinds of blame that stop
FIGURES = {
    "blend": ("pounds", "share", "level", "of"), "unfilled": ("unfilled",), "limit": ("grain",), "starch": ("starch",),
    "fat": ("fat",), "waits": ("waits",), "water": ("drunk", "ceiling", "of"), "roughage": ("forage",),
    "ceiling": ("floors",), "floors": ("floors",), "intake": ("intake",),
}  # fmt: skip
NEEDED = (
    "bitter", "intake", "rich", "unfilled", "snap", "limit", "starch", "fat", "roughage", "waits", "ceiling", "floors",
)  # fmt: skip
UNTIL_FED = 0.25  # lb of a feed: less is not named in the cold


def feed_said(name: str) -> Term:
    """A feed of the table in the reader's language; any other as it was told."""
    return Term(name, of="feed")


def feeds_said(names: Sequence[str]) -> Terms:
    """Several feeds, listed."""
    return Terms(tuple(names), of="feed")


@dataclass(frozen=True, eq=False)
class Told:
    """A batch of herds as its sentences need it."""

    table: Table
    context: Context
    plan: case.Plan

    @cached_property
    def blames(self) -> NDArray[np.object_]:
        """(place,) what stands in the way of a mix of what is on hand, "" where nothing does."""
        return np.array([self._blamed(i) for i in range(len(self.table))], dtype=object)

    def _blamed(self, i: int) -> str:
        p, why = self.plan, self.plan.why
        if p.found.feasible[i] and not np.isnan(p.needs.tdn[i]):
            return ""
        if p.uncored[i]:
            return "uncored"
        if p.unsafe[i]:
            return "water" if why.water[i] else "blend" if why.unsafe[i] else "kept_out"
        if np.isnan(p.needs.tdn[i]):
            return "bitter" if p.herd.cold[i] > 0 else "intake" if self.table.known("intake")[i] else "rich"
        short = why.short[i]
        if why.unfilled[i] > 1e-6 and (not short or np.isfinite([f.most_lb for f in p.held[i]]).any()):
            return "unfilled"
        if "grain" in short:
            return "snap" if p.herd.snap[i] else "limit"
        if p.herd.snap[i] and "tdn" in short:
            return "snap"
        if short and set(short) <= set(CEILINGS):
            return "ceiling"
        kind = next((limit for limit in ("starch", "fat") if limit in short), "")
        kind = kind or ("roughage" if short == ["forage"] else "floors")
        return "waits" if (kind != "floors" or "forage" in short) and self.waiting(i) else kind

    def waiting(self, i: int) -> list[str]:
        """Hay and straw that is kept out only until it is tested."""
        p = self.plan
        return sorted({f.name for f in p.held[i] if f.kind == "roughage"} & set(p.s.untested[i]))

    def blame(self, i: int) -> Said | None:
        """Why there is no mix of what is on hand, as a reason."""
        kind = self.blames[i]
        if not kind:
            return None
        figures = self._of_blame(i)
        return say(f"ration.blame.{kind}", **{name: figures[name] for name in FIGURES.get(kind, ())})

    def _of_blame(self, i: int) -> dict[str, Any]:
        """The figures of what stands in the way, of one row."""
        p, why = self.plan, self.plan.why
        unit, factor = OF.get(str(why.hazard[i]), ("ppm", 1.0))
        short = tuple(why.short[i]) or ("together",)
        return {
            "pounds": Measured(float(why.added_lb[i]), unit="lb"),
            "share": Share(float(why.added_lb[i] / p.needs.intake[i])),
            "level": Measured(float(why.added_level[i] * factor), unit=unit),
            "of": Term(str(why.hazard[i]) or "nitrate", of="ration_row"),
            "unfilled": Measured(round(float(why.unfilled[i]), 1), unit="lb"),
            "grain": Measured(round(float(np.nan_to_num(p.needs.grain[i], posinf=0.0)), 1), unit="lb"),
            "forage": Measured(round(float(p.needs.forage[i]), 1), unit="lb"),
            "starch": Share(float(np.nan_to_num(p.needs.starch[i] / p.needs.intake[i], posinf=1.0))),
            "fat": Share(float(p.needs.fat[i] / p.needs.intake[i])),
            "waits": feeds_said(self.waiting(i)),
            "drunk": Measured(float(f"{self._drunk(i) * factor:.2g}"), unit=unit),
            "ceiling": Measured(self._ceiling(i) * factor, unit=unit),
            "floors": Terms(short, of="ration_row"),
            "intake": Measured(round(float(p.needs.intake[i]), 1), unit="lb"),
        }

    def _drunk(self, i: int) -> float:
        """What the water brings of the hazard that is blamed, in its ceiling's unit."""
        of = self.plan.needs.water_sulfur if self.plan.why.hazard[i] == "sulfur" else self.plan.needs.water_nitrate
        return float(of[i])

    def _ceiling(self, i: int) -> float:
        of = self.plan.needs.sulfur if self.plan.why.hazard[i] == "sulfur" else self.plan.needs.nitrate
        return float(of[i])

    def needs(self) -> dict[str, NDArray[np.bool_]]:
        """What is missing: the class, the gain, the feeds; and a feed that holds them where none does."""
        p, table = self.plan, self.table
        rich = np.isnan(p.needs.tdn) & ~p.unsafe & ~p.herd.beasts
        without = p.herd.growing & ~table.known("gain")
        lacking = (p.short & ~p.with_hay.feasible) | rich
        return {
            "place.class": ~table.known("class"),
            "feeds_on_hand.gain": without & ~p.unsafe,
            "feeds_on_hand.feeds": (p.no_feed | lacking) & ~p.herd.beasts,
        }

    def heads(self) -> tuple[tuple[NDArray[np.bool_], str], ...]:
        """Headlines that take the place of the verdict's own."""
        p, table = self.plan, self.table
        without = p.herd.growing & ~table.known("gain")
        listed = ~p.no_feed & ~without & table.known("class")
        rows = {kind: listed & (self.blames == kind) for kind in NEEDED}
        fed = np.isfinite(p.tonight).any(axis=1)
        blamed = tuple(
            part
            for kind in NEEDED
            for part in (
                ((rows[kind] & fed, f"ration.{kind}_fed.need"), (rows[kind], f"ration.{kind}.need"))
                if kind in ("bitter", "snap")
                else ((rows[kind], f"ration.{kind}.need"),)
            )
        )
        ahead = table.days_until("fed_from", self.context.on) >= 0
        keeps = np.isfinite(table.number("fed_now"))
        return (
            (without, "ration.gain.need"),
            (p.no_feed & ~p.herd.beasts, "ration.feeds.need"),
            *blamed,
            (~ahead & ~keeps, "ration.old.wait"),
        )

    def hazards(self) -> tuple[Hazard, ...]:
        """What stops: animals that are no cattle, water over the line, feeds of which no blend is safe."""
        p = self.plan
        animals = Hazard("ration.animals", p.herd.beasts, values={"animals": self._animals})
        named: dict[str, Any] = {name: self._valued(name) for name in ("pounds", "share", "level", "of")}
        blends = (
            Hazard(f"ration.{k}", self.blames == k, values={"hay": self._hay, **self._figured(k, named)})
            for k in UNSAFE
        )
        none = np.zeros(len(self.table), bool)
        first = Hazard(
            "ration.uncored",
            none,
            {"feeds_on_hand.feeds": p.uncored},
            values={"feeds": self._uncored, "hay": self._hay},
        )
        bunk = {"ration.bunk": pens.crowded(self.table, self.context, p)}
        crowd = Hazard("ration.crowded", none, bunk, values={"need": self._bunk_feet, "bunk": self._bunk_there})
        return (animals, *blends, first, crowd, *self._watered())

    def _figured(self, kind: str, named: dict[str, Any]) -> dict[str, Any]:
        """Figures of a hazard's headline."""
        if kind == "water":
            return {name: self._valued(name) for name in FIGURES["water"]}
        return named if kind == "blend" else {}

    def _uncored(self, i: int) -> Terms:
        return feeds_said(sorted(self.plan.s.out[i]))

    def _bunk_feet(self, i: int) -> Measured:
        inches = pens.bunk_of(self.context, self.plan, i)[0]
        return Measured(round(inches * float(self.table.number("head")[i]) / pens.INCHES_OF_FOOT), unit="ft")

    def _bunk_there(self, i: int) -> Measured:
        return Measured(float(self.table.number("bunk")[i]), unit="ft")

    def _watered(self) -> tuple[Hazard, ...]:
        """Water in the top class of a ladder, whatever is fed; water that one cautions, beside guessed hay."""
        told = {"level": Measured(self.water, unit="ppm")}
        caution, top = water_lines(self.context.facts)
        guessed = np.array([bool(names) for names in self.plan.s.guessed], dtype=bool)
        beside = (self.water >= caution) & (self.water < top) & guessed & ~self.plan.herd.beasts
        return (
            Hazard("ration.top_water", (self.water >= top) & ~self.plan.herd.beasts, values=told),
            Hazard("ration.watered", np.zeros(len(self.water), bool), {"hay_nitrate.water": beside}, values=told),
        )

    @cached_property
    def water(self) -> NDArray[np.float64]:
        """(place,) nitrate of the water [ppm NO3-N]."""
        return herds.water_nitrogen(self.table)

    def _valued(self, name: str) -> Callable[[int], Any]:
        return lambda i: self._of_blame(i)[name]

    def _animals(self, i: int) -> Term:
        return Term(self.plan.herd.words[i], of="place.class", fact="forage/not_cattle.feeds")

    def bars(self) -> tuple[Barred, ...]:
        """What cannot be made, what is not known, and hay that saves too little to be bought."""
        p, at = self.plan, np.arange(len(case.OPTIONS))
        cannot = ~p.found.feasible & ~p.herd.beasts
        too_little = p.found.feasible & p.with_hay.feasible & ~p.buys
        return (
            Barred(p.herd.beasts[:, None] & (at >= 0), lambda i: say("ration.blame.animals", animals=self._animals(i))),
            Barred(cannot[:, None] & (at == 0), self.blame),
            Barred((~p.with_hay.feasible & ~p.herd.beasts)[:, None] & (at == 1), say("bar.ration_hay")),
            Barred(too_little[:, None] & (at == 1), say("bar.ration_hay_saves_little")),
            Barred((~self.table.known("fed_now") & ~p.herd.beasts)[:, None] & (at == 2), say("bar.ration_fed_now")),
        )

    def values(self) -> dict[str, Any]:
        """Values of the headlines."""
        told = ("unfilled", "grain", "forage", "starch", "fat", "floors", "intake", "waits")
        one = {name: self._valued(name) for name in told}
        return {
            **one,
            "mix": self._mix,
            "bought": self._bought,
            "cost": Paid(self.plan.cost, unit=case.UNIT),
            "when": self._when,
            "saves": self._saves,
            "fed": Paid(self.table.number("fed_now"), unit=case.UNIT),
            "hay": self._hay,
            "adds": self.adds,
            "tonight": self._tonight,
            "lack": self._lack,
            "without": self._without,
            "first": self._hungry_first,
            "ground": self._ground,
            "steps": self._steps,
            "pens": self._pens,
        }

    def _mix(self, i: int) -> Parts:
        """The feeds of the mix that is told, the most first."""
        found, feeds = self.plan.chosen(i)
        return Parts(tuple(self.part(fed, feed) for fed, feed in pens.parts_of(found, feeds, i)))

    def _tonight(self, i: int) -> Parts:
        """The feeds on hand that give most energy, as fed, the most first."""
        p = self.plan
        fed = [(float(x) / f.dry_matter, f) for x, f in zip(p.tonight[i], p.held[i], strict=False)]
        fed = sorted(((x, f) for x, f in fed if x >= UNTIL_FED), key=lambda one: (-one[0], one[1].name))
        return Parts(tuple(self.part(x, f) for x, f in fed))

    def _lack(self, i: int) -> Said | None:
        """Energy that it still lacks of what the cold asks for."""
        p = self.plan
        lack = p.needs.tdn[i] - float(np.nansum(p.tonight[i] * p.s.feeds.tdn[i]))
        return say("ration.lack", lack=Measured(round(float(lack), 1), unit="lb")) if lack >= 0.1 else None

    def part(self, fed: float, feed: OneFeed) -> Said:
        """So much of a feed; of a mineral in ounces, one at least, for less is not weighed out."""
        if fed < 1 and feed.kind == "mineral":
            amount = Measured(max(round(16 * fed), 1), unit="oz")
        else:
            amount = Measured(round(fed, 1 if fed >= 1 else 2), unit="lb")
        return self.named(amount, feed)

    def named(self, amount: Measured, feed: OneFeed) -> Said:
        if feed.name in herds.BOUGHT:
            return say(f"ration.part_{herds.BOUGHT[feed.name]}", pounds=amount)
        return say("ration.part", pounds=amount, feed=feed_said(feed.name))

    def _bought(self, i: int) -> Terms:
        """What is to be bought for the mix that is told."""
        found, feeds = self.plan.chosen(i)
        told = [herds.BOUGHT[f.name] for p, f in zip(found.pounds[i], feeds, strict=False)
                if p > 5e-4 and f.name in herds.BOUGHT]  # fmt: skip
        return Terms(tuple(told), of="ration_bought")

    def _when(self, i: int) -> Said:
        begins = self.table.date("fed_from")[i]
        if begins >= np.datetime64(self.context.on, "D"):
            return say("ration.when.from", day=Day(begins))
        due = int(case.days_to_act(self.table, self.context, self.plan)[0][i])
        return say("ration.when.by", day=Day(np.datetime64(self.context.on, "D") + max(due, 0)))

    def _saves(self, i: int) -> Said | None:
        p, fed = self.plan, float(self.table.number("fed_now")[i])
        if not p.found.feasible[i]:
            return say("ration.saves.only")
        begins = self.table.date("fed_from")[i]
        if fed - p.cost[i] >= A_CENT and not begins >= np.datetime64(self.context.on, "D"):
            return say("ration.saves.now", less=Paid(float(fed - p.cost[i]), unit=case.UNIT))
        if p.buys[i]:
            return say("ration.saves.hay", less=Paid(float(p.found.cost[i] - p.cost[i]), unit=case.UNIT))
        return None

    def _hay(self, i: int) -> Said | None:
        p = self.plan
        if p.found.feasible[i] or not p.with_hay.feasible[i]:
            return None
        return say("ration.hay", cost=Paid(float(p.with_hay.cost[i]), unit=case.UNIT))

    def adds(self, i: int) -> Said:
        """The cheapest feeds to buy with which the herd is held, a head and day, where any would do."""
        p = self.plan
        parts = tuple(self.part(fed, feed) for fed, feed in case.would_do(self.context, p, i))
        return say("ration.adds.feeds", feeds=Parts(parts)) if parts else say("ration.adds.unknown")

    def _without(self, i: int) -> Said | None:
        """Feeds that are kept out, beside a headline about the others."""
        names = sorted(self.plan.s.out[i])
        return say("ration.without", feeds=feeds_said(names)) if names else None

    def _hungry_first(self, i: int) -> Said | None:
        return say("ration.first") if self.table.flag("weakened")[i] else None

    def _ground(self, i: int) -> Said | None:
        """Hays of the mix that count at a bale hotter than the whole ration may be."""
        p = self.plan
        found, feeds = p.chosen(i)
        s = p.more if p.buys[i] else p.s
        hot = [f.name for pounds, f, level in zip(found.pounds[i], feeds, s.feeds.nitrate[i], strict=False)
               if pounds > 5e-4 and f.kind == "roughage" and level > p.needs.nitrate[i]]  # fmt: skip
        return say("ration.ground", feeds=feeds_said(sorted(hot))) if hot else None

    @cached_property
    def apart(self) -> pens.Apart:
        """The pens of the thin and the young."""
        return pens.apart_of(self.table, self.context, self.plan)

    def _pens(self, i: int) -> Said | None:
        """The thin and the young in a pen of their own, and what sorting saves."""
        one = self.apart
        if not one.there[i]:
            return None
        count = Count(int(one.head[i]))
        if not (one.found.feasible[i] and np.isfinite(one.saves[i])):
            return say("ration.pens.not", n=count)
        batch = pens.batch_apart(one, self.plan, i)
        mix = Parts(tuple(self.part(fed, feed) for fed, feed in (batch.parts if batch else ())))
        return say(
            f"ration.pens.{'saves' if one.saves[i] > A_CENT else 'apart'}", n=count, mix=mix,
            cost=Paid(float(one.found.cost[i]), unit=case.UNIT),
            less=Money(max(float(one.saves[i]), 0.0), unit="USD/day"),
        )  # fmt: skip

    def _steps(self, i: int) -> Said | None:
        days = case.steps_of(self.context, self.plan, i, float(self.table.number("grain_now")[i]))
        if self.plan.herd.limited[i]:
            low, high = pens.bunk_of(self.context, self.plan, i)
            bunk = {"low": Measured(low, unit="inch"), "high": Measured(high, unit="inch")}
            return say("ration.limited", n=Count(int(days)), **bunk)
        return say("ration.steps", n=Count(int(days))) if days > 0 else None

    def cautions(self) -> tuple[RowSaid, ...]:
        """What can hurt an animal first."""
        codes = ("forage.care.sick", "forage.care.treatment", "ration.care.test", "ration.care.change",
                 "ration.care.grain", "ration.care.nitrogen", "ration.care.aflatoxin", "ration.care.mineral",
                 "forage.care.stays", "forage.care.cattle_only")  # fmt: skip
        return tuple(say(code) for code in codes)
