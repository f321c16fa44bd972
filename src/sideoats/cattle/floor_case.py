"""A floor under the price of calves that are sold later: left open, contracted, hedged, a put, or insured.

Money is a head, over leaving the price open. Nobody is paid for taking the market's side: the futures stand for what
is expected, a put and an insurance return their premium on average, and only a subsidy, or a bid above what futures and
basis stand for, is a gain. What the tools take off the bad years is weighed by the ruling, against the luck of the open
price.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.cattle import answering, protection, slide
from sideoats.errors import InputError
from sideoats.families.own_and_sell import Quantities
from sideoats.outlook.option_price import implied_volatility
from sideoats.problem import Barred, Choice, labelled
from sideoats.question import Context, Table
from sideoats.words import say

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

UNIT = "USD/head"
COMMODITY = "feeder steer 750 lb"
WEEK, FORTNIGHT = 7, 14
FACT = "cattle/floor."
OPTIONS = (
    Choice("cash", labelled("floor-cash"), passive=True, kind="cash"),
    *(Choice(name, labelled(f"floor-{name}"), trouble="lock", kind=name)
      for name in ("forward", "futures", "put", "insurance")),
)  # fmt: skip
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
    implied : yearly volatility that a premium stands for; NaN where none does
    strange : the same of a premium that no feeder cattle have had; NaN where none is out of line
    whole, share : contracts, and the share of the pounds that they cover
    paid, subsidy : of the insurance, premium after the subsidy [USD/cwt] and share that is subsidized
    put_paid : premium with interest and commission [USD/cwt]
    fee : of a trade [USD/cwt]
    basis : over the futures [USD/cwt]
    """

    days: Floats
    weight: Floats
    expected: Floats
    cash: Floats
    gain: Floats
    exposure: Floats
    implied: Floats
    strange: Floats
    whole: Floats
    share: Floats
    paid: Floats
    subsidy: Floats
    put_paid: Floats
    fee: Floats
    basis: Floats

    @property
    def past(self) -> Bools:
        """The sale is past."""
        return np.asarray(self.days < 0)

    def too_few(self, least: float) -> Bools:
        """Too few pounds for a contract."""
        return np.asarray(self.share > 1.0 / least)


def floor_of(table: Table, context: Context) -> Floor:
    """See `Floor`."""
    facts, number = context.facts, table.number
    futures, basis, given = number("futures"), number("basis"), number("expected_price")
    basis = np.where(np.isnan(basis), given - futures, basis)
    expected = np.where(np.isnan(given), futures + basis, given)
    days = table.days_until("sale", context.on)
    years = np.maximum(np.nan_to_num(days), 1.0) / 365.0
    fee = answering.known_or(number("fee"), facts.value(FACT + "fee"))
    rate = answering.known_or(number("interest"), facts.value("cattle/interest"))
    implied, ratio, strange = _moves(table, context, days, years)
    noise = context.outlook.normal("calf basis", table.keys)
    stray = answering.known_or(number("basis_sd"), facts.value(FACT + "basis_sd"))[:, None]
    cash = _mean_of(expected, ratio, futures) + stray * (noise - noise.mean(axis=1, keepdims=True))
    weight, weights = number("weight"), context.outlook.normal("sale weight", table.keys)
    spread = facts.value(FACT + "weight_sd") * (weights - weights.mean(axis=1, keepdims=True))
    heads = weight[:, None] * (1.0 + spread)
    whole, share = protection.contracts(number("head") * weight, facts.value(FACT + "contract"))
    share = np.where(np.isnan(share), 1.0, share)
    put_paid = number("put_premium") * (1.0 + rate * years) + fee
    subsidy = _subsidy(table, context)
    paid = number("insurance_premium") * (1.0 - subsidy)
    nets = _nets(table, futures, ratio, cash, heads, share, fee, put_paid, paid)
    gain = np.stack([(net - cash) * heads / 100 for net in nets], axis=2)
    open_ = cash * heads / 100
    luck = np.nan_to_num(open_ - open_.mean(axis=1, keepdims=True))
    return Floor(
        days, heads, expected, cash, gain, luck, implied, strange, whole, share, paid, subsidy, put_paid, fee, basis
    )


def _mean_of(expected: Floats, ratio: Floats, futures: Floats) -> Floats:
    """(place, draw) cash price without the luck of its basis: the futures move, the basis stays."""
    moved = np.where(np.isnan(futures), expected, futures)[:, None] * (ratio - 1.0)
    return np.asarray(expected[:, None] + moved)


def _moves(table: Table, context: Context, days: Floats, years: Floats) -> tuple[Floats, Floats, Floats]:
    """Volatility that a premium stands for (the put's, else the insurance's), (place, draw) price over today's, and the
    volatility of whichever premium is out of line.

    By put-call parity the call of the same strike costs the put's premium and what the futures stand over the strike.
    """
    number = table.number
    futures, strike = number("futures"), number("put_strike")
    by_put = implied_volatility(number("put_premium") + futures - strike, futures, strike, years)
    ending = number("insured_price") / number("insured_level")
    call = number("insurance_premium") + ending - number("insured_price")
    by_insurance = implied_volatility(call, ending, number("insured_price"), years)
    implied = np.where(np.isnan(by_put), by_insurance, by_put)
    shared = answering.price_ratio(context, COMMODITY, np.maximum(np.nan_to_num(days), 1.0))
    moves = np.log(shared)
    shock = (moves - moves.mean(axis=1, keepdims=True)) / moves.std(axis=1, keepdims=True)
    width = (implied * np.sqrt(years))[:, None]
    own = np.exp(width * shock - width**2 / 2)
    own = own / own.mean(axis=1, keepdims=True)
    low, high = context.facts.span(FACT + "likely_volatility")
    found = np.stack([by_put, by_insurance])
    strange = np.where((found < low) | (found > high), found, np.nan)
    odd = np.where(np.isnan(strange[0]), strange[1], strange[0])
    return implied, np.where(np.isnan(implied)[:, None], shared, own), odd


def _subsidy(table: Table, context: Context) -> Floats:
    """(place,) share of the premium that the government pays."""
    table_ = context.facts[FACT + "subsidy"]
    share = protection.subsidy_share(
        table.number("insured_level"), table_.column("level from"), table_.column("subsidy")
    )
    return np.asarray(share + np.where(table.flag("beginning_farmer"), context.facts.value(FACT + "beginning"), 0.0))


def _nets(
    table: Table,
    futures: Floats,
    ratio: Floats,
    cash: Floats,
    heads: Floats,
    share: Floats,
    fee: Floats,
    put_paid: Floats,
    paid: Floats,
) -> tuple[Floats, ...]:
    """(place, draw) net prices of every option [USD/cwt]; a premium is what its cover returns on average."""
    number = table.number
    column = {name: number(name)[:, None] for name in ("forward_price", "put_strike", "insured_price")}
    end, at = futures[:, None] * ratio, answering.known_or(number("forward_weight"), number("weight"))[:, None]
    forward = slide.slide_price(column["forward_price"], at, heads, number("forward_slide")[:, None])
    put = _fair(protection.indemnity(column["put_strike"], end), number("put_premium"))
    ending = (number("insured_price") / number("insured_level"))[:, None] * ratio
    insured = _fair(protection.indemnity(column["insured_price"], ending), number("insurance_premium"))
    return (
        cash,
        forward,
        protection.hedged(cash, futures[:, None], end, fee[:, None], share[:, None]),
        cash + share[:, None] * (put - put_paid[:, None]),
        cash + insured - paid[:, None],
    )


def _fair(worth: Floats, premium: Floats) -> Floats:
    """`worth` (place, draw) with the premium as its mean: what is left of the sampling error."""
    mean = worth.mean(axis=1)
    scale = np.divide(premium, mean, out=np.full(len(mean), np.nan), where=mean > 0)
    return np.asarray(worth * scale[:, None])


def bars(table: Table, context: Context, f: Floor) -> tuple[Barred, ...]:
    """What nobody quoted, what is too little for a contract, and when insurance does not fit the sale."""
    facts, known = context.facts, table.known
    weeks, last = facts[FACT + "weeks"], facts.value(FACT + "last_days")
    outside = (f.days < 7 * weeks.low - last) | (f.days > 7 * weeks.high + last)
    quoted = {
        FORWARD: known("forward_price"), FUTURES: known("futures"),
        PUT: known("futures") & known("put_strike") & known("put_premium"),
        INSURANCE: known("insured_price") & known("insured_level") & known("insurance_premium"),
    }  # fmt: skip
    few = f.too_few(facts.value(FACT + "least_contract"))

    def of(**rows: Bools) -> Bools:
        out = np.zeros((len(table), len(OPTIONS)), bool)
        for name, mask in rows.items():
            out[:, [o.key for o in OPTIONS].index(name)] = mask
        return out

    unquoted = of(**{OPTIONS[at].key: ~rows for at, rows in quoted.items()})
    misfit = np.isnan(f.gain).any(axis=1) & ~unquoted
    misfit[:, :PUT] = False
    acts = np.arange(len(OPTIONS)) > 0
    return (
        Barred(f.past[:, None] & acts, say("bar.sale_past")),
        Barred(unquoted, say("bar.floor_unquoted")),
        Barred(of(futures=few, put=few), say("bar.too_few_for_contract", pounds=facts.value(FACT + "contract"))),
        Barred(of(insurance=outside), say("bar.cover_does_not_fit", low=int(weeks.low), high=int(weeks.high))),
        Barred(misfit, say("bar.premium_fits_none")),
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
    least = f.basis + table.number("put_strike") - f.put_paid
    return {
        "expected_price": (f.expected, "USD/cwt"),
        "contracts": (np.where(table.known("head") & table.known("futures"), f.whole, np.nan), "1"),
        "share_hedged": (np.where(table.known("head") & table.known("futures"), f.share, np.nan), "1"),
        "implied_volatility": (f.implied, "1"),
        "floor_of_the_put": (least, "USD/cwt"),
        "subsidy_share": (f.subsidy, "1"),
        "premium_after_subsidy": (f.paid, "USD/cwt"),
        "worst_tenth_open": (np.quantile(np.nan_to_num(f.cash), 0.1, axis=1), "USD/cwt"),
    }


def check(values: dict[str, Any]) -> None:
    """Refuse half of a put and half of an insurance."""
    for whole in (("put_strike", "put_premium"), ("insured_price", "insured_level", "insurance_premium")):
        given = [name for name in whole if values[name] is not None]
        if given and len(given) < len(whole):
            lacking = ", ".join(name for name in whole if values[name] is None)
            raise InputError(
                f"{', '.join(given)} without {lacking}",
                where=f"price-floor {lacking.split(',')[0]}",
                expected=" and ".join(whole),
            )
