"""Drill calibration: moving over a measured course, standing with the wheel turned by hand, or by seeds in the row."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sideoats.wheat.seed import GRAMS_PER_POUND, SQUARE_FEET_PER_ACRE, row_feet_per_acre

Floats = NDArray[np.float64]


def drill_width(openers: ArrayLike, row_in: ArrayLike) -> Floats:
    """Width sown [ft] by a number of openers at a spacing [in]."""
    return np.asarray(openers, np.float64) * np.asarray(row_in, np.float64) / 12.0


def course_for_share_of_acre(part: ArrayLike, width_ft: ArrayLike) -> Floats:
    """Course [ft] that covers one `part`-th of an acre at a width [ft]: part = 20 for a twentieth."""
    return SQUARE_FEET_PER_ACRE / (np.asarray(part, np.float64) * np.asarray(width_ft, np.float64))


def wheel_turns(
    course_ft: ArrayLike, *, circumference_in: ArrayLike = math.nan, diameter_ft: ArrayLike = math.nan
) -> Floats:
    """Turns of the drive wheel over a course [ft], by its rolling circumference [in] or its diameter [ft].

    The rolling circumference, measured under load in the field, holds slip and tyre squat; a diameter does not. The
    circumference is used where both are given.
    """
    around_in = np.asarray(circumference_in, np.float64)
    around = np.where(np.isnan(around_in), math.pi * np.asarray(diameter_ft, np.float64), around_in / 12.0)
    return np.asarray(np.asarray(course_ft, np.float64) / around, dtype=np.float64)


def area_caught(rows: ArrayLike, row_in: ArrayLike, course_ft: ArrayLike) -> Floats:
    """Area [ft2] that the caught rows stand for over a course [ft]."""
    return np.asarray(rows, np.float64) * np.asarray(row_in, np.float64) / 12.0 * np.asarray(course_ft, np.float64)


def sown_rate(catch_lb: ArrayLike, area_ft2: ArrayLike) -> Floats:
    """Pounds an acre that the drill sows, from the seed caught [lb] over an area [ft2]."""
    return np.asarray(catch_lb, np.float64) * SQUARE_FEET_PER_ACRE / np.asarray(area_ft2, np.float64)


def target_catch_g(rate_lb_ac: ArrayLike, area_ft2: ArrayLike) -> Floats:
    """Grams that should be caught over an area [ft2] at a rate [lb/ac]."""
    return (
        np.asarray(rate_lb_ac, np.float64) * np.asarray(area_ft2, np.float64) * GRAMS_PER_POUND / SQUARE_FEET_PER_ACRE
    )


def seeds_along_row(seeds_per_acre: ArrayLike, row_in: ArrayLike, row_ft: ArrayLike) -> Floats:
    """Seeds in a length of row [ft] at seeds an acre and a row spacing [in]."""
    return np.asarray(seeds_per_acre, np.float64) / row_feet_per_acre(row_in) * np.asarray(row_ft, np.float64)


def rows_uneven(catch_by_row: ArrayLike) -> tuple[float, float]:
    """Lowest and highest row catch as shares of the mean [1]."""
    caught = np.asarray(catch_by_row, np.float64)
    return float(caught.min() / caught.mean()), float(caught.max() / caught.mean())
