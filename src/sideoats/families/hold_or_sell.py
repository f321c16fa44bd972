"""Hold or sell: what could be sold today is sold, kept to a later month, sold in thirds, or has a later price locked.

Money is counted over the baseline, all of it sold today, whose gain is 0 in every draw. What is sold today neither
wins nor loses afterwards: the baseline has no luck of its own, and such a problem no exposure. Costs of keeping fall
one for one. Locking fixes the price and leaves the basis open; a third each on three dates calms holding without
ending it. Which of them is best is left to the ruling, by certainty equivalent.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.decide.choose import worst_share
from sideoats.decide.sequential import sequential
from sideoats.problem import Choice, Flow, labelled
from sideoats.records import dataclass

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]

MONTH = 365.25 / 12  # days
NOW, FIRST = 0, 1  # places among the options: sold today, held one month
THIRDS_REACH = 6  # months: the last third is sold by then
SALE, LOCK = "sale", "lock"  # the kinds of act whose trouble a gain must be worth


def choices(months: int) -> tuple[Choice, ...]:
    """Sell today, hold to each month, thirds, lock; in the order of the gains."""
    return (
        Choice("sell-now", labelled("sell-now"), day=0, trouble=SALE, kind="sell"),
        *(Choice(f"hold-{m}", labelled("hold_months", n=m), passive=True, kind="hold") for m in range(1, months + 1)),
        Choice("thirds", labelled("thirds"), day=0, trouble=SALE, kind="thirds"),
        Choice("lock", labelled("lock"), day=0, trouble=LOCK, kind="lock"),
    )


def sold_later(value: Floats, then: Floats, gain: Floats, now: Floats | float = 0.0, base: int = 0) -> tuple[Flow, ...]:
    """When the money of a sale moves that may be put off: at the baseline's day, or later with what waiting gains.

    Parameters
    ----------
    value : (place,) or (place, option) what the baseline's sale brings by the unit, below 0 for what is bought
    then : (place, option) days until the later sale; NaN for an option that puts off none, or on no one day
    gain : (place, draw, option) over the baseline
    now, base : days until the baseline's sale, (place,) or one for all, and its place among the options
    """
    worth = np.broadcast_to(value if np.ndim(value) == 2 else np.asarray(value)[:, None], then.shape)
    days = then.copy()
    days[:, base] = np.broadcast_to(np.asarray(now, np.float64), days[:, base].shape)
    return (Flow(days, worth + gain.mean(axis=1)),)


@dataclass(frozen=True, eq=False)
class Terms:
    """What selling today brings and what keeping costs; money by the unit sold.

    Attributes
    ----------
    price : (place,) net price today
    quoted : (place, month) price expected then: what bids or quotes stand for; NaN where none reaches
    cost : (place, month) cost of keeping till then
    basis_luck : (place, draw) or (place, 1) how far the local price strays from the quote, mean 0
    fee : (place,) cost of locking a price
    allowed : (place, month) the condition of what is kept allows it
    priced : (place,) something is quoted for later that could be locked
    """

    price: Floats
    quoted: Floats
    cost: Floats
    basis_luck: Floats
    fee: Floats
    allowed: Bools
    priced: Bools

    @property
    def open_months(self) -> Bools:
        """(place, month) holding till then is allowed and has a price."""
        return np.asarray(~np.isnan(self.quoted) & self.allowed)


@dataclass(frozen=True, eq=False)
class Held:
    """The gains over selling today, and the month that each way aims at.

    Attributes
    ----------
    terms : what they were worked out from
    gain : (place, draw, option) in the order of `choices`
    best_hold, third_at, lock_at : (place,) index of the month held to, of the last third, of the price locked
    """

    terms: Terms
    gain: Floats
    best_hold: Ints
    third_at: Ints
    lock_at: Ints

    @property
    def months(self) -> int:
        """How many months ahead can be held to."""
        return int(self.terms.quoted.shape[1])

    @property
    def by_month(self) -> Floats:
        """(place, draw, month) gain of holding till then."""
        return self.gain[:, :, FIRST : FIRST + self.months]

    def worth_of_waiting(self) -> Floats:
        """(place,) what it adds to look again each month and sell by the price of that month, over the best month fixed
        today; NaN where no month is open.
        """
        open_ = self.terms.open_months
        pay = np.concatenate([np.zeros((*self.gain.shape[:2], 1)), np.nan_to_num(self.by_month)], axis=2)
        may = np.concatenate([np.ones((len(open_), 1), bool), open_], axis=1)
        return np.where(open_.any(axis=1), sequential(pay, pay, may).worth_of_waiting, np.nan)

    def chance(self) -> Floats:
        """(place, month) share of the draws in which holding till then beats selling today; NaN without a price."""
        above = (self.by_month > 0).sum(axis=1, dtype=np.int64) / self.gain.shape[1]
        return np.where(np.isnan(self.by_month[:, 0]), np.nan, above)

    def mean(self) -> Floats:
        """(place, month) expected gain of holding till then."""
        return np.asarray(self.terms.quoted - self.terms.cost - self.terms.price[:, None])

    def worst_tenth(self, row: int) -> float:
        """Mean net price of the worst tenth of the futures, held to the best month."""
        at = int(self.best_hold[row])
        return float(self.terms.price[row] + worst_share(self.by_month[row : row + 1, :, at : at + 1])[0, 0])

    def locked(self) -> Floats:
        """(place,) expected gain of locking the best price; NaN where nothing can be locked."""
        return np.where(self.closed()[:, -1], np.nan, self.gain[:, :, -1].mean(axis=1))

    def closed(self) -> Bools:
        """(place, option) True where no price reaches: not a matter of condition."""
        t = self.terms
        mask = spread(np.isnan(t.quoted))
        mask[:, -2] = t.open_months[:, :2].sum(axis=1) < 2
        mask[:, -1] = ~t.open_months.any(axis=1) | ~t.priced
        return mask


def spread(hold: Bools, *, rest: Bools | None = None) -> Bools:
    """(place, option) from (place, month): `rest` (place,) closes thirds and lock too; selling today stays open."""
    n, months = hold.shape
    mask = np.zeros((n, months + 3), bool)
    mask[:, FIRST : FIRST + months] = hold
    if rest is not None:
        mask[:, FIRST + months :] = rest[:, None]
    return mask


def held(terms: Terms, draws: int, net_into: Callable[[Floats, Floats, Floats], None]) -> Held:
    """Gains of every way over selling today.

    Parameters
    ----------
    draws : how many futures
    net_into : fills (place, draw, month) with drawn prices less cost, from expected prices and costs (place, month)
    """
    n, months = terms.quoted.shape
    gain = np.zeros((n, draws, months + 3))
    by_month = gain[:, :, FIRST : FIRST + months]
    net_into(by_month, terms.quoted, terms.cost)
    by_month -= terms.price[:, None, None]
    by_month += terms.basis_luck[:, :, None]
    open_ = terms.open_months
    sure = terms.quoted - terms.cost - terms.price[:, None]
    best = np.argmax(np.where(open_, sure, -np.inf), axis=1)
    reach = np.where(open_.all(axis=1), months, np.argmin(open_, axis=1))
    third_at = np.minimum(np.maximum(reach, 2), THIRDS_REACH) - 1
    middle = np.maximum((third_at + 1) // 2 - 1, 0)
    gain[:, :, -2] = (_at(by_month, middle) + _at(by_month, third_at)) / 3.0
    gain[:, :, -1] = np.take_along_axis(sure, best[:, None], axis=1) + terms.basis_luck - terms.fee[:, None]
    return Held(terms, gain, best, third_at, best)


def _at(by_month: Floats, month: Ints) -> Floats:
    return np.asarray(np.take_along_axis(by_month, month[:, None, None], axis=2)[:, :, 0])


Quantities = dict[str, tuple[Any, Any]]


def figures(h: Held, unit: str, moved: Bools) -> Quantities:
    """Figures of every row that need no ruling; those about holding are left out where it is barred (`moved`)."""
    some, rows = h.terms.open_months.any(axis=1), np.arange(len(moved))
    chance, even = h.chance(), h.terms.price[:, None] + h.terms.cost
    shut = h.closed() | moved[:, None]
    found: Quantities = {}
    for m in range(h.months):
        found[f"break_even_month_{m + 1}"] = (np.where(moved, np.nan, even[:, m]), unit)
    for m in range(h.months):
        found[f"chance_pays_month_{m + 1}"] = (np.where(h.terms.open_months[:, m], chance[:, m], np.nan), "1")
    return found | {
        "best_hold_months": (np.where(some, h.best_hold + 1.0, np.nan), "month"),
        "chance_holding_pays": (np.where(some, chance[rows, h.best_hold], np.nan), "1"),
        "expected_gain_of_holding": (np.where(some, h.mean()[rows, h.best_hold], np.nan), unit),
        "thirds_last_month": (np.where(shut[:, -2], np.nan, h.third_at + 1.0), "month"),
        "lock_month": (np.where(shut[:, -1], np.nan, h.lock_at + 1.0), "month"),
    }


def ruled_figures(h: Held, unit: str, moved: Bools, size: Floats) -> Callable[[Any], Mapping[str, tuple[Any, Any]]]:
    """Figures that rest on the ruling: what the best is worth in all, the worst tenth, certainty equivalents."""
    some, rows, price = h.terms.open_months.any(axis=1), np.arange(len(moved)), h.terms.price

    def of(ruling: Any) -> Quantities:
        best, at = np.maximum(ruling.leads, 0), h.best_hold + FIRST
        over = np.where(moved, np.nan, ruling.figures.expected[rows, best] * size)
        return {
            "worst_tenth_holding": (np.where(some, price + ruling.figures.worst_tenth[rows, at], np.nan), unit),
            "best_over_selling_now": (over, "USD"),
            "certainty_equivalent_now": (price + ruling.certain[:, NOW], unit),
            "certainty_equivalent_holding": (np.where(some, price + ruling.certain[rows, at], np.nan), unit),
        }

    return of


def sale_days(h: Held) -> Floats:
    """(place, option) days until what is held or locked is sold; NaN for what is sold today, or in thirds."""
    n, months = h.terms.quoted.shape
    out = np.full((n, months + 3), np.nan)
    out[:, FIRST : FIRST + months] = MONTH * np.arange(1, months + 1)
    out[:, -1] = MONTH * (h.lock_at + 1)
    return out
