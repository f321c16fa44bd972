"""Quotes that are asked back before any money is told: a misplaced decimal, or futures taken for bids."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date

import numpy as np
from numpy.typing import NDArray

from sideoats.grain.carry import MONTH_DAYS, share_of_full_carry
from sideoats.question import Context
from sideoats.words import Measured, Money, Said, say

Floats = NDArray[np.float64]
SLIP = 3.0  # a misplaced decimal is tenfold; grain has not tripled, or fallen to a third, within a year


@dataclass(frozen=True)
class Doubt:
    """Rows (place,) with a quote to ask back, and what to ask."""

    rows: NDArray[np.bool_]
    why: dict[int, Said] = field(default_factory=dict)

    def asks(self, row: int) -> Said | None:
        """What to ask about a row; None where nothing is doubtful."""
        return self.why.get(row)


def doubtful_quotes(
    context: Context, price: Floats, quotes: NDArray[np.object_], basis: Floats, per_month: Floats, rate: Floats
) -> Doubt:
    """Quotes out of line with today's price.

    A quote three times today's price, or a third of it, is a slip. A quote that rises over today's price by far more
    than storage and interest cost, where no basis was given, is a futures price rather than a bid: anybody would buy
    today and deliver then.

    Parameters
    ----------
    price : (place,) today's net price [USD/bu]
    quotes : (place,) tuples of (date, USD/bu), or None
    basis : (place,) NaN where none was given [USD/bu]
    per_month : (place,) storage [USD/bu/month]; rate : (place,) interest a year
    """
    most, least_gap = context.facts.value("grain/full_carry.doubt"), context.facts.value("grain/full_carry.least_gap")
    why: dict[int, Said] = {}
    for row, series in enumerate(quotes):  # ragged evidence
        for when, value in series or ():
            months = (when - context.on).days / MONTH_DAYS
            if months <= 0 or row in why or not np.isfinite(price[row]):
                continue
            here = value + np.nan_to_num(basis[row])
            if not price[row] / SLIP <= here <= price[row] * SLIP:
                why[row] = _slip(price[row], value, when)
                continue
            share = share_of_full_carry(
                price[row], value, months, storage=per_month[row] * months, annual_rate=rate[row]
            )
            if np.isnan(basis[row]) and share > most and value - price[row] > least_gap:
                why[row] = _futures(price[row], value, when, float(share))
    rows = np.zeros(len(price), bool)
    rows[list(why)] = True
    return Doubt(rows, why)


def _slip(price: float, value: float, when: date) -> Said:
    return say("grain.ask.slip", quote=_by_bushel(value), day=when, price=_by_bushel(price))


def _futures(price: float, value: float, when: date, share: float) -> Said:
    times = Measured(round(share, 1))
    return say("grain.ask.futures", quote=_by_bushel(value), day=when, price=_by_bushel(price), times=times)


def _by_bushel(price: float) -> Money:
    return Money(float(price), unit="USD/bu")
