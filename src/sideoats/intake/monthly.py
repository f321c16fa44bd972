"""Monthly means rebuilt from dated quotes: what a month's sales brought, weighted by the head behind each.

A month counts where the file goes on past it, or reaches its last week, so that a month half reported is not taken for
a whole one. Quotes without a number of head count alike. The mean of a month is an average and moves less than any day
of it (World Bank prices beside the project show it), so that it is kept as a market of its own, never mixed with a
sale.
"""

from __future__ import annotations

from calendar import monthrange
from collections.abc import Sequence
from dataclasses import replace
from datetime import date

import numpy as np

from sideoats import units
from sideoats.errors import InputError
from sideoats.intake.quotes import Quote

SUFFIX = "-month"
_LAST_WEEK = 7


def monthly_means(quotes: Sequence[Quote]) -> list[Quote]:
    """One quote for each market, commodity and whole month, dated at its end; markets are named with ``-month``.

    Raises nothing: quotes whose price is not in the unit of the month's first are left out.
    """
    last = max((q.on for q in quotes), default=date.min)
    groups: dict[tuple[str, str, int, int], list[Quote]] = {}
    for quote in quotes:
        groups.setdefault((quote.market, quote.commodity, quote.on.year, quote.on.month), []).append(quote)
    out = []
    for (market, _, year, month), members in sorted(groups.items()):
        end = date(year, month, monthrange(year, month)[1])
        if (end - last).days >= _LAST_WEEK:
            continue
        price, unit = _mean(members)
        text = f"{price:.2f} {unit}"
        out.append(
            replace(members[0], on=end, price=text, market=f"{market}{SUFFIX}", low="", high="", delivery="", basis="",
                    volume=f"{sum(map(_head, members)):g} head" if all(map(_head, members)) else "",
                    source=f"mean of {len(members)} reports of the month", line=0)
        )  # fmt: skip
    return out


def _mean(members: Sequence[Quote]) -> tuple[float, str]:
    unit = members[0].price.split(" ", 1)[1]
    prices, weights = [], []
    for quote in members:
        try:
            prices.append(units.parse(quote.price, unit))
        except InputError:
            continue
        weights.append(_head(quote) or 1.0)
    return float(np.average(prices, weights=weights)), unit


def _head(quote: Quote) -> float:
    """Head behind a quote, 0 where it does not say."""
    number, _, what = quote.volume.partition(" ")
    return float(number) if what == "head" else 0.0
