"""Classes of animals as the questions of this room name them, and which of them count as being at special risk."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sideoats.errors import InputError
from sideoats.facts import Fact, Facts
from sideoats.region import Region

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
# Words that are understood so that they are answered, although every published table here is for cattle.
NOT_CATTLE = ("horse", "sheep", "goat")
# Cattle that bloat and that tetany hardly takes.
NO_COWS = ("calf", "growing", "finishing", "bull")
ANY_CLASSES = (*CLASSES, *NOT_CATTLE)
ANY_ALIASES: Mapping[str, str] = {
    **ALIASES, "horses": "horse", "mare": "horse", "mares": "horse", "foal": "horse", "colt": "horse", "pony": "horse",
    "stallion": "horse", "gelding": "horse", "mule": "horse", "mules": "horse", "donkey": "horse", "equine": "horse",
    "ewe": "sheep", "ewes": "sheep", "lamb": "sheep", "lambs": "sheep", "ram": "sheep", "goats": "goat", "doe": "goat",
    "does": "goat", "nanny": "goat", "kid": "goat", "kids": "goat", "buck": "goat",
}  # fmt: skip
# Pregnant animals first; lactating, young and unknown ones are named as more sensitive by Manitoba and ServiTech.
AT_RISK = frozenset({"pregnant-cow", "pregnant-heifer", "lactating-cow", "calf", "unknown", "", *NOT_CATTLE})
# Whose limits a publisher prints: for all, or for stressed stock too, or for pregnant animals too. The strictest of all
# tables that were read binds all but the plain ones, each by what it prints for that animal.
PLAIN, SENSITIVE, STRESSED, PREGNANT = 0, 1, 2, 3
MILD, HOT = 80.0, 90.0  # degF, columns of the water table
_RISK = dict.fromkeys(AT_RISK, PREGNANT) | {"lactating-cow": SENSITIVE, "calf": STRESSED}


def check_weight(values: Mapping[str, Any], where: str) -> None:
    """Refuse a weight [lb] that no animal of the class has."""
    from sideoats.facts import load

    bands = {str(animal): (float(least), float(most)) for animal, least, most in load()["forage/weight_believed"].rows}
    weight, animal = values["weight"], str(values["class"])
    least, most = bands.get(animal, (0.0, np.inf))
    if weight is not None and not least <= weight <= most:
        raise InputError(f"{weight:,.0f} lb is not the weight of a {animal}", where=f"{where} weight",
                         expected=f"{least:,.0f} to {most:,.0f} lb", todo="check the number and its unit")  # fmt: skip


def at_risk(classes: Sequence[Any], weakened: ArrayLike = False) -> NDArray[np.bool_]:
    """(n,) True where the strictest published class is used: the class itself, or animals hungry, sick, thin,
    unadapted."""
    risk = np.array([str(c) in AT_RISK for c in classes], dtype=bool)
    return np.asarray(risk | np.asarray(weakened, dtype=bool), dtype=bool)


def risk_of(classes: Sequence[Any], weakened: ArrayLike = False) -> NDArray[np.int8]:
    """(n,) `PLAIN` to `PREGNANT`: a cow in milk is no pregnant one, and a calf counts as stressed stock."""
    risk = np.array([_RISK.get(str(c), PLAIN) for c in classes], dtype=np.int8)
    return np.where(np.asarray(weakened, dtype=bool), np.maximum(risk, STRESSED), risk).astype(np.int8)


def by_class(fact: Fact, classes: Sequence[Any], column: str, *, other: float = np.nan) -> Floats:
    """(n,) one column of a table fact whose first column names the row.

    A word that is not listed takes the row "unknown" where the table has one, else `other`.
    """
    held = dict(zip(fact.column(fact.columns[0]), fact.column(column), strict=True))
    blank = held.get("unknown", other)
    return np.array([held.get(str(c), blank) for c in classes], dtype=np.float64)


def drinking_air(facts: Facts, region: Region, on: date, told: ArrayLike) -> Floats:
    """(n,) air temperature [degF] by which cattle drink: the one told, or the month's where hotter or none is told.

    The month's is the region's usual mean of the day and half of a day's range, the warm hours; the hottest where the
    region names none. An answer holds for weeks, so that one cool morning cannot make its water milder.
    """
    mean = region.usual_air(on, np.nan)
    usual = HOT if np.isnan(mean) else 32.0 + 1.8 * (mean + facts.value("forage/water_warm"))
    return np.fmax(np.asarray(told, dtype=np.float64), usual)


def water_gallons(facts: Facts, classes: Sequence[Any], air_degf: ArrayLike) -> Floats:
    """(n,) gal/day a head, linear in the air temperature between the columns of the water tables and flat outside.

    In the cold every class is taken to drink the share of its water at 80 degF that a nursing cow does, of all classes
    the thirstiest. An animal that the table does not list, and an unknown air temperature, take the most water
    (90 degF; the lactating cow): more water is more nitrate and more sulfur.
    """
    fact, cold = facts["forage/water_need"], facts["forage/water_cold"]
    air = np.broadcast_to(np.asarray(air_degf, dtype=np.float64), (len(classes),))
    air = np.where(np.isnan(air), HOT, air)
    known = {
        at: by_class(fact, classes, f"t{at:.0f}", other=float(max(fact.column(f"t{at:.0f}"))))
        for at in (70.0, MILD, HOT)
    }
    known |= {float(at): known[MILD] * float(share) for at, share in cold.rows}
    at = np.array(sorted(known))
    columns = np.stack([known[each] for each in at], axis=1)  # (n, column)
    return np.array([np.interp(degrees, at, row) for degrees, row in zip(air, columns, strict=True)], dtype=np.float64)
