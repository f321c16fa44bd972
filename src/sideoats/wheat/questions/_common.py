"""What several wheat questions share: fields, draws of yield and price, days to a calendar date, usual cautions."""

from __future__ import annotations

from datetime import date

import numpy as np
from numpy.typing import NDArray

from sideoats.question import Context, Table
from sideoats.vocabulary import see

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
STAGES = ("seedling", "tillering", "jointing", "boot", "heading", "flowering", "milk", "dough", "ripe")
CROPS = ("winter wheat",)
INCH_MM = 25.4
DUE_DAYS = 7  # the list is weekly: what falls due later is shown, and waits

YIELD = see("asked.wheat_yield", name="yield")
PRICE = see("asked.wheat_price", name="price")
ACRES = see("place.acres")
STATION = see("place.station")
PLANTING = see("place.planting_date")
PURPOSE = see("place.purpose")
ROW_SPACING = see("place.row_spacing")
HARVEST_COST = see("asked.wheat_harvest_cost", name="harvest_cost")
HEAD = see("place.head")
STOCKING = see("asked.stocking")
WEIGHT = see("place.weight", example="520 lb")
GAIN = see("asked.wheat_gain", name="gain")
VALUE_OF_GAIN = see("asked.value_of_gain")


def days_ahead(on: date, month: int, day: int) -> int:
    """Days from `on` to the next such calendar day (0 to 365)."""
    there = date(on.year, month, day)
    if there < on:
        there = date(on.year + 1, month, day)
    return (there - on).days


def month_day(text: str, context: Context) -> date:
    """The day "MM-DD" in the crop year that the day asked belongs to."""
    month, day = (int(part) for part in text.split("-"))
    return context.region.in_crop_year(month, day, context.on)


def spring_days(table: Table, context: Context, field: str) -> Floats:
    """(place,) days to a date of this season's spring, NaN where not known or where it belongs to another season.

    A place keeps one date; seen from last spring, next spring's says nothing.
    """
    days = table.days_until(field, context.on)
    return np.where((days > -90) & (days < 240), days, np.nan)


def spring_close(table: Table, context: Context, field: str) -> Floats:
    """(place,) days to that date, the common-practice end of topdressing (mid March) where it is not known; below zero
    once it is past."""
    days = spring_days(table, context, field)
    if not np.isnan(days).any():
        return days
    month, day = (int(p) for p in context.facts["wheat/nitrogen.topdress_close"].text.split("-"))
    spring = context.region.in_crop_year(month, day, context.on)  # of this crop, so it can lie behind
    return np.where(np.isnan(days), float((spring - context.on).days), days)


def sowing_days(table: Table, context: Context) -> Floats:
    """(place,) days to sowing, negative where past: the day that was told, else the usual one.

    Before the usual time the day on which it begins; within it NaN, because nobody said and it may be any day.
    """
    days = table.days_until("planting_date", context.on)
    if not np.isnan(days).any() or context.region.holds("wheat-sowing", context.on):
        return days
    return np.where(np.isnan(days), float((context.region.opens("wheat-sowing", context.on) - context.on).days), days)


def harvest_days(context: Context) -> int:
    """Days to the end of June, when wheat is sold where no other date is known."""
    return (context.region.next("wheat-sold", context.on) - context.on).days


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


def harvest_cost(table: Table, context: Context) -> Floats:
    """(place,) cost by the bushel [USD/bu]: the grower's, else common practice."""
    return known_or(table.number("harvest_cost"), context, "wheat/grazing.harvest_cost")


def known_or(values: Floats, context: Context, fact: str) -> Floats:
    """Values with the fact's where they are not known; the fact is read only if it is needed."""
    if not np.isnan(values).any():
        return values
    return np.where(np.isnan(values), context.facts.value(fact), values)


def stocking(table: Table) -> Floats:
    """(place,) head an acre: as given, else head over acres."""
    given = table.number("stocking")
    return np.where(np.isnan(given), table.number("head") / table.number("acres"), given)


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


def absent(table: Table, names: tuple[str, ...]) -> Bools:
    """(place,) True where any of the fields is not known."""
    out = np.zeros(len(table), bool)
    for name in names:
        out |= ~table.known(name)
    return out


def told(context: Context, fact: str, times: float = 1.0, form: str = ".0f") -> str:
    """A fact's range in words, such as "11 to 197", as the district has it; one number where it is one."""
    low, high = (format(times * end, form) for end in context.facts.by_id[fact].span)
    return low if low == high else f"{low} to {high}"


HAY = tuple(see(f"asked.wheat_{name}", name=name) for name in ("hay_yield", "hay_price", "hay_cost"))


def unknown(table: Table, **fields: str) -> dict[str, Bools]:
    """Words -> mask of rows that do not know a field: ``unknown(table, price="wheat price")``."""
    return {words: ~table.known(name) for name, words in fields.items()}
