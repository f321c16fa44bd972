"""Heifer calves developed into bred heifers, bred heifers bought, or neither: a case of own and sell.

Money is in today's dollars by the bred heifer, over neither keeping nor buying any.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.cattle import answering, budget
from sideoats.decide import net_present_value
from sideoats.errors import InputError
from sideoats.families.own_and_sell import SALE, Quantities, sensitivity, turning_points
from sideoats.problem import Choice, labelled
from sideoats.question import Context, Table

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

UNIT = "USD/head"
MONTH = 30  # days until prices are looked at again
WEEK = 7  # days: the week is the product
CALVES, BRED, OPEN = "feeder steer 500 lb", "bred heifer", "feeder steer 750 lb"
OPTIONS = (
    Choice("develop", labelled("heifers-develop"), trouble=SALE, kind="develop"),
    Choice("buy", labelled("heifers-buy"), trouble=SALE, kind="buy"),
    Choice("neither", labelled("heifers-neither"), passive=True, kind="neither"),
)
COW = ("calf_weight", "calf_price", "cow_cost", "cull_value")  # what a cow's yearly value rests on
CHANGES = {
    "calf_10_percent_dearer": ("calf", 1.1),
    "development_10_percent_dearer": ("develop_cost", 1.1),
    "conception_10_percent_lower": ("conception", 0.9),
    "open_heifers_10_percent_cheaper": ("open_value", 0.9),
}
# A bred heifer has cost between the price of a calf and some four times it: outside that a zero is missing or too many.
LEAST_BRED, MOST_BRED = 0.5, 8.0
LEAST_COW_COST = 0.1  # of a bred heifer a year: feed alone was 209 to 793 USD a cow in the Kansas records
TURNS = {"bred_price": UNIT, "calf": UNIT, "develop_cost": UNIT}


@dataclass(frozen=True)
class Given:
    """Inputs; (place,) arrays, ranges as low and high."""

    calf: Floats
    develop_cost: Floats
    days: Floats
    open_value: Floats
    bred_price: Floats
    rate: Floats
    conception: tuple[Floats, Floats]
    years: tuple[Floats, Floats]
    weaned: tuple[Floats, Floats]


def check(values: dict[str, Any]) -> None:
    """Refuse prices that cannot stand beside that of the heifer calves."""
    calf_worth = budget.value(values["weight"] or np.nan, values["price"] or np.nan)
    for name, low in (("bred_price", LEAST_BRED), ("open_value", 0.0)):
        worth = values[name]
        if worth is not None and (worth < low * calf_worth or worth > MOST_BRED * calf_worth):
            raise InputError(f"{worth:g} USD/head cannot stand beside calves of {calf_worth:,.0f} USD/head",
                             where=f"bred-heifers {name}", expected="a price of the same market",
                             todo="is a zero too many or missing?")  # fmt: skip
    cost, bred = values["cow_cost"], values["bred_price"]
    if cost and bred and cost < LEAST_COW_COST * bred:
        raise InputError(f"{cost:g} USD/head a year would not feed a cow worth {bred:,.0f} USD/head",
                         where="bred-heifers cow_cost", expected="a year of feed, pasture and care",
                         todo="is a decimal point misplaced?")  # fmt: skip
    calf, heifer = values["calf_price"], values["price"]
    if calf is not None and heifer is not None and not 1 / answering.SLIP <= calf / heifer <= answering.SLIP:
        raise InputError(f"{calf:g} USD/cwt cannot stand beside {heifer:g} USD/cwt of heifer calves",
                         where="bred-heifers calf_price", expected="a price of the same market",
                         todo="is a decimal point misplaced?")  # fmt: skip


def given_of(table: Table, context: Context) -> Given:
    facts = context.facts

    def shares(name: str, fact: str) -> tuple[Floats, Floats]:
        low, high = facts.span(fact)
        least, most = answering.span(table, name, (100 * low, 100 * high))
        return least / 100, most / 100

    return Given(
        calf=budget.value(table.number("weight"), table.number("price")),
        develop_cost=table.number("develop_cost"),
        days=answering.known_or(table.number("develop_days"), facts.value("cattle/heifer.develop_days")),
        open_value=table.number("open_value"),
        bred_price=table.number("bred_price"),
        rate=answering.known_or(table.number("interest"), facts.value("cattle/interest")),
        conception=shares("conception", "cattle/heifer.conception"),
        years=answering.span(table, "years", facts.span("cattle/heifer.years")),
        weaned=shares("calves_weaned", "cattle/heifer.calves_weaned"),
    )


def cost_developed(
    calf: Floats,
    develop_cost: Floats,
    open_value: Floats,
    conception: Floats,
    rate: Floats,
    days: Floats,
) -> Floats:
    """Present value of what one bred heifer of one's own costs, USD a bred heifer; inputs broadcast.

    For each bred one, 1 / conception calves are kept from sale, fed (paid midway), and the open ones sold at the check.

    Parameters
    ----------
    calf, develop_cost, open_value : USD a head: the calf today, cost to the check, an open heifer then
    conception : share bred
    rate : discount a year
    days : from now to the pregnancy check [d]
    """
    years = days / budget.DAYS_A_YEAR
    started = calf + develop_cost / (1 + rate) ** (years / 2) - (1 - conception) * open_value / (1 + rate) ** years
    return np.asarray(started / conception, dtype=np.float64)


def yearly_value(
    table: Table, context: Context, given: Given, years: Floats, weaned: Floats
) -> tuple[Floats, Floats, Floats]:
    """Present values of her calves, of her keep and of the cull cow, from the check on; (place, draw), USD/head.

    Calf prices follow the outlook for its two years and stay at that level after; part years count in proportion.
    """
    crops = int(np.ceil(np.nanmax(given.years[1])))
    calf = budget.value(table.number("calf_weight"), table.number("calf_price"))[:, None]
    shape = np.broadcast_shapes(years.shape, weaned.shape, (len(table), context.outlook.draws))
    calves, kept, culled = (np.zeros((*shape, crops + 1)) for _ in range(3))
    for crop in range(1, crops + 1):
        ratio = answering.price_ratio(context, CALVES, given.days + crop * budget.DAYS_A_YEAR)
        part = np.clip(years - (crop - 1), 0.0, 1.0)
        calves[..., crop] = part * (weaned * calf * ratio)
        kept[..., crop] = part * table.number("cow_cost")[:, None]
        culled[..., crop] = ((years > crop - 1) & (years <= crop)) * table.number("cull_value")[:, None]
    to_check = (1 + given.rate[:, None]) ** (given.days[:, None] / budget.DAYS_A_YEAR)
    found = [np.asarray(net_present_value(f, given.rate[:, None]) / to_check) for f in (calves, kept, culled)]
    return found[0], found[1], found[2]


@dataclass(frozen=True)
class Worth:
    """`gain` (place, draw, option), USD a bred heifer; mean present values (place,) of calves and keep."""

    gain: Floats
    calves: Floats
    kept: Floats


def worth_of(table: Table, context: Context, given: Given) -> Worth:
    """Present value of each option; without a cow's yearly figures only costs differ."""
    conception = answering.spread(context, table, "heifer conception", *given.conception)
    years = answering.spread(context, table, "cow years", *given.years)
    weaned = answering.spread(context, table, "calves weaned", *given.weaned)
    days, rate = given.days[:, None], given.rate[:, None]
    opens = given.open_value[:, None] * answering.price_ratio(context, OPEN, given.days)
    own = cost_developed(given.calf[:, None], given.develop_cost[:, None], opens, conception, rate, days)
    bought = given.bred_price[:, None] * answering.price_ratio(context, BRED, given.days)
    bought = bought / (1 + rate) ** (days / budget.DAYS_A_YEAR)
    more = _more(table, given, years)
    calves, kept, culled = yearly_value(table, context, given, years, weaned)
    stream = np.nan_to_num(calves - kept + culled, nan=0.0)
    gain = np.stack([stream - own, stream - bought + more, np.zeros_like(stream)], axis=2)
    return Worth(gain, calves.mean(axis=1), kept.mean(axis=1))


def _more(table: Table, given: Given, years: Floats) -> Floats:
    """Present value of what the bought heifers' calves bring more, (place, draw or 1)."""
    from sideoats.decide import annuity_factor

    rate = given.rate[:, None]
    worth = table.number("calf_difference")[:, None] * annuity_factor(rate, years)
    return np.asarray(worth / (1 + rate) ** (given.days[:, None] / budget.DAYS_A_YEAR), dtype=np.float64)


def more_at_check(table: Table, given: Given) -> Floats:
    """`_more` at the middle of the years, as of the check, (place,)."""
    more = _more(table, given, np.mean(given.years, axis=0)[:, None])[:, 0]
    return np.asarray(more * (1 + given.rate) ** (given.days / budget.DAYS_A_YEAR), dtype=np.float64)


def own_cost(given: Given, **changed: Floats) -> Floats:
    """Cost of a bred heifer of one's own at the middle of the ranges, as of the check, USD/head."""
    inputs = {
        "calf": given.calf, "develop_cost": given.develop_cost, "open_value": given.open_value,
        "conception": np.mean(given.conception, axis=0), "rate": given.rate, "days": given.days, **changed,
    }  # fmt: skip
    own = cost_developed(**inputs)
    return np.asarray(own * (1 + given.rate) ** (given.days / budget.DAYS_A_YEAR), dtype=np.float64)


def saving(table: Table, given: Given) -> tuple[Callable[..., Floats], dict[str, Floats]]:
    """What developing saves on buying at the check, USD a bred heifer, and its inputs at the middle of the ranges."""
    more = more_at_check(table, given)
    inputs = {
        "bred_price": given.bred_price, "calf": given.calf, "develop_cost": given.develop_cost,
        "open_value": given.open_value, "conception": np.mean(given.conception, axis=0),
    }  # fmt: skip

    def saved(*, bred_price: Floats, **changed: Floats) -> Floats:
        return bred_price - more - own_cost(given, **changed)

    return saved, inputs


def open_gain(gain: Floats, barred: Bools) -> Floats:
    """(place, option) mean gain, minus infinity where an option is closed [USD/head]."""
    return np.where(barred, -np.inf, np.nan_to_num(gain.mean(axis=1), nan=-np.inf))


def delay(gain: Floats, barred: Bools, soon: Bools) -> Floats:
    """(place, option) what another week costs: heifers that are sold cannot be developed. Nothing before the sale."""
    mean = open_gain(gain, barred)
    rest = mean[:, 1:].max(axis=1)
    known = np.isfinite(mean[:, 0]) & np.isfinite(rest)
    over = np.maximum(np.where(known, mean[:, 0], 0.0) - np.where(known, rest, 0.0), 0.0)
    out = np.zeros((len(soon), len(OPTIONS)))
    out[:, 0], out[:, 1] = np.where(soon, over, 0.0), np.where(soon, np.nan, 0.0)
    return out


def quantities(table: Table, given: Given, worth: Worth, barred: Bools) -> Quantities:
    """Figures at the middle of the ranges, and of what would change them."""
    own, more = own_cost(given), more_at_check(table, given)
    saved, inputs = saving(table, given)
    develop = np.where(~barred[:, 2], worth.gain[:, :, 0].mean(axis=1), np.nan)
    own_cheaper = worth.gain[:, :, 0] > worth.gain[:, :, 1]
    turns = turning_points(saved, inputs, ("calf", "develop_cost"))
    return {
        "value_of_calf_now": (given.calf, UNIT),
        "heifers_started_for_each_bred": (1 / np.mean(given.conception, axis=0), "head"),
        "days_to_check": (given.days, "day"),
        "cost_of_own_bred_heifer": (own, UNIT),
        "break_even_bred_price": (own + more, UNIT),
        "break_even_calf_price": (table.number("calf_price") * (1 - develop / worth.calves), "USD/cwt"),
        "saved_by_developing": (saved(**inputs), UNIT),
        "chance_own_is_cheaper": (own_cheaper.mean(axis=1), "1"),
        "value_if_calf_price_10_percent_lower": (develop - 0.1 * worth.calves, UNIT),
        "value_if_calf_price_10_percent_higher": (develop + 0.1 * worth.calves, UNIT),
        "value_if_cow_cost_10_percent_higher": (develop - 0.1 * worth.kept, UNIT),
        **{f"turns_at_{name}": (turn, TURNS[name]) for name, turn in turns.items()},
        **{f"saved_{name}": found for name, found in sensitivity(saved, inputs, CHANGES, UNIT).items()},
    }
