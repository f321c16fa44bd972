"""Past years of station weather as windows that begin on today's calendar day."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from sideoats.decide.laws import median
from sideoats.errors import InputError
from sideoats.outlook.climate import Climate, drawn_apart, to_today
from sideoats.outlook.noise import generator
from sideoats.station import same_day

if TYPE_CHECKING:
    from sideoats.outlook.standing import Begins
    from sideoats.station import StationDays

Floats = NDArray[np.float64]
VARIABLES = ("tmax", "tmin", "rain")
_LEAST_SHARE = 0.9


@dataclass(frozen=True)
class YearWindows:
    """Weather of past years from one calendar day on, of stations that have the same usable years.

    Attributes
    ----------
    stations : ids, the station axis
    years : the calendar years of the first day, the year axis
    values : variable -> (station, year, day), tmax and tmin in degC, rain in mm, as in today's climate
    warmer : station -> how much today's level lies over the years' own, mean of highs and lows [K]
    notes : which years were left out and how many days were filled, in words
    """

    stations: tuple[str, ...]
    years: tuple[int, ...]
    values: Mapping[str, Floats]
    warmer: Mapping[str, float]
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
            first = same_day(on, year)
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
        out[gaps[:, day], day] = rng.choice(there, lacking) if variable == "rain" else median(there)
    return out, count


def year_windows(
    stations: Mapping[str, StationDays],
    on: date,
    *,
    horizon: int,
    seed: int,
    climate: Climate,
    begins: Begins | None = None,
) -> tuple[tuple[YearWindows, ...], tuple[str, ...]]:
    """Windows of stations that have the same usable years, most years first; notes on stations without any.

    Each station stands on its own years and its own days: what else is on file makes no difference to it. See
    `sideoats.outlook.draws` for the rules on missing days, `sideoats.outlook.climate` for what brings them to today.
    `begins` : makes a station's windows begin with its forecast, where there is one
    """
    found: dict[tuple[int, ...], list[tuple[str, dict[str, Floats], float, list[str]]]] = {}
    unused: list[str] = []
    for name in sorted(stations):
        years, values, warmer, notes = _own_years(name, stations[name], on, horizon, seed, climate, begins)
        if years:
            found.setdefault(years, []).append((name, values, warmer, notes))
        else:
            unused += notes
    sets = []
    for years in sorted(found, key=lambda y: (-len(y), y)):
        held = found[years]
        said = f"Futures are the {len(years)} past years {years[0]} to {years[-1]} from {on:%d %B} on."
        values = {v: np.stack([own[v] for _, own, _, _ in held]) for v in VARIABLES}
        notes = [said, *(note for *_, own in held for note in own)]
        moved = {name: by for name, _, by, _ in held}
        sets.append(YearWindows(tuple(moved), years, values, moved, tuple(notes)))
    return tuple(sets), tuple(unused)


def _own_years(
    name: str,
    record: StationDays,
    on: date,
    horizon: int,
    seed: int,
    climate: Climate,
    begins: Begins | None,
) -> tuple[tuple[int, ...], dict[str, Floats], float, list[str]]:
    """Usable years of one station, variable -> (year, day) with gaps filled, how far they were moved, and notes."""
    good, poor = {}, []
    today = to_today(record, on, climate)
    for year, held in _windows(today, on, horizon).items():
        if all(v in held and np.mean(~np.isnan(held[v])) >= _LEAST_SHARE for v in ("tmax", "tmin")):
            good[year] = {v: held.get(v, np.full(horizon, np.nan)) for v in VARIABLES}
        else:
            poor.append(year)
    notes = []
    if poor:
        notes.append(f"Station {name}: years with more than 10 % of days missing left out: {_listed(poor)}.")
    if not good:
        return (
            (),
            {},
            0.0,
            [*notes, f"Station {name}: no past year reaches {horizon} days on from {on:%d %B}; not used."],
        )
    rng = generator(seed, "missing days", name)
    values = {}
    for v in VARIABLES:
        values[v], filled = _fill(np.stack([good[year][v] for year in sorted(good)]), v, rng)
        if filled:
            notes.append(f"Station {name}: {filled} missing {v} days filled by the outlook's rule.")
    drawn = drawn_apart(values, climate)
    if begins is not None:
        drawn = begins(name, today, drawn)
    return tuple(sorted(good)), drawn, _warmer(record, today, sorted(good), on, horizon), notes


def _warmer(record: StationDays, today: StationDays, years: list[int], on: date, horizon: int) -> float:
    """Mean of what the windows of these years were moved by [K]."""
    moved = []
    for v in ("tmax", "tmin"):
        known, before = record.seasons(v, on.month, on.day, horizon)
        at, after = today.seasons(v, on.month, on.day, horizon)
        moved.append(np.nanmean(after[np.isin(at, years)] - before[np.isin(known, years)]))
    return float(np.mean(moved))


def _listed(years: list[int]) -> str:
    return ", ".join(map(str, years))
