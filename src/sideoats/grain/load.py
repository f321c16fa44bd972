"""What one load brings: dockage, moisture shrink, protein by steps, stepped discounts, net price and money.

Order of operations for a load: scale weight -> less dockage -> less moisture shrink -> bushels -> x (price + protein
premium - discounts) - freight - assessments. Dockage is weight, not a grade factor; test weight, moisture, foreign
material, shrunken and broken kernels and damage are (7 CFR 810, subpart M).

References
----------
Hicks, D.R., Cloud, H.A., National Corn Handbook NCH-61, University of Minnesota: water shrink and pencil shrink.
Karki, D., South Dakota State University Extension, 2019: shrink factors by final moisture.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

_HAIR = 1e-9  # a step is complete although 12.6 - 12.0 is 0.5999... in binary


def after_dockage(weight: ArrayLike, dockage: ArrayLike) -> Floats:
    """Weight left when dockage (share of the load, 0 to 1) is taken off; any weight unit."""
    gross, share = np.asarray(weight, np.float64), np.asarray(dockage, np.float64)
    return np.asarray(np.where((share < 0) | (share > 1), np.nan, gross * (1.0 - share)), dtype=np.float64)


def shrink_factor(final_moisture: ArrayLike) -> Floats:
    """Weight lost as water per percentage point dried, percent per point: 100 / (100 - final moisture %)."""
    final = np.asarray(final_moisture, np.float64)
    return np.asarray(100.0 / np.where((final < 0) | (final >= 100), np.nan, 100.0 - final), dtype=np.float64)


def water_shrink(moisture: ArrayLike, final_moisture: ArrayLike, *, handling: ArrayLike = 0.0) -> Floats:
    """Weight lost when grain is dried from one moisture to another, percent of the wet weight.

    Parameters
    ----------
    moisture, final_moisture : wet basis [%]; no shrink where the grain is at or below the final moisture
    handling : dry matter lost in drying and handling, added where the grain is dried [%]

    Notes
    -----
    (moisture - final) x 100 / (100 - final), plus handling (NCH-61).
    """
    wet, final = np.asarray(moisture, np.float64), np.asarray(final_moisture, np.float64)
    points = wet - final
    lost = points * shrink_factor(final) + np.asarray(handling, np.float64)
    return np.asarray(np.where(np.isnan(lost) | (points > 0), lost, 0.0), dtype=np.float64)


def pencil_shrink(moisture: ArrayLike, final_moisture: ArrayLike, factor: ArrayLike) -> Floats:
    """Weight deducted by a buyer's constant factor, percent: factor x points above the final moisture."""
    points = np.asarray(moisture, np.float64) - np.asarray(final_moisture, np.float64)
    return np.asarray(np.maximum(points, 0.0) * np.asarray(factor, np.float64), dtype=np.float64)


def bushels(weight: ArrayLike, pounds_per_bushel: ArrayLike) -> Floats:
    """Weight [lb] in bushels of that crop."""
    return np.asarray(np.asarray(weight, np.float64) / np.asarray(pounds_per_bushel, np.float64), dtype=np.float64)


def steps(distance: ArrayLike, size: ArrayLike, *, fraction_counts: bool) -> Floats:
    """How many steps of `size` lie in `distance` (zero where negative): whole ones, or begun ones too."""
    reach = np.maximum(np.asarray(distance, np.float64), 0.0) / np.asarray(size, np.float64)
    counted = np.ceil(reach - _HAIR) if fraction_counts else np.floor(reach + _HAIR)
    return np.asarray(np.where(np.isnan(reach), np.nan, counted), dtype=np.float64)


def protein_adjustment(
    protein: ArrayLike,
    base: ArrayLike,
    *,
    premium: ArrayLike,
    discount: ArrayLike = 0.0,
    step: float = 0.2,
    fraction_counts: bool = False,
    cap: ArrayLike = np.inf,
) -> Floats:
    """Protein premium (above zero) or discount (below), USD/bu.

    Parameters
    ----------
    protein, base : at the schedule's moisture basis [%]
    premium, discount : for each step above, below the base [USD/bu], both given as positive numbers
    step : a fifth of a percentage point in most schedules [%]
    fraction_counts : whether a begun step is paid or charged (the buyer's choice)
    cap : protein above which no more is paid [%]
    """
    level = np.minimum(np.asarray(protein, np.float64), np.asarray(cap, np.float64))
    over = np.asarray(level - np.asarray(base, np.float64))
    above = steps(over, step, fraction_counts=fraction_counts) * np.asarray(premium, np.float64)
    below = steps(-over, step, fraction_counts=fraction_counts) * np.asarray(discount, np.float64)
    return np.asarray(above - below, dtype=np.float64)


def stepped_discount(
    value: ArrayLike, base: float, bands: Sequence[tuple[float, float, float]], *, fraction_counts: bool = True
) -> Floats:
    """Discount that grows by steps from a base, each band at its own charge, USD/bu.

    Parameters
    ----------
    value : the factor measured (test weight [lb/bu], moisture [%], ...)
    base : no discount at the base or on its good side
    bands : (until, step, charge per step), in order away from the base; `until` below `base` means that low values are
        docked (test weight), above it that high ones are (moisture)
    fraction_counts : whether a begun step is charged ("per half pound or fraction")

    Returns
    -------
    USD/bu; NaN beyond the last band, where the schedule prints no price

    Examples
    --------
    >>> float(stepped_discount(55.9, 58.0, [(56.0, 0.5, 0.02), (53.0, 0.5, 0.04)]).round(2))
    0.12
    """
    if not bands:
        raise ValueError("a stepped discount needs at least one band")
    downward = bands[0][0] < base
    sign = -1.0 if downward else 1.0
    depth = sign * (np.asarray(value, np.float64) - base)
    total = np.zeros_like(depth)
    start = 0.0
    for until, step, charge in bands:
        end = sign * (until - base)
        if end <= start or step <= 0:
            raise ValueError(f"band until {until} does not lead away from the base {base}")
        inside = np.clip(depth, start, end) - start
        total = total + steps(inside, step, fraction_counts=fraction_counts) * charge
        start = end
    return np.asarray(np.where(depth > start + _HAIR, np.nan, total), dtype=np.float64)


def load_value(
    gross_weight: ArrayLike,
    *,
    dockage: ArrayLike,
    pounds_per_bushel: ArrayLike,
    price: ArrayLike,
    shrink: ArrayLike = 0.0,
    adjustment: ArrayLike = 0.0,
    freight: ArrayLike = 0.0,
    assessment: ArrayLike = 0.0,
) -> tuple[Floats, Floats]:
    """Net bushels and net money of a load.

    Parameters
    ----------
    gross_weight : scale weight of the grain [lb]
    dockage : share of the load, 0 to 1 [1]
    pounds_per_bushel : 60 for wheat and soybean, 56 for corn and sorghum [lb/bu]
    price : bid for grain at the base of the schedule [USD/bu]
    shrink : moisture shrink [%]
    adjustment : premiums less discounts [USD/bu]
    freight : haul to this buyer [USD/bu of net grain]
    assessment : check-off and the like [USD/bu]

    Returns
    -------
    net bushels [bu], money after freight and assessments [USD]
    """
    kept = after_dockage(gross_weight, dockage) * (1.0 - np.asarray(shrink, np.float64) / 100.0)
    net = bushels(kept, pounds_per_bushel)
    paid = np.asarray(price, np.float64) + np.asarray(adjustment, np.float64)
    paid = paid - np.asarray(freight, np.float64) - np.asarray(assessment, np.float64)
    return net, np.asarray(net * paid, dtype=np.float64)
