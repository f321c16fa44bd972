"""Develop heifer calves into bred heifers, buy bred heifers, or neither: present value with draws."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from sideoats.call import ACT, WAIT
from sideoats.cattle import answering, budget
from sideoats.decide import Decision, decide, net_present_value
from sideoats.question import Answers, Bar, Context, Option, Places, Question, Table
from sideoats.schema import Field

if TYPE_CHECKING:
    from sideoats.pictures import Picture

UNIT = "USD/head"
WEEK = 7  # days: the week is the product
CALVES, BRED, OPEN = "feeder steer 500 lb", "bred heifer", "feeder steer 750 lb"
INPUTS = (
    Field("weight", "number", "weight of the heifer calf today", unit="lb", low=200, high=1100, required=True,
          example="520 lb", fresh_days=200, found_in=("evidence:heifer_plan.weight",)),
    Field("price", "number", "what heifer calves of that weight bring today", unit="USD/cwt", low=20, high=1000,
          required=True, example="225 USD/cwt", fresh_days=200, found_in=("evidence:heifer_plan.price",)),
    Field("develop_cost", "number", "feed, breeding, health and care from now to the pregnancy check", unit=UNIT, low=0,
          high=3000, required=True, example="620 USD/head",
          fresh_days=200, found_in=("evidence:heifer_plan.develop_cost", "setting:cost.heifer_development")),
    Field("develop_days", "number", "days from now to the pregnancy check", unit="day", bare=True, low=30, high=700,
          example="330", fresh_days=200, found_in=("evidence:heifer_plan.develop_days",)),
    Field("conception", "numbers", "heifers bred of those developed, one share or a range", unit="percent", low=1,
          high=100, example="80, 90 percent", fresh_days=200, found_in=("evidence:heifer_plan.conception",)),
    Field("open_value", "number", "what an open heifer brings at the check, at today's prices", unit=UNIT, low=0,
          high=6000, required=True, example="1500 USD/head",
          fresh_days=200, found_in=("evidence:heifer_plan.open_value",)),
    Field("bred_price", "number", "what a bred heifer like yours costs today, delivered", unit=UNIT, low=100,
          high=12000, required=True, example="2600 USD/head",
          fresh_days=200, found_in=("evidence:heifer_plan.bred_price", "quote:bred heifer")),
    Field("calf_difference", "number", "how much more a year the bought heifers' calves bring", unit=UNIT, low=-300,
          high=300, default=0.0, example="15 USD/head"),
    Field("calf_weight", "number", "weaning weight of her calves", unit="lb", low=200, high=900, example="540 lb",
          fresh_days=200, found_in=("evidence:heifer_plan.calf_weight",)),
    Field("calf_price", "number", "price of such calves today", unit="USD/cwt", low=20, high=1000,
          example="240 USD/cwt", found_in=("quote:feeder steer 500 lb",)),
    Field("cow_cost", "number", "keeping one cow for a year", unit=UNIT, low=0, high=5000, example="980 USD/head",
          fresh_days=200, found_in=("evidence:heifer_plan.cow_cost", "setting:cost.cow_year")),
    Field("cull_value", "number", "what she brings as a cull cow at today's prices", unit=UNIT, low=0, high=5000,
          example="900 USD/head", fresh_days=200, found_in=("evidence:heifer_plan.cull_value",)),
    Field("years", "numbers", "calf crops she gives, one number or a range", unit="1", low=1, high=15, example="5, 8"),
    Field("calves_weaned", "numbers", "calves weaned a year for each cow, one share or a range", unit="percent", low=10,
          high=110, example="82, 90 percent"),
    Field("sale", "date", "day on which the heifer calves are sold if they are not kept", example="2026-10-20",
          fresh_days=200, found_in=("evidence:sale_plan.sale",)),
    Field("interest", "share", "interest and discount rate a year", example="8 %", found_in=("setting:interest",)),
)  # fmt: skip
OPTIONS = (
    Option("develop", "Develop your own"),
    Option("buy", "Buy bred heifers when yours would be bred"),
    Option("neither", "Neither, and sell the calves", passive=True),
)


@dataclass(frozen=True)
class _Given:
    """Inputs; (place,) arrays, ranges as low and high."""

    calf: NDArray[np.float64]
    develop_cost: NDArray[np.float64]
    days: NDArray[np.float64]
    open_value: NDArray[np.float64]
    bred_price: NDArray[np.float64]
    rate: NDArray[np.float64]
    conception: tuple[NDArray[np.float64], NDArray[np.float64]]
    years: tuple[NDArray[np.float64], NDArray[np.float64]]
    weaned: tuple[NDArray[np.float64], NDArray[np.float64]]


def _given(table: Table, context: Context) -> _Given:
    facts = context.facts

    def shares(name: str, fact: str) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        low, high = facts.span(fact)
        least, most = answering.span(table, name, (100 * low, 100 * high))
        return least / 100, most / 100

    return _Given(
        calf=budget.value(table.number("weight"), table.number("price")), develop_cost=table.number("develop_cost"),
        days=answering.known_or(table.number("develop_days"), facts.value("cattle/heifer.develop_days")),
        open_value=table.number("open_value"), bred_price=table.number("bred_price"),
        rate=answering.known_or(table.number("interest"), facts.value("cattle/interest")),
        conception=shares("conception", "cattle/heifer.conception"),
        years=answering.span(table, "years", facts.span("cattle/heifer.years")),
        weaned=shares("calves_weaned", "cattle/heifer.calves_weaned"),
    )  # fmt: skip


def cost_developed(
    calf: NDArray[np.float64],
    develop_cost: NDArray[np.float64],
    open_value: NDArray[np.float64],
    conception: NDArray[np.float64],
    rate: NDArray[np.float64],
    days: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Present value of what one bred heifer of one's own costs, USD a bred heifer; inputs broadcast.

    For each bred one, 1 / conception calves are kept from sale, fed (paid midway), and the open ones sold at the check.

    Parameters
    ----------
    calf, develop_cost, open_value : USD a head: the calf today, cost to the check, an open heifer then
    conception : share bred
    rate : discount a year
    days : from now to the pregnancy check [d]
    """  # fmt: skip
    years = days / budget.DAYS_A_YEAR
    started = calf + develop_cost / (1 + rate) ** (years / 2) - (1 - conception) * open_value / (1 + rate) ** years
    return np.asarray(started / conception, dtype=np.float64)


def yearly_value(
    table: Table, context: Context, given: _Given, years: NDArray[np.float64], weaned: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
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
class _Worth:
    """`payoff` (place, draw, option), USD a bred heifer; mean present values (place,) of calves and keep."""

    payoff: NDArray[np.float64]
    calves: NDArray[np.float64]
    kept: NDArray[np.float64]


def _worth(table: Table, context: Context, given: _Given) -> _Worth:
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
    payoff = np.stack([stream - own, stream - bought + more, np.zeros_like(stream)], axis=2)
    return _Worth(payoff, calves.mean(axis=1), kept.mean(axis=1))


def _more(table: Table, given: _Given, years: NDArray[np.float64]) -> NDArray[np.float64]:
    """Present value of what the bought heifers' calves bring more, (place, draw or 1)."""
    from sideoats.decide import annuity_factor

    rate = given.rate[:, None]
    worth = table.number("calf_difference")[:, None] * annuity_factor(rate, years)
    return np.asarray(worth / (1 + rate) ** (given.days[:, None] / budget.DAYS_A_YEAR), dtype=np.float64)


def _more_at_check(table: Table, given: _Given) -> NDArray[np.float64]:
    """`_more` at the middle of the years, as of the check, (place,)."""
    more = _more(table, given, np.mean(given.years, axis=0)[:, None])[:, 0]
    return np.asarray(more * (1 + given.rate) ** (given.days / budget.DAYS_A_YEAR), dtype=np.float64)


def answer(table: Table, context: Context) -> Answers:
    """Present value of developing and of buying over doing neither."""
    given = _given(table, context)
    worth = _worth(table, context, given)
    cow_known = np.logical_and.reduce([table.known(n) for n in ("calf_weight", "calf_price", "cow_cost", "cull_value")])
    bar = Bar(
        np.stack([np.zeros_like(cow_known), np.zeros_like(cow_known), ~cow_known], axis=1),
        "calf weight, calf price, the cow's yearly cost and her cull value are needed: only developing and buying are "
        "compared",
    )
    decision = decide(worth.payoff, barred=bar.mask, risk_aversion=context.risk_aversion)
    needed = ("weight", "price", "develop_cost", "open_value", "bred_price")
    to_sale, own = table.days_until("sale", context.on), decision.best == 0
    soon = (to_sale >= 0) & (to_sale <= WEEK)
    wait = (decision.best == 2) | ~soon  # decided when they are sold, not before or after; no day of sale, no hurry
    return Answers(
        table, context, options=OPTIONS, decision=decision, unit=UNIT, bars=(bar,),
        verdict=np.where(wait, WAIT, ACT).astype(np.int8), act_by=np.where(~wait, np.nan_to_num(to_sale), -1),
        cost_of_waiting=np.where(soon & own, _over_next(decision), 0.0),
        headline=lambda i: _headline(decision, table, context, i), because=_because(table, given, worth, decision),
        quantities=_quantities(table, given, worth, decision),
        missing=~np.logical_and.reduce([table.known(name) for name in needed]),
        missing_headline="Find the heifer calf's weight and price, the cost to develop her, and open and bred prices.",
        cautions=(
            context.facts["cattle/care.veterinarian"].text,
            context.facts["cattle/care.records"].text,
            "Ask for health papers, breeding dates and the bull's calving figures of heifers you buy; keep new cattle "
            "apart until the veterinarian is satisfied.",
            "Prices years ahead are draws about today's, not a forecast.",
        ),
        pictures=lambda i: _pictures(table, given, i),
    )  # fmt: skip


def _pictures(table: Table, given: _Given, i: int) -> Sequence[Picture]:
    """What developing saves on buying, by the two figures that are bargained over or budgeted."""
    from sideoats.cattle.pictures import develop_or_buy

    more = float(_more_at_check(table, given)[i])
    one = {"calf": given.calf[i], "open_value": given.open_value[i], "rate": given.rate[i], "days": given.days[i],
           "conception": np.mean(given.conception, axis=0)[i]}  # fmt: skip

    def saved(price: NDArray[np.float64], cost: NDArray[np.float64]) -> NDArray[np.float64]:
        own = cost_developed(develop_cost=cost, **one) * (1 + one["rate"]) ** (one["days"] / budget.DAYS_A_YEAR)
        return np.asarray(price - more - own, dtype=np.float64)

    drawn = develop_or_buy(float(given.bred_price[i]), float(given.develop_cost[i]), saved)
    return [drawn] if drawn else []


def _over_next(decision: Decision) -> NDArray[np.float64]:
    """What developing brings over the better of the rest, (place,): lost once the heifer calves are sold."""
    rest = np.where(decision.barred[:, 1:], -np.inf, decision.expected[:, 1:]).max(axis=1)
    return np.asarray(np.maximum(np.nan_to_num(decision.expected[:, 0] - rest), 0.0), dtype=np.float64)


def _headline(decision: Decision, table: Table, context: Context, i: int) -> str:
    best = int(decision.best[i])
    other = 1 - best if best < 2 else int(np.argmax(decision.expected[i, :2]))
    gap = decision.expected[i, best] - decision.expected[i, other]
    ahead = table.days_until("sale", context.on)[i] >= 0
    do = (
        ("Develop your own", "keep the heifers back from the sale"),
        ("Buy bred heifers when yours would be bred", "sell the heifer calves"),
        ("Neither keep nor buy heifers", "sell the heifer calves"),
    )[best]
    when = f": {do[1]} of {table.date('sale')[i]}" if ahead and best == 0 else ""
    if ahead and best != 0:
        when = f": {do[1]} on {table.date('sale')[i]}"
    return (
        f"{do[0]}{when}; better by {gap:,.2f} USD a bred heifer, in today's money, than to "
        f"{answering.inside(OPTIONS[other].label)}; best in {decision.chance_best[i, best]:.0%} of futures."
    )


def _own_cost(given: _Given, **changed: NDArray[np.float64]) -> NDArray[np.float64]:
    """Cost of a bred heifer of one's own at the middle of the ranges, as of the check, USD/head."""
    inputs = {
        "calf": given.calf, "develop_cost": given.develop_cost, "open_value": given.open_value,
        "conception": np.mean(given.conception, axis=0), "rate": given.rate, "days": given.days, **changed,
    }  # fmt: skip
    own = cost_developed(**inputs)
    return np.asarray(own * (1 + given.rate) ** (given.days / budget.DAYS_A_YEAR), dtype=np.float64)


CHANGES = {
    "calf_10_percent_dearer": ("calf", 1.1),
    "development_10_percent_dearer": ("develop_cost", 1.1),
    "conception_10_percent_lower": ("conception", 0.9),
    "open_heifers_10_percent_cheaper": ("open_value", 0.9),
}


def _quantities(table: Table, given: _Given, worth: _Worth, decision: Decision) -> answering.Quantities:
    own, more = _own_cost(given), _more_at_check(table, given)
    saved, inputs = _saved(table, given)
    cow_known = ~decision.barred[:, 2]
    develop = np.where(cow_known, decision.expected[:, 0], np.nan)
    own_cheaper = worth.payoff[:, :, 0] > worth.payoff[:, :, 1]
    return {
        "value_of_calf_now": (given.calf, UNIT),
        "heifers_started_for_each_bred": (1 / np.mean(given.conception, axis=0), "head"),
        "days_to_check": (given.days, "day"),
        "cost_of_own_bred_heifer": (own, UNIT),
        "break_even_bred_price": (own + more, UNIT),
        "break_even_calf_price": (table.number("calf_price") * (1 - develop / worth.calves), "USD/cwt"),
        "saved_by_developing": (saved(**inputs), UNIT),
        "chance_own_is_cheaper": (own_cheaper.mean(axis=1), "1"),
        **answering.risk_quantities(OPTIONS, decision, UNIT, "neither"),
        "value_if_calf_price_10_percent_lower": (develop - 0.1 * worth.calves, UNIT),
        "value_if_calf_price_10_percent_higher": (develop + 0.1 * worth.calves, UNIT),
        "value_if_cow_cost_10_percent_higher": (develop - 0.1 * worth.kept, UNIT),
        **answering.turning_quantities(saved, inputs, {k: v for k, v in TURNS.items() if k != "bred_price"}),
        **{f"saved_{name}": found for name, found in answering.sensitivity(saved, inputs, CHANGES, UNIT).items()},
    }


TURNS = {
    "bred_price": ("a bred heifer's price", UNIT),
    "calf": ("a heifer calf's value", UNIT),
    "develop_cost": ("development", UNIT),
}


def _saved(table: Table, given: _Given) -> tuple[Callable[..., NDArray[np.float64]], dict[str, NDArray[np.float64]]]:
    """What developing saves on buying at the check, USD a bred heifer, and its inputs at the middle of the ranges."""
    more = _more_at_check(table, given)
    inputs = {
        "bred_price": given.bred_price, "calf": given.calf, "develop_cost": given.develop_cost,
        "open_value": given.open_value, "conception": np.mean(given.conception, axis=0),
    }  # fmt: skip

    def saved(*, bred_price: NDArray[np.float64], **changed: NDArray[np.float64]) -> NDArray[np.float64]:
        return bred_price - more - _own_cost(given, **changed)

    return saved, inputs


def _because(table: Table, given: _Given, worth: _Worth, decision: Decision) -> Callable[[int], list[str]]:
    own, bred = _own_cost(given), np.mean(given.conception, axis=0)
    turns = answering.turning_text(*_saved(table, given), TURNS)
    cow_known = ~decision.barred[:, 2]

    def lines(i: int) -> list[str]:
        if not np.isfinite(own[i]):
            return ["The cost of developing cannot be worked out from what is on file."]
        out = [
            f"For each bred heifer {1 / bred[i]:.2f} calves are kept; with development, interest and open heifers sold "
            f"she costs {own[i]:,.2f} USD at the check in {given.days[i]:.0f} days, against {given.bred_price[i]:,.2f} "
            "bought at today's price.",
            *(line.replace("turn it:", "turn developing against buying:") for line in turns(i)),
        ]
        if cow_known[i]:
            low, high = given.years[0][i], given.years[1][i]
            even = table.number("calf_price")[i] * (1 - decision.expected[i, 0] / worth.calves[i])
            out.append(
                f"Developing pays over neither with her calves above {even:,.2f} USD/cwt. She is taken to give {low:g} "
                f"to {high:g} calf crops; prices stay drawn at the two-year level after."
            )
        return out

    return lines


def in_season(table: Table, context: Context) -> NDArray[np.bool_]:
    """Herds with a replacement plan on file, from weaning to the end of winter."""
    return table.known("develop_cost") & table.known("weight") & (context.on.month in (9, 10, 11, 12, 1, 2))


QUESTION = Question(
    name="bred-heifers",
    room="cattle",
    title="Develop heifers of your own, or buy them bred?",
    about="Present value of developing, of buying bred heifers when yours would be bred, and of neither, with "
    "conception, prices and years in the herd as draws.",
    inputs=INPUTS,
    answer=answer,
    places=Places(kinds=("herd",)),
    size="heifer_head",
    in_season=in_season,
    limits="Per bred heifer at the pregnancy check. Herd health, temperament and known pedigree are not priced unless "
    "put into the calf difference.",
    options_count=3,
)
