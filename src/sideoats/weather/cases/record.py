"""What a station's record lacks, in words."""

from __future__ import annotations

from datetime import date, timedelta

from sideoats.station import StationDays
from sideoats.words import Count, LongDay, Name, Said, say


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
