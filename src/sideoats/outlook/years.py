"""Past years of station weather as windows that begin on today's calendar day."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from sideoats.errors import InputError
from sideoats.station import StationDays

Floats = NDArray[np.float64]
VARIABLES = ("tmax", "tmin", "rain")
_LEAST_SHARE = 0.9


@dataclass(frozen=True)
class YearWindows:
    """Weather of past years from one calendar day on.

    Attributes
    ----------
    stations : ids, the station axis
    years : the calendar years of the first day, the year axis
    values : variable -> (station, year, day), tmax and tmin in degC, rain in mm
    notes : which years were left out and how many days were filled, in words
    """

    stations: tuple[str, ...]
    years: tuple[int, ...]
    values: Mapping[str, Floats]
    notes: tuple[str, ...]

    def daily(self, variable: str) -> Floats:
        """(station, year, day) of one variable. Raises InputError where it is not held."""
        if variable not in self.values:
            raise InputError(f"{variable!r} is not in the outlook", expected="one of " + ", ".join(self.values))
        return self.values[variable]


def _windows(record: StationDays, on: date, horizon: int) -> dict[int, dict[str, Floats]]:
    """Year -> variable -> (day,) of every window that ended before today and lies wholly in the record."""
    found: dict[int, dict[str, Floats]] = {}
    for variable in VARIABLES:
        years, rows = record.seasons(variable, on.month, on.day, horizon)
        for year, row in zip(years.tolist(), rows, strict=True):
            first = date(year, 3, 1) if (on.month, on.day) == (2, 29) and year % 4 else date(year, on.month, on.day)
            end = first + timedelta(days=horizon - 1)
            if first >= record.start and end <= record.end and end < on:
                found.setdefault(year, {})[variable] = row
    return found


def _fill(values: Floats, variable: str, rng: np.random.Generator) -> tuple[Floats, int]:
    """(year, day) with gaps filled as the outlook's rule says, and how many there were."""
    gaps = np.isnan(values)
    count = int(gaps.sum())
    if not count:
        return values, 0
    out = values.copy()
    for day in np.flatnonzero(gaps.any(axis=0)):
        there = values[~gaps[:, day], day]
        if there.size == 0:
            near = values[:, max(0, day - 7) : day + 8]
            there = near[~np.isnan(near)]
        if there.size == 0:
            there = np.zeros(1) if variable == "rain" else values[~gaps]
        lacking = int(gaps[:, day].sum())
        out[gaps[:, day], day] = rng.choice(there, lacking) if variable == "rain" else np.median(there)
    return out, count


def year_windows(stations: Mapping[str, StationDays], on: date, *, horizon: int, seed: int) -> YearWindows | None:
    """Windows of all stations over a common list of years, or None where no station has a usable year.

    See `sideoats.outlook.draws` for the rules on short records and missing days.
    """
    usable: dict[str, dict[int, dict[str, Floats]]] = {}
    notes: list[str] = []
    for name in sorted(stations):
        windows = _windows(stations[name], on, horizon)
        good, poor = {}, []
        for year, held in windows.items():
            whole = all(v in held and np.mean(~np.isnan(held[v])) >= _LEAST_SHARE for v in ("tmax", "tmin"))
            if whole:
                good[year] = {v: held.get(v, np.full(horizon, np.nan)) for v in VARIABLES}
            else:
                poor.append(year)
        if poor:
            notes.append(
                f"Station {name}: years with more than 10 % of days missing left out: {', '.join(map(str, poor))}."
            )
        if good:
            usable[name] = good
        else:
            notes.append(f"Station {name}: no past year reaches {horizon} days on from {on:%d %B}; not used.")
    if not usable:
        return None
    names = sorted(usable, key=lambda n: (-len(usable[n]), n))
    years = sorted(set().union(*(usable[n] for n in names)))
    rng = np.random.Generator(np.random.SFC64(np.random.SeedSequence([seed, 77])))
    values = {v: np.empty((len(names), len(years), horizon)) for v in VARIABLES}
    for s, name in enumerate(names):
        own = sorted(usable[name])
        picks = [y if y in usable[name] else int(rng.choice(own)) for y in years]
        if len(own) < len(years):
            notes.append(
                f"Station {name}: {len(years) - len(own)} of {len(years)} years picked from its own {len(own)}."
            )
        for v in VARIABLES:
            block, filled = _fill(np.stack([usable[name][y][v] for y in picks]), v, rng)
            values[v][s] = block
            if filled:
                notes.append(f"Station {name}: {filled} missing {v} days filled by the outlook's rule.")
    notes.insert(0, f"Futures are the {len(years)} past years {years[0]} to {years[-1]} from {on:%d %B} on.")
    return YearWindows(tuple(names), tuple(years), values, tuple(notes))
