"""Cash by month across calls: when the money of what is done, or left at its baseline, moves.

Only money whose day the question knows is dated; what else the acts gain is told as one sum without a month.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from sideoats.farm.ways import Block, Way

MONTHS = 12
CASH = "cash "


@dataclass(frozen=True)
class Months:
    """Cash that moves with the acts [USD, expected].

    Attributes
    ----------
    first : first days of the months, this one first
    moved : what moves in each
    left : what is on hand at the end of each; () where the farm does not say what it has
    undated : what the acts gain whose money has no day
    """

    first: tuple[date, ...]
    moved: tuple[float, ...]
    left: tuple[float, ...]
    undated: float


def first_days(on: date) -> tuple[date, ...]:
    """The first days of this month and the next eleven."""
    at = on.year * 12 + on.month - 1
    return tuple(date((at + k) // 12, (at + k) % 12 + 1, 1) for k in range(MONTHS))


def moved_by(block: Block, way: Way, on: date) -> tuple[NDArray[np.float64], float]:
    """What a way moves in each month, and what of its gain has no day (or none within the year) [USD, expected].

    Stakes of the block that the way leaves alone move the money of their baselines.
    """
    taken = {id(s): at for s, at in way.taken}
    months, over = np.zeros(MONTHS), 0.0
    for stake in block.stakes:
        at = taken.get(id(stake), stake.base)
        for days, money in stake.flows:
            month = _month(days[at], on)
            if month is not None and np.isfinite(money[at]):
                months[month] += money[at]
            if at != stake.base:
                here, base = (
                    float(m) if _month(d, on) is not None else 0.0
                    for d, m in ((days[at], money[at]), (days[stake.base], money[stake.base]))
                )
                over += here - base
    saved = float(way.money.mean()) - sum(float(s.money[at].mean()) for s, at in way.taken)
    months[0] += saved  # one pass where two were paid
    return months, float(way.money.mean()) - over - saved


def _month(days: float, on: date) -> int | None:
    if not np.isfinite(days):
        return None
    then = on + timedelta(days=int(days))
    month = (then.year - on.year) * 12 + then.month - on.month
    return month if 0 <= month < MONTHS else None


def months_of(blocks: Sequence[Block], ways: Sequence[Way], on: date, on_hand: float | None) -> Months:
    """Cash by month of the ways taken."""
    moved, undated = np.zeros(MONTHS), 0.0
    for block, way in zip(blocks, ways, strict=True):
        own, rest = moved_by(block, way, on)
        moved += own
        undated += rest
    left = () if on_hand is None else tuple((on_hand + np.cumsum(moved)).tolist())
    return Months(first_days(on), tuple(moved.tolist()), left, undated)


def within_floor(
    blocks: Sequence[Block], on: date, on_hand: float | None, floor: float | None
) -> tuple[list[Block], dict[str, float]]:
    """The blocks with what each way takes of the cash by the end of each month, and what may be taken by then.

    Nothing is limited where the farm does not say both. A month that is under the floor if nothing is done may not be
    made worse.
    """
    if on_hand is None or floor is None:
        return list(blocks), {}
    names = [f"{CASH}{day:%Y-%m}" for day in first_days(on)]
    room, out = np.full(MONTHS, float(on_hand - floor)), []
    for block in blocks:
        base = np.cumsum(moved_by(block, block.ways[0], on)[0])
        room += base
        ways = []
        for way in block.ways:
            taken = base - np.cumsum(moved_by(block, way, on)[0])
            uses = {name: float(x) for name, x in zip(names, taken, strict=True) if abs(x) > 1e-9}
            ways.append(replace(way, uses={**way.uses, **uses}))
        out.append(replace(block, ways=tuple(ways)))
    return out, dict(zip(names, np.maximum(room, 0.0).tolist(), strict=True))
