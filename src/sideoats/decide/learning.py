"""Learning a quantity from a district's own values, starting from what is published: a conjugate normal."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike


@dataclass(frozen=True)
class Belief:
    """What is believed of a quantity, in its own unit.

    Attributes
    ----------
    mean, sd : of the district's usual value, and how well it is known
    spread : standard deviation of the next value, of another field in another season
    count, seasons : own values behind it, and the seasons that they are of
    """

    mean: float
    sd: float
    spread: float
    count: int
    seasons: int


def believe(mean: float, sd: float, seasons: Sequence[ArrayLike], between: float, within: float) -> Belief:
    """Belief after a district's own values.

    Parameters
    ----------
    mean, sd : what is believed before, of the district's usual value
    seasons : the values of each season, one array each
    between, within : standard deviation of a season about the usual value, and of a field about its season

    Notes
    -----
    A season of n fields tells as much as one value of variance between^2 + within^2 / n, so that many fields of one odd
    spring do not count for many springs. The belief is the mean of prior and seasons weighed by the inverse of their
    variances (conjugate normal of known variance; Gelman et al., Bayesian Data Analysis, section 2.5, from memory).
    """
    own = [values for each in seasons if (values := np.asarray(each, np.float64)).size]
    weights = np.array([1 / sd**2, *(1 / (between**2 + within**2 / len(values)) for values in own)])
    means = np.array([mean, *(values.mean() for values in own)])
    left = 1 / weights.sum()
    return Belief(
        float(weights @ means * left),
        float(np.sqrt(left)),
        float(np.sqrt(left + between**2 + within**2)),
        sum(len(values) for values in own),
        len(own),
    )
