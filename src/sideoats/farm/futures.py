"""Named futures: three of the draws, bad, middling and good for the farm: what each is like, what each call does there.

Each is the draw nearest, in all that is drawn, to the mean of the draws about that percentile of the farm's money. It
is called by what in it lies far from the middle of the futures: rain and warmth of the next three months, and prices of
what the farm sells and buys in six.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from sideoats.facts import Facts
from sideoats.farm.ways import Block, Way

if TYPE_CHECKING:
    from sideoats.outlook import Outlook

Floats = NDArray[np.float64]
LEVELS = (0.1, 0.5, 0.9)
ABOUT = 0.1  # share of the draws about each percentile among which one is picked
SPAN, AHEAD = 90, 180  # days: of the weather, and to the price
PRICED = ("feeder steer", "wheat", "corn", "grass hay", "cotton", "soybean")


@dataclass(frozen=True)
class Future:
    """One draw.

    Attributes
    ----------
    level : the percentile of the farm's money that it stands for
    draw : its index
    named : (what, how far from the middle in standard deviations), the farthest first
    plan, nothing : the farm's money in it, with the acts and without [USD]
    by : (place, question, USD) of the calls that move most in it, luck included
    """

    level: float
    draw: int
    named: tuple[tuple[str, float], ...]
    plan: float
    nothing: float
    by: tuple[tuple[str, str, float], ...]


def features_of(outlook: Outlook, station: str, market: str) -> dict[str, Floats]:
    """Name -> (draw,) what is drawn for a station and a market, in standard deviations from the middle."""
    found: dict[str, Floats] = {}
    prices = outlook.part(outlook.footing(station, market))
    if prices.has_weather and station in prices.records:
        year, row = prices.year_of_draw, int(prices.station_rows([station])[0])
        found["rain"] = prices.daily("rain")[row, :, :SPAN].sum(axis=1)[year]
        found["warmth"] = (prices.daily("tmax")[row, :, :SPAN] + prices.daily("tmin")[row, :, :SPAN]).mean(axis=1)[year]
    for name in PRICED:
        own = sorted(q for q in prices.price_history if q.startswith(name))
        if own:
            found[name] = np.log(prices.price_ratio(own[0], [AHEAD])[:, 0])
    return {name: _standard(x) for name, x in found.items() if np.nanstd(x) > 0}


def _standard(x: Floats) -> Floats:
    return np.asarray((x - np.nanmedian(x)) / np.nanstd(x))


def _head(block: Block, way: Way) -> tuple[str, str]:
    """Place and question by which a block is told: of what is done, else of its first call."""
    call = (way.taken[0][0] if way.taken else block.stakes[0]).call
    return call.place_name or call.place, call.question


def futures_of(
    blocks: Sequence[Block], ways: Sequence[Way], luck: Floats, outlook: Outlook, facts: Facts
) -> tuple[Future, ...]:
    """The bad, the middling and the good future of a farm; weather and prices are those of its first call with both."""
    if not blocks:
        return ()
    stakes = [s for b in blocks for s in b.stakes]
    station = next((s.call.station for s in stakes if s.call.station), "")
    market = next((s.market for s in stakes if s.market), "")
    named, odd = features_of(outlook, station, market), facts.value("farm/future.odd")
    each = np.array([b.luck + w.money for b, w in zip(blocks, ways, strict=True)])
    money = each.sum(axis=0)
    order, about = np.argsort(money, kind="stable"), max(int(ABOUT * money.size), 1)
    table = np.array([*named.values(), _standard(money) if money.std() > 0 else money])
    out = []
    for level in LEVELS:
        at = int(np.clip(round(level * (money.size - 1)) - about // 2, 0, money.size - about))
        near = order[at : at + about]
        gap = table[:, near] - table[:, near].mean(axis=1, keepdims=True)
        draw = int(near[np.argmin((gap**2).sum(axis=0))])
        told = sorted(((n, float(x[draw])) for n, x in named.items() if abs(x[draw]) >= odd), key=lambda t: -abs(t[1]))
        moved = sorted(
            ((*_head(b, w), float(m[draw])) for b, w, m in zip(blocks, ways, each, strict=True)),
            key=lambda t: -abs(t[2]),
        )
        out.append(Future(level, draw, tuple(told[:3]), float(money[draw]), float(luck[draw]), tuple(moved[:4])))
    return tuple(out)
