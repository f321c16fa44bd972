"""A pest that multiplies: what it will do to the crop in the days ahead, from the facts under one prefix.

Growth is the rate seen in fields, scaled by each day's temperature at the field's station and slowed by natural
enemies; injury is pest-days up to the day on which nothing is left to lose, compared with those of ordinary warm
weather without enemies, for which the published injury levels hold.

Loss is linear in pests, weighted by growth stage, and bounded by the greatest share of the crop that each stage lost.

The facts: reference, stage_loss, field_rate, ceiling, infestation_days, injury_level.fast, .slow,
efficacy, development, reference_day, slowing, mummy_days, days_to_black_layer, threshold, tally_most.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.families.counted import Counted
from sideoats.families.stopping import Saving, straight
from sideoats.families.treated import reference_of
from sideoats.families.treating import DAYS
from sideoats.insects.growth import day_response, field_growth
from sideoats.insects.thresholds import Reference, bounded_loss, line_at_loss
from sideoats.insects.treatment import pest_days_by_day, triangular
from sideoats.question import Context, Table
from sideoats.records import dataclass
from sideoats.words import Measured, Said, say

Floats = NDArray[np.float64]
_FEW = slice(None, None, 10)  # draws for the density at which treating just pays, which is a mean
_AFTER = 21  # days of weather after the last treatment day, for the mean rate from there on


@dataclass(frozen=True, eq=False)
class Growth:
    """Drawn biology shared by all places: (draw,) unless said.

    Attributes
    ----------
    rate : increase in ordinary warm weather [1/day]
    ceiling : highest density that plants hold; lasts : days that an infestation goes on
    level : published injury level at that rate: quick growers have the low one
    prevented : share of the injury ahead that a treatment prevents
    cumulative : (day, station, draw) sum of daily rates up to each treatment day
    later_rate : (station, draw) mean rate afterwards [1/day]
    recent : (station, draw) scaling of the rate by this week's weather
    """

    rate: Floats
    ceiling: Floats
    lasts: Floats
    level: Floats
    prevented: Floats
    cumulative: Floats
    later_rate: Floats
    recent: Floats

    def take(self, some: slice) -> Growth:
        """The same for some of the draws."""
        parts = (self.rate, self.ceiling, self.lasts, self.level, self.prevented, self.cumulative, self.later_rate)
        return Growth(*(part[..., some] for part in (*parts, self.recent)))


@dataclass(frozen=True, eq=False)
class Ahead:
    """Pests today (place, draw), the injury they will do over that of ordinary growth, and its share by day.

    `since` (place,) is how many times as many there are as on the day of the count, those that live on counted alone.

    `at` gives ratio and share for another density (place,), of some draws: for the one at which treating just pays.
    """

    density: Floats
    ratio: Floats
    done: Floats
    at: Callable[[Floats], tuple[Floats, Floats]]
    since: Floats


def growth_of(context: Context, prefix: str, name: str) -> Growth:
    """Draws of growth from the facts under `prefix`; `name` keys their random numbers."""
    facts, out = context.facts, context.outlook
    u = {what: out.uniform(f"{name} {what}") for what in ("rate", "ceiling", "days", "efficacy")}
    seen, efficacy = facts[prefix + "field_rate"], facts[prefix + "efficacy"]
    rate = triangular(u["rate"], seen.low, seen.mid, seen.high)
    ceiling = _even(u["ceiling"], facts.span(prefix + "ceiling"))
    lasts = _even(u["days"], facts.span(prefix + "infestation_days"))
    prevented = triangular(u["efficacy"], efficacy.low, efficacy.mid, efficacy.high)
    fast, slow = facts.value(prefix + "injury_level.fast"), facts.value(prefix + "injury_level.slow")
    speed = np.clip((rate - seen.low) / (seen.mid - seen.low), 0.0, 1.0)
    level = np.exp(np.log(slow) + speed * (np.log(fast) - np.log(slow)))
    scaling = _scaling(context, prefix)
    daily = rate[None, :, None] * scaling
    cumulative = np.zeros((DAYS, *daily.shape[:2]))
    np.cumsum(np.moveaxis(daily[:, :, : DAYS - 1], 2, 0), axis=0, out=cumulative[1:])
    later = daily[:, :, DAYS - 1 :].mean(axis=2)
    return Growth(rate, ceiling, lasts, level, prevented, cumulative, later, scaling[:, :, :7].mean(axis=2))


def _even(u: Floats, span: tuple[float, float]) -> Floats:
    return np.asarray(span[0] + (span[1] - span[0]) * u)


def _scaling(context: Context, prefix: str) -> Floats:
    """(station, draw, day) by which each day's temperature scales the field rate; all 1 without a station."""
    facts, out = context.facts, context.outlook
    horizon = DAYS + _AFTER
    if not out.has_weather:
        return np.ones((1, out.draws, horizon))
    lower, optimum, upper = facts[prefix + "development"].rows[0]
    warm_low, warm_high = facts[prefix + "reference_day"].rows[0]
    suits = day_response(out.daily("tmin")[..., :horizon], out.daily("tmax")[..., :horizon], lower, optimum, upper)
    reference = float(day_response(warm_low, warm_high, lower, optimum, upper))
    scaled = field_growth(1.0, suits, reference, most=1.0)
    return np.asarray(scaled[:, out.year_of_draw, :])


def ahead_of(table: Table, context: Context, counted: Counted, growth: Growth, prefix: str, name: str) -> Ahead:
    """Pest-days ahead by the days' warmth and enemies, as a multiple of those in ordinary warm weather without any."""
    facts, n = context.facts, len(table)
    station = context.outlook.station_rows(table.text("station")) if context.outlook.has_weather else np.zeros(n, int)
    free = _free(table, context, prefix, name)
    mummies = np.nan_to_num(table.number("parasitized"))[:, None]
    dying = mummies / facts.value(prefix + "mummy_days")
    age = np.nan_to_num(np.fmin(table.age_days("counts"), table.age_days("mean")), nan=0.0)
    density = before = np.where(np.isnan(counted.density), 1.0, counted.density) * (1 - mummies)
    if age.any():
        grown = np.expm1(np.minimum(age[:, None] * (growth.rate * growth.recent[station] * free - dying), 30))
        share = np.minimum(density / growth.ceiling, 1.0)
        density = np.minimum(density * (1 + grown) / (1 + share * grown), np.maximum(growth.ceiling, density))
    filling = dict(facts[prefix + "days_to_black_layer"].rows)
    left = np.array([float(filling.get(s, 0.0)) for s in table.text("stage")])
    left = np.maximum(left - age, 0.0)[:, None]

    def of(density: Floats, some: slice) -> tuple[Floats, Floats]:
        """Injury ahead over that of ordinary growth, and its share by day, for some of the draws."""
        g, slow = growth.take(some), free if free.shape[1] == 1 else free[:, some]
        days = np.minimum(left, g.lasts)
        slowed = g.cumulative[:, station] * slow - dying * np.arange(DAYS)[:, None, None]
        later = g.later_rate[station] * slow - dying
        before, whole = pest_days_by_day(density, slowed, np.arange(n), later, g.ceiling, days)
        steady = np.arange(DAYS)[:, None, None] * g.rate
        _, usual = pest_days_by_day(density, steady, np.zeros(n, int), g.rate[None], g.ceiling, days)
        some_left = (whole > 0) & (usual > 0)
        ratio = np.where(some_left, whole / np.where(some_left, usual, 1.0), 0.0)
        return ratio, np.where(some_left, before / np.where(some_left, whole, 1.0), 1.0)

    ratio, done = of(density, slice(None))
    some, grown = len(growth.rate[_FEW]), density.mean(axis=1) / np.maximum(before.mean(axis=1), 1e-9)
    return Ahead(density, ratio, done, lambda mean: of(np.repeat(mean[:, None], some, 1), _FEW), grown)


def _free(table: Table, context: Context, prefix: str, name: str) -> Floats:
    """(place, draw) part of the rate of increase that predators leave: an uncertain slowing, no threshold."""
    bounds = {kind: (low, high) for kind, low, high in context.facts[prefix + "slowing"].rows}
    spans = np.array([bounds.get(p, bounds["none"]) for p in table.text("predators")], dtype=float).reshape(-1, 2)
    slowed = spans[:, :1] + (spans[:, 1:] - spans[:, :1]) * context.outlook.uniform(f"{name} enemies")
    return np.asarray(1.0 - slowed)


@dataclass(frozen=True, eq=False)
class Stake:
    """Money; arrays (place,) unless said.

    Attributes
    ----------
    loss : (place, draw) what the injury ahead costs the untreated crop [USD/ac]
    worth : price times yield [USD/ac]
    prevented : (place or 1, draw) share of the injury ahead that a treatment prevents
    saving : what a treatment today saves by the pests a unit as they were counted
    tomorrow : share of the injury ahead done by tomorrow where treating just pays
    pays : pests a unit, as they are counted today, at which treating just pays here; NaN where no field has that many
    uneven : (place, some draws) what one pest costs where treating just pays, and is saved of it, over its mean
    ripe : True where the stage has no grain left to lose
    """

    loss: Floats
    worth: Floats
    prevented: Floats
    saving: Saving
    tomorrow: Floats
    pays: Floats
    ripe: NDArray[np.bool_]
    uneven: Floats


def stake_of(
    table: Table, context: Context, ahead: Ahead, growth: Growth, reference: Reference, moves: Floats, prefix: str
) -> Stake:
    """What the injury ahead costs at this farm's yield and price; `moves` (place, draw) is the price's own move."""
    facts = context.facts
    price, yields = np.nan_to_num(table.number("price")), np.nan_to_num(table.number("yield"))
    weight, most = (_by_stage(table, context, prefix + "stage_loss", column) for column in ("weight", "most"))
    line, worth = reference.line(price, yields) * weight, price * yields
    scale = _by_yield(context, prefix, yields / reference.yields)
    one = ahead.ratio / growth.level * (line[:, None] * moves) * scale  # what one pest a unit costs
    loss = bounded_loss(ahead.density * one, (worth * most)[:, None] * moves)
    given = table.number("efficacy")[:, None]
    prevented = np.where(np.isnan(given), growth.prevented, given)
    with np.errstate(divide="ignore", over="ignore", invalid="ignore"):
        needed = line_at_loss(np.nan_to_num(table.number("cost")) / prevented.mean(axis=1), worth * most)
        line = line * scale.mean(axis=1)
        first = needed / (line * np.mean(1 / growth.level))  # ordinary growth; then as the coming days have it
        likely = np.clip(np.nan_to_num(first, nan=1.0, posinf=1e6), 1e-3, 1e6)
        ratio, done = ahead.at(likely)
        slope = line * (ratio / growth.level[_FEW]).mean(axis=1)
        slope = slope * (1 - np.nan_to_num(table.number("parasitized")))  # mummies are counted, and cost nothing
        pays, roof = needed / slope, np.nan_to_num(worth * most / slope, nan=np.inf)
    pays = np.where(pays <= facts.value(prefix + "tally_most"), pays, np.nan)
    # at the same density whatever was counted, so that the phone, which knows no count yet, draws the same lines
    saved = (ratio / growth.level[_FEW] * moves[:, _FEW] * scale[:, _FEW]) * prevented[:, _FEW]
    middle = saved.mean(axis=1, keepdims=True)
    uneven = np.divide(saved, middle, out=np.ones_like(saved), where=middle > 0)
    saves, cost = np.nan_to_num(slope * prevented.mean(axis=1)), np.nan_to_num(table.number("cost"))
    counted = straight(saves, pays, roof, cost).per(1.0 / ahead.since)
    ripe = table.known("stage") & (weight == 0)
    return Stake(loss, worth, prevented, counted, done[1].mean(axis=-1), pays, ripe, uneven)


def _by_yield(context: Context, prefix: str, times: Floats) -> Floats:
    """(place, draw) the loss over that at the reference yield, `times` (place,) over which is this farm's.

    No source says whether an aphid takes an amount of grain or a share of the crop: both are carried, half and half.
    """
    amount = context.outlook.uniform(f"{prefix} loss by yield") < context.facts.value(prefix + "by_amount")
    return np.where(amount[None, :], 1.0, times[:, None])


def reasons_of(table: Table, context: Context, words: str, prefix: str, known: NDArray[np.bool_]) -> tuple[Said, ...]:
    """Published levels, enemies, an old count carried forward, and the weather that growth follows."""
    facts = context.facts
    levels = {pace: prefix + f"injury_level.{pace}" for pace in ("fast", "slow")}
    threshold = facts[prefix + "threshold"]
    enemies = np.isin(table.text("predators"), ("few", "many")) | table.known("parasitized")
    age = np.fmin(table.age_days("counts"), table.age_days("mean"))
    unseen = ~np.any([table.known(way) for way in ("counts", "mean", "infested_over_50")], axis=0)
    days = np.log(10) / facts.value(prefix + "field_rate")

    usual, yields = reference_of(facts, prefix.rstrip(".")).yields, table.number("yield")
    with np.errstate(divide="ignore"):
        other = np.abs(np.log(yields / usual)) > np.log(1.25)

    def because(code: str, **values: Any) -> Said:
        return say(f"{words}.because.{code}", **values)

    return (
        because(
            "levels",
            fast=Measured(facts.value(levels["fast"]), fact=levels["fast"]),
            slow=Measured(facts.value(levels["slow"]), fact=levels["slow"]),
            mid=Measured(threshold.mid, fact=threshold.id),
            low=threshold.low,
            high=threshold.high,
        ).where(known),
        because("by-yield", yields=Measured(yields, unit="bu/ac"), usual=Measured(usual, unit="bu/ac")).where(
            known & other
        ),
        because("enemies").where(enemies & known),
        because("carried", age=Measured(np.where(known & (age > 0), age, np.nan), unit="day")),
        because("tenfold", days=Measured(np.round(days), unit="day")).where(unseen),
        *(() if context.outlook.has_weather else (because("no-weather").where(known),)),
    )


def _by_stage(table: Table, context: Context, fact: str, column: str) -> Floats:
    """(place,) a column of a table by stage; 0 where no stage is known."""
    rows = context.facts[fact]
    values = dict(zip(rows.column("stage"), rows.column(column), strict=True))
    return np.array([float(values.get(str(stage), 0.0)) for stage in table.text("stage")])
