"""Pictures of this room from plain numbers: a fan of pay-offs, a break-even grid, the season of a price."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sideoats.cattle import budget
from sideoats.decide import worst_share
from sideoats.errors import InputError
from sideoats.outlook.seasonal import METHODS, SeasonalIndex
from sideoats.pictures import Line, Picture, grid, lines, nice_ticks

MONTH_NAMES = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def payoff_fan(days: ArrayLike, payoff: ArrayLike, *, what: str, unit: str = "USD/head") -> Picture:
    """Mean pay-off of holding over selling today against the day of sale, with the 10th to 90th percentile band.

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
    low, high = np.percentile(pay, [10, 90], axis=0)
    worst = worst_share(pay[None])[0]
    best = int(mean.argmax())
    gains = (pay[:, best] > 0).mean()
    if mean[best] > 0:
        title = f"{what} pays most at {across[best]:.0f} days: {mean[best]:+,.0f} {unit} on average"
    else:
        title = f"{what} pays at no day: {mean[best]:+,.0f} {unit} on average at best"
    summary = (
        f"The band holds eight futures of ten, from the 10th to the 90th percentile: at {across[best]:.0f} days "
        f"{low[best]:+,.0f} to {high[best]:+,.0f} {unit} over selling today. {gains:.0%} of futures are above zero "
        f"there; the worst tenth averages {worst[best]:+,.0f} {unit}."
    )
    series = (Line("mean", mean, low, high), Line("worst tenth", worst))
    return lines(title, summary, across, series, x_label="days from today to sale", y_label=unit, reference=0.0)


def break_even_grid(
    price_changes: Sequence[float],
    costs_of_gain: Sequence[float],
    *,
    what: str = "Holding",
    cost: str = "cost of gain",
    price: str = "later price",
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
    taken, middle = holding["end_price"], even[even.size // 2]
    summary = (
        f"Cells are USD/head over selling today; hatched cells lose money. The break-even price runs from "
        f"{even[0]:.2f} USD/cwt at {costs[0, 0]:.2f} USD/lb to {even[-1]:.2f} USD/cwt at {costs[0, -1]:.2f} USD/lb."
    )
    return grid(
        f"{what} breaks even at {middle:.2f} USD/cwt, {_apart(middle, taken)} the price taken",
        summary,
        [f"{taken + c:.2f}" if c else f"{taken:.2f} (taken)" for c in changes[:, 0]],
        [f"{c:.2f}" for c in costs[0]],
        net,
        row_label=f"{price}, USD/cwt",
        column_label=f"{cost}, USD/lb",
    )


def _apart(even: float, taken: float) -> str:
    return f"{abs(even - taken):,.2f} {'under' if even <= taken else 'over'}"


def _steps(taken: float, even: float) -> list[float]:
    """Two round steps either way of `taken` that reach a tenth of it and past `even`, but stay above zero."""
    step = nice_ticks(0.0, min(max(taken / 10, 1.25 * abs(even - taken)), 0.45 * taken), 3)[1]
    return [-2 * step, -step, 0.0, step, 2 * step]


def break_even_about(
    row: int,
    *,
    what: str,
    end_price: NDArray[np.float64],
    running_cost: NDArray[np.float64],
    cost: str = "cost of gain",
    price: str = "later price",
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
    steps = _steps(bred_price, even)
    prices = bred_price + np.asarray(steps)[:, None]
    costs = develop_cost * np.array([0.8, 0.9, 1.0, 1.1, 1.2])[None, :]
    return grid(
        f"Developing costs as much as buying at {even:,.0f} USD a bred heifer, "
        f"{_apart(even, bred_price)} today's price",
        "Cells are USD a bred heifer that developing saves on buying, at the middle of the ranges; in hatched cells "
        "buying is cheaper.",
        [f"{p:,.0f}" if c else f"{p:,.0f} (today)" for p, c in zip(prices[:, 0], steps, strict=True)],
        [f"{c:,.0f}" for c in costs[0]],
        saved(prices, costs),
        row_label="bred heifer, USD/head",
        column_label="development, USD/head",
    )


def weight_to_fair(
    days: float, today: ArrayLike, gain: ArrayLike, wanted: tuple[float, float], *, fair: str
) -> Picture:
    """Weight of a show animal from today to weigh-in with the 10th to 90th percentile, beside the weight wanted.

    Parameters
    ----------
    days : to weigh-in [d]
    today : weight today [lb], one number or (draw,)
    gain : (draw,) daily gain [lb/d]
    wanted : least and most weight of the class [lb]
    fair : day of weigh-in, as printed
    """
    across = np.linspace(0.0, days, 9)
    now, rate = np.broadcast_arrays(np.asarray(today, dtype=np.float64), np.asarray(gain, dtype=np.float64))
    weights = now[:, None] + rate[:, None] * across
    low, high = np.percentile(weights, [10, 90], axis=0)
    mean = weights.mean(axis=0)
    least, most = wanted
    class_ = f"{least:,.0f} lb" if least == most else f"{least:,.0f} to {most:,.0f} lb"
    ends = (Line("wanted", np.full(9, least)),) if least == most else (
        Line("least wanted", np.full(9, least)), Line("most wanted", np.full(9, most)),
    )  # fmt: skip
    return lines(
        f"At its gain now it is about {mean[-1]:,.0f} lb on {fair}; {class_} is wanted",
        f"The band holds eight futures of ten: {low[-1]:,.0f} to {high[-1]:,.0f} lb on the day.",
        across,
        (Line("at its gain now", mean, low, high), *ends),
        x_label="days from today to weigh-in",
        y_label="lb",
        marks=False,
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


def seasonal_band(index: SeasonalIndex, *, what: str) -> Picture:
    """Seasonal index by month with one spread of the past years either side.

    Parameters
    ----------
    index : from `sideoats.outlook.seasonal.seasonal_index`
    what : the commodity
    """
    top, bottom = int(index.index.argmax()), int(index.index.argmin())
    spread = np.nan_to_num(index.spread)
    years = f"{index.years[0]} to {index.years[1]}"
    summary = (
        f"{METHODS[index.method].capitalize()}, {years}, at least {int(index.count.min())} years behind each month: "
        f"highest in {MONTH_NAMES[top]} ({index.index[top]:.3f}), lowest in {MONTH_NAMES[bottom]} "
        f"({index.index[bottom]:.3f}); the band is one spread of the years. A mean of past years, not a forecast."
    )
    title = (
        f"{what}: {MONTH_NAMES[top]} stands {index.index[top] / index.index[bottom] - 1:.0%} over {MONTH_NAMES[bottom]}"
    )
    return lines(
        title,
        summary,
        np.arange(1, 13),
        (Line("index", index.index, index.index - spread, index.index + spread), Line("median", index.median)),
        x_label="month",
        y_label="price over the mean of the year",
        x_ticks=([float(m) for m in range(1, 13)], list(MONTH_NAMES)),
        x_names=list(MONTH_NAMES),
        reference=1.0,
    )
