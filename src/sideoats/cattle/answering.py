"""What this room's questions share: ranges as draws, later prices on the shared outlook, risk beside the mean."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import timedelta
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sideoats.cattle import program
from sideoats.errors import InputError
from sideoats.outlook import prices, seasonal
from sideoats.problem import Hazard
from sideoats.question import Context, Table
from sideoats.schema import Field
from sideoats.vocabulary import see
from sideoats.weather.livestock import cold_feed_energy
from sideoats.words import Day, LongDay, Money, Paid, Parts, Said, Term, say

WEIGHT_QUOTES = (see("asked.quote_500"), see("asked.quote_750"))
Floats: TypeAlias = NDArray[np.float64]
LATEST_DAY = 728  # the price paths of the outlook reach two years


# --- ranges -----------------------------------------------------------------------------------------------------------


def span(table: Table, name: str, default: tuple[float, float] = (np.nan, np.nan)) -> tuple[Floats, Floats]:
    """Low and high (place,) of a ``numbers`` field: one number stands for itself, several for their range."""
    rows = table.rows(name)
    low, high = np.full(len(table), default[0]), np.full(len(table), default[1])
    for at, given in enumerate(rows):
        if given:
            low[at], high[at] = min(given), max(given)
    return low, high


def spread(context: Context, table: Table, name: str, low: ArrayLike, high: ArrayLike) -> Floats:
    """Draws from a range with no stated distribution, (place, draw), or (place, 1) where every range is one number.

    Each place has its own noise under `name`, so a place's answer does not depend on its neighbours.
    """
    least, most = np.asarray(low, float)[:, None], np.asarray(high, float)[:, None]
    open_rows = np.flatnonzero(most[:, 0] > least[:, 0])
    if not open_rows.size:
        return least
    out = np.repeat(least, context.outlook.draws, axis=1)
    noise = context.outlook.uniform(name, [table.keys[i] for i in open_rows])
    out[open_rows] += (most - least)[open_rows] * noise
    return out


def known_or(values: Floats, default: ArrayLike) -> Floats:
    """`values` with `default` where not known."""
    return np.where(np.isnan(values), np.asarray(default, float), values)


# --- slips ------------------------------------------------------------------------------------------------------------

SLIP = 3.0  # a decimal misplaced is tenfold; cattle prices have not tripled, or fallen to a third, within a year
# USD a day and pound of weight (common practice, no source): 2 % of it in dry matter at 40 USD/ton, as stalks, and half
# as much again where yardage is in it
LEAST_FEED, LEAST_LOT = 0.0004, 0.0006


@dataclass(frozen=True)
class OutOfLine:
    """Rows (place,) that hold a figure too far from the one it goes with, and the sentence that asks it back."""

    rows: NDArray[np.bool_]
    asks: Callable[[int], Said | None]


def out_of_line(
    unit: str, base: tuple[str, Floats], *others: tuple[str, Floats], times: float = SLIP, above_only: bool = False
) -> OutOfLine:
    """Rows in which one of `others` (words, figure) is over `times` the `base`, or under its `times`-th part."""
    now = base[1]
    far = [
        (name, figure, (figure > times * now) | (not above_only) & (figure < now / times)) for name, figure in others
    ]
    return _beside(unit, base, far)


def underfed(weight: Floats, cost: Floats, least: float = LEAST_FEED) -> OutOfLine:
    """Rows whose feed for one animal a day costs less than what it eats could [USD/day]; nothing, for feed of one's
    own, is a figure of its own.
    """
    eaten = least * weight
    return _beside("USD/day", ("least_feed", eaten), [("feed_per_day", cost, (cost > 0) & (cost < eaten))])


def _beside(unit: str, base: tuple[str, Floats], far: list[tuple[str, Floats, NDArray[np.bool_]]]) -> OutOfLine:
    """Figures (words, figure, rows) asked back beside the one they go with."""
    words, now = base

    def asks(i: int) -> Said | None:
        each = tuple(
            say("cattle.odd_one", x=Paid(float(figure[i]), unit=unit), what=Term(name, of="cattle"))
            for name, figure, mask in far
            if mask[i]
        )
        if not each:
            return None
        base_said = {"now": Paid(float(now[i]), unit=unit), "what": Term(words, of="cattle")}
        return say("cattle.odd", each=Parts(each), **base_said)

    rows = np.logical_or.reduce([mask for _, _, mask in far]) if far else np.zeros(len(now), bool)
    return OutOfLine(np.asarray(rows), asks)


def share_of_winter(context: Context, winter: float, days: Floats) -> Floats:
    """A death share stated for a winter, for the `days` that cattle are owned; never more than the winter's."""
    return np.asarray(winter * np.minimum(days / context.facts.value("cattle/stocker.death_days"), 1.0))


def brings(more: float) -> Said:
    """Inside a sentence: what is gained or lost a head against selling now; no loss is told as a price."""
    way = "lose" if more < 0 else "gain"
    return say(f"cattle.would_{way}", more=Money(abs(more)))


# --- later prices -----------------------------------------------------------------------------------------------------


def price_ratio(context: Context, commodity: str, days: Floats) -> Floats:
    """Price after each place's `days` over today's, (place, draw), the same futures as every question.

    `days` (place,) are held to 0..728; NaN days give NaN. Scaled so that the mean over the draws is exactly 1, as the
    outlook means it to be: then a price that the adviser states is the mean of its draws, to the cent.
    """
    asked = np.clip(np.nan_to_num(days, nan=0.0), 0, LATEST_DAY)
    unique = np.array(sorted(set(asked.ravel().tolist())))
    paths = context.outlook.price_ratio(commodity, unique)
    ratio = (paths / paths.mean(axis=0)).T[np.searchsorted(unique, asked)]
    return np.where(np.isnan(days)[:, None], np.nan, ratio) if np.isnan(days).any() else ratio


def bought_ratio(context: Context, commodity: str, days: Floats, bought: NDArray[np.bool_]) -> Floats:
    """`price_ratio` where feed is bought as it is fed, 1 elsewhere; (place, draw), or (place, 1) where none is bought.

    The commodity's facts are read whether or not a row needs them, so that sources do not depend on the batch.
    """
    if not bought.any():
        context.outlook.price_ratio(commodity, [0.0])
        return np.ones((len(days), 1))
    return np.where(bought[:, None], price_ratio(context, commodity, days), 1.0)


def cash_from_futures(
    context: Context,
    table: Table,
    commodity: str,
    days: Floats,
    *,
    futures: Floats,
    basis: Floats,
    basis_sd: Floats,
    volatility: Floats,
) -> Floats:
    """Cash price draws (place, draw): lognormal about a futures quote, basis added after.

    The shock is the outlook's own price path of the commodity, scaled to one spread, so that the draws stay tied to
    every other price of the same future; only the volatility is the one given.

    Parameters
    ----------
    futures, basis, basis_sd : USD/cwt (place,); unknown basis figures count as 0
    volatility : standard deviation of the log price over a year (place,)
    """
    log_ratio = np.log(price_ratio(context, commodity, days))
    sd = log_ratio.std(axis=1, keepdims=True)
    shock = np.divide(log_ratio - log_ratio.mean(axis=1, keepdims=True), sd, out=np.zeros_like(log_ratio), where=sd > 0)
    then = prices.lognormal_price(futures[:, None], volatility[:, None], days[:, None], shock)
    noise = context.outlook.normal(f"basis {commodity}", table.keys)
    return prices.cash_price(then, np.nan_to_num(basis)[:, None], np.nan_to_num(basis_sd)[:, None], noise)


def season_ratio(context: Context, commodity: str, days: float) -> seasonal.SeasonMove | None:
    """What the district's own quotes did between these months in past years; None without two whole years on file."""
    history = context.outlook.price_history.get(commodity)
    if history is None:
        return None
    try:
        return seasonal.season_move(*history, context.on, context.on + timedelta(days=int(days)))
    except InputError:
        return None


def price_at(table: Table, weight: Floats) -> Floats:
    """Price at `weight` [lb], USD/cwt, on the straight line through today's quotes of 500 and 750 lb steers.

    Price a cwt falls as cattle get heavier; one quote for every weight would pay for gain that buyers do not pay for.
    The table needs ``quote_500`` and ``quote_750``; NaN where either is not known.
    """
    light, heavy = table.number("quote_500"), table.number("quote_750")
    return np.asarray(light + (heavy - light) * (weight - 500.0) / 250.0, dtype=np.float64)


def price_carried(table: Table, weight: Floats, price: Floats, later_weight: Floats) -> Floats:
    """`price` [USD/cwt] at `weight` carried to `later_weight` [lb] with the slope of today's quotes by weight.

    What these cattle bring above or below the quotes today they are taken to bring then; NaN without both quotes.
    """
    return np.asarray(price + price_at(table, later_weight) - price_at(table, weight), dtype=np.float64)


# --- weather ----------------------------------------------------------------------------------------------------------


def cold_share(context: Context, table: Table, days: Floats) -> Floats:
    """Extra maintenance energy for cold over the next `days`, as a mean share of maintenance, (place, draw).

    Air temperature of the outlook's years (as behind a windbreak; the outlook has no wind) against the lower critical
    temperature of a dry winter coat. Zero without a station on file. Days past the outlook's reach count as its mean.
    The table needs a ``station`` field.
    """
    if not context.outlook.has_weather:
        return np.zeros((len(table), 1))
    coats = dict(context.facts.choose("weather/coat")[1].rows)
    share = context.facts.value("weather/livestock.cold_energy")
    mean = (context.outlook.daily("tmax") + context.outlook.daily("tmin")) / 2 * 9 / 5 + 32
    extra = cold_feed_energy(mean, coats["winter"], share)
    reach = extra.shape[2]
    total = np.cumsum(extra, axis=2)
    last = np.clip(np.nan_to_num(days, nan=1.0), 1, reach).astype(np.int64)
    stations = context.outlook.station_rows(list(table.text("station")))
    picked = total[stations, :, last - 1] / last[:, None]
    return np.asarray(picked[:, context.outlook.year_of_draw], dtype=np.float64)


# --- withdrawals ------------------------------------------------------------------------------------------------------


def treatment_fields(kind: str, whose: str, fresh_days: int = 200) -> tuple[Field, Field, Field]:
    """The fields that a withdrawal is counted from; `kind` of evidence holds them, `whose` treatment in words.

    The last treatment is not always the one that ends last, so every one on file is read as well.
    """
    day = "treated" if kind == "show_weighing" else "on"  # a weighing may tell of no treatment, a treatment must
    wait = see(f"{kind}.withdrawal_days")
    each = (
        Field(day, "date", "day of the treatment", required=day == "on"),
        replace(wait, help="withdrawal on its label", required=day == "on", found_in=()),
    )
    return (
        replace(see(f"{kind}.{day}", name="treated"), help=f"day of the last treatment of {whose}"),
        wait,
        Field(
            "treatments",
            "records",
            f"every treatment of {whose}, where there is more than one",
            fields=each,
            example=f"{day}=2026-08-20, withdrawal_days=60; {day}=2026-09-01, withdrawal_days=3",
            fresh_days=fresh_days,
            found_in=(f"history:{kind}",),
        ),
    )


def check_treatment(values: Mapping[str, Any], question: str) -> None:
    """Refuse a treatment without its withdrawal, which would count as none, and a withdrawal without its day."""
    day, wait = values["treated"] is None, values["withdrawal_days"] is None
    if wait and not day:
        raise InputError(
            "a treatment is given without its withdrawal",
            where=f"{question} withdrawal_days",
            expected="the longest on the labels of what was given, in days",
        )
    if day and not wait:
        raise InputError(
            "a withdrawal is given without its treatment",
            where=f"{question} treated",
            expected="the day of the last treatment, YYYY-MM-DD",
        )


@dataclass(frozen=True)
class Withdrawal:
    """Withdrawals of a table; arrays (place,). A treatment whose withdrawal is not known is never over.

    `unlabeled` is the day of such a treatment, NaT where there is none; `clear` the first day after every known one;
    `ahead` the first day of a treatment that is still to come and `ahead_clear` the first day after those: its date is
    asked back, and a sale after that day and inside its withdrawal is none.
    """

    clear: program.Dates
    unlabeled: program.Dates
    ahead: program.Dates
    ahead_clear: program.Dates
    today: np.datetime64

    @property
    def until(self) -> program.Dates:
        """First day after every withdrawal, of treatments to come too; NaT where there is none."""
        return np.fmax(self.clear, self.ahead_clear)

    @property
    def unknown(self) -> NDArray[np.bool_]:
        """True where a treatment has no withdrawal on file."""
        return np.asarray(~np.isnat(self.unlabeled))

    def inside(self, days: ArrayLike) -> NDArray[np.bool_]:
        """True where a sale `days` [d] from today (place,) or (place, option) falls inside; False where not known."""
        ahead = np.asarray(days, dtype=np.float64)
        left = program.days_between(self.today, self.clear)
        more = (slice(None),) + (None,) * (ahead.ndim - 1)
        within = np.nan_to_num(left, nan=-np.inf)[more] > np.nan_to_num(ahead, nan=np.inf)
        begins, ends = (program.days_between(self.today, day)[more] for day in (self.ahead, self.ahead_clear))
        within |= (ahead >= begins) & (ahead < ends)  # a treatment that is planned
        return np.asarray(within | (self.unknown[more] & np.isfinite(ahead)))

    def misdated(self, observable: str) -> Hazard:
        """A treatment dated for a day to come clears nothing, and is no reason to wait for that year either."""
        over, doubt = np.zeros(len(self.ahead), bool), {observable: ~np.isnat(self.ahead)}
        return Hazard("cattle.treated_ahead", over, doubt, {"day": LongDay(self.ahead)})

    def said(self, row: int) -> Said | None:
        """Why nothing may be sold yet; None where nothing stands in the way."""
        if self.unknown[row]:
            return say("cattle.unlabeled", day=Day(self.unlabeled[row]))
        until = self.until[row]
        return None if np.isnat(until) else say("cattle.withdrawal", clear=LongDay(until))


def withdrawal(table: Table, context: Context) -> Withdrawal:
    """Withdrawals from the fields of `treatment_fields`: the longest of all, not that of the last treatment."""
    given = [tuple(rows or ()) for rows in table.rows("treatments")]
    most = max((len(rows) for rows in given), default=0)
    treated = np.full((len(table), 1 + most), program.NEVER)
    wait = np.full((len(table), 1 + most), np.nan)
    treated[:, 0], wait[:, 0] = table.date("treated"), table.number("withdrawal_days")
    for at in np.flatnonzero([len(rows) for rows in given]):
        for number, row in enumerate(given[at], 1):
            day, days = row.get("on", row.get("treated")), row.get("withdrawal_days")
            treated[at, number] = program.NEVER if day is None else np.datetime64(day, "D")
            wait[at, number] = np.nan if days is None else days
    today = np.datetime64(context.on, "D")
    ahead = np.where(treated > today, treated, program.NEVER).astype("datetime64[D]")
    given_already = np.where(treated > today, program.NEVER, treated).astype("datetime64[D]")
    without = np.where(np.isnan(wait), given_already, program.NEVER).astype("datetime64[D]")
    known = np.where(np.isnan(wait), program.NEVER, given_already).astype("datetime64[D]")
    clear = program.withdrawal_clear(known, np.nan_to_num(wait))
    planned = program.withdrawal_clear(ahead, np.nan_to_num(wait))
    unlabeled, first = np.fmax.reduce(without, axis=1), np.fmin.reduce(ahead, axis=1)
    return Withdrawal(clear, unlabeled, first, planned, today)
