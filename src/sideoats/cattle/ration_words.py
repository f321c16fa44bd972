"""What a call about a ration says: the values of its headlines, what stands in the way, its reasons and cautions."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.cattle import ration_case as case
from sideoats.cattle import ration_herds as herds
from sideoats.cattle.nutrition_feeds import OneFeed
from sideoats.cattle.ration import CEILINGS, FLOORS, LIMITS
from sideoats.forage.nitrate_tables import publisher_name, water_lines
from sideoats.problem import Barred, Hazard, RowSaid
from sideoats.question import Context, Table
from sideoats.words import Count, Day, Measured, Name, Paid, Parts, Said, Share, Term, Terms, say

OF = {"nitrate": ("ppm", 1.0), "sulfur": ("percent", 100.0), "aflatoxin": ("ppb", 1.0)}
UNSAFE = ("water", "kept_out", "blend")  # kinds of blame that stop
FIGURES = {
    "blend": ("pounds", "share", "level", "of"), "unfilled": ("unfilled",), "limit": ("grain",), "starch": ("starch",),
    "fat": ("fat",), "roughage": ("forage",), "floors": ("floors",), "intake": ("intake",),
}  # fmt: skip
SURE = 0.9  # chance of a floor from which nothing is said of it
NEEDED = ("bitter", "intake", "rich", "unfilled", "snap", "limit", "starch", "fat", "roughage", "floors")


@dataclass(frozen=True)
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
        if p.unsafe[i]:
            return "water" if why.water[i] else "blend" if why.unsafe[i] else "kept_out"
        if np.isnan(p.needs.tdn[i]):
            return "bitter" if p.herd.cold[i] > 0 else "intake" if self.table.known("intake")[i] else "rich"
        short = why.short[i]
        if why.unfilled[i] > 1e-6 and (not short or np.isfinite([f.most_lb for f in p.held[i]]).any()):
            return "unfilled"
        if "grain" in short:
            return "snap" if p.herd.snap[i] else "limit"
        for limit in ("starch", "fat"):
            if limit in short:
                return limit
        return "roughage" if short == ["forage"] else "floors"

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
            "floors": Terms(short, of="ration_row"),
            "intake": Measured(round(float(p.needs.intake[i]), 1), unit="lb"),
        }

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
        blamed = tuple((listed & (self.blames == kind), f"ration.{kind}.need") for kind in NEEDED)
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
            Hazard(f"ration.{k}", self.blames == k, values={"hay": self._hay, **(named if k == "blend" else {})})
            for k in UNSAFE
        )
        return (animals, *blends, *self._watered())

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
        one = {
            name: self._valued(name) for name in ("unfilled", "grain", "forage", "starch", "fat", "floors", "intake")
        }
        return {
            **one,
            "mix": self._mix,
            "bought": self._bought,
            "cost": Paid(self.plan.cost, unit=case.UNIT),
            "when": self._when,
            "saves": self._saves,
            "fed": Paid(self.table.number("fed_now"), unit=case.UNIT),
            "hay": self._hay,
            "adds": self._adds,
            "without": self._without,
            "first": self._hungry_first,
            "ground": self._ground,
            "steps": self._steps,
        }

    def _mix(self, i: int) -> Parts:
        """The feeds of the mix that is told, the most first."""
        found, feeds = self.plan.chosen(i)
        told = [(p / f.dry_matter, f) for p, f in zip(found.pounds[i], feeds, strict=False) if p > 5e-4]
        return Parts(tuple(self._part(fed, f) for fed, f in sorted(told, key=lambda one: (-one[0], one[1].name))))

    def _part(self, fed: float, feed: OneFeed) -> Said:
        """So much of a feed; of a mineral in ounces, one at least, for less is not weighed out."""
        if fed < 1 and feed.kind == "mineral":
            amount = Measured(max(round(16 * fed), 1), unit="oz")
        else:
            amount = Measured(round(fed, 1 if fed >= 1 else 2), unit="lb")
        return self._named(amount, feed)

    def _named(self, amount: Measured, feed: OneFeed) -> Said:
        if feed.name in herds.BOUGHT:
            return say(f"ration.part_{herds.BOUGHT[feed.name]}", pounds=amount)
        return say("ration.part", pounds=amount, feed=Name(feed.name))

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
        if fed - p.cost[i] >= case.A_CENT and not begins >= np.datetime64(self.context.on, "D"):
            return say("ration.saves.now", less=Paid(float(fed - p.cost[i]), unit=case.UNIT))
        if p.buys[i]:
            return say("ration.saves.hay", less=Paid(float(p.found.cost[i] - p.cost[i]), unit=case.UNIT))
        return None

    def _hay(self, i: int) -> Said | None:
        p = self.plan
        if p.found.feasible[i] or not p.with_hay.feasible[i]:
            return None
        return say("ration.hay", cost=Paid(float(p.with_hay.cost[i]), unit=case.UNIT))

    def _adds(self, i: int) -> Said:
        """The cheapest feeds to buy with which the herd is held, a head and day, where any would do."""
        p = self.plan
        parts = tuple(self._part(fed, feed) for fed, feed in case.would_do(self.context, p, i))
        return say("ration.adds.feeds", feeds=Parts(parts)) if parts else say("ration.adds.unknown")

    def _without(self, i: int) -> Said | None:
        """Feeds that are kept out, beside a headline about the others."""
        names = sorted(self.plan.s.out[i])
        return say("ration.without", feeds=Name(", ".join(names))) if names else None

    def _hungry_first(self, i: int) -> Said | None:
        return say("ration.first") if self.table.flag("weakened")[i] else None

    def _ground(self, i: int) -> Said | None:
        """Hays of the mix that count at a bale hotter than the whole ration may be."""
        p = self.plan
        found, feeds = p.chosen(i)
        s = p.more if p.buys[i] else p.s
        hot = [f.name for pounds, f, level in zip(found.pounds[i], feeds, s.feeds.nitrate[i], strict=False)
               if pounds > 5e-4 and f.kind == "roughage" and level > p.needs.nitrate[i]]  # fmt: skip
        return say("ration.ground", feeds=Name(", ".join(sorted(hot)))) if hot else None

    def _water_line(self, i: int) -> Said | None:
        """Water that a published ladder cautions, with what it adds to the feed."""
        if not self.water[i] >= water_lines(self.context.facts)[0]:
            return None
        added = Measured(round(float(self.plan.needs.water_nitrate[i])), unit="ppm")
        return say("ration.because.watered", level=Measured(float(self.water[i]), unit="ppm"), added=added)

    def _steps(self, i: int) -> Said | None:
        days = case.steps_of(self.context, self.plan, i)
        return say("ration.steps", n=Count(int(days))) if days > 0 else None

    def reasons(self) -> tuple[RowSaid, ...]:
        """What they need and may not exceed, then the feeds, then the money."""
        listed = (
            self._need, self._thin, self._target, self._ceilings, self._water_line, self._untested, self._hot,
            self._cold, self._no_cold,
            self._grain, self._hungry, self._out, self._refused, self._guessed, self._tons, self._chances,
        )  # fmt: skip
        money = (self._priced_hay, self._book_prices, self._binds, self._last_nitrate, self._last_protein, self._book)
        blame = (self._stands,)
        quiet = self.plan.herd.beasts | self.plan.no_feed
        return tuple(self._of(said, quiet) for said in (*listed, *blame, *money))

    def _of(self, said: Callable[[int], Said | None], quiet: NDArray[np.bool_]) -> Callable[[int], Said | None]:
        return lambda i: None if quiet[i] else said(i)

    def _need(self, i: int) -> Said:
        p, band = self.plan, self.context.facts["cattle/nutrition.intake_band"]
        reached = np.isfinite(p.needs.tdn[i])
        return say(
            f"ration.because.{'need' if reached else 'need_unmet'}",
            intake=Measured(round(float(p.needs.intake[i]), 1), unit="lb"), low=Share(band.low), high=Share(band.high),
            tdn=Measured(round(float(np.nan_to_num(p.needs.tdn[i])), 1), unit="lb"),
            protein=Measured(round(float(p.needs.protein[i]), 2), unit="lb"),
            calcium=Measured(round(float(p.needs.calcium[i]), 3), unit="lb"),
            phosphorus=Measured(round(float(p.needs.phosphorus[i]), 3), unit="lb"),
        )  # fmt: skip

    def _thin(self, i: int) -> Said | None:
        herd = self.plan.herd
        if not herd.thin[i]:
            return None
        more = float(herds.reserve_of(self.table, self.context, herd)[i])
        days = Count(round(float(herds.regain_days(self.context, herd)[i])))
        score = Measured(float(self.table.number("condition")[i]))
        return say("ration.because.thin", score=score, more=Measured(round(more, 1)), n=days)

    def _target(self, i: int) -> Said | None:
        herd = self.plan.herd
        if herd.words[i] != "pregnant-heifer" or self.table.known("gain")[i]:
            return None
        share = self.context.facts["cattle/ration.heifer"].column("share of mature weight")[-1]
        gain = Measured(round(float(herd.gain[i]), 2), unit="lb/day")
        return say("ration.because.heifer", gain=gain, share=Share(float(share)))

    def _ceilings(self, i: int) -> Said:
        p = self.plan
        return say(
            "ration.because.ceilings", nitrate=Measured(float(p.s.ceiling[i]), unit="ppm"),
            by=Name(publisher_name(self.context.facts, p.s.ceiling_by[i])),
            sulfur=Measured(100 * float(p.needs.sulfur[i]), unit="percent"),
            aflatoxin=Measured(float(p.needs.aflatoxin[i]), unit="ppb"),
            forage=Share(float(p.needs.forage[i] / p.needs.intake[i])),
            fat=Share(float(p.needs.fat[i] / p.needs.intake[i])),
        )  # fmt: skip

    def _untested(self, i: int) -> Said | None:
        asked = (("water", "nitrate"), ("water_sulfate", "sulfate"))
        lacking = tuple(word for name, word in asked if not self.table.known(name)[i])
        return say("ration.because.water", what=Terms(lacking, of="ration_row")) if lacking else None

    def _hot(self, i: int) -> Said | None:
        p = self.plan
        parts = tuple(
            say("ration.hottest", feed=Name(feed.name), level=Measured(float(counted), unit="ppm"))
            for feed, counted in zip(p.held[i], p.s.feeds.nitrate[i], strict=False)
            if counted > feed.nitrate and feed.name not in p.s.out[i]
        )
        return say("ration.because.hottest", feeds=Parts(parts)) if parts else None

    def _cold(self, i: int) -> Said | None:
        cold = float(self.plan.herd.cold[i])
        return say("ration.because.cold", more=Share(cold)) if cold > 0 else None

    def _no_cold(self, i: int) -> Said | None:
        return None if self.table.known("effective_temperature")[i] else say("ration.because.no_cold")

    def _grain(self, i: int) -> Said | None:
        """Said where the mix is mostly grain, with the steps in which it is raised."""
        found, feeds = self.plan.chosen(i)
        fact = self.context.facts["cattle/feeds.much_grain"]
        if not found.feasible[i]:
            return None
        pounds = sum(p for p, f in zip(found.pounds[i], feeds, strict=False) if f.kind == "grain")
        share = float(pounds / self.plan.needs.intake[i])
        return say("ration.because.grain", share=Share(share, fact=fact.id)) if share > fact.value else None

    def _hungry(self, i: int) -> Said | None:
        return say("ration.because.hungry") if self.table.flag("weakened")[i] else None

    def _out(self, i: int) -> Said | None:
        parts = tuple(
            say("ration.kept_out", feed=Name(name), why=why) for name, why in sorted(self.plan.s.out[i].items())
        )
        return say("ration.because.out", feeds=Parts(parts)) if parts else None

    def _refused(self, i: int) -> Said | None:
        parts = tuple(
            say("ration.refused", feed=Name(name), why=Name(why)) for name, why in sorted(self.plan.bad[i].items())
        )
        return say("ration.because.refused", feeds=Parts(parts)) if parts else None

    def _guessed(self, i: int) -> Said | None:
        guessed = self.plan.s.guessed[i]
        return say("ration.because.guessed", feeds=Name(", ".join(guessed))) if guessed else None

    def _tons(self, i: int) -> Said | None:
        """What the mix takes for the head and the days, with what the feeder wastes not counted."""
        head, days = float(self.table.number("head")[i]), float(self.table.number("days")[i])
        found, feeds = self.plan.chosen(i)
        if not (found.feasible[i] and math.isfinite(head)):
            return None
        tons = [(p / f.dry_matter * head * days / case.POUNDS_OF_TON, f) for p, f in
                zip(found.pounds[i], feeds, strict=False) if p > 5e-4]  # fmt: skip
        parts = tuple(
            self._named(Measured(round(t, 1 if t >= 1 else 2), unit="ton"), f)
            for t, f in sorted(tons, key=lambda one: (-one[0], one[1].name))
        )
        return say("ration.because.tons", head=Count(int(head)), n=Count(int(days)), feeds=Parts(parts))

    def _chances(self, i: int) -> Said | None:
        """How often floors that bind hold, feeds differing from their tables."""
        found, feeds = self.plan.chosen(i)
        if not found.feasible[i]:
            return None
        told = (self.context, found.pounds[i], feeds)
        tdn, protein = (
            case.chance(*told, part, float(getattr(self.plan.needs, part)[i])) for part in ("tdn", "protein")
        )
        return (
            say("ration.because.chances", tdn=Share(tdn), protein=Share(protein)) if min(tdn, protein) < SURE else None
        )

    def _stands(self, i: int) -> Said | None:
        why = self.blame(i)
        return None if why is None else say("ration.because.stands", why=why)

    def _priced_hay(self, i: int) -> Said:
        price = herds.known_or(self.table, "hay_price", self.context.facts["forage/hay.price"].mid)[i]
        known = self.table.known("hay_price")[i]
        return say(f"ration.because.{'hay' if known else 'hay_round'}", price=Paid(float(price), unit="USD/ton"))

    def _book_prices(self, i: int) -> Said | None:
        records = self.table.rows("feeds")[i] or ()
        unpriced = sorted(str(f["name"]) for f in records if f.get("price") is None and f.get("bale_price") is None)
        return say("ration.because.book_prices", feeds=Name(", ".join(unpriced))) if unpriced else None

    def _binds(self, i: int) -> Said | None:
        found = self.plan.found
        if not found.feasible[i]:
            return None
        rows = tuple(k for k in (*FLOORS, *CEILINGS, *LIMITS) if found.shadow[k][i] > 1e-9)
        return say("ration.because.binds", what=Terms(rows or ("intake",), of="ration_row"))

    def _last_nitrate(self, i: int) -> Said | None:
        price = float(self.plan.found.shadow["nitrate"][i])
        return say("ration.because.nitrate", cost=Paid(price, unit=case.UNIT)) if price > 1e-9 else None

    def _last_protein(self, i: int) -> Said | None:
        price = float(self.plan.found.shadow["protein"][i])
        return say("ration.because.protein", cost=Paid(price)) if price > 1e-9 else None

    def _book(self, i: int) -> Said:
        facts = self.context.facts
        protein, minerals, energy = (float(share) for _, share in facts["cattle/feeds.variation"].rows)
        book = facts["cattle/feeds.composition"]
        return say(
            "ration.because.book", how=Term(book.provenance, of="provenance"), protein=Share(protein),
            minerals=Share(minerals), energy=Share(energy),
        )  # fmt: skip

    def cautions(self) -> tuple[RowSaid, ...]:
        """What can hurt an animal first."""
        codes = ("forage.care.sick", "forage.care.treatment", "ration.care.test", "ration.care.change",
                 "ration.care.grain", "ration.care.nitrogen", "ration.care.aflatoxin", "ration.care.mineral",
                 "forage.care.stays", "forage.care.cattle_only")  # fmt: skip
        return tuple(say(code) for code in codes)
