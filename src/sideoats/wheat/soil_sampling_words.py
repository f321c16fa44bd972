"""What a call about a profile test says: the values of its headlines, its reasons, cautions and figures."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from functools import cached_property
from typing import Any

import numpy as np

from sideoats.decide.laws import quantile
from sideoats.problem import RowSaid
from sideoats.question import Context, Table
from sideoats.wheat import soil_sampling_case as case
from sideoats.words import Between, Count, Day, LongDay, Measured, Name, Paid, Said, Share, say

_SOIL, _N = "wheat/soil.", "wheat/nitrogen."
_FOUND = _N + "kansas.profile_found"


@dataclass(frozen=True)
class Told:
    """A batch as its sentences need it."""

    table: Table
    context: Context
    test: case.Test

    @cached_property
    def worth(self) -> np.ndarray:
        """(place,) mean worth of the test [USD/ac]."""
        return np.asarray(self.test.worth.mean(axis=1))

    def values(self) -> dict[str, Any]:
        """Values of the headlines."""
        return {
            "cores": Count(self.test.cores),
            "depth": self._depth("depth"),
            "day": self._day,
            "later": self._later,
            "worth": Paid(self.worth, unit=case.UNIT),
            "cost": Paid(self.test.cost, unit=case.UNIT),
            "rate": Measured(np.round(self.test.blind), unit="lb/ac"),
            "found": Measured(self.table.number("profile_nitrogen"), unit="lb/ac"),
        }

    def _day(self, i: int) -> Day:
        days = float(self.test.days[i])
        return Day(self.context.on + timedelta(days=int(days)) if np.isfinite(days) else None)

    def _later(self, _: int) -> LongDay:
        return LongDay(self.context.on + timedelta(days=case.harvest(self.context)))

    def _depth(self, table: str, test: str = "nitrate") -> Measured:
        """Inches to which a test samples by a table."""
        rows = self.context.facts[_SOIL + table].rows
        return Measured(next(float(row[1]) for row in rows if row[0] == test), unit="in", fact=_SOIL + table)

    def heads(self) -> tuple[tuple[np.ndarray, str], ...]:
        """Headlines that take the place of the verdict's own."""
        pays = self.test.gain[:, :, 0].mean(axis=1) > 0
        nothing = self.worth < 0.1
        in_season = self.context.region.holds("topdress-open", self.context.on)
        return (
            (self.test.tested, "soil-sampling.tested.wait"),
            (self.test.forage, "soil-sampling.forage.wait"),
            (np.isinf(self.test.days) & pays, "soil-sampling.next.wait"),
            (nothing, "soil-sampling.nothing.wait"),
            (np.isfinite(self.test.days) & pays & in_season, "soil-sampling.season.wait"),
        )

    def reasons(self) -> tuple[RowSaid, ...]:
        """In the order in which they are read."""
        facts, table = self.context.facts, self.table
        low, high = quantile(np.nan_to_num(self.test.rates), [0.1, 0.9], axis=1)
        open_ = ~(self.test.tested | self.test.forage)
        cores = _SOIL + "cores"
        return (
            say(
                "soil-sampling.because.rates",
                rate=Measured(np.round(self.test.blind), unit="lb/ac"),
                ends=Between((np.round(low), np.round(high)), unit="lb/ac"),
                found=Between(facts.span(_FOUND), unit="lb/ac", fact=_FOUND),
                by=Name(facts.by(_FOUND)),
            ).where(open_),
            say(
                "soil-sampling.because.money",
                worth=Paid(self.worth, unit=case.UNIT),
                cost=Paid(self.test.cost, unit=case.UNIT),
            ).where(open_ & (self.worth > 0)),
            say("soil-sampling.because.usual_cost").where(~table.known("cost") & open_),
            self._matter(),
            say(
                "soil-sampling.because.cores",
                cores=Count(self.test.cores),
                within=Share(self.test.within),
                variation=Share(self.test.variation),
                by=Name(facts.by(cores)),
                ends=Between(facts.span(cores), fact=cores),
            ),
            say(
                "soil-sampling.because.depth",
                depth=self._depth("depth"),
                further=self._depth("depth_nebraska"),
                by=Name(facts.by(_SOIL + "depth_nebraska")),
                top=self._depth("depth", "surface"),
            ),
            say(
                "soil-sampling.because.error",
                error=Measured(facts.value(_N + "sampling_error"), unit="lb/ac", fact=_N + "sampling_error"),
            ),
            say(
                "soil-sampling.because.few",
                wanted=Count(self.test.wanted),
                most=Count(case.most_cores(self.context)),
                within=Share(table.number("within")),
            ).where(self.test.wanted > case.most_cores(self.context)),
            say("soil-sampling.because.banded").where(table.flag("banded")),
        )

    def _matter(self) -> Said:
        """The range that stands in where organic matter was not tested."""
        fact, lacking = (
            _SOIL + "organic_matter",
            ~self.table.known("organic_matter") & ~(self.test.tested | self.test.forage),
        )
        ends = Between(self.context.facts.by_id[fact].span, unit="percent")
        return say("soil-sampling.because.matter", ends=ends).where(lacking)

    @staticmethod
    def cautions() -> tuple[RowSaid, ...]:
        """What a rate without a test risks first."""
        return (say("soil-sampling.care.blind"), say("soil-sampling.care.cool"))

    def quantities(self) -> dict[str, tuple[Any, str]]:
        """Cores, worth and cost of the test, and the rate without it."""
        open_ = ~(self.test.tested | self.test.forage)
        return {
            "cores": (self.test.cores, "cores"),
            "worth_of_the_test": (np.where(open_, self.worth, np.nan), case.UNIT),
            "cost_of_the_test": (self.test.cost, case.UNIT),
            "rate_by_default": (self.test.blind, "lb/ac"),
        }
