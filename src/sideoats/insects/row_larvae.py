"""Larvae along a drill row: a mean with its unit as it is told."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sideoats import units
from sideoats.errors import InputError

MOST = 100.0  # larvae a foot of row; more is a slip of unit


def stand_lost(eaten: ArrayLike, leaf: ArrayLike, least: float, whole: float) -> NDArray[np.float64]:
    """Share of a stand lost where larvae want `eaten` of the `leaf` there is, both in the same unit [cm2/ft].

    None while they want under `least` of it, all of it from `whole`, straight between.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.asarray(eaten, float) / np.asarray(leaf, float)
    return np.asarray(np.clip((np.nan_to_num(ratio) - least) / (whole - least), 0.0, 1.0))


def per_foot(text: str, row_spacing: float, where: str = "larvae") -> float:
    """Larvae per foot of row from text with its unit; `row_spacing` [in] is needed for counts per area.

    Raises InputError for text without one of the two units, a count per area without row spacing, or a number that no
    field holds; `where` names the input.
    """
    expected = "'2.5 /ft' of row, or '4 /ft2' of ground with rows="
    try:
        value = units.parse(text, "1/ft")
    except InputError:
        try:
            value = units.parse(text, "1/ft**2")
        except InputError:
            raise InputError(
                f"{text[:60]!r} is neither per foot of row nor per area", where=where, expected=expected
            ) from None
        if np.isnan(row_spacing):
            raise InputError(
                f"{text[:60]!r} is per area",
                where=where,
                expected="rows= (row spacing)",
                todo="thresholds are per foot of row",
            ) from None
        value *= row_spacing / 12.0
    if not 0 <= value <= MOST:
        raise InputError(f"{text[:60]!r} is outside what is possible", where=where, expected=f"0 to {MOST:g} a foot")
    return value


def per_foot_or_nan(text: str, row_spacing: float) -> float:
    """The same, NaN for what cannot be read or is not there."""
    try:
        return per_foot(text, row_spacing if row_spacing > 0 else np.nan) if text else np.nan
    except InputError:
        return np.nan
