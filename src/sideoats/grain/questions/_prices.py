"""Grain prices of the coming months for the questions of this room, on the outlook's shared draws.

No drift is invented: the mean over the draws is what is quoted for that month, or today's price where nothing is.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.decide.laws import median
from sideoats.grain.holding import month_days
from sideoats.outlook.draws import Outlook
from sideoats.outlook.paths import recent
from sideoats.question import Context
from sideoats.words import Name, Said, Share, say

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
        own = history_log_ratios(context.outlook, series, days, years=years, new=recent(context.facts))
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


def history_log_ratios(
    outlook: Outlook,
    series: Sequence[tuple[date, float]],
    days: Floats,
    *,
    years: float,
    new: Mapping[str, float] | None = None,
) -> Floats | None:
    """Log price over today's from blocks of a history's newest years, (draw, k); None where it is too short to use.

    `new` : arguments of `sideoats.outlook.prices.recent_spread`; the spread of all those years where None
    """
    from sideoats.errors import InputError
    from sideoats.outlook.prices import (
        BLOCK_DAYS,
        block_log_paths,
        block_starts,
        long_enough,
        recent_spread,
        shared_span,
        with_spread,
    )

    when = np.array([d for d, _ in series], dtype="datetime64[D]")
    price = np.array([p for _, p in series], dtype=np.float64)
    recent = when >= when.max() - np.timedelta64(round(years * 365.25), "D")
    usable = long_enough({"own": (when[recent], price[recent])})
    if not usable:
        return None
    try:
        first, last = shared_span(usable)
    except InputError:
        return None
    blocks = int(np.ceil(days.max() / BLOCK_DAYS))
    uniform = outlook.generator("grain price blocks").random((outlook.draws, blocks))
    paths = block_log_paths(*usable["own"], block_starts(uniform, first, last), days)
    return paths if new is None else with_spread(paths, recent_spread(*usable["own"], days, **new))


def seasonal_record(
    context: Context, crop: str, series: Sequence[tuple[date, float]] | None, months: int, level: float
) -> Said | None:
    """What past years did from this month to that many months on; None where nothing is on file.

    The row's own history, else the quotes on file. `level` is the ratio of prices that would have paid the carry. The
    mean, the median and the share of years stand side by side, because they often disagree.
    """
    from sideoats.errors import InputError
    from sideoats.outlook.seasonal import monthly_means, seasonal_index, share_of_years_above, year_ratios

    if series is not None:
        when = np.array([d for d, _ in series], dtype="datetime64[D]")
        prices = np.array([p for _, p in series], dtype=np.float64)
    elif crop in context.outlook.price_history:
        when, prices = context.outlook.price_history[crop]
    else:
        return None
    first, _, monthly = monthly_means(when, prices)
    month = context.on.month
    later = (month - 1 + months) % 12 + 1
    try:
        index = seasonal_index(first, monthly)
    except InputError:
        return say("grain.because.history_short")
    moved = year_ratios(index, month, later)
    if not moved.size:
        return None
    share = share_of_years_above(index, month, later, level)
    return say(
        "grain.because.season",
        n=int(moved.size),
        last=Name(str(index.years[1])),
        mean=Share(float(moved.mean()) - 1),
        median=Share(float(median(moved)) - 1),
        paid=Share(float(share)),
    )
