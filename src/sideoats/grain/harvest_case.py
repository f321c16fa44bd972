"""Grain off the combine as a case of hold or sell: sold, stored here or at the elevator, locked, or sold with a call.

Money is by the bushel as harvested, over selling it at harvest.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.families.hold_or_sell import LOCK, MONTH, SALE, sold_later
from sideoats.grain.bin_case import UNIT, basis_luck, lock_fee
from sideoats.grain.carry import interest_cost
from sideoats.grain.holding import StorageTerms, expected_price, month_days, month_marks, price_that_came, quoted_later
from sideoats.grain.keeping import Condition
from sideoats.grain.load import water_shrink
from sideoats.grain.price_draws import PriceDraws, price_draws
from sideoats.outlook.option_price import implied_volatility
from sideoats.problem import Barred, Choice, Flow, Hazard, labelled
from sideoats.question import Context, Table
from sideoats.words import Money, Said, say

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]

MONTHS = (3, 6, 9)  # how long storing is offered
OPTIONS = (
    Choice("sell", labelled("harvest-sell"), trouble=SALE, kind="sell"),
    *(Choice(f"farm-{m}", labelled("store-farm", n=m), trouble=SALE, kind="farm") for m in MONTHS),
    *(Choice(f"elevator-{m}", labelled("store-elevator", n=m), trouble=SALE, kind="elevator") for m in MONTHS),
    Choice("lock", labelled("store-lock"), trouble=LOCK, kind="lock"),
    Choice("sell-and-call", labelled("sell-and-call"), trouble=LOCK, kind="call"),
)
FARM, ELEVATOR, LOCKED, CALL = slice(1, 4), slice(4, 7), 7, 8
_AT = np.array(MONTHS) - 1
# What the money cannot do without, and the observable that gives it.
PRICED = {"price": "bin_bids.cash", "interest": "bin-hold.interest"}
RATE = "store-or-sell-at-harvest.farm_storage"


@dataclass(frozen=True)
class Harvest:
    """What each way gains and what it is made of.

    Attributes
    ----------
    price : (place,) net price at harvest [USD/bu]
    quoted, farm_cost, elevator_cost : (place, month 1 to 12) price expected then, cost of keeping till then [USD/bu]
    dried : (place,) cost of drying before storing; NaN where it is too wet and no drying cost is given [USD/bu]
    left : (place,) share of the bushel left after drying [1]
    fits : (place,) share of the crop that the farm's bins hold [1]
    elsewhere : (place, farm option) the rest goes to the elevator for as long; else it is sold at harvest
    gain : (place, draw, option) over selling at harvest, by the bushel of the whole crop [USD/bu]
    lock_at : (place,) index of the month whose quote is locked
    away : (place,) what is locked is kept at the elevator: the farm has no room for it, no cost of its own is given,
        or the elevator is cheaper
    both : (place,) what finds no room on the farm is locked at the elevator too, where that brings anything
    implied : (place,) yearly volatility that the call's premium stands for; NaN where none does [1]
    call_at : (place,) index of the month of the call's last day
    """

    price: Floats
    quoted: Floats
    farm_cost: Floats
    elevator_cost: Floats
    dried: Floats
    left: Floats
    fits: Floats
    elsewhere: Bools
    gain: Floats
    lock_at: Ints
    away: Bools
    both: Bools
    implied: Floats
    call_at: Ints


def bushels_of(table: Table) -> Floats:
    """(place,) bushels to place: as stated, else acres times the yield expected; NaN where neither is known."""
    stated = table.number("bushels")
    return np.where(np.isnan(stated), table.number("acres") * table.number("yield"), stated)


def harvest_of(table: Table, context: Context, crop: NDArray[np.object_], condition: Condition) -> Harvest:
    """Gains of every way over selling at harvest; `crop` (place,) as the outlook names it."""
    price, months, zero = table.number("price"), month_marks(), np.zeros(len(table))
    rate = table.number("interest")
    quoted = expected_price(price, table.rows("quotes"), np.nan_to_num(table.number("basis")), context.on)
    quoted = price_that_came(context, crop, price, quoted)
    draws = price_draws(context, crop, table.number("volatility"), table.rows("history"))
    farm = StorageTerms(
        table.number("farm_storage"), zero, zero, table.number("farm_handling"), rate, table.number("loss")
    )
    elevator = StorageTerms(
        table.number("elevator_storage"),
        table.number("elevator_free_days"),
        table.number("elevator_minimum"),
        table.number("elevator_out"),
        rate,
        zero,
    )
    farm_cost, elevator_cost = farm.cost(price, months), elevator.cost(price, months)
    dried, left = _drying(table, condition.limit[:, -1])
    luck = basis_luck(table, context)
    gain = np.zeros((len(table), context.outlook.draws, len(OPTIONS)))
    for stored, cost in ((FARM, farm_cost), (ELEVATOR, elevator_cost)):
        draws.net_into(gain[:, :, stored], quoted[:, _AT], cost[:, _AT], _AT)
        net = gain[:, :, stored] + luck[:, :, None]
        # dried before it is stored, wherever that is: what is left is sold, and the drying is paid
        gain[:, :, stored] = net * left[:, None, None] - (dried + price)[:, None, None]
    fee = lock_fee(table, context)
    fits = _fits(table)
    once = (dried + fee + price)[:, None]
    here, there = ((quoted - cost) * left[:, None] - once for cost in (farm_cost, elevator_cost))
    cheaper = np.nan_to_num(there, nan=-np.inf).max(axis=1) > np.nan_to_num(here, nan=-np.inf).max(axis=1)
    away = (np.isnan(table.number("farm_storage")) | (fits <= 0) | cheaper) & table.known("elevator_storage")
    # what finds no room is locked at the elevator for as long, where that brings anything, else it is sold
    share = np.where(away, 0.0, fits)[:, None]
    rest = np.where(away[:, None], there, np.maximum(np.nan_to_num(there, nan=0.0), 0.0))
    locked = np.where(share > 0, share * here, 0.0) + np.where(share < 1, (1.0 - share) * rest, 0.0)
    lock_at = np.argmax(np.where(np.isnan(locked), -np.inf, locked), axis=1)
    at = (np.arange(len(table)), lock_at)
    both = ~away & (fits < 1) & (rest[at] > 0)
    kept = np.where(away | both, 1.0, fits) * left
    gain[:, :, LOCKED] = locked[at][:, None] + luck * kept[:, None]
    call_at = np.round(table.number("call_months")).clip(1, quoted.shape[1]).astype(np.int64) - 1
    # what finds no room goes to the elevator for as long, where that brings anything, else it is sold
    elsewhere = np.where(gain[:, :, ELEVATOR].mean(axis=1) > 0, 1.0 - fits[:, None], 0.0)
    beyond = gain[:, :, ELEVATOR] * elsewhere[:, None, :]
    gain[:, :, FARM] = gain[:, :, FARM] * fits[:, None, None] + np.where(elsewhere[:, None, :] > 0, beyond, 0.0)
    gain[:, :, CALL], implied = _call(table, context, quoted, draws, call_at)
    return Harvest(
        price, quoted, farm_cost, elevator_cost, dried, left, fits, elsewhere > 0, gain, lock_at, away, both, implied,
        call_at,
    )  # fmt: skip


def room_taken(h: Harvest, bushels: Floats) -> Floats:
    """(place, option) room in the farm's own bins that an option fills [bu]."""
    here = (h.fits * bushels)[:, None]
    out = np.zeros((len(bushels), len(OPTIONS)))
    out[:, FARM], out[:, LOCKED] = here, np.where(h.away, 0.0, here[:, 0])
    return out


def flows_of(h: Harvest, due: Ints) -> tuple[Flow, ...]:
    """The money comes at harvest, or when the stored grain is sold."""
    then, value = np.full((len(h.price), len(OPTIONS)), np.nan), np.tile(h.price[:, None], (1, len(OPTIONS)))
    then[:, FARM] = then[:, ELEVATOR] = MONTH * np.array(MONTHS)
    then[:, LOCKED] = MONTH * (h.lock_at + 1)
    value[:, FARM] *= np.where(h.elsewhere, 1.0, h.fits[:, None])
    at_harvest = np.maximum(due, 0).astype(np.float64)
    return sold_later(value, then + at_harvest[:, None], h.gain, at_harvest)


def _fits(table: Table) -> Floats:
    """(place,) share of the crop for which there is room on the farm; all of it where the room is not stated."""
    share = table.number("bin_space") / bushels_of(table)
    return np.where(np.isnan(share), 1.0, np.minimum(share, 1.0))


def _drying(table: Table, limit: Floats) -> tuple[Floats, Floats]:
    """Drying cost per harvested bushel [USD/bu] and share of the bushel left, (place,), for grain over its limit.

    NaN cost where the grain is too wet to keep and no drying cost is given; dried to the limit where nothing is said.
    """
    moisture = table.number("moisture")
    target = np.where(table.known("dry_to"), table.number("dry_to"), limit)
    wet = np.nan_to_num(moisture, nan=-np.inf) > limit
    points = np.where(wet, np.maximum(moisture - target, 0.0), 0.0)
    cost = np.where(wet, points * table.number("drying"), 0.0)
    left = 1.0 - np.where(wet, np.nan_to_num(water_shrink(moisture, target)), 0.0) / 100.0
    return np.asarray(cost), np.asarray(left)


def _call(table: Table, context: Context, quoted: Floats, draws: PriceDraws, at: Ints) -> tuple[Floats, Floats]:
    """Buying a call beside the sale: gain (place, draw) USD/bu, and the yearly volatility that its premium stands for.

    The market sold the call at the premium, so the draws of the futures take the volatility that the premium implies
    (Black 1976) and the call is worth its premium on average: it changes the shape of the risk and brings no profit;
    the interest on the premium is its cost. NaN where no volatility gives that premium.
    """
    futures = np.take_along_axis(quoted, at[:, None], axis=1)[:, 0] - np.nan_to_num(table.number("basis"))
    years = month_days(context.on)[at] / 365.0
    premium, strike = table.number("call_premium"), table.number("call_strike")
    implied = implied_volatility(premium, futures, strike, years)
    moves = np.log(draws.at(at))
    spread = moves.std(axis=1, keepdims=True)
    shock = (moves - moves.mean(axis=1, keepdims=True)) / np.where(spread > 0, spread, 1.0)
    width = (implied * np.sqrt(years))[:, None]
    worth = np.maximum(futures[:, None] * np.exp(width * shock - width**2 / 2) - strike[:, None], 0.0)
    mean = worth.mean(axis=1)
    fair = np.divide(premium, mean, out=np.full(len(mean), np.nan), where=mean > 0)  # rest of the sampling error
    paid = premium + interest_cost(premium, table.number("interest"), at + 1)
    return np.asarray(worth * fair[:, None] - paid[:, None]), implied


def _of_options(n: int, *, farm: Any = False, elevator: Any = False, lock: Any = False, call: Any = False) -> Bools:
    out = np.zeros((n, len(OPTIONS)), bool)
    out[:, FARM], out[:, ELEVATOR], out[:, LOCKED], out[:, CALL] = farm, elevator, lock, call
    return out


def going_bad(h: Harvest, c: Condition) -> Bools:
    """(place,) is heating, or keeps for less than a month as it is and is not dried."""
    return np.asarray(c.heating | (c.spoiled[:, 0] & ~(h.dried > 0)))


def mispriced(table: Table, context: Context, h: Harvest) -> Bools:
    """(place,) a call is given whose premium no volatility gives, or one that no grain has, though a price reaches its
    last day.
    """
    low, high = context.facts.span("grain/likely_volatility")
    given = ~np.isnan(table.number("call_premium") + table.number("call_strike"))
    priced = ~np.isnan(np.take_along_axis(h.quoted, h.call_at[:, None], axis=1)[:, 0])
    return np.asarray(~((h.implied >= low) & (h.implied <= high)) & given & priced)


def bars(table: Table, context: Context, h: Harvest, c: Condition) -> tuple[Barred, ...]:
    """What may not be stored, what has no price, and what was not offered; selling stays open whatever it is like."""
    n = len(table)
    going = going_bad(h, c)
    undried = np.isnan(h.dried) & ~going
    spoiled = c.spoiled & ~(h.dried > 0)[:, None] & ~going[:, None]  # the table is read at the moisture before drying
    beyond, unquoted = np.isnan(h.quoted[:, _AT]), ~quoted_later(table.rows("quotes"), context.on)
    no_farm, no_elevator = np.isnan(table.number("farm_storage")), np.isnan(table.number("elevator_storage"))
    full = h.fits <= 0
    no_call = np.isnan(table.number("call_premium") + table.number("call_strike"))
    short = np.isnan(np.take_along_axis(h.quoted, h.call_at[:, None], axis=1)[:, 0]) & ~no_call

    def stored(rows: Bools) -> Bools:
        return _of_options(n, farm=rows[:, None], elevator=rows[:, None], lock=rows)

    def why(i: int) -> Said | None:
        return next(iter(reversed(c.reasons(i))), None)

    return (
        Barred(stored(going), why),
        Barred(stored(undried), lambda i: say("bar.too_wet_undried", why=c.too_wet(i))),
        Barred(
            _of_options(n, farm=spoiled[:, _AT], elevator=spoiled[:, _AT], lock=spoiled[np.arange(n), h.lock_at]), why
        ),
        Barred(_of_options(n, farm=full[:, None], lock=full & ~h.away), say("bar.bins_full")),
        Barred(_of_options(n, farm=no_farm[:, None], lock=no_farm & ~h.away), say("bar.no_farm_storage")),
        Barred(_of_options(n, elevator=no_elevator[:, None]), say("bar.no_elevator_storage")),
        Barred(_of_options(n, lock=unquoted), say("bar.no_quote_to_lock")),
        Barred(_of_options(n, farm=beyond, elevator=beyond), say("bar.no_quote_so_far")),
        Barred(_of_options(n, call=no_call), say("bar.no_call")),
        Barred(_of_options(n, call=short), say("bar.no_quote_for_call")),
        Barred(_of_options(n, call=mispriced(table, context, h)), say("bar.call_mispriced")),
    )


def hazards(context: Context, h: Harvest, c: Condition, barred: Bools, due: Ints) -> tuple[Hazard, ...]:
    """Grain that would go bad in store, and grain of unknown moisture where storing it is what pays.

    Standing grain cannot be tested yet: nothing is stored before harvest, so the test is asked for from harvest on.
    """
    kept = slice(FARM.start, CALL)
    mean = np.where(barred[:, kept], -np.inf, h.gain[:, :, kept].mean(axis=1))
    pays = np.asarray((np.nan_to_num(mean, nan=-np.inf) > 0).any(axis=1))
    within = int(context.facts.value("grain/move_within"))
    return (
        Hazard(
            "harvest.keeps",
            going_bad(h, c),
            values={"why": lambda i: next(iter(reversed(c.reasons(i))), None)},
            act_within=within,
        ),
        Hazard(
            "harvest.untested",
            np.zeros(len(pays), bool),
            {"bin_check.moisture": ~c.known},
            {"limit": lambda i: c.limit_said(i, 0)},
            look_within=within,
            applies=pays & (due <= 0),
        ),
    )


def quantities(table: Table, h: Harvest, barred: Bools) -> dict[str, tuple[Any, Any]]:
    """Figures of every row."""
    return {
        "bushels": (bushels_of(table), "bu"),
        "call_implied_volatility": (np.where(barred[:, CALL], np.nan, h.implied), "1"),
        "drying_cost": (h.dried, UNIT),
        "share_left_after_drying": (h.left, "1"),
        "lock_month": (np.where(barred[:, LOCKED], np.nan, h.lock_at + 1.0), "month"),
        "bushels_on_the_farm": (np.where(h.fits < 1, h.fits * bushels_of(table), np.nan), "bu"),
        **{f"farm_break_even_month_{m}": (h.price + h.farm_cost[:, m - 1], UNIT) for m in MONTHS},
        **{f"elevator_break_even_month_{m}": (h.price + h.elevator_cost[:, m - 1], UNIT) for m in MONTHS},
    }


def ruled_figures(h: Harvest, bushels: Floats) -> Any:
    """What rests on the ruling: the best in all over selling."""

    def of(ruling: Any) -> dict[str, tuple[Any, Any]]:
        best = np.maximum(ruling.leads, 0)
        over = ruling.figures.expected[np.arange(len(best)), best]
        return {"best_over_selling": (over * bushels, "USD")}

    return of


def by_bushel(price: float) -> Money:
    """A price or cost of a bushel."""
    return Money(float(price), unit=UNIT)
