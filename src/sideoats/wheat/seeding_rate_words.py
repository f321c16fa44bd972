"""What a call about the seeding rate says: the values of its headlines, its reasons, cautions and figures."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import Any

import numpy as np

from sideoats.problem import RowSaid
from sideoats.question import Context, Table
from sideoats.wheat import seed
from sideoats.wheat import seeding_rate_case as case
from sideoats.wheat.days import late_by
from sideoats.words import Between, Day, LongDay, Measured, Name, Paid, Phrase, Said, Share, say

_F = "wheat/seeding."


@dataclass(frozen=True)
class Told:
    """A batch as its sentences need it."""

    table: Table
    context: Context
    sown: case.Seed

    def values(self) -> dict[str, Any]:
        """Values of the headlines."""
        sown = self.sown
        return {
            "rate": Measured(sown.rate, unit="lb/ac"),
            "planned": Measured(sown.planned, unit="lb/ac"),
            "off": Share(np.abs(sown.off)),
            "sowing": self._sowing,
            "need": self._need,
            "drill": self._drill,
            "germination": Share(self.table.number("germination")),
            "by": Name(self._by("kansas")),
            "printed": Between(tuple(np.round(end) for end in sown.printed), unit="lb/ac"),
            "seeds": Measured(np.where(sown.few, np.round(sown.drop, -4), np.round(sown.drop, -5))),
            "share": Share(sown.share),
            "stand": self._stand,
            "span": Between(tuple(np.round(end) for end in sown.span), unit="lb/ac"),
            "sizes": Between(self.context.facts.span(_F + "common_size"), fact=_F + "common_size"),
        }

    def _sowing(self, i: int) -> Phrase:
        days = float(self.sown.days[i])
        if not np.isfinite(days):
            return Phrase(None)
        return Phrase(say("seeding-rate.on", day=Day(self.context.on + timedelta(days=int(days)))))

    def _stand(self, i: int) -> LongDay:
        """The day on which plants are counted."""
        return LongDay(self.context.on + timedelta(days=int(case.recheck(self.sown)[i])))

    def _need(self, i: int) -> Phrase:
        """Seed for the whole field, where its acres are known."""
        acres = float(self.table.number("acres")[i])
        whole = Measured(float(np.round(self.sown.rate[i] * acres, -1)), unit="lb")
        known = np.isfinite(whole.amount)
        return Phrase(say("seeding-rate.need", whole=whole, acres=Measured(acres, unit="ac")) if known else None)

    def _drill(self, i: int) -> Phrase:
        """How far the drill is off, where its setting was told."""
        off = float(self.sown.off[i])
        if not np.isfinite(off) or abs(off) < 0.005:
            return Phrase(None)
        side = "high" if off > 0 else "low"
        planned = Measured(float(self.sown.planned[i]), unit="lb/ac")
        return Phrase(say(f"seeding-rate.drill.{side}", off=Share(abs(off)), planned=planned))

    def heads(self) -> tuple[tuple[np.ndarray, str], ...]:
        """Headlines that take the place of the verdict's own."""
        return (
            (self.sown.absurd, "seeding-rate.absurd.need"),
            (self.sown.few, "seeding-rate.few.need"),
            (self.sown.weak, "seeding-rate.weak.need"),
            (self.sown.uncounted, "seeding-rate.uncounted.need"),
            (self.sown.days < 0, "seeding-rate.past.wait"),
            (np.abs(self.sown.off) < 0.005, "seeding-rate.right.wait"),
            (self.sown.right, "seeding-rate.within.wait"),
            (self.sown.off > 0, "seeding-rate.high.act"),
            (self.sown.off < 0, "seeding-rate.low.act"),
        )

    def reasons(self) -> tuple[RowSaid, ...]:
        """In the order in which they are read."""
        sown, table = self.sown, self.table
        by_target, late = ~np.isnan(sown.target), late_by(table, self.context) > 0
        return (
            say(
                "seeding-rate.because.stand",
                plants=Measured(sown.target),
                size=Measured(sown.size),
                share=Share(sown.share),
            ),
            say("seeding-rate.because.survival", fact=Name(self._by("survival"))).where(by_target & sown.assumed),
            say(
                "seeding-rate.because.published",
                by=Name(self._by("kansas")),
                ends=Between(sown.band),
            ).where(~by_target),
            self._weaker,
            self._sowing_taken,
            say("seeding-rate.because.late", top=self._measured("late_top", "lb/ac")).where(late),
            self._thin,
            say("seeding-rate.because.grazed").where(
                np.isin(table.text("purpose").astype(str), ["dual", "graze-out"]) & table.known("planned")
            ),
            say("wheat.assumed.yield", **{"yield": self._usual("yield", "bu/ac")}).where(self._lacking("yield")),
            say("wheat.assumed.price", price=self._usual("price", "USD/bu")).where(self._lacking("price")),
            say(
                "seeding-rate.because.seed_price",
                price=Paid(self.context.facts.by_id[_F + "seed_price"].mid, unit="USD/lb"),
            ).where(self._lacking("seed_price")),
        )

    def _weaker(self, i: int) -> Said | None:
        """That the published rate is raised for seed that germinates less than good seed."""
        sound, germination = self._fact("sound_germination"), float(self.table.number("germination")[i])
        if not (germination < sound) or np.isfinite(self.sown.target[i]) or self.sown.weak[i]:
            return None
        return say("seeding-rate.because.weaker", share=Share(germination), sound=Share(sound))

    def _sowing_taken(self, i: int) -> Said | None:
        """The day that stands in where none was given."""
        if self.table.known("planting_date")[i] or not np.isfinite(self.sown.days[i]):
            return None
        day = Day(self.context.on + timedelta(days=int(self.sown.days[i])))
        return say("wheat.assumed.sowing", sowing=day)

    def _fact(self, name: str) -> float:
        return self.context.facts.value(_F + name)

    def _by(self, name: str) -> str:
        return self.context.facts.by(_F + name)

    def _measured(self, name: str, unit: str) -> Measured:
        return Measured(self.context.facts.by_id[_F + name].mid, unit=unit)

    def _usual(self, name: str, unit: str) -> Measured | Paid:
        amount = self.context.facts.by_id[f"wheat/usual.{name}"].mid
        return Paid(amount, unit=unit) if unit.startswith("USD") else Measured(amount, unit=unit)

    def _lacking(self, name: str) -> np.ndarray:
        """(place,) the drill's setting is told, so that money is counted, and this is not."""
        return np.asarray(self.table.known("planned") & ~self.table.known(name))

    def _thin(self, i: int) -> Said | None:
        """What a thin sowing loses, where the drill is set below what is wanted."""
        share = float(self.sown.planned[i] / self.sown.rate[i])
        if not share < 1:
            return None
        rows = self.context.facts.by_id[_F + "lost"]
        shares = [float(s) for s in rows.column(rows.columns[0])]
        low, high = (round(100 * float(np.interp(share, shares, rows.column(end)))) for end in ("low", "high"))
        if high < 1:
            return say("seeding-rate.because.thin_enough", by=Name(self._by("leoti_2022")))
        return say(
            "seeding-rate.because.thin", ends=Between((float(low), float(high)), unit="percent", fact=_F + "lost")
        )

    def cautions(self) -> tuple[RowSaid, ...]:
        """Calibration first."""
        germination = self.table.number("germination")
        poor = germination < self.context.facts.value(_F + "poor_germination")
        return (
            say("seeding-rate.care.calibrate"),
            say("seeding-rate.care.poor", share=Share(germination)).where(poor),
            say("seeding-rate.care.treated").where(self.table.flag("treated")),
        )

    def quantities(self) -> dict[str, tuple[Any, str]]:
        """Pounds, seeds, seed for the field, and what it costs."""
        sown, table = self.sown, self.table
        seeds = sown.rate * sown.size
        per_foot = seeds / seed.SQUARE_FEET_PER_ACRE
        low, high = (np.where(sown.uncounted, end, np.nan) for end in sown.span)
        return {
            "seeding_rate": (sown.rate, "lb/ac"),
            "seeding_rate_low": (low, "lb/ac"),
            "seeding_rate_high": (high, "lb/ac"),
            "seeds_to_drop": (seeds, "1/ac"),
            "seeds_per_square_foot": (per_foot, "1/ft**2"),
            "seeds_per_row_foot": (seed.seeds_per_row_foot(per_foot, table.number("row_spacing")), "1/ft"),
            "drill_off_by": (sown.off, "1"),
            "seed_for_the_field": (sown.rate * table.number("acres"), "lb"),
            "seed_cost": (sown.rate * table.number("seed_price"), case.UNIT),
        }
