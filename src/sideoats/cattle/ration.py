"""Least-cost rations by linear programme, for one herd or for thousands in one sparse programme.

For each herd: ``min sum(price x)`` over pounds of dry matter ``x >= 0`` of each feed, subject to

    sum x = intake                      sum tdn x >= floor, and so for protein, calcium, phosphorus
    sum (Ca - least P) x >= 0           sum (Ca - most P) x <= 0
    sum nitrate x <= (ceiling - water) intake, and so for sulfur and aflatoxin
    x <= most of each feed

Herds share nothing, so many are stacked as blocks of one programme for HiGHS (through `scipy.optimize.linprog`); the
blocks cost less together than one call each, and the duals come with them. When the stack has no solution, an elastic
copy finds the herds that have none, and `account` says why.

A hazard ceiling is a constraint, never a price: no price can buy past it.

References
----------
Method background: Zgajnar and others, Agric. Food Sci. 19:193, 2010 (a plain programme may sit at its floors).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

FLOORS = ("tdn", "protein", "calcium", "phosphorus")
RATIOS = ("calcium_over_phosphorus", "calcium_under_phosphorus")
CEILINGS = ("nitrate", "sulfur", "aflatoxin")
ROWS = (*FLOORS, *RATIOS, *CEILINGS)
_PPM = 1e-3  # nitrate and aflatoxin rows in thousands, so that all coefficients are of one order
_CHUNK = 100
_SHORT = 1e-7


@dataclass(frozen=True)
class Feeds:
    """Feeds as (feed,) arrays, the same for every herd, or (herd, feed) arrays.

    Attributes
    ----------
    price : USD a lb of dry matter
    tdn, protein, calcium, phosphorus, sulfur : share of dry matter
    nitrate : [ppm NO3-N dry]
    aflatoxin : [ppb of dry matter]
    most_lb : most lb of dry matter a head and day (infinite where not limited)
    most_share : largest share of the ration's dry matter
    """

    price: Floats
    tdn: Floats
    protein: Floats
    calcium: Floats
    phosphorus: Floats
    sulfur: Floats
    nitrate: Floats
    aflatoxin: Floats
    most_lb: Floats
    most_share: Floats

    @classmethod
    def of(cls, price: ArrayLike, **parts: ArrayLike) -> Feeds:
        """Feeds from whatever is given; absent concentrations are 0, absent limits none."""
        cost = np.asarray(price, np.float64)
        blank: dict[str, Any] = {
            "tdn": 0.0, "protein": 0.0, "calcium": 0.0, "phosphorus": 0.0, "sulfur": 0.0, "nitrate": 0.0,
            "aflatoxin": 0.0,
            "most_lb": np.inf, "most_share": 1.0,
        }  # fmt: skip
        held = {k: np.broadcast_to(np.asarray(parts.get(k, v), np.float64), cost.shape) for k, v in blank.items()}
        return cls(price=cost, **held)


def price_of_dry_matter(price_per_ton: ArrayLike, dry_matter: ArrayLike) -> Floats:
    """USD a lb of dry matter from USD a ton as fed and the dry matter as a share."""
    return np.asarray(price_per_ton, np.float64) / 2000.0 / np.asarray(dry_matter, np.float64)


@dataclass(frozen=True)
class Needs:
    """What n herds need and may not exceed, (herd,) each; lb/day and the ceilings of the whole ration.

    Attributes
    ----------
    intake : lb dry matter a head and day, to be filled
    tdn, protein, calcium, phosphorus : floors [lb/day]
    nitrate : ceiling [ppm NO3-N of dry matter], water counted; infinite for none
    water_nitrate : what the water adds [ppm of dry matter]
    sulfur : ceiling, share of dry matter; water_sulfur : what the water adds
    aflatoxin : ceiling [ppb of dry matter]
    calcium_least, calcium_most : Ca:P range
    """

    intake: Floats
    tdn: Floats
    protein: Floats
    calcium: Floats
    phosphorus: Floats
    nitrate: Floats
    water_nitrate: Floats
    sulfur: Floats
    water_sulfur: Floats
    aflatoxin: Floats
    calcium_least: Floats
    calcium_most: Floats

    @classmethod
    def of(cls, intake: ArrayLike, **parts: ArrayLike) -> Needs:
        """Needs from whatever is given; absent floors are 0, absent ceilings none, Ca:P from 0 up."""
        eaten = np.atleast_1d(np.asarray(intake, np.float64))
        blank: dict[str, Any] = {
            "tdn": 0.0, "protein": 0.0, "calcium": 0.0, "phosphorus": 0.0, "nitrate": np.inf, "water_nitrate": 0.0,
            "sulfur": np.inf, "water_sulfur": 0.0, "aflatoxin": np.inf, "calcium_least": 0.0, "calcium_most": np.inf,
        }  # fmt: skip
        held = {k: np.broadcast_to(np.asarray(parts.get(k, v), np.float64), eaten.shape) for k, v in blank.items()}
        return cls(intake=eaten, **held)

    def __len__(self) -> int:
        return len(self.intake)

    def take(self, rows: NDArray[np.int64]) -> Needs:
        """Some herds."""
        return Needs(**{name: getattr(self, name)[rows] for name in self.__dataclass_fields__})


@dataclass(frozen=True)
class Rations:
    """Solved rations.

    Attributes
    ----------
    pounds : (herd, feed) lb dry matter a head and day; NaN where there is none
    cost : (herd,) USD a head and day
    feasible : (herd,)
    shadow : row name -> (herd,) change of cost for one more unit of the row: floors USD a lb, nitrate USD a head and
    day
        for 100 ppm less ceiling, sulfur for 0.1 % less, aflatoxin for 10 ppb less; 0 where the row does not bind
    level : row name -> (herd,) what the ration holds: floors lb, nitrate ppm and the others with the water counted
    """

    pounds: Floats
    cost: Floats
    feasible: Bools
    shadow: dict[str, Floats]
    level: dict[str, Floats]


def _wide(feeds: Feeds, herds: int) -> Feeds:
    """The same feeds as (herd, feed) arrays."""
    shape = (herds, feeds.price.shape[-1])
    return Feeds(**{k: np.broadcast_to(getattr(feeds, k), shape) for k in feeds.__dataclass_fields__})


def _cut(feeds: Feeds, rows: NDArray[np.int64]) -> Feeds:
    return Feeds(**{k: getattr(feeds, k)[rows] for k in feeds.__dataclass_fields__})


def _blocks(feeds: Feeds, needs: Needs) -> tuple[Floats, Floats]:
    """Coefficients (herd, row, feed) and bounds (herd, row) of ``A x <= b``, one row for each of ROWS.

    A row without a bound becomes 0 <= 1, which never binds.
    """
    phosphorus, calcium = feeds.phosphorus, feeds.calcium
    least, most = needs.calcium_least[:, None], np.where(np.isinf(needs.calcium_most), 0.0, needs.calcium_most)[:, None]
    no_most = np.isinf(needs.calcium_most)[:, None]
    a = np.stack(
        [
            -feeds.tdn, -feeds.protein, -calcium, -phosphorus, least * phosphorus - calcium,
            np.where(no_most, 0.0, calcium - most * phosphorus), feeds.nitrate * _PPM, feeds.sulfur,
            feeds.aflatoxin * _PPM,
        ],
        axis=1,
    )  # fmt: skip
    room = [
        (needs.nitrate - needs.water_nitrate) * _PPM, needs.sulfur - needs.water_sulfur, needs.aflatoxin * _PPM,
    ]  # fmt: skip
    ceilings = [r * needs.intake for r in room]
    zero = np.zeros(len(needs))
    floors = [-needs.tdn, -needs.protein, -needs.calcium, -needs.phosphorus]
    b = np.stack([*floors, zero, zero, *ceilings], axis=1)
    free = np.isinf(b)
    return np.where(free[:, :, None], 0.0, a), np.where(free, 1.0, b)


def _most(feeds: Feeds, needs: Needs) -> Floats:
    return np.minimum(feeds.most_lb, feeds.most_share * needs.intake[:, None])


def _stack(blocks: Floats) -> Any:
    """Block-diagonal sparse matrix of (block, row, column) arrays."""
    from scipy.sparse import csr_array

    n, rows, columns = blocks.shape
    index = np.repeat(np.arange(n) * columns, rows * columns) + np.tile(np.arange(columns), n * rows)
    pointer = np.arange(n * rows + 1) * columns
    return csr_array((blocks.reshape(-1), index, pointer), shape=(n * rows, n * columns))


def _highs() -> Any:
    """`scipy.optimize.linprog`, whose stubs do not know sparse constraint matrices."""
    from scipy.optimize import linprog

    return linprog


def _solve_chunk(feeds: Feeds, needs: Needs) -> Any:
    """HiGHS on a stack of herds; its result object."""
    a, b = _blocks(feeds, needs)
    herds, _, count = a.shape
    whole = _stack(np.ones((herds, 1, count)))
    limits = np.stack([np.zeros(herds * count), _most(feeds, needs).reshape(-1)], axis=1)
    return _highs()(
        feeds.price.reshape(-1), A_ub=_stack(a), b_ub=b.reshape(-1), A_eq=whole, b_eq=needs.intake, bounds=limits,
        method="highs-ds",
    )  # fmt: skip


def shortfalls(feeds: Feeds, needs: Needs, rows: Sequence[str] = ROWS) -> tuple[Floats, Floats]:
    """How far each herd's rows must give for some ration to exist: an elastic programme that always solves.

    Each row may be missed at a cost of its own size, and the intake too; what is missed is then as small as it can be.

    Parameters
    ----------
    feeds, needs : as in `solve`
    rows : rows that are kept; the others are dropped

    Returns
    -------
    missed : (herd, row) as a share of the row's bound (of intake where the bound is 0), rows as in ROWS
    unfilled : (herd,) lb of intake for which no feed is at hand
    """
    wide = _wide(feeds, len(needs))
    a, b = _blocks(wide, needs)
    kept = np.array([name in rows for name in ROWS])
    a, b = np.where(kept[:, None], a, 0.0), np.where(kept, b, 1.0)
    herds, count_rows, count = a.shape
    scale = np.maximum(np.abs(b), np.where(np.abs(b) > 0, 0.0, np.abs(a).max(axis=2) * needs.intake[:, None]))
    scale = np.where(scale > 0, scale, 1.0)
    give = -np.eye(count_rows)[None, :, :] * scale[:, :, None]
    rows_block = np.concatenate([a, give, np.zeros((herds, count_rows, 1))], axis=2)
    whole = np.concatenate(
        [np.ones((herds, 1, count)), np.zeros((herds, 1, count_rows)), np.ones((herds, 1, 1))], axis=2
    )
    cost = np.concatenate([np.zeros(count), np.ones(count_rows), [10.0]])
    top = np.concatenate([_most(wide, needs), np.full((herds, count_rows + 1), np.inf)], axis=1)
    found = _highs()(
        np.tile(cost, herds), A_ub=_stack(rows_block), b_ub=b.reshape(-1), A_eq=_stack(whole), b_eq=needs.intake,
        bounds=np.stack([np.zeros(top.size), top.reshape(-1)], axis=1), method="highs-ds",
    )  # fmt: skip
    if found.x is None:  # pragma: no cover - the elastic programme always has a solution
        raise RuntimeError(f"the elastic programme did not solve: {found.message}")
    x = found.x.reshape(herds, -1)
    return x[:, count : count + count_rows], x[:, -1]


def solve(feeds: Feeds, needs: Needs) -> Rations:
    """Least-cost rations of all herds.

    Parameters
    ----------
    feeds : (feed,) or (herd, feed)
    needs : (herd,)

    Returns
    -------
    Rations; a herd without any ration has `feasible` False and NaN
    """
    herds = len(needs)
    wide = _wide(feeds, herds)
    count = wide.price.shape[1]
    pounds, dual = np.full((herds, count), np.nan), np.zeros((herds, len(ROWS)))
    feasible = np.zeros(herds, dtype=bool)
    for start in range(0, herds, _CHUNK):
        rows = np.arange(start, min(start + _CHUNK, herds))
        found = _solve_chunk(_cut(wide, rows), needs.take(rows))
        if found.status != 0:
            missed, unfilled = shortfalls(_cut(wide, rows), needs.take(rows))
            rows = rows[(missed.sum(axis=1) + unfilled) < _SHORT]
            if not rows.size:
                continue
            found = _solve_chunk(_cut(wide, rows), needs.take(rows))
            if found.status != 0:
                rows, found = _one_by_one(wide, needs, rows)
                if not rows.size:
                    continue
        pounds[rows] = found.x.reshape(rows.size, count)
        dual[rows] = found.ineqlin.marginals.reshape(rows.size, len(ROWS))
        feasible[rows] = True
    cost = np.where(feasible, (np.nan_to_num(pounds) * wide.price).sum(axis=1), np.nan)
    return Rations(pounds, cost, feasible, _shadow(dual, needs), _levels(wide, needs, pounds))


def _one_by_one(feeds: Feeds, needs: Needs, rows: NDArray[np.int64]) -> tuple[NDArray[np.int64], Any]:
    """Herds on the very edge, that the two programmes judge differently: keep those that solve alone."""
    good = [r for r in rows.tolist() if _solve_chunk(_cut(feeds, np.array([r])), needs.take(np.array([r]))).status == 0]
    kept = np.array(good, dtype=np.int64)
    return kept, _solve_chunk(_cut(feeds, kept), needs.take(kept)) if kept.size else None


def _shadow(dual: Floats, needs: Needs) -> dict[str, Floats]:
    step = {"nitrate": 100 * _PPM, "sulfur": 0.001, "aflatoxin": 10 * _PPM}
    out = {}
    for at, name in enumerate(ROWS):
        # a ceiling is per unit of the whole ration: its right side moves by intake times the step
        out[name] = -dual[:, at] * (step[name] * needs.intake if name in step else 1.0)
    return out


def _levels(feeds: Feeds, needs: Needs, pounds: Floats) -> dict[str, Floats]:
    out = {name: (pounds * getattr(feeds, name)).sum(axis=1) for name in FLOORS}
    out["nitrate"] = (pounds * feeds.nitrate).sum(axis=1) / needs.intake + needs.water_nitrate
    out["sulfur"] = (pounds * feeds.sulfur).sum(axis=1) / needs.intake + needs.water_sulfur
    out["aflatoxin"] = (pounds * feeds.aflatoxin).sum(axis=1) / needs.intake
    with np.errstate(divide="ignore", invalid="ignore"):
        out["calcium_to_phosphorus"] = out["calcium"] / out["phosphorus"]
    return out


def least_of(feeds: Feeds, needs: Needs, added: dict[str, float], rows: Sequence[str] = ROWS) -> Floats:
    """Least lb of one more feed with which a ration exists at all, (herd,); NaN where none of it would do.

    Parameters
    ----------
    feeds, needs : as in `solve`
    added : the further feed: tdn, protein, ... as in `Feeds`; absent concentrations 0
    rows : rows of ROWS that must hold; the others are dropped
    """
    wide = _wide(feeds, len(needs))
    shape = (len(needs), 1)
    more = {k: np.concatenate([getattr(wide, k), np.full(shape, added.get(k, 0.0))], axis=1) for k in _CONTENTS}
    size = (len(needs), wide.price.shape[1])
    grown = Feeds(
        price=np.concatenate([np.zeros(size), np.ones(shape)], axis=1),
        most_lb=np.concatenate([wide.most_lb, np.full(shape, np.inf)], axis=1),
        most_share=np.concatenate([wide.most_share, np.ones(shape)], axis=1), **more,
    )  # fmt: skip
    return solve(grown, _without(needs, rows)).cost


_CONTENTS = ("tdn", "protein", "calcium", "phosphorus", "sulfur", "nitrate", "aflatoxin")


def _without(needs: Needs, rows: Sequence[str]) -> Needs:
    """Needs with every row that is not in `rows` dropped."""
    changes: dict[str, Floats] = {name: np.zeros(len(needs)) for name in FLOORS if name not in rows}
    changes |= {name: np.full(len(needs), np.inf) for name in CEILINGS if name not in rows}
    if RATIOS[0] not in rows:
        changes["calcium_least"] = np.zeros(len(needs))
    if RATIOS[1] not in rows:
        changes["calcium_most"] = np.full(len(needs), np.inf)
    return replace(needs, **changes)


@dataclass(frozen=True)
class Account:
    """Why a herd has no ration, (herd,) each; see `account`.

    Attributes
    ----------
    unsafe : the hazard ceilings alone cannot be met with these feeds
    water : the water alone is at or over the nitrate or sulfur ceiling: no feed can help
    hazard : name of the ceiling that is worst missed, "" where the hazards can be met
    added_level : level that the added feed must be under, in the ceiling's unit
    added_lb : least lb of dry matter a head and day of a feed under that level; NaN where not the trouble
    unfilled : lb of intake for which no feed is at hand
    short : names of floors that cannot be met once the ration is safe
    """

    unsafe: Bools
    water: Bools
    hazard: NDArray[np.object_]
    added_level: Floats
    added_lb: Floats
    unfilled: Floats
    short: list[list[str]]


def account(feeds: Feeds, needs: Needs, level_share: float = 0.5) -> Account:
    """Say for each herd without a ration what stands in the way.

    Parameters
    ----------
    feeds, needs : as in `solve`, the herds without a ration
    level_share : the added feed is taken at this share of the room that the ceiling leaves beside the water

    Notes
    -----
    Hazards are looked at first and alone. Only when some blend is safe are the floors blamed.
    """
    herds = len(needs)
    missed, unfilled = shortfalls(feeds, needs, CEILINGS)
    hazards = missed[:, [ROWS.index(name) for name in CEILINGS]]
    unsafe = hazards.sum(axis=1) > _SHORT
    worst = np.array([CEILINGS[i] for i in hazards.argmax(axis=1)], dtype=object)
    hazard = np.where(unsafe, worst, "")
    room = {
        "nitrate": needs.nitrate - needs.water_nitrate, "sulfur": needs.sulfur - needs.water_sulfur,
        "aflatoxin": needs.aflatoxin,
    }  # fmt: skip
    water = (room["nitrate"] <= 0) | (room["sulfur"] <= 0)
    level, pounds = np.full(herds, np.nan), np.full(herds, np.nan)
    for name in CEILINGS:
        rows = np.flatnonzero((hazard == name) & ~water)
        for i in rows:  # few: only herds without a ration come here
            one = np.array([i])
            level[i] = level_share * room[name][i]
            pounds[i] = least_of(_cut(_wide(feeds, herds), one), needs.take(one), {name: float(level[i])}, CEILINGS)[0]
    all_missed, all_unfilled = shortfalls(feeds, needs)
    floors = all_missed[:, : len(FLOORS)]
    short = [[FLOORS[k] for k in np.flatnonzero(row > _SHORT)] for row in floors]
    return Account(unsafe, water, hazard, level, pounds, np.maximum(unfilled, all_unfilled), short)
