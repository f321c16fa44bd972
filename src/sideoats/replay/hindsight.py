"""The outlook that knew: the one future that came, in place of all that could have come.

A question asked with it gives what each of its options was worth in the weather and at the prices that came, by its own
account of how crops, animals and pests answer to them. So a replay tests what was said of weather and prices, which is
what the outlook draws; whether a wheat field loses what the tables say is for trials and for people's own outcomes.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from sideoats.outlook import HORIZON_DAYS, Outlook
from sideoats.outlook.years import VARIABLES, YearWindows
from sideoats.station import StationDays

Floats = NDArray[np.float64]
LEAST_SHARE = 0.9  # of the days ahead that must be on file: else nobody knows what came


def known_then(record: StationDays, on: date) -> StationDays:
    """A record as it stood on the morning of a day."""
    return record.window(record.start, min(on - timedelta(days=1), record.end))


def came(record: StationDays, on: date, horizon: int = HORIZON_DAYS) -> dict[str, Floats] | None:
    """Variable -> (day,) weather from a day on; None where too much of it is not on file.

    Days without a temperature take the mean of the week about them, days without rain none.
    """
    if on < record.start or on + timedelta(days=horizon - 1) > record.end:
        return None
    at, out = record.index(on), {}
    for variable in VARIABLES:
        values = record.values.get(variable, np.full(len(record), np.nan))[at : at + horizon].copy()
        gaps = np.isnan(values)
        if variable != "rain" and gaps.mean() > 1 - LEAST_SHARE:
            return None
        for day in np.flatnonzero(gaps):
            near = values[max(0, day - 3) : day + 4]
            values[day] = 0.0 if variable == "rain" or np.isnan(near).all() else np.nanmean(near)
        out[variable] = values
    return out


def hindsight(
    outlook: Outlook, records: Mapping[str, StationDays], prices: Mapping[str, Floats] | None = None
) -> Outlook:
    """The outlook with what came as its only future, the noise of its draws unchanged; a forecast no longer counts.

    Parameters
    ----------
    outlook : as it was asked with on its day
    records : whole records, of the stations that came can be read from
    prices : commodity -> (week,) price over the price on the day, the first 1; commodities not named stay open
    """
    sets = []
    for station in sorted(records):
        weather = came(records[station], outlook.on)
        if weather is not None and station in outlook.records:
            values = {v: x[None, None, :] for v, x in weather.items()}
            sets.append(YearWindows((station,), (outlook.on.year,), values, {station: 0.0}, ()))
    paths = {commodity: np.log(ratio) for commodity, ratio in (prices or {}).items()}
    return replace(outlook, sets=_merged(sets), came=paths, forecasts={}, kept={})


def _merged(sets: list[YearWindows]) -> tuple[YearWindows, ...]:
    """Stations that share their one year, as one set: `Outlook.part` looks for a set by its years."""
    if not sets:
        return ()
    values = {v: np.concatenate([s.values[v] for s in sets]) for v in VARIABLES}
    stations = tuple(s.stations[0] for s in sets)
    return (YearWindows(stations, sets[0].years, values, dict.fromkeys(stations, 0.0), ()),)
