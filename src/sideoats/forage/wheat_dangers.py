"""What can hurt animals on a wheat pasture, which ways of using it that closes, and what has to be asked; by code."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.families.may_it_be_fed import Danger, doubted, first_of, rest_of
from sideoats.forage import stock
from sideoats.forage.cautions import EMERGENCY
from sideoats.forage.grazed_nitrate import speaks
from sideoats.forage.wheat_pasture import TESTED, WheatPasture
from sideoats.problem import RowSaid
from sideoats.question import Context, Table
from sideoats.words import Measured, Said, Share, Term, Terms, say

Bools = NDArray[np.bool_]
ON = ("turn-out",)  # what hay first, mineral and time mend
OFF = ("turn-out", "prepare")
_P, _F = "pasture_test.", "forage_look."


def _say(code: str, **values: Any) -> Said:
    return say(f"wheat-pasture-hazard.{code}", **values)


@dataclass(frozen=True)
class Told:
    """A batch of pastures as its sentences need it."""

    table: Table
    context: Context
    known: WheatPasture

    def dangers(self) -> tuple[Danger, ...]:
        """Made once."""
        return self._dangers

    @cached_property
    def _dangers(self) -> tuple[Danger, ...]:
        """In the order in which they make the headline: what stands, what is asked, what is watched."""
        k, n = self.known, self.known.nitrate
        again = np.full(len(self.table), int(dict(self.context.facts["forage/look_within"].rows)["signs"]))
        sick = self.table.flag("signs")
        others = np.isin(np.array([str(a) for a in self.table.text("class")]), stock.NOT_CATTLE)
        stops = (
            ("signs", sick, OFF),
            ("nitrate", k.grazers & n.over, OFF),
            ("slip", k.grazers & n.unread, OFF),
            ("tetany", k.lines & ~k.offered, ON),
            ("short", k.lines & k.short & k.under_need, ON),
            ("weak", k.lines & k.short & ~k.under_need, ON),
            ("front", k.before_front, OFF),
            ("hungry", k.grazers & k.hungry, ON),
            ("bloat", k.bloats & ~k.full, ON),
        )
        watched = (k.lines & k.covered) | (k.bloats & k.full)
        passed = np.full(len(self.table), int(dict(self.context.facts["forage/look_within"].rows)["before turnout"]))
        return (
            *(
                Danger(name, rows, ways, _say(f"why.{name}"), again=passed if name == "front" else again)
                for name, rows, ways in stops
            ),
            doubted("others", "place.class", others, *OFF, until=_say("why.others")),
            doubted("dated", f"{_F}tested", k.grazers & k.nitrate.undated, *OFF, until=_say("why.dated")),
            doubted("nitrate", f"{_F}nitrate", k.grazers & n.suspect, *OFF, until=_say("why.suspect")),
            *(doubted("ask", what, rows, *ways, until=_say(f"why.{why}")) for what, rows, ways, why in self._asked()),
            doubted("watched", f"{_P}signs", watched),
        )

    def _asked(self) -> tuple[tuple[str, Bools, tuple[str, ...], str], ...]:
        """Observable, rows in which nobody has said it, ways that wait for it, reason."""
        k, table = self.known, self.table
        open_ = k.cows & ~k.lines & ~k.covered & ~k.spared
        measured = k.cows & k.unmeasured & (k.lines | k.pair_open | ~k.tested)
        untested = open_ & ~k.tested & ~k.undated & ~k.unmeasured
        return (
            (f"{_P}signs", ~table.known("signs"), OFF, "silent"),
            (f"{_P}lush", k.grazers & ~table.known("lush"), ON, "unseen"),
            (f"{_P}front", k.grazers & ~table.known("front"), ON, "weather"),
            (f"{_P}hungry", k.grazers & ~table.known("hungry"), ON, "fill"),
            (f"{_P}magnesium", untested, ON, "untested"),
            (f"{_F}tested", open_ & k.undated & ~k.unmeasured, ON, "dated"),
            (f"{_P}protein", open_ & k.pair_open & ~k.unmeasured, ON, "pair"),
            (f"{_P}mineral_magnesium", measured & ~table.known("mineral_magnesium"), ON, "tag"),
            (f"{_P}mineral_eaten", measured & ~table.known("mineral_eaten"), ON, "weighed"),
            (f"{_F}stress", k.grazers & k.nitrate.stress_untold, OFF, "stress"),
            (f"{_F}nitrogen", k.grazers & k.nitrate.nitrogen_untold, OFF, "nitrogen"),
            (f"{_F}nitrate", k.grazers & k.nitrate.torn, OFF, "torn"),
        )

    def values(self) -> dict[str, Any]:
        """For every headline."""
        k, level = self.known, np.asarray(self.known.nitrate.level)
        return {
            "animals": Term(np.array(self.table.text("class"), dtype=object), of="place.class"),
            "level": Measured(level, unit="ppm"),
            "all": Measured(np.round(k.all)),
            "need": Measured(k.need),
            "eaten": Measured(np.round(k.eaten)),
            "least": Measured(k.least, fact="forage/tetany.mineral.least"),
            "days": self._days,
            "shortfall": self._shortfall,
            "growth": self._growth,
            "risks": self._risks,
            "suspect": self._suspect,
            **first_of(self.dangers),
        }

    @property
    def _days(self) -> Measured:
        return Measured(speaks(self.context.facts)[0], unit="day", fact="forage/standing.days")

    def _shortfall(self, i: int) -> Said | None:
        """What the mineral that they eat comes to, where that is too little to do without a test."""
        k = self.known
        untested = next(rows for _, rows, _, why in self._asked() if why == "untested")
        if not (untested[i] and k.short[i]):
            return None
        eaten, all_, need = (Measured(round(float(grams[i]))) for grams in (k.eaten, k.all, k.need))
        return _say("shortfall", eaten=eaten, all=all_, need=need)

    def _growth(self, i: int) -> Said | None:
        k = self.known
        if not k.bloats[i]:
            return None
        return _say("growth.both" if k.lush[i] and k.front[i] else "growth.lush" if k.lush[i] else "growth.front")

    def _risks(self, i: int) -> Said | None:
        k = self.known
        tetany, bloat = bool(k.lines[i] & k.covered[i]), bool(k.bloats[i] & k.full[i])
        if not tetany and not bloat:
            return None
        return _say("risks.both" if tetany and bloat else "risks.tetany" if tetany else "risks.bloat")

    def _suspect(self, i: int) -> Said | None:
        n = self.known.nitrate
        if not n.suspect[i]:
            return None
        why = "hot" if n.hot_before[i] else "record" if n.by_record[i] else "stress" if n.stressed[i] else "heavy"
        return _say(f"suspect.{why}")

    def reasons(self) -> tuple[RowSaid, ...]:
        """In the order in which they are read."""
        facts, k = self.context.facts, self.known
        line, low = facts["forage/tetany.ratio"], facts["forage/tetany.magnesium"]
        high_k, high_n = facts["forage/tetany.potassium"], facts["forage/tetany.nitrogen"]
        usual, dead = facts["forage/bloat.crude_protein"], facts["forage/bloat.deaths"]
        for quoted in ("tetany.who", "tetany.mineral.texas", "bloat.practice", "grazing.level"):
            _ = facts[f"forage/{quoted}"]
        least = Measured(low.column("from")[1], unit="%", fact=low.id)
        by = Term(line.publisher, fact=line.id, of="publisher")
        return (
            rest_of(self.dangers),
            *(self._how(what) for what in (f"{_P}signs", f"{_P}lush", f"{_P}magnesium", f"{_P}mineral_eaten")),
            _say("because.ratio", ratio=Measured(k.ratio, unit="1"), line=Measured(line.value, fact=line.id), by=by),
            _say("because.magnesium", least=least).where(k.low_magnesium),
            _say(
                "because.pair",
                potassium=Measured(high_k.value, unit="%", fact=high_k.id),
                nitrogen=Measured(high_n.value, unit="%", fact=high_n.id),
            ).where(k.pair),
            _say("because.who").where(k.cows),
            _say("because.spared").where(k.spared),
            self._need,
            self._slipped,
            _say(
                "because.protein",
                protein=Share(self.table.number("protein")),
                low=Measured(usual.low, fact=usual.id),
                high=Measured(usual.high, unit="%"),
            ).where(~k.slipped["protein"]),
            _say("because.nitrate", level=Measured(k.nitrate.level, unit="ppm")),
            _say("because.bloat", low=Share(dead.low, fact=dead.id), high=Share(dead.high)).where(k.grazers),
            _say("because.practice").where(k.grazers),
        )

    def _how(self, what: str) -> Callable[[int], Said | None]:
        """How to look, where and how many, where that is asked."""
        rows = next(rows for asked, rows, _, _ in self._asked() if asked == what)
        return lambda i: _say(f"how.{what.removeprefix(_P)}") if rows[i] else None

    def _need(self, i: int) -> Said | None:
        k, facts = self.known, self.context.facts
        if not k.cows[i]:
            return None
        kind = "lactating" if k.need[i] == facts.by_id["forage/tetany.magnesium_need.lactating"].low else "dry"
        need = facts.by_id[f"forage/tetany.magnesium_need.{kind}"]
        values = {"low": Measured(need.low, fact=need.id), "high": Measured(need.high)}
        if not k.offered[i] or k.unmeasured[i]:
            return _say(f"because.need.{kind}", **values)
        eaten, all_ = (Measured(round(float(grams[i]), 1)) for grams in (k.eaten, k.all))
        return _say(f"because.eaten.{kind}", eaten=eaten, all=all_, **values)

    def _slipped(self, i: int) -> Said | None:
        wrong = tuple(name for name in TESTED if self.known.slipped[name][i])
        return _say("because.slipped", what=Terms(wrong, of="pasture_test")) if wrong else None

    def cautions(self) -> tuple[RowSaid, ...]:
        """The emergency lines first."""
        own = (_say(f"care.{code}") for code in ("tetany", "bloat", "additives"))
        return (*(say(f"forage.care.{code}") for code in EMERGENCY), *own, say("forage.care.cattle_only"))
