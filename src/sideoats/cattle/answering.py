"""What this room's questions share: ranges as draws, later prices on the shared outlook, risk beside the mean."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sideoats.decide import Decision
from sideoats.errors import InputError
from sideoats.outlook import prices, seasonal
from sideoats.question import Context, Option, Table
from sideoats.schema import Field
from sideoats.weather.livestock import cold_feed_energy

WEIGHT_QUOTES = (
    Field("quote_500", "number", "today's quote for 500 lb steers, where no price is given", unit="USD/cwt", low=20,
          high=1000, example="250 USD/cwt", found_in=("quote:feeder steer 500 lb",)),
    Field("quote_750", "number", "today's quote for 750 lb steers, where no later price is given", unit="USD/cwt",
          low=20, high=1000, example="220 USD/cwt", found_in=("quote:feeder steer 750 lb",)),
)  # fmt: skip
Floats: TypeAlias = NDArray[np.float64]
Quantities: TypeAlias = dict[str, tuple[Any, str]]
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


# --- later prices -----------------------------------------------------------------------------------------------------


def price_ratio(context: Context, commodity: str, days: Floats) -> Floats:
    """Price after each place's `days` over today's, (place, draw), the same futures as every question.

    `days` (place,) are held to 0..728; NaN days give NaN. Scaled so that the mean over the draws is exactly 1, as the
    outlook means it to be: then a price that the adviser states is the mean of its draws, to the cent.
    """
    asked = np.clip(np.nan_to_num(days, nan=0.0), 0, LATEST_DAY)
    unique, back = np.unique(asked, return_inverse=True)
    paths = context.outlook.price_ratio(commodity, unique)
    ratio = (paths / paths.mean(axis=0)).T[back.reshape(asked.shape)]
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


@dataclass(frozen=True)
class Season:
    """Seasonal move of a commodity's own record, month of today to month of the later day."""

    ratio: float
    low: float
    high: float
    years: tuple[int, int]
    share_higher: float


def season_ratio(context: Context, commodity: str, days: float) -> Season | None:
    """What the district's own quotes did between these months in past years; None without two whole years on file."""
    history = context.outlook.price_history.get(commodity)
    if history is None:
        return None
    first, last, monthly = seasonal.monthly_means(*history)
    if last - first < 2:
        return None
    try:
        index = seasonal.seasonal_index(first, monthly)
    except InputError:
        return None
    now, then = context.on.month, (context.on + timedelta(days=int(days))).month
    expected, low, high = seasonal.seasonal_price(1.0, index, now, then)
    higher = seasonal.share_of_years_above(index, now, then, 1.0)
    return Season(float(expected), float(low), float(high), index.years, higher)


def price_at(table: Table, weight: Floats) -> Floats:
    """Price at `weight` [lb], USD/cwt, on the straight line through today's quotes of 500 and 750 lb steers.

    Price a cwt falls as cattle get heavier; one quote for every weight would pay for gain that buyers do not pay for.
    The table needs ``quote_500`` and ``quote_750``; NaN where either is not known.
    """
    light, heavy = table.number("quote_500"), table.number("quote_750")
    return np.asarray(light + (heavy - light) * (weight - 500.0) / 250.0, dtype=np.float64)


def next_day(on: date, month: int, day: int) -> date:
    """The next such calendar day, today included."""
    this_year = date(on.year, month, day)
    return this_year if this_year >= on else date(on.year + 1, month, day)


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


# --- risk and what would change the answer ----------------------------------------------------------------------------


def risk_quantities(options: Sequence[Option], decision: Decision, unit: str) -> Quantities:
    """Worst tenth and certainty equivalent by option; the latter is NaN and not shown without stated risk aversion."""
    out: Quantities = {}
    for at, option in enumerate(options):
        out[f"worst_tenth_{option.key}"] = (decision.worst_tenth[:, at], unit)
        certain = decision.certainty_equivalent[:, at]
        out[f"certainty_equivalent_{option.key}"] = (np.where(np.abs(certain) < 1e-9, 0.0, certain), unit)
    out["worth_of_knowing"] = (decision.perfect_information, unit)
    return out


def one_at_a_time(
    result: Callable[..., Floats], base: Mapping[str, Any], changes: Mapping[str, tuple[str, float]]
) -> dict[str, Floats]:
    """`result` with one input moved and the rest as in `base`.

    Parameters
    ----------
    result : keyword inputs -> (place,) money
    base : the inputs
    changes : label -> (input, factor)

    Returns
    -------
    label -> (place,) money
    """
    moved = {}
    for label, (name, factor) in changes.items():
        inputs = dict(base)
        inputs[name] = np.asarray(inputs[name], float) * factor
        moved[label] = result(**inputs)
    return moved


def change_text(moved: Mapping[str, Floats], row: int, unit: str, *, signed: bool = True) -> str:
    """One sentence with the money under each change; costs are shown without a sign."""
    known = {label: float(values[row]) for label, values in moved.items() if np.isfinite(values[row])}
    parts = [f"{label} {money(amount) if signed else format(amount, ',.2f')}" for label, amount in known.items()]
    return f"One thing changed at a time, {unit}: " + "; ".join(parts) + "." if parts else ""


def money(amount: float) -> str:
    """Signed, to the cent, and never minus zero."""
    return f"{round(float(amount), 2) + 0.0:+,.2f}"


def inside(label: str) -> str:
    """An option's label inside a sentence."""
    return label[:1].lower() + label[1:]


def risk_text(options: Sequence[Option], decision: Decision, row: int, unit: str) -> str:
    """One sentence on the worst tenth of every open option, and the certainty equivalent where it was asked for."""
    parts = []
    for at, option in enumerate(options):
        if decision.barred[row, at] or not np.isfinite(decision.worst_tenth[row, at]):
            continue
        text = f"{inside(option.label)} {money(decision.worst_tenth[row, at])}"
        sure = decision.certainty_equivalent[row, at]
        if np.isfinite(sure):
            text += f" (certainty equivalent {money(sure)})"
        parts.append(text)
    return f"Mean of the worst tenth, {unit}: " + "; ".join(parts) + "."
