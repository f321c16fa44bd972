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


def sample_information_from_draws(
    payoff: ArrayLike, signal: ArrayLike, *, barred: Any = None, cells: int = 10
) -> Floats:
    """EVSI where the joint distribution of state and signal is given by draws.

    Draws are ranked by their simulated signal and cut into `cells` equal groups; inside a group the best action is
    taken on the group's mean payoff. Grouping loses a little (fewer cells) and sampling noise adds a little (few draws
    a cell), so treat it as an estimate; it is never below zero nor above EVPI.

    Parameters
    ----------
    payoff : (place, draw, option), money per unit
    signal : (place, draw), what the look would show in that draw
    barred : (place, option) bool or None

    Returns
    -------
    (place,), money per unit
    """
    pay, seen = np.asarray(payoff, float), np.asarray(signal, float)
    places, draws, options = pay.shape
    cells = max(1, min(cells, draws // 20 or 1))
    size = draws // cells
    order = np.argsort(seen, axis=1, kind="stable")[:, : size * cells]
    ranked = np.take_along_axis(pay, order[..., None], axis=1).reshape(places, cells, size, options)
    means = ranked.mean(axis=2)
    if barred is not None:
        means = np.where(np.broadcast_to(np.asarray(barred, bool), (places, options))[:, None, :], -np.inf, means)
    informed = means.max(axis=2).mean(axis=1)
    uninformed = means.mean(axis=1).max(axis=1)
    with np.errstate(invalid="ignore"):  # a place whose every option is barred
        gain = np.where(np.isfinite(informed), informed - uninformed, 0.0)
    return np.maximum(gain, 0.0)


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
