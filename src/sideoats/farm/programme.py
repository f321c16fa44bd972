"""The best set of acts of a farm: one way of every block, within what the farm has, by certainty equivalent.

A block is a decision whose ways exclude one another (a field's spraying, a pen's calves, a bin); its first way leaves
things alone, gains nothing and uses nothing. The farm's money in a future is its luck plus the gains of the ways taken.
The certainty equivalent of that sum under exponential utility is concave in the shares of the ways, so that a tangent
lies above it everywhere [1]_. Hence

* where no limit binds, ways that are each the best of their block along the tangent at themselves are the best of all:
  whole batches of farms are settled so, without a solver;
* else ways that no tangent lets rise over the best found are left out; where few sets of ways remain they are counted
  out, where many remain tangents are cuts of a small integer programme (HiGHS), until the best found reaches its roof.

References
----------
.. [1] Duran, M.A. and Grossmann, I.E., An outer-approximation algorithm for a class of mixed-integer nonlinear
   programs, Mathematical Programming 36:307-339, 1986 (from
   memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.threads import one_thread

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_TURNS = 5  # along tangents: a farm that still turns goes round in circles
_CUTS = 60
_COUNTED = 512  # sets of ways: as many are counted out sooner than a solver is asked
_CLOSE = 1e-7  # of the money at stake: a roof so near is reached
CHUNK = 16  # farms at once: their draws stay in the cache


@dataclass(frozen=True, eq=False)
class Stakes:
    """What a farm can choose among.

    Attributes
    ----------
    money : (way, draw) gain over leaving the block alone [USD]; 0 in the first way of every block
    block : (way,) number of its block, rising from 0
    luck : (draw,) what the farm wins or loses where nothing is done [USD]
    uses : (way, limit) of what is limited
    limits : (limit,) how much of it there is, 0 or more
    """

    money: Floats
    block: Ints
    luck: Floats
    uses: Floats
    limits: Floats

    @property
    def first(self) -> Ints:
        """(block,) the way of each block that leaves it alone."""
        return np.flatnonzero(np.diff(self.block, prepend=-1))


@dataclass(frozen=True, eq=False)
class Best:
    """The ways taken.

    Attributes
    ----------
    ways : (block,) index of the way taken
    certain : certainty equivalent of the farm's money [USD]
    solved : searched for, by counting out or by the programme; False where the tangent alone shows it to be the best
    """

    ways: Ints
    certain: float
    solved: bool


def certain(money: Floats, aversion: float) -> Floats:
    """(...,) certainty equivalent of (..., draw) money [USD] under an absolute aversion [1/USD]; 0 gives the mean."""
    if aversion <= 0:
        return np.asarray(money.mean(axis=-1))
    floor = money.min(axis=-1, keepdims=True)
    inner = np.expm1(-aversion * (money - floor)).mean(axis=-1)
    return np.asarray(floor[..., 0] - np.log1p(inner) / aversion)


def best(stakes: Stakes, aversion: float) -> Best:
    """The best ways of one farm: see `best_of`."""
    return best_of([stakes], aversion)[0]


def best_of(farms: Sequence[Stakes], aversion: float) -> list[Best]:
    """The best ways of every farm, each as if it were alone.

    Parameters
    ----------
    farms : of one number of draws
    aversion : absolute, of the farm's money [1/USD]
    """
    out: list[Best] = []
    with one_thread():
        for start in range(0, len(farms), CHUNK):
            out += _batch(farms[start : start + CHUNK], aversion)
    return out


def _batch(farms: Sequence[Stakes], aversion: float) -> list[Best]:
    """Turn along tangents until every farm stands still; the rest, and farms over a limit, go to the solver."""
    money = np.concatenate([f.money for f in farms])
    farm = np.repeat(np.arange(len(farms)), [len(f.block) for f in farms])
    starts = np.cumsum([0, *(f.block[-1] + 1 if f.block.size else 0 for f in farms)])
    block = np.concatenate([f.block + starts[at] for at, f in enumerate(farms)])
    first = np.flatnonzero(np.diff(block, prepend=-1))
    luck = np.stack([f.luck for f in farms])
    taken, still = _steepest(money.mean(axis=1), block, first), np.zeros(len(farms), bool)
    if aversion <= 0:
        still[:] = True
    for _ in range(_TURNS if not still.all() else 0):
        weight = _weights(_sums(money, taken, farm, luck), aversion)
        turned = _steepest((money * weight[farm]).sum(axis=1), block, first, taken)
        moved = np.zeros(len(farms), bool)
        moved[farm[turned[turned != taken]]] = True
        still |= ~moved
        if still.all():
            break
        taken = np.where(still[farm[taken]], taken, turned)
    found = []
    for at, f in enumerate(farms):
        own = taken[starts[at] : starts[at + 1]] - np.searchsorted(farm, at)
        if still[at] and _within(f, own):
            found.append(Best(own, float(certain(f.luck + f.money[own].sum(axis=0), aversion)), False))
        else:
            found.append(_counted_out(f, aversion, own) or _solved(f, aversion, own))
    return found


def _sums(money: Floats, taken: Ints, farm: Ints, luck: Floats) -> Floats:
    """(farm, draw) money of the ways taken."""
    out, home = luck.copy(), farm[taken]  # rising: blocks stand farm by farm
    starts = np.flatnonzero(np.diff(home, prepend=-1))
    if starts.size:
        out[home[starts]] += np.add.reduceat(money[taken], starts, axis=0)
    return out


def _weights(money: Floats, aversion: float) -> Floats:
    """(farm, draw) slope of the certainty equivalent by the money of each draw."""
    weight = np.exp(-aversion * (money - money.min(axis=1, keepdims=True)))
    return np.asarray(weight / weight.sum(axis=1, keepdims=True))


def _steepest(slope: Floats, block: Ints, first: Ints, taken: Ints | None = None) -> Ints:
    """(block,) the way of the steepest slope; of equals the one taken, else the first."""
    top = np.maximum.reduceat(slope, first) if first.size else np.empty(0)
    at = np.where(slope >= top[block], np.arange(slope.size), slope.size)
    found = np.minimum.reduceat(at, first) if first.size else np.empty(0, np.int64)
    if taken is not None:
        found = np.where(slope[taken] >= top - 1e-12 * np.abs(top), taken, found)
    return np.asarray(found, dtype=np.int64)


def _within(f: Stakes, taken: Ints) -> bool:
    return bool((f.uses[taken].sum(axis=0) <= f.limits + 1e-9).all())


def _counted_out(f: Stakes, aversion: float, start: Ints) -> Best | None:
    """The best of the sets of ways that may lie over what climbing way by way finds; None where they are too many."""
    first = f.first
    tops = [_climbed(f, aversion, first)]
    if _within(f, start):
        tops.append(_climbed(f, aversion, start))
    best_ways, height = max(tops, key=lambda t: t[1])
    top = np.full(len(f.block), np.inf)  # how high a set with this way may lie
    for at in (start, best_ways):
        money = f.luck + f.money[at].sum(axis=0)
        slope = f.money @ _weights(money[None], max(aversion, 0.0))[0]
        most = np.maximum.reduceat(slope, first)
        roof = float(certain(money, aversion)) + float((most - slope[at]).sum())
        top = np.minimum(top, roof - (most[f.block] - slope))
    left = [np.flatnonzero((f.block == b) & ((top > height) | np.isin(np.arange(len(top)), best_ways)))
            for b in range(len(first))]  # fmt: skip
    if np.prod([float(len(ways)) for ways in left]) > _COUNTED:
        return None
    sets = np.stack([g.ravel() for g in np.meshgrid(*left, indexing="ij")], axis=1)
    sets = sets[(f.uses[sets].sum(axis=1) <= f.limits + 1e-9).all(axis=1)] if f.limits.size else sets
    heights = certain(f.luck + f.money[sets].sum(axis=1), aversion)
    at_top = int(np.argmax(heights))
    if heights[at_top] <= height:
        return Best(best_ways, height, True)
    return Best(sets[at_top], float(heights[at_top]), True)


def _climbed(f: Stakes, aversion: float, start: Ints) -> tuple[Ints, float]:
    """Ways that no other way of a single block betters within the limits, from `start` on, and their height."""
    taken, first = start.copy(), f.first
    money, used = f.luck + f.money[taken].sum(axis=0), f.uses[taken].sum(axis=0)
    height = float(certain(money, aversion))
    for _ in range(_TURNS):
        before = height
        for b, at in enumerate(first):
            own = np.arange(at, first[b + 1] if b + 1 < len(first) else len(f.block))
            heights = certain(money - f.money[taken[b]] + f.money[own], aversion)
            fits = (used - f.uses[taken[b]] + f.uses[own] <= f.limits + 1e-9).all(axis=1)
            heights = np.where(fits, heights, -np.inf)
            if heights.max() > height + 1e-9:
                new = own[int(np.argmax(heights))]
                money = money - f.money[taken[b]] + f.money[new]
                used = used - f.uses[taken[b]] + f.uses[new]
                taken[b], height = new, float(heights.max())
        if height <= before:
            break
    return taken, height


def _solved(f: Stakes, aversion: float, start: Ints | None = None) -> Best:
    """Tangents as cuts of an integer programme until none lies above the best found.

    Parameters
    ----------
    start : ways to lay the first tangent at, within the limits or not; those that leave all alone where None
    """
    first, scale = f.first, max(float(np.abs(f.money).max(initial=0.0)), 1.0)
    found, seen, held = Best(f.first, float(certain(f.luck, aversion)), True), set[bytes](), _held(f)
    slopes: list[Floats] = []
    heights: list[float] = []  # of the tangents at no way taken
    taken = first if start is None else start
    for _ in range(_CUTS):
        seen.add(taken.tobytes())
        money = f.luck + f.money[taken].sum(axis=0)
        here = float(certain(money, aversion))
        if here > found.certain and _within(f, taken):
            found = Best(taken, here, True)
        slope = f.money @ _weights(money[None], max(aversion, 0.0))[0] / scale
        slopes.append(slope)
        heights.append(here / scale - float(slope[taken].sum()))
        roof, share = _roof(f, held, np.array(slopes), np.array(heights) - found.certain / scale)
        if roof <= _CLOSE:
            return found
        taken = np.array([at + int(np.argmax(share[f.block == b])) for b, at in enumerate(first)], dtype=np.int64)
        if taken.tobytes() in seen:
            return found
    return found


def _held(f: Stakes) -> list[Any]:
    """One way of every block, and no more of a limit than there is."""
    from scipy.optimize import LinearConstraint

    ways, blocks = len(f.block), len(f.first)
    whole = np.zeros((blocks, ways + 1))
    whole[f.block, np.arange(ways)] = 1.0
    out = [LinearConstraint(whole, 1.0, 1.0)]
    if f.limits.size:
        size = np.maximum(np.abs(f.uses).max(axis=0, initial=0.0), 1e-9)
        rows = np.concatenate([(f.uses / size).T, np.zeros((f.limits.size, 1))], axis=1)
        out.append(LinearConstraint(rows, -np.inf, f.limits / size + 1e-9))
    return out


def _roof(f: Stakes, held: list[Any], slopes: Floats, heights: Floats) -> tuple[float, Floats]:
    """How far the lowest of the tangents rises over the best found, within the limits, and (way,) where."""
    from scipy.optimize import Bounds, LinearConstraint, milp

    ways = len(f.block)
    most = float(min(h + np.maximum.reduceat(s, f.first).sum() for h, s in zip(heights, slopes, strict=True)))
    if most <= _CLOSE:
        return most, np.zeros(ways)
    result = milp(
        np.append(np.zeros(ways), -1.0),
        constraints=[*held, LinearConstraint(np.append(-slopes, np.ones((len(slopes), 1)), axis=1), -np.inf, heights)],
        integrality=np.append(np.ones(ways), 0.0),
        bounds=Bounds(np.append(np.zeros(ways), -_CLOSE), np.append(np.ones(ways), most)),
        options={"mip_rel_gap": 0.0},
    )
    if result.status == 2:  # no way within the limits lies over the best found
        return 0.0, np.zeros(ways)
    if result.x is None:
        raise RuntimeError(f"the farm's programme was not solved: {result.message}")
    return float(-result.fun), np.round(result.x[:ways])
