"""Cattle on wheat: gain against grain, day by day, and how many head the forage carries."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sideoats.facts import Fact

Floats = NDArray[np.float64]


def forage_revenue(head_per_acre: ArrayLike, days: ArrayLike, gain: ArrayLike, value_of_gain: ArrayLike) -> Floats:
    """USD an acre from grazing: head/ac x days x gain [lb/head/day] x value (or rent) of gain [USD/lb]."""
    product = np.asarray(head_per_acre, np.float64) * np.asarray(days, np.float64) * np.asarray(gain, np.float64)
    return product * np.asarray(value_of_gain, np.float64)


class Day(NamedTuple):
    """What one more day of grazing past first hollow stem brings and costs [USD/ac/day]."""

    benefit: Floats
    cost: Floats


def one_more_day(
    head_per_acre: ArrayLike,
    gain: ArrayLike,
    value_of_gain: ArrayLike,
    grain_yield: ArrayLike,
    loss_rate: ArrayLike,
    net_price: ArrayLike,
) -> Day:
    """The marginal day past first hollow stem; take cattle off where the cost is above the benefit.

    Parameters
    ----------
    head_per_acre, gain, value_of_gain : [head/ac], [lb/head/day], [USD/lb]
    grain_yield, loss_rate, net_price : [bu/ac], share of yield a day [1/day], price less harvest cost [USD/bu]
    """
    benefit = forage_revenue(head_per_acre, 1.0, gain, value_of_gain)
    cost = np.asarray(grain_yield, np.float64) * np.asarray(loss_rate, np.float64) * np.asarray(net_price, np.float64)
    return Day(benefit, cost)


def lost_after(days: ArrayLike, rate: ArrayLike, *, compound: bool = False) -> Floats:
    """Share of grain lost after days past first hollow stem at a daily rate [1/day].

    Straight (5 % a day for 7 days is 35 %) or compounding (1 - 0.95^7 = 30.2 %); never above 1, none before day 0.
    """
    n, r = np.maximum(np.asarray(days, np.float64), 0.0), np.asarray(rate, np.float64)
    lost = 1.0 - (1.0 - r) ** n if compound else n * r
    return np.clip(lost, 0.0, 1.0)


def days_to_hollow_stem(hollow_cm: ArrayLike, growth_cm_day: ArrayLike, threshold_cm: float) -> Floats:
    """Days until the mean hollow stem [cm] reaches the threshold; 0 or less where it has."""
    return (threshold_cm - np.asarray(hollow_cm, np.float64)) / np.asarray(growth_cm_day, np.float64)


def head_carried(
    forage: ArrayLike,
    left: ArrayLike,
    growth: ArrayLike,
    days: ArrayLike,
    harvested: ArrayLike,
    intake: ArrayLike,
    weight: ArrayLike,
) -> Floats:
    """Head an acre that forage carries for a stretch of days.

    Parameters
    ----------
    forage, left : standing now and to be left standing [lb/ac dry matter]
    growth : [lb/ac/day]
    harvested : share of what disappears that is eaten [1]
    intake : dry matter a day as a share of live weight [1/day]
    weight : live weight [lb/head], mean of the stretch
    """
    n = np.asarray(days, np.float64)
    offered = (
        np.maximum(np.asarray(forage, np.float64) - np.asarray(left, np.float64), 0.0)
        + np.asarray(growth, np.float64) * n
    )
    eaten = offered * np.asarray(harvested, np.float64)
    return np.asarray(eaten / (np.asarray(intake, np.float64) * np.asarray(weight, np.float64) * n))


def days_lasting(
    head_per_acre: ArrayLike,
    forage: ArrayLike,
    left: ArrayLike,
    growth: ArrayLike,
    harvested: ArrayLike,
    intake: ArrayLike,
    weight: ArrayLike,
) -> Floats:
    """Days until forage is down to what must be left; infinite where growth keeps up. Units as in `head_carried`."""
    daily = np.asarray(head_per_acre, np.float64) * np.asarray(intake, np.float64) * np.asarray(weight, np.float64)
    drain = daily / np.asarray(harvested, np.float64) - np.asarray(growth, np.float64)
    above = np.maximum(np.asarray(forage, np.float64) - np.asarray(left, np.float64), 0.0)
    return np.asarray(np.where(drain > 0, above / np.where(drain > 0, drain, 1.0), np.inf))


def cost_of_gain(fit: Fact, corn_price: ArrayLike) -> Floats:
    """Feedlot cost of gain [USD/cwt] from the corn price [USD/bu] by a published straight line (a fact)."""
    constant, slope = (float(v) for v in fit.rows[0])
    return constant + slope * np.asarray(corn_price, np.float64)
