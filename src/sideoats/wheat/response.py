"""Yield response to nitrogen and the rate at which the last pound pays for itself.

Quadratic-plateau is the default and linear-plateau stands beside it: five forms fitted twelve site-years equally
well by R2, yet their mean optimum ran from 128 to 379 kg/ha (Cerrato and Blackmer, Agron. J. 82:138-143, 1990).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sideoats.errors import InputError

Floats = NDArray[np.float64]
FORMS = ("quadratic_plateau", "linear_plateau", "quadratic")


def quadratic_plateau(nitrogen: ArrayLike, a: ArrayLike, b: ArrayLike, c: ArrayLike) -> Floats:
    """Yield a + bN + cN2 up to its top at N = -b/2c and level from there [yield unit]; c below zero."""
    slope, bend = np.asarray(b, np.float64), np.asarray(c, np.float64)
    x = np.minimum(np.asarray(nitrogen, np.float64), -slope / (2 * bend))
    return np.asarray(a, np.float64) + slope * x + bend * x * x


def linear_plateau(nitrogen: ArrayLike, a: ArrayLike, b: ArrayLike, join: ArrayLike) -> Floats:
    """Yield a + bN up to N = `join` and level from there [yield unit]."""
    return np.asarray(a, np.float64) + np.asarray(b, np.float64) * np.minimum(
        np.asarray(nitrogen, np.float64), np.asarray(join, np.float64)
    )


def quadratic(nitrogen: ArrayLike, a: ArrayLike, b: ArrayLike, c: ArrayLike) -> Floats:
    """Yield a + bN + cN2 without a plateau [yield unit]."""
    x = np.asarray(nitrogen, np.float64)
    return np.asarray(a, np.float64) + np.asarray(b, np.float64) * x + np.asarray(c, np.float64) * x * x


def optimum_quadratic(b: ArrayLike, c: ArrayLike, price_ratio: ArrayLike) -> Floats:
    """Rate where the last pound pays for itself, quadratic with or without plateau: (ratio - b) / 2c, not below zero.

    `price_ratio` is the price of nitrogen over the price of grain, in the units of b.
    """
    return np.maximum(
        (np.asarray(price_ratio, np.float64) - np.asarray(b, np.float64)) / (2 * np.asarray(c, np.float64)), 0.0
    )


def optimum_linear(b: ArrayLike, join: ArrayLike, price_ratio: ArrayLike) -> Floats:
    """The join where a pound pays, else zero: a linear-plateau has no rate between."""
    return np.asarray(
        np.where(np.asarray(b, np.float64) > np.asarray(price_ratio, np.float64), np.asarray(join, np.float64), 0.0)
    )


def supply_response(
    supply: ArrayLike, need: ArrayLike, potential: ArrayLike, form: str = "quadratic_plateau"
) -> Floats:
    """Yield from all nitrogen at hand (soil, credits, fertiliser) where no local response trial is on file.

    The plateau is `potential`; it is reached at `need`. The quadratic starts from zero yield at zero supply, so its
    slope at half the need is potential/need; the linear form has that slope throughout. A working assumption, not a
    published response: use fitted coefficients where there are any.

    Parameters
    ----------
    supply, need : nitrogen [lb/ac]
    potential : yield with enough nitrogen [yield unit]
    form : quadratic_plateau or linear_plateau
    """
    share = np.clip(np.asarray(supply, np.float64) / np.asarray(need, np.float64), 0.0, 1.0)
    top = np.asarray(potential, np.float64)
    if form == "quadratic_plateau":
        return top * (1 - (1 - share) ** 2)
    if form == "linear_plateau":
        return top * share
    raise InputError(f"form {form!r} is not known", where="nitrogen response", expected=", ".join(FORMS[:2]))


class ResponseFit(NamedTuple):
    """A fitted response: coefficients (a, b, c or join), residual standard deviation and R2."""

    form: str
    coefficients: tuple[float, float, float]
    residual: float
    r_squared: float

    def optimum(self, price_ratio: float) -> float:
        """Economic optimum rate at a price ratio, in the unit of the rates fitted."""
        _, b, last = self.coefficients
        if self.form == "linear_plateau":
            return float(optimum_linear(b, last, price_ratio))
        return float(optimum_quadratic(b, last, price_ratio))

    def predict(self, nitrogen: ArrayLike) -> Floats:
        """Yield at the given rates."""
        a, b, last = self.coefficients
        return {"quadratic_plateau": quadratic_plateau, "linear_plateau": linear_plateau, "quadratic": quadratic}[
            self.form
        ](nitrogen, a, b, last)


def own(slope: float, bend: float, applied: float = 0.0) -> ResponseFit:
    """A response ``slope N + bend N2`` [bu/ac] as bushels over none, by what is put on top of `applied` [lb/ac]."""
    return ResponseFit("quadratic_plateau", (0.0, slope + 2 * bend * applied, bend), float("nan"), float("nan"))


def working(potential: float, need: float, have: float) -> list[ResponseFit]:
    """`supply_response` in both forms as functions of nitrogen put on top of `have` [lb/ac].

    Returns
    -------
    quadratic-plateau first; an empty list where `have` covers `need` or something is not known
    """
    if not (np.isfinite(potential) and have < need):
        return []
    share = have / need
    forms = {
        "quadratic_plateau": (
            potential * (2 - share) * share,
            2 * potential / need * (1 - share),
            -potential / need**2,
        ),
        "linear_plateau": (potential * share, potential / need, need - have),
    }
    return [ResponseFit(form, terms, float("nan"), float("nan")) for form, terms in forms.items()]


def fit_response(nitrogen: ArrayLike, yields: ArrayLike, form: str = "quadratic_plateau") -> ResponseFit:
    """Least-squares fit of a response form.

    For a plateau form the join is searched over the range of rates; at a given join both forms are linear in the rest.

    Raises
    ------
    InputError : fewer than four rates, or yields that do not rise (no plateau can be fitted)
    """
    from scipy.optimize import minimize_scalar

    x, y = np.asarray(nitrogen, np.float64), np.asarray(yields, np.float64)
    if form not in FORMS:
        raise InputError(f"form {form!r} is not known", where="nitrogen response", expected=", ".join(FORMS))
    if len(np.unique(x)) < 4 or len(x) != len(y):
        raise InputError(
            f"{len(np.unique(x))} different rates", where="nitrogen response", expected="four rates or more"
        )
    if form == "quadratic":
        c, b, a = np.polyfit(x, y, 2)
        return _scored(form, (float(a), float(b), float(c)), x, y)

    def basis(join: float) -> Floats:
        held = np.minimum(x, join)
        return held if form == "linear_plateau" else held * (2 * join - held)

    def solve(join: float) -> tuple[float, float, float]:
        z = basis(join)
        centred = z - z.mean()
        slope = float(centred @ y / max(centred @ centred, 1e-300))
        rest = y - y.mean() - slope * centred
        return float(rest @ rest), slope, float(y.mean() - slope * z.mean())

    low, high = float(np.partition(np.unique(x), 1)[1]), float(x.max()) * (1.0 if form == "linear_plateau" else 1.5)
    grid = np.linspace(low, high, 61)
    best = min(grid, key=lambda j: solve(float(j))[0])
    step = grid[1] - grid[0]
    found = minimize_scalar(
        lambda j: solve(float(j))[0], bounds=(max(low, best - step), min(high, best + step)), method="bounded"
    )
    join = float(found.x)
    _, slope, start = solve(join)
    if slope <= 0:
        raise InputError(
            "yields do not rise with nitrogen", where="nitrogen response", todo="no rate can be advised from them"
        )
    if form == "linear_plateau":
        return _scored(form, (start, slope, join), x, y)
    return _scored(form, (start, 2 * join * slope, -slope), x, y)


def _scored(form: str, coefficients: tuple[float, float, float], x: Floats, y: Floats) -> ResponseFit:
    rough = ResponseFit(form, coefficients, 0.0, 0.0)
    left = float(((y - rough.predict(x)) ** 2).sum())
    total = float(((y - y.mean()) ** 2).sum())
    return ResponseFit(
        form, coefficients, float(np.sqrt(left / max(len(x) - 3, 1))), 1 - left / total if total else 0.0
    )
