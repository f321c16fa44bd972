"""Hay: bales, weathering, losses, need, how long a stack lasts."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
POUNDS_OF_TON = 2000.0


def round_bale_volume(diameter_ft: ArrayLike, width_ft: ArrayLike) -> Floats:
    """Volume of a round bale [ft3]: pi / 4 * d^2 * w."""
    return np.asarray(np.pi / 4 * np.asarray(diameter_ft, np.float64) ** 2 * np.asarray(width_ft, np.float64))


def round_bale_pounds(diameter_ft: ArrayLike, width_ft: ArrayLike, density_lb_per_ft3: ArrayLike) -> Floats:
    """Weight of a round bale [lb] at a density."""
    return round_bale_volume(diameter_ft, width_ft) * np.asarray(density_lb_per_ft3, np.float64)


def weathered_share(diameter_ft: ArrayLike, depth_in: ArrayLike, width_ft: ArrayLike | None = None) -> Floats:
    """Share of a round bale within `depth_in` of its curved side, and of its ends too where the width is given.

    ``1 - (1 - 2 t / d)^2`` around, ``1 - (1 - 2 t / d)^2 (1 - 2 t / w)`` with both ends (geometry).
    """
    depth = np.asarray(depth_in, np.float64) / 12.0
    core = np.maximum(1 - 2 * depth / np.asarray(diameter_ft, np.float64), 0.0) ** 2
    if width_ft is not None:
        core = core * np.maximum(1 - 2 * depth / np.asarray(width_ft, np.float64), 0.0)
    return 1.0 - core


def hay_need_tons(
    head: ArrayLike,
    body_weight_lb: ArrayLike,
    days: ArrayLike,
    intake_share: ArrayLike,
    dry_matter: ArrayLike,
    feeding_loss: ArrayLike = 0.0,
    storage_loss: ArrayLike = 0.0,
) -> Floats:
    """Tons as fed that must be in the stack now.

    ``head * weight * intake * days / dry matter / (1 - feeding loss) / (1 - storage loss)``; all shares 0 to 1, losses
    below 1.

    References
    ----------
    Iowa State University, hay need by herd.
    """
    eaten = (
        np.asarray(head, np.float64)
        * np.asarray(body_weight_lb, np.float64)
        * np.asarray(intake_share, np.float64)
        * np.asarray(days, np.float64)
    )
    kept = (1 - np.asarray(feeding_loss, np.float64)) * (1 - np.asarray(storage_loss, np.float64))
    return np.asarray(eaten / np.asarray(dry_matter, np.float64) / kept / POUNDS_OF_TON, dtype=np.float64)


def hay_tons(bales: ArrayLike, bale_weight_lb: ArrayLike) -> Floats:
    """Tons as fed in so many bales."""
    return np.asarray(bales, np.float64) * np.asarray(bale_weight_lb, np.float64) / POUNDS_OF_TON


def days_of_hay(tons: ArrayLike, tons_a_day: ArrayLike) -> Floats:
    """Days that a stack lasts at a daily need that already counts the losses; infinite at no need."""
    need = np.asarray(tons_a_day, np.float64)
    return np.where(need > 0, np.asarray(tons, np.float64) / np.where(need > 0, need, 1.0), np.inf)
