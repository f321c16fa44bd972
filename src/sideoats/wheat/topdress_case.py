"""Topdressed nitrogen as a case of the rate of an input: rates now, a look in spring first, or none, over none.

Money rests on one publisher's budget, or on a response of the grower's own; another publisher's rate stands beside it.
What was not tested is drawn from what trial sites held.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from sideoats.families import rate_of_an_input as rate_
from sideoats.problem import Barred, Choice, Look, labelled
from sideoats.question import Context, Table
from sideoats.wheat import response
from sideoats.wheat.asked import known_or
from sideoats.wheat.days import DUE_DAYS, spring_close, spring_days
from sideoats.wheat.drawn import INCH_MM, wheat_price, yield_draws
from sideoats.wheat.nitrogen_asked import nitrogen_price, profile, publisher_of, recommended, soil_prior
from sideoats.wheat.stages import STAGES
from sideoats.words import Measured, say

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]

UNIT = "USD/ac"
RATES = tuple(range(20, 141, 20))
LATER, NONE = len(RATES), len(RATES) + 1
OPTIONS = (
    *(
        Choice(f"now-{r}", labelled("nitrogen-now", rate=Measured(r, unit="lb/ac")), trouble=rate_.TROUBLE, kind="now")
        for r in RATES
    ),
    Choice("look", labelled("nitrogen-later"), passive=True, kind="later"),
    Choice("none", labelled("no-topdress"), passive=True, kind="none"),
)
BEFORE = ("seedling", "tillering")  # a stage seen that still takes all of it, whatever the usual date is
LATE = ("jointing", "boot")  # heads are set, and hungry wheat still fills its kernels with part of it
FORAGE = ("graze-out", "hay")  # no grain is waited for
_N, _SOIL = "wheat/nitrogen.", "wheat/soil."


@dataclass(frozen=True)
class Crop:
    """The crop's nitrogen, (place, draw) unless said."""

    need: Floats  # lb/ac for the drawn yield
    supply: Floats  # lb/ac from soil, organic matter and what was applied, less what cattle carry off
    potential: Floats  # bu/ac
    price: Floats  # USD/bu
    cost: Floats  # (place,) USD/lb of nitrogen
    reaches: Floats  # share of the response still had if applied now
    reaches_later: Floats  # and if applied after the look
    rate: Floats  # (place,) the publisher's rate less what was applied [lb/ac]; NaN where it has none
    rates: tuple[Floats, Floats]  # (place,) its ends where organic matter was not tested
    linear_rate: Floats  # (place,) by linear-plateau
    best_rate: Floats  # (place,) by quadratic-plateau
    interpolated: Bools  # (place,)
    expected_need: Floats  # (place,) lb/ac for the expected yield
    have: Floats  # (place,) lb/ac at hand, by the middle of what the soil may hold


@dataclass(frozen=True)
class Season:
    """When it can go on, (place,)."""

    close: Floats  # days to the end of topdressing, negative where past
    look: Floats  # days to the look
    staged: Bools  # the stage seen is past boot
    late: Bools  # jointing or boot is seen, or tillers after the usual end: now or not at all
    jointed: Bools  # jointing or boot is seen
    unseen: Bools  # the usual end is past, the wheat may tiller still, and nobody looked
    share: tuple[Floats, Floats]  # low and high of the response that is left at this stage and day, once it is in
    forage: Bools  # no grain is waited for
    wet: Bools  # the ground waits for green-up
    hurried: Bools  # a laboratory's slip would come too late

    @property
    def past(self) -> Bools:
        """(place,) nitrogen on top no longer brings grain."""
        return np.asarray(self.staged | (self.close < 0))

    @property
    def shut(self) -> Bools:
        """(place,) nothing is put on for grain."""
        return np.asarray(self.past | self.forage)


def season_of(table: Table, context: Context) -> Season:
    """The close of topdressing: first hollow stem as expected or a usual date, which a stage seen overrules.

    Wheat seen to tiller after the usual end takes it as long as tillers do anywhere; what it brings falls day by day to
    what it brings at the first node. From there to boot it is the last chance, now, and brings less from day to day.
    """
    close, stage = spring_close(table, context, "close_date"), table.text("stage").astype(str)
    staged = np.isin(stage, STAGES[STAGES.index("heading") :])
    late = np.isin(stage, LATE)
    told = np.isfinite(spring_days(table, context, "close_date"))
    behind = (close < 0) & ~told & np.isin(stage, ("", *BEFORE))
    unsure = context.region.holds("wheat-stage-unsure", context.on)
    unseen = behind & (stage == "") & unsure
    share = _share_left(context, stage, np.where(behind | late, np.minimum(close, 0.0), 0.0))
    jointed = late
    late = jointed | (behind & (stage != ""))
    close = np.where(late | unseen, 0.0, close)
    look = np.maximum(close - context.facts.value(_N + "sample_lead"), 0.0)
    wet = table.flag("sandy") & context.region.holds("sandy-topdress-early", context.on)
    hurried = close < context.facts.value(_N + "sample_lead")
    return Season(
        close,
        look,
        staged,
        late,
        jointed,
        unseen,
        share,
        np.isin(table.text("purpose").astype(str), FORAGE),
        wet,
        hurried,
    )


def _last_tillers(context: Context) -> float:
    """Days to the day after which wheat is taken to tiller nowhere; below zero where past."""
    month, day = (int(p) for p in context.facts[_N + "last_tillers"].text.split("-"))
    return float((context.region.in_crop_year(month, day, context.on) - context.on).days)


def _share_left(context: Context, stage: NDArray[np.str_], behind: Floats) -> tuple[Floats, Floats]:
    """(place,) low and high of the share of the whole response that nitrogen brings once it is in.

    `behind` is the days [negative] that the usual end is past, 0 where it is not: the end is when the first node is
    usual, and from there jointing wheat goes to boot.
    """
    rows = {row[0]: (float(row[1]), float(row[2])) for row in context.facts[_N + "late_share"].rows}
    length = _last_tillers(context) - behind
    tillers = np.clip(np.where(behind < 0, -behind / np.maximum(length, 1.0), 0.0), 0.0, 1.0)
    nodes = np.clip(-behind / context.facts.value(_N + "node_to_boot"), 0.0, 1.0)
    out = []
    for at in (0, 1):
        node, boot = rows["first node"][at], rows["boot"][at]
        seen = {"jointing": node + nodes * (boot - node), "boot": np.full(len(stage), boot)}
        left = 1.0 - tillers * (1.0 - node)
        for name, share in seen.items():
            left = np.where(stage == name, share, left)
        out.append(left)
    return out[0], out[1]


def matter_of(table: Table, context: Context) -> tuple[Floats, Floats]:
    """(place,) organic matter for the budget, and (place, draw) as it may be [percent]: tested, else a usual range."""
    tested = table.number("organic_matter")
    if table.known("organic_matter").all():
        return tested, np.broadcast_to(tested[:, None], (len(table), context.outlook.draws))
    drawn = context.outlook.between("organic matter", *context.facts.span(_SOIL + "organic_matter"), table.keys)
    middle = known_or(tested, context, _SOIL + "organic_matter")
    return middle, np.where(np.isnan(tested)[:, None], drawn, tested[:, None])


def asked(table: Table, context: Context, matter: Floats) -> tuple[Floats, Bools]:
    """(place,) the publisher's rate at an organic matter, less what was applied [lb/ac]; and whether interpolated."""
    told = replace(table, columns={**table.columns, "organic_matter": matter})
    rate, between = recommended(told, context, publisher_of(table, context))
    return np.maximum(rate - np.nan_to_num(table.number("applied")), 0.0), between


def crop_of(table: Table, context: Context, season: Season) -> Crop:
    """Need and supply in every future, and the rates that each way of reckoning gives."""
    facts, out = context.facts, context.outlook
    applied = np.nan_to_num(table.number("applied"))
    middle_matter, matter = matter_of(table, context)
    rate, between = asked(table, context, middle_matter)
    ends = _ends(table, context, middle_matter, rate)
    price, cost = wheat_price(table, context), nitrogen_price(table, context)
    per_bushel, per_cent = (facts.value(_N + f"kansas.{k}") for k in ("per_bushel", "organic_matter"))
    tested = profile(table, context)[:, None]
    error = facts.value(_N + "sampling_error") * out.normal("soil test error", table.keys)
    soil = np.where(np.isnan(tested), soil_prior(table, context), np.maximum(tested + error, 0.0))
    middle = np.where(np.isnan(tested[:, 0]), facts.value(_N + "kansas.profile_default"), tested[:, 0])
    grazed = table.text("purpose") == "dual"
    eaten = np.where(grazed, facts.value(_N + "kansas.grazing") if grazed.any() else 0.0, 0.0)
    goal, potential = table.number("yield"), yield_draws(table, context)
    need, have = goal * per_bushel, middle + middle_matter * per_cent + applied - eaten
    ratio, slope = cost / table.number("price"), table.number("slope")
    # slope of Y (1 - (1 - S/need)^2) is 2 Y/need (1 - S/need): set it to the price ratio
    best = need * (1 - ratio * need / (2 * goal)) - have
    best = np.where(np.isnan(slope), best, response.optimum_quadratic(slope, table.number("bend"), ratio) - applied)
    linear = np.where(goal / need > ratio, need, 0.0) - have
    return Crop(
        potential * per_bushel,
        np.maximum(soil + matter * per_cent + (applied - eaten)[:, None], 0.0),
        potential,
        price,
        cost,
        _reach(table, context, np.zeros(len(table)), season),
        _reach(table, context, season.look, season),
        rate,
        ends,
        np.where(np.isnan(slope) & np.isfinite(goal * ratio), np.maximum(linear, 0.0), np.nan),
        np.maximum(best, 0.0),
        between,
        need,
        have,
    )


def _ends(table: Table, context: Context, matter: Floats, rate: Floats) -> tuple[Floats, Floats]:
    """(place,) the publisher's rate at the usual ends of organic matter, itself where it was tested."""
    if table.known("organic_matter").all():
        return rate, rate
    low, high = context.facts.span(_SOIL + "organic_matter")
    most, least = (
        asked(table, context, np.where(table.known("organic_matter"), matter, end))[0] for end in (low, high)
    )
    return least, most


def _reach(table: Table, context: Context, start: Floats, season: Season) -> Floats:
    """Share of the response had (place, draw) when nitrogen lies on top from day `start` and must be in by the close.

    Where jointing is at hand or past it must be in within a fortnight, and brings what the stage leaves.
    """
    facts, out = context.facts, context.outlook
    low, high = (end[:, None] for end in season.share)
    left = low + (high - low) * out.uniform("response left at this stage")[None, :]
    close = np.where(season.late | season.unseen, facts.value(_N + "taken_up"), season.close)
    return np.asarray(left * _in_time(table, context, start, close))


def _in_time(table: Table, context: Context, start: Floats, close: Floats) -> Floats:
    facts, out = context.facts, context.outlook
    ends = next(row[1:] for row in facts[_N + "late_share"].rows if row[0] == "rain after first hollow stem")
    late = out.between("nitrogen too late", float(ends[0]), float(ends[1]))[None, :]
    if not out.has_weather:
        return np.where((start <= close)[:, None], 1.0, late) + np.zeros((len(table), out.draws))
    enough = facts.value(_N + "move_in_rain") * INCH_MM
    seen = np.cumsum(out.daily("rain")[:, out.year_of_draw] >= enough, axis=2)
    rows, last = out.station_rows(table.text("station")), seen.shape[2] - 1
    at_start, at_close = (np.clip(day, 0, last).astype(np.int64) for day in (start - 1, close))
    before = np.where((start > 0)[:, None], seen[rows, :, at_start], 0)
    moved = seen[rows, :, at_close] > before
    return np.where(moved & (start <= close)[:, None], 1.0, late)


def bushels(table: Table, crop: Crop, rate: Floats) -> Floats:
    """Bushels over no topdress (place, draw) for a rate (place or 1, draw or 1) that reaches the roots in time."""
    slope, bend = table.number("slope")[:, None], table.number("bend")[:, None]
    applied = np.nan_to_num(table.number("applied"))[:, None]
    fitted = response.quadratic_plateau(applied + rate, 0.0, slope, bend)
    fitted = fitted - response.quadratic_plateau(applied, 0.0, slope, bend)
    modelled = response.supply_response(crop.supply + rate, crop.need, crop.potential)
    modelled = modelled - response.supply_response(crop.supply, crop.need, crop.potential)
    return np.where(np.isnan(slope), modelled, fitted)


def gain_of(table: Table, context: Context, crop: Crop) -> Floats:
    """(place, draw, option) money over no topdress [USD/ac], 0 where not known."""
    facts, dollars = context.facts, crop.cost[:, None]
    spread = known_or(table.number("cost"), context, _N + "application_cost")[:, None]

    def pays(rate: Floats, reaches: Floats) -> Floats:
        brought = bushels(table, crop, rate) * reaches * crop.price
        return np.asarray(brought - rate * dollars - np.where(rate > 0, spread, 0.0))

    now = [pays(np.full((1, 1), float(r)), crop.reaches) for r in RATES]
    # a look shows what the soil holds, up to an error; yield and price stay what they are expected to be today
    error = facts.value(_N + "strip_error") * context.outlook.normal("strip error", table.keys)
    goal, need = table.number("yield")[:, None], crop.expected_need[:, None]
    today = dollars / table.number("price")[:, None]
    top = need * (1 - today * need / (2 * goal)) - crop.supply
    fitted = response.optimum_quadratic(table.number("slope")[:, None], table.number("bend")[:, None], today)
    fitted = fitted - np.nan_to_num(table.number("applied"))[:, None]
    seen = np.clip(np.where(np.isnan(fitted), top + error, fitted), 0.0, float(RATES[-1]))
    later = pays(np.where(seen < RATES[0] / 2, 0.0, seen), crop.reaches_later)
    later = later - known_or(table.number("look_cost"), context, _N + "look_cost")[:, None]
    return np.nan_to_num(np.stack([*now, later, np.zeros_like(later)], axis=2))


def least(context: Context) -> float:
    """The gain for which somebody sets out to spread [USD/ac]."""
    rows = context.facts.by_id["decide/trouble.least"].rows
    return next(float(low) for kind, money, low in rows if (kind, money) == (rate_.TROUBLE, UNIT))


def bars(context: Context, season: Season, gain: Floats) -> tuple[Barred, ...]:
    """What the calendar, the ground and the use of the wheat rule out, and a look that brings next to nothing."""
    at, mean = np.arange(len(OPTIONS)), gain.mean(axis=1)
    heavy = (at < LATER) & (np.array([*RATES, 0, 0]) > context.facts.value(_N + "late_most"))
    now = mean[:, :LATER].max(axis=1)
    idle = (now > 0) & (mean[:, LATER] <= now + least(context)) & ~season.wet
    return (
        Barred((idle & ~season.shut & ~season.hurried)[:, None] & (at == LATER), say("bar.idle_look")),
        Barred((season.hurried & ~season.shut)[:, None] & (at == LATER), say("bar.late_look")),
        Barred(season.past[:, None] & (at <= LATER), say("bar.jointed")),
        Barred(season.forage[:, None] & ~season.past[:, None] & (at <= LATER), say("bar.forage_only")),
        Barred(season.wet[:, None] & (at < LATER), say("bar.green_up")),
        Barred((season.jointed & ~season.past)[:, None] & heavy, say("bar.late_heavy")),
    )


def needs_of(table: Table, crop: Crop, season: Season, stage_asked: Bools) -> dict[str, Bools]:
    """What the money cannot do without, while something can be put on."""
    return {
        "wheat_check.stage": stage_asked,
        "quote:wheat": ~table.known("price") & ~season.shut,
        "place.expected_yield": ~table.known("yield") & ~season.shut,
        "quote:nitrogen": np.isnan(crop.cost) & ~season.shut,
    }


def stage_asked(table: Table, context: Context, crop: Crop, season: Season, gain: Floats) -> Bools:
    """(place,) the stage decides: nitrogen would pay on wheat that tillers still, or its money is not known."""
    unpriced = np.isnan(crop.cost) | ~table.known("price") | ~table.known("yield")
    pays = gain.mean(axis=1)[:, :LATER].max(axis=1) > least(context)
    return np.asarray(season.unseen & ~season.forage & (pays | unpriced))


def stage_look(wanted: Bools, gain: Floats) -> Look:
    """Seeing whether wheat tillers still, where its usual end is past: worth what nitrogen brings if it does."""
    worth = np.where(wanted, np.maximum(gain.mean(axis=1)[:, :LATER].max(axis=1), 0.0), 0.0)
    none = np.zeros(len(worth))
    return Look(worth[:, None], none, none.astype(np.int64), worth=worth, settles="wheat_check.stage")


def leads(gain: Floats, closed: Bools) -> Ints:
    """(place,) the option that brings most on average among those open."""
    return np.asarray(np.where(closed, -np.inf, gain.mean(axis=1)).argmax(axis=1))


def look_of(season: Season, gain: Floats, closed: Bools) -> Look:
    """A strip or a spring soil test, where its day has come: what deciding by it brings over any rate today."""
    mean = np.where(closed, -np.inf, gain.mean(axis=1))
    over = mean[:, LATER] - np.delete(mean, LATER, axis=1).max(axis=1)
    here = (season.look <= DUE_DAYS) & np.isfinite(over)
    worth = np.where(here, np.maximum(np.nan_to_num(over), 0.0), 0.0)
    return Look(worth[:, None], np.zeros(len(worth)), season.look.astype(np.int64), worth=worth)


def delay(context: Context, season: Season, gain: Floats) -> Floats:
    """(place, option) what a week's wait costs: not known from the day on which it may go on, for a rain let go may be
    the one that would have taken it in; all of it in the last week; nothing before, or where the ground waits.
    """
    lost = rate_.delay(gain, np.where(season.past, -1.0, season.close))
    now = np.arange(len(OPTIONS)) < LATER
    open_ = season_open(context, season)[:, None] & now & (gain.mean(axis=1) > 0) & (lost == 0)
    return np.where(open_, np.nan, lost)


def season_open(context: Context, season: Season) -> Bools:
    """(place,) the months in which it goes on have come, the ground takes it and the end is not past."""
    return np.asarray(context.region.holds("topdress-open", context.on) & ~season.wet & ~season.past)


def recheck(season: Season, context: Context) -> Ints:
    """(place,) days to the opening, to the look, then to a week before the close; past it, to the next crop's turn."""
    after = (context.region.next_crop(context.on) - context.on).days
    opens = float((context.region.opens("topdress-open", context.on) - context.on).days)
    settled = np.where(season.late, DUE_DAYS, np.clip(season.close, 0.0, DUE_DAYS))
    days = rate_.again(np.where(season.past, -1.0, season.close), after, settled)
    days = np.where(season.unseen & ~season.forage, 0, days)
    days = np.where((season.look > 0) & ~season.shut, season.look, days)
    return np.where((opens > 0) & (days > opens) & ~season.past, opens, days).astype(np.int64)


def quantities(crop: Crop, season: Season) -> dict[str, tuple[Floats, str]]:
    """The rates side by side, the price of a pound, and the days left."""
    none = season.shut
    return {
        "rate_by_publisher": (np.where(none, np.nan, crop.rate), "lb/ac"),
        "rate_that_pays": (np.where(none, np.nan, crop.best_rate), "lb/ac"),
        "rate_linear_plateau": (np.where(none, np.nan, crop.linear_rate), "lb/ac"),
        "nitrogen_needed": (np.where(none, np.nan, crop.expected_need), "lb/ac"),
        "nitrogen_at_hand": (np.where(none, np.nan, crop.have), "lb/ac"),
        "nitrogen_price": (crop.cost, "USD/lb"),
        "days_left": (season.close, "day"),
    }
