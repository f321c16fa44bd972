"""From a trial table to varieties: estimates, predictions, standard errors, heritability.

Model of a network of trials (all effects but the overall mean, or but the varieties, are random)::

    yield = mean + variety + site + year + site.year + variety.site + variety.year + variety.site.year
            + rep in trial + block in rep + error

A term is left out, and said so, where the design cannot tell it from another one or from the error: with one year there
is no variety.year, with means only the error holds variety.site.year. One trial alone is analysed with varieties and
replicates fixed and incomplete blocks random (recovery of inter-block information).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from sideoats.errors import InputError
from sideoats.wheat.trials import reml
from sideoats.wheat.trials.designs import least_significant_difference
from sideoats.wheat.trials.table import TrialTable
from sideoats.wheat.trials.terms import Floats, Term, factor, intercept, nested

INTERACTIONS = ("variety.site", "variety.year", "variety.site.year")


class Design(NamedTuple):
    """Terms that the data can tell apart, and what was left out and why."""

    variety: Term
    fixed: tuple[Term, ...]
    random: tuple[Term, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True)
class Estimates:
    """Varieties of one trial table under one management.

    Attributes
    ----------
    varieties : names, the order of every array
    blue, blup : (v,) estimates with varieties fixed, predictions with varieties random [yield unit]
    blue_covariance, blup_covariance : (v, v); for predictions, of their errors
    grown_in : (v,) environments in which each variety stood
    fixed_fit, random_fit : the two models
    error_df : degrees of freedom behind the least significant difference
    notes : what the model left out
    """

    table: TrialTable
    varieties: tuple[str, ...]
    blue: Floats
    blup: Floats
    blue_covariance: Floats
    blup_covariance: Floats
    grown_in: Floats
    fixed_fit: reml.Fit
    random_fit: reml.Fit
    error_df: int
    notes: tuple[str, ...]

    def variance(self, name: str) -> float:
        """Variance component of the random fit; 0 where the term is not in the model."""
        return self.random_fit.variances.get(name, 0.0)

    @property
    def mean_difference_variance(self) -> float:
        """Mean variance of a difference of two estimates (varieties fixed)."""
        return _mean_difference(self.blue_covariance)

    @property
    def mean_prediction_variance(self) -> float:
        """Mean prediction error variance of a difference of two predictions (varieties random)."""
        return _mean_difference(self.blup_covariance)

    def sed(self) -> Floats:
        """(v, v) standard error of the difference of two estimates."""
        return np.sqrt(difference_variance(self.blue_covariance))

    def lsd(self, level: float = 0.05) -> float:
        """Least significant difference of two estimates, at the mean variance of a difference."""
        return float(least_significant_difference(self.mean_difference_variance**0.5, self.error_df, level))

    def heritability(self) -> dict[str, float]:
        """Broad-sense heritability of an entry mean: "cullis" 1 - vBLUP / (2 s2g), "ad hoc" s2g / (s2g + vBLUE / 2).

        Piepho and Moehring, Genetics 177:1881-1888, 2007. NaN where no variety variance was found.
        """
        genetic = self.variance("variety")
        if genetic <= 0:
            return {"cullis": float("nan"), "ad hoc": float("nan")}
        return {
            "cullis": 1 - self.mean_prediction_variance / (2 * genetic),
            "ad hoc": genetic / (genetic + self.mean_difference_variance / 2),
        }


def difference_variance(covariance: Floats) -> Floats:
    """(m, m) variance of every pairwise difference from a covariance (m, m)."""
    own = np.diag(covariance)
    return np.asarray(np.maximum(own[:, None] + own[None, :] - 2 * covariance, 0.0))


def _mean_difference(covariance: Floats) -> float:
    count = len(covariance)
    return float(difference_variance(covariance).sum() / (count * (count - 1)))


def design(table: TrialTable, *, entries_fixed: bool) -> Design:
    """The terms of the model for a table, see the module's text."""
    n = len(table)
    variety = factor("variety", table.variety)
    environment = table.environment
    trials = len(np.unique(environment))
    notes: list[str] = []
    has_rep, has_block = bool((table.rep != "").any()), bool((table.block != "").any())
    rep = factor("rep", environment, table.rep)
    blocks = factor("block", environment, table.rep, table.block)
    if trials == 1:
        fixed = [variety] if entries_fixed else [intercept(n)]
        random = [] if entries_fixed else [variety]
        if has_rep and len(rep) > 1:
            fixed = [*fixed, rep] if entries_fixed else [rep]
        if has_block:
            random.append(blocks)
        return Design(variety, tuple(fixed), tuple(random), ("one trial only: next year's season is not in it",))
    candidates = [
        factor("site", table.site), factor("year", table.year), factor("site.year", table.site, table.year),
        factor("variety.site", table.variety, table.site), factor("variety.year", table.variety, table.year),
        factor("variety.site.year", table.variety, table.site, table.year),
    ]  # fmt: skip
    if has_rep:
        candidates.append(rep)
    if has_block:
        candidates.append(blocks)
    kept: list[Term] = [] if entries_fixed else [variety]
    for term in candidates:
        same = next((k.name for k in [variety, *kept] if _same(k, term)), None)
        if len(term) == 1:
            notes.append(f"{term.name}: one level only")
        elif len(term) >= n:
            notes.append(f"{term.name} cannot be told from the error: no replicated plots")
        elif same:
            notes.append(f"{term.name} cannot be told from {same}")
        else:
            kept.append(term)
    return Design(variety, (variety,) if entries_fixed else (intercept(n),), tuple(kept), tuple(notes))


def _same(a: Term, b: Term) -> bool:
    return len(a) == len(b) and nested(a.codes, b.codes)


def analyse(table: TrialTable) -> Estimates:
    """Fit both models and gather what a comparison of varieties needs.

    Raises
    ------
    InputError : several managements in one table (they are never mixed), or too few plots
    """
    managements = np.unique(table.management)
    if len(managements) > 1:
        raise InputError(
            f"{len(managements)} managements in one analysis ({', '.join(map(str, managements))})",
            where="trial table",
            expected="grazed and ungrazed trials apart",
            todo="choose one with management=",
        )
    compared = design(table, entries_fixed=True)
    shrunk = design(table, entries_fixed=False)
    weights = table.plots
    fixed_fit = reml.fit(table.yields, compared.fixed, compared.random, weights=weights)
    random_fit = reml.fit(table.yields, shrunk.fixed, shrunk.random, weights=weights)
    labels = compared.variety.labels
    blue_of, blup_of = _marginal(fixed_fit, "variety"), _marginal(random_fit, "variety")
    environments = np.zeros(len(labels))
    pairs = {(int(c), str(e)) for c, e in zip(compared.variety.codes, table.environment, strict=True)}
    for code, _ in pairs:
        environments[code] += 1
    return Estimates(
        table=table,
        varieties=labels,
        blue=blue_of.T @ fixed_fit.effects,
        blup=blup_of.T @ random_fit.effects,
        blue_covariance=fixed_fit.covariance(blue_of),
        blup_covariance=random_fit.covariance(blup_of),
        grown_in=environments,
        fixed_fit=fixed_fit,
        random_fit=random_fit,
        error_df=_error_df(table, compared),
        notes=compared.notes,
    )


def _marginal(fitted: reml.Fit, name: str) -> Floats:
    """(effects, v) combinations: the level's own effect plus the mean of every other fixed factor."""
    at, count = fitted.offset(name), len(fitted.levels(name))
    out = np.zeros((len(fitted.effects), count))
    out[at : at + count] = np.eye(count)
    for term in fitted.fixed:
        if term.name != name:
            start = fitted.offset(term.name)
            out[start : start + len(term)] += 1.0 / len(term)
    return out


def _error_df(table: TrialTable, terms: Design) -> int:
    """Degrees of freedom of the error that varieties are compared with.

    One trial: plots less the rank of varieties, replicates and blocks. Several: the variety x environment stratum,
    cells less varieties less environments plus one (an approximation; no Satterthwaite correction is made).
    """
    if len(np.unique(table.environment)) == 1:
        columns = [t for t in (*terms.fixed, *terms.random)]
        dense = np.concatenate([np.eye(len(t))[t.codes] for t in columns], axis=1)
        return max(int(len(table) - np.linalg.matrix_rank(dense)), 1)
    means, _, varieties, environments = table.means()
    return max(int(np.isfinite(means).sum()) - len(varieties) - len(environments) + 1, 1)
