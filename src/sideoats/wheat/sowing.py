"""What each sowing day of the next eleven weeks leads to: emergence, share of full yield, fall forage."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from sideoats.question import Context, Table
from sideoats.wheat import planting
from sideoats.wheat.days import month_day
from sideoats.wheat.drawn import INCH_MM

Floats = NDArray[np.float64]
STEP, LAST = 3, 75
_AHEAD = 120  # days of rain looked at past the last sowing day; wheat not up by then is lost
DAYS = tuple(range(0, LAST + 1, STEP))


@dataclass(frozen=True)
class Sown:
    """What each sowing day leads to: (place, draw, day) unless said."""

    up: Floats  # day of emergence, NaN where none
    share: Floats  # of a full crop of grain, hay or spring pasture [1]
    forage: Floats  # lb/ac of fall dry matter
    season: Season


@dataclass(frozen=True)
class Season:
    """Days from today, (place,), to what bounds the sowing of this crop."""

    window: tuple[Floats, Floats]  # the published ends
    first: Floats  # from here to `last` a sowing for grain makes its full yield: the window, or the grower's own day
    last: Floats
    heads: Floats  # the last sowing that heads
    pace: Floats  # days of the published curve for each day after `last`, so that it ends where wheat no longer heads

    def away(self, up: Floats) -> Floats:
        """Days of the yield curves (place, draw, day) for an emergence: below zero before, above zero after."""
        first, last, pace = (v[:, None, None] for v in (self.first, self.last, self.pace))
        return np.asarray(np.where(up < first, up - first, np.maximum(up - last, 0.0) * pace))


def season_of(table: Table, context: Context) -> Season:
    facts = context.facts
    rows = {row[0]: row[1:] for row in facts["wheat/planting.window.kansas_l818"].rows}
    origin, limit = (str(t) for t in facts["wheat/planting.last_heading"].rows[0])
    begin = month_day(origin, context)
    month, day = (int(p) for p in limit.split("-"))
    heads = date(begin.year + 1, month, day)
    ends = []
    for zone in table.text("zone"):
        ends.append([(month_day(str(t), context) - context.on).days for t in rows[zone]])
    both = np.array(ends, dtype=np.float64).reshape(len(table), 2)
    given, until = table.days_until("best_date", context.on), float((heads - context.on).days)
    first, last = (np.where(np.isnan(given), both[:, k], given) for k in (0, 1))
    # A best day after the last that heads belongs to the next crop: its curve runs at the published pace.
    pace = np.where(until > last, float((heads - begin).days) / np.maximum(until - last, 1.0), 1.0)
    return Season((both[:, 0], both[:, 1]), first, last, np.full(len(table), until), pace)


def _emergence(table: Table, context: Context) -> Floats:
    """Day of emergence-equivalent (place, draw, day): the sowing day where the seed zone is moist, else after rain."""
    facts, out = context.facts, context.outlook
    n, moist = len(table), table.flag("top_moist", default=False)
    unknown = ~table.known("top_moist")
    low, high = facts.span("wheat/planting.emergence_rain")
    enough = out.between("rain that brings wheat up", low, high)
    if not out.has_weather:
        days = np.array(DAYS, np.float64)[None, None, :] + np.zeros((n, out.draws, 1))
        dry = ~moist & ~unknown
        if dry.any():
            wait = out.between("days to rain", *facts.span("wheat/planting.dry_wait"))
            days = days + np.where(dry, 1.0, 0.0)[:, None, None] * wait[None, :, None]
        return days
    names, row = np.unique(out.station_rows(table.text("station")), return_inverse=True)
    rain = out.daily("rain")[names][:, :, : LAST + _AHEAD][:, out.year_of_draw] / INCH_MM
    waits = planting.soaking_from(rain, np.broadcast_to(enough, rain.shape[:2]))
    holds = out.between("seed zone stays moist", *facts.span("wheat/planting.moist_holds"))
    total = np.concatenate([np.zeros((*rain.shape[:2], 1)), np.cumsum(rain, axis=2)], axis=2)
    up = np.empty((n, out.draws, len(DAYS)))
    for at, day in enumerate(DAYS):
        back = np.broadcast_to(np.maximum(day - holds, 0.0).astype(np.int64), rain.shape[:2])
        recent = total[:, :, day] - np.take_along_axis(total, back[:, :, None], 2)[..., 0]
        ready = np.where(recent >= enough, float(day), waits[:, :, day])
        still = (moist | unknown)[:, None] & (day <= holds)[None, :]
        up[:, :, at] = np.where(still, float(day), ready[row])
    return up


def _alike(table: Table, context: Context, season: Season, fly: Floats) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Rows that share everything but money: the first row of each kind, and which kind each row is."""
    out = context.outlook
    station = out.station_rows(table.text("station")) if out.has_weather else np.zeros(len(table))
    marks = [station, season.first, season.last, fly]
    marks += [table.number(name) for name in ("top_moist", "volunteer", "soil_temperature")]
    _, first, kind = np.unique(
        np.nan_to_num(np.stack(marks, axis=1), nan=-999.0), axis=0, return_index=True, return_inverse=True
    )
    return first.astype(np.int64), kind.reshape(-1).astype(np.int64)


def sown_by_day(table: Table, context: Context) -> Sown:
    season, own = season_of(table, context), table.days_until("fly_free", context.on)
    fly = np.where(np.isnan(own), season.first, own)
    first_row, kind = _alike(table, context, season, fly)
    share, up, forage = _by_date(table.take(first_row), context, fly[first_row])
    return Sown(up[kind], share[kind], forage[kind], season)


def share_at(context: Context, days: Floats) -> Floats:
    """Published share of full yield so many days after (or before) the window, held at its last published day."""
    early = context.facts["wheat/planting.early_yield.bushland"].rows
    late = context.facts["wheat/planting.late_yield.witt1996"].rows
    return planting.relative_yield(np.clip(days, -float(early[-1][0]), float(late[-1][0])), early, late)


def _by_date(table: Table, context: Context, fly: Floats) -> tuple[Floats, Floats, Floats]:
    """Share of full yield, day of emergence and fall forage (place, draw, day)."""
    facts, out = context.facts, context.outlook
    up = _emergence(table, context)
    season = season_of(table, context)
    share = np.nan_to_num(share_at(context, season.away(up)))
    share = np.where(up > season.heads[:, None, None], 0.0, share)
    pest = out.between("pests of early wheat", *facts.span("wheat/planting.early_pest_loss"))[None, :, None]
    before = facts.value("wheat/planting.early_pest_days")
    share = share * (1 - planting.early_pest_share(fly[:, None, None] - up, pest, before))
    if table.flag("volunteer").any():
        virus = out.between("virus from volunteer", *facts.span("wheat/planting.volunteer_loss"))[None, :, None]
        clear = np.array(DAYS) >= facts["wheat/planting.volunteer_before"].low
        share = share * np.where(table.flag("volunteer")[:, None, None] & ~clear, 1 - virus, 1.0)
    share = np.where(np.isnan(up), 0.0, share)
    reference = (month_day(facts["wheat/planting.fall_forage_sown"].text, context) - context.on).days
    at_reference = out.between("fall forage", *facts.span("wheat/planting.fall_forage"))[None, :, None]
    gone = out.between("fall forage gone", *facts.span("wheat/planting.fall_forage_gone"))[None, :, None]
    forage = np.nan_to_num(planting.fall_forage(up - reference, at_reference, gone))
    forage = np.minimum(forage, facts["wheat/planting.fall_forage"].high)  # no trial that was read made more
    stand = _stand(table, context)
    thin = out.between("thin stand", 0.0, 1.0)[None, :, None]
    return share * (1 - planting.thin_loss(stand, thin, facts["wheat/seeding.lost"].rows)), up, forage * stand


def _stand(table: Table, context: Context) -> Floats:
    """Share of the plants that come up (place, draw, day): fewer out of hot soil, for the week that it was measured."""
    facts = context.facts
    over = np.maximum(np.nan_to_num(table.number("soil_temperature")) - facts.value("wheat/planting.soil_too_hot"), 0.0)
    each = context.outlook.between("stand lost to hot soil", *facts.span("wheat/planting.hot_stand"))
    soon = np.array(DAYS) < facts.value("wheat/planting.hot_days")
    return np.clip(1.0 - over[:, None, None] * each[None, :, None] * soon, 0.0, 1.0)
