"""How the rain of spans ending yesterday stands beside the same spans of past years, as percent, index and class."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from sideoats.station import StationDays, same_day
from sideoats.weather import drought
from sideoats.weather.arrays import Floats, floats
from sideoats.weather.rainfall import AgainstPast, against_past


@dataclass(frozen=True)
class RainStanding:
    """One span of days.

    `stands` beside past years [mm]; `index` is the standardized precipitation index of the span (a gamma fit over the
    past years), NaN where fewer than ten are whole; `missing` days of this year's span. Where more of them are missing
    than a past year may lack, nothing is said of this year: a sum of the rest would be taken for a drought.
    """

    days: int
    stands: AgainstPast
    index: float
    missing: int
    past: Floats


def rain_standing(record: StationDays, on: date, days: int, *, most_missing: float = 0.05) -> RainStanding:
    """Rain of the `days` days before `on`, doubted values left out.

    Parameters
    ----------
    record : a station
    on : today; the span ends yesterday
    days : length, up to 730
    most_missing : share of missing days above which a past year is left out, and this year is not known
    """
    rain = record.usable("rain")
    this, missing = _span(record, rain, on, days)
    this = this if missing <= most_missing * days else np.nan
    past = []
    for back in range(1, on.year - record.start.year + 1):
        then = same_day(on, on.year - back)
        amount, gone = _span(record, rain, then, days)
        if gone <= most_missing * days and record.index(then - timedelta(days=days)) >= 0:
            past.append(amount)
    amounts = floats(past)
    index = np.nan
    if amounts.size >= 10:
        index = float(drought.gamma_index(np.array([this]), drought.fit_gamma(amounts))[0])
    return RainStanding(days, against_past(this, amounts), index, missing, amounts)


def _span(record: StationDays, rain: Floats, on: date, days: int) -> tuple[float, int]:
    """Sum of the days there are, and how many are missing."""
    end = record.index(on)
    part = rain[max(end - days, 0) : max(end, 0)]
    return float(np.nansum(part)), int(days - (~np.isnan(part)).sum())
