"""Grain prices of the coming months, on the outlook's shared draws.

No drift is invented: the mean over the draws is what is quoted for that month, or today's price where nothing is.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.grain.holding import month_days
from sideoats.outlook.paths import own_log_ratios
from sideoats.question import Context

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class PriceDraws:
    """Price over its expected value: ratio (model, draw, month), mean 1 over the draws; model (place,) says which.

    Rows share a model where crop, stated volatility and own history are the same, so that a thousand bins of one crop
    hold one set of draws.
    """

    ratio: Floats
    model: NDArray[np.int64]

    def net_into(self, out: Floats, expected: Floats, cost: Floats, months: NDArray[np.int64] | None = None) -> None:
        """Fill `out` (place, draw, month) with the drawn price less the cost of keeping, from (place, month) arrays.

        `months` picks the months that `out` has, by index; all where None.
        """
        for at in range(len(self.ratio)):  # a loop over models, not over places
            rows = np.flatnonzero(self.model == at)
            ratio = self.ratio[at] if months is None else self.ratio[at][:, months]
            out[rows] = expected[rows, None, :] * ratio[None] - cost[rows, None, :]

    def at(self, month: NDArray[np.int64]) -> Floats:
        """(place, draw) ratios at each place's own month index."""
        return np.asarray(self.ratio[self.model, :, month])


def price_draws(
    context: Context, crop: NDArray[np.object_], volatility: Floats, histories: NDArray[np.object_]
) -> PriceDraws:
    """Price draws of every row for the coming months.

    The crop's draws of the outlook, shared by every question; where a row states its own yearly volatility, the same
    draws stretched to it (lognormal); where it brings its own price history, blocks of that history's moves
    (`sideoats.outlook.prices.block_log_paths`) on uniforms that all such rows share.

    Parameters
    ----------
    crop : (place,) names as the outlook knows them
    volatility : (place,) standard deviation of the log price over a year, NaN where not stated [1]
    histories : (place,) tuples of (date, price), or None
    """
    days = month_days(context.on)
    known: dict[Any, int] = {}
    model = np.empty(len(crop), dtype=np.int64)
    for row, (name, spread, series) in enumerate(zip(crop, volatility.tolist(), histories, strict=True)):
        key = (name, None, series) if np.isnan(spread) else (name, spread, None)
        model[row] = known.setdefault(key, len(known))
    ratios = []
    for name, spread, series in known:
        ratio = np.exp(_log_ratios(context, name, spread, series, days))
        ratios.append(ratio / ratio.mean(axis=0))
    return PriceDraws(np.stack(ratios), model)


def _log_ratios(
    context: Context, crop: str, volatility: float | None, series: Sequence[tuple[date, float]] | None, days: Floats
) -> Floats:
    """(draw, month) log ratios of one model."""
    if series is not None:
        years = context.facts.value("grain/history_years")
        own = own_log_ratios(context.outlook, series, days, years=years, facts=context.facts)
        if own is not None:
            return own
    shared = np.log(context.outlook.price_ratio(crop, days))
    if volatility is not None:
        shock = (shared - shared.mean(axis=0)) / shared.std(axis=0)
        spread = volatility * np.sqrt(days / 365.0)
        return np.asarray(spread * shock - spread**2 / 2)
    fallback = f"outlook/volatility.{crop.replace(' ', '_')}"
    if crop not in context.outlook.price_history and fallback in context.facts.by_id:
        context.facts[fallback]  # the outlook drew with it: cite it
    return np.asarray(shared)
