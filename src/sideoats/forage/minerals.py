"""Grass tetany, bloat, sulfur, mycotoxins: ratios and levels, read against published lines.

All concentrations on dry matter unless said.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sideoats.forage.nitrate import ROUNDING, SULFUR_PART_OF_SULFATE

Floats = NDArray[np.float64]

# Milliequivalents in 1 kg at 1 % (10 g/kg): 10,000 mg / atomic weight * valence; IUPAC abridged atomic weights.
_CALCIUM, _MAGNESIUM, _POTASSIUM = 40.078, 24.305, 39.098
MEQ_PER_PERCENT = {"K": 10_000 / _POTASSIUM, "Ca": 2 * 10_000 / _CALCIUM, "Mg": 2 * 10_000 / _MAGNESIUM}
GRAMS_OF_OUNCE = 28.349523125
GRAMS_OF_POUND = 453.59237


def tetany_ratio(potassium: ArrayLike, calcium: ArrayLike, magnesium: ArrayLike) -> Floats:
    """K / (Ca + Mg) in milliequivalents, from percent of dry matter; NaN where Ca + Mg is 0.

    References
    ----------
    Kemp and t'Hart 1957 (from memory) for the ratio and its milliequivalent basis.
    """
    k, ca, mg = (np.asarray(v, dtype=np.float64) for v in (potassium, calcium, magnesium))
    below = ca * MEQ_PER_PERCENT["Ca"] + mg * MEQ_PER_PERCENT["Mg"]
    return np.where(below > 0, k * MEQ_PER_PERCENT["K"] / np.where(below > 0, below, 1.0), np.nan)


def magnesium_supplied(ounces: ArrayLike, percent: ArrayLike) -> Floats:
    """Grams of magnesium in so many ounces a day of a mineral with so many percent magnesium."""
    return np.asarray(ounces, np.float64) * GRAMS_OF_OUNCE * np.asarray(percent, np.float64) / 100.0


def step_label(value: ArrayLike, bounds: Sequence[float], labels: Sequence[str]) -> NDArray[np.object_]:
    """Word of a half-open ladder for each value; "" where unknown."""
    values = np.atleast_1d(np.asarray(value, dtype=np.float64))
    edges = np.asarray(bounds, dtype=np.float64) * (1 - ROUNDING)
    index = np.maximum(np.searchsorted(edges, np.nan_to_num(values), side="right") - 1, 0)
    return np.where(np.isnan(values), "", np.array([*labels], dtype=object)[index])


def sulfur_from_water(sulfate_mg_per_litre: ArrayLike, litres: ArrayLike, intake_kg: ArrayLike) -> Floats:
    """Sulfur that sulfate in water adds to the ration, percent of dry matter.

    ``S% = SO4 [mg/L] * 0.33375 * litres / (intake [kg] * 1e6) * 100`` (derived from atomic weights).
    """
    milligrams = np.asarray(sulfate_mg_per_litre, np.float64) * SULFUR_PART_OF_SULFATE * np.asarray(litres, np.float64)
    return milligrams / (np.asarray(intake_kg, np.float64) * 1e6) * 100.0


def over_level(value: ArrayLike, level: ArrayLike) -> NDArray[np.bool_]:
    """True where a value is at or over its line; an unknown value is not over it, and the caller must say it
    is unknown."""
    values = np.asarray(value, np.float64)
    return np.nan_to_num(values, nan=-np.inf) >= np.asarray(level, np.float64) * (1 - ROUNDING)


def ergot_bodies_allowed(body_weight_lb: ArrayLike, intake_share: ArrayLike, share_of_intake: float) -> Floats:
    """Grams of ergot bodies a day at the printed share of dry matter intake; 0 must be used for pregnant or
    lactating."""
    intake = np.asarray(body_weight_lb, np.float64) * np.asarray(intake_share, np.float64)
    return intake * share_of_intake * GRAMS_OF_POUND


def beetles_to_reach(body_weight_kg: ArrayLike, dose_mg_per_kg: ArrayLike, mg_per_beetle: ArrayLike) -> Floats:
    """Blister beetles that carry the printed dose for a HORSE. Hay with beetles is discarded, not counted."""
    dose = np.asarray(body_weight_kg, np.float64) * np.asarray(dose_mg_per_kg, np.float64)
    return dose / np.asarray(mg_per_beetle, np.float64)
