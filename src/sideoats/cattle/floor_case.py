"""A floor under the price of calves that are sold later: left open, contracted, hedged, a put, or insured.

Money is a head, over leaving the price open. Nobody is paid for taking the market's side: the futures stand for what
is expected, a put returns its premium on average, and only a subsidy on a fair premium, or a bid above what futures and
basis stand for, is a gain. What the tools take off the bad years is weighed by the ruling, against the luck of the open
price.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sideoats.cattle import answering
from sideoats.cattle.tools import FACT, TOOLS, Tools, ratio_of, spread_of, tool_bars, tools_of
from sideoats.families.own_and_sell import Quantities
from sideoats.problem import Barred, Choice, labelled
from sideoats.question import Context, Table
from sideoats.words import say

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

UNIT = "USD/head"
WEEK, FORTNIGHT = 7, 14
OPTIONS = (
    Choice("cash", labelled("floor-cash"), passive=True, kind="cash"),
    *(Choice(name, labelled(f"floor-{name}"), trouble="lock", kind=name) for name in TOOLS),
)
FORWARD, FUTURES, PUT, INSURANCE = range(1, 5)


@dataclass(frozen=True)
class Floor:
    """A batch of calves and the tools quoted for them; arrays (place,) unless said.

    Attributes
    ----------
    days : to the sale
    weight : (place, draw) at the sale [lb]
    expected : cash price expected then [USD/cwt], NaN where not known
    cash : (place, draw) cash price then [USD/cwt]
    gain : (place, draw, option) over the open price [USD/head]
    exposure : (place, draw) the luck of the open price [USD/head]
    by_put, by_insurance : yearly volatility that a premium stands for; NaN where none does
    strange : the same of a premium that no feeder cattle have had; NaN where none is out of line
    tools : what they are made of
    basis : over the futures [USD/cwt]
    """

    days: Floats
    weight: Floats
    expected: Floats
    cash: Floats
    gain: Floats
    exposure: Floats
    by_put: Floats
    by_insurance: Floats
    strange: Floats
    tools: Tools
    basis: Floats

    @property
    def past(self) -> Bools:
        """The sale is past."""
        return np.asarray(self.days < 0)


def floor_of(table: Table, context: Context) -> Floor:
    """See `Floor`."""
    facts, number = context.facts, table.number
    futures, basis, given = number("futures"), number("basis"), number("expected_price")
    basis = np.where(np.isnan(basis), given - futures, basis)
    expected = np.where(np.isnan(given), futures + basis, given)
    days = table.days_until("sale", context.on)
    by_put, by_insurance, strange = spread_of(table, context, days)
    ratio = ratio_of(context, days, by_put)
    noise = context.outlook.normal("calf basis", table.keys)
    stray = answering.known_or(number("basis_sd"), facts.value(FACT + "basis_sd"))[:, None]
    cash = _mean_of(expected, ratio, futures) + stray * (noise - noise.mean(axis=1, keepdims=True))
    weight, weights = number("weight"), context.outlook.normal("sale weight", table.keys)
    spread = facts.value(FACT + "weight_sd") * (weights - weights.mean(axis=1, keepdims=True))
    heads = weight[:, None] * (1.0 + spread)
    tools = tools_of(table, context, days=days, weight=weight, heads=heads, cash=cash, ratio=ratio)
    gain = np.concatenate([np.zeros((*cash.shape, 1)), tools.effect * heads[:, :, None] / 100], axis=2)
    open_ = cash * heads / 100
    luck = np.nan_to_num(open_ - open_.mean(axis=1, keepdims=True))
    return Floor(days, heads, expected, cash, gain, luck, by_put, by_insurance, strange, tools, basis)


def _mean_of(expected: Floats, ratio: Floats, futures: Floats) -> Floats:
    """(place, draw) cash price without the luck of its basis: the futures move, the basis stays."""
    moved = np.where(np.isnan(futures), expected, futures)[:, None] * (ratio - 1.0)
    return np.asarray(expected[:, None] + moved)


def bars(table: Table, context: Context, f: Floor) -> tuple[Barred, ...]:
    """Nothing for a sale that is past; what the tools themselves bar."""
    acts = np.arange(len(OPTIONS)) > 0
    return (
        Barred(f.past[:, None] & acts, say("bar.sale_past")),
        *tool_bars(table, context, f.tools, f.days, before=1),
    )


def needs(table: Table, f: Floor) -> dict[str, Bools]:
    """What is missing: the calves, something quoted, and what they are expected to bring."""
    known = table.known
    tool = known("futures") | known("forward_price") | known("insured_price") | known("put_premium")
    ahead = ~f.past
    return {
        "sale_plan.weight": ~known("weight"),
        "sale_plan.sale": ~known("sale") | f.past,
        "price-floor.futures": (~tool | (np.isnan(f.expected) & ~known("futures"))) & ahead,
        "price-floor.basis": np.isnan(f.expected) & known("futures") & ahead,
    }


def level_slips(table: Table, context: Context) -> tuple[Bools, Floats]:
    """(place,) insured price and level that cannot stand beside the futures, and the ending value that they make."""
    ending = table.number("insured_price") / table.number("insured_level")
    low, high = context.facts.span(FACT + "ending_over_futures")
    ratio = ending / table.number("futures")
    return np.asarray((ratio < low) | (ratio > high)), ending


def quantities(table: Table, f: Floor) -> Quantities:
    """Floors and what they rest on."""
    least = f.basis + table.number("put_strike") - f.tools.put_paid
    return {
        "expected_price": (f.expected, "USD/cwt"),
        "contracts": (np.where(table.known("head") & table.known("futures"), f.tools.whole, np.nan), "1"),
        "share_hedged": (np.where(table.known("head") & table.known("futures"), f.tools.share, np.nan), "1"),
        "implied_volatility": (answering.known_or(f.by_put, f.by_insurance), "1"),
        "floor_of_the_put": (least, "USD/cwt"),
        "subsidy_share": (f.tools.subsidy, "1"),
        "premium_after_subsidy": (f.tools.paid, "USD/cwt"),
        "fair_premium": (np.where(table.known("insured_price"), f.tools.fair, np.nan), "USD/cwt"),
        "worst_tenth_open": (np.quantile(np.nan_to_num(f.cash), 0.1, axis=1), "USD/cwt"),
    }
