"""What a call about a bin says beside its headline, by code: reasons and cautions, made for the rows that are shown."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta
from functools import cached_property

import numpy as np

from sideoats.decide.choose import worst_share
from sideoats.families.hold_or_sell import Held
from sideoats.grain.carry import share_of_full_carry
from sideoats.grain.keeping import BIN_CARE, PRICE_CARE, Condition
from sideoats.grain.price_season import new_crop_by, seasonal_record
from sideoats.question import Context, Table
from sideoats.words import Day, Measured, Money, Said, Share, say

UNIT = "USD/bu"
_SEASON = "grain/season_lost"
RowSaid = Said | Callable[[int], Said | None]


def by_bushel(price: float) -> Money:
    """A price or cost of a bushel."""
    return Money(float(price), unit=UNIT)


@dataclass(frozen=True)
class Bin:
    """A batch of bins as its sentences need it; `silent` (place,) rows about whose money nothing is said."""

    table: Table
    context: Context
    held: Held
    condition: Condition
    silent: np.ndarray

    def seen(self, i: int) -> Said | None:
        """When the bin was last looked at; None for a phone-in."""
        names = [n for n in ("moisture", "temperature") if self.table.known(n)[i]] or ["heating", "spoiled", "insects"]
        days = int(max(np.nan_to_num(self.table.age_days(name)[i]) for name in names))
        return say("bin.seen", day=self.context.on - timedelta(days=days), n=days) if days > 0 else None

    def sure(self, i: int) -> Said | None:
        """What locking a price brings, where it brings anything."""
        locked = float(self.held.locked()[i])
        return say("bin-hold.sure", locked=by_bushel(locked), left=self.left(i)) if locked > 0 else None

    def odds(self, i: int) -> Said | None:
        """Said of a gain that comes little more often than not."""
        often = float(np.nan_to_num(self.held.chance()[i, self.held.best_hold[i]]))
        return say("grain.even_odds") if often < self.context.facts.value("decide/even_odds") else None

    def left(self, i: int) -> Said:
        """What stays open when a price is locked: nothing of a bid, the basis of a futures price."""
        return say(f"bin-hold.left.{'basis' if self.table.known('basis')[i] else 'price'}")

    def reasons(self) -> tuple[RowSaid, ...]:
        """In the order in which they are read."""
        stopped = (self._state(0), self._state(1), self._state(2), self._unread, self._sound_price)
        return (
            *stopped,
            *map(self._money, (self._quotes, self._above_carry, self._best_month, self._season, self._new_crop)),
            *map(self._money, (self._waiting, self._locking, self._spread, self._later)),
        )

    def _money(self, said: Callable[[int], Said | None]) -> Callable[[int], Said | None]:
        return lambda i: None if self.silent[i] else said(i)

    @cached_property
    def waiting(self) -> np.ndarray:
        """(place,) worth of deciding again each month [USD/bu]; NaN where no month is open."""
        return self.held.worth_of_waiting()

    def _waiting(self, i: int) -> Said | None:
        """What deciding again each month adds; said where months are open."""
        worth = float(self.waiting[i])
        if not np.isfinite(worth):
            return None
        if worth < dict(((k, m), x) for k, m, x in self.context.facts["decide/trouble.least"].rows)["sale", UNIT]:
            return say("bin-hold.because.no_waiting")
        return say("bin-hold.because.waiting", worth=Money(worth, unit=UNIT))

    def _state(self, at: int) -> Callable[[int], Said | None]:
        def said(i: int) -> Said | None:
            why = self.condition.reasons(i) if self.condition.must_move[i] or self.condition.asleep[i] else []
            return say("bin.because.state", why=why[at]) if at < len(why) else None

        return said

    def _unread(self, i: int) -> Said | None:
        return say("bin.because.unread") if self.condition.must_move[i] and self.condition.unread[i] else None

    def _sound_price(self, i: int) -> Said | None:
        return (
            say("bin.because.sound", price=by_bushel(self.held.terms.price[i])) if self.condition.must_move[i] else None
        )

    def _quotes(self, i: int) -> Said | None:
        t = self.held.terms
        if not t.priced[i]:
            return say("bin-hold.because.unquoted")
        last = np.flatnonzero(~np.isnan(t.quoted[i]))
        if not last.size:
            return None
        m = int(last[-1])
        even = by_bushel(t.price[i] + t.cost[i, m])
        return say("bin-hold.because.quotes", quoted=by_bushel(t.quoted[i, m]), even=even, n=m + 1)

    def _above_carry(self, i: int) -> Said | None:
        """Where quotes without a basis rise faster than anybody who stores would need."""
        t, table = self.held.terms, self.table
        last = np.flatnonzero(~np.isnan(t.quoted[i]))
        if table.known("basis")[i] or not last.size or not t.priced[i]:
            return None
        m = int(last[-1])
        share = share_of_full_carry(
            t.price[i],
            t.quoted[i, m],
            m + 1.0,
            storage=table.number("storage")[i] * (m + 1.0),
            annual_rate=table.number("interest")[i],
        )
        return say("bin-hold.because.above_carry", times=Measured(round(float(share), 1))) if share > 1 else None

    def _best_month(self, i: int) -> Said | None:
        t = self.held.terms
        if not t.open_months[i].any():
            return None
        m = int(self.held.best_hold[i])
        return say(
            "bin-hold.because.best_month",
            n=m + 1,
            cost=by_bushel(t.cost[i, m]),
            price=by_bushel(t.price[i]),
            net=by_bushel(t.price[i] + self.held.mean()[i, m]),
            worst=by_bushel(self.held.worst_tenth(i)),
        )

    def _season(self, i: int) -> Said | None:
        t = self.held.terms
        if not t.open_months[i].any():
            return None
        m = int(self.held.best_hold[i])
        crop, history = self.table.text("crop")[i] or "wheat", self.table.rows("history")[i]
        return seasonal_record(self.context, crop, history, m + 1, 1.0 + float(t.cost[i, m] / t.price[i]))

    def _new_crop(self, i: int) -> Said | None:
        """Where the grain would be sold after the next harvest."""
        if not self.held.terms.open_months[i].any():
            return None
        crop = self.table.text("crop")[i] or "wheat"
        comes = new_crop_by(self.context, crop, int(self.held.best_hold[i]) + 1)
        return None if comes is None else say("grain.because.new_crop", day=Day(comes))

    def _locking(self, i: int) -> Said | None:
        month, locked = int(self.held.lock_at[i]) + 1, by_bushel(self.held.locked()[i])
        if not self.table.known("basis")[i]:
            return say("bin-hold.because.lock", n=month, locked=locked)
        worst = by_bushel(worst_share(self.held.gain[i : i + 1, :, -1:])[0, 0])
        return say("bin-hold.because.lock_basis", n=month, locked=locked, worst=worst)

    def _spread(self, i: int) -> Said | None:
        given = float(self.table.number("volatility")[i])
        if not np.isnan(given):
            return say("bin-hold.because.spread_given", spread=Share(given))
        own = self.table.rows("history")[i] is not None
        return say(f"bin-hold.because.spread_{'history' if own else 'shared'}")

    def _later(self, i: int) -> Said | None:
        c = self.condition
        return say("bin-hold.because.later", why=c.reasons(i)[-1]) if c.barred[i].any() and not c.asleep[i] else None

    def _seasons(self) -> RowSaid:
        """Past seasons taken for bids lost money in the replay: said where later prices are given."""
        lost, fact = self.context.facts[_SEASON], _SEASON
        ends = {name: Money(getattr(lost, name), unit="USD/bu", fact=fact) for name in ("low", "high")}
        return say("bin-hold.care.seasons", **ends).where(self.table.known("quotes") & ~self.condition.must_move)

    def cautions(self) -> tuple[RowSaid, ...]:
        """Money first, then what can hurt people."""
        c, dormant = self.condition, self.context.facts.value("grain/insects_dormant_below")
        for cited in (
            "insects_spread",
            "insects_best",
            "sample_grade",
            "entrapment",
            "entrapment_seconds",
            "bin_entry",
        ):
            _ = self.context.facts[f"grain/{cited}"]  # the cautions rest on these

        def where(rows: np.ndarray, code: str) -> Callable[[int], Said | None]:
            return lambda i: say(code) if rows[i] else None

        insects = c.live | c.asleep
        active = say(
            "grain.care.active", t=Measured(np.where(c.temperature > dormant, c.temperature, np.nan), unit="degF")
        )
        return (
            where(c.must_move, "grain.care.sound"),
            self._seasons(),
            *(say(code) for code in (*PRICE_CARE, *BIN_CARE)),
            where(insects, "grain.care.spread"),
            where(insects, "grain.care.applicator"),
            active,
            where(np.isfinite(self.held.locked()), "grain.care.margin"),
        )
