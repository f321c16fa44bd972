"""Least-cost rations by linear programme, for one herd or for thousands.

For each herd: ``min sum(price x)`` over pounds of dry matter ``x >= 0`` of each feed, subject to

    sum x = intake                      sum tdn x >= floor, and so for protein, calcium, phosphorus
    sum (Ca - least P) x >= 0           sum (Ca - most P) x <= 0
    sum nitrate x <= (ceiling - water) intake, and so for sulfur and aflatoxin
    sum x of forages >= least; of grains, of starch, of fat <= most: what the rumen bears
    x <= most of each feed

Every herd is solved by itself (`sideoats.decide.programme`), so that none moves another's last figure. Of equally cheap
mixes the one with most long forage is told, of those the one with least nitrate, and then the feeds in the order in
which they stand; whoever sorts them by name has an answer that no order of naming can change. When a herd has no
ration, an elastic copy finds how far its rows must give, and `account` says why.

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

from sideoats.decide import programme

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

FLOORS = ("tdn", "protein", "calcium", "phosphorus", "forage")
RATIOS = ("calcium_over_phosphorus", "calcium_under_phosphorus")
CEILINGS = ("nitrate", "sulfur", "aflatoxin")
LIMITS = ("grain", "starch", "fat")  # what digestion bears, in pounds: no hazard of the feed itself
ROWS = (*FLOORS, *RATIOS, *CEILINGS, *LIMITS)
_PPM = 1e-3  # nitrate and aflatoxin rows in thousands, so that all coefficients are of one order
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
    forage, grain : share of the feed that counts as long roughage, and as grain
    starch, fat : share of dry matter
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
    forage: Floats
    grain: Floats
    starch: Floats
    fat: Floats
    most_lb: Floats
    most_share: Floats

    @classmethod
    def of(cls, price: ArrayLike, **parts: ArrayLike) -> Feeds:
        """Feeds from whatever is given; absent concentrations are 0, absent limits none."""
        cost = np.asarray(price, np.float64)
        blank: dict[str, Any] = {
            "tdn": 0.0, "protein": 0.0, "calcium": 0.0, "phosphorus": 0.0, "sulfur": 0.0, "nitrate": 0.0,
            "aflatoxin": 0.0, "forage": 0.0, "grain": 0.0, "starch": 0.0, "fat": 0.0, "most_lb": np.inf,
            "most_share": 1.0,
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
    tdn, protein, calcium, phosphorus, forage : floors [lb/day]
    grain, starch, fat : most of each [lb/day]; infinite for no limit
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
    forage: Floats
    grain: Floats
    starch: Floats
    fat: Floats
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
            "tdn": 0.0, "protein": 0.0, "calcium": 0.0, "phosphorus": 0.0, "forage": 0.0, "grain": np.inf,
            "starch": np.inf, "fat": np.inf, "nitrate": np.inf, "water_nitrate": 0.0,
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
            -feeds.tdn, -feeds.protein, -calcium, -phosphorus, -feeds.forage, least * phosphorus - calcium,
            np.where(no_most, 0.0, calcium - most * phosphorus), feeds.nitrate * _PPM, feeds.sulfur,
            feeds.aflatoxin * _PPM, feeds.grain, feeds.starch, feeds.fat,
        ],
        axis=1,
    )  # fmt: skip
    room = [
        (needs.nitrate - needs.water_nitrate) * _PPM, needs.sulfur - needs.water_sulfur, needs.aflatoxin * _PPM,
    ]  # fmt: skip
    ceilings = [r * needs.intake for r in room]
    zero = np.zeros(len(needs))
    floors = [-needs.tdn, -needs.protein, -needs.calcium, -needs.phosphorus, -needs.forage]
    b = np.stack([*floors, zero, zero, *ceilings, needs.grain, needs.starch, needs.fat], axis=1)
    free = np.isinf(b)
    return np.where(free[:, :, None], 0.0, a), np.where(free, 1.0, b)


def _most(feeds: Feeds, needs: Needs) -> Floats:
    return np.minimum(feeds.most_lb, feeds.most_share * needs.intake[:, None])


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
    part = needs.intake  # a row gives by `missed` times the intake, so that all columns are of one order
    give = -np.eye(count_rows)[None, :, :] * (scale / part[:, None])[:, :, None]
    grown = np.concatenate([a, give, np.zeros((herds, count_rows, 1))], axis=2)
    fills = np.concatenate([np.ones(count), np.zeros(count_rows), np.ones(1)])
    cost = np.zeros((herds, fills.size))
    cost[:, count:-1], cost[:, -1] = 1.0 / part[:, None], 10.0
    top = np.concatenate([_most(wide, needs), np.full((herds, count_rows + 1), np.inf)], axis=1)
    x = programme.solve([cost], grown, b, part, top, fills).x
    return x[:, count:-1] / part[:, None], x[:, -1]


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
    a, b = _blocks(wide, needs)
    objectives = [wide.price, -wide.forage, wide.nitrate]
    found = programme.solve(objectives, a, b, needs.intake, _most(wide, needs))
    cost = np.where(found.feasible, in_turn(np.nan_to_num(found.x) * wide.price), np.nan)
    shadow = _shadow(found.marginal, needs)
    return Rations(found.x, cost, found.feasible, shadow, _levels(wide, needs, found.x))


def in_turn(parts: Floats) -> Floats:
    """(herd,) sums over feeds, one after the other: feeds that are not there change no last figure."""
    out = np.zeros(parts.shape[0])
    for part in parts.T:
        out = out + part
    return out


def _shadow(dual: Floats, needs: Needs) -> dict[str, Floats]:
    step = {"nitrate": 100 * _PPM, "sulfur": 0.001, "aflatoxin": 10 * _PPM}
    out = {}
    for at, name in enumerate(ROWS):
        # a ceiling is per unit of the whole ration: its right side moves by intake times the step
        out[name] = -dual[:, at] * (step[name] * needs.intake if name in step else 1.0)
    return out


def _levels(feeds: Feeds, needs: Needs, pounds: Floats) -> dict[str, Floats]:
    out = {name: in_turn(pounds * getattr(feeds, name)) for name in (*FLOORS, *LIMITS, *CEILINGS)}
    for name in CEILINGS:
        out[name] = out[name] / needs.intake
    out["nitrate"] = out["nitrate"] + needs.water_nitrate
    out["sulfur"] = out["sulfur"] + needs.water_sulfur
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


_CONTENTS = (*FLOORS, *LIMITS, *CEILINGS)


def _without(needs: Needs, rows: Sequence[str]) -> Needs:
    """Needs with every row that is not in `rows` dropped."""
    changes: dict[str, Floats] = {name: np.zeros(len(needs)) for name in FLOORS if name not in rows}
    changes |= {name: np.full(len(needs), np.inf) for name in (*CEILINGS, *LIMITS) if name not in rows}
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
    short : names of floors (and limits) that cannot be met once the ration is safe: those of which one alone, left
        out, opens a ration; all that are missed together where there is none such
    """

    unsafe: Bools
    water: Bools
    hazard: NDArray[np.object_]
    added_level: Floats
    added_lb: Floats
    unfilled: Floats
    short: list[list[str]]


def _opens(feeds: Feeds, needs: Needs, name: str) -> bool:
    """Whether a ration exists once this row alone is left out."""
    missed, unfilled = shortfalls(feeds, needs, [row for row in ROWS if row != name])
    return bool(missed.sum() + unfilled.sum() < _SHORT)


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
    named = (*FLOORS, *RATIOS, *LIMITS)
    at = [ROWS.index(name) for name in named]
    short = [[name for name, by in zip(named, row, strict=True) if by > _SHORT] for row in all_missed[:, at]]
    for i in np.flatnonzero(all_missed.sum(axis=1) + all_unfilled > _SHORT):
        one = np.array([i])
        alone = [name for name in named if _opens(_cut(_wide(feeds, herds), one), needs.take(one), name)]
        short[i] = alone or short[i]
    return Account(unsafe, water, hazard, level, pounds, np.maximum(unfilled, all_unfilled), short)
