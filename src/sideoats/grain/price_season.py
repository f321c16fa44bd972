"""What past years did to the price of a crop over the months that it would be held, and the harvest in between."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta

import numpy as np

from sideoats.errors import InputError
from sideoats.grain.holding import month_days
from sideoats.outlook.seasonal import season_move
from sideoats.question import Context
from sideoats.words import Name, Said, Share, say


def seasonal_record(
    context: Context, crop: str, series: Sequence[tuple[date, float]] | None, months: int, level: float
) -> Said | None:
    """What past years did from this month to that many months on; None where nothing is on file.

    The row's own history, else the quotes on file. `level` is the ratio of prices that would have paid the carry. The
    mean, the median and the share of years stand side by side, because they often disagree.
    """
    if series is not None:
        when = np.array([d for d, _ in series], dtype="datetime64[D]")
        prices = np.array([p for _, p in series], dtype=np.float64)
    elif crop in context.outlook.price_history:
        when, prices = context.outlook.price_history[crop]
    else:
        return None
    try:
        moved = season_move(when, prices, context.on, sold_on(context, months))
    except InputError:
        return say("grain.because.history_short")
    if moved is None:
        return None
    return say(
        "grain.because.season",
        n=int(moved.moves.size),
        last=Name(str(moved.years[1])),
        mean=Share(moved.mean - 1),
        median=Share(moved.median - 1),
        paid=Share(moved.share_above(level)),
    )


def sold_on(context: Context, months: int) -> date:
    """The day so many months on."""
    return context.on + timedelta(days=int(month_days(context.on, months)[-1]))


def new_crop_by(context: Context, crop: str, months: int) -> date | None:
    """The day on which the next harvest of the region reaches the market, where it comes before the sale."""
    comes = context.region.next(f"new-crop-{crop.replace(' ', '-')}", context.on + timedelta(days=1))
    return comes if comes <= sold_on(context, months) else None
