"""Why a ration is what it is: what they need and may not exceed, then the feeds, then the money."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from sideoats.cattle import ration_case as case
from sideoats.cattle import ration_herds as herds
from sideoats.cattle import ration_pens as pens
from sideoats.cattle.nutrition_book import Book
from sideoats.cattle.ration import CEILINGS, FLOORS, LIMITS
from sideoats.cattle.ration_made import A_CENT, surety
from sideoats.cattle.ration_words import Told, feed_said, feeds_said
from sideoats.forage.nitrate_tables import publisher_name, water_lines
from sideoats.problem import RowSaid
from sideoats.question import Context, Table
from sideoats.words import Count, Measured, Money, Name, Paid, Parts, Said, Share, Term, Terms, say

NEAR = 0.75  # of a ceiling of sulfur, from which it is said whose it is
A_POINT = 0.01  # of a chance
LEAST_SAVED = 0.1  # of the cost, from which limit-feeding is worth its hands and bunks to be named


def _weighed(pounds: float) -> Measured:
    """Pounds as a scale on a mixer shows them: fives over a hundred."""
    return Measured(round(pounds / 5) * 5 if pounds >= 100 else round(pounds, 1 if pounds < 10 else 0), unit="lb")


@dataclass(frozen=True, eq=False)
class Reasons:
    """The reasons of a batch of herds."""

    told: Told

    @property
    def table(self) -> Table:
        """What is known."""
        return self.told.table

    @property
    def context(self) -> Context:
        """Day, facts and outlook."""
        return self.told.context

    @property
    def plan(self) -> case.Plan:
        """Their rations."""
        return self.told.plan

    def said(self) -> tuple[RowSaid, ...]:
        """What they need and may not exceed, then the feeds, then the money; what stands in the figures or in the
        headline is not said again, for this is read out on the telephone."""
        listed = (
            self._need, self._thin, self._fat, self._target, self._ceilings, self._sulfur, self._water_line,
            self._untold, self._hot, self._cold, self._grain, self._grain_now, self._out, self._refused, self._cubes,
            self._batch, self._tons, self._tons_apart, self._bunk, self._chances, self._stands, self._prices,
            self._binds, self._limit,
        )  # fmt: skip
        quiet = self.plan.herd.beasts | self.plan.no_feed
        return tuple(self._of(said, quiet) for said in listed)

    def _of(self, said: Callable[[int], Said | None], quiet: NDArray[np.bool_]) -> Callable[[int], Said | None]:
        return lambda i: None if quiet[i] else said(i)

    def _need(self, i: int) -> Said:
        p = self.plan
        reached = np.isfinite(p.needs.tdn[i])
        return say(
            f"ration.because.{'need' if reached else 'need_unmet'}",
            intake=Measured(round(float(p.needs.intake[i]), 1), unit="lb"),
            tdn=Measured(round(float(np.nan_to_num(p.needs.tdn[i])), 1), unit="lb"),
            protein=Measured(round(float(p.needs.protein[i]), 2), unit="lb"),
        )

    def _thin(self, i: int) -> Said | None:
        herd = self.plan.herd
        if not herd.thin[i]:
            return None
        more = float(herds.reserve_of(self.context, herd)[i])
        days = Count(round(float(herds.regain_days(self.context, herd)[i])))
        score = Measured(float(self.table.number("condition")[i]))
        return say("ration.because.thin", score=score, more=Measured(round(more, 1)), n=days)

    def _fat(self, i: int) -> Said | None:
        herd = self.plan.herd
        if not herd.fat[i]:
            return None
        goal = herds.calving_score(self.context, np.array([w == "pregnant-heifer" for w in herd.words]))
        return say(
            "ration.because.fat", score=Measured(float(self.table.number("condition")[i])),
            goal=Measured(float(goal[i]), fact="cattle/ration.calving_score"),
            by=Name(self.context.facts.by("cattle/ration.calving_score")),
        )  # fmt: skip

    def _target(self, i: int) -> Said | None:
        herd = self.plan.herd
        if herd.words[i] != "pregnant-heifer" or self.table.known("gain")[i]:
            return None
        share = self.context.facts["cattle/ration.heifer"].column("share of mature weight")[-1]
        gain = Measured(round(float(herd.gain[i]), 2), unit="lb/day")
        if np.isfinite(herd.behind[i]):
            wanted = Measured(round(float(herd.behind[i]), 2), unit="lb/day")
            return say("ration.because.behind", wanted=wanted, gain=gain, share=Share(float(share)))
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

    @cached_property
    def _cautioned(self) -> float:
        """Nitrate of water from which a published ladder cautions [ppm NO3-N]."""
        return water_lines(self.context.facts)[0]

    def _water_line(self, i: int) -> Said | None:
        """Water that a published ladder cautions, with what it adds to the feed."""
        if not self.told.water[i] >= self._cautioned:
            return None
        added = Measured(round(float(self.plan.needs.water_nitrate[i])), unit="ppm")
        return say("ration.because.watered", level=Measured(float(self.told.water[i]), unit="ppm"), added=added)

    def _sulfur(self, i: int) -> Said | None:
        """Whose ceiling of sulfur holds, and who prints another, where the mix comes near it."""
        p, facts = self.plan, self.context.facts
        found, _ = p.chosen(i)
        level = float(found.level["sulfur"][i]) if found.feasible[i] else math.nan
        if not (level > NEAR * p.needs.sulfur[i] or p.why.hazard[i] == "sulfur"):
            return None
        prints = {k: facts.choose("forage/sulfur_ceiling", k)[1] for k in ("feedlot", "older", "forage")}
        told = {k: Measured(fact.value, unit="percent", fact=fact.id) for k, fact in prints.items()}
        by = {f"by_{k}": Name(facts.by(fact.id)) for k, fact in prints.items()}
        return say(
            "ration.because.sulfur", ceiling=Measured(100 * float(p.needs.sulfur[i]), unit="percent"),
            share=Share(facts.value("cattle/ration.forage_fed")), **told, **by,
        )  # fmt: skip

    def _untold(self, i: int) -> Said | None:
        """What nobody told and is not counted, and hay whose nitrate is a guess."""
        asked = (("water", "water_nitrate"), ("water_sulfate", "water_sulfate"), ("effective_temperature", "cold"))
        lacking = tuple(word for name, word in asked if not self.table.known(name)[i])
        rough = {f.name for f in self.plan.held[i] if f.kind == "roughage"}
        guessed = [name for name in self.plan.s.guessed[i] if name in rough]
        guess = say("ration.guessed", feeds=feeds_said(guessed)) if guessed else None
        if not lacking:
            return guess
        return say("ration.because.untold", what=Terms(lacking, of="ration_row"), guess=guess)

    def _hot(self, i: int) -> Said | None:
        p = self.plan
        parts = tuple(
            say("ration.hottest", feed=feed_said(feed.name), level=Measured(float(counted), unit="ppm"))
            for feed, counted in zip(p.held[i], p.s.feeds.nitrate[i], strict=False)
            if counted > feed.nitrate and feed.name not in p.s.out[i]
        )
        return say("ration.because.hottest", feeds=Parts(parts)) if parts else None

    def _cold(self, i: int) -> Said | None:
        cold = float(self.plan.herd.cold[i])
        return say("ration.because.cold", more=Share(cold)) if cold > 0 else None

    def _grain(self, i: int) -> Said | None:
        """Said where the mix is mostly grain, with the steps in which it is raised."""
        found, feeds = self.plan.chosen(i)
        fact = self.context.facts["cattle/feeds.much_grain"]
        if not found.feasible[i]:
            return None
        pounds = sum(p for p, f in zip(found.pounds[i], feeds, strict=False) if f.kind == "grain")
        share = float(pounds / self.plan.needs.intake[i])
        return say("ration.because.grain", share=Share(share, fact=fact.id)) if share > fact.value else None

    def _grain_now(self, i: int) -> Said | None:
        """Grain that cows get already, over what they bear beside free-choice forage."""
        herd, now = self.plan.herd, float(self.table.number("grain_now")[i])
        if not now > 0:
            return None
        dry = float(Book.of(self.context.facts).rows["corn"]["dry_matter"])
        most = self.context.facts.value("cattle/ration.grain_most") * float(herd.weight[i]) / dry
        if herd.growing[i] or herd.limited[i] or not now > most:
            return None
        return say("ration.because.grain_now", now=Measured(now, unit="lb"), most=Measured(round(most, 1), unit="lb"))

    def _out(self, i: int) -> Said | None:
        parts = tuple(
            say("ration.kept_out", feed=feed_said(name), why=why) for name, why in sorted(self.plan.s.out[i].items())
        )
        return say("ration.because.out", feeds=Parts(parts)) if parts else None

    def _refused(self, i: int) -> Said | None:
        parts = tuple(
            say("ration.refused", feed=feed_said(name), why=Name(why)) for name, why in sorted(self.plan.bad[i].items())
        )
        return say("ration.because.refused", feeds=Parts(parts)) if parts else None

    def _cubes(self, i: int) -> Said | None:
        """Range cubes whose make is taken from the usual ones, and whether even their protein is."""
        parts = tuple(
            say(
                f"ration.cubes.{'usual' if f.cube == 'usual' else 'tag'}",
                feed=feed_said(f.name),
                protein=Share(f.protein),
            )
            for f in self.plan.held[i] if f.cube and not {"tdn", "calcium", "phosphorus", "sulfur"} <= f.measured
        )  # fmt: skip
        return say("ration.because.cubes", feeds=Parts(parts)) if parts else None

    def _batch(self, i: int) -> Said | None:
        """The day's feed as it is mixed, and in how many loads."""
        batch = pens.batch_of(self.table, self.plan, i)
        if batch is None:
            return None
        known = self.table.known("mixer")[i]
        size = batch.head / batch.loads
        weights = [_weighed(fed * size) for fed, _ in batch.parts]
        parts = tuple(self.told.named(w, f) for w, (_, f) in zip(weights, batch.parts, strict=True))
        return say(
            f"ration.because.{'loads' if known else 'batch'}", head=Count(int(batch.head)), n=Count(batch.loads),
            pounds=Measured(round(sum(w.amount for w in weights), 1), unit="lb"), feeds=Parts(parts),
            cost=Money(float(self.plan.cost[i]) * batch.head, unit="USD/day"),
        )  # fmt: skip

    def _bunk(self, i: int) -> Said | None:
        """Bunk that lets all of them eat at once, where they are fed more than hay."""
        found, feeds = self.plan.chosen(i)
        by_hand = any(p > case.WEIGHED and f.kind in ("grain", "byproduct", "meal") for p, f in
                      zip(found.pounds[i], feeds, strict=False))  # fmt: skip
        head, herd = float(self.table.number("head")[i]), self.plan.herd
        trough = herd.growing[i] | herd.limited[i] | self.table.known("bunk")[i]  # cubes for cows lie on the ground
        if not (found.feasible[i] and by_hand and trough and math.isfinite(head)):
            return None
        low, high = (inches * head / pens.INCHES_OF_FOOT for inches in pens.bunk_of(self.context, self.plan, i))
        told = {
            "low": Measured(round(low), unit="ft"),
            "high": Measured(round(high), unit="ft"),
            "head": Count(int(head)),
        }
        bunk = float(self.table.number("bunk")[i])
        if math.isfinite(bunk) and bunk < low:
            return say("ration.because.bunk_short", bunk=Measured(bunk, unit="ft"), **told)
        return say("ration.because.bunk", **told)

    def _tons(self, i: int) -> Said | None:
        """What the mix takes for the head and the days, with what the feeder wastes of hay on top."""
        batch = pens.batch_of(self.table, self.plan, i)
        return None if batch is None else self._for_days(i, batch)

    def _tons_apart(self, i: int) -> Said | None:
        """The same of the pen of the thin and young."""
        batch = pens.batch_apart(self.told.apart, self.plan, i)
        return None if batch is None else self._for_days(i, batch)

    def _for_days(self, i: int, batch: pens.Batch) -> Said:
        days = float(self.table.number("days")[i])
        lost = [case.wasted(self.table, self.context, i, f) for _, f in batch.parts]
        tons = [fed * batch.head * days / case.POUNDS_OF_TON / (1 - waste)
                for (fed, _), waste in zip(batch.parts, lost, strict=True)]  # fmt: skip
        parts = tuple(
            self.told.named(Measured(round(t, 1 if t >= 1 else 2), unit="ton"), f)
            for t, (_, f) in zip(tons, batch.parts, strict=True)
        )
        wasted = say("ration.waste", share=Share(max(lost)),
                     feeder=Term(str(self.table.text("feeder")[i]) or "ring", of="place.feeder"))  # fmt: skip
        return say(
            "ration.because.tons", head=Count(int(batch.head)), n=Count(int(days)), feeds=Parts(parts),
            waste=wasted if max(lost) > 0 else None,
        )  # fmt: skip

    def _chances(self, i: int) -> Said | None:
        """How often the floors hold, feeds differing from their tables, and what that surety costs; or what lacks."""
        found, _ = self.plan.chosen(i)
        if not found.feasible[i]:
            return None
        tdn, protein = self.plan.chances[i].tolist()
        book = self.context.facts["cattle/feeds.composition"]
        how = Term(book.provenance, of="provenance", fact=book.id)
        told = {"tdn": Share(tdn), "protein": Share(protein), "how": how}
        cost, other = float(found.cost[i]), float(self._otherwise[i])
        if self._is_sure[i]:
            less = cost - other
            return say("ration.because.sure", less=Paid(less, unit=case.UNIT), **told) if less >= A_CENT else (
                say("ration.because.chances", **told)
            )  # fmt: skip
        more, wanted = other - cost, Share(self._wanted)
        if not math.isfinite(more):
            return say("ration.because.unsure", wanted=wanted, **told)
        return say("ration.because.dear", more=Paid(more, unit=case.UNIT), wanted=wanted, **told)

    @cached_property
    def _wanted(self) -> float:
        """The chance with which floors are to hold."""
        return surety(self.context.facts)[0][0]

    @cached_property
    def _is_sure(self) -> NDArray[np.bool_]:
        """(place,) floors hold about as surely as can be wanted."""
        return np.asarray(self.plan.chances.min(axis=1) >= self._wanted - A_POINT)

    @cached_property
    def _otherwise(self) -> NDArray[np.float64]:
        """(place,) cost of the mix that holds its floors on paper, where the one told is sure; else of a sure one."""
        return self.plan.priced_at(np.where(self._is_sure, 0.5, self._wanted))

    def _buys_hay(self, i: int) -> bool:
        """Whether bought hay, last of a herd's feeds, is in the mix that is told, or in the one that would do."""
        p = self.plan
        told = p.buys[i] or (p.with_hay.feasible[i] and not p.found.feasible[i])
        return bool(told and p.with_hay.pounds[i, len(p.grown[i]) - 1] > case.WEIGHED)

    def _stands(self, i: int) -> Said | None:
        """Why what is on hand alone makes no mix, where the headline tells one with something bought."""
        why = self.told.blame(i) if self._buys_hay(i) and self.plan.buys[i] and self.told.blames[i] != "waits" else None
        return None if why is None else say("ration.because.stands", why=why)

    def _prices(self, i: int) -> Said | None:
        """Feeds priced from the book, and the hay that is to be bought; whoever gave all prices is told none."""
        records = self.table.rows("feeds")[i] or ()
        unpriced = sorted(str(f["name"]) for f in records if f.get("price") is None and f.get("bale_price") is None)
        price = herds.known_or(self.table, "hay_price", self.context.facts["forage/hay.price"].mid)[i]
        told = {"price": Paid(float(price), unit="USD/ton")}
        round_ = self._buys_hay(i) and not self.table.known("hay_price")[i]
        if unpriced:
            hay = say("ration.hay_price", **told) if round_ else None
            return say("ration.because.book_prices", feeds=feeds_said(unpriced), hay=hay)
        return say("ration.because.round", **told) if round_ else None

    def _binds(self, i: int) -> Said | None:
        """Which floors and caps price the mix, and what a tenth of each costs or saves."""
        found, _ = self.plan.chosen(i)
        if not found.feasible[i]:
            return None
        parts = []
        for name in (*FLOORS, *CEILINGS, *LIMITS):
            by = float(found.shadow[name][i])
            if not by > 1e-9:
                continue
            row = Term(name, of="ration_row")
            cost = by * float(getattr(self.plan.needs, name)[i]) / 10
            if name in CEILINGS or cost < A_CENT / 2:
                parts.append(say("ration.priced.ceiling", row=row))
                continue
            parts.append(say(f"ration.priced.{'floor' if name in FLOORS else 'limit'}", row=row,
                             cost=Paid(cost, unit=case.UNIT)))  # fmt: skip
        intake = say("ration.priced.ceiling", row=Term("intake", of="ration_row"))
        return say("ration.because.binds", what=Parts(tuple(parts) or (intake,)), worth=self._worth(i))

    def _worth(self, i: int) -> Said | None:
        """The price of each feed at which it comes into the mix, or goes out of it."""
        parts, must = [], []
        for price, inside, feed in case.break_evens(self.plan, i):
            if inside and not math.isfinite(price):
                must.append("bought-hay" if feed.name in herds.BOUGHT else feed.name)
            elif price > 1:
                name = feed_said("bought-hay" if feed.name in herds.BOUGHT else feed.name)
                told = {"feed": name, "price": Measured(round(price), unit="USD/ton")}
                parts.append(say(f"ration.worth.{'out' if inside else 'in'}", **told))
        if must:
            parts.append(say("ration.worth.must", feeds=feeds_said(must)))
        return say("ration.worth", feeds=Parts(tuple(parts))) if parts else None

    def _limit(self, i: int) -> Said | None:
        """What limit-feeding would save, where cows are not fed so; its rules are told once it is chosen."""
        cost = float(self._limited[i])
        saves = float(self.plan.cost[i]) - cost
        if not saves >= LEAST_SAVED * float(self.plan.cost[i]):
            return None
        facts = self.context.facts
        row = facts["cattle/limit_feeding.bunk"].rows[0]
        low, high = (Measured(float(inches), unit="inch") for inches in row[1:])
        days = Count(int(facts.value("cattle/limit_feeding.steps")))
        return say("ration.because.limit", less=Paid(saves, unit=case.UNIT), n=days, low=low, high=high)

    @cached_property
    def _limited(self) -> NDArray[np.float64]:
        return pens.limit_fed(self.table, self.context, self.plan, LEAST_SAVED)
