"""Pictures of this room from plain numbers: a fan of pay-offs, a break-even grid, the season of a price."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sideoats.cattle import budget
from sideoats.decide import worst_share
from sideoats.decide.laws import quantile
from sideoats.errors import InputError
from sideoats.outlook.seasonal import SeasonalIndex
from sideoats.pictures import Axis, Course, Grid, Level, Line, Picture, Row, Rows, Words, number_ticks
from sideoats.words import Count, Day, Measured, Money, Name, Paid, Said, Share, say

_NOTHING = Level(0.0, say("picture.sold_today"), base=True)


def payoff_fan(days: ArrayLike, payoff: ArrayLike, *, what: Said | str, unit: str = "USD/head") -> Picture:
    """Pay-off of holding over selling today against the day of sale: eight and five futures of ten, and the mean.

    Parameters
    ----------
    days : (k,) rising days of sale from today [d]
    payoff : (draw, k) money over selling today, in `unit`
    what : such as "Feeding the cull cows"

    Raises
    ------
    InputError : no day, or a pay-off that is not known
    """
    across, pay = np.asarray(days, dtype=np.float64), np.asarray(payoff, dtype=np.float64)
    if not across.size or not np.isfinite(pay).all():
        raise InputError("a pay-off is not known", where="pay-off fan", expected="money for every draw and day")
    mean = pay.mean(axis=0)
    low, quarter, rest, high = quantile(pay, [0.1, 0.25, 0.75, 0.9], axis=0)
    worst = worst_share(pay[None])[0]
    kept = np.flatnonzero(across > 0)  # day 0 is selling today
    best = int(kept[mean[kept].argmax()]) if kept.size else 0
    told: dict[str, Any] = {
        "what": what, "n": Count(round(float(across[best]))), "mean": Money(float(mean[best]), unit=unit),
        "low": Money(float(low[best]), unit=unit), "high": Money(float(high[best]), unit=unit),
        "chance": Share(float((pay[:, best] > 0).mean())), "worst": Money(float(worst[best]), unit=unit),
    }  # fmt: skip
    return Course(
        finding=say(f"picture.fan.{'pays' if mean[best] > 0 else 'loses'}", **told),
        saying=say("picture.fan.says", **told),
        x=across,
        across=Axis(say("picture.fan.days")),
        up=Axis(say("picture.over_selling"), unit, Money),
        lines=(
            Line(say("picture.mean"), mean, low, high, inner=(quarter, rest)),
            Line(say("picture.worst_tenth"), worst),
        ),
        levels=(_NOTHING,),
        stems=True,
    )


def ways_of_keeping(names: Sequence[Words], payoff: ArrayLike, *, unit: str = "USD/head") -> Picture:
    """What each way of keeping animals pays over selling today, with its 10th to 90th percentile.

    Parameters
    ----------
    names : (k,) the ways as subjects of a sentence
    payoff : (draw, k) money over selling today, in `unit`
    """
    pay = np.asarray(payoff, dtype=np.float64)
    low, high = quantile(pay, [0.1, 0.9], axis=0)
    mean, worst = pay.mean(axis=0), worst_share(pay[None])[0]
    top = int(mean.argmax())
    told: dict[str, Any] = {
        "name": names[top],
        "mean": Money(float(mean[top]), unit=unit),
        "worst": Money(float(worst[top]), unit=unit),
    }
    return Rows(
        finding=say(f"picture.ways.{'pays' if mean[top] > 0 else 'loses'}", **told),
        saying=say("picture.ways.says", **told),
        kept=[Row(n, float(low[i]), float(mean[i]), float(high[i]), now=i == top) for i, n in enumerate(names)],
        axis=Axis(say("picture.over_selling"), unit, Money),
        level=_NOTHING,
        zero=True,
    )


def break_even_grid(
    price_changes: Sequence[float],
    costs_of_gain: Sequence[float],
    *,
    what: Said | str | None = None,
    cost: Said | str | None = None,
    price: Said | str | None = None,
    **holding: Any,
) -> Picture:
    """Net of holding by later price (rows) and cost of gain (columns); the title gives the middle column's break-even.

    Parameters
    ----------
    price_changes : USD/cwt on the later price; the one of 0 is named as the price taken
    costs_of_gain : running cost for each pound gained, USD/lb
    what : such as "Feeding the cull cows 90 days"
    cost, price : what the columns and rows are, where they are not all of the cost of gain or not the price alone
    holding : one animal's inputs of `sideoats.cattle.budget.hold_and_sell` without ``running_cost``
    """
    changes, costs = np.asarray(price_changes, float)[:, None], np.asarray(costs_of_gain, float)[None, :]
    net = net_by_price_and_cost(changes, costs, **holding)
    even = budget.hold_and_sell(running_cost=_running(costs[0], holding), **holding).break_even_sale
    taken, middle = holding["end_price"], float(even[even.size // 2])
    told: dict[str, Any] = {
        "what": what or say("picture.grid.holding"), "even": Paid(middle, unit="USD/cwt"),
        "apart": Paid(abs(middle - taken), unit="USD/cwt"), "first": Paid(float(even[0]), unit="USD/cwt"),
        "cheap": Paid(float(costs[0, 0]), unit="USD/lb"), "last": Paid(float(even[-1]), unit="USD/cwt"),
        "dear": Paid(float(costs[0, -1]), unit="USD/lb"),
    }  # fmt: skip
    same = np.flatnonzero(changes[:, 0] == 0)
    return Grid(
        finding=say(f"picture.grid.{'under' if middle <= taken else 'over'}", **told),
        saying=say("picture.grid.says", **told),
        down=Axis(price or say("picture.grid.price"), "USD/cwt", Paid),
        row_values=(taken + changes[:, 0]).tolist(),
        taken=(int(same[0]) if same.size else -1, say("picture.grid.taken")),
        across=Axis(cost or say("picture.grid.cost"), "USD/lb", Paid),
        column_values=costs[0].tolist(),
        cells=Axis(say("picture.over_selling"), "USD/head", Money),
        values=net,
    )


def _steps(taken: float, even: float) -> list[float]:
    """Two round steps either way of `taken` that reach a tenth of it and past `even`, but stay above zero."""
    step = number_ticks(0.0, min(max(taken / 10, 1.25 * abs(even - taken)), 0.45 * taken)).at[1]
    reach = 2 * step
    while reach < 1.25 * abs(even - taken) and 2 * reach < 0.9 * taken:
        reach *= 2
    return [-reach, -reach / 2, 0.0, reach / 2, reach]


def break_even_about(
    row: int,
    *,
    what: Said | str,
    end_price: NDArray[np.float64],
    running_cost: NDArray[np.float64],
    cost: Said | str | None = None,
    price: Said | str | None = None,
    **holding: Any,
) -> Picture | None:
    """`break_even_grid` about the figures of one row: prices to past the break-even, costs up to a fifth either way.

    Parameters
    ----------
    row, what, cost, price : which row to draw, and what it is about
    end_price, running_cost, holding : (n,) inputs of `sideoats.cattle.budget.hold_and_sell`, or numbers for all rows

    Returns
    -------
    None where a figure is not known or no weight is put on, so that there is no cost of gain
    """
    taken, spent = float(end_price[row]), float(running_cost[row])
    one = {k: float(v) if np.ndim(v) == 0 else float(np.asarray(v)[row]) for k, v in holding.items()}
    gained = one["end_weight"] - one["start_weight"]
    if not np.isfinite([taken, spent, *one.values()]).all() or gained <= 0 or spent <= 0:
        return None
    even = float(budget.hold_and_sell(running_cost=spent, end_price=taken, **one).break_even_sale)
    costs = [spent / gained * share for share in (0.8, 0.9, 1.0, 1.1, 1.2)]
    return break_even_grid(_steps(taken, even), costs, what=what, cost=cost, price=price, end_price=taken, **one)


def develop_or_buy(
    bred_price: float, develop_cost: float, saved: Callable[[NDArray[np.float64], NDArray[np.float64]], ArrayLike]
) -> Picture | None:
    """What developing saves on buying by the price of a bred heifer (rows) and the cost of development (columns).

    Parameters
    ----------
    bred_price, develop_cost : USD/head, as given
    saved : bred price, cost of development (broadcast) -> USD a bred heifer; one dollar of price saves one dollar

    Returns
    -------
    None where a figure is not known, or development costs nothing
    """
    here = float(np.asarray(saved(np.asarray(bred_price), np.asarray(develop_cost))))
    if not np.isfinite([here, bred_price, develop_cost]).all() or develop_cost <= 0:
        return None
    even = bred_price - here
    prices = bred_price + np.asarray(_steps(bred_price, even))
    costs = develop_cost * np.array([0.8, 0.9, 1.0, 1.1, 1.2])
    apart = {"even": Money(even, unit="USD/head"), "apart": Money(abs(here), unit="USD/head")}
    return Grid(
        finding=say(f"picture.heifers.{'under' if even <= bred_price else 'over'}", **apart),
        saying=say("picture.heifers.says"),
        down=Axis(say("picture.heifers.price"), "USD/head", Money),
        row_values=prices.tolist(),
        taken=(2, say("picture.heifers.today")),
        across=Axis(say("picture.heifers.cost"), "USD/head", Money),
        column_values=costs.tolist(),
        cells=Axis(say("picture.heifers.saved"), "USD/head", Money),
        values=saved(prices[:, None], costs[None, :]),
    )


def weight_to_fair(
    days: float, today: ArrayLike, gain: ArrayLike, wanted: tuple[float, float], *, fair: date
) -> Picture:
    """Weight of a show animal from today to weigh-in with the 10th to 90th percentile, beside the weight wanted.

    Parameters
    ----------
    days : to weigh-in [d]
    today : weight today [lb], one number or (draw,)
    gain : (draw,) daily gain [lb/d]
    wanted : least and most weight of the class [lb]
    fair : day of weigh-in
    """
    x = np.linspace(0.0, days, 9)
    now, rate = np.broadcast_arrays(np.asarray(today, dtype=np.float64), np.asarray(gain, dtype=np.float64))
    weights = now[:, None] + rate[:, None] * x
    low, high = quantile(weights, [0.1, 0.9], axis=0)
    mean = weights.mean(axis=0)
    least, most = wanted
    told = {
        "weight": Measured(round(float(mean[-1])), unit="lb"), "fair": Day(fair),
        "least": Measured(round(least), unit="lb"), "most": Measured(round(most), unit="lb"),
        "low": Measured(round(float(low[-1])), unit="lb"), "high": Measured(round(float(high[-1])), unit="lb"),
    }  # fmt: skip
    one = least == most
    ends = (
        (Level(least, say("picture.fair.wanted")),)
        if one
        else (
            Level(least, say("picture.fair.least")),
            Level(most, say("picture.fair.most")),
        )
    )
    return Course(
        finding=say(f"picture.fair.{'one' if one else 'title'}", **told),
        saying=say("picture.fair.says", **told),
        x=x,
        across=Axis(say("picture.fair.days")),
        up=Axis(say("picture.weight"), "lb"),
        lines=(Line(say("picture.fair.line"), mean, low, high, now=True),),
        levels=ends,
    )


def net_by_price_and_cost(
    price_change: ArrayLike, cost_of_gain: ArrayLike, *, end_price: float, **holding: Any
) -> NDArray[np.float64]:
    """Net, USD a head, at the later price plus `price_change` [USD/cwt] and `cost_of_gain` [USD/lb], broadcast."""
    return budget.hold_and_sell(
        running_cost=_running(np.asarray(cost_of_gain, float), holding),
        end_price=end_price + np.asarray(price_change, float),
        **holding,
    ).net


def _running(cost_of_gain: NDArray[np.float64], holding: dict[str, Any]) -> NDArray[np.float64]:
    return np.asarray(cost_of_gain * (holding["end_weight"] - holding["start_weight"]), dtype=np.float64)


def seasonal_band(index: SeasonalIndex, *, what: Words) -> Picture:
    """Seasonal index by month with one spread of the past years either side.

    Parameters
    ----------
    index : from `sideoats.outlook.seasonal.seasonal_index`
    what : the commodity
    """
    top, bottom = int(index.index.argmax()), int(index.index.argmin())
    spread = np.nan_to_num(index.spread)
    months = [say(f"picture.month.{m + 1}") for m in range(12)]
    told: dict[str, Any] = {
        "what": what, "high": months[top], "low": months[bottom], "top": Measured(float(index.index[top])),
        "bottom": Measured(float(index.index[bottom])), "first": Name(str(index.years[0])),
        "last": Name(str(index.years[1])), "n": Count(int(index.count.min())),
        "over": Share(float(index.index[top] / index.index[bottom] - 1)),
        "method": say(f"picture.season.by.{index.method}"),
    }  # fmt: skip
    return Course(
        finding=say("picture.season.title", **told),
        saying=say("picture.season.says", **told),
        x=np.arange(1, 13),
        x_names=months,
        across=Axis(say("picture.month")),
        up=Axis(say("picture.season.axis")),
        lines=(
            Line(say("picture.mean"), index.index, index.index - spread, index.index + spread, now=True),
            Line(say("picture.median"), index.median),
        ),
        levels=(Level(1.0, say("picture.season.level"), base=True),),
    )
