"""What a call about a soil test slip says: the values of its headlines, its reasons, cautions and figures."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from functools import cached_property
from typing import Any

import numpy as np

from sideoats.problem import RowSaid
from sideoats.question import Context, Table
from sideoats.wheat import soil_test_case as case
from sideoats.words import (
    Between,
    Day,
    LongDay,
    Measured,
    Money,
    Name,
    Paid,
    Parts,
    Phrase,
    Said,
    Share,
    Terms,
    say,
)

_F = "wheat/"


@dataclass(frozen=True)
class Told:
    """A batch as its sentences need it."""

    table: Table
    context: Context
    slip: case.Slip
    money: case.Money

    @property
    def publisher(self) -> str:
        """Whose table of rates it is."""
        return self.context.facts.by(_F + "phosphorus.kansas.critical")

    def values(self) -> dict[str, Any]:
        """Values of the headlines."""
        return {
            "sowing": self._sowing,
            "asked": self._asked,
            "meanwhile": self._meanwhile,
            "lime": self._lime,
            "rest": self._rest,
            "fine": self._fine,
            "untested": self._untested,
            "later": self._later,
            "ph": Measured(self.table.number("ph")),
            "aluminum": Measured(self.table.number("aluminum"), unit="ppm"),
            "salt_lost": self._salt_lost,
            "salt": Measured(self.table.number("salt")),
            "salty": self._salty,
            "crops": self._crops,
            "half": self._by_extract("1:1"),
            "thin": self._by_extract(case.THINNEST),
            "extractant": self._extractant,
            "also": self._also,
        }

    def _salt_lost(self, i: int) -> Phrase:
        return self._part(float(self.slip.salt_lost[i].mean()))

    @staticmethod
    def _part(lost: float) -> Phrase:
        """A share of the crop in words; near the whole of it, and near none, without a figure."""
        code = "all" if lost > 0.9 else "part" if lost > case.SEEN_LOSS else "none"
        return Phrase(say(f"soil-test.lost.{code}", lost=Share(lost)))

    def _by_extract(self, extract: str) -> Any:
        """What salt would take if it was read in that extract."""
        if not self.slip.unnamed.any():
            return Phrase(None)
        lost = case.salt_by(self.table, self.context, [extract] * len(self.table)).mean(axis=1)
        return lambda i: self._part(float(lost[i]))

    def _salty(self, i: int) -> Phrase:
        """Salt beside whatever else is advised."""
        if not self.slip.salty[i]:
            return Phrase(None)
        return Phrase(say("soil-test.salty", salt_lost=self._salt_lost(i)))

    def _extractant(self, i: int) -> Phrase:
        named = str(self.table.text("extractant")[i])
        return Phrase(say("soil-test.foreign", extractant=Name(named)) if named else say("soil-test.unnamed"))

    def _also(self, i: int) -> Phrase:
        """Aluminum, where another test holds up the headline."""
        wanted = self.slip.acid[i] & ~self.table.known("aluminum")[i]
        return Phrase(say("soil-test.also", ph=Measured(float(self.table.number("ph")[i]))) if wanted else None)

    def _crops(self, i: int) -> Phrase:
        """Over how many crops the gain is counted where lime is in it, and what that is for each."""
        if not case.WAYS[int(self._best[i])][2]:
            return Phrase(None)
        ends = case.crops_limed(self.context)
        each = float(self.money.lime[i].mean()) / (sum(ends) / 2)
        return Phrase(say("soil-test.crops", ends=Between(ends), each=Money(each, unit=case.UNIT)))

    def _sowing(self, i: int) -> Day:
        days = float(self.slip.days[i])
        return Day(self.context.on + timedelta(days=int(days)) if np.isfinite(days) else None)

    def _later(self, i: int) -> LongDay:
        """The day to look again, with its year."""
        return LongDay(self.context.on + timedelta(days=int(self._recheck[i])))

    @cached_property
    def _recheck(self) -> np.ndarray:
        return case.recheck(self.table, self.context, self.slip, self.money)

    def _parts(self, i: int, way: tuple[float, float, float]) -> Phrase:
        if not any(way):
            return Phrase(None)
        return Phrase(say("option.put-on", parts=Parts(case.parts_of(way, self.slip)).at(i)))

    def _asked(self, i: int) -> Phrase:
        """All that the slip asks for, at its whole rates."""
        phosphate, potash, lime = (float(rows[i]) for rows in self.slip.asks)
        return self._parts(i, (phosphate, potash, lime))

    @cached_property
    def _best(self) -> np.ndarray:
        """(place,) the way that is open and gains most."""
        return self.money.best(~case.closed(self.slip))

    @cached_property
    def _best_without_lime(self) -> np.ndarray:
        return self.money.best(~case.closed(self.slip) & np.array([way[2] == 0 for way in case.WAYS]))

    def _meanwhile(self, i: int) -> Phrase:
        """What pays and does not wait for the aluminum."""
        parts = self._parts(i, case.WAYS[int(self._best_without_lime[i])])
        return Phrase(say("soil-test.meanwhile", parts=parts)) if parts.amount else Phrase(None)

    def _rest(self, i: int) -> Phrase:
        """What goes on with the drill where lime is spread before."""
        phosphate, potash, _ = case.WAYS[int(self._best[i])]
        parts = self._parts(i, (phosphate, potash, 0.0))
        return Phrase(say("soil-test.rest", parts=parts)) if parts.amount else Phrase(None)

    def _lime(self, i: int) -> Phrase:
        return self._parts(i, (0.0, 0.0, 1.0))

    def _pays(self) -> np.ndarray:
        """(place,) something that the slip asks for gains on average."""
        return np.asarray(self._best > 0)

    def _fine(self, i: int) -> Terms:
        return Terms(tuple(t for t in case.TESTED if self.table.known(t)[i]), of="soil_tested")

    def _untested(self, i: int) -> Phrase:
        lacking = tuple(t for t in case.TESTED if not self.table.known(t)[i])
        return Phrase(say("soil-test.untested", what=Terms(lacking, of="soil_tested")) if lacking else None)

    def heads(self) -> tuple[tuple[np.ndarray, str], ...]:
        """Headlines that take the place of the verdict's own."""
        return (
            (self.slip.unnamed, "soil-test.extract.need"),
            (case.limy(self.table, self.context), "soil-test.bray.need"),
            (case.foreign(self.table), "soil-test.extractant.need"),
            (self.slip.salty & ~self._pays(), "soil-test.salt.wait"),
            (self.slip.alkaline & ~self._pays(), "soil-test.sodium.wait"),
            (self.slip.acid & ~self.slip.any_asked, "soil-test.acid_calm.wait"),
            (~self.slip.any_asked, "soil-test.nothing.wait"),
            (self.slip.sown, "soil-test.sown.wait"),
            (case.lime_first(self.slip, self.money), "soil-test.lime_first.act"),
            (np.ones(len(self.table), bool), "soil-test.aluminum.look"),
        )

    def reasons(self) -> tuple[RowSaid, ...]:
        """In the order in which they are read."""
        table, facts = self.table, self.context.facts
        return (
            self._level("phosphorus", table.text("extractant")),
            self._level("potassium", None),
            self._lost,
            say(
                "soil-test.because.band",
                by=Name(facts.by(_F + "phosphorus.band_ratio")),
            ).where(self.slip.asks[0] & ~table.known("banded")),
            *self._acid(),
            say(
                "soil-test.because.aluminum_odd",
                aluminum=Measured(table.number("aluminum"), unit="ppm"),
                ph=Measured(table.number("ph")),
            ).where((table.number("ph") >= 6.0) & (table.number("aluminum") > facts.value(_F + "lime.aluminum"))),
            self._salt_told,
            say("soil-test.because.salt_of_the_paste").where(table.known("salt") & ~table.known("salt_extract")),
            self._sowing_taken,
            say("wheat.assumed.price", price=Paid(self.money.price, unit="USD/bu")).where(~table.known("price")),
        )

    def _salt_told(self, i: int) -> Said | None:
        if not self.table.known("salt")[i] or self.slip.unnamed[i]:
            return None
        fact = _F + "salt.wheat"
        return say(
            "soil-test.because.salt",
            salt=Measured(float(self.table.number("salt")[i])),
            lost=self._salt_lost(i),
            begins=Measured(float(self.context.facts.by_id[fact].rows[0][0]), fact=fact),
        )

    def _sowing_taken(self, i: int) -> Said | None:
        """The day that stands in where none was given."""
        if self.table.known("planting_date")[i] or not self.slip.any_asked[i] or not np.isfinite(self.slip.days[i]):
            return None
        return say("wheat.assumed.sowing", sowing=self._sowing(i))

    def _level(self, what: str, extractant: Any) -> Said:
        fact = f"{_F}{what}.kansas.critical"
        by = {} if extractant is None else {"extractant": Name(np.where(case.usable(self.table), extractant, ""))}
        return say(
            f"soil-test.because.{what}",
            test=Measured(self.table.number(what), unit="ppm"),
            line=Measured(case.critical(self.context, what), unit="ppm", fact=fact),
            **by,
        )

    def _lost(self, i: int) -> Said | None:
        """What is at stake without phosphate, as a range."""
        if not self.slip.asks[0][i]:
            return None
        fact = _F + "phosphorus.lost"
        short = 1 - float(self.table.number("phosphorus")[i]) / case.critical(self.context, "phosphorus")
        low, high = (100 * short * end for end in self.context.facts.span(fact))
        return say(
            "soil-test.because.lost",
            ends=Between((low, high), unit="percent", fact=fact),
            price=Paid(float(self.money.phosphate_price[i]), unit="USD/lb"),
        )

    def _acid(self) -> tuple[Said, ...]:
        table, acid, known = self.table, self.slip.acid, self.table.known("aluminum")
        values = {
            "ph": Measured(table.number("ph")),
            "line": Measured(self.context.facts.value(_F + "lime.ph"), fact=_F + "lime.ph"),
        }
        most = Measured(self.context.facts.value(_F + "lime.aluminum"), unit="ppm", fact=_F + "lime.aluminum")
        found = Measured(table.number("aluminum"), unit="ppm")
        return (
            say("soil-test.because.acid", aluminum=found, most=most, **values).where(acid & known),
            say("soil-test.because.acid_untested", most=most, **values).where(acid & ~known),
            say("soil-test.because.lime_guessed").where(self.slip.asks[2] & ~table.known("lime_need")),
            say("soil-test.because.banding").where(self.slip.asks[2]),
        )

    def cautions(self) -> tuple[RowSaid, ...]:
        """The laboratory's sheet first."""
        return (
            say("soil-test.care.memory"),
            say("soil-test.care.seed"),
            say("soil-test.care.goggles"),
            say("soil-test.care.sodium").where(self.slip.salty | self.slip.alkaline),
        )

    def quantities(self) -> dict[str, tuple[Any, str]]:
        """Rates, what a pound costs and what the rates cost."""
        slip, money = self.slip, self.money
        return {
            "phosphate": (slip.phosphate, "lb/ac"),
            "potash": (slip.potash, "lb/ac"),
            "lime_material": (np.where(slip.acid, slip.lime, np.nan), "lb/ac"),
            "phosphate_price": (np.where(np.isnan(slip.phosphate), np.nan, money.phosphate_price), "USD/lb"),
            "phosphate_cost": (slip.phosphate * money.phosphate_price, case.UNIT),
            "potash_cost": (slip.potash * money.potash_price, case.UNIT),
            "salt_lost": (np.where(self.table.known("salt"), slip.salt_lost.mean(axis=1), np.nan), "1"),
        }
