"""When counting may stop: what more units are worth, and the totals at which they are worth no more, by one posterior.

The true mean of a field is k times a beta prime with shapes ``total + (w - 1) usual / k`` and ``n k + w`` (see
`sideoats.insects.dispersion.mean_draws`); its partial expectations are incomplete beta functions, so no draws are
needed. Treating gains ``cost (m / pays - 1)``, straight near the mean at which it pays. The mean after `more` further
units is a draw of the same mean, pulled towards what is known by ``sqrt(more / (more + n + (w - 1) / k))``: that is the
exact share of the variance (negative binomial counts with this prior are conjugate).

The verdict takes the worth of a look from here and the stop lines are the totals where that verdict changes, so that
the card in the field, the phone and the desk say the same.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sideoats.decide.laws import beta_below
from sideoats.families.counted import Counted

Floats = NDArray[np.float64]
_ROUNDS = 18  # halvings
_FEW = 64  # values at once for which SciPy is not imported
_FAR = 50.0  # multiples of the changeover at which the search for a treat line ends
# x / sqrt(1 + x^2), by which a loss nears what can be lost, as a sum of straight lines that end: within 0.02 of it
_BENDS, _WEIGHTS = np.array([0.35, 0.75, 1.2, 2.5]), np.array([0.270, 0.300, 0.251, 0.123])


@dataclass(frozen=True, eq=False)
class Stopping:
    """What the end of counting rests on; arrays (place,) unless said.

    Attributes
    ----------
    pays : mean of one sample unit at which treating just pays; NaN where it never does
    roof : mean at which the straight line of the loss would take all that can be lost; infinite for no such bound
    money : cost of a treatment, what a field without the pest would lose by it [USD/ac]
    usual, weight : the prior of the mean of one sample unit
    k : of the counts
    sizes : (size, place) further units that one look could take
    costs : (size, place) what each look costs [USD/ac]
    tomorrow : share of the injury ahead that is done by tomorrow, when one would act on the look
    least : least gain for which somebody sets out [USD/ac]
    fewest : units before which counting never stops
    scatter : (node, place) mean at which treating pays over its middle, equally likely: a pest's cost is uncertain
    sure, part : a gain of less than this part of the cost that comes in fewer than this share of futures is a coin toss
    few : units times k at and under which they hardly tell of the field: there any gain so unsure is a coin toss
    """

    pays: Floats
    roof: Floats
    money: Floats
    usual: Floats
    weight: Floats
    k: Floats
    sizes: Floats
    costs: Floats
    tomorrow: Floats
    least: float
    fewest: float
    scatter: Floats
    sure: float
    part: float
    few: float

    def every(self, units: Floats, k: Floats) -> tuple[Floats, Floats]:
        """Lines for many numbers of units and k of the counts at once, all (place, case), NaN for the usual k."""
        at = np.repeat(np.arange(len(self.pays)), units.shape[1])
        own = np.where(np.isnan(k), self.k[:, None], k).ravel()
        each = Stopping(
            self.pays[at],
            self.roof[at],
            self.money[at],
            self.usual[at],
            self.weight[at],
            own,
            self.sizes[:, at],
            self.costs[:, at],
            self.tomorrow[at],
            self.least,
            self.fewest,
            self.scatter[:, at],
            self.sure,
            self.part,
            self.few,
        )
        below, above = each.lines(units.ravel())
        return below.reshape(units.shape), above.reshape(units.shape)

    def delayed(self, total: Floats, units: Floats) -> Floats:
        """(place,) what a day's delay of the treatment is expected to lose."""
        gain = self.gain(total, units)
        later = (gain + self.money) * (1.0 - self.tomorrow) - self.money
        lost = np.maximum(gain, 0.0) - np.maximum(later, 0.0)
        return np.asarray(np.nan_to_num(np.where(gain > self.least, lost, 0.0)))  # nobody treats for less anyway

    def net(self, total: Floats, units: Floats) -> Floats:
        """(place,) what the best further look brings after its cost and the day's delay, once `total` stands."""
        worth = self.looks(total, units) - self.delayed(total, units)
        return np.asarray((np.maximum(worth, 0.0) - self.costs).max(axis=0))

    def more(self, total: Floats, units: Floats) -> Floats:
        """(place,) units of the look that nets most; 0 where none is worth its cost."""
        best = (self.looks(total, units) - self.costs).argmax(axis=0)[None]
        return np.where(self.net(total, units) > 0, np.take_along_axis(self.sizes, best, 0)[0], 0.0)

    def looks(self, total: Floats, units: Floats) -> Floats:
        """(size, place) what looking at so many more units is worth before choosing, once `total` stands on `units`."""
        shapes, mean = self._posterior(total, units)
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            pull = np.sqrt(self.sizes / (self.sizes + units + (self.weight - 1) / self.k))
            # from the mean that pays to the one that pays the trouble of a pass too, what to do is quite open
            treats = np.clip(mean, self.pays, self.pays * (1.0 + self.least / self.money))
            level = mean + (treats - mean) / pull
            over = _beyond(*shapes, self.k, level)
            wrong = np.where(mean < treats, over, over - (mean - level))
            worth = self.money / self.pays * pull * np.maximum(wrong, 0.0)
        return np.nan_to_num(worth, nan=0.0, posinf=0.0)

    def gain(self, total: Floats, units: Floats) -> Floats:
        """(place,) what treating is expected to gain: the loss bends before it takes all that can be lost."""
        shapes, mean = self._posterior(total, units)
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            level = _BENDS[:, None] * self.roof  # (bend, place)
            kept = np.where(np.isinf(level), mean, mean - _beyond(*shapes, self.k, level))
            shares = _WEIGHTS[:, None]
            expected, at_pays = (shares * kept).sum(axis=0), (shares * np.minimum(self.pays, level)).sum(axis=0)
            return np.asarray(self.money * (expected / at_pays - 1.0))

    def toss_at(self, counted: Counted) -> NDArray[np.bool_]:
        """(place,) True where treating is a coin toss: it gains little and fails about as often as it pays."""
        return self.toss(*counted.stood)

    def toss(self, total: Floats, units: Floats) -> NDArray[np.bool_]:
        """The same once `total` stands on `units`."""
        (first, second), _ = self._posterior(total, units)
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            odds = np.mean([_over(first, second, self.k, self.pays * times) for times in self.scatter], axis=0)
        gain, hardly = self.gain(total, units), units * self.k <= self.few
        return np.asarray((odds < self.sure) & (gain > self.least) & ((gain <= self.part * self.money) | hardly))

    def lines(self, units: Floats) -> tuple[Floats, Floats]:
        """Totals after `units` at or under which to leave it, and at or over which to treat; NaN for none."""
        top = (units * np.nan_to_num(self.pays) + 1.0) * _FAR

        def pays_off(total: Floats) -> NDArray[np.bool_]:
            return np.asarray(~((self.gain(total, units) <= self.least) | self.toss(total, units)))

        turn = np.where(self.money <= 0, 0.0, _change(pays_off, np.zeros_like(top), top))

        def counts_on(total: Floats, spare: float) -> NDArray[np.bool_]:
            return np.asarray(self.net(total, units) > spare)

        def open_(total: Floats) -> NDArray[np.bool_]:  # worth another look, or a coin toss
            return counts_on(total, 0.0) | self.toss(total, units)

        starts = counts_on(np.zeros_like(turn), 0.0)
        below = np.where(starts, np.nan, _change(open_, np.zeros_like(turn), turn))
        never = counts_on(top, self.least)
        above = _change(lambda total: ~counts_on(total, self.least), turn, top)
        gone = np.isnan(self.pays) | np.isnan(units) | (units < self.fewest)
        return np.where(gone | (self.money <= 0), np.nan, below), np.where(gone | never, np.nan, above)

    def _posterior(self, total: Floats, units: Floats) -> tuple[tuple[Floats, Floats], Floats]:
        first = total + (self.weight - 1.0) * self.usual / self.k
        second = units * self.k + self.weight
        return (first, second), self.k * first / (second - 1.0)


def _change(true: Callable[[Floats], NDArray[np.bool_]], low: Floats, high: Floats) -> Floats:
    """The total at which `true` becomes so, by halving its distance in the root, which small totals need."""
    a, b = np.sqrt(low), np.sqrt(high)
    for _ in range(_ROUNDS):
        middle = (a + b) / 2
        yes = true(middle * middle)
        a, b = np.where(yes, a, middle), np.where(yes, middle, b)
    return np.asarray(((a + b) / 2) ** 2)


def _beyond(first: Floats, second: Floats, k: Floats, level: Floats) -> Floats:
    """Expected excess over `level` of k times a beta prime; ``mean - level`` where the level is not above zero.

    ``mean I(second - 1, first + 1) - level I(second, first)`` of the incomplete beta function I at k / (k + level). Of
    a few places one value at a time: importing SciPy takes longer than their whole answer.
    """
    x = k / (k + np.maximum(level, 0.0))
    mean = k * first / (second - 1.0)
    if np.size(level) <= _FEW:
        part = np.asarray(_excess(first, second, k, level, x, mean), np.float64)
    else:
        from scipy import special

        part = mean * special.betainc(second - 1.0, first + 1.0, x) - level * special.betainc(second, first, x)
    return np.asarray(np.where(level <= 0, mean - level, part))


def _over(first: Floats, second: Floats, k: Floats, level: Floats) -> Floats:
    """Chance that k times a beta prime is over `level`; 1 where that is not above zero."""
    x = k / (k + np.maximum(level, 0.0))
    if np.size(level) <= _FEW:
        return np.asarray(_one_over(first, second, x), np.float64)
    from scipy import special

    return np.asarray(special.betainc(second, first, x))


_one_over = np.frompyfunc(lambda first, second, x: beta_below(second, first, x)[0], 3, 1)


def _one_excess(first: float, second: float, k: float, level: float, x: float, mean: float) -> float:
    """The same of one place: the two incomplete beta functions differ by a density (DLMF 8.17.18 and 8.17.19)."""
    below, density = beta_below(second, first, x)
    return (mean - level) * below + density * (k + level) / (second - 1.0) if below > 0 else below


_excess = np.frompyfunc(_one_excess, 6, 1)


def stopping_of(
    counted: Counted,
    pays: Floats,
    roof: Floats,
    money: Floats,
    looks: tuple[Floats, Floats],
    tomorrow: Floats,
    least: float,
    fewest: float,
    scatter: Floats,
    toss: tuple[float, float, float],
) -> Stopping:
    """The end of counting for a count drawn against a prior.

    `pays` and `roof` are in the unit of the mean; `looks` are the sizes and costs of further looks; `toss`
    is what a coin toss is: `sure`, `part` and `few`.
    """
    usual = np.full(len(pays), np.nan) if counted.usual is None else counted.usual
    return Stopping(
        pays * counted.sample,
        roof * counted.sample,
        np.nan_to_num(money),
        usual * counted.sample,
        np.broadcast_to(np.asarray(counted.weight, float), pays.shape),
        counted.k,
        *looks,
        tomorrow,
        least,
        fewest,
        scatter,
        *toss,
    )
