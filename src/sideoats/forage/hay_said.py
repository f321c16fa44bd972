"""What a call about a lot of hay says, by code: values, reasons and cautions, made for the rows that are shown."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import cached_property
from typing import Any

import numpy as np

from sideoats.forage import citing, nitrate, stock
from sideoats.forage.cautions import EMERGENCY, NITRATE
from sideoats.forage.dilution import safe_share
from sideoats.forage.hay_why import Floats, Why, floored, ppm_of
from sideoats.forage.judge import blend_is_safe, water_share
from sideoats.forage.nitrate_tables import allowing_less, lowest_edge, sole_feed_line, water_lines
from sideoats.forage.slips import Read
from sideoats.forage.sorghums import is_other_hay
from sideoats.problem import RowSaid
from sideoats.records import dataclass
from sideoats.words import Count, LongDay, Measured, Paid, Parts, Said, Share, Term, say

CITED = (*citing.NITRATE, "lot.cores_nitrate", "not_cattle.sorghum")  # what the cautions rest on


@dataclass(frozen=True)
class Told(Why):
    """A batch of lots as its sentences need it."""

    def values(self) -> dict[str, Any]:
        """For every headline."""
        j, known = self.j, self.known
        ppm = {"level": known.level, "water": known.water, "total": known.level + j.drunk, "hottest": j.hottest,
               "never": j.never, "seen": known.seen}  # fmt: skip
        return {
            **{name: Measured(np.asarray(level), unit="ppm") for name, level in ppm.items()},
            "animals": Term(np.array(known.animals, dtype=object), of="place.class"),
            "this": self.this,
            "drought": self.drought,
            "mix": self.mix,
            "worse": self.worse,
            "and_when": self.and_when,
            "elsewhere": self.elsewhere,
            "retest": self.retest,
            "before": self.before,
            "ask": self.asked,
            "take": self.take,
            "sample": self.sample,
            "hot": self.hot,
            "size": self.size,
            "kind": self.kind,
            "by": self.whose_line,
            "why": lambda i: self.pooled.unread[i],
            "age": Count(np.nan_to_num(self.pooled.age).astype(np.int64)),
            "tested": self.tested,
            "sampled": self.sampled,
            "water_too": self.water_too,
            "baled": LongDay(self.table.date("baled")),
        }

    # parts of headlines; None where there is nothing to add

    def water_too(self, i: int) -> Said | None:
        """Nobody spoke of the water, and it counts with the feed: how much of it this hay leaves room for."""
        if not np.isnan(self.known.water[i]):
            return None
        line = sole_feed_line(self.context.facts, int(self.j.risk[i]), self.followed)
        if self.c.standing[i]:
            line = min(line, lowest_edge(self.every[1].values()))
        room = (line - float(np.fmax(self.known.level[i], self.known.seen[i]))) / self._of_water[i]
        caution, _ = water_lines(self.context.facts)  # from there the water is judged by itself
        most = floored(min(room, caution))
        return say(f"hay-nitrate.{'water_too' if most >= 1.0 else 'water_little'}", most=ppm_of(max(most, 0.1)))

    @cached_property
    def _of_water(self) -> Floats:
        """What one ppm of nitrate-nitrogen in the water adds to the ration [ppm of dry matter]."""
        one = replace(self.known, water=np.ones_like(self.known.water))
        return water_share(self.context.facts, one)[0]

    def this(self, i: int) -> Said:
        """The hay by its own name."""
        named = str(self.table.text("hay")[i])
        return say("hay-nitrate.this", hay=named) if named else say("hay-nitrate.this_hay")

    def drought(self, i: int) -> Said | None:
        """Rain that ended a drought, which makes what was cut about then suspect."""
        return say("hay-nitrate.drought", n=int(self.broke[i])) if np.isfinite(self.broke[i]) else None

    def kind(self, i: int) -> Said | None:
        """What hay it is decides for horses."""
        known = is_other_hay(self.context.facts, str(self.table.text("hay")[i]))
        return None if known else say("hay-nitrate.kind")

    def mix(self, i: int) -> Said | None:
        """What is left of feeding it: ground and mixed at a share, or a feed to be named first."""
        j, known = self.j, self.known
        if blend_is_safe(j, known.asked_share)[i]:
            share = float(np.fmin(j.share[i], known.asked_share[i]))
            code = f"hay-nitrate.mix.{'through' if self.c.silage[i] else 'ground'}"
            return say(code, share=Share(share), pounds=self.pounds(i, share))
        if j.share[i] > 0 and known.asked_share[i] > j.share[i]:
            most = float(j.share[i])
            asked = Share(float(known.asked_share[i]))
            return say("hay-nitrate.mix.less", asked=asked, share=Share(most), pounds=self.pounds(i, most))
        if not np.isnan(known.low[i]):
            return None if known.asked_share[i] <= 0 else say("hay-nitrate.mix.none")
        if j.unread_water[i]:
            return None
        if j.ruling.share[i] >= 1:
            return say("hay-nitrate.mix.unprinted", by=self.by(j.ruling.by[i]))
        row = slice(i, i + 1)
        most = safe_share(j.hottest[row], 0.0, j.ruling.ceiling[row], j.drunk[row])[0]
        most = min(float(most), float(j.ruling.share[i]))
        return say("hay-nitrate.mix.named", share=Share(most)) if most > 0 else None

    def worse(self, i: int) -> Said | None:
        """A bale tested alone that the tables allow less of than the mean of its lot."""
        return say("hay-nitrate.worse", seen=ppm_of(self.known.seen[i])) if self.j.worse_bale[i] else None

    def and_when(self, i: int) -> Said | None:
        """The day of baling is asked where it is not known."""
        return None if self.table.known("baled")[i] else say("hay-nitrate.and_when")

    def elsewhere(self, i: int) -> Said | None:
        """Other cattle that may have it in a mix, where these may not."""
        open_ = self.j.at_risk[i] and self.j.plain.share[i] > 0 and not self.j.over_plain[i] and not self.c.horse[i]
        return say("hay-nitrate.elsewhere") if open_ else None

    def retest(self, i: int) -> Said | None:
        """What a later and lower test does not undo."""
        told = self.pooled.told[i]
        worst = max(told, key=lambda t: t[1]) if told else None
        if worst is None or told[-1][1] >= worst[1]:
            return None
        last = told[-1]
        first, when = (
            None if day is None else say("hay-nitrate.of_day", day=LongDay(day)) for day in (worst[0], last[0])
        )
        return say("hay-nitrate.retest", last=ppm_of(last[1]), when=when, worst=ppm_of(worst[1]), first=first)

    def before(self, i: int) -> Said | None:
        """A higher test of hay that lay there before, and the day on which that is so."""
        other = self.pooled.other[i]
        worst = max(other, key=lambda t: t[1]) if other else None
        if worst is None or not worst[1] > self.known.level[i]:
            return None
        baled = LongDay(self.table.date("baled")[i])
        return say("hay-nitrate.before", worst=ppm_of(worst[1]), day=LongDay(worst[0]), baled=baled)

    def take(self, i: int) -> Said | None:
        """How many more to sample."""
        return self._count("take", i)

    def asked(self, i: int) -> Said | None:
        """How many to sample where nobody says how many were."""
        return self._count("ask", i)

    def _count(self, code: str, i: int) -> Said | None:
        more = self.j.more_bales[i]
        return say(f"hay-nitrate.{code}.{self.unit(i)}", n=int(more)) if np.isfinite(more) else None

    def hot(self, i: int) -> Said | None:
        """A bale tested hot, to be set aside."""
        return say("hay-nitrate.hot", seen=ppm_of(self.known.seen[i])) if self.j.tested_bale[i] else None

    def size(self, i: int) -> Said | None:
        """The size of the lot decides how many to core."""
        unsaid = self.unit(i) == "baled" and np.isnan(self.known.bales[i])
        return say("hay-nitrate.size") if unsaid else None

    def tested(self, i: int) -> LongDay:
        """The day of the newest test."""
        days = [day for day, _, _ in self.pooled.told[i] if day is not None]
        return LongDay(max(days) if days else None)

    def sampled(self, i: int) -> Said | None:
        """The same, where somebody told it."""
        day = self.tested(i)
        return say("hay-nitrate.sampled", tested=day) if day.known else None

    # why

    def reasons(self) -> tuple[RowSaid, ...]:
        """In the order in which they are read."""
        known = (
            self._result,
            self._tests,
            self._other_hay,
            self._dated,
            self._whose,
            self._binds,
            self._side_by_side,
            self._bales,
        )
        later = (self._over, self._nearly, self._undated, self._water, self._ladders, self._ceiling, self._more_cores)
        standing = map(self._standing, ("ensiling", "heights", "no_level", "slowly"))
        return (
            self._silence,
            self._accumulators,
            *map(self._if_known, (*known, *later, *standing)),
            self._horses,
            self._others,
        )

    def _if_known(self, said: Callable[[int], Said | None]) -> Callable[[int], Said | None]:
        return lambda i: None if self.c.missing[i] else said(i)

    def _because(self, code: str, **values: Any) -> Said:
        return say(f"hay-nitrate.because.{code}", **values)

    def _silence(self, i: int) -> Said | None:
        return self._because("basis", by=self.by("nitrate_basis")) if self.c.missing[i] else None

    def _accumulators(self, i: int) -> Said | None:
        return self._because("accumulators", by=self.by("accumulators")) if self.c.missing[i] else None

    def _result(self, i: int) -> Said:
        age = self.pooled.age[i]
        dated = say("hay-nitrate.because.age", n=int(age)) if np.isfinite(age) else None
        ion = self.known.level[i] * nitrate.ion_factor("NO3-N", "NO3")
        mean = "mean" if self.known.singles[i] > 0 else "result"
        return self._because(mean, level=ppm_of(self.known.level[i]), ion=ppm_of(ion), age=dated)

    def _tests(self, i: int) -> Said | None:
        told = self.pooled.told[i]
        if len(told) < 2:
            return None
        return self._because("tests", tests=self._shown(told))

    def _shown(self, told: Sequence[Read]) -> Parts:
        """Tests with their days."""
        shown = (
            say(
                "hay-nitrate.test",
                level=ppm_of(level),
                on=None if day is None else say("hay-nitrate.on", day=LongDay(day)),
            )
            for day, level, _ in told
        )
        return Parts(tuple(shown))

    def _other_hay(self, i: int) -> Said | None:
        """Tests of hay that lay there before."""
        other = self.pooled.other[i]
        if not other:
            return None
        return self._because("other_hay", tests=self._shown(other), baled=LongDay(self.table.date("baled")[i]))

    def _dated(self, i: int) -> Said | None:
        told = self.pooled.told[i]
        if len(told) > 1:
            return None
        return self._because("dated", day=LongDay(told[0][0])) if told and told[0][0] else self._because("undated")

    def _whose(self, i: int) -> Said:
        followed, _ = self.every
        if self.j.risk[i] == stock.SENSITIVE:
            return self._because("milk")
        return (
            self._because("strictest")
            if self.j.at_risk[i]
            else self._because("followed", by=self.by(followed.publisher))
        )

    def _binds(self, i: int) -> Said | None:
        key = str(self.j.ruling.by[i])
        if not key:
            return None
        table = self.every[1][key]
        limit, _ = table.largest_share([self.known.level[i]], int(self.j.risk[i]))
        return self._because("binds", by=self.by(key), limit=_limit(float(limit[0])), how=_provenance(table.provenance))

    def _side_by_side(self, i: int) -> Said:
        shown = [
            say(
                "hay-nitrate.side",
                by=self.by(name),
                label=Term(table.labels[int(self.j.classes[name][i])], of="nitrate_class"),
            )
            for name, table in self.every[1].items()
        ]
        return self._because("side_by_side", tables=Parts(tuple(shown)))

    def _bales(self, i: int) -> Said:
        known, facts = self.known, self.context.facts
        hottest = ppm_of(self.j.hottest[i])
        if known.every_bale[i]:
            return self._because("every_bale", hottest=hottest)
        if self.j.hottest[i] > float(dict(facts["forage/lot.slip"].rows)["most_spread"]) * known.level[i]:
            return self._because("apart", sample=self.sample(i))
        cored = {"hottest": hottest, "sample": self.sample(i)}
        if self.c.standing[i]:
            spots = facts.by_id["forage/lot.spots"]
            return self._because(
                "spots", low=Count(int(spots.low), fact=spots.id), high=Count(int(spots.high)), **cored
            )
        bales = known.bales[i] if np.isfinite(known.bales[i]) else facts.by_id["forage/lot.bales_unsaid"].value
        cores, sure = facts.by_id["forage/lot.cores_nitrate"], facts.by_id["forage/lot.hottest"]
        return self._because(
            f"spread.{self.unit(i)}",
            sure=Share(float(dict(sure.rows)["assurance"]), fact=sure.id),
            n=int(bales),
            least=Share(cores.low, fact=cores.id),
            most=Share(cores.high),
            **cored,
        )

    def _over(self, i: int) -> Said | None:
        j = self.j
        rows = j.lowest[i] and not self.c.small[i] and j.hottest[i] >= j.never[i] and not self.known.every_bale[i]
        return self._because("lowest", never=ppm_of(j.never[i]), animals=self.animals(i)) if rows else None

    def _nearly(self, i: int) -> Said | None:
        if not self.j.nearly[i]:
            return None
        never = ppm_of(self.j.never[i])
        return self._because("nearly", n=int(self.j.more_bales[i]), never=never, animals=self.animals(i))

    def _undated(self, i: int) -> Said | None:
        unsaid = self.c.must_grind[i] and not self.table.known("fed_from")[i]
        return self._because("today") if unsaid else None

    def _water(self, i: int) -> Said:
        water = self.known.water[i]
        if np.isnan(water):
            return self._because("no_water")
        return self._because("water", water=ppm_of(water), drunk=ppm_of(round(self.j.drunk[i])))

    def _ladders(self, i: int) -> Said | None:
        water, facts = self.known.water[i], self.context.facts
        if np.isnan(water):
            return None
        picked, first = facts.choose("forage/water_nitrate_class")
        found = {picked: first} | {
            k.rpartition(".")[2]: f for k, f in facts.under("forage/water_nitrate_class").items()
        }
        shown = [
            say(
                "hay-nitrate.ladder",
                label=Term(str(nitrate.water_class(water, f.column("from"), f.column("label"))[0]), of="water_class"),
                by=self.by(f.id),
                how=_provenance(f.provenance),
            )
            for f in found.values()
        ]
        return self._because("ladders", water=ppm_of(water), ladders=Parts(tuple(shown)))

    def _ceiling(self, i: int) -> Said | None:
        j, low = self.j, self.known.low[i]
        if np.isnan(low):
            return None
        return self._because(
            "ceiling", top=ppm_of(j.ruling.ceiling[i]), by=self.by(j.ruling.ceiling_by[i]), low=ppm_of(low)
        )

    def _more_cores(self, i: int) -> Said | None:
        """What the whole published sample would do for the share of a mix."""
        j, known, facts = self.j, self.known, self.context.facts
        most, bales = facts.by_id["forage/lot.cores_nitrate"], known.bales[i]
        more = np.ceil(most.high * bales - known.cores[i]) if np.isfinite(bales) else np.nan
        if not (self.c.not_alone[i] and 0 < j.share[i] < j.ruling.share[i] and more > 0):
            return None
        share = self.share_with(i, int(more))
        if share <= j.share[i]:
            return None
        worth = Paid(self.worth_of_share(i, share - float(j.share[i])), unit="USD/head/day")
        return self._because("more_cores", n=int(more), now=Share(float(j.share[i])), then=Share(share), worth=worth)

    def _standing(self, code: str) -> Callable[[int], Said | None]:
        return lambda i: self.standing(code, i) if self.c.standing[i] else None

    def _horses(self, i: int) -> Said | None:
        safe = self.context.facts.by_id["forage/not_cattle.horses"]
        by = self.by(safe.id)
        return (
            self._because("horses", by=by, safe=Measured(safe.value, unit="ppm", fact=safe.id))
            if self.c.horse[i]
            else None
        )

    def _others(self, i: int) -> Said | None:
        other = self.c.not_cattle[i] and not self.c.horse[i]
        return self._because("others", by=self.by("not_cattle.others")) if other else None

    # cautions

    def cautions(self) -> tuple[RowSaid, ...]:
        """The emergency lines first, then those of nitrate, then the tables that would allow less."""
        for cited in CITED:
            _ = self.context.facts[f"forage/{cited}"]
        wet = self.c.standing | self.c.silage
        return (
            *(say(f"forage.care.{code}") for code in (*EMERGENCY, *NITRATE)),
            say("forage.care.dilution").where(~self.c.standing),
            say("forage.care.silo").where(wet),
            self._less,
        )

    def _less(self, i: int) -> Said | None:
        if self.c.missing[i]:
            return None
        (_, every), level, risk = self.every, float(self.known.level[i]), int(self.j.risk[i])
        less = allowing_less(every, level, risk, float(self.j.ruling.share[i]), bool(self.j.ruling.alone[i]))
        shown = [
            say(
                "hay-nitrate.less",
                by=self.by(t.publisher),
                how=_provenance(t.provenance),
                limit=_limit(*t.largest_share([level], risk)[0].tolist()),
            )
            for t in less
        ]
        return (
            say("forage.care.less", n=len(less), every=Count(len(every)), tables=Parts(tuple(shown))) if less else None
        )


def _limit(share: float) -> Said:
    """What a class allows, in words: all, none, a share, or not as the only feed."""
    if 0 < share < 1:
        return say("hay-nitrate.limit.share", share=Share(share))
    return say(f"hay-nitrate.limit.{'none' if share <= 0 else 'mixed'}")


def _provenance(key: str) -> Term:
    return Term(key, of="provenance")
