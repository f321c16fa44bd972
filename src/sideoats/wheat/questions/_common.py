"""What several wheat questions share: fields, draws of yield and price, days to a calendar date, usual cautions."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import date

import numpy as np
from numpy.typing import NDArray

from sideoats.question import Context, Table
from sideoats.schema import Field

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
PUBLISHERS = ("kansas", "washington", "tri-state", "texas", "nebraska")
PURPOSES = ("grain", "dual", "graze-out", "hay")
STAGES = ("seedling", "tillering", "jointing", "boot", "heading", "flowering", "milk", "dough", "ripe")
STAGE_WORDS = {
    "feekes 1": "seedling", "feekes 2": "tillering", "feekes 3": "tillering", "feekes 4": "tillering",
    "feekes 5": "tillering", "feekes 6": "jointing", "feekes 7": "jointing", "feekes 8": "jointing",
    "feekes 9": "jointing", "feekes 10": "boot", "feekes 10.1": "heading", "feekes 10.5": "heading",
    "feekes 11": "dough", "bloom": "flowering", "anthesis": "flowering",
}  # fmt: skip
CROPS = ("winter wheat",)
INCH_MM = 25.4
DUE_DAYS = 7  # the list is weekly: what falls due later is shown, and waits

YIELD = Field("yield", "number", "grain yield that the field can be expected to make", unit="bu/ac", low=1, high=200,
              example="45 bu/ac", found_in=("place:expected_yield",))  # fmt: skip
PRICE = Field("price", "number", "wheat price", unit="USD/bu", low=0.5, high=50, example="5.60 USD/bu",
              found_in=("place:price", "quote:wheat", "setting:price.wheat"))  # fmt: skip
ACRES = Field("acres", "number", "field size", unit="ac", bare=True, low=0.01, high=1_000_000,
              found_in=("place:acres",))  # fmt: skip
STATION = Field("station", "text", "weather station on file that stands for the field", found_in=("place:station",))
PLANTING = Field("planting_date", "date", "day of sowing, done or planned", found_in=("place:planting_date",))
PURPOSE = Field("purpose", "choice", "what the wheat is grown for", choices=PURPOSES, found_in=("place:purpose",),
                aliases={"dual-purpose": "dual", "forage": "graze-out", "grazeout": "graze-out"})  # fmt: skip
ROW_SPACING = Field("row_spacing", "number", "row spacing", unit="inch", low=2, high=60, example="7.5 in",
                    found_in=("place:row_spacing",))  # fmt: skip
HARVEST_COST = Field("harvest_cost", "number", "harvest and hauling that go by the bushel; common practice if absent",
                     unit="USD/bu", low=0, high=10, found_in=("setting:cost.wheat_harvest_bu",))  # fmt: skip
HEAD = Field("head", "number", "cattle on the field", unit="head", bare=True, low=0, high=100_000,
             found_in=("place:head",))  # fmt: skip
STOCKING = Field("stocking", "number", "head per acre, instead of head and acres", unit="head/ac", low=0.01, high=20)
WEIGHT = Field("weight", "number", "live weight a head", unit="lb", low=150, high=2000, example="520 lb",
               found_in=("place:weight",))  # fmt: skip
GAIN = Field("gain", "number", "daily gain; the common range if absent", unit="lb/head/day", low=0, high=5,
             found_in=("setting:wheat_gain",))  # fmt: skip
VALUE_OF_GAIN = Field("value_of_gain", "number", "value (or rent) of a pound of gain", unit="USD/lb", low=0, high=10,
                      example="1.10 USD/lb", found_in=("setting:value_of_gain",))  # fmt: skip
OUTLOOK_NOTE = "Yield, price and gain are drawn together; every option faces the same futures."
INSURANCE = (
    "Ask the insurance agent before grazing past first hollow stem, cutting for hay or destroying wheat: rules change "
    "yearly, and some policies exclude each other."
)
CATTLE = "Lush wheat can bloat cattle and bring on tetany; see wheat-pasture-hazard, and ask the veterinarian."


def days_ahead(on: date, month: int, day: int) -> int:
    """Days from `on` to the next such calendar day (0 to 365)."""
    there = date(on.year, month, day)
    if there < on:
        there = date(on.year + 1, month, day)
    return (there - on).days


def month_day(text: str, on: date) -> date:
    """The day "MM-DD" in the season that `on` belongs to: sowing seasons run from July."""
    month, day = (int(part) for part in text.split("-"))
    year = on.year if on.month >= 7 or month < 7 else on.year - 1
    return date(year, month, day)


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
    spring = date(context.on.year + (context.on.month >= 7), month, day)  # of this crop, so it can lie behind
    return np.where(np.isnan(days), float((spring - context.on).days), days)


def harvest_days(context: Context) -> int:
    """Days to the end of June, when wheat is sold where no other date is known."""
    return days_ahead(context.on, 6, 30)


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
    drawn = context.outlook.between("wheat gain", *context.facts.span("wheat/grazing.gain"))
    return np.where(np.isnan(given), drawn[None, :], given)


def hay_money(table: Table, context: Context, days: int) -> Floats:
    """Money of cutting wheat for hay some days from now (place, draw) [USD/ac]; NaN where hay has no price."""
    facts, out = context.facts, context.outlook
    tons = table.number("hay_yield")[:, None] + np.zeros((1, out.draws))
    if np.isnan(tons).any():
        tons = np.where(np.isnan(tons), out.between("wheat hay", *facts.span("wheat/hay.wheat_yield")), tons)
    making = known_or(table.number("hay_cost"), context, "wheat/hay.cost")[:, None]
    return np.asarray(tons * (table.number("hay_price")[:, None] * out.price_ratio("grass hay", [days])[:, 0] - making))


def shown_day(context: Context, days: float) -> str:
    """A date some days from today, such as "Mon 14 Sep"."""
    from datetime import timedelta

    return (context.on + timedelta(days=round(days))).strftime("%a %-d %b")


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


HAY = (
    Field("hay_yield", "number", "hay expected; the common range if absent", unit="ton/ac", low=0.1, high=8),
    Field("hay_price", "number", "price of wheat hay", unit="USD/ton", low=5, high=600,
          found_in=("quote:grass hay", "setting:price.wheat_hay")),
    Field("hay_cost", "number", "cutting and baling; common practice if absent", unit="USD/ton", low=0, high=200,
          found_in=("setting:cost.hay_making",)),
)  # fmt: skip


def any_of(lacking: Mapping[str, Bools]) -> Bools:
    """(place,) True where anything of a mapping words -> mask (place,) is lacking."""
    return np.asarray(np.logical_or.reduce(list(lacking.values())))


def lacking_text(lacking: Mapping[str, Bools], lead: str = "Not known") -> Callable[[int], str]:
    """Row -> what it lacks, in words."""
    return lambda row: f"{lead}: " + "; ".join(words for words, mask in lacking.items() if mask[row]) + "."


def unknown(table: Table, **fields: str) -> dict[str, Bools]:
    """Words -> mask of rows that do not know a field: ``unknown(table, price="wheat price")``."""
    return {words: ~table.known(name) for name, words in fields.items()}
