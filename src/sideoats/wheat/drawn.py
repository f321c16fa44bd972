"""Yield, price, gain and hay of wheat in every future."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sideoats.question import Context, Table
from sideoats.wheat.asked import known_or
from sideoats.wheat.days import harvest_days

Floats = NDArray[np.float64]
INCH_MM = 25.4


def yield_draws(table: Table, context: Context, *, name: str = "yield") -> Floats:
    """Grain yield (place, draw) [bu/ac]: the expected yield moved by season rain and by what rain does not explain.

    Where weather is on file, rain from today to late June above or below its mean is worth the published bushels an
    inch; the rest of the spread is a fact marked as common practice. Never below a tenth of what is expected.
    """
    expected = table.number(name)[:, None]
    out = context.outlook
    spread = context.facts.value("wheat/water.scatter")
    noise = 1.0 + spread * out.normal("wheat yield", table.keys)
    moved = expected * noise
    if out.has_weather and "station" in table.columns:
        slope, _ = context.facts["wheat/water.musick_et"].rows[0]
        low, high = context.facts.span("wheat/water.rain_used")
        rain = out.daily("rain")[:, :, : harvest_days(context)].sum(axis=2) / INCH_MM
        away = (rain - rain.mean(axis=1, keepdims=True))[:, out.year_of_draw]
        used = out.between("wheat rain used", low, high)
        moved = moved + float(slope) * away[out.station_rows(table.text("station"))] * used
    return np.maximum(moved, 0.1 * expected)


def wheat_price(table: Table, context: Context, days: int | None = None) -> Floats:
    """Wheat price at sale (place, draw) [USD/bu]."""
    ratio = context.outlook.price_ratio("wheat", [harvest_days(context) if days is None else days])[:, 0]
    return table.number("price")[:, None] * ratio


def gain_draws(table: Table, context: Context) -> Floats:
    """Daily gain (place, draw) [lb/head/day]: as given, else drawn from the common range."""
    given = table.number("gain")[:, None]
    if not np.isnan(given).any():
        return np.broadcast_to(given, (len(table), context.outlook.draws))
    drawn = context.outlook.between("wheat gain", *context.facts.span("cattle/wheat_pasture.gain"))
    return np.where(np.isnan(given), drawn[None, :], given)


def hay_money(table: Table, context: Context, days: int) -> Floats:
    """Money of cutting wheat for hay some days from now (place, draw) [USD/ac]; NaN where hay has no price."""
    facts, out = context.facts, context.outlook
    tons = table.number("hay_yield")[:, None] + np.zeros((1, out.draws))
    if np.isnan(tons).any():
        tons = np.where(np.isnan(tons), out.between("wheat hay", *facts.span("wheat/hay.wheat_yield")), tons)
    making = known_or(table.number("hay_cost"), context, "wheat/hay.cost")[:, None]
    return np.asarray(tons * (table.number("hay_price")[:, None] * out.price_ratio("grass hay", [days])[:, 0] - making))
