"""What a call about grain at harvest says beside its headline: reasons and cautions, for the rows that are shown."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from sideoats.grain.bin_case import UNIT
from sideoats.grain.harvest_case import CALL, FARM, LOCKED, Harvest, bushels_of, by_bushel
from sideoats.grain.holding import quoted_later
from sideoats.grain.keeping import BIN_CARE, PRICE_CARE
from sideoats.problem import RowSaid
from sideoats.question import Context, Table
from sideoats.words import Measured, Name, Paid, Said, Share, say

REPLAY, SPOT = "grain/harvest_replay", "grain/harvest_replay_spot"
HARVESTS = 15  # that the first was replayed over


@dataclass(frozen=True)
class Told:
    """A batch as its sentences need it; `silent` (place,) rows about whose money nothing is said."""

    table: Table
    context: Context
    harvest: Harvest
    barred: np.ndarray
    silent: np.ndarray

    def reasons(self) -> tuple[RowSaid, ...]:
        """In the order in which they are read."""
        for cited in (REPLAY, SPOT):
            _ = self.context.facts[cited]  # read for every row, so that sources do not depend on the batch
        told = (
            self._quotes, self._undated, self._warm, self._drying, self._call, self._strike, self._season, self._replay,
        )  # fmt: skip
        return tuple(map(self._money, told))

    def cool(self, i: int) -> Said | None:
        """What is done first with grain that goes into a bin as hot as the combine left it; None where it is not."""
        t = float(self.table.number("temperature")[i])
        hot = t >= self.context.facts.value("grain/warm_in_summer")
        return say("harvest.cool", t=Measured(t, unit="degF")) if hot else None

    def sure(self, i: int) -> Said | None:
        """What locking a price on the farm brings, where it can be done and brings anything."""
        gain = float(self.harvest.gain[i, :, LOCKED].mean())
        if self.barred[i, LOCKED] or not gain > 0:
            return None
        return say("bin-hold.sure", locked=by_bushel(gain), left=self.left(i))

    def left(self, i: int) -> Said:
        """What stays open when a price is locked."""
        return say(f"bin-hold.left.{'basis' if self.table.known('basis')[i] else 'price'}")

    def room(self, i: int) -> Said | None:
        """What finds no room on the farm; None where all of it does."""
        fits, whole = float(self.harvest.fits[i]), float(bushels_of(self.table)[i])
        if not 0 < fits < 1:
            return None
        crop = self.table.text("crop")[i] or "wheat"
        some = Measured(float(round(fits * whole)), unit="bu", of=crop)
        kept = self.harvest.elsewhere[i, self._best(i, FARM) - FARM.start]
        return say(f"harvest.room{'_elevator' if kept else ''}", some=some, whole=Measured(whole, unit="bu", of=crop))

    def _best(self, i: int, stored: slice) -> int:
        """The option of a kind that brings most on average."""
        mean = np.where(self.barred[i, stored], -np.inf, self.harvest.gain[i, :, stored].mean(axis=0))
        return int(stored.start) + int(np.argmax(np.nan_to_num(mean, nan=-np.inf)))

    def odds(self, stored: slice) -> Callable[[int], Said | None]:
        """Said of a gain that comes little more often than not, for one kind of storing."""

        def said(i: int) -> Said | None:
            often = float((self.harvest.gain[i, :, self._best(i, stored)] > 0).mean())
            return say("grain.even_odds") if often < self.context.facts.value("decide/even_odds") else None

        return said

    def where(self, i: int) -> Said:
        """Where what is locked is kept."""
        return say("harvest.where.elevator" if self.harvest.away[i] else "harvest.where.farm")

    def sold_over(self, i: int) -> Said | None:
        """Of a locked price: the rest is sold, or locked at the elevator."""
        room = self.room(i)
        if room is None or self.harvest.away[i]:
            return None
        return say(f"harvest.room{'_locked' if self.harvest.both[i] else ''}", **room.values)

    def _money(self, said: Callable[[int], Said | None]) -> Callable[[int], Said | None]:
        return lambda i: None if self.silent[i] else said(i)

    def _quotes(self, i: int) -> Said | None:
        if not quoted_later(self.table.rows("quotes")[i : i + 1], self.context.on)[0]:
            return say("harvest.because.unquoted")
        known = np.flatnonzero(~np.isnan(self.harvest.quoted[i]))
        if not known.size:
            return None
        m = int(known[-1])
        return say("harvest.because.quotes", quoted=by_bushel(self.harvest.quoted[i, m]), n=m + 1)

    def _undated(self, i: int) -> Said | None:
        return None if self.table.known("harvest_date")[i] else say("harvest.because.undated")

    def _warm(self, i: int) -> Said | None:
        t = float(self.table.number("temperature")[i])
        warm = t > self.context.facts.value("grain/insects_dormant_below")
        return say("grain.care.active", t=Measured(t, unit="degF")) if warm else None

    def _drying(self, i: int) -> Said | None:
        dried, left = float(self.harvest.dried[i]), float(self.harvest.left[i])
        return say("harvest.because.drying", cost=by_bushel(dried), left=Share(left)) if dried > 0 else None

    def _call(self, i: int) -> Said | None:
        if self.barred[i, CALL]:
            return None
        return say("harvest.because.call", spread=Share(float(self.harvest.implied[i])))

    def _strike(self, i: int) -> Said | None:
        local = not self.barred[i, CALL] and not self.table.known("basis")[i]
        return say("harvest.because.strike") if local else None

    def _season(self, i: int) -> Said | None:
        of_wheat = self.table.text("crop")[i] in ("", "wheat")
        return say("harvest.because.no_low", by=self.context.facts.by("grain/no_harvest_low")) if of_wheat else None

    def _replay(self, i: int) -> Said | None:
        """What picking, locking and holding have earned in other harvests of wheat."""
        if self.table.text("crop")[i] not in ("", "wheat"):
            return None
        pick, lock, _ = self.context.facts[REPLAY].rows
        held = next(row for row in self.context.facts[SPOT].rows if row[0] == "December")
        told = {
            f"{name}{end}": Paid(float(x), unit=UNIT, fact=REPLAY)
            for name, row in (("pick", pick), ("lock", lock))
            for end, x in zip(("", "_sd", "_worst"), row[1:], strict=True)
        }
        lost = Paid(abs(float(held[1])), unit=UNIT, fact=SPOT)
        return say("harvest.because.replay", n=HARVESTS, held=lost, share=Share(float(held[4]), fact=SPOT), **told)

    def cautions(self) -> tuple[RowSaid, ...]:
        """Money first, then what can hurt people."""
        record = self.context.facts["grain/storing_record"]
        _ = self.context.facts["grain/five_choices"], self.context.facts["grain/no_harvest_low"]  # rest on these
        old, new = (row for row in record.rows if row[1].startswith("storage hedge"))
        returned = {
            "old": by_bushel(float(old[2]) / 100), "new": by_bushel(float(new[2]) / 100),
            "then": Name(_year(old[0])), "later": Name(_year(new[0])), "by": record.publisher,
        }  # fmt: skip
        return (
            *(say(code) for code in (*PRICE_CARE, *BIN_CARE)),
            say("harvest.care.record", **returned),
            say("harvest.care.broker"),
        )


def _year(when: object) -> str:
    """The year of a row headed by month and year."""
    return str(when).split()[1][:4]
