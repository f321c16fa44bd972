"""When counting may stop: what more units are worth, and the totals at which they are worth no more, by one posterior.

The true mean of a field is k times a beta prime with shapes ``total + (w - 1) usual / k`` and ``n k + w`` (see
`sideoats.insects.dispersion.mean_draws`); its partial expectations are incomplete beta functions, so no draws are
needed. A share of units is a beta with shapes ``hits + w usual`` and ``n - hits + w (1 - usual)`` (an infinite k stands
for it). What a treatment saves is a sum of straight lines in the mean that end (`Saving`). The mean after `more` more
units is a draw of the same mean, pulled towards what is known by ``sqrt(more / (more + n + (w - 1) / k))``, of a share
by ``sqrt(more / (more + n + w))``: the exact share of the variance (counts with these priors are conjugate).

The verdict takes the worth of a look from here and the stop lines are the totals where that verdict changes, so that
the card in the field, the phone and the desk say the same.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from sideoats.decide.laws import beta_below
from sideoats.families.counted import Counted
from sideoats.records import dataclass

Floats = NDArray[np.float64]
_ROUNDS = 18  # halvings
_FEW = 32  # values at once for which SciPy is not imported
_FAR = 50.0  # multiples of the changeover at which the search for a treat line ends
# x / sqrt(1 + x^2), by which a loss nears what can be lost, as a sum of straight lines that end: within 1.1 % of it
_BENDS = np.array([0.2097, 0.4772, 0.8171, 1.3269, 2.3256, 4.1384, 62.4158])
_WEIGHTS = np.array([0.1374, 0.2510, 0.2720, 0.2074, 0.0918, 0.0293, 0.0005])


@dataclass(frozen=True, eq=False)
class Saving:
    """What a treatment today saves by the mean of a unit: the sum of ``weights x min(mean, levels)`` [USD/ac].

    Attributes
    ----------
    levels, weights : (line, place) where each straight line ends (infinite for none), and its slope
    pays : (place,) mean at which it equals the cost of a treatment; NaN where none does
    slope : (place,) of the whole about there
    """

    levels: Floats
    weights: Floats
    pays: Floats
    slope: Floats

    def times(self, factor: float) -> Saving:
        """The same with each pest costing so many times as much; the most that can be saved stays."""
        return Saving(self.levels / factor, self.weights * factor, self.pays / factor, self.slope * factor)

    def per(self, sample: Floats) -> Saving:
        """The same by the mean of one sample, `sample` (place,) times that of a unit."""
        with np.errstate(invalid="ignore"):
            return Saving(self.levels * sample, self.weights / sample, self.pays * sample, self.slope / sample)

    def at(self, rows: NDArray[np.int64]) -> Saving:
        """The same of these places."""
        return Saving(self.levels[:, rows], self.weights[:, rows], self.pays[rows], self.slope[rows])

    def but(self, rows: NDArray[np.bool_], other: Saving) -> Saving:
        """The same, with that of `other`, of as many lines, in the places where `rows` is True."""
        pairs = zip((self.levels, self.weights, self.pays, self.slope),
                    (other.levels, other.weights, other.pays, other.slope), strict=True)  # fmt: skip
        return Saving(*(np.where(rows, theirs, mine) for mine, theirs in pairs))

    def value(self, mean: Floats) -> Floats:
        """(place,) what is saved at this mean (place,)."""
        return np.asarray((self.weights * np.minimum(mean, self.levels)).sum(axis=0))


def straight(saves: Floats, pays: Floats, roof: Floats, cost: Floats) -> Saving:
    """The saving of a pest whose loss is `sideoats.insects.thresholds.bounded_loss` of a straight line in the mean.

    Parameters
    ----------
    saves : (place,) what is saved by one pest a unit on the straight part [USD/ac]
    pays : (place,) mean at which treating just pays; NaN where none does
    roof : (place,) mean at which the straight line would take all that can be lost; infinite for no such bound
    cost : (place,) of a treatment [USD/ac]
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        slope = cost / pays
    usable = np.isfinite(slope) & (slope > 0)
    shares = np.where(np.isinf(roof), 1.0 / _WEIGHTS.sum(), 1.0) * _WEIGHTS[:, None]
    return Saving(_BENDS[:, None] * roof, shares * saves, pays, np.where(usable, slope, saves))


def broken(means: Floats, saved: Floats, cost: Floats) -> Saving:
    """The saving that is known at some means only, straight between them and level beyond.

    Parameters
    ----------
    means : (point, place) above 0, rising; saved : (point, place) what is saved there [USD/ac]
    cost : (place,) of a treatment [USD/ac]
    """
    start = np.zeros((1, means.shape[1]))
    steps = np.diff(np.concatenate([start, saved]), axis=0) / np.diff(np.concatenate([start, means]), axis=0)
    over = saved >= cost
    first = over.argmax(axis=0)[None]
    slope, at, there = (np.take_along_axis(of, first, 0)[0] for of in (steps, means, saved))
    with np.errstate(divide="ignore", invalid="ignore"):
        pays = np.where(over.any(axis=0), at - (there - cost) / slope, np.nan)
    weights = steps - np.concatenate([steps[1:], start])
    return Saving(means, weights, np.where(cost <= 0, 0.0, pays), slope)


@dataclass(frozen=True, eq=False)
class Stopping:
    """What the end of counting rests on; arrays (place,) unless said.

    Attributes
    ----------
    saving : what a treatment today saves by the mean of one sample
    money : cost of a treatment, less what it saves of other pests [USD/ac]
    usual, weight : the prior of the mean of one sample unit
    k : of the counts
    sizes : (size, place) further units that one look could take
    costs : (size, place) what each look costs [USD/ac]
    tomorrow : share of the injury ahead that is done by tomorrow, when one would act on the look
    least : least gain for which somebody sets out [USD/ac]
    fewest : (place,) units before which counting never stops
    scatter : (node, place) mean at which treating pays over its middle, equally likely: a pest's cost is uncertain
    sure, part : a gain of less than this part of the cost that comes in fewer than this share of futures is a coin toss
    few : units times k at and under which they hardly tell of the field: there any gain so unsure is a coin toss
    """

    saving: Saving
    money: Floats
    usual: Floats
    weight: Floats
    k: Floats
    sizes: Floats
    costs: Floats
    tomorrow: Floats
    least: float
    fewest: Floats
    scatter: Floats
    sure: float
    part: float
    few: float

    def every(self, units: Floats, k: Floats) -> tuple[Floats, Floats]:
        """Lines for many numbers of units and k of the counts at once, all (place, case), NaN for the usual k."""
        at = np.repeat(np.arange(len(self.money)), units.shape[1])
        own = np.where(np.isnan(k), self.k[:, None], k).ravel()
        each = Stopping(
            self.saving.at(at),
            self.money[at],
            self.usual[at],
            self.weight[at],
            own,
            self.sizes[:, at],
            self.costs[:, at],
            self.tomorrow[at],
            self.least,
            self.fewest[at],
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
            pull = np.sqrt(self.sizes / (self.sizes + units + self._before))
            # from the mean that pays to the one that pays the trouble of a pass too, what to do is quite open
            pays, slope = self.saving.pays, self.saving.slope
            treats = np.clip(mean, pays, pays + self.least / slope)
            level = mean + (treats - mean) / pull
            over = _beyond(*shapes, self.k, level)
            wrong = np.where(mean < treats, over, over - (mean - level))
            worth = slope * pull * np.maximum(wrong, 0.0)
        return np.nan_to_num(worth, nan=0.0, posinf=0.0)

    def gain(self, total: Floats, units: Floats) -> Floats:
        """(place,) what treating is expected to gain."""
        shapes, mean = self._posterior(total, units)
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            levels = self.saving.levels
            kept = np.where(np.isinf(levels), mean, mean - _beyond(*shapes, self.k, levels))
            return np.asarray((self.saving.weights * kept).sum(axis=0) - self.money)

    def toss_at(self, counted: Counted) -> NDArray[np.bool_]:
        """(place,) True where treating is a coin toss: it gains little and fails about as often as it pays."""
        return self.toss(*counted.stood)

    def toss(self, total: Floats, units: Floats) -> NDArray[np.bool_]:
        """The same once `total` stands on `units`."""
        (first, second), _ = self._posterior(total, units)
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            pays = self.saving.pays
            odds = np.mean([_over(first, second, self.k, pays * times) for times in self.scatter], axis=0)
        gain, hardly = self.gain(total, units), units * self.k <= self.few
        return np.asarray((odds < self.sure) & (gain > self.least) & ((gain <= self.part * self.money) | hardly))

    def lines(self, units: Floats) -> tuple[Floats, Floats]:
        """Totals after `units` at or under which to leave it, and at or over which to treat; NaN for none."""
        top = (units * np.nan_to_num(self.saving.pays) + 1.0) * _FAR

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
        gone = np.isnan(self.saving.pays) | np.isnan(units) | (units < self.fewest)
        return np.where(gone | (self.money <= 0), np.nan, below), np.where(gone | never, np.nan, above)

    @property
    def _before(self) -> Floats:
        """(place,) units that the prior is worth."""
        return np.where(np.isinf(self.k), self.weight, (self.weight - 1.0) / self.k)

    def _posterior(self, total: Floats, units: Floats) -> tuple[tuple[Floats, Floats], Floats]:
        first = total + self._before * self.usual
        if not np.isinf(self.k).any():
            second = units * self.k + self.weight
            return (first, second), self.k * first / (second - 1.0)
        share = np.isinf(self.k)
        k = np.where(share, 1.0, self.k)
        second = np.where(share, units - total + self.weight * (1.0 - self.usual), units * k + self.weight)
        return (first, second), np.where(share, first / (first + second), k * first / (second - 1.0))


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
    a few places one value at a time: importing SciPy takes longer than their whole answer. With an infinite k the same
    of a beta itself: ``mean I(second, first + 1) - level I(second, first)`` at 1 - level.
    """
    x, share = _below(k, level)
    with np.errstate(invalid="ignore"):
        mean = np.where(share, first / (first + second), k * first / (second - 1.0))
    if np.size(level) <= _FEW:
        part = np.asarray(_excess(first, second, k, level, x, mean), np.float64)
    else:
        from scipy import special

        one = np.where(share, 0.0, 1.0)
        part = mean * special.betainc(second - one, first + 1.0, x) - level * special.betainc(second, first, x)
    return np.asarray(np.where(level <= 0, mean - level, part))


def _below(k: Floats, level: Floats) -> tuple[Floats, NDArray[np.bool_]]:
    """Where the beta of the second shape and the first stands at a mean of `level`, and where that is a share."""
    share, above = np.isinf(k), np.maximum(level, 0.0)
    if not share.any():
        return k / (k + above), share
    some = np.where(share, 1.0, k)
    return np.where(share, 1.0 - np.minimum(above, 1.0), some / (some + above)), share


def _over(first: Floats, second: Floats, k: Floats, level: Floats) -> Floats:
    """Chance that k times a beta prime (a beta where k is infinite) is over `level`; 1 where that is not above zero."""
    x, _ = _below(k, level)
    if np.size(level) <= _FEW:
        return np.asarray(_one_over(first, second, x), np.float64)
    from scipy import special

    return np.asarray(special.betainc(second, first, x))


_one_over = np.frompyfunc(lambda first, second, x: beta_below(second, first, x)[0], 3, 1)


def _one_excess(first: float, second: float, k: float, level: float, x: float, mean: float) -> float:
    """The same of one place: the two incomplete beta functions differ by a density (DLMF 8.17.18 to 8.17.21)."""
    below, density = beta_below(second, first, x)
    spare = 1.0 / (first + second) if k == np.inf else (k + level) / (second - 1.0)
    return (mean - level) * below + density * spare if below > 0 else below


_excess = np.frompyfunc(_one_excess, 6, 1)


def stopping_of(
    counted: Counted,
    saving: Saving,
    money: Floats,
    looks: tuple[Floats, Floats],
    tomorrow: Floats,
    least: float,
    fewest: Floats,
    scatter: Floats,
    toss: tuple[float, float, float],
) -> Stopping:
    """The end of counting for a count drawn against a prior.

    `saving` is by the mean of a unit; `looks` are the sizes and costs of further looks; `toss` is what a coin toss is:
    `sure`, `part` and `few`.
    """
    usual = np.full(len(money), np.nan) if counted.usual is None else counted.usual
    return Stopping(
        saving.per(counted.sample),
        np.nan_to_num(money),
        usual * counted.sample,
        np.broadcast_to(np.asarray(counted.weight, float), money.shape),
        counted.k,
        *looks,
        tomorrow,
        least,
        fewest,
        scatter,
        *toss,
    )
