"""Sprayer calibration by nozzle flow, speed and width, or by a measured course and a catch.

The constant 5,940 is 43,560 ft2/ac x 60 min/h x 12 in/ft / 5,280 ft/mi, exactly.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sideoats.errors import InputError
from sideoats.wheat.seed import SQUARE_FEET_PER_ACRE

Floats = NDArray[np.float64]
_GALLONS_CONSTANT = 5940.0
_OUNCES_PER_GALLON = 128.0
_COURSE_TOLERANCE = 0.01


def application_rate(flow_gpm: ArrayLike, speed_mph: ArrayLike, width_in: ArrayLike) -> Floats:
    """Gallons an acre from the flow of one nozzle [gal/min], ground speed [mph] and width per nozzle [in].

    Width is the nozzle spacing (broadcast), the band width, or the row spacing over nozzles a row; for a nozzle without
    a boom the whole swath.
    """
    return (
        _GALLONS_CONSTANT
        * np.asarray(flow_gpm, np.float64)
        / (np.asarray(speed_mph, np.float64) * np.asarray(width_in, np.float64))
    )


def nozzle_flow(rate_gpa: ArrayLike, speed_mph: ArrayLike, width_in: ArrayLike) -> Floats:
    """Flow one nozzle must give [gal/min] for a rate [gal/ac]; the inverse of `application_rate`."""
    return (
        np.asarray(rate_gpa, np.float64)
        * np.asarray(speed_mph, np.float64)
        * np.asarray(width_in, np.float64)
        / _GALLONS_CONSTANT
    )


def flow_from_catch(ounces: ArrayLike, seconds: ArrayLike) -> Floats:
    """Flow [gal/min] from fluid ounces caught in a time [s]."""
    return np.asarray(ounces, np.float64) / _OUNCES_PER_GALLON * 60.0 / np.asarray(seconds, np.float64)


def ground_speed(course_ft: ArrayLike, seconds: ArrayLike) -> Floats:
    """Miles an hour from a course [ft] and the time to drive it [s]; 88 ft/min is 1 mph."""
    return np.asarray(course_ft, np.float64) * 60.0 / (np.asarray(seconds, np.float64) * 88.0)


def ounce_course(width_in: ArrayLike) -> Floats:
    """Course [ft] that makes 1/128 acre at a width per nozzle [in]: ounces caught over it are gallons an acre."""
    return SQUARE_FEET_PER_ACRE / _OUNCES_PER_GALLON * 12.0 / np.asarray(width_in, np.float64)


def eighth_acre_course(swath_ft: ArrayLike) -> Floats:
    """Course [ft] that makes 1/8 acre at a swath [ft], for nozzles without a boom."""
    return SQUARE_FEET_PER_ACRE / 8.0 / np.asarray(swath_ft, np.float64)


def rate_from_course(ounces: ArrayLike, course_ft: ArrayLike, width_in: ArrayLike) -> Floats:
    """Gallons an acre from ounces caught at one nozzle in the time to drive a course [ft], whatever its length."""
    acres = np.asarray(course_ft, np.float64) * np.asarray(width_in, np.float64) / 12.0 / SQUARE_FEET_PER_ACRE
    return np.asarray(ounces, np.float64) / _OUNCES_PER_GALLON / acres


def ounces_as_rate(ounces: float, course_ft: float, width_in: float) -> float:
    """Gallons an acre read straight from the jug, which holds only on the 1/128-acre course.

    Raises
    ------
    InputError : the course differs from the right one by more than 1 %. A page in circulation gives 163 ft for nozzles
        20 in apart and reads 32 oz as 20 gal/ac; that course is 1/160 acre, and the true rate is 40 gal/ac
    """
    right = float(ounce_course(width_in))
    if abs(course_ft / right - 1) > _COURSE_TOLERANCE:
        raise InputError(
            f"a course of {course_ft:g} ft at {width_in:g} in does not make ounces equal gallons an acre",
            where="sprayer course",
            expected=f"{right:.1f} ft for that width",
            todo=f"the {ounces:g} oz caught mean {float(rate_from_course(ounces, course_ft, width_in)):.1f} gal/ac",
        )
    return float(ounces)


def band_rate(broadcast_gpa: ArrayLike, band_in: ArrayLike, row_in: ArrayLike) -> Floats:
    """Gallons per field acre when only a band [in] of each row [in] is sprayed at the broadcast rate."""
    return np.asarray(broadcast_gpa, np.float64) * np.asarray(band_in, np.float64) / np.asarray(row_in, np.float64)


def acres_per_tank(tank_gal: ArrayLike, rate_gpa: ArrayLike) -> Floats:
    """Acres that one tank [gal] covers at a rate [gal/ac]; times the product rate it is the product for the tank."""
    return np.asarray(tank_gal, np.float64) / np.asarray(rate_gpa, np.float64)


def off_nozzles(flows: ArrayLike, tolerance: float) -> NDArray[np.int64]:
    """Positions (from 0) of nozzles whose flow differs from the middle one by more than `tolerance` [1].

    Guides say the mean; one worn nozzle of a few would carry it, and its sound neighbors would be thrown out.
    """
    caught = np.asarray(flows, np.float64)
    middle = float(np.median(caught))
    if not middle > 0:  # nothing came out of most
        return np.arange(caught.size)
    return np.flatnonzero(np.abs(caught / middle - 1) > tolerance).astype(np.int64)
