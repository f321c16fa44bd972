"""What a station's record lacks and which of its years stand for the coming days, in words."""

from __future__ import annotations

from datetime import date, timedelta

from sideoats.question import Context
from sideoats.station import StationDays
from sideoats.words import Count, Day, LongDay, Name, Said, say


def lack_said(record: StationDays, on: date, days: int, missing: int) -> Said:
    """That `missing` of the `days` days before `on` are not there, and since when."""
    ended = record.end < on - timedelta(days=1)
    return say(
        "weather.lack",
        station=Name(record.name or record.station),
        ends=say("weather.ends", day=LongDay(record.end)) if ended else None,
        missing=Count(missing),
        days=Count(days),
    )


def years_said(context: Context) -> Said | None:
    """Which past years stand for the coming days; None without any."""
    windows, on = context.outlook.windows, context.on
    if windows is None:
        return None
    first, last = Name(str(windows.years[0])), Name(str(windows.years[-1]))
    return say("weather.years", n=Count(len(windows.years)), first=first, last=last, day=Day(on))
