"""How much nitrogen wheat needs, as each publisher reckons it.

Every publisher's slope stands in a credit system of its own (what soil, organic matter and residue count for).
`recommend` therefore takes one publisher's numbers from the facts and refuses inputs that the publisher does not use.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sideoats.errors import InputError
from sideoats.facts import Fact, Facts

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
_F = "wheat/nitrogen."
PUBLISHERS = ("kansas", "washington", "tri_state", "texas", "nebraska")


@dataclass(frozen=True)
class Need:
    """A recommendation.

    Attributes
    ----------
    rate : nitrogen to apply [lb/ac], not below zero; NaN where the publisher has no answer
    total : nitrogen the crop needs from all sources [lb/ac]; NaN where the publisher gives only the rate
    interpolated : True where the rate lies between printed cells of a table
    publisher : whose numbers
    """

    rate: Floats
    total: Floats
    interpolated: Bools
    publisher: str


def profile_nitrogen(ppm: ArrayLike, depth_in: ArrayLike, factor: float) -> Floats:
    """Nitrate-N [lb/ac] from a concentration [ppm] over a depth [in]; `factor` [lb/(ac ppm in)] is a fact."""
    return np.asarray(ppm, np.float64) * np.asarray(depth_in, np.float64) * factor


def budget(
    yield_goal: ArrayLike,
    per_bushel: ArrayLike,
    organic_matter: ArrayLike,
    organic_credit: ArrayLike,
    soil: ArrayLike,
    added: ArrayLike = 0.0,
    credited: ArrayLike = 0.0,
) -> tuple[Floats, Floats]:
    """Rate and total need [lb/ac] by a yield-goal budget.

    Parameters
    ----------
    yield_goal : realistic yield [bu/ac]
    per_bushel : nitrogen for each bushel [lb/bu]
    organic_matter, organic_credit : percent, and credit for each percent [lb/ac]
    soil : mineral nitrogen found in the profile [lb/ac]
    added, credited : other needs (residue, grazing) and other credits (manure, legume) [lb/ac]
    """
    total = np.asarray(yield_goal, np.float64) * np.asarray(per_bushel, np.float64) + np.asarray(added, np.float64)
    supply = np.asarray(organic_matter, np.float64) * np.asarray(organic_credit, np.float64)
    supply = supply + np.asarray(soil, np.float64) + np.asarray(credited, np.float64)
    return np.maximum(total - supply, 0.0), total


def linear_rate(yield_goal: ArrayLike, base: float, per_bushel: float, start: float = 50.0) -> Floats:
    """base + slope x (yield goal - start) [lb/ac]; NaN below the start, where the guide gives nothing."""
    goal = np.asarray(yield_goal, np.float64)
    return np.asarray(np.where(goal >= start, base + per_bushel * (goal - start), np.nan))


def price_table_rate(
    table: Fact, ppm: ArrayLike, wheat_price: ArrayLike, nitrogen_price: ArrayLike
) -> tuple[Floats, Bools]:
    """Rate [lb/ac] from a table over soil nitrate [ppm], wheat price [USD/bu] and nitrogen price [USD/lb].

    Printed cells come back as printed; between them the rate is linear in all three and marked. Outside the table: NaN.

    Returns
    -------
    rate, interpolated
    """
    from scipy.interpolate import RegularGridInterpolator

    ppms = np.unique(np.array(table.column(table.columns[0]), np.float64))
    wheats = np.unique(np.array(table.column(table.columns[1]), np.float64))
    prices = np.array([float(name.split()[-1]) for name in table.columns[2:]])
    cells = np.full((len(ppms), len(wheats), len(prices)), np.nan)
    for row in table.rows:
        cells[np.searchsorted(ppms, row[0]), np.searchsorted(wheats, row[1])] = [float(v) for v in row[2:]]
    at = np.stack(
        np.broadcast_arrays(*(np.asarray(v, np.float64) for v in (ppm, wheat_price, nitrogen_price))), axis=-1
    )
    found = RegularGridInterpolator((ppms, wheats, prices), cells, bounds_error=False, fill_value=np.nan)(at)
    printed = np.isin(at[..., 0], ppms) & np.isin(at[..., 1], wheats) & np.isin(at[..., 2], prices)
    return np.asarray(found, dtype=np.float64), np.asarray(~printed & np.isfinite(found))


def recommend(
    publisher: str,
    facts: Facts,
    *,
    yield_goal: ArrayLike = np.nan,
    organic_matter: ArrayLike = np.nan,
    soil_nitrogen: ArrayLike = np.nan,
    soil_ppm: ArrayLike = np.nan,
    wheat_price: ArrayLike = np.nan,
    nitrogen_price: ArrayLike = np.nan,
    wheat_class: str = "hard red winter",
    previous: str = "",
    grazed: ArrayLike = False,
    credits: ArrayLike = 0.0,
) -> Need:
    """Nitrogen by one publisher.

    Parameters
    ----------
    publisher : one of `PUBLISHERS`
    yield_goal : [bu/ac]
    organic_matter : [percent]
    soil_nitrogen : profile nitrate (Kansas, 24 in) or nitrate and ammonium (Washington) [lb/ac]; Kansas takes its
        printed default where it is NaN
    soil_ppm : nitrate averaged over 3 ft [ppm], Nebraska
    wheat_price, nitrogen_price : [USD/bu], [USD/lb], Nebraska
    previous : previous crop, Washington's residue debit
    grazed : Kansas add-on for grazed wheat
    credits : manure, legume and other [lb/ac], Kansas and Washington

    Raises
    ------
    InputError : an unknown publisher, or a value of another publisher's system
    """
    if publisher not in PUBLISHERS:
        raise InputError(
            f"publisher {publisher!r} is not known", where="nitrogen", expected="one of " + ", ".join(PUBLISHERS)
        )
    goal = np.asarray(yield_goal, np.float64)
    none = np.full(goal.shape, np.nan)
    if publisher == "nebraska":
        rate, between = price_table_rate(facts[_F + "nebraska.table_2016"], soil_ppm, wheat_price, nitrogen_price)
        return Need(rate, np.full(rate.shape, np.nan), between, publisher)
    if not np.isnan(np.asarray(soil_ppm, np.float64)).all():
        raise InputError(
            "soil nitrate in ppm belongs to the Nebraska table",
            where=f"nitrogen by {publisher}",
            expected="profile nitrogen in lb/ac",
            todo="multiply ppm by 0.3 and by the depth in inches",
        )
    if publisher == "tri_state":
        rate = linear_rate(goal, facts.value(_F + "tri_state.base"), facts.value(_F + "tri_state.per_bushel"))
        return Need(rate, none, np.zeros(goal.shape, bool), publisher)
    if publisher == "texas":
        total = goal * facts.value(_F + "texas.per_bushel")
        return Need(total, none, np.zeros(goal.shape, bool), publisher)
    if publisher == "kansas":
        rate, total = _kansas(facts, goal, organic_matter, soil_nitrogen, grazed, credits)
    else:
        rate, total = _washington(facts, goal, organic_matter, soil_nitrogen, wheat_class, previous, credits)
    return Need(rate, total, np.zeros(rate.shape, bool), publisher)


def _kansas(
    facts: Facts,
    goal: Floats,
    organic_matter: ArrayLike,
    soil_nitrogen: ArrayLike,
    grazed: ArrayLike,
    credits: ArrayLike,
) -> tuple[Floats, Floats]:
    soil = np.asarray(soil_nitrogen, np.float64)
    if np.isnan(soil).any():
        soil = np.where(np.isnan(soil), facts.value(_F + "kansas.profile_default"), soil)
    eaten = np.asarray(grazed, bool)
    added = np.where(eaten, facts.value(_F + "kansas.grazing"), 0.0) if eaten.any() else np.zeros(eaten.shape)
    slope, credit = facts.value(_F + "kansas.per_bushel"), facts.value(_F + "kansas.organic_matter")
    return budget(goal, slope, organic_matter, credit, soil, added, credits)


def _washington(
    facts: Facts,
    goal: Floats,
    organic_matter: ArrayLike,
    soil: ArrayLike,
    wheat_class: str,
    previous: str,
    credits: ArrayLike,
) -> tuple[Floats, Floats]:
    slope = _row(facts[_F + "washington.per_bushel"], wheat_class, "class of wheat")
    residue = _row(facts[_F + "washington.residue"], previous, "previous crop") if previous else 0.0
    return budget(goal, slope, organic_matter, facts.value(_F + "washington.organic_matter"), soil, residue, credits)


def _row(table: Fact, key: str, what: str) -> float:
    for row in table.rows:
        if row[0] == key:
            return float(row[1])
    raise InputError(
        f"{what} {key!r} is not in the table", where=table.id, expected=", ".join(str(r[0]) for r in table.rows)
    )
