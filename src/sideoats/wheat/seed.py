"""Seed arithmetic: pounds to sow, seeds along the row, stands counted.

Kept apart on purpose: *germination* (of the tag, in the laboratory), *emergence* (of the seeds that germinate, in the
field) and *survival* (of all seeds dropped, both together). A survival must never be divided by germination once more.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sideoats.errors import InputError

Floats = NDArray[np.float64]
SQUARE_FEET_PER_ACRE = 43_560.0
GRAMS_PER_POUND = 453.59237


def seeds_per_pound(thousand_kernel_weight: ArrayLike) -> Floats:
    """Seeds in a pound from the weight of a thousand kernels [g]; its own inverse with grams per pound."""
    return 1000.0 * GRAMS_PER_POUND / np.asarray(thousand_kernel_weight, np.float64)


def seeds_per_pound_from_sample(seeds_counted: ArrayLike, sample_g: ArrayLike = 20.0) -> Floats:
    """Seeds in a pound from a count of a weighed sample [g]."""
    return np.asarray(seeds_counted, np.float64) * GRAMS_PER_POUND / np.asarray(sample_g, np.float64)


def seeding_rate(seeds_per_acre: ArrayLike, per_pound: ArrayLike) -> Floats:
    """Pounds an acre for seeds dropped an acre [1/ac] and seeds in a pound [1/lb]."""
    return np.asarray(seeds_per_acre, np.float64) / np.asarray(per_pound, np.float64)


def seeds_to_drop(plants_per_acre: ArrayLike, survival: ArrayLike) -> Floats:
    """Seeds dropped an acre for plants wanted an acre and the share of seeds that become plants [1].

    NaN where survival is not within 0 (excluded) to 1.
    """
    share = np.asarray(survival, np.float64)
    ok = (share > 0) & (share <= 1)
    return np.asarray(np.where(ok, np.asarray(plants_per_acre, np.float64) / np.where(ok, share, 1.0), np.nan))


def survival(germination: ArrayLike | None, emergence: ArrayLike | None, combined: ArrayLike | None = None) -> Floats:
    """Share of seeds dropped that become plants [1]: germination x emergence, or the combined share as it stands.

    Raises
    ------
    InputError : both ways are given at once (that would count a loss twice), or neither
    """
    if combined is not None and (germination is not None or emergence is not None):
        raise InputError(
            "both a combined survival and germination or emergence are given",
            where="survival",
            expected="survival alone, or germination and emergence",
            todo="leave one of the two out",
        )
    if combined is not None:
        return np.asarray(combined, np.float64)
    if germination is None or emergence is None:
        raise InputError(
            "the share of seeds that become plants is not known",
            where="survival",
            expected="germination=90% and emergence=80%, or survival=72%",
        )
    return np.asarray(germination, np.float64) * np.asarray(emergence, np.float64)


def row_feet_per_acre(row_in: ArrayLike) -> Floats:
    """Feet of row in an acre for a row spacing [in]."""
    return SQUARE_FEET_PER_ACRE * 12.0 / np.asarray(row_in, np.float64)


def seeds_per_row_foot(seeds_per_square_foot: ArrayLike, row_in: ArrayLike) -> Floats:
    """Seeds along a foot of row for seeds a square foot [1/ft2] and the row spacing [in]."""
    return np.asarray(seeds_per_square_foot, np.float64) * np.asarray(row_in, np.float64) / 12.0


def stand_per_square_foot(plants: ArrayLike, row_ft: ArrayLike, row_in: ArrayLike) -> Floats:
    """Plants a square foot from plants counted along a length of row [ft] at a row spacing [in]."""
    return np.asarray(plants, np.float64) * 12.0 / (np.asarray(row_ft, np.float64) * np.asarray(row_in, np.float64))


def stand_summary(counts: ArrayLike, row_ft: float, row_in: float) -> tuple[float, float, int]:
    """Mean stand [plants/ft2], its standard error and the number of spots; the error is NaN for one spot."""
    stands = stand_per_square_foot(np.asarray(counts, np.float64), row_ft, row_in)
    n = len(stands)
    spread = float(stands.std(ddof=1) / np.sqrt(n)) if n > 1 else float("nan")
    return float(stands.mean()), spread, n
