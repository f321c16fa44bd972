"""A bin as a case of hold or sell: what its price, quotes and storage terms make of it, and what its condition bars."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.facts import Facts
from sideoats.families.hold_or_sell import SALE, Held, Terms, figures, spread
from sideoats.grain.holding import StorageTerms, expected_price, month_marks, price_that_came, quoted_later
from sideoats.grain.keeping import Condition
from sideoats.problem import Barred
from sideoats.question import Context, Table
from sideoats.words import Measured, say

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
UNIT = "USD/bu"
# What the money cannot do without, and the observable that gives it.
PRICED = {"price": "bin_bids.cash", "storage": "bin-hold.storage", "interest": "bin-hold.interest"}
READ = ("moisture", "temperature")  # the readings that say how grain keeps


def storage_terms(table: Table) -> StorageTerms:
    """What keeping each row's grain costs."""
    return StorageTerms(
        table.number("storage"),
        table.number("free_days"),
        table.number("minimum"),
        table.number("handling"),
        table.number("interest"),
        table.number("loss"),
    )


def terms_of(table: Table, context: Context, crop: NDArray[np.object_], kept: StorageTerms, allowed: Bools) -> Terms:
    """Prices, costs and locks of each row; `allowed` (place, month) by its condition."""
    price, basis = table.number("price"), table.number("basis")
    quotes = table.rows("quotes")
    return Terms(
        price,
        price_that_came(context, crop, price, expected_price(price, quotes, np.nan_to_num(basis), context.on)),
        kept.cost(price, month_marks()),
        basis_luck(table, context),
        lock_fee(table, context),
        allowed,
        quoted_later(quotes, context.on),
    )


def given_or(given: Floats, fallback: Any) -> Floats:
    """The fact is read, and so cited, only where a row needs it."""
    return np.where(np.isnan(given), fallback(), given) if np.isnan(given).any() else given


def lock_fee(table: Table, context: Context) -> Floats:
    """(place,) cost of locking a quote [USD/bu]: as given, else a broker's for futures; none for a bid."""
    bid = ~(np.nan_to_num(table.number("basis")) != 0.0)
    given = table.number("hedge_cost")
    return given_or(np.where(bid & np.isnan(given), 0.0, given), lambda: context.facts.value("grain/hedge_cost"))


def basis_luck(table: Table, context: Context) -> Floats:
    """(place, draw) how far the local price strays from a futures quote with a basis, mean 0; none for bids."""
    strays = np.flatnonzero(table.known("basis"))
    if not strays.size:
        return np.zeros((len(table), 1))
    sd = given_or(table.number("basis_sd")[strays], lambda: context.facts.value("grain/basis_sd"))
    noise = sd[:, None] * context.outlook.normal("grain basis", [table.keys[row] for row in strays])
    out = np.zeros((len(table), context.outlook.draws))
    out[strays] = noise - noise.mean(axis=1, keepdims=True)
    return out


def bars(h: Held, c: Condition) -> tuple[Barred, ...]:
    """What may not be held, and what has no price; selling today stays open whatever the grain is like."""
    moved = c.must_move
    months = np.ones(c.wet.shape, bool)
    closed = h.closed() & ~moved[:, None]
    unquoted, unlocked = closed.copy(), np.zeros_like(closed)
    unquoted[:, -1], unlocked[:, -1] = closed[:, -1] & h.terms.priced, closed[:, -1] & ~h.terms.priced
    kept = {"moisture": Measured(c.moisture, unit="percent"), "t": Measured(c.temperature, unit="degF")}
    timed = np.isfinite(c.days)[:, None]

    def whole(rows: Bools) -> Bools:
        return spread(months & rows[:, None], rest=rows)

    return (
        Barred(whole(c.heating), lambda i: c.reasons(i)[0]),
        Barred(whole(c.out), say("grain.why.musty")),
        Barred(whole(c.live), say("grain.why.insects")),
        Barred(spread(c.asleep[:, None] & (np.arange(h.months) > 0)), say("grain.why.insects_cold")),
        Barred(spread(c.wet, rest=c.wet[:, 0]), c.too_wet),
        Barred(
            spread(c.spoiled & timed, rest=c.spoiled[:, 0] & timed[:, 0]), say("grain.why.time", **kept, n=_days(c))
        ),
        Barred(spread(c.spoiled & ~timed, rest=c.spoiled[:, 0] & ~timed[:, 0]), say("grain.why.off_table", **kept)),
        Barred(unquoted, say("bar.no_quote_so_far")),
        Barred(unlocked, say("bar.no_quote_to_lock")),
    )


def _days(c: Condition) -> NDArray[np.int64]:
    return np.where(np.isfinite(c.days), c.days, 0).astype(np.int64)


def keeping_pays(h: Held, facts: Facts) -> Bools:
    """(place,) keeping it to some month brings more than selling today, or nearly: nobody would set out to sell."""
    trouble = {(kind, money): low for kind, money, low in facts["decide/trouble.least"].rows}[(SALE, UNIT)]
    best = np.where(h.terms.open_months, h.mean(), -np.inf).max(axis=1)
    return np.asarray(best > -trouble)


def next_check(table: Table, context: Context) -> NDArray[np.int64]:
    """(place,) days until grain that is held is looked at again."""
    every = context.facts["grain/check_every"].high
    age = np.nan_to_num(np.fmin(table.age_days("moisture"), table.age_days("temperature")))
    return np.maximum(every - age, 1.0).astype(np.int64)


def quantities(table: Table, h: Held, kept: StorageTerms, week: Floats, moved: Bools) -> dict[str, tuple[Any, Any]]:
    """Figures of every row; those about holding are left out where holding is barred."""
    bushels, t = table.number("bushels"), h.terms
    same = np.where(t.open_months, kept.indifference(t.quoted, month_marks()), -np.inf).max(axis=1)
    return {
        "bushels": (bushels, "bu"),
        "value_today": (bushels * t.price, "USD"),
        **figures(h, UNIT, moved),
        "sell_at": (np.where(t.open_months.any(axis=1), same, np.nan), UNIT),
        "carry_a_week": (np.where(moved, np.nan, week), UNIT),
    }
