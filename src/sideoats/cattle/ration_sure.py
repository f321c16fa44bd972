"""Rations whose floors hold in most lots, of amounts that can be weighed, and what each feed is worth in them.

Feeds differ from their tables and tests. Each feed's TDN and protein are taken to vary by themselves, normally, by a
share of what is on paper (feeds of one group together); a floor then holds with the chance `assurance` where

    sum c x - z sqrt(sum (spread c x)^2) >= floor,        z the normal quantile of the assurance.

The root is convex, so that its tangent at any mix is a row that no sure ration breaks. The programme is solved again
and again, each time with the tangent at its last mix too, until the floor holds (Kelley's cutting planes); what has no
ration under the tangents has no sure one at all.

A feed is given in no amount smaller than can be weighed out: none of it, or at least so much (a semi-continuous
variable). Mixes that hold less are branched on: without the feed, or with the least of it.

References
----------
Charnes, A. and Cooper, W.W., Chance-constrained programming, Management Science 6:73, 1959. Kelley, J.E., The
cutting-plane method for solving convex programs, J. SIAM 8:703, 1960. Semi-continuous variables
by branch and bound: Land, A.H. and Doig, A.G., Econometrica 28:497, 1960.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from sideoats.cattle.ration import Feeds, Needs, Rations, in_turn, solve

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Rows = NDArray[np.int64]
PARTS = ("tdn", "protein")  # the floors that are kept in most lots
_ROUNDS = 12  # tangents; most mixes settle after three or four
_NEAR = 1e-6  # of the floor: near enough to it
_CLOSE = 3e-4  # of the floor: at this the tangents end; a chance of 85 in 100 is 84.6 at worst
_SAME = 1e-3  # USD/head/day: mixes that differ by less cost the same
_DEPTH = 8  # feeds in amounts too small to weigh that are branched on


@dataclass(frozen=True, eq=False)
class Spread:
    """How feeds vary, and how surely floors are to hold.

    Attributes
    ----------
    tdn, protein : (herd, feed) standard deviation as a share of what is on paper
    assurance : (herd,) chance with which each floor is to hold; at 0.5 it holds on paper
    group : (herd, feed) feeds of one number err together, others by themselves
    """

    tdn: Floats
    protein: Floats
    assurance: Floats
    group: Rows

    def take(self, rows: Rows) -> Spread:
        """Some herds."""
        return Spread(self.tdn[rows], self.protein[rows], self.assurance[rows], self.group[rows])

    def at(self, assurance: float) -> Spread:
        """The same, all herds at one assurance."""
        return replace(self, assurance=np.full(len(self.assurance), assurance))

    @property
    def z(self) -> Floats:
        """(herd,) standard deviations that the floor is kept under the mean."""
        levels = self.assurance.tolist()
        found = {level: _quantile(level) for level in set(levels)}
        return np.array([found[level] for level in levels])


def _quantile(chance: float) -> float:
    """Normal quantile, by halving: `statistics` takes longer to be imported than this to be run."""
    low, high = -9.0, 9.0
    for _ in range(50):
        middle = (low + high) / 2
        low, high = (middle, high) if 1 + math.erf(middle / math.sqrt(2)) < 2 * chance else (low, middle)
    return high if chance != 0.5 else 0.0


def _errs(pounds: Floats, content: Floats, part: str, spread: Spread) -> tuple[Floats, Floats]:
    """(herd,) standard deviation of what a mix holds, and (herd, feed) that of all that errs with each feed."""
    own = np.nan_to_num(pounds) * content * getattr(spread, part)
    together = np.zeros(own.shape)
    for k in range(own.shape[1]):  # one by one, so that feeds that are not there change no last figure
        together += np.where(spread.group == spread.group[:, k, None], own[:, k, None], 0.0)
    return np.sqrt(in_turn(own * together)), together


def deviation(pounds: Floats, content: Floats, part: str, spread: Spread) -> Floats:
    """(herd,) standard deviation of what a mix holds of `part`, in the unit of pounds x content."""
    return _errs(pounds, content, part, spread)[0]


def chance(pounds: Floats, content: Floats, part: str, spread: Spread, floor: Floats) -> Floats:
    """(herd,) chance that a mix holds a floor of `part`."""
    held, sd = in_turn(np.nan_to_num(pounds) * content), deviation(pounds, content, part, spread)
    with np.errstate(divide="ignore", invalid="ignore"):
        over = (held - floor + _NEAR * floor) / (sd * math.sqrt(2))
    sure = np.where(floor > 0, over, np.inf)
    return np.array([1.0 if v == np.inf or np.isnan(v) else 0.5 * (1 + math.erf(v)) for v in sure])


def sure(
    feeds: Feeds, needs: Needs, spread: Spread, paper: Rations | None = None, budget: Floats | float = np.inf
) -> tuple[Rations, Bools]:
    """Least-cost rations whose floors of TDN and protein hold with the assurance.

    Parameters
    ----------
    feeds : (herd, feed)
    needs : (herd,)
    spread : how the feeds vary
    paper : the rations that hold their floors on paper, where they are made already
    budget : (herd,) most that a sure ration may cost; tangents only make it dearer, so none is sought beyond it

    Returns
    -------
    The rations, and (herd,) whether they are sure; where no sure ration exists the one that holds its floors on paper
    """
    paper = solve(feeds, needs) if paper is None else paper
    found, held = paper, _holds(paper, feeds, needs, spread)
    going = np.flatnonzero(paper.feasible & ~held)
    last, cuts = paper.take(going), {part: np.zeros((going.size, 0, feeds.price.shape[1])) for part in PARTS}
    for _ in range(_ROUNDS):
        if not going.size:
            break
        some, some_needs, some_spread = feeds.take(going), needs.take(going), spread.take(going)
        for part in PARTS:
            row = _tangent(last.pounds, getattr(some, part), part, some_spread)
            cuts[part] = np.concatenate([cuts[part], row[:, None]], axis=1)
        last = solve(some, some_needs, cuts)
        held[going] = _holds(last, some, some_needs, some_spread)
        done = held[going]
        found = found.where(_at(going[done], len(needs)), _spread_out(last, going, found))
        on = last.feasible & ~done & (last.cost <= np.broadcast_to(budget, len(needs))[going])
        going, last, cuts = going[on], last.take(np.flatnonzero(on)), {part: cut[on] for part, cut in cuts.items()}
    return found, held


def _tangent(pounds: Floats, content: Floats, part: str, spread: Spread) -> Floats:
    """(herd, feed) what a pound of each feed surely brings beside such a mix: the slope of the sure content."""
    sd, together = _errs(pounds, content, part, spread)
    share = np.divide(together, sd[:, None], out=np.zeros_like(together), where=sd[:, None] > 0)
    return np.asarray(content * (1.0 - spread.z[:, None] * getattr(spread, part) * share), dtype=np.float64)


def _holds(found: Rations, feeds: Feeds, needs: Needs, spread: Spread) -> Bools:
    """(herd,) whether both floors hold with the assurance."""
    ok = found.feasible.copy()
    for part in PARTS:
        content, floor = getattr(feeds, part), getattr(needs, part)
        sure_of = in_turn(np.nan_to_num(found.pounds) * content)
        sure_of = sure_of - spread.z * deviation(found.pounds, content, part, spread)
        ok &= sure_of >= floor * (1 - _CLOSE)
    return np.asarray(ok, dtype=bool)


def _at(rows: Rows, herds: int) -> Bools:
    out = np.zeros(herds, bool)
    out[rows] = True
    return out


def _spread_out(some: Rations, rows: Rows, like: Rations) -> Rations:
    """Rations of some herds at their places among all."""
    back = np.zeros(len(like.cost), np.int64)
    back[rows] = np.arange(rows.size)
    return some.take(back)


def affordable(
    feeds: Feeds, needs: Needs, spread: Spread, ladder: Sequence[float], worth: float
) -> tuple[Rations, Floats]:
    """The rations of greatest assurance of the ladder that each herd can have for what it is worth.

    Parameters
    ----------
    feeds, needs, spread : as in `sure`; the assurance of `spread` is not used
    ladder : assurances, the greatest first
    worth : share of the cost of the mix that holds its floors on paper, which surety may cost on top

    Returns
    -------
    The rations, and (herd,) their assurance: 0.5 where none of the ladder can be made at that
    """
    paper = solve(feeds, needs)
    out, assured = paper, np.full(len(needs), 0.5)
    going = np.flatnonzero(paper.feasible)
    for level in ladder:
        if not going.size:
            break
        some = feeds.take(going), needs.take(going), spread.take(going).at(level)
        most = paper.cost[going] * (1 + worth)
        found, held = sure(*some, paper.take(going), most)
        ok = held & (found.cost <= most)
        assured[going[ok]] = level
        out = out.where(_at(going[ok], len(needs)), _spread_out(found, going, out))
        going = going[~ok]
    return out, assured


def weighable(feeds: Feeds, needs: Needs, spread: Spread, least: Floats, found: Rations) -> Rations:
    """Rations as sure as these, with no feed in an amount too small to weigh: none of it, or at least `least`.

    Parameters
    ----------
    feeds, needs, spread : as in `sure`
    least : (herd, feed) smallest amount weighed out [lb of dry matter a head and day]
    found : the rations with whatever amounts

    Returns
    -------
    The rations; where no mix of weighable amounts is found, the one with what is too little to weigh
    """
    tiny = _tiny(found, least)
    rows = np.flatnonzero(tiny.any(axis=1))
    if not rows.size:
        return found
    best, kept = np.full(len(needs), np.inf), found

    def solved(herd: Rows, out: Bools, inside: Bools) -> tuple[Rations, Bools]:
        """Mixes of nodes (herds with some feeds out and some in), the best kept; and which are to be branched on."""
        nonlocal kept
        some = feeds.take(herd)
        most, low = np.where(out, 0.0, some.most_lb), np.where(inside, np.maximum(least[herd], some.least_lb), 0.0)
        node, held = sure(
            replace(some, most_lb=most, least_lb=low), needs.take(herd), spread.take(herd), budget=best[herd]
        )
        good = node.feasible & held  # a branch that gives up the assurance is none
        done = good & ~_tiny(node, least[herd]).any(axis=1)
        for i in np.flatnonzero(done):
            if node.cost[i] < best[herd[i]]:
                best[herd[i]] = node.cost[i]
                at = herd[i : i + 1]
                kept = kept.where(_at(at, len(needs)), _spread_out(node.take(np.array([i])), at, kept))
        return node, good & ~done & (node.cost < best[herd] - _SAME)

    nothing = np.zeros(tiny[rows].shape, bool)
    solved(rows, nothing, tiny[rows])  # all of them in, and all out: mostly one of these is as cheap as can be
    solved(rows, tiny[rows], nothing)
    herd = rows[best[rows] > found.cost[rows] + _SAME]
    out = inside = np.zeros(tiny[herd].shape, bool)
    at = tiny[herd].argmax(axis=1)
    for _ in range(_DEPTH):
        if not herd.size:
            break
        herd, out, inside = _branch(herd, out, inside, at)
        node, open_ = solved(herd, out, inside)
        at = _tiny(node, least[herd])[open_].argmax(axis=1)
        herd, out, inside = herd[open_], out[open_], inside[open_]
    return kept


def _tiny(found: Rations, least: Floats) -> Bools:
    """(herd, feed) feeds in the mix, but in less than can be weighed."""
    pounds = np.nan_to_num(found.pounds)
    return np.asarray((pounds > 1e-9) & (pounds < least * (1 - 1e-6)), dtype=bool)


def _branch(herd: Rows, out: Bools, inside: Bools, at: Rows) -> tuple[Rows, Bools, Bools]:
    """Both branches of every node: without its feed `at`, and with the least of it."""
    one = np.zeros(out.shape, bool)
    one[np.arange(herd.size), at] = True
    return np.concatenate([herd, herd]), np.concatenate([out | one, out]), np.concatenate([inside, inside | one])


def worth_each(feeds: Feeds, needs: Needs, spread: Spread, found: Rations) -> Floats:
    """(herd, feed) price of a lb of dry matter at which a feed comes into the cheapest mix, or goes out of it.

    That is what the feed would save if the mix were made without it: one that is out comes in below it, one that is in
    goes out above it. Infinite for a feed without which there is no mix, or none as sure.
    """
    worth = found.worth.copy()
    herd, feed = np.nonzero(np.nan_to_num(found.pounds) > 1e-9)
    if not herd.size:
        return worth
    some = feeds.take(herd)
    most = some.most_lb.copy()
    most[np.arange(herd.size), feed] = 0.0
    without, sure_too = sure(
        replace(some, most_lb=most, least_lb=np.zeros(most.shape)), needs.take(herd), spread.take(herd)
    )
    told = without.worth[np.arange(herd.size), feed]
    worth[herd, feed] = np.where(sure_too, told, np.inf)
    return worth
