"""The wheat year counted in days from the day asked: sowing, the end of topdressing, harvest."""

from __future__ import annotations

from datetime import date

import numpy as np
from numpy.typing import NDArray

from sideoats.decide.laws import median
from sideoats.question import Context, Table
from sideoats.wheat import own_dates

Floats = NDArray[np.float64]
LATEST = 130  # days past the last window after which a sowing is not late wheat but another season's
DUE_DAYS = 7  # the list is weekly: what falls due later is shown, and waits


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
    """(place,) days to that date; where it is not known by the district's own heat, if it learned one, else the
    common-practice end of topdressing (mid March); below zero once it is past."""
    days = spring_days(table, context, field)
    if "station" in table.columns and own_dates.own_stem(context):
        for row in np.flatnonzero(np.isnan(days)):
            by_heat = own_dates.stem_days(context, str(table.text("station")[row]))
            days[row] = np.rint(median(by_heat[np.isfinite(by_heat)])) if np.isfinite(by_heat).any() else np.nan
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


def late_by(table: Table, context: Context) -> Floats:
    """(place,) days by which this sowing is late: as told, else past the last day of any published window.

    A sowing that nobody dated is today's once the windows are past, and not late before; none is late after the winter.
    """
    told, day = table.number("days_late"), table.days_until("planting_date", context.on)
    if not np.isnan(told).any():
        return told
    last = max(month_day(str(row[2]), context) for row in context.facts["wheat/planting.window.kansas_l818"].rows)
    past = np.nan_to_num(day) - float((last - context.on).days)
    past = np.where((past > 0) & (past < LATEST), past, 0.0)
    return np.where(np.isnan(told), past, told)


def harvest_days(context: Context) -> int:
    """Days to the end of June, when wheat is sold where no other date is known."""
    return (context.region.next("wheat-sold", context.on) - context.on).days
