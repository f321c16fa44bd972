"""Sowing wheat as a case of when to do it: every third day of the next eleven weeks, over not sowing.

Not to sow costs nothing and leaves the ground to what else it would bring; sowing adds seed, drilling and growing the
crop, whatever it is sown for.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from sideoats.families.when_to_do_it import Stretch, delay, stretch
from sideoats.problem import Barred, Choice, labelled
from sideoats.question import Context, Table
from sideoats.wheat import planting
from sideoats.wheat.asked import harvest_cost, known_or
from sideoats.wheat.days import DUE_DAYS, harvest_days, month_day
from sideoats.wheat.drawn import hay_money, wheat_price
from sideoats.wheat.sowing import DAYS, STEP, Sown, sown_by_day
from sideoats.words import Count, Day, Name, say

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]

UNIT = "USD/ac"
NONE = len(DAYS)
OPTIONS = (
    *(
        Choice(f"sow-day-{d}", labelled("sow-in", n=Count(d)) if d else labelled("sow-today"), day=d, trouble="pass")
        for d in DAYS
    ),
    Choice("none", labelled("sow-none"), passive=True),
)
NEAR = 0.02  # of the best day's money that another may bring less
READY = 2  # days before the good days on which the seedbed is looked at
LONGEST = 28
_FACTS = "wheat/planting."


@dataclass(frozen=True)
class Season:
    """A batch by its sowing days, (place,) unless said."""

    sown: Sown
    gain: Floats  # (place, draw, option) USD/ac over not sowing
    days: Stretch
    drilled: Bools
    kill: Floats  # days before sowing on which volunteer has to be dead; 0 without volunteer
    share: Floats  # of a full crop, sown today
    poor: Bools  # so late that a spring crop is weighed first

    @property
    def clear(self) -> Floats:
        """Days to the day by which volunteer is to be dead for the last good day."""
        return np.asarray(np.maximum(self.days.closes - self.kill, 0.0))


def bars(table: Table, context: Context, sown: Sown) -> tuple[Barred, ...]:
    """Days that law or sense rule out."""
    facts, days = context.facts, np.array(DAYS, np.float64)
    first = float(facts[_FACTS + "early_yield.bushland"].rows[-1][0])
    before = facts[_FACTS + "volunteer_before"].low if table.flag("volunteer").any() else 0.0

    def timed(rows: Bools) -> Bools:
        return np.concatenate([rows, np.zeros((len(table), 1), bool)], axis=1)

    trial = month_day(facts[_FACTS + "early_sown"].text, context)
    ahead = float((trial - context.on).days)
    unheard = days[None, :] < np.maximum(sown.season.first - first, ahead)[:, None]
    dual = table.text("purpose").astype(str) == "dual"
    _, lead = facts.choose("wheat/dual_lead")
    best = float((month_day(facts[_FACTS + "dual_best"].text, context) - context.on).days)
    opens = np.minimum(sown.season.first - lead.high, best)  # published days before grain, or the best of the trial
    early = dual[:, None] & (days[None, :] < opens[:, None]) & ~unheard
    # a shower soon after brings seed in dry ground up before the fly is gone, whatever the odds of rain say
    grain = np.isin(table.text("purpose").astype(str), ["grain", "hay"])
    dust = grain & table.known("top_moist") & ~table.flag("top_moist")
    opens_dry = np.fmax(sown.season.first, table.days_until("fly_free", context.on))
    dusted = dust[:, None] & (days[None, :] < opens_dry[:, None]) & ~unheard
    past = days[None, :] > sown.season.heads[:, None]
    fouled = table.flag("volunteer")[:, None] & (days < before)[None, :] & ~unheard & ~past
    return (
        Barred(timed(fouled), say("bar.volunteer")),
        Barred(
            timed(unheard),
            say("bar.unheard_of", days=Count(round(first)), trial=Day(trial, fact=_FACTS + "early_sown")),
        ),
        Barred(timed(early), say("bar.dual_early", by=Name(lead.publisher))),
        Barred(timed(dusted), say("bar.dusted_early")),
        Barred(timed(past), say("bar.no_heads")),
    )


def gain_of(table: Table, context: Context, sown: Sown) -> Floats:
    """(place, draw, option) USD/ac over not sowing: what it is sown for, less growing it and what else would stand."""
    facts, purpose = context.facts, table.text("purpose").astype(str)
    grazed, combined = np.isin(purpose, ["dual", "graze-out"]), np.isin(purpose, ["grain", "dual"])
    brings = np.zeros((len(table), context.outlook.draws, NONE))
    if combined.any():
        price = wheat_price(table, context) - harvest_cost(table, context)[:, None]
        grain = np.nan_to_num(table.number("yield")[:, None, None] * sown.share * price[:, :, None])
        if (purpose == "dual").any():
            _, penalty = facts.choose("wheat/grazing_penalty")
            lost = context.outlook.between("grazing penalty", penalty.low, penalty.high)[None, :, None]
            grain = grain * (1 - np.where((purpose == "dual")[:, None, None], lost, 0.0))
        brings = brings + np.where(combined[:, None, None], grain, 0.0)
    if grazed.any():
        worth = np.nan_to_num(table.number("value_of_gain"))[:, None, None]
        beef = sown.forage * facts.value("wheat/grazing.beef_per_forage")
        top = context.outlook.between("fall forage", *facts.span(_FACTS + "fall_forage"))  # of the published sowing day
        carried = winter_beef(context)[None, :, None] * sown.forage / top[None, :, None]
        fall = np.minimum(beef, carried) * worth
        brings = brings + np.where(grazed[:, None, None], fall, 0.0)
    if (purpose == "graze-out").any():
        spring = spring_beef(context)[None, :, None] * worth * sown.share
        brings = brings + np.where((purpose == "graze-out")[:, None, None], spring, 0.0)
    if (purpose == "hay").any():
        hay = np.nan_to_num(hay_money(table, context, harvest_days(context)))[:, :, None] * sown.share
        brings = brings + np.where((purpose == "hay")[:, None, None], hay, 0.0)
    cost = known_or(table.number("cost"), context, _FACTS + "cost") + np.nan_to_num(table.number("instead"))
    brings = brings - cost[:, None, None] - _more_seed(table, context, sown)[:, None, :]
    return np.concatenate([brings, np.zeros((*brings.shape[:2], 1))], axis=2)


def winter_beef(context: Context) -> Floats:
    """(draw,) lb/ac that cattle gain at most on fall and winter wheat: published live weight and gain."""
    facts, out = context.facts, context.outlook
    live = out.between("live weight in winter", *facts.span("cattle/wheat_pasture.stocking.winter"))
    head = live / out.between("weight in spring", *facts.span("wheat/grazing.head_weight"))
    days = out.between("winter days on wheat", *facts.span("wheat/grazing.winter_days"))
    return np.asarray(head * days * out.between("wheat gain", *facts.span("cattle/wheat_pasture.gain")))


def spring_beef(context: Context) -> Floats:
    """(draw,) lb/ac that cattle gain on wheat grazed out in spring: published live weight, days and gain."""
    facts, out = context.facts, context.outlook
    live = out.between("live weight in spring", *facts.span("cattle/wheat_pasture.stocking.spring"))
    head = live / out.between("weight in spring", *facts.span("wheat/grazing.head_weight"))
    days = out.between("graze-out days", *facts.span("wheat/grazing.graze_out_days"))
    return np.asarray(head * days * out.between("wheat gain", *facts.span("cattle/wheat_pasture.gain")))


def _more_seed(table: Table, context: Context, sown: Sown) -> Floats:
    """(place, day) cost of the seed added for lateness [USD/ac]; nothing where seed has no price."""
    price = table.number("seed_price")
    if not table.known("seed_price").any():
        return np.zeros((len(table), NONE))
    facts = context.facts
    base = float(facts["wheat/seeding.kansas"].rows[1][3])  # low end of the middle rain class: only the raise counts
    late = np.array(DAYS)[None, :] - sown.season.last[:, None]
    rate = planting.late_rate(base, late, *(facts.value(f"wheat/seeding.late_{k}") for k in ("share", "top", "full")))
    return np.asarray((rate - base) * np.nan_to_num(price)[:, None])


def season_of(table: Table, context: Context, sown: Sown, closed: Bools) -> Season:
    """The good days, and what stands in their way."""
    facts, volunteer = context.facts, table.flag("volunteer")
    gain = gain_of(table, context, sown)
    days = _to_window(
        stretch(gain, DAYS, closed, NEAR), sown, np.isin(table.text("purpose").astype(str), ["grain", "hay"])
    )
    lead = kill_lead(context)[1] if volunteer.any() else 0.0
    share = sown.share[:, :, 0].mean(axis=1)
    poor = (sown.season.last < 0) & (share < facts.value(_FACTS + "late_share")) & days.pays
    drilled = table.days_until("planting_date", context.on) < 0
    return Season(
        sown, gain, days, drilled, np.where(volunteer, lead, 0.0), share, poor & ~table.known("instead") & ~drilled
    )


def kill_lead(context: Context) -> tuple[int, int]:
    """Days before sowing by which volunteer is tilled, and by which it is sprayed: it dies slower, mites too."""
    before = context.facts[_FACTS + "volunteer_before"]
    sprayed = max(before.high, before.low + context.facts.value(_FACTS + "mites_rise"))
    return round(before.low), round(sprayed)


def _to_window(days: Stretch, sown: Sown, rows: Bools) -> Stretch:
    """The good days ending on the ends of the window where the grid of days only misses these; `rows` (place,) are sown
    for what the window is for."""
    first, last = sown.season.first, sown.season.last
    opens = np.where(rows & (first >= 0) & (np.abs(days.opens - first) < STEP), first, days.opens)
    closes = np.where(rows & (last >= 0) & (np.abs(days.closes - last) < STEP), last, days.closes)
    return replace(days, opens=opens, closes=np.maximum(closes, opens))


def posed(table: Table, context: Context) -> tuple[Season, tuple[Barred, ...]]:
    """A batch with its bars; a field that is sown already is not sown again."""
    sown = sown_by_day(table, context)
    ruled_out = bars(table, context, sown)
    season = season_of(table, context, sown, np.logical_or.reduce([bar.mask for bar in ruled_out]))
    acts = np.arange(len(OPTIONS)) != NONE
    return season, (*ruled_out, Barred(season.drilled[:, None] & acts, say("bar.sown")))


def needs_of(table: Table, season: Season, closed: Bools) -> dict[str, Bools]:
    """What the money cannot do without: grain is priced where it is combined, gain where cattle graze, hay where it is
    cut; and very late what the ground would bring otherwise."""
    purpose = table.text("purpose").astype(str)
    combined, grazed = np.isin(purpose, ["grain", "dual"]), np.isin(purpose, ["dual", "graze-out"])
    open_ = ~closed[:, :NONE].all(axis=1)
    return {
        "quote:wheat": combined & ~table.known("price") & open_,
        "place.expected_yield": combined & ~table.known("yield") & open_,
        "setting:value_of_gain": grazed & ~table.known("value_of_gain") & open_,
        "quote:grass hay": (purpose == "hay") & ~table.known("hay_price") & open_,
        "wheat-planting.instead": season.poor & open_,
    }


def delays(season: Season, closed: Bools) -> Floats:
    """(place, option) what a week costs; a day that is let go may not come again, for rain or acres to get over."""
    return delay(season.gain, DAYS, closed, begun=season.kill, at_no_cost=np.nan)


def due(season: Season) -> Ints:
    """(place,) days to the last good day, or to the day by which volunteer has to be dead."""
    return np.where(season.kill > 0, season.clear, season.days.closes).astype(np.int64)


def recheck(season: Season, context: Context, closed: Bools) -> Ints:
    """(place,) days to a look at the seedbed before the good days; a week once they are here, the next crop's first day
    where this one is past."""
    next_crop = (context.region.next_crop(context.on) - context.on).days
    ahead = np.clip(season.days.opens - season.kill - READY, 1, LONGEST)
    idle = closed[:, :NONE].all(axis=1) | ~season.days.pays
    still = np.where(season.days.opens > DUE_DAYS, ahead, DUE_DAYS)
    # nothing pays any more, and the last sowing that heads comes before one would look again
    over = (season.sown.season.heads < 0) | (idle & (season.sown.season.heads < LONGEST))
    return np.where(over, next_crop, np.where(idle, LONGEST, still)).astype(np.int64)


def days_to_come_up(table: Table, context: Context) -> Floats:
    """(place,) days from sowing to emergence at the soil's temperature; NaN where that is not told."""
    facts, soil = context.facts, (table.number("soil_temperature") - 32) / 1.8
    constant, per_cm = (float(v) for v in facts["wheat/stages.emergence"].rows[0])
    return np.where(
        soil > 0, (constant + per_cm * facts.value(_FACTS + "depth")) / np.where(soil > 0, soil, 1.0), np.nan
    )


def quantities(table: Table, context: Context, season: Season) -> dict[str, tuple[Floats, str]]:
    """The good days, the published window, and what a sowing today makes."""
    days, sown = season.days, season.sown
    return {
        "days_to_window": (days.opens, "day"),
        "days_to_close": (days.closes, "day"),
        "window_opens": (sown.season.first, "day"),
        "window_closes": (sown.season.last, "day"),
        "yield_if_sown_today": (season.share * table.number("yield"), "bu/ac"),
        "fall_forage_if_sown_today": (sown.forage[:, :, 0].mean(axis=1), "lb/ac"),
        "chance_up_within_10_days": ((sown.up[:, :, 0] <= 10).mean(axis=1), "1"),
        "days_to_come_up": (days_to_come_up(table, context), "day"),
    }
