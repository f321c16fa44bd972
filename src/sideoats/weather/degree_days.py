"""Degree-days of one day from its maximum and minimum, by the methods and cut-offs in use.

A(th) is the area of the day's temperature curve above a threshold, in degree-days. With lower threshold L and upper U:

* ``none``: A(L)
* ``horizontal``: A(L) - A(U), development goes on at its highest rate above U
* ``intermediate``: A(L) - 2 A(U), never below 0 for a day: the rate falls above U as fast as it rose
* ``vertical``: A(L) - A(U) - (U - L) x (share of the day above U): no development above U

`method` says how the curve is drawn: ``simple`` (the day's mean all day), ``modified`` (maximum and minimum first
brought inside L..U, then their mean; the "86/50" of maize), ``single_triangle`` and ``single_sine`` (one curve through
the day's maximum and minimum), ``double_triangle`` and ``double_sine`` (afternoon fall to the NEXT day's minimum).

All temperatures and thresholds in one unit, degF or degC; the result is in degree-days of that unit. A day whose
maximum is below its minimum, or that lacks either, is NaN: it is for the caller to count and report, never to fill.

References
----------
.. [1] E.C. Lindsey, J.E. Newman, Use of official weather data in spring time-temperature analysis of an Indiana
   phenological record, Ecology 37:812-823, 1956 (triangle; from memory).
.. [2] G.L. Baskerville, P. Emin, Rapid estimation of heat accumulation from maximum and minimum temperatures, Ecology
   50:514-517, 1969 (sine; from memory).
.. [3] J.C. Allen, A modified sine wave method for calculating degree days, Environ. Entomol. 5:388-396, 1976 (from
   memory).
.. [4] F.G. Zalom et al., Degree-days: the calculation and use of heat units in pest management, Univ. California
   Leaflet 21373, 1983 (names of the cut-offs; from memory).
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sideoats.errors import InputError
from sideoats.weather.arrays import Floats, by_blocks, floats

METHODS = ("simple", "modified", "single_triangle", "double_triangle", "single_sine", "double_sine")
_FLAT = 1e-9  # the least half swing: a level day keeps one, so that nothing is divided by zero
CUTOFFS = ("none", "horizontal", "intermediate", "vertical")


def degree_days(
    tmax: ArrayLike,
    tmin: ArrayLike,
    lower: float,
    upper: float | None = None,
    *,
    method: str = "single_sine",
    cutoff: str | None = None,
    tmin_next: ArrayLike | None = None,
    workers: int = 1,
) -> Floats:
    """Degree-days of each day.

    Parameters
    ----------
    tmax, tmin : daily extremes, any shape that broadcasts, days along the last axis [degF or degC]
    lower, upper : thresholds in the same unit; `upper` may be left out where there is no cut-off
    method : one of `METHODS`
    cutoff : one of `CUTOFFS`; horizontal where None and `upper` is given, else none
    tmin_next : next day's minimum for the double methods; taken from `tmin` along the last axis where None, so that the
        last day of the array is NaN
    workers : threads for large arrays

    Returns
    -------
    (...) degree-days in the unit of the input; NaN for a day that cannot be computed

    Raises
    ------
    InputError : an unknown method or cut-off, thresholds out of order, or a combination that nobody defines
    """
    cut = _checked(method, cutoff, lower, upper)
    high = np.inf if cut == "none" or upper is None else float(upper)
    if method.startswith("double"):
        low = floats(tmin)
        after = _shifted(low) if tmin_next is None else tmin_next
        return by_blocks(
            _double, tmax, low, after, method=method, cutoff=cut, lower=float(lower), upper=high, workers=workers
        )
    return by_blocks(_single, tmax, tmin, method=method, cutoff=cut, lower=float(lower), upper=high, workers=workers)


def _checked(method: str, cutoff: str | None, lower: float, upper: float | None) -> str:
    cut = cutoff or ("none" if upper is None else "horizontal")
    if method not in METHODS:
        raise InputError(
            f"method {method!r} is not known", where="degree-days", expected="one of " + ", ".join(METHODS)
        )
    if cut not in CUTOFFS:
        raise InputError(f"cut-off {cut!r} is not known", where="degree-days", expected="one of " + ", ".join(CUTOFFS))
    if cut != "none" and upper is None:
        raise InputError(f"cut-off {cut} has no upper threshold", where="degree-days", todo="give upper")
    if upper is not None and not lower < upper:
        raise InputError(f"lower {lower:g} is not below upper {upper:g}", where="degree-days")
    if method == "modified" and cut in ("intermediate", "vertical"):
        raise InputError(
            f"the modified mean has no {cut} cut-off: it is itself a clamp",
            where="degree-days",
            expected="none or horizontal",
        )
    return cut


def _shifted(tmin: Floats) -> Floats:
    after = np.full_like(tmin, np.nan)
    if tmin.ndim:
        after[..., :-1] = tmin[..., 1:]
    return after


def _double(
    tmax: Floats, tmin: Floats, tmin_next: Floats, *, method: str, cutoff: str, lower: float, upper: float
) -> Floats:
    one = method.replace("double", "single")
    morning = _single(tmax, tmin, method=one, cutoff=cutoff, lower=lower, upper=upper)
    evening = _single(tmax, tmin_next, method=one, cutoff=cutoff, lower=lower, upper=upper)
    return 0.5 * morning + 0.5 * evening


def _single(tmax: Floats, tmin: Floats, *, method: str, cutoff: str, lower: float, upper: float) -> Floats:
    if method == "modified":
        ceiling = upper if cutoff == "horizontal" else np.inf
        total = (np.clip(tmax, lower, ceiling) + np.clip(tmin, lower, ceiling)) / 2 - lower
    else:
        above = _ABOVE[method]
        mean, half = (tmax + tmin) * 0.5, np.maximum((tmax - tmin) * 0.5, _FLAT)
        total, _ = above(mean, half, lower)
        if cutoff != "none":
            beyond, share = above(mean, half, upper)
            total = total - beyond * (2.0 if cutoff == "intermediate" else 1.0)
            if cutoff == "vertical":
                total = total - (upper - lower) * share
            total = np.maximum(total, 0.0)
    return np.where(tmax >= tmin, total, np.nan)


class _Above(NamedTuple):
    """Area of the day's curve above a threshold [degree-days], and the share of the day spent above it.

    The curves take the day's mean and half its swing. A threshold outside the swing needs no case of its own: the share
    is held to 0 and 1, where the formulas give 0 and the mean less the threshold.
    """

    area: Floats
    share: Floats


def _simple(mean: Floats, half: Floats, threshold: float) -> _Above:
    over = mean - threshold
    return _Above(np.maximum(over, 0.0), (over > 0).astype(np.float64))


def _triangle(mean: Floats, half: Floats, threshold: float) -> _Above:
    rise = mean - threshold
    share = np.clip((rise + half) / (2 * half), 0.0, 1.0)
    return _Above(share * (rise + half + np.maximum(rise - half, 0.0)) * 0.5, share)


def _sine(mean: Floats, half: Floats, threshold: float) -> _Above:
    rise = mean - threshold
    sine = np.clip(rise / half, -1.0, 1.0)
    share = 0.5 + np.arcsin(sine) / np.pi
    # W cos(asin(s)) = W sqrt(1 - s^2): a root is cheaper than a cosine
    return _Above(rise * share + half * np.sqrt(1.0 - sine * sine) / np.pi, share)


_ABOVE: dict[str, Callable[[Floats, Floats, float], _Above]] = {
    "simple": _simple,
    "single_triangle": _triangle,
    "single_sine": _sine,
}


def hours_between(
    tmax: ArrayLike, tmin: ArrayLike, low: float, high: float = np.inf, *, method: str = "single_sine"
) -> Floats:
    """Hours of a day whose temperature lies between two bounds, from the day's curve.

    Parameters
    ----------
    tmax, tmin : daily extremes (...) [degF or degC]
    low, high : the band, same unit; either may be infinite
    method : single_sine or single_triangle

    Returns
    -------
    (...) hours, 0 to 24; NaN where the day lacks a value or its maximum is below its minimum
    """
    if method not in ("single_sine", "single_triangle"):
        raise InputError(
            f"method {method!r} draws no curve", where="hours in a band", expected="single_sine or single_triangle"
        )
    if not low < high:
        raise InputError(f"low {low:g} is not below high {high:g}", where="hours in a band")

    def hours(warmest: Floats, coldest: Floats) -> Floats:
        return np.where(
            warmest >= coldest,
            24 * (_share_above(warmest, coldest, low, method) - _share_above(warmest, coldest, high, method)),
            np.nan,
        )

    return by_blocks(hours, tmax, tmin)


def _share_above(tmax: Floats, tmin: Floats, threshold: float, method: str) -> Floats:
    if np.isinf(threshold):
        return np.full(np.broadcast(tmax, tmin).shape, 1.0 if threshold < 0 else 0.0)
    return _ABOVE[method]((tmax + tmin) * 0.5, np.maximum((tmax - tmin) * 0.5, _FLAT), threshold).share


class Sum(NamedTuple):
    """A sum over days: the total of the days that are there, how many those are, and how many are missing."""

    total: Floats
    days: NDArray[np.int64]
    missing: NDArray[np.int64]


def accumulate(daily: ArrayLike, *, axis: int = -1) -> Sum:
    """Sum of daily values with missing days counted, not filled.

    Parameters
    ----------
    daily : (..., day, ...) degree-days, rain or the like; NaN where missing
    axis : the day axis
    """
    values = floats(daily)
    gone = np.isnan(values)
    missing = gone.sum(axis=axis, dtype=np.int64)
    days = np.int64(values.shape[axis]) - missing
    return Sum(floats(np.nansum(values, axis=axis)), days, missing)
