"""Which option is best, how sure that is, and until when it can be left.

Definitions used
----------------
expected : mean payoff over the draws (equally likely futures).
low, high : 10th and 90th percentiles of the draws, linear interpolation between order statistics (NumPy's default).
chance best : share of draws in which the option pays at least as much as every other option that is not barred; in a
    draw where several tie, each gets an equal part, so that the chances add to one.
best : the option of the highest expected payoff; where a risk aversion is stated, of the highest certainty equivalent.
act-by : over options that carry a day, the last day whose expected payoff is within the tolerance of the best.
cost of waiting : worth (expected, or certainty equivalent) of the best option less that of the best still open after
    the wait. Where none is open any more, the whole of what the best gains over nothing at all (a payoff of 0).
value of perfect information : E[max over options] - max over options of E (Raiffa and Schlaifer, Applied Statistical
    Decision Theory, 1961; from memory, checked in tests against printed examples).
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sideoats.records import dataclass

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Decision:
    """What `decide` found; arrays (place, option) unless said.

    Attributes
    ----------
    expected, low, high, worst_tenth : money per unit of the place; barred options keep their figures
    chance_best : 0 to 1; zero for a barred option
    barred : bool
    best : (place,) index of the best option that is not barred, -1 where all are barred; by certainty equivalent where
        a risk aversion was stated
    act_by : (place,) last day index whose timed option is within tolerance of the best; -1 where the best has no day
    cost_of_waiting : (place,) money per unit
    perfect_information : (place,) money per unit
    certainty_equivalent : (place, option), NaN where no risk aversion was stated
    """

    expected: Floats
    low: Floats
    high: Floats
    worst_tenth: Floats
    chance_best: Floats
    barred: NDArray[np.bool_]
    best: NDArray[np.int64]
    act_by: NDArray[np.int64]
    cost_of_waiting: Floats
    perfect_information: Floats
    certainty_equivalent: Floats

    def averse(self, certain: Floats) -> Decision:
        """The same money with the best option chosen by `certain` (place, option); rows of NaN keep their choice."""
        shown = np.where(self.barred | np.isnan(certain), -np.inf, certain)
        stated = ~np.isneginf(shown).all(axis=1)
        best = np.where(stated, np.argmax(shown, axis=1), self.best).astype(np.int64)
        return replace(self, certainty_equivalent=certain, best=best)

    def without_money(self, rows: ArrayLike) -> Decision:
        """The same choice with its money unknown (NaN, not zero) in `rows` (place,), where no money was given."""
        blank = np.asarray(rows, dtype=bool)

        def hidden(values: Floats) -> Floats:
            return np.where(blank[:, None], np.nan, values)

        return replace(
            self,
            expected=hidden(self.expected),
            low=hidden(self.low),
            high=hidden(self.high),
            worst_tenth=hidden(self.worst_tenth),
            chance_best=hidden(self.chance_best),
            cost_of_waiting=np.where(blank, 0.0, self.cost_of_waiting),
            perfect_information=np.where(blank, 0.0, self.perfect_information),
            certainty_equivalent=hidden(self.certainty_equivalent),
        )


def worst_share(payoff: Floats, share: float = 0.1) -> Floats:
    """Mean of the worst `share` of the draws; `payoff` (place, draw, option) -> (place, option)."""
    draws = payoff.shape[1]
    count = max(1, round(share * draws))
    return np.asarray(np.partition(payoff, count - 1, axis=1)[:, :count].mean(axis=1), dtype=np.float64)


def _spread(by_option: Floats) -> tuple[Floats, Floats, Floats]:
    """10th and 90th percentile and mean of the worst tenth of (place, option, draw), from one sort.

    A whole sort, because NumPy's vectorised sort is several times faster than a partition at four positions; in place,
    because the payoffs of many places are the largest array there is.
    """
    draws = by_option.shape[2]
    at_low, at_high = 0.1 * (draws - 1), 0.9 * (draws - 1)
    low_floor, high_floor = int(at_low), int(at_high)
    low_next, high_next = min(low_floor + 1, draws - 1), min(high_floor + 1, draws - 1)
    tail = max(1, round(0.1 * draws))
    by_option.sort(axis=2)
    ranked = by_option
    low = ranked[..., low_floor] + (at_low - low_floor) * (ranked[..., low_next] - ranked[..., low_floor])
    high = ranked[..., high_floor] + (at_high - high_floor) * (ranked[..., high_next] - ranked[..., high_floor])
    return low, high, ranked[..., :tail].mean(axis=2)


def decide(
    payoff: ArrayLike,
    *,
    barred: ArrayLike | None = None,
    days: ArrayLike | None = None,
    tolerance: float = 0.0,
    wait_days: int = 7,
    risk_aversion: float | None = None,
) -> Decision:
    """Weigh options for many places at once.

    Parameters
    ----------
    payoff : (place, draw, option), money per unit of the place. NaN in an unbarred option makes it never best.
    barred : (place, option) or (option,) bool; a barred option is never best, whatever it pays
    days : (option,) day from today on which the option is done; -1 (or NaN) for an option without a day, which stays
        open while one waits
    tolerance : money per unit that the adviser would give up for a later date when naming act-by
    wait_days : how long "waiting until next week" is
    risk_aversion : absolute risk aversion per unit of money for the certainty equivalent (exponential utility)

    Returns
    -------
    Decision
    """
    pay = np.asarray(payoff, dtype=np.float64)
    if pay.ndim != 3:
        raise ValueError(f"payoff has {pay.ndim} axes; expected (place, draw, option)")
    places, _, options = pay.shape
    bar = (
        np.zeros((places, options), bool)
        if barred is None
        else np.broadcast_to(np.asarray(barred, bool), (places, options))
    )
    day = np.full(options, -1.0) if days is None else np.nan_to_num(np.asarray(days, dtype=np.float64), nan=-1.0)

    # draws side by side, as every pass below walks along them; a copy, since the last one puts them in order
    by_option = np.array(pay.transpose(0, 2, 1), order="C")
    expected = by_option.mean(axis=2)
    if risk_aversion:
        from sideoats.decide.risk import cara_certainty_equivalent

        certain = cara_certainty_equivalent(pay, risk_aversion, axis=1)
    else:
        certain = np.full((places, options), np.nan)
    worth = certain if risk_aversion else expected
    open_worth = np.where(bar | np.isnan(worth), -np.inf, worth)
    best = np.argmax(open_worth, axis=1)
    none_open = np.isneginf(open_worth).all(axis=1)
    best_worth = open_worth[np.arange(places), best]

    chance, perfect = _chance_best(by_option, bar)
    low, high, worst = _spread(by_option)  # puts the draws in order: nothing by draw can be asked after it
    with np.errstate(invalid="ignore"):  # a row without an open option: -inf less -inf, set to 0
        perfect = np.where(none_open, 0.0, np.maximum(perfect - expected[np.arange(places), best], 0.0))

    timed = day >= 0
    within = timed & (open_worth >= (best_worth - tolerance)[:, None])
    latest = np.where(within, day, -1.0).max(axis=1)
    act_by = np.where(none_open | ~timed[best], -1, latest).astype(np.int64)

    later = np.where(~timed | (day >= wait_days), open_worth, -np.inf).max(axis=1)
    with np.errstate(invalid="ignore"):
        waiting = np.where(none_open, 0.0, best_worth - np.where(np.isneginf(later), 0.0, later))
    return Decision(
        expected=expected,
        low=low,
        high=high,
        worst_tenth=worst,
        chance_best=chance,
        barred=np.array(bar),
        best=np.where(none_open, -1, best).astype(np.int64),
        act_by=act_by,
        cost_of_waiting=np.maximum(np.nan_to_num(waiting, neginf=0.0, posinf=0.0), 0.0),
        perfect_information=np.nan_to_num(perfect, posinf=0.0, neginf=0.0),
        certainty_equivalent=certain,
    )


def _chance_best(by_option: Floats, bar: NDArray[np.bool_]) -> tuple[Floats, Floats]:
    """Chance best (place, option), and the mean over draws of the best payoff (place,)."""
    shown = np.where(bar[:, :, None], -np.inf, by_option) if bar.any() else by_option
    top = np.fmax.reduce(shown, axis=1)
    winners = shown == top[:, None, :]
    if bar.any():
        winners &= ~bar[:, :, None]
    ties = winners.sum(axis=1, dtype=np.int16)
    draws = by_option.shape[2]
    if (ties == 1).all():
        chance = winners.sum(axis=2, dtype=np.int32) / draws
    else:
        weight = np.divide(1.0, ties, out=np.zeros(ties.shape), where=ties > 0)
        chance = np.matmul(winners, weight[:, :, None])[..., 0] / draws
    return chance, top.mean(axis=1)


def value_of_information(payoff: ArrayLike, signal: ArrayLike, *, barred: Any = None) -> Floats:
    """Expected gain from seeing `signal` (place, draw) before choosing; money per unit, shape (place,).

    See `sideoats.decide.information.sample_information_from_draws`, which this applies to the options not barred.
    """
    from sideoats.decide.information import sample_information_from_draws

    return sample_information_from_draws(payoff, signal, barred=barred)
