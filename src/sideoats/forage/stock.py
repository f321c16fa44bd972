"""Classes of cattle as the questions of this room name them, and which of them count as being at special risk."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sideoats.facts import Fact

Floats = NDArray[np.float64]

CLASSES = (
    "pregnant-cow", "pregnant-heifer", "lactating-cow", "open-cow", "calf", "growing", "finishing", "bull", "unknown",
)  # fmt: skip
ALIASES: Mapping[str, str] = {
    "pregnant": "pregnant-cow", "cow": "pregnant-cow", "cows": "pregnant-cow", "dry-cow": "pregnant-cow",
    "dry cow": "pregnant-cow",
    "heifer": "pregnant-heifer", "heifers": "pregnant-heifer", "bred-heifer": "pregnant-heifer",
    "wet-cow": "lactating-cow",
    "pairs": "lactating-cow", "non-pregnant-cow": "open-cow", "nonpregnant": "open-cow", "non-pregnant": "open-cow",
    "calves": "calf", "steer": "growing", "steers": "growing", "stocker": "growing", "stockers": "growing",
    "yearling": "growing", "feedlot": "finishing", "bulls": "bull", "pregnant cow": "pregnant-cow",
    "pregnant heifer": "pregnant-heifer", "lactating cow": "lactating-cow", "open cow": "open-cow",
    "cow-calf": "lactating-cow",
}  # fmt: skip
# Pregnant animals first; lactating, young and unknown ones are named as more sensitive by Manitoba and ServiTech.
AT_RISK = frozenset({"pregnant-cow", "pregnant-heifer", "lactating-cow", "calf", "unknown", ""})


def at_risk(classes: Sequence[Any], weakened: ArrayLike = False) -> NDArray[np.bool_]:
    """(n,) True where the strictest published class is used: the class itself, or animals hungry, sick, thin,
    unadapted."""
    risk = np.array([str(c) in AT_RISK for c in classes], dtype=bool)
    return np.asarray(risk | np.asarray(weakened, dtype=bool), dtype=bool)


def by_class(fact: Fact, classes: Sequence[Any], column: str, *, other: float = np.nan) -> Floats:
    """(n,) one column of a table fact whose first column names the row.

    A word that is not listed takes the row "unknown" where the table has one, else `other`.
    """
    held = dict(zip(fact.column(fact.columns[0]), fact.column(column), strict=True))
    blank = held.get("unknown", other)
    return np.array([held.get(str(c), blank) for c in classes], dtype=np.float64)


def water_gallons(fact: Fact, classes: Sequence[Any], air_degf: ArrayLike) -> Floats:
    """(n,) gal/day a head from the water table, linear between 70, 80 and 90 degF and flat outside.

    An animal that the table does not list, and an unknown air temperature, take the most water (90 degF; the lactating
    cow): more water is more nitrate.
    """
    air = np.asarray(air_degf, dtype=np.float64)
    air = np.clip(np.where(np.isnan(air), 90.0, air), 70.0, 90.0)
    cold, mild, hot = (
        by_class(fact, classes, name, other=float(max(fact.column(name)))) for name in ("t70", "t80", "t90")
    )
    low = cold + (mild - cold) * np.minimum(air - 70.0, 10.0) / 10.0
    return np.asarray(low + (hot - mild) * np.maximum(air - 80.0, 0.0) / 10.0, dtype=np.float64)
