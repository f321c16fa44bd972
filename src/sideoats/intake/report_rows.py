"""Rows of a cattle report, however it was saved: what a class, a grade and a note are called, and rows taken together.

Rows of one class and one weight step of 50 lb become one quote, weighted by head and weight. Rows that carry a note
(fleshy, thin, unweaned, replacement, value added) are never averaged with the plain ones.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import ArrayLike

from sideoats.intake.quotes import Quote

WEIGHT_STEP = 50
SLAUGHTER_WEIGHT = 1050  # lb
NOTES = (
    "dressed",
    "unweaned",
    "fleshy",
    "thin fleshed",
    "thin",
    "replacement",
    "value added",
    "full",
    "gaunt",
    "calves",
)
_CLASSES = {
    "feeder steer": "feeder steer", "feeder heifer": "feeder heifer", "feeder bull": "feeder bull",
    "slaughter cow": "cull cow", "slaughter bull": "cull bull", "bred heifer": "bred heifer", "bred cow": "bred cow",
    "slaughter steer": "slaughter steer", "slaughter heifer": "slaughter heifer", "stock cow": "bred cow",
    "steer": "feeder steer", "heifer": "feeder heifer", "cow": "cull cow", "bull": "cull bull",
}  # fmt: skip
_COW_CLASSES = ("lean", "boner", "breaker", "cutter", "canner")
GRADE = re.compile(r"(small|medium|large)(?:\s+and\s+(large))?\s+#?([1-4](?:\s*-\s*[2-4])?)", re.IGNORECASE)


@dataclass(frozen=True)
class ReportRow:
    """One row of a report; weights in lb, prices in `unit`, NaN where not printed."""

    on: date
    market: str
    animal: str
    grade: str
    note: str
    head: float
    weight: float
    price: float
    low: float
    high: float
    unit: str
    source: str = ""

    def commodity(self, cow_class: str) -> str:
        """The name under which its quote is kept."""
        if self.animal == "cull cow":
            plain = not self.grade or self.grade == cow_class
            words = ["cull cow" if plain else f"cull cow, {self.grade}"]
        elif self.animal.startswith("feeder"):
            words = [f"{self.animal} {WEIGHT_STEP * math.floor(self.weight / WEIGHT_STEP + 0.5):d} lb"]
            words += [self.grade] if self.grade not in ("", "medium and large 1", "medium and large 1-2") else []
        else:
            words = [self.animal]
        return ", ".join([*words, self.note] if self.note else words)


def combined(head: ArrayLike, weight: ArrayLike, price: ArrayLike) -> tuple[float, float, float, float]:
    """Total head, total pounds, average weight and average price of several rows.

    The price is weighted by head x average weight, as the public feeder index is; the weight by head.

    Parameters
    ----------
    head, weight, price : (n,) head, lb, USD/cwt
    """
    h, w, p = (np.asarray(x, dtype=np.float64) for x in (head, weight, price))
    total, pounds = float(h.sum()), float((h * w).sum())
    return total, pounds, pounds / total, float((h * w * p).sum() / pounds)


_MOST = 1e9  # beyond any head, price or weight: sums of what a report prints must stay finite


def checked(head: float, weight: float, price: float, low: float, high: float) -> dict[str, float]:
    if not 0 < head <= _MOST:
        raise ValueError(f"{head:g} head")
    if not 0 < price <= _MOST:
        raise ValueError(f"price {price:g}")
    if weight <= 0 or weight > _MOST:  # not known is no weight at all
        raise ValueError(f"weight {weight:g}")
    if not low - 0.005 <= price <= high + 0.005:
        raise ValueError(f"average price {price:g} is outside its range {low:g} to {high:g}")
    return {"head": head, "weight": weight, "price": price, "low": low, "high": high}


def animal_of(text: str) -> str:
    lowered = " ".join(text.lower().split())
    for word, animal in _CLASSES.items():
        if re.search(rf"\b{word}s?\b", lowered):
            return animal
    return ""


def by_weight(animal: str, weight: float) -> str:
    """Direct reports say only "steers": at these weights they go to slaughter."""
    return animal.replace("feeder", "slaughter") if weight >= SLAUGHTER_WEIGHT else animal


def grade_of(text: str) -> str:
    lowered = text.lower()
    for cow in _COW_CLASSES:
        if re.search(rf"\b{cow}s?\b", lowered):
            return cow
    match = GRADE.search(text)
    if not match:
        return ""
    frame = match.group(1).lower() + (" and large" if match.group(2) else "")
    return f"{frame} {match.group(3).replace(' ', '')}"


def note_of(text: str) -> str:
    lowered = text.lower()
    return next((note for note in NOTES if re.search(rf"\b{note}\b", lowered)), "")


def quotes_of(rows: Sequence[ReportRow], cow_class: str = "boner") -> list[Quote]:
    """One quote a day, market and commodity, in order of first appearance."""
    groups: dict[tuple[date, str, str, str], list[ReportRow]] = {}
    for row in rows:
        groups.setdefault((row.on, row.market, row.commodity(cow_class), row.unit), []).append(row)
    out = []
    for (on, market, commodity, unit), members in groups.items():
        weights = [m.weight if np.isfinite(m.weight) else 1.0 for m in members]
        head, _, _, price = combined([m.head for m in members], weights, [m.price for m in members])
        low, high = min(m.low for m in members), max(m.high for m in members)
        out.append(
            Quote(on, commodity, f"{price:.2f} {unit}", market, f"{low:.2f} {unit}", f"{high:.2f} {unit}",
                  f"{head:g} head", source=members[0].source or "USDA market news")
        )  # fmt: skip
    return out
