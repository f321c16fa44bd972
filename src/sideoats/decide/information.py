"""Value of perfect and of sample information.

Definitions (Raiffa and Schlaifer, Applied Statistical Decision Theory, 1961; from memory, checked against printed
examples in tests/published/test_decide.py):

* EVPI = sum_s p(s) max_a U(a, s) - max_a sum_s p(s) U(a, s), which equals the least expected regret.
* EVSI = sum_k P(k) max_a sum_s P(s|k) U(a, s) - max_a sum_s p(s) U(a, s).
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


def perfect_information(payoff: ArrayLike, chance: ArrayLike) -> float:
    """EVPI of a payoff table.

    Parameters
    ----------
    payoff : (action, state), money
    chance : (state,), adding to one
    """
    table, p = np.asarray(payoff, float), np.asarray(chance, float)
    if not math.isclose(p.sum(), 1.0, abs_tol=1e-9):
        raise ValueError(f"chances add to {p.sum():g}; expected 1")
    return float(table.max(axis=0) @ p - (table @ p).max())


def expected_regret(payoff: ArrayLike, chance: ArrayLike) -> Floats:
    """Expected opportunity loss of each action; the smallest equals EVPI. Shapes as `perfect_information`."""
    table, p = np.asarray(payoff, float), np.asarray(chance, float)
    return np.asarray((table.max(axis=0) - table) @ p, dtype=np.float64)


def sample_information(payoff: ArrayLike, chance: ArrayLike, likelihood: ArrayLike) -> float:
    """EVSI of a payoff table.

    Parameters
    ----------
    payoff : (action, state), money
    chance : (state,), prior
    likelihood : (signal, state), P(signal | state); columns add to one
    """
    table, p, like = (np.asarray(x, float) for x in (payoff, chance, likelihood))
    joint = like * p
    return float((joint @ table.T).max(axis=1).sum() - (table @ p).max())


def sample_information_from_draws(payoff: ArrayLike, signal: ArrayLike, *, barred: Any = None) -> Floats:
    """EVSI where the joint distribution of state and signal is given by draws.

    The payoff that a signal promises is a cubic in the signal, fitted by least squares (the regression estimate of
    Strong, Oakley and Brennan, Med. Decis. Making 34:311-326, 2014; from memory, checked against closed forms in
    tests/published/test_decide.py). Every other draw is left out of the fit in turn and the choice made for it is paid
    what it brings in that draw, so that a signal that tells nothing is worth nothing.

    Parameters
    ----------
    payoff : (place, draw, option), money per unit
    signal : (place, draw), what the look would show in that draw
    barred : (place, option) bool or None

    Returns
    -------
    (place,), money per unit, never below zero
    """
    pay, seen = np.asarray(payoff, float), np.asarray(signal, float)
    places, draws, options = pay.shape
    shut = np.zeros((places, options), bool)
    if barred is not None:
        shut |= np.broadcast_to(np.asarray(barred, bool), (places, options))
    shut |= np.isnan(pay).any(axis=1)
    open_pay = np.where(shut[:, None, :], 0.0, pay)
    basis = _cubic(seen)
    uninformed = np.where(shut, -np.inf, open_pay.mean(axis=1)).max(axis=1)
    informed = np.zeros(places)
    for half in (0, 1):
        promised = basis[:, half::2] @ _fitted(basis[:, 1 - half :: 2], open_pay[:, 1 - half :: 2])
        choice = np.where(shut[:, None, :], -np.inf, promised).argmax(axis=2)
        informed += np.take_along_axis(open_pay[:, half::2], choice[..., None], axis=2)[..., 0].sum(axis=1)
    with np.errstate(invalid="ignore"):  # a place whose every option is barred
        gain = informed / draws - uninformed
    return np.where(np.isfinite(gain), np.maximum(gain, 0.0), 0.0)


def two_way_information_from_draws(difference: ArrayLike, signal: ArrayLike) -> Floats:
    """EVSI of choosing between two actions, smooth in the payoffs: what a ruling compares with the cost of a look.

    The difference is fitted as a cubic of the signal, the fit drawn in towards its mean by what a fit of so many draws
    finds in noise, and the better action taken on what the fit promises.

    Parameters
    ----------
    difference : (place, draw), payoff of the one action over the other
    signal : (place, draw), what the look would show in that draw

    Returns
    -------
    (place,), money per unit
    """
    gap = np.asarray(difference, float)
    promised = promised_from_draws(gap, signal)
    mean = gap.mean(axis=1)
    return np.asarray(np.maximum(np.maximum(promised, 0.0).mean(axis=1) - np.maximum(mean, 0.0), 0.0), dtype=np.float64)


def promised_from_draws(difference: ArrayLike, signal: ArrayLike) -> Floats:
    """What the signal promises of a difference in payoff, (place, draw): see `two_way_information_from_draws`."""
    gap, seen = np.asarray(difference, float), np.asarray(signal, float)
    basis = _cubic(seen)
    draws, terms = gap.shape[1], basis.shape[2]
    promised = (basis @ _fitted(basis, gap[:, :, None]))[..., 0]
    noise = (gap - promised).var(axis=1) * (terms - 1) / max(draws - terms, 1)
    found = promised.var(axis=1)
    kept = np.sqrt(np.divide(np.maximum(found - noise, 0.0), found, out=np.zeros_like(found), where=found > 0))
    mean = gap.mean(axis=1)
    return np.asarray(mean[:, None] + kept[:, None] * (promised - mean[:, None]))


def _cubic(seen: Floats) -> Floats:
    """(place, draw, 4) powers of the standardised signal."""
    centred = seen - seen.mean(axis=1, keepdims=True)
    spread = centred.std(axis=1, keepdims=True)
    z = np.clip(np.divide(centred, spread, out=np.zeros_like(centred), where=spread > 0), -4.0, 4.0)
    return np.stack([np.ones_like(z), z, z * z, z * z * z], axis=2)


def _fitted(basis: Floats, pay: Floats) -> Floats:
    """(place, 4, option) least squares coefficients; a whisper of ridge, for signals of two or three values."""
    turned = basis.transpose(0, 2, 1)
    normal = turned @ basis + 1e-6 * basis.shape[1] * np.eye(basis.shape[2])
    return np.asarray(np.linalg.solve(normal, turned @ pay), dtype=np.float64)


def unit_normal_loss(z: ArrayLike) -> Floats:
    """L(z) = phi(z) - z (1 - Phi(z)), the unit normal linear loss."""
    from scipy.special import ndtr

    x = np.asarray(z, float)
    density = np.exp(-0.5 * x * x) / math.sqrt(2 * math.pi)
    return np.asarray(density - x * ndtr(-x), dtype=np.float64)


def preposterior_sd(prior_sd: ArrayLike, error_sd: ArrayLike, n: ArrayLike) -> Floats:
    """Standard deviation of the posterior mean before the sample is seen: s^2 / sqrt(s^2 + e^2 / n)."""
    s, e, size = (np.asarray(x, float) for x in (prior_sd, error_sd, n))
    return np.asarray(s * s / np.sqrt(s * s + e * e / size), dtype=np.float64)


def normal_linear_evpi(mean: ArrayLike, sd: ArrayLike, slope: ArrayLike = 1.0) -> Floats:
    """EVPI of a two-action problem with linear payoff difference and normal prior: t s L(|mean| / s)."""
    m, s, t = (np.asarray(x, float) for x in (mean, sd, slope))
    return np.asarray(t * s * unit_normal_loss(np.abs(m) / s), dtype=np.float64)


def normal_linear_evsi(mean: ArrayLike, prior_sd: ArrayLike, error_sd: ArrayLike, n: ArrayLike) -> Floats:
    """EVSI of the same problem for a sample of `n` with error `error_sd`: EVPI formula at the preposterior sd."""
    return normal_linear_evpi(mean, preposterior_sd(prior_sd, error_sd, n))
