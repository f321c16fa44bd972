"""Counting plans: when to stop counting, how many to count, and how often a plan errs.

Every plan compares the running total of what was counted with lines that depend on how many units were looked at.
Wald's test says "no treatment" or "treat" as soon as the counts allow it; Iwao's asks whether the mean differs from a
threshold; Green's and Kuno's stop when the mean is known to a wished precision.  How counts scatter is the matter of
`sideoats.insects.dispersion`.

References
----------
[1] Wald A., Sequential Analysis, 1947; Waters W.E., Forest Science 1:68-79, 1955 (formulas from memory, checked by
    their identities and by simulation)
[2] Iwao S., Res. Popul. Ecol. 16:281-288, 1975 (memory)
[3] Green R.H., Res. Popul. Ecol. 12:249-251, 1970; Kuno E., Res. Popul. Ecol. 11:127-136, 1969 (memory)
[4] Binns M.R., Nyrop J.P., van der Werf W., Sampling and Monitoring in Crop Protection, CABI 2000, sections 5.4, 5.8
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sideoats.decide.laws import quantile

Array = NDArray[np.float64]
Model = Literal["poisson", "negative binomial", "binomial", "normal"]


@dataclass(frozen=True)
class WaldPlan:
    """Wald's sequential test of a mean `safe` against a mean `treat` (shares infested for "binomial").

    Attributes
    ----------
    model : how counts scatter
    safe, treat : the two means told apart, safe < treat [count per unit, or share]
    alpha : accepted risk of saying "treat" when the mean is `safe`
    beta : accepted risk of saying "no treatment" when the mean is `treat`
    k : common k of the negative binomial; variance : known variance of the normal model
    weight : log likelihood ratio gained per unit counted; slope : of both stop lines [count per unit]
    lower, upper : intercepts of the stop lines [count]
    """

    model: Model
    safe: float
    treat: float
    alpha: float
    beta: float
    k: float
    variance: float
    weight: float
    slope: float
    lower: float
    upper: float

    def lines(self, units_seen: ArrayLike) -> tuple[Array, Array]:
        """Totals at or under the first: no treatment; at or over the second: treat; between: count on."""
        n = np.asarray(units_seen, float)
        return self.lower + self.slope * n, self.upper + self.slope * n

    def verdict(self, total: ArrayLike, units_seen: ArrayLike) -> NDArray[np.int8]:
        """-1 no treatment, +1 treat, 0 count on, for running totals after `units_seen` units."""
        low, high = self.lines(units_seen)
        t = np.asarray(total, float)
        return np.where(t <= low, -1, np.where(t >= high, 1, 0)).astype(np.int8)

    def scatter(self, mean: ArrayLike) -> Array:
        """Variance of one count at a given mean under the plan's model [count squared]."""
        m = np.asarray(mean, float)
        if self.model == "poisson":
            return m
        if self.model == "negative binomial":
            return np.asarray(m + m * m / self.k)
        if self.model == "binomial":
            return np.asarray(m * (1 - m))
        return np.full_like(m, self.variance)


def wald_plan(
    model: Model,
    safe: float,
    treat: float,
    *,
    alpha: float,
    beta: float,
    k: float = np.nan,
    variance: float = np.nan,
    bounded: bool = False,
) -> WaldPlan:
    """Stop lines of Wald's sequential probability ratio test [1]_.

    The usual lines, ``ln((1 - beta)/alpha)`` and ``ln(beta/(1 - alpha))``, keep the sum of both risks but may pass one
    of them a little.  With `bounded`, ``ln(1/alpha)`` and ``ln(beta)`` are used: by Wald's inequalities neither risk is
    then above what was asked, for some per cent more units.

    A slightly too small `k` costs little and improves the operating characteristic; a too large one does not [4]_.

    Raises ValueError when the means are not ordered, a risk is not within (0, 0.5), or the model lacks its parameter.
    """
    if not 0 < safe < treat or (model == "binomial" and treat >= 1):
        raise ValueError(f"safe {safe} and treat {treat} must be positive, in this order (and below 1 for shares)")
    if not (0 < alpha < 0.5 and 0 < beta < 0.5):
        raise ValueError(f"risks {alpha} and {beta} must lie between 0 and 0.5")
    if model == "poisson":
        weight = np.log(treat / safe)
        slope = (treat - safe) / weight
    elif model == "negative binomial":
        if not k > 0:
            raise ValueError("the negative binomial needs k > 0")
        weight = np.log(treat * (k + safe) / (safe * (k + treat)))
        slope = k * np.log((k + treat) / (k + safe)) / weight
    elif model == "binomial":
        weight = np.log(treat * (1 - safe) / (safe * (1 - treat)))
        slope = np.log((1 - safe) / (1 - treat)) / weight
    else:
        if not variance > 0:
            raise ValueError("the normal model needs a variance > 0")
        weight = (treat - safe) / variance
        slope = (safe + treat) / 2
    odds_no, odds_yes = (beta, 1 / alpha) if bounded else (beta / (1 - alpha), (1 - beta) / alpha)
    lower, upper = np.log(odds_no) / weight, np.log(odds_yes) / weight
    parts = (safe, treat, alpha, beta, k, variance, weight, slope, lower, upper)
    return WaldPlan(model, *(float(p) for p in parts))


def _mean_of_parameter(plan: WaldPlan, h: Array) -> Array:
    """The mean that belongs to Wald's parameter h; +1 gives `safe`, -1 gives `treat`, 0 the slope [1]_."""
    m0, m1 = plan.safe, plan.treat
    small = np.abs(h) < 1e-7
    g = np.where(small, 1e-7, h)
    if plan.model == "poisson":
        mean = g * (m1 - m0) / np.expm1(g * np.log(m1 / m0))
    elif plan.model == "negative binomial":
        q0, q1 = 1 + m0 / plan.k, 1 + m1 / plan.k
        mean = plan.k * -np.expm1(g * np.log(q0 / q1)) / np.expm1(g * np.log(m1 * q0 / (m0 * q1)))
    elif plan.model == "binomial":
        stay = g * np.log((1 - m1) / (1 - m0))
        mean = -np.expm1(stay) / (np.exp(g * np.log(m1 / m0)) - np.exp(stay))
    else:
        mean = (m0 + m1 - g * (m1 - m0)) / 2
    return np.where(small, plan.slope, mean)


def wald_characteristics(plan: WaldPlan, mean: ArrayLike) -> tuple[Array, Array]:
    """Operating characteristic and average sample number by Wald's formulas [1]_.

    Returns the chance of "no treatment" and the expected number of units, shaped as `mean`.  They ignore overshoot and
    any smallest or largest number of units, so the true errors are smaller and the true number larger; use
    `simulate_plan` where that matters.
    """
    m = np.asarray(mean, float)
    low, high = np.full_like(m, -60.0), np.full_like(m, 60.0)
    for _ in range(80):  # the mean falls as h rises
        middle = (low + high) / 2
        above = _mean_of_parameter(plan, middle) > m
        low, high = np.where(above, middle, low), np.where(above, high, middle)
    h = (low + high) / 2
    log_a, log_b = plan.upper * plan.weight, plan.lower * plan.weight
    flat = np.abs(h) < 1e-6
    g = np.where(flat, 1.0, h)
    accept = np.where(flat, log_a / (log_a - log_b), np.expm1(g * log_a) / (np.exp(g * log_a) - np.exp(g * log_b)))
    drift = plan.weight * (m - plan.slope)
    moving = np.where(flat, 1.0, drift)
    at_slope = -log_a * log_b / (plan.weight**2 * plan.scatter(m))
    return accept, np.where(flat, at_slope, (accept * log_b + (1 - accept) * log_a) / moving)


@dataclass(frozen=True)
class PlanOutcome:
    """What a plan did on simulated fields: share accepted as safe, share stopped by a line, mean and 90 % of units."""

    no_treatment: float
    stopped_by_line: float
    mean_units: float
    units_90: float


def draw_counts(
    rng: np.random.Generator, model: Model, mean: float, shape: tuple[int, ...], *, k: float, variance: float = np.nan
) -> Array:
    """Counts of `shape` with a known mean; the negative binomial as a gamma mixture of Poissons."""
    if model == "poisson":
        return rng.poisson(mean, shape).astype(float)
    if model == "negative binomial":
        return rng.poisson(rng.gamma(k, mean / k, shape)).astype(float)
    if model == "binomial":
        return (rng.random(shape) < mean).astype(float)
    return rng.normal(mean, np.sqrt(variance), shape)


def simulate_plan(
    plan: WaldPlan,
    mean: float,
    rng: np.random.Generator,
    *,
    fields: int = 10_000,
    least: int = 1,
    most: int = 400,
    k: float | None = None,
) -> PlanOutcome:
    """Run a plan on `fields` simulated fields of known `mean`: the plan's true errors and numbers.

    Parameters
    ----------
    least, most : units looked at before the lines count, and where a decision is forced (total against slope x units)
    k : k of the fields, when it is not the plan's own
    """
    accepted = stopped = 0
    used = np.empty(fields)
    block = max(1, 4_000_000 // most)
    n = np.arange(1, most + 1)
    low, high = plan.lines(n)
    for start in range(0, fields, block):
        size = min(block, fields - start)
        true_k = plan.k if k is None else k
        total = draw_counts(rng, plan.model, mean, (size, most), k=true_k, variance=plan.variance).cumsum(axis=1)
        safe, act = (total <= low) & (n >= least), (total >= high) & (n >= least)
        crossed = safe | act
        any_crossed = crossed.any(axis=1)
        at = np.where(any_crossed, crossed.argmax(axis=1), most - 1)
        rows = np.arange(size)
        forced_safe = total[:, -1] <= plan.slope * most
        accepted += int(np.where(any_crossed, safe[rows, at], forced_safe).sum())
        stopped += int(any_crossed.sum())
        used[start : start + size] = at + 1
    return PlanOutcome(accepted / fields, stopped / fields, float(used.mean()), float(quantile(used, 0.9)))


def fixed_size(plan: WaldPlan, *, largest: int = 20_000) -> tuple[int, float]:
    """Units and cut-off total of the smallest fixed sample that keeps both of the plan's risks.

    Exact for the three count models (the sum of n counts is again of the model); the sum is treated as normal in the
    normal model.  A total above the cut-off says "treat".

    Raises ValueError when no sample up to `largest` units keeps both risks.
    """
    low, high = 1, largest
    if np.isnan(_cut_off(plan, largest)):
        raise ValueError(f"no fixed sample up to {largest} units keeps the risks {plan.alpha} and {plan.beta}")
    while low < high:
        middle = (low + high) // 2
        if np.isnan(_cut_off(plan, middle)):
            low = middle + 1
        else:
            high = middle
    return low, _cut_off(plan, low)


def _cut_off(plan: WaldPlan, n: int) -> float:
    """The least total whose exceedance at `safe` has a chance of alpha at most; NaN if `treat` then errs above beta."""
    from scipy import special

    if plan.model == "normal":
        spread = np.sqrt(n * plan.variance)
        cut = n * plan.safe + spread * special.ndtri(1 - plan.alpha)
        return float(cut) if special.ndtr((cut - n * plan.treat) / spread) <= plan.beta else np.nan

    def below(total: float, mean: float) -> float:
        if plan.model == "poisson":
            return float(special.pdtr(total, n * mean))
        if plan.model == "binomial":
            return float(special.bdtr(total, n, mean))
        return float(special.betainc(n * plan.k, total + 1.0, plan.k / (plan.k + mean)))

    floor, roof = 0, int(np.ceil(n * plan.treat + 12 * np.sqrt(n * float(plan.scatter(plan.treat))) + 12))
    while floor < roof:
        middle = (floor + roof) // 2
        if below(middle, plan.safe) >= 1 - plan.alpha:
            roof = middle
        else:
            floor = middle + 1
    return float(floor) if below(floor, plan.treat) <= plan.beta else np.nan


def iwao_lines(units_seen: ArrayLike, threshold: ArrayLike, variance: ArrayLike, z: float) -> tuple[Array, Array]:
    """Iwao's stop lines ``T = n m_c -+ z sqrt(n V(m_c))`` [2]_; `z` two-sided when both answers stop [count]."""
    n = np.asarray(units_seen, float)
    centre, half = n * np.asarray(threshold, float), z * np.sqrt(n * np.asarray(variance, float))
    return centre - half, centre + half


def iwao_most_units(variance: ArrayLike, half_width: ArrayLike, z: float) -> Array:
    """Units after which a mean at the threshold is known to +- `half_width` [count per unit]: ``z^2 V / d^2``."""
    return np.asarray(z**2 * np.asarray(variance, float) / np.asarray(half_width, float) ** 2)


def green_line(units_seen: ArrayLike, a: float, b: float, precision: float) -> Array:
    """Green's fixed-precision stop total ``(a n^(1-b) / D0^2)^(1/(2-b))`` [3]_; stop when the total is at or above.

    `precision` is the standard error over the mean (not a confidence half-width). `a`, `b` are Taylor's, b < 2.
    """
    if not b < 2:
        raise ValueError(f"Green's line needs Taylor's b below 2, not {b}")
    n = np.asarray(units_seen, float)
    return (a * n ** (1 - b) / precision**2) ** (1 / (2 - b))


def kuno_line(units_seen: ArrayLike, intercept: float, slope: float, precision: float) -> Array:
    """Kuno's fixed-precision stop total ``(alpha + 1) / (D0^2 - (beta - 1)/n)`` [3]_; NaN until n > (beta - 1)/D0^2.

    `intercept` and `slope` are those of mean crowding on the mean; `precision` is the standard error over the mean.
    """
    n = np.asarray(units_seen, float)
    room = precision**2 - (slope - 1) / n
    return np.where(room > 0, (intercept + 1) / np.where(room > 0, room, 1.0), np.nan)


def units_for_precision(mean: ArrayLike, variance: ArrayLike, precision: float) -> Array:
    """Units that bring the standard error to `precision` times the mean: ``s^2 / (m D0)^2``."""
    return np.asarray(np.asarray(variance, float) / (np.asarray(mean, float) * precision) ** 2)


def units_for_half_width(relative_variance: ArrayLike, half_width: float, confidence: float) -> Array:
    """Units for a confidence half-width of `half_width` times the mean, with Student's t on n - 1 degrees of freedom.

    `relative_variance` is s^2/m^2. About 3.84 times as many units as the same number read as standard error over mean.
    """
    from scipy import special

    ratio = np.asarray(relative_variance, float)
    n = special.ndtri((1 + confidence) / 2) ** 2 * ratio / half_width**2
    for _ in range(60):
        t = special.stdtrit(np.maximum(n - 1, 1.0), (1 + confidence) / 2)
        n = 0.5 * n + 0.5 * (t / half_width) ** 2 * ratio
    return np.asarray(n)
