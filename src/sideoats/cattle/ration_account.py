"""Why a herd has no ration: which ceiling no mix meets, what would, or which floor fails once the mix is safe."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from sideoats.cattle.ration import (
    CEILINGS,
    FLOORS,
    LIMITS,
    RATIOS,
    ROWS,
    Feeds,
    Needs,
    blocks,
    most_of,
    solve,
    wide_of,
    with_empty,
)
from sideoats.decide import programme

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
_SHORT = 1e-7


def shortfalls(feeds: Feeds, needs: Needs, rows: Sequence[str] | Bools = ROWS) -> tuple[Floats, Floats]:
    """How far each herd's rows must give for some ration to exist: an elastic programme that always solves.

    Each row may be missed at a cost of its own size, and the intake too; what is missed is then as small as it can be.

    Parameters
    ----------
    feeds, needs : as in `solve`
    rows : rows that are kept, of all herds by their names or of each (herd, row); the others are dropped

    Returns
    -------
    missed : (herd, row) as a share of the row's bound (of intake where the bound is 0), rows as in ROWS
    unfilled : (herd,) lb of intake for which no feed is at hand
    """
    wide = wide_of(feeds, len(needs))
    a, b = blocks(wide, needs)
    kept = rows if isinstance(rows, np.ndarray) else np.array([name in rows for name in ROWS])
    a, b = np.where(kept[..., None], a, 0.0), np.where(kept, b, 1.0)
    a, _, most = with_empty(needs, a, b, [], most_of(wide, needs))
    herds, count_rows, count = a.shape
    scale = np.maximum(np.abs(b), np.where(np.abs(b) > 0, 0.0, np.abs(a).max(axis=2) * needs.intake[:, None]))
    scale = np.where(scale > 0, scale, 1.0)
    part = needs.intake  # a row gives by `missed` times the intake, so that all columns are of one order
    give = -np.eye(count_rows)[None, :, :] * (scale / part[:, None])[:, :, None]
    grown = np.concatenate([a, give, np.zeros((herds, count_rows, 1))], axis=2)
    fills = np.concatenate([np.ones((herds, count)), np.zeros((herds, count_rows)), np.ones((herds, 1))], axis=1)
    fills[:, : wide.fills.shape[1]] = wide.fills
    cost = np.zeros(fills.shape)
    cost[:, count:-1], cost[:, -1] = 1.0 / part[:, None], 10.0
    top = np.concatenate([most, np.full((herds, count_rows + 1), np.inf)], axis=1)
    x = programme.solve([cost], grown, b, part, top, fills).x
    return x[:, count:-1] / part[:, None], x[:, -1]


def least_of(feeds: Feeds, needs: Needs, added: dict[str, float], rows: Sequence[str] = ROWS) -> Floats:
    """Least lb of one more feed with which a ration exists at all, (herd,); NaN where none of it would do.

    Parameters
    ----------
    feeds, needs : as in `solve`
    added : the further feed: tdn, protein, ... as in `Feeds`; absent concentrations 0
    rows : rows of ROWS that must hold; the others are dropped
    """
    wide = wide_of(feeds, len(needs))
    shape = (len(needs), 1)
    more = {k: np.concatenate([getattr(wide, k), np.full(shape, added.get(k, 0.0))], axis=1) for k in _CONTENTS}
    size = (len(needs), wide.price.shape[1])
    grown = Feeds(
        price=np.concatenate([np.zeros(size), np.ones(shape)], axis=1),
        most_lb=np.concatenate([wide.most_lb, np.full(shape, np.inf)], axis=1),
        most_share=np.concatenate([wide.most_share, np.ones(shape)], axis=1),
        least_lb=np.concatenate([wide.least_lb, np.zeros(shape)], axis=1),
        fills=np.concatenate([wide.fills, np.ones(shape)], axis=1), **more,
    )  # fmt: skip
    return solve(grown, _without(needs, rows)).cost


def most_energy(feeds: Feeds, needs: Needs) -> Floats:
    """(herd, feed) lb of dry matter of the mix of most TDN that fills the intake under every ceiling and limit.

    Floors that it misses are not asked for; NaN where the feeds do not fill the intake.
    """
    wide = wide_of(feeds, len(needs))
    poor = replace(wide, price=np.where(wide.fills > 0, 1.0 - wide.tdn, 1.0))  # the sum is the intake
    return solve(poor, _without(needs, (*CEILINGS, *LIMITS, "forage"))).pounds


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


@dataclass(frozen=True, eq=False)
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


def _opens(feeds: Feeds, needs: Needs) -> Bools:
    """(herd, row) whether a ration exists once this row alone is left out."""
    herds, rows = len(needs), len(ROWS)
    each = np.repeat(np.arange(herds), rows)
    kept = np.tile(~np.eye(rows, dtype=bool), (herds, 1))
    missed, unfilled = shortfalls(wide_of(feeds, herds).take(each), needs.take(each), kept)
    return np.asarray(missed.sum(axis=1) + unfilled < _SHORT).reshape(herds, rows)


def account(
    feeds: Feeds, needs: Needs, level_share: float = 0.5, cleanest: Mapping[str, float] | None = None
) -> Account:
    """Say for each herd without a ration what stands in the way.

    Parameters
    ----------
    feeds, needs : as in `solve`, the herds without a ration
    level_share : the added feed is taken at this share of the room that the ceiling leaves beside the water
    cleanest : least of a hazard that any feed holds, by its ceiling's name; where the water leaves no more room than
        that, the water is blamed

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
    least = cleanest or {}
    water = np.zeros(herds, bool)
    for name, left in (("nitrate", room["nitrate"]), ("sulfur", room["sulfur"])):
        water |= (left <= 0) | ((hazard == name) & (level_share * left <= least.get(name, 0.0)))
    level, pounds = np.full(herds, np.nan), np.full(herds, np.nan)
    for name in CEILINGS:
        rows = np.flatnonzero((hazard == name) & ~water)
        for i in rows:  # few: only herds without a ration come here
            one = np.array([i])
            level[i] = level_share * room[name][i]
            pounds[i] = least_of(wide_of(feeds, herds).take(one), needs.take(one), {name: float(level[i])}, CEILINGS)[0]
    all_missed, all_unfilled = shortfalls(feeds, needs)
    named = (*FLOORS, *RATIOS, *LIMITS, *CEILINGS)
    at = [ROWS.index(name) for name in named]
    short = [[name for name, by in zip(named, row, strict=True) if by > _SHORT] for row in all_missed[:, at]]
    without = np.flatnonzero(all_missed.sum(axis=1) + all_unfilled > _SHORT)
    for herd, opens in zip(without.tolist(), _opens(wide_of(feeds, herds).take(without), needs.take(without))[:, at]):
        short[herd] = [name for name, alone in zip(named, opens, strict=True) if alone] or short[herd]
    return Account(unsafe, water, hazard, level, pounds, np.maximum(unfilled, all_unfilled), short)
