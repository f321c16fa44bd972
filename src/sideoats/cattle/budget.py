"""Budgets of owning cattle a while longer: margins, value and cost of gain, net return, break-even prices.

One budget serves every "sell now or hold, put on weight and sell later" question: stockers, calves held after weaning,
cull cows. Weights in lb, prices in USD/cwt, money in USD a head, shares 0 to 1, interest a year.

Death loss is counted once: fewer head are sold while every cost of the dead has been paid. Do not add a death cost on
top, and enter 0 where a quoted cost of gain already includes it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
DAYS_A_YEAR = 365.0


def value(weight: ArrayLike, price: ArrayLike) -> Floats:
    """USD a head: weight [lb] x price [USD/cwt] / 100."""
    return np.asarray(np.asarray(weight, float) * np.asarray(price, float) / 100, dtype=np.float64)


def gross_margin(
    start_weight: ArrayLike, start_price: ArrayLike, end_weight: ArrayLike, end_price: ArrayLike
) -> Floats:
    """Value at the end less value at the start, USD a head."""
    return np.asarray(value(end_weight, end_price) - value(start_weight, start_price), dtype=np.float64)


def value_of_gain(
    start_weight: ArrayLike, start_price: ArrayLike, end_weight: ArrayLike, end_price: ArrayLike
) -> Floats:
    """What one more pound is worth, USD/lb: gross margin / pounds gained. Not the sale price of a pound.

    NaN where nothing is gained. It is also the cost of gain at which holding breaks even before death and interest.
    """
    gained = np.asarray(np.asarray(end_weight, float) - np.asarray(start_weight, float))
    return cost_of_gain(gross_margin(start_weight, start_price, end_weight, end_price), gained)


def cost_of_gain(cost: ArrayLike, gained: ArrayLike) -> Floats:
    """USD/lb: cost [USD a head] / weight gained [lb]; NaN where nothing is gained. Say what the cost includes."""
    money, pounds = np.broadcast_arrays(np.asarray(cost, float), np.asarray(gained, float))
    return np.asarray(np.divide(money, pounds, out=np.full(money.shape, np.nan), where=pounds > 0))


def rollback(start_price: ArrayLike, end_price: ArrayLike) -> Floats:
    """How far the price per cwt falls as the animal grows, USD/cwt."""
    return np.asarray(np.asarray(start_price, float) - np.asarray(end_price, float), dtype=np.float64)


@dataclass(frozen=True)
class Holding:
    """A budget of holding; arrays that broadcast to the inputs' common shape, USD a head unless said.

    The break-evens are worked out only when they are read: over thousands of draws most callers want the net alone.

    Attributes
    ----------
    start_value : what the animal would bring (or costs) at the start
    running_cost, other_cost : as given
    interest_on_animal, interest_on_running : on the animal for the whole time, on running costs for their share
    income : what the animals that live bring
    pounds_sold : lb paid for per head started
    start_pounds : lb paid for at the start
    gained : lb put on
    period : interest over the whole time, as a share
    running_interest_share : share of the time for which running costs carry interest
    """

    start_value: Floats
    running_cost: Floats
    other_cost: Floats
    interest_on_animal: Floats
    interest_on_running: Floats
    income: Floats
    pounds_sold: Floats
    start_pounds: Floats
    gained: Floats
    period: Floats
    running_interest_share: float

    @property
    def interest(self) -> Floats:
        """All interest."""
        return np.asarray(self.interest_on_animal + self.interest_on_running)

    @property
    def total_cost(self) -> Floats:
        """Start value, running and other costs, interest."""
        return np.asarray(
            (self.start_value + self.interest_on_animal)
            + self.other_cost
            + (self.running_cost + self.interest_on_running)
        )

    @property
    def net(self) -> Floats:
        """Income less total cost."""
        return np.asarray(self.income - self.total_cost)

    @property
    def break_even_sale(self) -> Floats:
        """Sale price at which net is 0, USD/cwt."""
        with np.errstate(divide="ignore"):  # none is left to sell: no price breaks even
            return np.asarray(self.total_cost / (self.pounds_sold / 100))

    @property
    def break_even_start(self) -> Floats:
        """Start price at which net is 0, USD/cwt."""
        spare = self.income - self.running_cost - self.other_cost - self.interest_on_running
        return np.asarray(spare / (self.start_pounds / 100 * (1 + self.period)))

    @property
    def break_even_gain_cost(self) -> Floats:
        """Running cost for each pound gained at which net is 0, USD/lb; NaN where nothing is gained."""
        spare = self.income - self.start_value - self.interest_on_animal - self.other_cost
        return cost_of_gain(spare / (1 + self.period * self.running_interest_share), self.gained)


def hold_and_sell(
    *,
    start_weight: ArrayLike,
    start_price: ArrayLike,
    end_weight: ArrayLike,
    end_price: ArrayLike,
    days: ArrayLike,
    running_cost: ArrayLike,
    other_cost: ArrayLike = 0.0,
    interest_rate: ArrayLike = 0.0,
    death_share: ArrayLike = 0.0,
    start_shrink: ArrayLike = 0.0,
    end_shrink: ArrayLike = 0.0,
    running_interest_share: float = 0.5,
) -> Holding:
    """Budget of holding animals instead of selling them at the start (or of buying them at the start).

    Parameters
    ----------
    start_weight, end_weight : lb on the scale
    start_price, end_price : USD/cwt
    days : days held [d]
    running_cost : feed, pasture, yardage and the like spent over the time, USD a head
    other_cost : health, freight, commission and the like, USD a head; carries no interest
    interest_rate : simple interest a year, 0 to 1, on a year of 365 days
    death_share : share of head lost
    start_shrink, end_shrink : pencil or market shrink at the two sales
    running_interest_share : share of the time for which running costs carry interest: 0.5 where spent evenly, 0 to
        leave it out

    References
    ----------
    Standard stocker budget, as in the worked examples S8 to S13 of the tests; simple interest.
    """
    start_pounds = np.asarray(start_weight, float) * (1 - np.asarray(start_shrink, float))
    kept = (1 - np.asarray(end_shrink, float)) * (1 - np.asarray(death_share, float))  # small arrays first
    pounds_sold = np.asarray(end_weight, float) * kept
    period = np.asarray(interest_rate, float) * np.asarray(days, float) / DAYS_A_YEAR
    running = np.asarray(running_cost, float)
    start_value = start_pounds * (np.asarray(start_price, float) / 100)
    return Holding(
        start_value=np.asarray(start_value),
        running_cost=running,
        other_cost=np.asarray(other_cost, float),
        interest_on_animal=np.asarray(start_value * period),
        interest_on_running=np.asarray(running * (period * running_interest_share)),
        income=np.asarray(pounds_sold * (np.asarray(end_price, float) / 100)),
        pounds_sold=np.asarray(pounds_sold),
        start_pounds=np.asarray(start_pounds),
        gained=np.asarray(np.asarray(end_weight, float) - np.asarray(start_weight, float)),
        period=np.asarray(period),
        running_interest_share=running_interest_share,
    )


def break_even_premium(holding: Holding, premium: ArrayLike) -> Floats:
    """Premium [USD/cwt] at which the holding's net is 0, where its sale price already holds `premium` [USD/cwt]."""
    return np.asarray(np.asarray(premium, float) - holding.net / (holding.pounds_sold / 100), dtype=np.float64)


def split_of_change(
    start_weight: ArrayLike, start_price: ArrayLike, end_weight: ArrayLike, end_price: ArrayLike
) -> tuple[Floats, Floats]:
    """The change of value, USD a head, as (price change on the first weight, gain at the later price)."""
    first, then = np.asarray(start_weight, float), np.asarray(end_weight, float)
    change = np.asarray(end_price, float) - np.asarray(start_price, float)
    return np.asarray(first * change / 100), np.asarray((then - first) * np.asarray(end_price, float) / 100)
