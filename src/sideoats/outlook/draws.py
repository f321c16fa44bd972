"""The outlook: possible futures with one shared draw index, so that every question answers about the same futures.

A draw is one past year of the stations' own weather from this calendar day on, joined to one path of price moves and to
random numbers of its own. Rules:

* **Years.** Every past year whose window (today's month and day, `horizon` days on) lies wholly in the record and of
  which at least 90 % of the days carry the variable is used; the others are left out and named in `notes`.
* **Short records.** A station without a year that the others have takes a seeded pick from its own years.
* **Missing days** inside a used year take the median of the other years on that calendar day (temperature) or a seeded
  other year's value (rain); how many is in `notes`.
* **More draws than years.** Each year is used equally often (to within one), in an order shuffled by the seed.
* **Noise.** `normal` and `uniform` come from `numpy.random.SeedSequence` keyed by seed, name and place, so that the
  answer for a place depends neither on its neighbours nor on the number of workers.
"""

from __future__ import annotations

import zlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.facts import Facts
from sideoats.outlook.years import YearWindows, year_windows
from sideoats.station import StationDays

Floats = NDArray[np.float64]
DEFAULT_SEED = 20_260
DEFAULT_DRAWS = 500
HORIZON_DAYS = 270
_WEEKS = 105


@dataclass(frozen=True)
class Outlook:
    """Futures from `on`, shared by every question.

    Attributes
    ----------
    on : today
    draws : number of futures
    seed : of everything random
    windows : past years of weather by station, or None where no station is on file
    records : station id -> the full daily record
    price_history : commodity -> (dates, prices), oldest first
    kept : what was made once and is the same for every chunk of places (price paths, shared biology)
    """

    on: date
    draws: int = DEFAULT_DRAWS
    seed: int = DEFAULT_SEED
    windows: YearWindows | None = None
    records: Mapping[str, StationDays] = field(default_factory=dict)
    price_history: Mapping[str, tuple[NDArray[np.datetime64], Floats]] = field(default_factory=dict)
    facts: Facts | None = None
    kept: dict[Any, Any] = field(default_factory=dict, repr=False, compare=False)

    def __getstate__(self) -> dict[str, Any]:
        return {**self.__dict__, "kept": {}}  # another process makes its own

    @property
    def has_weather(self) -> bool:
        """False for a phone-in without any station on file."""
        return self.windows is not None

    @property
    def notes(self) -> tuple[str, ...]:
        """How the years were chosen and what was missing, for the call's reasons."""
        if self.windows is None:
            return ("No station record is on file: the weather is not drawn.",)
        return self.windows.notes

    @property
    def year_of_draw(self) -> NDArray[np.int64]:
        """(draw,) index into the years axis of `daily`."""
        if self.windows is None:
            raise ValueError("no station record is on file")
        years = len(self.windows.years)
        rounds = -(-self.draws // years)
        rng = self.generator("weather years")
        return np.concatenate([rng.permutation(years) for _ in range(rounds)])[: self.draws].astype(np.int64)

    def station_rows(self, stations: Sequence[Any] | NDArray[np.object_]) -> NDArray[np.int64]:
        """(place,) index of each place's station on the station axis; the first station where it is not on file."""
        if self.windows is None:
            raise ValueError("no station record is on file")
        at = {station: i for i, station in enumerate(self.windows.stations)}
        return np.array([at.get(str(s), 0) for s in stations], dtype=np.int64)

    def daily(self, variable: str) -> Floats:
        """(station, year, day) of tmax, tmin [degC] or rain [mm]; day 0 is today. Index the year by `year_of_draw`."""
        if self.windows is None:
            raise ValueError("no station record is on file")
        return self.windows.daily(variable)

    def generator(self, name: str, key: str = "") -> np.random.Generator:
        """A generator keyed by seed, name and key."""
        entropy = [self.seed, zlib.crc32(name.encode()), zlib.crc32(key.encode()), len(key)]
        return np.random.Generator(np.random.SFC64(np.random.SeedSequence(entropy)))

    def normal(self, name: str, keys: Sequence[str] | None = None) -> Floats:
        """Standard normal noise, (draw,) shared by all places, or (place, draw) where `keys` of places are given."""
        if keys is None:
            return self.generator(name).standard_normal(self.draws)
        return np.stack([self.generator(name, k).standard_normal(self.draws) for k in keys])

    def uniform(self, name: str, keys: Sequence[str] | None = None) -> Floats:
        """Uniform noise in [0, 1), shaped as in `normal`."""
        if keys is None:
            return self.generator(name).random(self.draws)
        return np.stack([self.generator(name, k).random(self.draws) for k in keys])

    def between(self, name: str, low: float, high: float, keys: Sequence[str] | None = None) -> Floats:
        """Uniform between the ends of a published range: how a range with no stated distribution is carried."""
        return low + (high - low) * self.uniform(name, keys)

    def price_ratio(self, commodity: str, days: Any) -> Floats:
        """Price `days` from now over the price today, (draw, k) for k days ahead; the same paths for every question.

        With three years or more of quotes on file the path is built from the commodity's own past moves, the same
        calendar blocks for every commodity; otherwise from a lognormal walk with the commodity's volatility fact and no
        drift, correlated through one common shock.
        """
        from sideoats.outlook.paths import log_price_paths

        weeks = np.asarray(days, dtype=np.float64).reshape(-1) / 7.0
        key = ("price", commodity.strip().lower())
        if key not in self.kept:
            alone = replace(self, facts=self.facts.reader()) if self.facts else self
            paths = log_price_paths(alone, commodity, _WEEKS)
            self.kept[key] = (paths, dict(alone.facts.read) if alone.facts else {})
        paths, read = self.kept[key]
        if self.facts:
            self.facts.read.update(read)  # every call that uses the path cites what it rests on
        floor = np.clip(np.floor(weeks).astype(np.int64), 0, paths.shape[1] - 2)
        part = np.clip(weeks - floor, 0.0, 1.0)
        return np.asarray(np.exp(paths[:, floor] * (1 - part) + paths[:, floor + 1] * part), dtype=np.float64)


def make_outlook(
    on: date,
    *,
    stations: Mapping[str, StationDays] | None = None,
    price_history: Mapping[str, tuple[NDArray[np.datetime64], Floats]] | None = None,
    facts: Facts | None = None,
    draws: int = DEFAULT_DRAWS,
    seed: int = DEFAULT_SEED,
    horizon: int = HORIZON_DAYS,
) -> Outlook:
    """An outlook from whatever is on file; stations without a usable past year are left out and named in `notes`."""
    windows = year_windows(stations, on, horizon=horizon, seed=seed) if stations else None
    return Outlook(on, draws, seed, windows, dict(stations or {}), dict(price_history or {}), facts)
