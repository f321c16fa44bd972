"""What a call about topdressed nitrogen says: the values of its headlines, its reasons, cautions and picture."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np

from sideoats.facts import Fact
from sideoats.problem import RowSaid
from sideoats.question import Context, Table
from sideoats.ruling import Ruling
from sideoats.wheat import response
from sideoats.wheat import topdress_case as case
from sideoats.wheat.days import spring_close
from sideoats.wheat.nitrogen_asked import publisher_of
from sideoats.words import Between, Day, Measured, Money, Name, Paid, Said, Share, Term, say

if TYPE_CHECKING:
    from sideoats.pictures import Picture

_N, _SOIL = "wheat/nitrogen.", "wheat/soil."
_APART = case.RATES[0] / 2  # lb/ac under which a rate asked for is none that anybody would drive for
_STEP = 5.0  # lb/ac between the points of the picture


@dataclass(frozen=True)
class Told:
    """A batch as its sentences need it."""

    table: Table
    context: Context
    season: case.Season
    crop: case.Crop
    gain: np.ndarray
    closed: np.ndarray
    wanted: np.ndarray  # (place,) the stage is what decides

    @cached_property
    def leads(self) -> np.ndarray:
        """(place,) the option that brings most on average."""
        return case.leads(self.gain, self.closed)

    def values(self) -> dict[str, Any]:
        """Values of the headlines."""
        mean = np.where(self.closed, -np.inf, self.gain.mean(axis=1))
        rates = mean[:, : case.LATER]
        top, usual = rates.max(axis=1), spring_close(self.table, self.context, "close_date")
        over = mean[:, case.LATER] - np.maximum(top, 0.0)
        return {
            "by": self._by,
            "asked": lambda i: self._pounds(self.crop.rate[i]),
            "close": lambda i: self._day(self.season.close[i]),
            "stage": self._stage,
            "task": lambda i: say(f"topdress-nitrogen.task.{'strip' if self._only_strip[i] else 'both'}"),
            "usual": lambda i: self._day(usual[i]),
            "differs": self._differs,
            "asks": self._asks,
            "fall": self._fall,
            "tried": lambda i: Measured(case.RATES[int(rates[i].argmax())], unit="lb/ac"),
            "brings": lambda i: self._brings(float(top[i])),
            "more": Money(np.where(np.isfinite(over), over, 0.0), unit=case.UNIT),
            "need": lambda i: self._pounds(self.crop.expected_need[i]),
            "have": lambda i: self._pounds(self.crop.have[i]),
            "pounds": Between((self._forage[1].low, self._forage[0].high), unit="lb/ac"),
            "money": self._forage_money,
        }

    @property
    def _forage(self) -> tuple[Fact, Fact]:
        """What forage carries off, by two publishers."""
        rows = self.context.facts.by_id
        return rows[_N + "forage_removed.texas"], rows[_N + "forage_removed.wisconsin"]

    def _forage_money(self, i: int) -> Said | None:
        """What that nitrogen costs, at the price that was given."""
        cost, (texas, wisconsin) = float(self.crop.cost[i]), self._forage
        if not np.isfinite(cost):
            return None
        low, high = (Money(pounds * cost, unit=case.UNIT) for pounds in (wisconsin.low, texas.high))
        return say("topdress-nitrogen.forage_money", low=low, high=high)

    def heads(self) -> tuple[tuple[np.ndarray, str], ...]:
        """Headlines that take the place of the verdict's own."""
        season, crop, none = self.season, self.crop, self.leads == case.NONE
        asks, covered = crop.rate >= _APART, crop.have >= crop.expected_need
        little = np.where(self.closed, -np.inf, self.gain.mean(axis=1))[:, : case.LATER].max(axis=1) <= case.least(
            self.context
        )
        return (
            (self.wanted, "topdress-nitrogen.unseen.need"),
            (season.staged, "topdress-nitrogen.stage.wait"),
            (season.past, "topdress-nitrogen.past.wait"),
            (season.forage, "topdress-nitrogen.forage.wait"),
            (np.isfinite(crop.rate), "topdress-nitrogen.rate.need"),
            (season.wet, "topdress-nitrogen.wet.wait"),
            (season.late, "topdress-nitrogen.late.act"),
            (season.late & asks & little, "topdress-nitrogen.late.wait"),
            (asks & little, "topdress-nitrogen.differs.wait"),
            (none & covered, "topdress-nitrogen.covered.wait"),
        )

    @cached_property
    def _only_strip(self) -> np.ndarray:
        """(place,) a slip would come too late, or is on file already."""
        table = self.table
        return np.asarray(self.season.hurried | table.known("profile_nitrogen") | table.known("nitrate_ppm"))

    @staticmethod
    def _brings(money: float) -> Said | None:
        """What a rate gains or loses over none."""
        if not np.isfinite(money):
            return None
        return say(f"topdress-nitrogen.{'loses' if money < 0 else 'brings'}", money=Money(abs(money), unit=case.UNIT))

    def _by(self, i: int) -> Name:
        publisher = publisher_of(self.table, self.context)[i]
        return Name(str(self.context.facts.whose("wheat/nitrogen", publisher)))

    def _pounds(self, rate: Any) -> Measured | None:
        return Measured(round(float(rate)), unit="lb/ac") if np.isfinite(rate) else None

    def _day(self, days: Any) -> Day | None:
        return Day(np.datetime64(self.context.on) + round(float(days))) if np.isfinite(days) else None

    def _stage(self, i: int) -> Term | None:
        stage = str(self.table.text("stage")[i])
        return Term(stage, of="wheat_check.stage") if stage else None

    def _differs(self, i: int) -> Said | None:
        """What the publisher asks for, beside whatever rate is advised."""
        asked = self._pounds(self.crop.rate[i])
        return None if asked is None else say("topdress-nitrogen.publisher", by=self._by(i), asked=asked)

    def _asks(self, i: int) -> Said | None:
        """What the publisher asks for, where it is a rate that anybody would drive for."""
        if not self.crop.rate[i] >= _APART:
            return None
        return say("topdress-nitrogen.asks", by=self._by(i), asked=self._pounds(self.crop.rate[i]))

    def _fall(self, i: int) -> Said | None:
        """That nothing was told of nitrogen put on before."""
        return None if self.table.known("applied")[i] else say("topdress-nitrogen.untold")

    def reasons(self) -> tuple[RowSaid, ...]:
        """In the order in which they are read; of a crop past it, or without grain, only what concerns it."""
        table, crop, facts = self.table, self.crop, self.context.facts
        open_ = ~self.season.shut
        own, tested = table.known("slope"), table.known("profile_nitrogen") | table.known("nitrate_ppm")
        kansas = Name(str(facts.whose("wheat/nitrogen", "kansas")))
        other = publisher_of(table, self.context) != "kansas"
        found, matter = (facts.by_id[k] for k in (_N + "kansas.profile_found", _SOIL + "organic_matter"))
        untold = open_ & ~table.known("organic_matter") & ~own
        moves = np.abs(crop.rates[1] - crop.rates[0]) >= 1
        texas, wisconsin = self._forage
        sandy, best = table.flag("sandy"), Name(facts.by(_N + "best_months"))
        winter = case.season_open(self.context, self.season) & open_ & ~self.season.late & ~self.season.unseen
        return (
            self._publisher,
            self._last_pound,
            say(
                "topdress-nitrogen.because.prices",
                nitrogen=Paid(crop.cost, unit="USD/lb"),
                wheat=Paid(table.number("price"), unit="USD/bu"),
            ).where(open_),
            say("topdress-nitrogen.because.credits", by=kansas).where(open_ & other & ~own),
            say(
                "topdress-nitrogen.because.untested", ends=Between((found.low, found.high), unit="lb/ac", fact=found.id)
            ).where(open_ & ~tested),
            say(
                "topdress-nitrogen.because.matter",
                ends=Between(matter.span, unit="percent", fact=matter.id),
                rates=Between(tuple(np.round(end) for end in crop.rates), unit="lb/ac"),
            ).where(untold & moves),
            say(
                "topdress-nitrogen.because.matter_alone",
                ends=Between(matter.span, unit="percent", fact=matter.id),
            ).where(untold & ~moves),
            say(
                "topdress-nitrogen.because.capped",
                most=Measured(case.RATES[-1], unit="lb/ac"),
                asked=Measured(np.round(crop.rate), unit="lb/ac"),
            ).where(open_ & (crop.rate > case.RATES[-1])),
            say(
                "topdress-nitrogen.because.late",
                by=Name(facts.by(_N + "late_share")),
                share=Between(tuple(100 * end for end in self.season.share), unit="percent"),
            ).where(self.season.late & open_),
            say("topdress-nitrogen.because.working", by=kansas).where(open_ & ~own),
            say("topdress-nitrogen.because.dual").where(open_ & (table.text("purpose") == "dual")),
            say("topdress-nitrogen.because.fall").where(open_ & ~table.known("applied")),
            say("topdress-nitrogen.because.season", by=best).where(winter & ~sandy),
            say("topdress-nitrogen.because.sandy", by=best).where((winter | self.season.wet) & sandy & open_),
            self._rain,
            say(
                "topdress-nitrogen.because.forage",
                by=Name(texas.publisher),
                pounds=Between(texas.span, unit="lb", fact=texas.id),
                other=Name(wisconsin.publisher),
                some=Between(wisconsin.span, unit="lb", fact=wisconsin.id),
            ).where(self.season.forage),
            say("topdress-nitrogen.because.heads").where(self.season.past),
        )

    def _publisher(self, i: int) -> Said | None:
        rate, own = self._pounds(self.crop.rate[i]), bool(self.season.shut[i])
        if own:
            return None
        if rate is None:
            return say("topdress-nitrogen.because.no_rate", by=self._by(i))
        between = "between" if self.crop.interpolated[i] else "rate"
        return say(f"topdress-nitrogen.because.{between}", by=self._by(i), rate=rate)

    def _last_pound(self, i: int) -> Said | None:
        """The rate at which the last pound pays, by both forms of response."""
        best, linear = self._pounds(self.crop.best_rate[i]), self._pounds(self.crop.linear_rate[i])
        if self.season.shut[i] or best is None:
            return None
        if linear is None:
            return say("topdress-nitrogen.because.last_pound", best=best)
        return say("topdress-nitrogen.because.last_pounds", best=best, linear=linear)

    def _rain(self, i: int) -> Said | None:
        """How often rain moved it in before the close."""
        if self.season.shut[i] or not self.context.outlook.has_weather:
            return None
        reaches = self.crop.reaches[i]
        years = Share(float((reaches == 1).mean()))
        return say("topdress-nitrogen.because.rain", years=years, share=Share(float(reaches.mean())))

    @staticmethod
    def cautions() -> tuple[RowSaid, ...]:
        """Water and people first."""
        return tuple(say(f"topdress-nitrogen.care.{code}") for code in ("water", "ammonia", "untested"))

    def drawn(self, _: Ruling, i: int) -> Sequence[Picture]:
        """The response that the money rests on, by nitrogen put on from here; none where what is there covers the crop.

        A working response is drawn in both forms at the middle of what the soil is taken to hold; one of the grower's
        own is drawn as given, in bushels over no topdress.
        """
        from sideoats.wheat.pictures import nitrogen_response

        table, crop = self.table, self.crop
        ratio = crop.cost[i] / table.number("price")[i]
        slope, bend = table.number("slope")[i], table.number("bend")[i]
        if np.isfinite(slope):
            fits = [response.own(slope, bend, np.nan_to_num(table.number("applied"))[i])]
            basis = say("picture.nitrogen.own")
        else:
            fits = response.working(table.number("yield")[i], crop.expected_need[i], crop.have[i])
            budget = self.context.facts.whose("wheat/nitrogen", "kansas")
            basis = say("picture.nitrogen.working", budget=Name(str(budget)))
        if self.season.shut[i] or not fits or not np.isfinite(ratio) or fits[0].coefficients[1] <= 0:
            return []
        return [nitrogen_response(fits, np.arange(0.0, case.RATES[-1] + 1, _STEP), ratio, basis=basis)]
