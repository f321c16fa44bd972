"""What a grower asks of trials: will A beat B on a field like mine next year, and which two or three to sow.

Two questions look alike and are not. "Is A's mean higher?" shrinks with every further trial. "Will A yield more next
year?" also holds the season that no trial has seen: the interactions of variety with year and with site and year. Every
chance here is of the second kind unless its name says mean.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np

from sideoats.decide.laws import median, normal_below, student_below
from sideoats.errors import InputError
from sideoats.wheat.trials.analyse import Estimates, difference_variance
from sideoats.wheat.trials.terms import Floats

_MOST_SETS = 200_000
_FEW = 10  # below this many degrees of freedom Student's t leaves the normal by more than a few percent
_LEAST_DF = 3.0  # the fewest with which Student's t has a variance


@dataclass(frozen=True)
class NextSeason:
    """Joint normal of the varieties' deviations from the trial mean on one field next year [yield unit].

    Attributes
    ----------
    varieties : the order
    mean : (v,) predicted deviation
    known : (v, v) prediction error covariance of what trials can teach
    season : variance of one variety's interaction with a season not yet seen (independent between varieties)
    site : the trial site that the field is like, "" for a new one
    notes : what went into the season's variance
    df : degrees of freedom that tell how much varieties change from trial to trial; few make every chance less sure
    new_site : the field is like no site of the trials, so that variety x site counts as unknown
    """

    varieties: tuple[str, ...]
    mean: Floats
    known: Floats
    season: float
    site: str
    notes: tuple[str, ...]
    df: float = np.inf
    new_site: bool = False
    sure_from: int = _FEW

    @property
    def widened(self) -> float:
        """Variance of Student's t over the normal's, so that draws are as wide as the chances are unsure."""
        df = max(self.df, _LEAST_DF)
        return 1.0 if np.isinf(df) else df / (df - 2.0)

    def chance_beats(self) -> Floats:
        """(v, v) chance that the row's variety yields more than the column's next year; 0.5 on the diagonal.

        Student's t: the season's variance is itself estimated, from few trials often very badly (two varieties in two
        trials differ alike in both by luck, and a normal would then be certain).
        """
        return _chance(self.mean, difference_variance(self.known) + 2 * self.season, self.df)

    def chance_mean_higher(self) -> Floats:
        """(v, v) chance that the row's long-run mean is the higher one: no season in it."""
        return _chance(self.mean, difference_variance(self.known))

    def draws(self, normals: Floats) -> Floats:
        """Deviations (v, draw) from standard normals (2, v, draw): one for what is known, one for the season.

        As wide as Student's t would have them: few trials tell little of how varieties change.
        """
        value, vector = np.linalg.eigh(self.known)
        root = (vector * np.sqrt(np.maximum(value, 0.0))) @ vector.T  # symmetric: the same for any turn of equal axes
        spread = root @ normals[0] + np.sqrt(self.season) * normals[1]
        return np.asarray(self.mean[:, None] + np.sqrt(self.widened) * spread)


def _chance(mean: Floats, variance: Floats, df: float = np.inf) -> Floats:
    gap = mean[:, None] - mean[None, :]
    spread = np.sqrt(variance)
    z = np.divide(gap, spread, out=np.zeros_like(gap), where=spread > 0)
    z = np.where(spread > 0, z, np.sign(gap) * 40.0)
    return normal_below(z) if np.isinf(df) else student_below(z, df)


def _interaction_df(estimates: Estimates) -> float:
    """Degrees of freedom of variety x environment in the cells that were filled, at least one."""
    table = estimates.table
    pairs = {(str(v), str(e)) for v, e in zip(table.variety, table.environment, strict=True)}
    return float(max(len(pairs) - len({v for v, _ in pairs}) - len({e for _, e in pairs}) + 1, 1))


def next_season(estimates: Estimates, site: str = "") -> NextSeason:
    """What the trials say about a field next year.

    Parameters
    ----------
    estimates : of one management
    site : trial site that the field is like; a site the trials never saw where ""

    Raises
    ------
    InputError : the site is not in the trials
    """
    fitted = estimates.random_fit
    at, count = fitted.offset("variety"), len(estimates.varieties)
    combos = np.zeros((len(fitted.effects), count))
    combos[at : at + count] = np.eye(count)
    season = estimates.variance("variety.year") + estimates.variance("variety.site.year")
    notes = []
    if "variety.site" in fitted.variances:
        sites = sorted({str(s) for s in estimates.table.site})
        if site and site not in sites:
            raise InputError(f"site {site!r} is not in the trials", where="site", expected="one of " + ", ".join(sites))
        if site:
            levels = fitted.levels("variety.site")
            known = {label: i for i, label in enumerate(levels)}
            start = fitted.offset("variety.site")
            for v, name in enumerate(estimates.varieties):
                level = known.get(f"{name}:{site}")
                if level is not None:
                    combos[start + level, v] = 1.0
        else:
            season += estimates.variance("variety.site")
            notes.append("a site the trials never saw: variety x site counts as unknown")
    if "variety.site.year" not in fitted.variances:
        season += fitted.residual / float(median(estimates.table.plots))
        notes.append("variety x site x year cannot be told from plot error here: all of it counts as the season")
    if "variety.year" not in fitted.variances:
        notes.append("one year only: how varieties change with the year is not in these trials")
    df = _interaction_df(estimates)
    if df < _FEW:
        notes.append(
            f"{df:.0f} degrees of freedom for how varieties change between trials: chances and ranges of money are "
            "widened for it"
        )
    return NextSeason(
        estimates.varieties,
        combos.T @ fitted.effects,
        fitted.covariance(combos),
        season,
        site,
        tuple(notes),
        df,
        new_site="variety.site" in fitted.variances and not site,
    )


@dataclass(frozen=True)
class HeadToHead:
    """Two varieties over the environments where both stood [yield unit]."""

    common: int
    wins: int
    mean_difference: float
    deviation: float

    @property
    def reliability(self) -> float:
        """Chance that the first outyields the second in an environment, Phi(mean / sd); Eskridge and Mumm, 1992."""
        return float(normal_below(self.mean_difference / self.deviation)) if self.deviation > 0 else float("nan")

    @property
    def predictive(self) -> float:
        """The same with the mean and spread themselves uncertain: Student's t with n - 1 degrees of freedom."""
        if self.deviation <= 0 or self.common < 2:
            return float("nan")
        scaled = self.mean_difference / (self.deviation * (1 + 1 / self.common) ** 0.5)
        return float(student_below(scaled, self.common - 1))


def head_to_head(estimates: Estimates, a: str, b: str) -> HeadToHead:
    """Straight comparison over common environments, without a model.

    Raises
    ------
    InputError : a variety is not in the trials, or they never met
    """
    means, _, varieties, _ = estimates.table.means()
    for name in (a, b):
        if name not in varieties:
            raise InputError(
                f"{name!r} is not in the trials", where="variety", expected="one of " + ", ".join(varieties)
            )
    gap = means[varieties.index(a)] - means[varieties.index(b)]
    gap = gap[np.isfinite(gap)]
    if not len(gap):
        raise InputError(f"{a!r} and {b!r} never stood in the same trial", where="variety", todo="compare by the model")
    spread = float(gap.std(ddof=1)) if len(gap) > 1 else 0.0
    return HeadToHead(len(gap), int((gap > 0).sum()), float(gap.mean()), spread)


@dataclass(frozen=True)
class Share:
    """A set of varieties sown in equal parts: mean, and mean of the worst fifth of seasons [yield unit]."""

    varieties: tuple[str, ...]
    mean: float
    worst_fifth: float


def best_sets(deviations: Floats, varieties: tuple[str, ...], size: int, risk: float, most: int = 5) -> list[Share]:
    """Best sets of varieties in equal parts, by (1 - risk) x mean + risk x mean of the worst fifth of draws.

    Parameters
    ----------
    deviations : (v, draw) next year's deviations
    size : varieties in a set
    risk : 0 looks at the mean alone, 1 at bad seasons alone
    most : sets returned, best first

    Raises
    ------
    InputError : more sets than can be looked at, or more than there are varieties
    """
    from math import comb

    count = len(varieties)
    if not 1 <= size <= count or comb(count, size) > _MOST_SETS:
        raise InputError(
            f"sets of {size} out of {count} varieties",
            where="set size",
            expected="1 to 3 of at most about 100 varieties",
        )
    draws = deviations.shape[1]
    tail = max(1, round(draws / 5))
    found = []
    for members in combinations(range(count), size):
        mixed = deviations[list(members)].mean(axis=0)
        worst = float(np.partition(mixed, tail - 1)[:tail].mean())
        found.append((float(mixed.mean()), worst, members))
    found.sort(key=lambda s: -((1 - risk) * s[0] + risk * s[1]))
    return [Share(tuple(varieties[i] for i in m), mean, worst) for mean, worst, m in found[:most]]
