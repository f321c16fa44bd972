"""What fixes or floors the price of cattle that are sold later: forward contract, futures, put, federal insurance.

One case for every question that offers them. Money is USD/cwt over the open price. Nobody is paid for taking the
market's side: a put returns its premium on average, and only a subsidy, or a bid above what futures and basis stand
for, is a gain. The subsidy is a share of a fair premium (Black 1976, at the spread that a put on the same cattle
stands for, else at what is stated or usual): what an insurance asks over that is a cost, and what it asks less is no
gain, since nobody knows that the spread is not narrower.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.cattle import answering, protection, slide
from sideoats.errors import InputError
from sideoats.outlook.option_price import implied_volatility
from sideoats.problem import Barred
from sideoats.question import Context, Table
from sideoats.words import say

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

COMMODITY = "feeder steer 750 lb"
FACT = "cattle/floor."
TOOLS = ("forward", "futures", "put", "insurance")
FORWARD, FUTURES, PUT, INSURANCE = range(4)
LOCKING = ("lock", "USD/head")
FIELDS = (
    "forward_price", "forward_weight", "forward_slide", "put_strike", "put_premium", "insured_price", "insured_level",
    "insurance_premium", "beginning_farmer", "fee",
)  # fmt: skip
_WHOLE = (("put_strike", "put_premium"), ("insured_price", "insured_level", "insurance_premium"))


@dataclass(frozen=True)
class Tools:
    """The tools quoted for a batch of sales; arrays (place,) unless said.

    Attributes
    ----------
    effect : (place, draw, tool) net price over the open price [USD/cwt]
    whole, share : contracts, and the share of the pounds that they cover
    paid, subsidy : of the insurance, premium after the subsidy [USD/cwt] and share that is subsidized
    fair : premium of the insurance at the spread that is drawn [USD/cwt]
    drawn : that spread, a year
    put_paid : premium with interest and commission [USD/cwt]
    fee : of a trade [USD/cwt]
    apart : the forward price's own weight from the one expected at the sale [lb]
    """

    effect: Floats
    whole: Floats
    share: Floats
    paid: Floats
    subsidy: Floats
    fair: Floats
    drawn: Floats
    put_paid: Floats
    fee: Floats
    apart: Floats

    def too_few(self, least: float) -> Bools:
        """Too few pounds for a contract."""
        return np.asarray(self.share > 1.0 / least)


def spread_of(table: Table, context: Context, days: Floats) -> tuple[Floats, Floats, Floats]:
    """Volatility that the premium of a put stands for, that of an insurance, and that of one out of line; NaN if none.

    Out of line is one that no cattle have, and, where the two stand far apart, the one further from what is likely.
    """
    by_put, by_insurance = _spreads(table, days)
    low, high = context.facts.span(FACT + "likely_volatility")
    found = np.stack([by_put, by_insurance])
    off = np.abs(np.log(found / np.sqrt(low * high)))
    apart = np.abs(np.log(by_put / by_insurance)) > np.log(context.facts.value(FACT + "spreads_apart"))
    strange = np.where((found < low) | (found > high) | (apart & (off >= off.max(axis=0))), found, np.nan)
    return by_put, by_insurance, np.where(np.isnan(strange[0]), strange[1], strange[0])


def _spreads(table: Table, days: Floats) -> tuple[Floats, Floats]:
    """Volatility (place,) that the premium of the put stands for, and that of the insurance; NaN where none gives it.

    By put-call parity the call of the same strike costs the put's premium and what the futures stand over the strike.
    """
    number, years = table.number, np.maximum(np.nan_to_num(days), 1.0) / 365.0
    futures, strike = number("futures"), number("put_strike")
    by_put = implied_volatility(number("put_premium") + futures - strike, futures, strike, years)
    ending = number("insured_price") / number("insured_level")
    call = number("insurance_premium") + ending - number("insured_price")
    return by_put, implied_volatility(call, ending, number("insured_price"), years)


def ratio_of(context: Context, days: Floats, volatility: Floats) -> Floats:
    """(place, draw) price of feeder cattle over today's: the shared draws, at a yearly `volatility` where known."""
    shared = answering.price_ratio(context, COMMODITY, np.maximum(np.nan_to_num(days), 1.0))
    moves = np.log(shared)
    shock = (moves - moves.mean(axis=1, keepdims=True)) / moves.std(axis=1, keepdims=True)
    width = (volatility * np.sqrt(np.maximum(np.nan_to_num(days), 1.0) / 365.0))[:, None]
    own = np.exp(width * shock - width**2 / 2)
    own = own / own.mean(axis=1, keepdims=True)
    return np.where(np.isnan(volatility)[:, None], shared, own)


def tools_of(
    table: Table, context: Context, *, days: Floats, weight: Floats, heads: Floats, cash: Floats, ratio: Floats
) -> Tools:
    """See `Tools`.

    Parameters
    ----------
    days : to the sale
    weight, heads : expected and drawn (place, draw) weight at the sale [lb]
    cash : (place, draw) open price then [USD/cwt]
    ratio : (place, draw) futures then over futures today
    """
    facts, number = context.facts, table.number
    years = np.maximum(np.nan_to_num(days), 1.0) / 365.0
    fee = answering.known_or(number("fee"), facts.value(FACT + "fee"))
    rate = answering.known_or(number("interest"), facts.value("cattle/interest"))
    whole, share = protection.contracts(number("head") * weight, facts.value(FACT + "contract"))
    share = np.where(np.isnan(share), 1.0, share)
    put_paid = number("put_premium") * (1.0 + rate * years) + fee
    subsidy = _subsidy(table, context)
    paid = number("insurance_premium") * (1.0 - subsidy)
    column = {name: number(name)[:, None] for name in ("futures", "forward_price", "put_strike", "insured_price")}
    end, at = column["futures"] * ratio, answering.known_or(number("forward_weight"), weight)[:, None]
    forward = slide.slide_price(column["forward_price"], at, heads, np.nan_to_num(number("forward_slide"))[:, None])
    put = _with_mean(protection.indemnity(column["put_strike"], end), number("put_premium"))
    ending = (number("insured_price") / number("insured_level"))[:, None] * ratio
    insured = protection.indemnity(column["insured_price"], ending)
    fair = insured.mean(axis=1)
    insured = _with_mean(insured, np.minimum(fair, paid + subsidy * fair))
    effects = (
        forward - cash,
        protection.hedged(0.0, column["futures"], end, fee[:, None], share[:, None]),
        share[:, None] * (put - put_paid[:, None]),
        insured - paid[:, None],
    )
    return Tools(
        np.stack(np.broadcast_arrays(*effects), axis=2),
        whole,
        share,
        paid,
        subsidy,
        fair,
        np.log(ratio).std(axis=1) / np.sqrt(years),
        put_paid,
        fee,
        np.abs(at[:, 0] - weight),
    )


def _subsidy(table: Table, context: Context) -> Floats:
    """(place,) share of the premium that the government pays."""
    table_ = context.facts[FACT + "subsidy"]
    share = protection.subsidy_share(
        table.number("insured_level"), table_.column("level from"), table_.column("subsidy")
    )
    return np.asarray(share + np.where(table.flag("beginning_farmer"), context.facts.value(FACT + "beginning"), 0.0))


def _with_mean(worth: Floats, wanted: Floats) -> Floats:
    """`worth` (place, draw) scaled to a mean of `wanted` (place,); NaN where it is worth nothing in any draw."""
    mean = worth.mean(axis=1)
    scale = np.divide(wanted, mean, out=np.full(len(mean), np.nan), where=mean > 0)
    return np.asarray(worth * scale[:, None])


def _slide_unsaid(table: Table, context: Context, apart: Floats) -> Bools:
    """(place,) a forward price for another weight without its slide, or with one that reads as cents a pound."""
    rate, least = table.number("forward_slide"), context.facts.value(FACT + "least_slide")
    other = apart > context.facts.value(FACT + "same_weight")
    return np.asarray(table.known("forward_price") & ((np.isnan(rate) & other) | ((rate > 0) & (rate < least))))


def slide_decides(table: Table, context: Context, found: Tools, gain: Floats, barred: Bools) -> tuple[Bools, Floats]:
    """(place,) the bid whose slide is not known would be the best way if it had none, and by how much a head.

    Parameters
    ----------
    gain : (place, draw, option) the tools are its last options [USD/head]
    barred : (place, option)
    """
    at = gain.shape[2] - len(TOOLS) + FORWARD
    mean = np.where(barred, -np.inf, np.nan_to_num(gain.mean(axis=1), nan=-np.inf))
    bid, best = gain[:, :, at].mean(axis=1), mean.max(axis=1)
    least = next(x for kind, money, x in context.facts["decide/trouble.least"].rows if (kind, money) == LOCKING)
    more = bid - np.where(np.isfinite(best), best, 0.0)
    return np.asarray(_slide_unsaid(table, context, found.apart) & (more > least)), more


def tool_bars(table: Table, context: Context, tools: Tools, days: Floats, before: int) -> tuple[Barred, ...]:
    """What nobody quoted, what is too little for a contract, and when insurance does not fit the sale.

    The masks have `before` options of the question in front of the tools, which they leave open.
    """
    facts, known = context.facts, table.known
    weeks, last = facts[FACT + "weeks"], facts.value(FACT + "last_days")
    quoted = (
        known("forward_price"), known("futures"), known("futures") & known("put_strike") & known("put_premium"),
        known("insured_price") & known("insured_level") & known("insurance_premium"),
    )  # fmt: skip
    few = tools.too_few(facts.value(FACT + "least_contract"))

    def of(columns: Sequence[Any]) -> Bools:
        return np.column_stack([np.zeros((len(table), before), bool), *columns])

    none, unquoted = np.zeros(len(table), bool), ~np.column_stack(quoted)
    misfit = np.isnan(tools.effect).any(axis=1) & ~unquoted
    misfit[:, :PUT] = False
    misfit[:, PUT] |= ~unquoted[:, PUT] & np.isnan(_spreads(table, days)[0])  # under what it would pay today
    outside = (days < 7 * weeks.low - last) | (days > 7 * weeks.high + last)
    return (
        Barred(of([unquoted]), say("bar.floor_unquoted")),
        Barred(of([none, few, few, none]), say("bar.too_few_for_contract", pounds=facts.value(FACT + "contract"))),
        Barred(
            of([none, none, none, outside]),
            say("bar.cover_does_not_fit", low=int(weeks.low), high=int(weeks.high)),
        ),
        Barred(of([misfit]), say("bar.premium_fits_none")),
        Barred(of([_slide_unsaid(table, context, tools.apart), none, none, none]), say("bar.slide_unsaid")),
    )


def too_good(table: Table, context: Context, expected: Floats) -> Bools:
    """(place,) a forward bid so far over what futures and basis stand for that it is of another weight, or a slip."""
    return np.asarray(table.number("forward_price") > context.facts.value(FACT + "forward_most") * expected)


def check(values: dict[str, Any], question: str) -> None:
    """Refuse half of a put and half of an insurance."""
    for whole in _WHOLE:
        given = [name for name in whole if values[name] is not None]
        if given and len(given) < len(whole):
            lacking = ", ".join(name for name in whole if values[name] is None)
            raise InputError(
                f"{', '.join(given)} without {lacking}",
                where=f"{question} {lacking.split(',')[0]}",
                expected=" and ".join(whole),
            )
