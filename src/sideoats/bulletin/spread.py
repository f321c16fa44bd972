"""What may be told of many farms' figures: never a verdict, never an end that is one farm's, never an exact count.

A farm gives one figure, however many fields it has. Of the farms that have one, a fifth and at least two are left out
by a draw that hangs on all their figures, which nobody outside knows; at least `LEAST_FARMS` must be left. What is told
are order statistics of those with the lowest and the highest left out too, in two digits. So whoever lays two editions
side by side cannot tell a farm that joined, left or changed from one that was drawn in or out: any farm left out of one
of them may have the figure that moved.
"""

from __future__ import annotations

import hashlib
import math
import random
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from statistics import median
from typing import TYPE_CHECKING

from sideoats.words import Count, Said, say

if TYPE_CHECKING:
    from sideoats.call import Call

LEAST_FARMS = 5
LEAST_LEFT_OUT = 2  # of the farms that have a figure: with one, two editions could still pin a changed farm
# A farm count of so many and more is told as the word for the number beside it, the last that it reaches.
_ABOUT = ((8, 10), (11, 12), (14, 15), (18, 20), (26, 30), (36, 40), (46, 50))


@dataclass(frozen=True)
class Spread:
    """Figures of at least five farms, after the draw.

    Attributes
    ----------
    light, mid, heavy : second lowest, median and second highest farm, two significant digits
    farms : about how many farms, 5 for "at least five"
    """

    light: float
    mid: float
    heavy: float
    farms: int

    @property
    def told(self) -> Said:
        """How many farms, in words that give no exact number."""
        return say("edition.farms.five") if self.farms == LEAST_FARMS else say("edition.farms", n=Count(self.farms))


def spread(figures: Mapping[str, float]) -> Spread | None:
    """The spread of one figure a farm; None where fewer than `LEAST_FARMS` farms are left after the draw."""
    kept = sorted(figures[farm] for farm in drawn(figures))
    if len(kept) < LEAST_FARMS:
        return None
    light, mid, heavy = (_two_digits(v) for v in (kept[1], median(kept), kept[-2]))
    return Spread(light, mid, heavy, about(len(kept)))


def drawn(figures: Mapping[str, float]) -> list[str]:
    """The farms that are told of: all but a fifth and at least two, the same ones whenever the figures are the same."""
    farms = sorted(figures)
    left_out = max(LEAST_LEFT_OUT, len(farms) // 5)
    mark = hashlib.blake2b(repr([(farm, float(figures[farm])) for farm in farms]).encode(), digest_size=16).digest()
    return random.Random(mark).sample(farms, max(len(farms) - left_out, 0))  # noqa: S311


def about(farms: int) -> int:
    """A count of farms as it is told: 5 for five to seven, then 10, 12, 15, 20 and tens."""
    if farms >= 56:
        return 10 * round(farms / 10)
    return max((told for least, told in _ABOUT if farms >= least), default=LEAST_FARMS)


def by_farm(calls: Iterable[Call], figure: Callable[[Call], float]) -> dict[str, float]:
    """One figure a farm: the median over its places that have one."""
    found: dict[str, list[float]] = {}
    for call in calls:
        value = figure(call)
        if call.farm and math.isfinite(value):
            found.setdefault(call.farm, []).append(value)
    return {farm: median(values) for farm, values in found.items()}


def quantity(name: str) -> Callable[[Call], float]:
    """Reads a numeric quantity of a call; NaN where it has none."""

    def read(call: Call) -> float:
        found = call.quantities.get(name)
        return float(found.value) if found is not None and isinstance(found.value, int | float) else math.nan

    return read


def due(calls: Iterable[Call], on: date, *, most: int = 14, usual: int = 6) -> date:
    """By when a reader should look: the middle of the farms' own days, or `usual` days from now where few have one."""

    def days(call: Call) -> float:
        day = call.act_by or call.look_by
        return math.nan if day is None else float((day - on).days)

    found = spread(by_farm(calls, days))
    return on + timedelta(days=usual if found is None else int(min(max(found.mid, 1), most)))


def _two_digits(value: float) -> float:
    return float(f"{value:.2g}") + 0.0
