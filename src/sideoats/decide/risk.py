"""Attitude to risk: certainty equivalents, risk premiums, stochastic dominance.

Formulas from memory (Pratt 1964; Anderson, Dillon and Hardaker 1977; Babcock, Choi and Feinerman, J. Agric. Resource
Econ. 18(1):17-24, 1993: abstract read), checked in tests/published/test_decide.py. Absolute risk aversion has the unit
1/money: it must be rescaled with the size of the gamble (per acre or per farm).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


def cara_certainty_equivalent(
    outcomes: ArrayLike, aversion: float, *, chance: ArrayLike | None = None, axis: int = 0
) -> Floats:
    """Certainty equivalent under exponential utility: -ln E[exp(-a x)] / a, money.

    Parameters
    ----------
    outcomes : money, any shape, draws along `axis`
    aversion : absolute risk aversion a [1/money]; 0 gives the mean
    chance : weights along `axis`, adding to one; equal where None
    """
    x = np.moveaxis(np.asarray(outcomes, float), axis, -1)
    weights = np.full(x.shape[-1], 1.0 / x.shape[-1]) if chance is None else np.asarray(chance, float)
    if aversion == 0:
        return np.asarray(x @ weights, dtype=np.float64)
    floor = x.min(axis=-1, keepdims=True)  # shift by the worst outcome so that exp never overflows
    inner = np.exp(-aversion * (x - floor)) @ weights
    return np.asarray(floor[..., 0] - np.log(inner) / aversion, dtype=np.float64)


def cara_normal_certainty_equivalent(mean: ArrayLike, sd: ArrayLike, aversion: float) -> Floats:
    """mean - a sd^2 / 2, exact for a normal outcome."""
    return np.asarray(np.asarray(mean, float) - aversion * np.asarray(sd, float) ** 2 / 2, dtype=np.float64)


def crra_certainty_equivalent(
    outcomes: ArrayLike, relative_aversion: float, wealth: float, *, chance: ArrayLike | None = None
) -> float:
    """Certainty equivalent under power utility of final wealth (log at 1), money; NaN if wealth can be used up."""
    x = np.asarray(outcomes, float) + wealth
    weights = np.full(x.shape, 1.0 / x.size) if chance is None else np.asarray(chance, float)
    if (x <= 0).any():
        return float("nan")
    if relative_aversion == 1:
        return float(np.exp(np.log(x) @ weights) - wealth)
    power = 1 - relative_aversion
    return float((x**power @ weights) ** (1 / power) - wealth)


def risk_premium_coin_flip(aversion: float, stake: float) -> float:
    """Premium given up to avoid winning or losing `stake` on a fair coin: ln cosh(a h) / a."""
    return float(np.log(np.cosh(aversion * stake)) / aversion)


def probability_premium(aversion: float, stake: float) -> float:
    """Extra chance of winning that makes the coin flip acceptable: tanh(a h / 2) / 2."""
    return float(0.5 * np.tanh(aversion * stake / 2))


def dominates_first_order(a: ArrayLike, b: ArrayLike) -> bool:
    """True if every sorted outcome of `a` is at least that of `b` and one is more (equally likely outcomes)."""
    x, y = np.sort(np.asarray(a, float)), np.sort(np.asarray(b, float))
    return bool((x >= y).all() and (x > y).any())


def dominates_second_order(a: ArrayLike, b: ArrayLike) -> bool:
    """True if the cumulative sums of sorted outcomes of `a` are at least those of `b` and one is more."""
    x, y = np.cumsum(np.sort(np.asarray(a, float))), np.cumsum(np.sort(np.asarray(b, float)))
    return bool((x >= y - 1e-12).all() and (x > y + 1e-12).any())
