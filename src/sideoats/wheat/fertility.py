"""Soil cores, phosphorus, potassium, lime, and the price of a pound of nutrient."""

from __future__ import annotations

from statistics import NormalDist

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sideoats.errors import InputError
from sideoats.facts import Fact

Floats = NDArray[np.float64]
EXTRACTANTS = ("Mehlich-3", "Bray-1", "Olsen")
_KANSAS_PHOSPHORUS = ("Mehlich-3", "Bray-1")


def cores_needed(variation: ArrayLike, within: ArrayLike, confidence: float = 0.95) -> Floats:
    """Cores in one composite for its mean to lie `within` (share) of the truth: (z CV / d)^2, not rounded.

    Parameters
    ----------
    variation : coefficient of variation between cores [1]
    within : half-width wanted, as a share of the mean [1]
    confidence : two-sided
    """
    z = NormalDist().inv_cdf(0.5 + confidence / 2)
    return np.asarray((z * np.asarray(variation, np.float64) / np.asarray(within, np.float64)) ** 2)


def precision_of(cores: ArrayLike, variation: ArrayLike, confidence: float = 0.95) -> Floats:
    """Half-width [1] that a number of cores gives; the inverse of `cores_needed`."""
    z = NormalDist().inv_cdf(0.5 + confidence / 2)
    return np.asarray(z * np.asarray(variation, np.float64) / np.sqrt(np.asarray(cores, np.float64)))


def build_and_feed(equation: Fact, critical: float, yield_goal: ArrayLike, test: ArrayLike) -> Floats:
    """Sufficiency rate [lb/ac of oxide]: constant + a Y + b T + c Y T below the critical test [ppm], zero above.

    Not below the least rate where the test is below critical. Coefficients are the fact's columns.
    """
    constant, by_yield, by_test, both, least = (float(v) for v in equation.rows[0])
    goal, level = np.asarray(yield_goal, np.float64), np.asarray(test, np.float64)
    rate = np.maximum(constant + by_yield * goal + by_test * level + both * goal * level, least)
    return np.asarray(np.where(level < critical, rate, np.where(np.isnan(level), np.nan, 0.0)))


def kansas_phosphorus(
    equation: Fact, critical: float, yield_goal: ArrayLike, test: ArrayLike, extractant: str
) -> Floats:
    """P2O5 for wheat [lb/ac] by the Kansas equation.

    Raises
    ------
    InputError : another extractant than the equation was calibrated with
    """
    if extractant not in _KANSAS_PHOSPHORUS:
        raise InputError(
            f"phosphorus by {extractant or 'an unnamed extractant'}",
            where="phosphorus",
            expected=" or ".join(_KANSAS_PHOSPHORUS),
            todo="use a calibration made for that extractant; the numbers are not exchanged",
        )
    return build_and_feed(equation, critical, yield_goal, test)


def lime_rate(ecc_required: ArrayLike, ecc_percent: ArrayLike, depth_share: ArrayLike = 1.0) -> Floats:
    """Lime material [lb/ac] for effective calcium carbonate needed [lb/ac] and the material's own content [percent].

    `depth_share` is the limed depth over the depth of the recommendation (one half for the surface 3 in of no-till).
    """
    return (
        np.asarray(ecc_required, np.float64)
        * np.asarray(depth_share, np.float64)
        / (np.asarray(ecc_percent, np.float64) / 100.0)
    )


def price_per_pound(price_ton: ArrayLike, share: ArrayLike) -> Floats:
    """USD a pound of nutrient from USD a short ton and the nutrient's share of the weight [1]."""
    return np.asarray(price_ton, np.float64) / (2000.0 * np.asarray(share, np.float64))


def phosphate_price(
    price_ton: ArrayLike, nitrogen: ArrayLike, phosphate: ArrayLike, nitrogen_price: ArrayLike
) -> Floats:
    """USD a pound of P2O5 in a product that also holds nitrogen, valued first at `nitrogen_price` [USD/lb].

    `nitrogen` and `phosphate` are shares by weight [1]; `price_ton` USD a short ton.
    """
    left = np.asarray(price_ton, np.float64) - 2000.0 * np.asarray(nitrogen, np.float64) * np.asarray(
        nitrogen_price, np.float64
    )
    return left / (2000.0 * np.asarray(phosphate, np.float64))
