"""store-or-sell-at-harvest: sell off the combine, store here or at the elevator, lock a later price, or buy a call."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.decide import Decision, decide
from sideoats.grain.carry import interest_cost
from sideoats.grain.holding import StorageTerms, expected_price, month_marks, quoted_later
from sideoats.grain.load import water_shrink
from sideoats.grain.questions._condition import (
    BIN_CAUTIONS,
    CROP_ALIASES,
    CROPS,
    PRICE_CAUTIONS,
    Condition,
    bin_condition,
)
from sideoats.grain.questions._prices import PriceDraws, price_draws
from sideoats.question import Answers, Bar, Context, Option, Places, Question, Table
from sideoats.schema import Field

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

INPUTS = (
    Field("crop", "choice", "what is harvested", choices=CROPS, aliases=CROP_ALIASES, default="wheat",
          found_in=("place:crop",)),
    Field("bushels", "number", "how much there is to place", unit="bu", bare=True, low=1, high=10_000_000),
    Field("acres", "number", "field size, where bushels are not known", unit="ac", bare=True, low=0.1, high=100_000,
          found_in=("place:acres",)),
    Field("yield", "number", "yield expected, where bushels are not known", unit="bu/ac", low=0, high=400,
          found_in=("place:expected_yield",)),
    Field("price", "number", "net price at harvest, after discounts and freight", unit="USD/bu", low=0.2, high=60,
          required=True, example="5.50 USD/bu", found_in=("evidence:bin_bids.cash", "place:price", "quote:{crop}"),
          fresh_days=14),
    Field("interest", "share", "yearly interest on the money tied up", required=True, high=0.4, example="8 %",
          found_in=("setting:interest",)),
    Field("quotes", "series", "bids or futures for later dates: a CSV file with columns date and USD/bu", unit="USD/bu",
          low=0.2, high=60, found_in=("evidence:bin_bids.curve",), fresh_days=14),
    Field("basis", "number", "local price less the quote when it is sold; give it where the quotes are futures",
          unit="USD/bu", low=-5, high=5, found_in=("evidence:bin_bids.basis",), fresh_days=14),
    Field("volatility", "share", "yearly standard deviation of the log price, if you set it yourself", low=0.01,
          found_in=("setting:volatility.grain",)),
    Field("history", "series", "past monthly prices of three years or more: a CSV file", unit="USD/bu", low=0.01,
          high=1000),
    Field("farm_storage", "number", "what keeping it on the farm costs", unit="USD/bu/month", low=0, high=1,
          example="0.03 USD/bu/month", found_in=("setting:storage.on_farm",)),
    Field("farm_handling", "number", "into the bin, out of it and to the buyer again", unit="USD/bu", low=0, high=2,
          default=0.0, found_in=("setting:handling.on_farm",)),
    Field("bin_space", "number", "room in the farm's bins", unit="bu", bare=True, low=0, high=10_000_000),
    Field("elevator_storage", "number", "what the elevator charges", unit="USD/bu/month", low=0, high=1,
          example="0.06 USD/bu/month", found_in=("setting:storage.elevator",)),
    Field("elevator_free_days", "number", "days the elevator does not charge", unit="day", bare=True, low=0, high=365,
          default=0.0),
    Field("elevator_minimum", "number", "least charge of the elevator", unit="USD/bu", low=0, high=2, default=0.0),
    Field("elevator_out", "number", "the elevator's charge for taking it out", unit="USD/bu", low=0, high=2,
          default=0.0),
    Field("loss", "share", "share of its value lost to shrink and quality each month on the farm", high=0.2,
          default=0.0),
    Field("moisture", "number", "moisture of the wettest loads", unit="percent", low=4, high=45, example="12.5 %"),
    Field("temperature", "number", "temperature of the grain", unit="degF", low=-20, high=150),
    Field("dry_to", "number", "moisture it would be dried to", unit="percent", low=8, high=20),
    Field("drying", "number", "drying cost for each point of moisture taken out", unit="USD/bu", low=0, high=1,
          example="0.06 USD/bu"),
    Field("call_premium", "number", "premium of a call option bought after selling", unit="USD/bu", low=0, high=10),
    Field("call_strike", "number", "its strike price (futures)", unit="USD/bu", low=0.2, high=60),
    Field("call_months", "number", "months to its last day", unit="1", low=1, high=12, default=6.0),
    Field("hedge_cost", "number", "commission and interest on margin money", unit="USD/bu", low=0, high=1,
          found_in=("setting:hedge_cost",)),
    Field("harvest_date", "date", "tells the week when to ask", found_in=("place:harvest_date",)),
)  # fmt: skip

MONTHS_OFFERED = (3, 6, 9)
OPTIONS = (
    Option("sell", "Sell at harvest", day=0),
    *(Option(f"farm-{m}", f"Store on the farm, sell after {m} months") for m in MONTHS_OFFERED),
    *(Option(f"elevator-{m}", f"Store at the elevator, sell after {m} months") for m in MONTHS_OFFERED),
    Option("lock", "Store on the farm and lock in the best later quote now (forward sale, or futures sold)"),
    Option("sell-and-call", "Sell at harvest and buy a call option"),
)
SELL, FARM, ELEVATOR, LOCK, CALL = 0, slice(1, 4), slice(4, 7), 7, 8
_AT = np.array(MONTHS_OFFERED) - 1


@dataclass(frozen=True)
class Sums:
    """Payoff and what it is made of; arrays (place,), (place, month) or (place, draw, option)."""

    price: Floats
    quoted: Floats
    farm_cost: Floats
    elevator_cost: Floats
    dried: Floats
    kept: Floats
    payoff: Floats
    lock_at: NDArray[np.int64]


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


def _sums(table: Table, context: Context, crop: NDArray[np.object_], condition: Condition) -> Sums:
    price, months, zero = table.number("price"), month_marks(), np.zeros(len(table))
    rate = table.number("interest")
    quoted = expected_price(price, table.rows("quotes"), np.nan_to_num(table.number("basis")), context.on)
    draws = price_draws(context, crop, table.number("volatility"), table.rows("history"))
    farm = StorageTerms(
        table.number("farm_storage"), zero, zero, table.number("farm_handling"), rate, table.number("loss")
    )
    elevator = StorageTerms(
        table.number("elevator_storage"), table.number("elevator_free_days"), table.number("elevator_minimum"),
        table.number("elevator_out"), rate, zero,
    )  # fmt: skip
    farm_cost, elevator_cost = farm.cost(price, months), elevator.cost(price, months)
    dried, kept = _drying(table, condition.limit[:, -1])
    payoff = np.empty((len(table), context.outlook.draws, len(OPTIONS)))
    draws.net_into(payoff[:, :, FARM], quoted[:, _AT], farm_cost[:, _AT], _AT)
    draws.net_into(payoff[:, :, ELEVATOR], quoted[:, _AT], elevator_cost[:, _AT], _AT)
    payoff[:, :, FARM] = payoff[:, :, FARM] * kept[:, None, None] - dried[:, None, None]
    fee = np.where(table.known("hedge_cost"), table.number("hedge_cost"), context.facts.value("grain/hedge_cost"))
    locked = (quoted - farm_cost) * kept[:, None] - dried[:, None] - fee[:, None]
    usable = np.where(np.isnan(locked), -np.inf, locked)
    lock_at = np.argmax(usable, axis=1)
    payoff[:, :, SELL] = price[:, None]
    payoff[:, :, LOCK] = np.take_along_axis(locked, lock_at[:, None], axis=1)
    payoff[:, :, CALL] = _call(table, price, quoted, draws, rate)
    return Sums(price, quoted, farm_cost, elevator_cost, dried, kept, payoff, lock_at)


def _call(table: Table, price: Floats, quoted: Floats, draws: PriceDraws, rate: Floats) -> Floats:
    """Selling and buying a call, (place, draw), USD/bu: price - premium with interest + the call's worth at its end."""
    months = np.round(table.number("call_months")).clip(1, quoted.shape[1]).astype(np.int64)
    basis = np.nan_to_num(table.number("basis"))
    at = months - 1
    later = np.take_along_axis(quoted, at[:, None], axis=1) * draws.at(at)
    worth = np.maximum(later - basis[:, None] - table.number("call_strike")[:, None], 0.0)
    premium = table.number("call_premium")
    paid = premium + interest_cost(premium, rate, months)
    return np.asarray((price - paid)[:, None] + worth)


def _bars(table: Table, context: Context, sums: Sums, condition: Condition) -> tuple[Bar, ...]:
    n = len(table)
    unquoted = ~quoted_later(table.rows("quotes"), context.on)
    beyond = np.isnan(sums.quoted[:, _AT])
    undried = np.isnan(sums.dried)
    spoiled = condition.spoiled & ~(sums.dried > 0)[:, None]  # the table is read at the moisture before drying

    def mask(farm: Any = False, elevator: Any = False, lock: Any = False, call: Any = False) -> Bools:
        out = np.zeros((n, len(OPTIONS)), bool)
        out[:, FARM], out[:, ELEVATOR], out[:, LOCK], out[:, CALL] = farm, elevator, lock, call
        return out

    no_rate = np.isnan(table.number("farm_storage"))
    no_elevator = np.isnan(table.number("elevator_storage"))
    full = np.nan_to_num(table.number("bin_space"), nan=np.inf) < np.nan_to_num(_bushels(table))
    no_call = np.isnan(table.number("call_premium") + table.number("call_strike"))
    short = np.isnan(sums.payoff[:, :, CALL]).any(axis=1) & ~no_call
    why = condition.reason(table.number("moisture"), table.number("temperature"))
    return (
        Bar(
            mask(farm=undried[:, None], lock=undried),
            lambda i: f"too wet to store: {why(i)}; give drying= to count drying in",
        ),
        Bar(mask(farm=spoiled[:, _AT], lock=spoiled[np.arange(n), sums.lock_at]), why),
        Bar(mask(farm=full[:, None], lock=full), "the farm's bins do not hold that much"),
        Bar(mask(farm=no_rate[:, None], lock=no_rate), "no storage cost on the farm is given"),
        Bar(mask(elevator=no_elevator[:, None]), "no storage charge of the elevator is given"),
        Bar(mask(lock=unquoted), "no quote to lock in"),
        Bar(mask(farm=beyond, elevator=beyond), "no quote reaches that far"),
        Bar(mask(call=no_call), "no premium and strike are given"),
        Bar(mask(call=short), "no quote reaches the last day of the call"),
    )


def _bushels(table: Table) -> Floats:
    stated = table.number("bushels")
    return np.where(np.isnan(stated), table.number("acres") * table.number("yield"), stated)


def answer(table: Table, context: Context) -> Answers:
    """See `QUESTION`."""
    crop = np.array([name or "wheat" for name in table.text("crop")], dtype=object)
    n, never = len(table), np.zeros(len(table), bool)
    condition = bin_condition(
        context, crop, moisture=table.number("moisture"), temperature=table.number("temperature"),
        earlier=np.full(n, np.nan), heating=never, out=never, months=month_marks(),
    )  # fmt: skip
    sums = _sums(table, context, crop, condition)
    bars = _bars(table, context, sums, condition)
    barred = np.logical_or.reduce([bar.mask for bar in bars])
    decision = decide(sums.payoff, barred=barred, days=[-1 if o.day is None else o.day for o in OPTIONS])
    bushels = _bushels(table)
    top = np.maximum(decision.best, 0)
    gain = decision.expected[np.arange(n), top] - sums.price
    rates = table.known("farm_storage") | table.known("elevator_storage")
    missing = ~(table.known("price") & table.known("interest") & rates)
    show = _Text(table, context, sums, decision, bushels)
    return Answers(
        table, context, options=OPTIONS, decision=decision, unit="USD/bu", bars=bars,
        headline=show.headline, because=show.because, cautions=(*PRICE_CAUTIONS, *show.cautions, *BIN_CAUTIONS),
        act_by=np.nan_to_num(table.days_until("harvest_date", context.on)).clip(0).astype(np.int64),
        quantities={
            "bushels": (bushels, "bu"),
            "best_over_selling": (gain * bushels, "USD"),
            "drying_cost": (sums.dried, "USD/bu"),
            "share_left_after_drying": (sums.kept, "1"),
            "lock_month": (np.where(decision.barred[:, LOCK], np.nan, sums.lock_at + 1.0), "month"),
            **{f"farm_break_even_month_{m}": (sums.price + sums.farm_cost[:, m - 1], "USD/bu") for m in MONTHS_OFFERED},
            **{
                f"elevator_break_even_month_{m}": (sums.price + sums.elevator_cost[:, m - 1], "USD/bu")
                for m in MONTHS_OFFERED
            },
        },
        missing=missing, missing_headline=lambda i: _lacking(table, i),
        cost_of_waiting=np.zeros(n),
    )  # fmt: skip


def _lacking(table: Table, i: int) -> str:
    """What is not on file for a crop, and whom to ask."""
    lacking = []
    if not table.known("interest")[i]:
        lacking.append("interest")
    if not (table.known("farm_storage")[i] or table.known("elevator_storage")[i]):
        lacking.append("storage cost (farm or elevator)")
    grower = ["the grower"] if lacking else []
    buyer = []
    if not table.known("price")[i]:
        lacking.append("harvest price of the last two weeks")
        buyer = ["the buyer"]
    return f"No {' or '.join(lacking)} on file: ask {' and '.join(grower + buyer)}."


class _Text:
    """Lines of a call, made only for rows that are shown."""

    def __init__(self, table: Table, context: Context, sums: Sums, decision: Decision, bushels: Floats) -> None:
        self.table, self.context, self.sums, self.decision, self.bushels = table, context, sums, decision, bushels
        self.no_low = context.facts["grain/no_harvest_low"].text
        record = context.facts["grain/storing_record"]
        context.facts["grain/five_choices"]
        old, new = (row for row in record.rows if row[1].startswith("storage hedge"))
        self.cautions = (
            f"What storing returned is no guide by itself: one Missouri series printed {old[2]} cents/bu for a storage "
            f"hedge to 1 December in {old[0][:9]}, and {new[2]} in {new[0][:9]}.",
            "Options and futures need an account, margin money and a licensed broker.",
        )

    def headline(self, i: int) -> str:
        best = int(self.decision.best[i])
        price = self.sums.price[i]
        if best <= 0:
            return f"Sell at harvest for {price:.2f} USD/bu: nothing offered pays for storing it."
        gain = self.decision.expected[i, best] - price
        money = f"{gain:.2f} USD/bu" + (
            f", {gain * self.bushels[i]:,.0f} USD on {self.bushels[i]:,.0f} bu" if np.isfinite(self.bushels[i]) else ""
        )
        return f"{OPTIONS[best].label}: {money} over selling at harvest, on average."

    def because(self, i: int) -> list[str]:
        lines = []
        if not quoted_later(self.table.rows("quotes")[i : i + 1], self.context.on)[0]:
            lines.append("Nothing is quoted for later: the price is taken to stay as it is on average; carry decides.")
        else:
            m = int(np.flatnonzero(~np.isnan(self.sums.quoted[i]))[-1])
            lines.append(f"Quotes stand for {self.sums.quoted[i, m]:.2f} USD/bu in {m + 1} months.")
        if not self.table.known("harvest_date")[i]:
            lines.append("No harvest date was given: it is taken to be harvested now.")
        if self.sums.dried[i] > 0:
            lines.append(
                f"Drying costs {self.sums.dried[i]:.2f} USD/bu and leaves {self.sums.kept[i]:.1%} of the weight; grain "
                "sold at harvest is priced wet, as given."
            )
        if int(self.decision.best[i]) == CALL:
            lines.append("What a call pays on average rests on the volatility used: compare it with the premium's own.")
        if self.table.text("crop")[i] in ("", "wheat"):
            lines.append(self.no_low + " Do not count on a rise because it is harvest.")
        return lines


def _in_season(table: Table, context: Context) -> Bools:
    """From three weeks before harvest to two weeks after."""
    days = table.days_until("harvest_date", context.on)
    return np.asarray((days >= -14) & (days <= 21))


QUESTION = Question(
    name="store-or-sell-at-harvest",
    room="grain",
    title="Sell at harvest, or store?",
    about=(
        "Selling off the combine against storing on the farm or at the elevator for three, six or nine months, locking "
        "in a later quote, or selling and buying a call; free days, minimum charges, drying and water shrink counted."
    ),
    inputs=INPUTS,
    answer=answer,
    places=Places(kinds=("field",), crops=(*CROPS, *CROP_ALIASES)),
    in_season=_in_season,
    limits=(
        "No forecast. The call is valued at its last day only; a call spread, delayed price contracts, government "
        "loans and tax are not in it. The elevator is taken to accept the grain as it is."
    ),
)
