"""Why a way of using a lot of hay is closed, by code, and the parts that all sentences about it share."""

from __future__ import annotations

from collections.abc import Callable
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.forage import lots
from sideoats.forage.clearing import Clearing
from sideoats.forage.dilution import safe_share
from sideoats.forage.judge import Judgement, Lots, spread_of
from sideoats.forage.nitrate import ClassTable, after_ensiling
from sideoats.forage.nitrate_tables import publisher_name, tables
from sideoats.forage.slips import Pooled
from sideoats.question import Context, Table
from sideoats.records import dataclass
from sideoats.words import Count, Measured, Parts, Said, Share, Term, say

Floats = NDArray[np.float64]


def ppm_of(level: Any) -> Measured:
    """A level of nitrate."""
    return Measured(float(level), unit="ppm")


def floored(level: float) -> float:
    """A level [ppm] to stay under, never rounded up; to a tenth where it is small."""
    digits = 10.0 if level < 10.0 else 1.0
    return max(float(np.floor(level * digits + 1e-9)) / digits, 0.0)


@dataclass(frozen=True)
class Why:
    """What is known and judged of a batch of lots; reasons by row.

    Attributes
    ----------
    table, context : as asked
    known, pooled, j, c : the lots, their slips, what is judged of them, what keeps them from being cleared
    broke : (place,) days since rain ended a drought; NaN where none did
    followed : publisher asked for this once; None for the district's
    """

    table: Table
    context: Context
    known: Lots
    pooled: Pooled
    j: Judgement
    c: Clearing
    broke: Floats
    followed: str | None = None

    @cached_property
    def every(self) -> tuple[ClassTable, dict[str, ClassTable]]:
        """The table followed, and all by publisher."""
        return tables(self.context.facts, self.followed)

    def by(self, key: Any) -> Term:
        """A publisher by the id of a fact of the room, or by the key of his table; as his fact names him."""
        facts, held = self.context.facts, str(key).removeprefix("forage/")
        named = (f"forage/{each}" for each in (held, f"nitrate_class.{held}"))
        fact = next((each for each in named if each in facts.by_id), "")
        return Term(facts.by(fact) if fact else publisher_name(facts, key), fact=fact, of="publisher")

    def animals(self, i: int) -> Term:
        """The animals of a row."""
        return Term(str(self.known.animals[i]), of="place.class")

    def unit(self, i: int) -> str:
        """What is sampled of it: bales, spots or places."""
        return str(self.known.states[i])

    def sample(self, i: int) -> Said:
        """How many were sampled, and of how many."""
        if not self.known.stated[i]:
            return say(f"hay-nitrate.unsaid.{self.unit(i)}")
        cores = int(self.known.cores[i])
        if np.isfinite(self.known.bales[i]) and not self.c.standing[i]:
            return say("hay-nitrate.sampled.of", n=int(self.known.bales[i]), cores=Count(cores))
        return say(f"hay-nitrate.sampled.{self.unit(i)}", n=cores)

    def pounds(self, i: int, share: float) -> Measured:
        """As fed of it a head and day at this share of the ration."""
        dry = 1.0 - self.table.number("moisture")[i]
        dry = dry if dry > 0 else self.context.facts.by_id["forage/hay.dry_matter"].value
        return Measured(float(share * self.j.intake_lb[i] / dry), unit="lb")

    def share_with(self, i: int, more: int) -> float:
        """Largest safe share of a mix if so many more bales were cored and showed the same."""
        known, j, row = self.known, self.j, slice(i, i + 1)
        spread, freedom, assurance = spread_of(known, self.context.facts)
        hottest = lots.hottest_credible(
            known.centre[row],
            known.cores[row] + more,
            known.bales[row],
            spread[row],
            freedom[row] + more,
            assurance,
            known.seen[row],
        )
        share = safe_share(hottest, known.low[row], j.ruling.ceiling[row], j.drunk[row])
        return float(min(share[0], j.ruling.share[i]))

    def worth_of_share(self, i: int, more: float) -> float:
        """What so much more of it in a mix saves a head and day [USD]: other hay, less the grinding."""
        facts, table = self.context.facts, self.table
        price = table.number("price")[i] if table.known("price")[i] else facts.by_id["forage/hay.price"].value
        grinding = facts.by_id["forage/hay.grinding"].mid
        cost = table.number("grinding")[i] if table.known("grinding")[i] else grinding
        dry = facts.by_id["forage/hay.dry_matter"].value
        return float(more * self.j.intake_lb[i] / dry / 2000 * max(price - cost, 0.0))

    def why(self, name: str) -> Callable[[int], Said | None]:
        """The reason `name` as a function of the row."""
        made: Callable[[int], Said | None] = getattr(self, f"_{name}")
        return made

    def _say(self, code: str, i: int, **values: Any) -> Said:
        """A reason with the values that most of them use; levels that are not known are left out."""
        ppm = {"level": self.known.level, "seen": self.known.seen, "hottest": self.j.hottest, "never": self.j.never}
        shared = {name: ppm_of(of[i]) for name, of in ppm.items() if np.isfinite(of[i])}
        return say(f"hay-nitrate.why.{code}", **shared, animals=self.animals(i), **values)

    def _not_alone(self, i: int) -> Said:
        if self.j.unread_water[i]:
            return self._say("water_too", i, total=ppm_of(self.known.level[i] + self.j.drunk[i]))
        return self._say("not_alone", i, by=self.by(self.j.ruling.by[i]))

    def _water(self, i: int) -> Said:
        return self._say("water", i, water=ppm_of(self.known.water[i]))

    def _over_bale(self, i: int) -> Said:
        return self._say("over_bale", i)

    def _over_plain(self, i: int) -> Said:
        return self._say("over_plain", i)

    def _not_at_all(self, i: int) -> Said:
        return self._say("not_at_all", i, by=self.by(self.j.ruling.by[i]))

    def _no_class(self, i: int) -> Said:
        return self._say("no_class", i, by=self.by(self.j.plain.by[i]))

    def _no_table(self, i: int) -> Said:
        return self._say("no_table", i)

    def _not_standing(self, i: int) -> Said:
        return say(f"hay-nitrate.why.{'silage' if self.c.silage[i] else 'dry'}")

    def _sampling(self, i: int) -> Said | None:
        """All that keeps it from being fed bale by bale."""
        rows = (("hot_bale", self.j.hot_bale), ("tested_bale", self.j.tested_bale), ("too_few", self.c.small))
        why = tuple(self._say(code, i, sample=self.sample(i)) for code, mask in rows if mask[i])
        return say("hay-nitrate.why.all", why=Parts(why)) if why else None

    def _blend(self, i: int) -> Said:
        j, asked = self.j, float(self.known.asked_share[i])
        if j.share[i] <= 0:
            return self._say("no_share", i, top=ppm_of(j.ruling.ceiling[i]))
        if asked <= 0:
            return say("hay-nitrate.why.nothing")
        return self._say("too_much", i, asked=Share(asked), share=Share(float(j.share[i])))

    def whose_line(self, i: int) -> Term:
        """Whose table allows it, where it is fed by itself."""
        return self.by(self.every[0].publisher)

    def standing(self, code: str, i: int) -> Said:
        """Cutting height and ensiling of a standing crop, each range as printed; grazing, without a line."""
        facts = self.context.facts
        known = {k.removeprefix("forage/"): f for k, f in facts.by_id.items() if k.startswith("forage/")}
        values: dict[str, Any] = {}
        if code == "ensiling":
            losses = [f for k, f in known.items() if k.startswith("ensiling_loss.")]
            least, most = after_ensiling(self.known.level[i], min(f.low for f in losses), max(f.high for f in losses))
            values = {"least": Measured(round(float(least)), unit="ppm", fact=losses[0].id),
                      "most": Measured(float(most), unit="ppm", fact=losses[-1].id)}  # fmt: skip
        elif code == "heights":
            held = [f for k, f in known.items() if k.startswith("cutting_height.")]
            shown = [
                say(
                    "hay-nitrate.height",
                    low=Measured(f.low, unit="in", fact=f.id),
                    high=Measured(f.high, unit="in"),
                    what=Term(f.conditions, of="cutting_height"),
                    by=self.by(f.id),
                )
                for f in held
            ]
            values = {"heights": Parts(tuple(shown))}
        elif code == "no_level":
            values = {"by": self.by("grazing.level")}
        else:
            release, survey = known["grazing.release"], known["grazing.survey"]
            values = {"slow": Share(release.low, fact=release.id), "fast": Share(release.high),
                      "hay": Share(survey.low, fact=survey.id), "grazed": Share(survey.high),
                      "by": self.by("grazing.stems")}  # fmt: skip
        return say(f"hay-nitrate.because.{code}", **values)
