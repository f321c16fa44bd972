"""Heat at which wheat did what it did, from dated looks at it, and the day that a heat still to come falls on.

Heat is the mean of the day's high and low above 0 degC, floored at 0 (McMaster and Wilhelm, Agric. For. Meteorol.
87:291-300, 1997, method 1).
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sideoats.question import Context, Table
from sideoats.station import StationDays
from sideoats.wheat.stages import STAGES, heat_units

Floats = NDArray[np.float64]
STEM = "wheat/own_dates.hollow_stem"
NEAR_CM = 0.3  # a stem that near the line is taken to be at it
TENTH = 1.2816  # standard deviations from the middle of a range to its ends, one in ten
SURE = 0.9  # share of futures that must bring the heat within the days drawn
APART_DAYS = 21  # looks farther apart do not tell when between them something came


def heat_between(record: StationDays, since: date, until: date) -> float:
    """Heat from `since` to the evening before `until` [degC day]; NaN where more than one day in twenty is missing."""
    first, last = record.index(since), record.index(until)
    if first < 0 or last > len(record) or last <= first:
        return float("nan")
    daily = heat_units(record.usable("tmax")[first:last], record.usable("tmin")[first:last])
    there = ~np.isnan(daily)
    return float(daily[there].mean() * daily.size) if there.mean() >= 0.95 else float("nan")


def stem_heat(days: Sequence[date], heats: ArrayLike, lengths: ArrayLike, line: float) -> float:
    """Heat at which the mean hollow stem passed the line, of one field in one spring; NaN where the looks do not tell.

    Parameters
    ----------
    days : of each look, oldest first
    heats : since 1 January on those days [degC day]
    lengths : mean hollow stem [cm]
    line : [cm]

    Between two looks on either side of the line it lies in proportion to the lengths; else the look nearest the line
    counts, if it is near.
    """
    heat, length = np.asarray(heats, np.float64), np.asarray(lengths, np.float64)
    for k in range(len(length) - 1):
        apart = (days[k + 1] - days[k]).days
        if length[k] < line <= length[k + 1] and 0 < apart <= APART_DAYS:
            share = (line - length[k]) / (length[k + 1] - length[k])
            return float(heat[k] + share * (heat[k + 1] - heat[k]))
    off = np.abs(length - line)
    return float(heat[off.argmin()]) if off.size and off.min() <= NEAR_CM else float("nan")


def stage_heat(days: Sequence[date], heats: ArrayLike, stages: Sequence[str], stage: str) -> float:
    """Heat at which a field came to a stage: halfway between the last look before it and the first look at it."""
    heat, rank = np.asarray(heats, np.float64), [STAGES.index(s) for s in stages]
    want = STAGES.index(stage)
    for k in range(len(rank) - 1):
        if rank[k] < want <= rank[k + 1]:
            near = 0 < (days[k + 1] - days[k]).days <= APART_DAYS and rank[k + 1] - want <= 1
            return float((heat[k] + heat[k + 1]) / 2) if near else float("nan")
    return float("nan")


def own_stem(context: Context) -> bool:
    """Whether the district has learned its own heat of first hollow stem."""
    return context.facts.by_id[STEM].overridden


def stem_days(context: Context, station: str) -> Floats:
    """(draw,) days to first hollow stem by the district's own heat; all NaN where none was learned or none is due."""
    unknown = np.full(context.outlook.draws, np.nan)
    if not own_stem(context) or not station:
        return unknown

    def drawn(fresh: Context) -> Floats:
        fact = fresh.facts[STEM]
        sd = (fact.high - fact.low) / 2 / TENTH
        heat = np.maximum(fact.mid + sd * fresh.outlook.normal("heat of first hollow stem"), 0.0)
        found = days_by_heat(fresh, station, heat)
        return found if np.isfinite(found).mean() > SURE else unknown

    days: Floats = context.once(f"first hollow stem by heat {station}", drawn)
    return days


def known_by_heat(table: Table, context: Context) -> NDArray[np.bool_]:
    """(place,) True where the district's own heat dates first hollow stem at the place's station."""
    if "station" not in table.columns or not own_stem(context):
        return np.zeros(len(table), dtype=bool)
    stations = table.text("station").astype(str).tolist()
    return np.array([bool(np.isfinite(stem_days(context, station)).any()) for station in stations])


def heat_now(context: Context, station: str) -> float:
    """Heat of this crop since 1 January at a station [degC day]: 0 before it; NaN where too many days are missing."""
    begins = context.region.in_crop_year(1, 1, context.on)
    if begins >= context.on:
        return 0.0
    record = context.outlook.records.get(station)
    return float("nan") if record is None else heat_between(record, begins, context.on)


def days_by_heat(context: Context, station: str, heat: Floats) -> Floats:
    """(draw,) days from today to the day on which a heat since 1 January is reached; NaN where it is not known.

    Parameters
    ----------
    heat : (draw,) [degC day]

    A heat already reached lies behind: by how many days is counted back along the record.
    """
    out, on = context.outlook, context.on
    now = heat_now(context, station)
    if np.isnan(now) or not any(station in w.stations for w in out.sets):
        return np.full(out.draws, np.nan)
    at = out.station_rows([station])[0]
    daily = heat_units(out.daily("tmax")[at], out.daily("tmin")[at])
    begins = max((context.region.in_crop_year(1, 1, on) - on).days, 0)
    daily[:, :begins] = 0.0
    sums = now + np.cumsum(daily, axis=1)[out.year_of_draw]
    reached = sums >= heat[:, None]
    ahead = np.where(reached.any(axis=1), reached.argmax(axis=1).astype(float), np.nan)
    return np.where(heat > now, ahead, -_days_behind(context, station, now - heat))


def _days_behind(context: Context, station: str, more: Floats) -> Floats:
    """(draw,) days since the heat stood lower by `more` [degC day]; 0 where it does not."""
    begins = context.region.in_crop_year(1, 1, context.on)
    record = context.outlook.records[station]
    first, last = record.index(begins), record.index(context.on)
    if last <= first:
        return np.zeros(len(more))
    back = np.cumsum(
        np.nan_to_num(heat_units(record.usable("tmax")[first:last], record.usable("tmin")[first:last]))[::-1]
    )
    return np.asarray(np.searchsorted(back, np.maximum(more, 0.0)), dtype=np.float64)
