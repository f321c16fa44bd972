"""A pest that feeds: each one counted takes so much of the crop, at an even pace or as degree-days bring it to an end.

The loss is a straight line in the pests while it is small and nears what the stage can still lose without a corner.
The slope is published as an amount (bushels, pounds) or a share for each pest; the grower's cost has no part in it.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.facts import Fact
from sideoats.families.counted import Counted
from sideoats.families.stopping import Saving, straight
from sideoats.families.treated import Worth, price_moves, treated_case
from sideoats.families.treating import DAYS, Case
from sideoats.insects.harm import steady_progress
from sideoats.insects.thresholds import bounded_loss, line_at_loss
from sideoats.insects.treatment import triangular
from sideoats.question import Context, Table
from sideoats.records import dataclass

Floats = NDArray[np.float64]
_MOST = 1e6  # pests a unit: no field has as many


@dataclass(frozen=True, eq=False)
class Fed:
    """Money that the feeding ahead costs (place, draw) [USD/ac], and what treating today saves of it by the mean.

    `uneven` (place, draw) is what one pest costs and a treatment saves of it, over its mean.
    """

    stake: Floats
    saving: Saving
    uneven: Floats


def fed(
    density: Floats,
    per_pest: Floats,
    most: Floats,
    moves: Floats,
    cost: Floats,
    prevented: Floats,
    most_seen: float = _MOST,
) -> Fed:
    """What pests at this density cost, and from how many on a treatment at this cost pays.

    Parameters
    ----------
    density : (place, draw) pests a unit
    per_pest : (place, draw) money that one a unit costs on the straight part [USD/ac]
    most : (place,) the most that can still be lost [USD/ac]
    moves : (place, draw) price at harvest over today's
    cost : (place,) of one treatment [USD/ac]
    prevented : (place, draw) share of the loss that it prevents
    most_seen : pests a unit above which no level is said to be reached
    """
    slope, roof = np.nan_to_num(per_pest), np.nan_to_num(most)
    stake = bounded_loss(np.nan_to_num(density) * slope * moves, roof[:, None] * moves)
    with np.errstate(divide="ignore", over="ignore", invalid="ignore"):
        needed = np.nan_to_num(cost) / prevented.mean(axis=1)
        pays, end = line_at_loss(needed, roof) / slope.mean(axis=1), roof / slope.mean(axis=1)
    one = slope * moves * prevented
    middle = one.mean(axis=1, keepdims=True)
    uneven = np.divide(one, middle, out=np.ones_like(one), where=middle > 0)
    pays, saves = np.where(pays < most_seen, pays, np.nan), slope.mean(axis=1) * prevented.mean(axis=1)
    return Fed(stake, straight(saves, pays, np.nan_to_num(end, nan=np.inf, posinf=np.inf), np.nan_to_num(cost)), uneven)


def steadily(context: Context, name: str, days: Fact) -> Floats:
    """(day, 1, draw) share of the feeding ahead that is done by each morning, at an even pace over `days`."""
    window = triangular(context.outlook.uniform(f"{name} days"), days.low, days.mid, days.high)
    return steady_progress(window[None, :], DAYS)


def by_stage(table: Table, fact: Fact, column: str) -> Floats:
    """(place,) a column of a table by growth stage; 0 where no stage is known."""
    values = dict(zip(fact.column("stage"), fact.column(column), strict=True))
    return np.array([float(values.get(str(stage), 0.0)) for stage in table.text("stage")])


def drawn(context: Context, name: str, fact: Fact) -> Floats:
    """(draw,) triangular draws of a fact with a range."""
    return triangular(context.outlook.uniform(name), fact.low, fact.mid, fact.high)


def feeding_case(
    table: Table,
    context: Context,
    name: str,
    counted: Counted,
    *,
    slope: Floats,
    most: Floats,
    worth: Worth,
    crops: tuple[str, str],
    **more: Any,
) -> Case:
    """The case of a pest that feeds.

    Parameters
    ----------
    slope : (place, draw) money that one pest a unit costs [USD/ac]
    most : (place,) greatest share of the crop that can still be lost
    crops : the crop as the labels' intervals and as the prices name it
    more : further fields of `treated_case`
    """
    interval, commodity = crops
    moves = price_moves(table, context, commodity)
    money = fed(counted.density, slope, worth.crop * most, moves, worth.cost, worth.prevented)
    needs = {"counts": counted.unknown, "stage": ~table.known("stage"), **more.pop("needs", {})}
    return treated_case(
        table,
        context,
        name,
        counted,
        worth,
        interval,
        stake=money.stake,
        saving=money.saving,
        uneven=money.uneven,
        needs=needs,
        **more,
    )
