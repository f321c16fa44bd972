"""Holding grain over the coming months: the local price that quotes stand for, cost of keeping, net price by month.

Months run 1 to `MONTHS_AHEAD`; arrays are (place, month) or (place, draw, month).
"""

from __future__ import annotations

from calendar import monthrange
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from sideoats.grain.carry import MONTH_DAYS, carrying_cost, indifference_price, storage_charge

if TYPE_CHECKING:
    from sideoats.question import Context

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

MONTHS_AHEAD = 12


def month_marks(months: int = MONTHS_AHEAD) -> Floats:
    """Months ahead, (month,): 1, 2, ... [month]."""
    return np.arange(1, months + 1, dtype=np.float64)


def month_days(on: date, months: int = MONTHS_AHEAD) -> Floats:
    """Days from `on` to the same day of the month 1, 2, ... months later (the month's last day where it is shorter)."""
    out = []
    for ahead in range(1, months + 1):
        year, month = divmod(on.month - 1 + ahead, 12)
        last = monthrange(on.year + year, month + 1)[1]
        out.append((date(on.year + year, month + 1, min(on.day, last)) - on).days)
    return np.array(out, dtype=np.float64)


def expected_price(
    price: Floats, quotes: NDArray[np.object_], basis: Floats, on: date, *, months: int = MONTHS_AHEAD
) -> Floats:
    """Local price that today's quotes stand for, (place, month), USD/bu.

    Parameters
    ----------
    price : (place,) today's net price [USD/bu]
    quotes : (place,) tuples of (date, USD/bu), or None where nothing is quoted
    basis : (place,) local price less the quote, expected when the grain is sold; 0 for local bids [USD/bu]
    on : today

    Returns
    -------
    Straight lines between today's price and the quotes; NaN beyond the last quote; today's price throughout where
    nothing is quoted. Quotes of today or earlier are left out.
    """
    days = month_days(on, months)
    out = np.repeat(np.asarray(price, np.float64)[:, None], months, axis=1)
    known: dict[Any, tuple[Floats, Floats]] = {}
    for row, series in enumerate(quotes):  # ragged evidence: one interpolation a row, each a few microseconds
        if series is None:
            continue
        if series not in known:
            ahead = [((when - on).days, value) for when, value in series]
            later = sorted((d, v) for d, v in ahead if d > 0)
            known[series] = (np.array([d for d, _ in later], float), np.array([v for _, v in later], float))
        at, quoted = known[series]
        if at.size:
            knots = np.concatenate([[price[row]], quoted + basis[row]])
            out[row] = np.interp(days, np.concatenate([[0.0], at]), knots, right=np.nan)
    return out


def price_that_came(
    context: Context, crop: Sequence[str] | NDArray[np.object_], price: Floats, expected: Floats
) -> Floats:
    """(place, month) in a replay's hindsight the price that came, elsewhere the expected price."""
    came = context.outlook.came
    if not came:
        return expected
    out, days = expected.copy(), month_days(context.on, expected.shape[1])
    for row, name in enumerate(crop):
        if name in came:
            out[row] = price[row] * context.outlook.price_ratio(name, days)[0]
    return out


def quoted_later(quotes: NDArray[np.object_], on: date) -> Bools:
    """(place,) True where something is quoted for a day after `on`; quotes as in `expected_price`."""
    return np.array([series is not None and any(when > on for when, _ in series) for series in quotes], bool)


@dataclass(frozen=True)
class StorageTerms:
    """What keeping costs, each (place,): see `sideoats.grain.carry.storage_charge`.

    per_month [USD/bu/month], free_days [day], minimum [USD/bu], handling [USD/bu], annual_rate [1/year],
    loss_per_month [share of value a month]
    """

    per_month: Floats
    free_days: Floats
    minimum: Floats
    handling: Floats
    annual_rate: Floats
    loss_per_month: Floats

    def cost(self, price: Floats, months: Floats) -> Floats:
        """Carrying cost, (place, month), USD/bu, on today's `price` (place,) for `months` (month,)."""

        def column(values: Floats) -> Floats:
            return np.asarray(values)[:, None]

        store = storage_charge(
            months[None, :],
            column(self.per_month),
            free_days=column(self.free_days),
            minimum=column(self.minimum),
            handling=column(self.handling),
        )
        return carrying_cost(
            column(price),
            months[None, :],
            storage=store,
            annual_rate=column(self.annual_rate),
            loss=column(self.loss_per_month) * months[None, :],
        )

    def indifference(self, quoted: Floats, months: Floats) -> Floats:
        """Today's price at which selling now equals each month's quote, (place, month), USD/bu."""
        store = storage_charge(
            months[None, :],
            self.per_month[:, None],
            free_days=self.free_days[:, None],
            minimum=self.minimum[:, None],
            handling=self.handling[:, None],
        )
        return indifference_price(
            quoted,
            months[None, :],
            storage=store,
            annual_rate=self.annual_rate[:, None],
            loss=self.loss_per_month[:, None] * months[None, :],
        )

    def days_within(self, price: Floats, next_month: Floats, tolerance: float, longest: int) -> Floats:
        """(place,) days, up to `longest`, that a sale may be put off for no more than `tolerance` [USD/bu].

        Free days, and the minimum that follows them, are counted.
        """
        late = np.stack([self.carry_of_days(price, next_month, d) > tolerance for d in range(1, longest + 1)], axis=1)
        return np.where(late.any(axis=1), late.argmax(axis=1), longest).astype(np.float64)

    def carry_of_days(self, price: Floats, next_month: Floats, days: float) -> Floats:
        """What waiting some days costs a bushel that would be sold today: carry less the rise quoted for `next_month`.

        `price`, `next_month` : (place,) [USD/bu]; a month without a quote brings no rise.
        """
        part = days / MONTH_DAYS
        stored = storage_charge(part, self.per_month, free_days=self.free_days, minimum=self.minimum)
        running = stored + price * (self.annual_rate / 12 + self.loss_per_month) * part
        return np.asarray(running - np.nan_to_num(next_month - price) * part)
