"""Linear mixed models by restricted maximum likelihood (REML): variances, estimates and predictions.

Model ``y = X b + sum_k Z_k u_k + e``, ``u_k ~ N(0, s_k^2 I)``, ``e ~ N(0, s^2 W^-1)``. With g_k = s_k^2 / s^2 and
V = W^-1 + sum g_k Z_k Z_k', the profiled criterion is (Patterson and Thompson, Biometrika 58:545-554, 1971)

    -2 l_R = log|V| + log|X'V^-1 X| + (n - p)(log s^2 + log 2 pi + 1),   s^2 = y'Py / (n - p)

Its minimum is found by Newton steps with the average information matrix (Gilmour, Thompson and Cullis, Biometrics
51:1440-1450, 1995), held to g_k >= 0 and shortened until the criterion falls. Where no step lowers it, points farther
off are probed (all variances larger or smaller together, then one by one), and the steps go on from a lower one: plots
that a model fits exactly have their minimum at g = infinity, behind a ridge. Solutions, standard errors and likelihood
come from Henderson's mixed-model equations (Biometrics 31:423-447, 1975), factored group by group in `fronts`.
References from memory; the results are checked against published analyses and other programs in tests/published.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from sideoats.errors import InputError
from sideoats.threads import one_thread
from sideoats.wheat.trials import fronts
from sideoats.wheat.trials.terms import Floats, Ints, Term, redundant

_FLOOR = 1e-8  # a relative variance this small is shown as zero
_CEILING = 1e8  # a relative variance this large means that no error is left: the plots are fitted exactly
_START = 0.3  # relative variance each term starts from
_MOST_STEPS = 60
_PROBES = (1e-4, 1e-2, 1e2, 1e4)  # by what the variances are multiplied to look for a lower point farther off
_MOST_RESTARTS = 4
_LEVEL = 1e-3  # slope of -2 l_R over the logarithm of a variance that counts as level
_ROUNDING = 1e-14  # of y'Wy: less than this is left of the plots only by rounding


@dataclass(frozen=True)
class Fit:
    """A fitted mixed model.

    Attributes
    ----------
    variances : term -> s_k^2, in the response's unit squared; zero where the estimate lies at the boundary
    residual : s^2
    log_likelihood : restricted log-likelihood, with the constant (n - p) log 2 pi and without log|X'X|
    fixed, random : the terms
    effects : (q,) estimates of fixed levels and predictions of random levels, in the order of the terms
    left_out : (q,) True for fixed levels set to zero as redundant
    residual_df : n - p
    steps : Newton steps taken
    converged : False where the criterion still fell at the last step
    standard_errors : term -> standard error of the variance, from the average information; NaN at the boundary
    """

    variances: dict[str, float]
    residual: float
    log_likelihood: float
    fixed: tuple[Term, ...]
    random: tuple[Term, ...]
    effects: Floats
    left_out: np.ndarray[tuple[int], np.dtype[np.bool_]]
    residual_df: int
    steps: int
    converged: bool
    standard_errors: dict[str, float]
    tree: fronts.Plan
    scale: Floats

    def offset(self, term: str) -> int:
        """Where a term's levels start in the effect vector."""
        at = 0
        for t in (*self.fixed, *self.random):
            if t.name == term:
                return at
            at += len(t)
        raise InputError(
            f"no term {term!r} in the model", expected=", ".join(t.name for t in (*self.fixed, *self.random))
        )

    def levels(self, term: str) -> tuple[str, ...]:
        """Labels of a term's levels."""
        return next(t.labels for t in (*self.fixed, *self.random) if t.name == term)

    def estimates(self, term: str) -> Floats:
        """(levels,) estimates or predictions of one term."""
        at = self.offset(term)
        return self.effects[at : at + len(self.levels(term))]

    def covariance(self, combinations: Floats) -> Floats:
        """(m, m) covariance of the errors of m linear combinations (effects, m) of fixed and random effects.

        For combinations with random effects this is the prediction error covariance. The uncertainty of the variances
        themselves is not included.
        """
        with one_thread():
            z = fronts.forward(self.tree, self.scale, combinations)
        whole = np.concatenate(z, axis=0)
        return np.asarray(self.residual * (whole.T @ whole))

    def fitted(self) -> Floats:
        """(n,) fixed plus random effects of every plot."""
        out = np.zeros(len((*self.fixed, *self.random)[0].codes))
        for t in (*self.fixed, *self.random):
            out += t.column_values() * self.estimates(t.name)[t.codes]
        return out

    def aic(self) -> float:
        """-2 log-likelihood + 2 (fixed parameters + variances, the residual among them)."""
        free = int((~self.left_out).sum()) + len(self.random) + 1
        return -2 * self.log_likelihood + 2 * free


def fit(y: ArrayLike, fixed: Sequence[Term], random: Sequence[Term], *, weights: ArrayLike | None = None) -> Fit:
    """Fit by REML.

    Parameters
    ----------
    y : (n,) response
    fixed, random : terms with one code for each plot; include `terms.intercept` among the fixed ones where wanted.
        Earlier fixed terms keep their levels where levels are redundant
    weights : (n,) inverse relative residual variance, such as the number of plots behind a mean; 1 where None

    Raises
    ------
    InputError : lengths differ, a value is missing, or nothing is left to estimate the residual from
    """
    response, weight = _checked(y, fixed, random, weights)
    drop = redundant(fixed, weight)
    drops = [*drop, *([None] * len(random))]
    tree = fronts.plan((*fixed, *random), drops, weight)
    work = _Work(
        response, weight, tuple(fixed), tuple(random), np.concatenate(drop) if drop else np.zeros(0, bool), tree
    )
    with one_thread():  # fronts are small: on two threads a network of 72,000 plots took three times as long
        return work.run()


def _checked(
    y: ArrayLike, fixed: Sequence[Term], random: Sequence[Term], weights: ArrayLike | None
) -> tuple[Floats, Floats]:
    response = np.asarray(y, dtype=np.float64)
    weight = np.ones(len(response)) if weights is None else np.asarray(weights, dtype=np.float64)
    for name, values in (("response", response), ("weights", weight)):
        if not np.isfinite(values).all():
            raise InputError(f"{name} holds missing or infinite values", where="trial", todo="leave those plots out")
    if (weight <= 0).any() or len(weight) != len(response):
        raise InputError("weights are not one positive number a plot", where="trial")
    names = [t.name for t in (*fixed, *random)]
    if len(set(names)) != len(names):
        raise InputError("two terms have the same name", where="trial", expected="each term once")
    for t in (*fixed, *random):
        if len(t.codes) != len(response):
            raise InputError(f"term {t.name} has {len(t.codes)} rows, the response {len(response)}", where="trial")
    return response, weight


class _Work:
    """State of one fit: everything that does not change from step to step, and the current step."""

    def __init__(
        self,
        y: Floats,
        weights: Floats,
        fixed: tuple[Term, ...],
        random: tuple[Term, ...],
        left_out: np.ndarray[tuple[int], np.dtype[np.bool_]],
        tree: fronts.Plan,
    ) -> None:
        self.centre = float(np.average(y, weights=weights))
        self.y, self.weights, self.fixed, self.random = y - self.centre, weights, fixed, random
        self.left_out, self.tree = left_out, tree
        self.terms = (*fixed, *random)
        self.fixed_count = sum(len(t) for t in fixed)
        self.p = self.fixed_count - int(left_out.sum())
        self.df = len(y) - self.p
        if self.df <= 0:
            raise InputError(f"{len(y)} plots and {self.p} fixed effects leave nothing for error", where="trial")
        self.starts = np.concatenate([[0], np.cumsum([len(t) for t in self.terms])]).astype(np.int64)
        self.ridge = np.concatenate([np.zeros(self.fixed_count), np.ones(int(self.starts[-1]) - self.fixed_count)])
        self.right = self.gather(self.y[:, None])
        self.yy = float((weights * self.y) @ self.y)
        self.log_weights = float(np.log(weights).sum())

    def gather(self, plots: Floats) -> Floats:
        """[X Z]'W f for plot vectors (n, m) -> (effects, m); redundant effects stay zero."""
        out = np.zeros((int(self.starts[-1]), plots.shape[1]))
        for t, a in zip(self.terms, self.starts, strict=False):
            for j in range(plots.shape[1]):
                out[a : a + len(t), j] = np.bincount(
                    t.codes, self.weights * t.column_values() * plots[:, j], minlength=len(t)
                )
        out[: self.fixed_count][self.left_out] = 0.0
        return out

    def scales(self, ratio: Floats) -> Floats:
        """(effects,) relative standard deviation of every effect."""
        parts = [np.ones(self.fixed_count)]
        parts += [np.full(len(t), np.sqrt(r)) for t, r in zip(self.random, ratio, strict=True)]
        return np.concatenate(parts)

    def criterion(self, ratio: Floats) -> tuple[float, float, list[Floats]]:
        """-2 l_R, s^2 and the forward solution at the given relative variances."""
        scale = self.scales(ratio)
        log_det = fronts.factorise(self.tree, scale, self.ridge)
        z = fronts.forward(self.tree, scale, self.right)
        left = self.yy - float(sum((part**2).sum() for part in z))
        s2 = max(left, _ROUNDING * self.yy) / self.df
        if s2 <= 0:
            raise InputError("all plots are the same", where="trial", todo="check the column of yields")
        return log_det - self.log_weights + self.df * (np.log(s2) + np.log(2 * np.pi) + 1), s2, z

    def slopes(self, ratio: Floats, s2: float, z: list[Floats]) -> tuple[Floats, Floats, Floats]:
        """Gradient and average information of -2 l_R over the relative variances, and the scaled solution.

        Call right after `criterion` at the same `ratio`, whose factor it uses.
        """
        scale = self.scales(ratio)
        x = fronts.backward(self.tree, scale, z)
        diagonal = fronts.inverse_diagonal(self.tree, scale)
        k = len(self.random)
        trace, score = np.zeros(k), np.zeros(k)
        working = np.zeros((len(self.y), k))
        for i, t in enumerate(self.random):
            a = int(self.starts[len(self.fixed) + i])
            part = slice(a, a + len(t))
            trace[i] = (len(t) - diagonal[part].sum()) / ratio[i]
            pull = x[part, 0] / np.sqrt(ratio[i])  # Z_k'Py
            score[i] = float(pull @ pull)
            working[:, i] = t.column_values() * pull[t.codes]
        quadratic = self.within(scale, working)
        information = quadratic / s2 - np.outer(score, score) / (self.df * s2 * s2)
        return trace - score / s2, information, x

    def within(self, scale: Floats, plots: Floats) -> Floats:
        """f'Pf for plot vectors (n, m), with the factor at hand."""
        solved = np.concatenate(fronts.forward(self.tree, scale, self.gather(plots)), axis=0)
        return (plots * self.weights[:, None]).T @ plots - solved.T @ solved

    def run(self) -> Fit:
        """Newton steps to the minimum."""
        ratio = np.full(len(self.random), _START)
        value, s2, z = self.criterion(ratio)
        converged, steps, restarts = not self.random, 0, 0
        gradient, information, x = self.slopes(ratio, s2, z)
        while not converged and steps < _MOST_STEPS:
            steps += 1
            ratio, fallen, s2, z = self._descend(ratio, value, s2, z, gradient, information)
            converged = value - fallen < 1e-11 * (1 + abs(value))
            value = fallen
            gradient, information, x = self.slopes(ratio, s2, z)
            if converged and restarts < _MOST_RESTARTS:
                restarts += 1
                lower = self._elsewhere(ratio, value, gradient)
                if lower is not None:
                    ratio, converged = lower, False
                value, s2, z = self.criterion(ratio)
                gradient, information, x = self.slopes(ratio, s2, z)
        return self._finish(ratio, value, s2, x, steps, converged)

    def _descend(
        self, ratio: Floats, value: float, s2: float, z: list[Floats], gradient: Floats, information: Floats
    ) -> tuple[Floats, float, float, list[Floats]]:
        """One step that lowers the criterion; the same point where none does."""
        free = ~((ratio <= _FLOOR) & (gradient > 0))
        step = np.zeros_like(ratio)
        if free.any():
            inner = information[np.ix_(free, free)]
            # a little of the diagonal keeps confounded terms apart
            step[free] = -np.linalg.solve(inner + 1e-10 * np.diag(np.diag(inner) + 1e-300), gradient[free])
        length = 1.0
        for _ in range(12):
            # no variance shrinks by more than a factor of 100 in one step, so that a long step cannot hide a term
            lowest = np.where(ratio < 1e-5, _FLOOR, ratio / 100)
            # the criterion is flatter above than below: rising variances grow by the exponent, which saves steps
            with np.errstate(over="ignore"):
                rising = ratio * np.exp(np.clip(length * step / ratio, 0.0, 4.0))
            trial = np.clip(np.where(step > 0, rising, ratio + length * step), lowest, _CEILING)
            try:
                new_value, new_s2, new_z = self.criterion(trial)
            except np.linalg.LinAlgError:  # too far out for the arithmetic: a shorter step
                new_value = np.inf
            if new_value <= value + 1e-12 * abs(value):
                return trial, new_value, new_s2, new_z
            length /= 2 if length > 0.3 else 4
        again, s2, z = self.criterion(ratio)
        return ratio, again, s2, z

    def _elsewhere(self, ratio: Floats, value: float, gradient: Floats) -> Floats | None:
        """A lower point farther off, if a probe meets one. Single variances are tried where the slope is not level."""
        probes = [np.clip(ratio * by, _FLOOR, _CEILING) for by in _PROBES] + [np.full_like(ratio, _CEILING / 100)]
        if (np.abs(gradient * ratio) > _LEVEL).any():
            probes += [np.where(np.arange(len(ratio)) == k, p, ratio) for p in probes for k in range(len(ratio))]
        for probe in probes:
            try:
                found = self.criterion(probe)[0]
            except np.linalg.LinAlgError:
                continue
            if found < value - 1e-6 * (1 + abs(value)):
                return probe
        return None

    def _finish(self, ratio: Floats, value: float, s2: float, x: Floats, steps: int, converged: bool) -> Fit:
        scale = self.scales(ratio)
        shown = np.where(ratio <= 10 * _FLOOR, 0.0, ratio)
        effects = x[:, 0] * scale
        errors = self._errors(scale, shown, s2, x, effects)
        return Fit(
            variances={t.name: float(s2 * r) for t, r in zip(self.random, shown, strict=True)},
            residual=float(s2),
            log_likelihood=-0.5 * value,
            fixed=self.fixed,
            random=self.random,
            effects=self._uncentred(effects),
            left_out=self.left_out,
            residual_df=self.df,
            steps=steps,
            converged=converged,
            standard_errors=errors,
            tree=self.tree,
            scale=scale,
        )

    def _errors(self, scale: Floats, ratio: Floats, s2: float, x: Floats, effects: Floats) -> dict[str, float]:
        """Standard errors of the variances: the inverse of the average information y'P V_i P V_j P y / 2."""
        residual = self.y.copy()
        for t, a in zip(self.terms, self.starts, strict=False):
            residual -= t.column_values() * effects[a : a + len(t)][t.codes]
        names, columns = ["residual"], [residual]
        for i, t in enumerate(self.random):
            if ratio[i] > 0:
                a = int(self.starts[len(self.fixed) + i])
                pull = x[a : a + len(t), 0] / np.sqrt(ratio[i])
                names.append(t.name)
                columns.append(t.column_values() * pull[t.codes])
        information = self.within(scale, np.column_stack(columns)) / (2 * s2**3)
        spread = np.sqrt(np.maximum(np.diag(np.linalg.pinv(information)), 0.0))
        found = dict(zip(names, spread.tolist(), strict=True))
        return {name: found.get(name, float("nan")) for name in [t.name for t in self.random] + ["residual"]}

    def _uncentred(self, effects: Floats) -> Floats:
        """Put the overall mean back: through the fixed term whose levels add to one, always the first."""
        if self.fixed:
            first = self.fixed[0]
            if first.values is None and not self.left_out[: len(first)].any():
                effects[: len(first)] += self.centre
                return effects
        raise InputError("the first fixed term is neither a mean nor a factor", where="trial")


def positions(fitted: Fit, term: str, labels: Sequence[str]) -> Ints:
    """Indices into the effect vector of the named levels of a term. Raises InputError for an unknown level."""
    known = {label: i for i, label in enumerate(fitted.levels(term))}
    for label in labels:
        if label not in known:
            raise InputError(
                f"{label!r} is not in the trial", where=term, expected="one of " + ", ".join(list(known)[:40])
            )
    return np.array([fitted.offset(term) + known[label] for label in labels], np.int64)
