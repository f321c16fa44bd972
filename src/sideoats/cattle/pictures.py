"""Pictures of this room from plain numbers: a fan of pay-offs, a break-even grid, the season of a price."""

from __future__ import annotations

from collections.abc import Sequence
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
        f"At {across[best]:.0f} days the pay-off runs from {low[best]:+,.0f} to {high[best]:+,.0f} {unit} in eight "
        f"futures of ten and is above zero in {gains:.0%} of them; the worst tenth averages {worst[best]:+,.0f}."
    )
    series = (Line("mean", mean, low, high), Line("worst tenth", worst))
    return lines(title, summary, across, series, x_label="days from today to sale", y_label=unit, reference=0.0)


def break_even_grid(
    price_changes: Sequence[float], costs_of_gain: Sequence[float], *, what: str = "Holding", **holding: Any
) -> Picture:
    """Net of holding by change of the later price (rows) and cost of gain (columns).

    Parameters
    ----------
    price_changes : USD/cwt on the later price
    costs_of_gain : running cost for each pound gained, USD/lb
    what : such as "Feeding the cull cows"
    holding : one animal's inputs of `sideoats.cattle.budget.hold_and_sell` without ``running_cost``
    """
    changes, costs = np.asarray(price_changes, float)[:, None], np.asarray(costs_of_gain, float)[None, :]
    net = net_by_price_and_cost(changes, costs, **holding)
    losing = int((net < 0).sum())
    even = budget.hold_and_sell(running_cost=_running(costs[0], holding), **holding).break_even_sale
    summary = (
        f"Break-even sale price from {even[0]:.2f} USD/cwt at {costs[0, 0]:.2f} USD/lb to {even[-1]:.2f} at "
        f"{costs[0, -1]:.2f} USD/lb; hatched cells lose money."
    )
    return grid(
        f"{what} loses money in {losing} of {net.size} cases of price and cost of gain",
        summary,
        [f"{c:+g}" if c else "none" for c in changes[:, 0]],
        [f"{c:.2f}" for c in costs[0]],
        net,
        row_label="price change, USD/cwt",
        column_label="cost of gain, USD/lb",
    )


def break_even_about(
    row: int, *, what: str, end_price: NDArray[np.float64], running_cost: NDArray[np.float64], **holding: Any
) -> Picture | None:
    """`break_even_grid` about the figures of one row: prices up to a fifth and costs of gain up to a fifth either way.

    Parameters
    ----------
    row, what : which row to draw, and what it is about
    end_price, running_cost, holding : (n,) inputs of `sideoats.cattle.budget.hold_and_sell`, or numbers for all rows

    Returns
    -------
    None where a figure is not known or no weight is put on, so that there is no cost of gain
    """
    price, cost = float(end_price[row]), float(running_cost[row])
    one = {k: float(v) if np.ndim(v) == 0 else float(np.asarray(v)[row]) for k, v in holding.items()}
    gained = one["end_weight"] - one["start_weight"]
    if not np.isfinite([price, cost, *one.values()]).all() or gained <= 0 or cost <= 0:
        return None
    step = nice_ticks(0.0, price / 5, 3)[1]
    costs = [cost / gained * share for share in (0.8, 0.9, 1.0, 1.1, 1.2)]
    return break_even_grid([-2 * step, -step, 0.0, step, 2 * step], costs, what=what, end_price=price, **one)


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
