"""Prices that are asked back before any money is told: a misplaced decimal, a year gone by, futures taken for bids."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from sideoats.grain.carry import MONTH_DAYS, share_of_full_carry
from sideoats.question import Context
from sideoats.words import LongDay, Measured, Money, Said, say

Floats = NDArray[np.float64]
SLIP = 3.0  # a misplaced decimal is tenfold; grain has not tripled, or fallen to a third, within a year
PAST = 31  # days: a quote for a month that is over a while is last year's, or a slip of the year


@dataclass(frozen=True)
class Doubt:
    """Rows (place,) with a quote, or a price of today, to ask back, and what to ask."""

    rows: NDArray[np.bool_]
    prices: NDArray[np.bool_]
    why: dict[int, Said] = field(default_factory=dict)

    def asks(self, row: int) -> Said | None:
        """What to ask about a row; None where nothing is doubtful."""
        return self.why.get(row)


def doubtful_quotes(
    context: Context, crop: NDArray[np.object_], price: Floats, quotes: NDArray[np.object_], basis: Floats
) -> Doubt:
    """Prices that no crop of its kind has had, quotes of a time gone by, and quotes out of line with today's price.

    A quote three times today's price, or a third of it, is a slip. A quote that rises over today's price by far more
    than storage and interest cost the trade, where no basis was given, is a futures price rather than a bid: anybody
    would buy today and deliver then. What it costs the grower is no matter: his own cheap bin makes no bid doubtful.

    Parameters
    ----------
    crop : (place,) what it is
    price : (place,) today's net price [USD/bu]
    quotes : (place,) tuples of (date, USD/bu), or None
    basis : (place,) NaN where none was given [USD/bu]
    """
    most, least_gap = context.facts.value("grain/full_carry.doubt"), context.facts.value("grain/full_carry.least_gap")
    storage, rate = context.facts.value("grain/full_carry.storage"), context.facts.value("grain/full_carry.interest")
    likely = {name: (low, high) for name, low, high in context.facts["grain/likely_price"].rows}
    why: dict[int, Said] = {}
    for row in np.flatnonzero(np.isfinite(price)).tolist():
        low, high = likely[crop[row].split()[-1]]
        if not low <= price[row] <= high:
            why[row] = _unlikely(price[row], low, high)
    prices = np.zeros(len(price), bool)
    prices[list(why)] = True
    for row, series in enumerate(quotes):  # ragged evidence
        for when, value in series or ():
            months = (when - context.on).days / MONTH_DAYS
            if when < context.on - timedelta(days=PAST):
                why.setdefault(row, _past(value, when))
            if months <= 0 or row in why or not np.isfinite(price[row]):
                continue
            here = value + np.nan_to_num(basis[row])
            if not price[row] / SLIP <= here <= price[row] * SLIP:
                why[row] = _slip(price[row], value, when)
                continue
            share = share_of_full_carry(price[row], value, months, storage=storage * months, annual_rate=rate)
            if np.isnan(basis[row]) and share > most and value - price[row] > least_gap:
                why[row] = _futures(price[row], value, when, float(share))
    rows = np.zeros(len(price), bool)
    rows[list(why)] = True
    return Doubt(rows, prices, why)


def _unlikely(price: float, low: float, high: float) -> Said:
    return say("grain.ask.price", price=_by_bushel(price), low=_by_bushel(low), high=_by_bushel(high))


def _past(value: float, when: date) -> Said:
    return say("grain.ask.past", quote=_by_bushel(value), day=LongDay(when))


def _slip(price: float, value: float, when: date) -> Said:
    return say("grain.ask.slip", quote=_by_bushel(value), day=when, price=_by_bushel(price))


def _futures(price: float, value: float, when: date, share: float) -> Said:
    times = Measured(round(share, 1))
    return say("grain.ask.futures", quote=_by_bushel(value), day=when, price=_by_bushel(price), times=times)


def _by_bushel(price: float) -> Money:
    return Money(float(price), unit="USD/bu")
