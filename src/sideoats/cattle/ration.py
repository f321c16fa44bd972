"""Least-cost rations by linear programme, for one herd or for thousands.

For each herd: ``min sum(price x)`` over pounds of dry matter ``x >= 0`` of each feed, subject to

    sum x = intake (or less, by what may be left uneaten), minerals not counted
    sum tdn x >= floor, and so for protein, calcium, phosphorus
    sum (Ca - least P) x >= 0           sum (Ca - most P) x <= 0
    sum nitrate x <= (ceiling - water) intake, and so for sulfur and aflatoxin
    sum x of forages >= least; of grains, of starch, of fat <= most: what the rumen bears
    least of each feed <= x <= most of it

Every herd is solved by itself (`sideoats.decide.programme`), so that none moves another's last figure. Of equally cheap
mixes the one with most long forage is told, of those the one with least nitrate, and then the feeds in the order in
which they stand; whoever sorts them by name has an answer that no order of naming can change. When a herd has no
ration, an elastic copy finds how far its rows must give, and `sideoats.cattle.ration_account` says why.

A hazard ceiling is a constraint, never a price: no price can buy past it.

References
----------
Method background: Zgajnar and others, Agric. Food Sci. 19:193, 2010 (a plain programme may sit at its floors).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
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


@dataclass(frozen=True, eq=False)
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
    least_lb : least lb of dry matter a head and day
    fills : 1 for what counts to the intake, 0 for minerals, which fill nobody
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
    least_lb: Floats
    fills: Floats

    @classmethod
    def of(cls, price: ArrayLike, **parts: ArrayLike) -> Feeds:
        """Feeds from whatever is given; absent concentrations are 0, absent limits none."""
        cost = np.asarray(price, np.float64)
        blank: dict[str, Any] = {
            "tdn": 0.0, "protein": 0.0, "calcium": 0.0, "phosphorus": 0.0, "sulfur": 0.0, "nitrate": 0.0,
            "aflatoxin": 0.0, "forage": 0.0, "grain": 0.0, "starch": 0.0, "fat": 0.0, "most_lb": np.inf,
            "most_share": 1.0, "least_lb": 0.0, "fills": 1.0,
        }  # fmt: skip
        held = {k: np.broadcast_to(np.asarray(parts.get(k, v), np.float64), cost.shape) for k, v in blank.items()}
        return cls(price=cost, **held)

    def take(self, rows: NDArray[np.int64]) -> Feeds:
        """The feeds of some herds, of (herd, feed) arrays."""
        return Feeds(**{k: getattr(self, k)[rows] for k in self.__dataclass_fields__})


def price_of_dry_matter(price_per_ton: ArrayLike, dry_matter: ArrayLike) -> Floats:
    """USD a lb of dry matter from USD a ton as fed and the dry matter as a share."""
    return np.asarray(price_per_ton, np.float64) / 2000.0 / np.asarray(dry_matter, np.float64)


@dataclass(frozen=True, eq=False)
class Needs:
    """What n herds need and may not exceed, (herd,) each; lb/day and the ceilings of the whole ration.

    Attributes
    ----------
    intake : lb dry matter a head and day, to be filled
    uneaten : how much of it may be left unfilled [lb/day], where they are limit-fed; then ceilings, starch and fat are
        those of what is eaten
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
    uneaten: Floats

    @classmethod
    def of(cls, intake: ArrayLike, **parts: ArrayLike) -> Needs:
        """Needs from whatever is given; absent floors are 0, absent ceilings none, Ca:P from 0 up."""
        eaten = np.atleast_1d(np.asarray(intake, np.float64))
        blank: dict[str, Any] = {
            "tdn": 0.0, "protein": 0.0, "calcium": 0.0, "phosphorus": 0.0, "forage": 0.0, "grain": np.inf,
            "starch": np.inf, "fat": np.inf, "nitrate": np.inf, "water_nitrate": 0.0,
            "sulfur": np.inf, "water_sulfur": 0.0, "aflatoxin": np.inf, "calcium_least": 0.0, "calcium_most": np.inf,
            "uneaten": 0.0,
        }  # fmt: skip
        held = {k: np.broadcast_to(np.asarray(parts.get(k, v), np.float64), eaten.shape) for k, v in blank.items()}
        return cls(intake=eaten, **held)

    def __len__(self) -> int:
        return len(self.intake)

    def take(self, rows: NDArray[np.int64]) -> Needs:
        """Some herds."""
        return Needs(**{name: getattr(self, name)[rows] for name in self.__dataclass_fields__})


@dataclass(frozen=True, eq=False)
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
    worth : (herd, feed) USD a lb of dry matter up to which a feed that is not in the mix would come in; for one that is
        in it, what it costs, or more where its own limit holds it
    """

    pounds: Floats
    cost: Floats
    feasible: Bools
    shadow: dict[str, Floats]
    level: dict[str, Floats]
    worth: Floats

    def take(self, rows: NDArray[np.int64]) -> Rations:
        """Some herds."""
        shadow, level = ({k: v[rows] for k, v in held.items()} for held in (self.shadow, self.level))
        return Rations(self.pounds[rows], self.cost[rows], self.feasible[rows], shadow, level, self.worth[rows])

    def joined(self, other: Rations) -> Rations:
        """These herds, then the other's."""
        shadow = {k: np.concatenate([v, other.shadow[k]]) for k, v in self.shadow.items()}
        level = {k: np.concatenate([v, other.level[k]]) for k, v in self.level.items()}
        pounds, worth = (np.concatenate([getattr(self, k), getattr(other, k)]) for k in ("pounds", "worth"))
        feasible = np.concatenate([self.feasible, other.feasible])
        return Rations(pounds, np.concatenate([self.cost, other.cost]), feasible, shadow, level, worth)

    def where(self, use: Bools, other: Rations) -> Rations:
        """The other's rations where `use` (herd,), else these."""
        one = use[:, None]
        return Rations(
            np.where(one, other.pounds, self.pounds),
            np.where(use, other.cost, self.cost),
            np.where(use, other.feasible, self.feasible),
            {k: np.where(use, other.shadow[k], v) for k, v in self.shadow.items()},
            {k: np.where(use, other.level[k], v) for k, v in self.level.items()},
            np.where(one, other.worth, self.worth),
        )


def wide_of(feeds: Feeds, herds: int) -> Feeds:
    """The same feeds as (herd, feed) arrays."""
    shape = (herds, feeds.price.shape[-1])
    return Feeds(**{k: np.broadcast_to(getattr(feeds, k), shape) for k in feeds.__dataclass_fields__})


def blocks(feeds: Feeds, needs: Needs) -> tuple[Floats, Floats]:
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


def most_of(feeds: Feeds, needs: Needs) -> Floats:
    """(herd, feed) most lb of dry matter of each feed, by its pounds and its share."""
    share = np.where(feeds.most_share < 1.0, feeds.most_share, np.inf)  # the whole is no bound: the sum sees to it
    return np.minimum(feeds.most_lb, share * (needs.intake - needs.uneaten)[:, None])


def with_empty(
    needs: Needs, a: Floats, b: Floats, objectives: list[Floats], most: Floats
) -> tuple[Floats, list[Floats], Floats]:
    """A column more, for what is left uneaten: it holds nothing, and takes its part of every limit that is a share."""
    if not needs.uneaten.any():
        return a, objectives, most
    shared = np.zeros(a.shape[1], bool)
    shared[: len(ROWS)] = np.isin(ROWS, (*CEILINGS, "starch", "fat"))
    empty = np.where(shared & np.any(a != 0, axis=2) & (needs.uneaten > 0)[:, None], b / needs.intake[:, None], 0.0)
    blank = np.zeros((len(needs), 1))
    return (
        np.concatenate([a, empty[:, :, None]], axis=2),
        [np.concatenate([objective, blank], axis=1) for objective in objectives],
        np.concatenate([most, needs.uneaten[:, None]], axis=1),
    )


def solve(feeds: Feeds, needs: Needs, cuts: Mapping[str, Floats] | None = None) -> Rations:
    """Least-cost rations of all herds.

    Parameters
    ----------
    feeds : (feed,) or (herd, feed)
    needs : (herd,)
    cuts : name of a floor -> (herd, cut, feed): contents that must reach that floor too, as its own do

    Returns
    -------
    Rations; a herd without any ration has `feasible` False and NaN
    """
    wide = wide_of(feeds, len(needs))
    count, least = wide.price.shape[1], wide.least_lb
    a, b = blocks(wide, needs)
    for name, cut in (cuts or {}).items():
        a = np.concatenate([a, -cut], axis=1)
        b = np.concatenate([b, np.repeat(-getattr(needs, name)[:, None], cut.shape[1], axis=1)], axis=1)
    held = in_turn_rows(a, least)
    most = most_of(wide, needs) - least
    a, objectives, most = with_empty(needs, a, b, [wide.price, -wide.forage, wide.nitrate], most)
    fills = np.ones(a[:, 0].shape)
    fills[:, :count] = wide.fills
    left = needs.intake - in_turn(least * wide.fills)
    room = (most >= 0).all(axis=1) & (left > 0)
    found = programme.solve(objectives, a, b - held, np.where(left > 0, left, 1.0), np.maximum(most, 0.0), fills)
    feasible = found.feasible & room
    pounds = np.where(feasible[:, None], found.x[:, :count] + least, np.nan)
    cost = np.where(feasible, in_turn(np.nan_to_num(pounds) * wide.price), np.nan)
    worth = np.where(feasible[:, None], wide.price - found.reduced[:, :count], np.nan)
    shadow, at = _shadow(found.marginal, needs), len(ROWS)
    for name, cut in (cuts or {}).items():
        shadow[name] = shadow[name] - in_turn(found.marginal[:, at : at + cut.shape[1]])
        at += cut.shape[1]
    return Rations(pounds, cost, feasible, shadow, _levels(wide, needs, pounds), worth)


def in_turn_rows(a: Floats, x: Floats) -> Floats:
    """(herd, row) sums over feeds, one after the other."""
    out = np.zeros(a.shape[:2])
    for at in range(a.shape[2]):
        out += a[:, :, at] * x[:, at, None]
    return out


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
    eaten = in_turn(pounds)
    for name in CEILINGS:
        out[name] = out[name] / eaten
    out["nitrate"] = out["nitrate"] + needs.water_nitrate
    out["sulfur"] = out["sulfur"] + needs.water_sulfur
    with np.errstate(divide="ignore", invalid="ignore"):
        out["calcium_to_phosphorus"] = out["calcium"] / out["phosphorus"]
    return out
