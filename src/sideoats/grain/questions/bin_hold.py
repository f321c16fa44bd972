"""bin-hold: sell the grain in the bin, hold it some months, sell in thirds, or lock in a later price."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import timedelta
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.call import ACT, LOOK, STOP, WAIT
from sideoats.decide import Decision, cara_certainty_equivalent, decide
from sideoats.grain.carry import MONTH_DAYS, indifference_price, storage_charge
from sideoats.grain.holding import (
    MONTHS_AHEAD,
    StorageTerms,
    chance_of_more,
    expected_price,
    month_marks,
    quoted_later,
)
from sideoats.grain.questions._condition import (
    BIN_CAUTIONS,
    CROP_ALIASES,
    CROPS,
    PRICE_CAUTIONS,
    Condition,
    bin_condition,
)
from sideoats.grain.questions._prices import price_draws, seasonal_record
from sideoats.question import Answers, Bar, Context, Option, Places, Question, Table
from sideoats.schema import Field

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]

INPUTS = (
    Field("crop", "choice", "what is in the bin", choices=CROPS, aliases=CROP_ALIASES, default="wheat",
          found_in=("place:crop",)),
    Field("bushels", "number", "how much is in the bin", unit="bu", bare=True, low=1, high=10_000_000, required=True,
          example="12000", found_in=("place:amount",)),
    Field("price", "number", "net price for it today, after discounts and freight", unit="USD/bu", low=0.2, high=60,
          required=True, example="5.50 USD/bu", found_in=("evidence:bin_bids.cash", "place:price", "quote:{crop}"),
          fresh_days=14),
    Field("storage", "number", "what keeping it costs", unit="USD/bu/month", low=0, high=1, required=True,
          example="0.05 USD/bu/month", found_in=("setting:storage.on_farm",)),
    Field("interest", "share", "yearly interest on the money tied up", required=True, high=0.4, example="8 %",
          found_in=("setting:interest",)),
    Field("quotes", "series", "bids or futures for later dates: a CSV file with columns date and USD/bu", unit="USD/bu",
          low=0.2, high=60, found_in=("evidence:bin_bids.curve",), fresh_days=14),
    Field("basis", "number", "local price less the quote when the grain is sold; give it where the quotes are futures",
          unit="USD/bu", low=-5, high=5, example="-0.45 USD/bu", found_in=("evidence:bin_bids.basis",), fresh_days=14),
    Field("basis_sd", "number", "how far the basis strays from that", unit="USD/bu", low=0, high=2,
          found_in=("setting:basis_sd",)),
    Field("volatility", "share", "yearly standard deviation of the log price, if you set it yourself", low=0.01,
          example="30 %", found_in=("setting:volatility.grain",)),
    Field("history", "series", "past monthly prices of three years or more: a CSV file with columns date and price",
          unit="USD/bu", low=0.01, high=1000),
    Field("free_days", "number", "days from now without a storage charge", unit="day", bare=True, low=0, high=365,
          default=0.0),
    Field("minimum", "number", "least storage charge once it is stored", unit="USD/bu", low=0, high=2, default=0.0),
    Field("handling", "number", "loading out and hauling beyond what selling today costs", unit="USD/bu", low=0, high=2,
          default=0.0),
    Field("loss", "share", "share of its value lost to shrink and quality each month", high=0.2, default=0.0),
    Field("moisture", "number", "moisture of the wettest sample", unit="percent", low=4, high=45, example="12.5 %",
          found_in=("evidence:bin_check.moisture",)),
    Field("temperature", "number", "hottest reading in the grain", unit="degF", low=-20, high=180, example="68 degF",
          found_in=("evidence:bin_check.temperature",)),
    Field("earlier", "number", "the same spot at the check before", unit="degF", low=-20, high=180,
          found_in=("evidence:bin_check.earlier",)),
    Field("heating", "flag", "the grain is heating", default=False, found_in=("evidence:bin_check.heating",)),
    Field("spoiled", "flag", "musty, sour or crusted", default=False, found_in=("evidence:bin_check.spoiled",)),
    Field("insects", "flag", "live insects were found", default=False, found_in=("evidence:bin_check.insects",)),
    Field("hedge_cost", "number", "commission and interest on margin money", unit="USD/bu", low=0, high=1,
          found_in=("setting:hedge_cost",)),
    Field("aversion", "number", "relative risk aversion, 0.5 hardly to 4 extremely averse", low=0, high=10,
          found_in=("setting:aversion",)),
    Field("worth", "number", "net worth of the farm, which the aversion is measured against", unit="USD", low=1000,
          high=1e9, found_in=("setting:worth",)),
)  # fmt: skip

NOW, FIRST_HOLD, THIRDS, LOCK = 0, 1, MONTHS_AHEAD + 1, MONTHS_AHEAD + 2
OPTIONS = (
    Option("sell-now", "Sell now", day=0),
    *(
        Option(f"hold-{m}", f"Hold {m} month{'s' if m > 1 else ''}, then sell", passive=True)
        for m in range(1, MONTHS_AHEAD + 1)
    ),
    Option("thirds", "Sell a third now and a third on each of two later dates", day=0),
    Option("lock", "Keep it and lock in the best later quote now (forward sale, or futures sold against it)", day=0),
)
_THIRDS_REACH = 6


@dataclass(frozen=True)
class Sums:
    """Everything the answer shows, by row; arrays (place,), (place, month) or (place, draw, option)."""

    price: Floats
    cost: Floats
    quoted: Floats
    net: Floats
    payoff: Floats
    open_months: Bools
    third_at: Ints
    lock_at: Ints
    best_hold: Ints


def _terms(table: Table) -> StorageTerms:
    return StorageTerms(
        table.number("storage"), table.number("free_days"), table.number("minimum"), table.number("handling"),
        table.number("interest"), table.number("loss"),
    )  # fmt: skip


def _filled(values: Floats, fallback: float) -> Floats:
    return np.where(np.isnan(values), fallback, values)


def _sums(table: Table, context: Context, crop: NDArray[np.object_], condition: Condition) -> Sums:
    facts, months, price = context.facts, month_marks(), table.number("price")
    basis = table.number("basis")
    quoted = expected_price(price, table.rows("quotes"), np.nan_to_num(basis), context.on)
    draws = price_draws(context, crop, table.number("volatility"), table.rows("history"))
    cost = _terms(table).cost(price, months)
    payoff = np.empty((len(table), context.outlook.draws, len(OPTIONS)))
    net = payoff[:, :, FIRST_HOLD:THIRDS]
    draws.net_into(net, quoted, cost)
    strays = np.flatnonzero(~np.isnan(basis))
    stray = np.zeros((len(table), 1))
    if strays.size:
        spread = _filled(table.number("basis_sd"), facts.value("grain/basis_sd"))[strays, None]
        noise = spread * context.outlook.normal("grain basis", [table.keys[row] for row in strays])
        stray = np.zeros((len(table), context.outlook.draws))
        stray[strays] = noise - noise.mean(axis=1, keepdims=True)
        net += stray[:, :, None]

    open_months = ~np.isnan(quoted) & ~condition.barred
    locked = np.where(open_months, quoted - cost, -np.inf)
    lock_at = np.argmax(locked, axis=1)
    reach = np.where(open_months.all(axis=1), months.size, np.argmin(open_months, axis=1))
    third_at = np.minimum(np.maximum(reach, 2), _THIRDS_REACH) - 1
    middle = (third_at + 1) // 2

    def at(month: Ints) -> Floats:
        return np.take_along_axis(net, month[:, None, None], axis=2)[:, :, 0]

    payoff[:, :, NOW] = price[:, None]
    payoff[:, :, THIRDS] = (price[:, None] + at(np.maximum(middle - 1, 0)) + at(third_at)) / 3.0
    fee = _filled(table.number("hedge_cost"), facts.value("grain/hedge_cost"))
    payoff[:, :, LOCK] = np.take_along_axis(quoted - cost, lock_at[:, None], axis=1) + stray - fee[:, None]
    best_hold = np.argmax(np.where(open_months, quoted - cost, -np.inf), axis=1)  # the mean over the draws
    return Sums(price, cost, quoted, net, payoff, open_months, third_at, lock_at, best_hold)


def _bars(sums: Sums, condition: Condition, table: Table, context: Context) -> tuple[Bar, ...]:
    n, months = sums.open_months.shape
    why = condition.reason(table.number("moisture"), table.number("temperature"))

    def spread(hold: Bools) -> Bools:
        mask = np.zeros((n, months + 3), bool)
        mask[:, FIRST_HOLD:THIRDS] = hold
        return mask

    must = spread(np.repeat(condition.must_move[:, None], months, axis=1))
    must[:, [THIRDS, LOCK]] = condition.must_move[:, None]
    later = spread(condition.barred & ~condition.must_move[:, None])
    unquoted = spread(np.isnan(sums.quoted))
    none = ~sums.open_months.any(axis=1) & ~condition.must_move
    unquoted[:, THIRDS] = (sums.open_months[:, :2].sum(axis=1) < 2) & ~condition.must_move
    nothing = ~quoted_later(table.rows("quotes"), context.on)
    unquoted[:, LOCK] = (none | nothing) & ~condition.must_move
    return (
        Bar(must, why, hazard=True),
        Bar(later, why),
        Bar(unquoted, lambda i: "no quote to lock in" if nothing[i] else "no quote reaches that far"),
    )


def _risk(table: Table, context: Context, payoff: Floats, decision: Decision) -> Decision:
    """The decision with certainty equivalents, where risk aversion is stated for the office or for the row.

    Money per bushel is scaled by the bushels, so that the aversion is that of the farm and not of a bushel.
    """
    own = table.number("aversion") / table.number("worth")
    aversion = np.where(np.isnan(own), context.risk_aversion or np.nan, own) * table.number("bushels")
    stated = np.isfinite(aversion) & (aversion > 0)
    if not stated.any():
        return decision
    context.facts["grain/risk_aversion"]  # the scale that the field's help names
    certain = np.full(decision.expected.shape, np.nan)
    scaled = payoff[stated] * aversion[stated, None, None]
    certain[stated] = cara_certainty_equivalent(scaled, 1.0, axis=1) / aversion[stated, None]
    return replace(decision, certainty_equivalent=np.where(decision.barred, np.nan, certain))


def answer(table: Table, context: Context) -> Answers:
    """See `QUESTION`."""
    crop = np.array([name or "wheat" for name in table.text("crop")], dtype=object)
    months = month_marks()
    condition = bin_condition(
        context, crop, moisture=table.number("moisture"), temperature=table.number("temperature"),
        earlier=table.number("earlier"), heating=table.flag("heating"), out=table.flag("spoiled"),
        months=months,
    )  # fmt: skip
    sums = _sums(table, context, crop, condition)
    bars = _bars(sums, condition, table, context)
    barred = np.logical_or.reduce([bar.mask for bar in bars])
    decision = decide(sums.payoff, barred=barred, days=[-1 if o.day is None else o.day for o in OPTIONS])
    decision = _risk(table, context, sums.payoff, decision)
    priced = table.known("price") & table.known("storage") & table.known("interest")
    missing = ~priced & ~condition.must_move  # a hazard is said whether or not there is a price
    week = _carry_of_days(table, sums, 7.0)
    holding = (decision.best >= FIRST_HOLD) & (decision.best < THIRDS)
    fact = context.facts
    check = fact["grain/check_every"]
    age = np.fmin(table.age_days("moisture"), table.age_days("temperature"))
    stale = ~condition.known | (table.age_days("moisture") > check.high)
    within = np.floor(fact.value("grain/sell_tolerance") / np.maximum(week / 7.0, 1e-6)).clip(0, 30)
    move = np.where(condition.urgent, fact.value("grain/move_within"), fact.value("grain/dry_within"))
    act_by = np.where(condition.must_move, move, np.where(holding | ~priced, -1.0, within))
    again = np.where(stale, check.low, np.maximum(check.high - np.nan_to_num(age), 1.0))
    look_by = np.where(holding & ~condition.must_move, again, -1.0)
    verdict = np.where(condition.must_move, STOP, np.where(holding, np.where(stale, LOOK, WAIT), ACT))
    show = _Text(table, sums, condition, decision, context, stale)
    return Answers(
        table, context, options=OPTIONS, decision=decision, unit="USD/bu", bars=bars,
        headline=show.headline, because=show.because, cautions=show.cautions,
        verdict=verdict.astype(np.int8), act_by=act_by.astype(np.int64), look_by=look_by.astype(np.int64),
        quantities=_quantities(table, sums, decision, week, condition.must_move),
        missing=missing, missing_headline=lambda i: _lacking(table, i),
        cost_of_waiting=np.where(holding | ~priced, 0.0, np.maximum(week, 0.0)),
    )  # fmt: skip


def _lacking(table: Table, i: int) -> str:
    """What is not on file for a bin, and whom to ask."""
    words = {"storage": "storage cost", "interest": "interest", "price": "price of the last two weeks"}
    lacking = [word for name, word in words.items() if not table.known(name)[i]]
    grower = [] if lacking == [words["price"]] else ["the grower"]
    buyer = ["the buyer"] if words["price"] in lacking else []
    return f"No {' or '.join(lacking)} on file: ask {' and '.join(grower + buyer)}."


def _carry_of_days(table: Table, sums: Sums, days: float) -> Floats:
    """What waiting some days costs a bushel that would be sold today: carry less the rise that is quoted, USD/bu."""
    terms, part = _terms(table), days / MONTH_DAYS
    running = terms.per_month * part + sums.price * (terms.annual_rate / 12 + terms.loss_per_month) * part
    rise = np.nan_to_num(sums.quoted[:, 0] - sums.price) * part
    return np.asarray(running - rise)


def _quantities(
    table: Table, sums: Sums, decision: Decision, week: Floats, must_move: Bools
) -> dict[str, tuple[Any, str]]:
    """Figures of every row; those about holding are left out where holding is barred."""
    rows = np.arange(len(table))

    def held(values: Floats) -> Floats:
        return np.where(must_move, np.nan, values)

    months, best, bushels = month_marks(), sums.best_hold, table.number("bushels")
    terms = _terms(table)
    found: dict[str, tuple[Any, str]] = {"bushels": (bushels, "bu"), "value_today": (bushels * sums.price, "USD")}
    for m in range(MONTHS_AHEAD):
        found[f"break_even_month_{m + 1}"] = (held(sums.price + sums.cost[:, m]), "USD/bu")
    chance = chance_of_more(sums.net, sums.price)
    for m in range(MONTHS_AHEAD):
        found[f"chance_pays_month_{m + 1}"] = (np.where(sums.open_months[:, m], chance[:, m], np.nan), "1")
    some = sums.open_months.any(axis=1)
    worst = decision.worst_tenth[:, FIRST_HOLD:THIRDS]
    store = storage_charge(
        months[None, :], terms.per_month[:, None], free_days=terms.free_days[:, None], minimum=terms.minimum[:, None],
        handling=terms.handling[:, None],
    )  # fmt: skip
    same = indifference_price(
        sums.quoted, months[None, :], storage=store, annual_rate=terms.annual_rate[:, None],
        loss=terms.loss_per_month[:, None] * months[None, :],
    )  # fmt: skip
    expected, certain = decision.expected, decision.certainty_equivalent
    top = np.where(decision.best >= 0, decision.best, 0)
    found |= {
        "best_hold_months": (np.where(some, best + 1.0, np.nan), "month"),
        "chance_holding_pays": (np.where(some, chance[rows, best], np.nan), "1"),
        "expected_gain_of_holding": (np.where(some, expected[rows, best + 1] - sums.price, np.nan), "USD/bu"),
        "worst_tenth_holding": (np.where(some, worst[rows, best], np.nan), "USD/bu"),
        "sell_at": (np.where(some, np.where(sums.open_months, same, -np.inf).max(axis=1), np.nan), "USD/bu"),
        "carry_a_week": (held(week), "USD/bu"),
        "thirds_last_month": (np.where(decision.barred[:, THIRDS], np.nan, sums.third_at + 1.0), "month"),
        "lock_month": (np.where(decision.barred[:, LOCK], np.nan, sums.lock_at + 1.0), "month"),
        "best_over_selling_now": (held((expected[rows, top] - sums.price) * bushels), "USD"),
        "certainty_equivalent_now": (certain[:, NOW], "USD/bu"),
        "certainty_equivalent_holding": (np.where(some, certain[rows, best + 1], np.nan), "USD/bu"),
    }  # fmt: skip
    return found


class _Text:
    """Lines of a call, made only for rows that are shown."""

    def __init__(
        self, table: Table, sums: Sums, condition: Condition, decision: Decision, context: Context, stale: Bools
    ) -> None:
        self.stale = stale
        self.table, self.sums, self.condition, self.decision, self.context = table, sums, condition, decision, context
        self.why = condition.reason(table.number("moisture"), table.number("temperature"))
        self.quoted = quoted_later(table.rows("quotes"), context.on)
        self.dormant = context.facts.value("grain/insects_dormant_below")
        for cited in ("sample_grade", "entrapment", "entrapment_seconds", "bin_entry"):  # the cautions rest on these
            context.facts[f"grain/{cited}"]

    def _seen(self, i: int) -> str:
        """When the bin was last checked, in words; "" for a phone-in."""
        names = [n for n in ("moisture", "temperature") if self.table.known(n)[i]] or ["heating", "spoiled"]
        days = max(np.nan_to_num(self.table.age_days(name)[i]) for name in names)
        when = self.context.on - timedelta(days=int(days))
        return f"{when:%d %b %Y}, {days:.0f} day{'' if days == 1 else 's'} ago" if days > 0 else ""

    def _move(self, i: int) -> str:
        urgent = self.condition.urgent[i]
        what = "Move it" if urgent else "Dry it or move it"
        seen = f" (seen {self._seen(i)})" if self._seen(i) else ""
        first = "turn it, cool it with air or load it out now" if urgent else "do not leave it as it is"
        return f"{what}: {self.why(i).split('; ')[0]}{seen}; {first}. It may not be held at any price."

    def headline(self, i: int) -> str:
        sums, best = self.sums, int(self.decision.best[i])
        price, bushels = sums.price[i], self.table.number("bushels")[i]
        if self.condition.must_move[i]:
            return self._move(i)
        if best == NOW:
            m = int(sums.best_hold[i]) + 1
            if not sums.open_months[i].any():
                return f"Sell at {price:.2f} USD/bu."
            gap = price - sums.net[i, :, m - 1].mean()
            if not self.quoted[i]:
                why = f"nothing is quoted for later, and a month more costs {gap:.2f} USD/bu"
                return f"Sell at {price:.2f} USD/bu: {why}."
            return f"Sell at {price:.2f} USD/bu: quotes do not pay for keeping it, {gap:.2f} USD/bu short at best."
        gain = self.decision.expected[i, best] - price
        money = f"{gain:.2f} USD/bu"
        if np.isfinite(bushels):
            money += f", {gain * bushels:,.0f} USD on {bushels:,.0f} bu"
        if best == LOCK:
            month = int(sums.lock_at[i]) + 1
            return f"Lock in the quote for month {month}: {money} over selling now, without price risk."
        if best == THIRDS:
            return f"Sell a third now and the rest by month {int(sums.third_at[i]) + 1}: {money} over selling now."
        chance = (sums.net[i, :, best - 1] > price).mean()
        first = ""
        if self.stale[i]:
            known = self.condition.known[i]
            first = f" Check the bin first: {f'last seen {self._seen(i)}' if known else 'its moisture is not known'}."
        months = f"{best} month{'s' * (best > 1)}"
        return f"Holding {months} is worth {money} on average; it pays in {chance:.0%} of the futures.{first}"

    def _why_moved(self, i: int) -> list[str]:
        """The reasons of a bin that may not be held, and what it is about the money."""
        lines = [part[0].upper() + part[1:] + "." for part in self.why(i).split("; ")]
        if self._seen(i):
            lines.append(f"Seen {self._seen(i)}.")
        if self.condition.unread[i]:
            lines.append("Moisture and temperature are not both known, so how long it would keep cannot be said.")
        price = self.sums.price[i]
        if np.isfinite(price):
            lines.append(f"Sound grain brings {price:.2f} USD/bu today: ask what is taken off before you haul.")
        return lines

    def because(self, i: int) -> list[str]:
        sums, table = self.sums, self.table
        if self.condition.must_move[i]:
            return self._why_moved(i)
        last = np.flatnonzero(~np.isnan(sums.quoted[i]))
        lines = []
        if not self.quoted[i]:
            lines.append("Nothing is quoted for later: the price is taken to stay as it is on average; carry decides.")
        elif last.size and np.isfinite(sums.cost[i, 0]):
            m = int(last[-1])
            lines.append(
                f"Quotes stand for {sums.quoted[i, m]:.2f} USD/bu in {m + 1} months; break-even then is "
                f"{sums.price[i] + sums.cost[i, m]:.2f} USD/bu."
            )
        if sums.open_months[i].any():
            m = int(sums.best_hold[i])
            worst = self.decision.worst_tenth[i, FIRST_HOLD + m]
            lines.append(
                f"Best month to hold to is {m + 1}: carry {sums.cost[i, m]:.2f} USD/bu; net of it "
                f"{sums.net[i, :, m].mean():.2f} on average and {worst:.2f} in the worst tenth, against "
                f"{sums.price[i]:.2f} USD/bu today."
            )
            crop = table.text("crop")[i] or "wheat"
            record = seasonal_record(
                self.context, crop, table.rows("history")[i], m + 1, 1.0 + sums.cost[i, m] / sums.price[i]
            )
            lines += [record] if record else []
            lines += self._locking(i)
        lines.append(self._source_of_spread(i))
        if not self.condition.known[i]:
            lines.append("Moisture is not known: check the bin before holding.")
        elif self.condition.barred[i].any():
            lines.append("Longer holding is barred: " + self.why(i) + ".")
        return lines

    def _locking(self, i: int) -> list[str]:
        """What the riskless way costs or brings, beside holding unpriced."""
        if self.decision.barred[i, LOCK]:
            return []
        sums, certain = self.sums, self.decision.certainty_equivalent[i]
        gain = self.decision.expected[i, LOCK] - sums.price[i]
        line = f"Locking in month {int(sums.lock_at[i]) + 1} nets {gain:+.2f} USD/bu over selling now"
        best = FIRST_HOLD + int(sums.best_hold[i])
        if np.isfinite(certain[LOCK]) and certain[LOCK] > max(certain[best], certain[NOW]):
            return [line + ", and is worth more than holding or selling at the risk aversion stated."]
        return [line + ", whatever the price does."]

    def _source_of_spread(self, i: int) -> str:
        if not np.isnan(self.table.number("volatility")[i]):
            return f"Price ranges use the volatility given, {self.table.number('volatility')[i]:.0%} a year."
        if self.table.rows("history")[i] is not None:
            return "Price ranges use blocks of the newest ten years of the price history given, without its drift."
        return "Price ranges use the outlook's draws for the crop, without drift."

    def cautions(self, i: int) -> list[str]:
        notes = [*PRICE_CAUTIONS]
        if self.condition.must_move[i]:
            notes.insert(0, "Money shown is for sound grain: a buyer will dock or refuse grain out of condition.")
        notes += BIN_CAUTIONS
        if self.table.flag("insects")[i]:
            notes.append("Live insects: ask a licensed applicator; fumigants can kill people, and the label governs.")
        temperature = self.table.number("temperature")[i]
        if temperature > self.dormant:
            notes.append(f"At {temperature:.0f} degF insects are active: cool it by aeration when the weather allows.")
        if not self.decision.barred[i, LOCK]:
            notes.append("Selling futures needs margin money, and the grain must still be there and in condition.")
        return notes


QUESTION = Question(
    name="bin-hold",
    room="grain",
    title="Sell the grain in the bin, or hold it?",
    about=(
        "Sell now, hold 1 to 12 months, sell in thirds, or lock in a later quote: money per bushel over carry, its "
        "range, break-even by month, the chance that holding pays, and the price at which to sell. Grain that is wet, "
        "heating or out of condition may not be held, whatever it pays."
    ),
    inputs=INPUTS,
    answer=answer,
    places=Places(kinds=("bin",), crops=(*CROPS, *CROP_ALIASES)),
    size="amount",
    size_unit="bu",
    apart=("crop",),
    limits=(
        "No forecast: later prices are today's quotes with the spread of past moves. Interest is simple; loss is "
        "valued at today's price; quotes between dates are read off straight lines; tax and loan terms are not in it."
    ),
    options_count=len(OPTIONS),
)
