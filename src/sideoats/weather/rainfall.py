"""Rain: what of it is useful, what runs off, how it stands against normal, and how long since it fell.

References
----------
.. [1] USDA-NRCS, National Engineering Handbook part 623 chapter 2 (effective rain; SCS Technical Release 21; from
   memory).
.. [2] USDA-NRCS, National Engineering Handbook part 630 chapter 10, and Technical Release 55, 1986 (curve number; the
   formula read in a copy, tables from memory).
.. [3] R.H. Hawkins et al., Curve number hydrology, ASCE, 2009 (conversion between initial abstraction ratios; read in a
   listing; antecedent runoff conditions from memory).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sideoats.errors import InputError
from sideoats.weather.arrays import Floats, floats

EFFECTIVE_METHODS = ("scs_tr21", "usda_simple", "fao_dependable")


def effective_monthly(
    rain: ArrayLike, *, crop_et: ArrayLike | None = None, storage: ArrayLike = 75.0, method: str = "scs_tr21"
) -> Floats:
    """Rain of a month that a crop can use [mm].

    Parameters
    ----------
    rain : [mm/month]
    crop_et : crop evapotranspiration [mm/month], needed by scs_tr21
    storage : usable soil water storage [mm], for scs_tr21; its factor is 1 at 76 mm
    method : scs_tr21 [1] (never more than the rain or the crop's use); usda_simple; fao_dependable

    Raises
    ------
    InputError : unknown method, or no crop_et where it is needed
    """
    p = floats(rain)
    if method == "scs_tr21":
        if crop_et is None:
            raise InputError(
                "scs_tr21 needs the crop's evapotranspiration", where="effective rain", todo="give crop_et"
            )
        inches, use, d = p / 25.4, floats(crop_et) / 25.4, floats(storage) / 25.4
        factor = 0.531747 + 0.295164 * d - 0.057697 * d**2 + 0.003804 * d**3
        found = 25.4 * factor * (0.70917 * inches**0.82416 - 0.11556) * 10 ** (0.02426 * use)
        return np.maximum(np.minimum(found, np.minimum(p, floats(crop_et))), 0.0)
    if method == "usda_simple":
        return np.where(p <= 250, p * (125 - 0.2 * p) / 125, 125 + 0.1 * p)
    if method == "fao_dependable":
        return np.maximum(np.where(p <= 75, 0.6 * p - 10, 0.8 * p - 25), 0.0)
    raise InputError(
        f"method {method!r} is not known", where="effective rain", expected="one of " + ", ".join(EFFECTIVE_METHODS)
    )


def storage_from_curve_number(curve_number: ArrayLike) -> Floats:
    """Potential maximum retention S [mm], 25400/CN - 254 [2]."""
    return floats(25400 / floats(curve_number) - 254)


def runoff(rain: ArrayLike, curve_number: ArrayLike, *, abstraction: float = 0.2) -> Floats:
    """Runoff of one storm [mm] by the curve number [2].

    A daily total stands in for the storm only as an approximation; unreliable below a curve number of 40 or a runoff of
    half an inch, and not meant for snowmelt.

    Parameters
    ----------
    rain : storm total [mm]
    curve_number : 0 < CN <= 100; NaN outside
    abstraction : initial abstraction over S: 0.2, or 0.05 with S converted as in [3]
    """
    cn = np.where((floats(curve_number) > 0) & (floats(curve_number) <= 100), floats(curve_number), np.nan)
    s = storage_from_curve_number(cn)
    if abstraction == 0.05:
        s = 25.4 * 1.33 * (s / 25.4) ** 1.15
    elif abstraction != 0.2:
        raise InputError(f"abstraction {abstraction:g} has no published curve numbers", expected="0.2 or 0.05")
    excess = np.maximum(floats(rain) - abstraction * s, 0.0)
    return floats(excess**2 / np.maximum(excess + s, 1e-12))


def curve_number_dry(curve_number: ArrayLike) -> Floats:
    """Curve number on dry ground (antecedent condition I) from the average one [3]."""
    cn = floats(curve_number)
    return floats(cn / (2.281 - 0.01281 * cn))


def curve_number_wet(curve_number: ArrayLike) -> Floats:
    """Curve number on wet ground (antecedent condition III) from the average one [3]."""
    cn = floats(curve_number)
    return floats(cn / (0.427 + 0.00573 * cn))


def percent_of_normal(amount: ArrayLike, normal: ArrayLike, *, least_normal: float = 0.0) -> Floats:
    """100 x amount / normal; NaN where the normal is `least_normal` or less, because there it means nothing."""
    usual = floats(normal)
    return floats(100 * floats(amount) / np.where(usual > least_normal, usual, np.nan))


class AgainstPast(NamedTuple):
    """An amount beside the same span of past years; amounts in the unit of the input.

    `percentile` is the share of past years with less, ties counted half [%]; `rank` 1 is the driest.
    """

    amount: float
    normal: float
    departure: float
    percent: float
    percentile: float
    rank: int
    years: int


def against_past(amount: float, past: ArrayLike) -> AgainstPast:
    """One amount against the amounts of past years (years,), NaN years left out."""
    known = floats(past)
    known = known[~np.isnan(known)]
    if known.size == 0 or np.isnan(amount):
        return AgainstPast(amount, np.nan, np.nan, np.nan, np.nan, 0, int(known.size))
    normal = float(known.mean())
    below, ties = float((known < amount).sum()), float((known == amount).sum())
    return AgainstPast(
        amount,
        normal,
        amount - normal,
        float(percent_of_normal(amount, normal)),
        100 * (below + ties / 2) / known.size,
        int(below) + 1,
        int(known.size),
    )


class DrySpell(NamedTuple):
    """Length [days] of the dry spell that ends on the last day, and of the longest; NaN days end no spell but count."""

    current: NDArray[np.int64]
    longest: NDArray[np.int64]
    missing: NDArray[np.int64]


def dry_spells(rain: ArrayLike, *, dry_below: float) -> DrySpell:
    """Runs of days with less than `dry_below` [mm] along the last axis of `rain` (..., day) [mm].

    A missing day neither ends a run nor lengthens it; how many there are is returned.
    """
    water = floats(rain)
    wet = water >= dry_below
    gone = np.isnan(water)
    dry = (~wet & ~gone).astype(np.int64)
    total = np.cumsum(dry, axis=-1)
    at_wet = np.maximum.accumulate(np.where(wet, total, 0), axis=-1)
    run = total - at_wet
    return DrySpell(run[..., -1], run.max(axis=-1), gone.sum(axis=-1, dtype=np.int64))


def days_since(rain: ArrayLike, amount: float) -> NDArray[np.int64]:
    """Days since at least `amount` [mm] fell on one day, along the last axis; 0 is the last day, -1 never."""
    wet = floats(rain) >= amount
    back = np.argmax(wet[..., ::-1], axis=-1)
    return np.where(wet.any(axis=-1), back, -1).astype(np.int64)
