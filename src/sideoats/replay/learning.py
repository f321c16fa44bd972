"""What settled calls teach: how ranges held and chances came, by question, horizon, season or adviser; and the mending.

Nothing is mended silently: every figure stands beside the raw one, with how many outcomes it rests on.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from sideoats.decide.calibration import Moved, Widened, moved, widened
from sideoats.replay.settle import Settled
from sideoats.week.scoring import brier

HORIZONS = ((0, "now"), (7, "week"), (28, "month"))  # days from which a call's day is of that class
LATER = "later"


@dataclass(frozen=True)
class Learned:
    """One group of settled calls.

    Attributes
    ----------
    ranges : how ranges would be moved and widened
    chances : how chances would be moved
    held, again : share of outcomes that the raw ranges held, and that the mended ones would have; NaN without any
    raw, better : Brier score of the stated chances, and of the moved ones; NaN without any
    crps : mean, of those that have one
    """

    group: tuple[str, ...]
    count: int
    ranges: Widened
    chances: Moved
    held: float
    again: float
    raw: float
    better: float
    crps: float

    def full(self) -> dict[str, Any]:
        """JSON."""

        def number(x: float) -> float | None:
            return round(float(x), 4) if np.isfinite(x) else None

        r, c = self.ranges, self.chances
        return {
            "group": list(self.group), "count": self.count,
            "ranges": {"count": r.count, "held": r.held, "share": number(self.held), "shift": number(r.shift),
                       "factor": number(r.factor), "share_mended": number(self.again)},
            "chances": {"count": c.count, "brier": number(self.raw), "shift": number(c.shift), "slope": number(c.slope),
                        "brier_mended": number(self.better)},
            "crps": number(self.crps),
        }  # fmt: skip


def horizon_class(days: int) -> str:
    """The class of a horizon: now, within a week, within a month, later."""
    return next((name for most, name in HORIZONS if days <= most), LATER)


BY: Mapping[str, Callable[[Settled], tuple[str, ...]]] = {
    "question": lambda r: (r.question,),
    "horizon": lambda r: (r.question, horizon_class(r.horizon)),
    "season": lambda r: (str(r.on.year),),
    "adviser": lambda r: (r.adviser,),
}


def learned(rows: Sequence[Settled], by: str = "question") -> list[Learned]:
    """Groups of settled calls, each shrunk to all of them together, the most outcomes first."""
    whole = _taught((), rows, None, None)
    groups: dict[tuple[str, ...], list[Settled]] = {}
    for row in rows:
        groups.setdefault(BY[by](row), []).append(row)
    found = [_taught(group, own, whole.ranges, whole.chances) for group, own in groups.items()]
    return sorted(found, key=lambda g: (-g.count, g.group))


def _taught(group: tuple[str, ...], rows: Sequence[Settled], ranges: Widened | None, chances: Moved | None) -> Learned:
    spans = np.array([r.range for r in rows if r.range]).reshape(-1, 3)
    pairs = np.array([pair for r in rows for pair in r.chances.values()]).reshape(-1, 2)
    wide = widened(spans[:, 0], spans[:, 1], spans[:, 2], start=_bare(ranges))
    along = moved(pairs[:, 0], pairs[:, 1], start=chances)
    low, high = wide.apply(spans[:, 0], spans[:, 1])
    inside = (spans[:, 2] >= low) & (spans[:, 2] <= high)
    crps = [r.crps for r in rows if np.isfinite(r.crps)]
    return Learned(
        group, len(rows), wide, along,
        wide.held / wide.count if wide.count else np.nan,
        float(inside.mean()) if len(inside) else np.nan,
        brier(*pairs.T) if len(pairs) else np.nan,
        brier(along.apply(pairs[:, 0]), pairs[:, 1]) if len(pairs) else np.nan,
        float(np.mean(crps)) if crps else np.nan,
    )  # fmt: skip


def _bare(start: Widened | None) -> Widened | None:
    return None if start is None else Widened(start.shift, start.factor)
