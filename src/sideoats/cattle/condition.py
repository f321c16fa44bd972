"""Cull cow condition: weight by body condition score, and the market class that a score falls into."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


def weight_at_condition(
    weight: ArrayLike, score: ArrayLike, other_score: ArrayLike, scores: Sequence[float], ratios: Sequence[float]
) -> Floats:
    """Weight [lb] of the same cow at another body condition score.

    Parameters
    ----------
    weight : lb at `score`
    score, other_score : body condition 1 to 9
    scores, ratios : table of shrunk body weight relative to score 5, rising (fact ``cattle/cow.weight_by_condition``)

    Returns
    -------
    lb, linear between scores; NaN outside the table
    """
    table, ratio = np.asarray(scores, float), np.asarray(ratios, float)
    now = np.interp(np.asarray(score, float), table, ratio, left=np.nan, right=np.nan)
    then = np.interp(np.asarray(other_score, float), table, ratio, left=np.nan, right=np.nan)
    return np.asarray(np.asarray(weight, float) * then / now, dtype=np.float64)


def condition_after_gain(
    weight: ArrayLike, score: ArrayLike, gain: ArrayLike, scores: Sequence[float], ratios: Sequence[float]
) -> Floats:
    """Body condition score after `gain` [lb] on a grown cow, all of it condition; held inside the table's scores.

    Fill and a growing calf inside are weight but not condition: for these the score is too high.
    """
    table, ratio = np.asarray(scores, float), np.asarray(ratios, float)
    now = np.interp(np.asarray(score, float), table, ratio, left=np.nan, right=np.nan)
    wanted = now * (1 + np.asarray(gain, float) / np.asarray(weight, float))
    return np.asarray(np.interp(wanted, ratio, table), dtype=np.float64)


def class_of_condition(score: ArrayLike, lows: Sequence[float]) -> NDArray[np.int64]:
    """Index of the market class: the last whose lowest score is not above `score`; -1 below the first or where unknown.

    Parameters
    ----------
    score : body condition 1 to 9
    lows : lowest score of each class, rising
    """
    found = np.searchsorted(np.asarray(lows, float), np.asarray(score, float), side="right") - 1
    return np.where(np.isnan(np.asarray(score, float)), -1, found).astype(np.int64)
