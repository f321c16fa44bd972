"""A made-up state office: the invented district copied until it holds so many places. For benchmarks only.

No two copies are alike: sizes, dates, yields, counts and laboratory results differ from place to place, weather from
region to region (a station for every thousand places) and variety trials too. Copies that were alike would flatter
everything that is worked out once and kept.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from functools import lru_cache
from itertools import islice
from pathlib import Path
from typing import Any

import numpy as np

from sideoats.demo.climate import Climate, daily_weather
from sideoats.demo.district import FIRST_WEATHER, STATIONS, TODAY, ZONE, all_entries
from sideoats.ledger import NewEntry, open_ledger

PLACES_A_STATION = 1_000
_SHARED = {"quote", "setting", "station_days"}
_AMOUNT = re.compile(r"(\d+(?:\.\d+)?)( (?!%).*)", re.DOTALL)
_SHIFTED = {"planting_date", "harvest_date"}
_SCALED = {"acres"}
_REGIONAL = {"variety_trial"}


@dataclass(frozen=True)
class Base:
    """The invented district, taken apart."""

    markets: tuple[NewEntry, ...]
    shared: tuple[NewEntry, ...]
    own: tuple[NewEntry, ...]

    @property
    def places(self) -> int:
        """Places that one copy adds."""
        return len({e.place for e in self.own if e.kind == "place"})


@lru_cache(maxsize=1)
def base() -> Base:
    """The invented district's entries: markets, what is shared, and what every copy has of its own."""
    entries = all_entries()
    markets = {e.place for e in entries if e.kind == "quote"}
    stations = set(STATIONS)
    return Base(
        tuple(e for e in entries if e.kind == "place" and e.place in markets),
        tuple(e for e in entries if e.kind in _SHARED - {"station_days"}),
        tuple(e for e in entries if e.kind not in _SHARED and e.place not in markets | stations),
    )


def varied(value: Any, rng: np.random.Generator) -> Any:
    """A body or a part of it with amounts 10 % more or less, counts drawn anew and the rest as it was."""
    if isinstance(value, str) and (found := _AMOUNT.fullmatch(value)):
        number = float(found[1]) * rng.uniform(0.9, 1.1)
        return f"{number:.3g}{found[2]}" if number < 1000 else f"{number:.0f}{found[2]}"
    if isinstance(value, Mapping):
        return {k: _named(k, v, rng) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [varied(v, rng) for v in value]
    return value


def _named(name: str, value: Any, rng: np.random.Generator) -> Any:
    if name in _SHIFTED:
        return (date.fromisoformat(value) + timedelta(days=int(rng.integers(-6, 7)))).isoformat()
    if name in _SCALED and isinstance(value, int | float):
        return round(value * rng.uniform(0.6, 1.6))
    if name == "counts" and isinstance(value, list | tuple):
        return [int(rng.poisson(c)) for c in value]
    if name == "outline":
        return value
    return varied(value, rng)


def _station(number: int) -> list[NewEntry]:
    """A station of its own: its place and a block of days a year."""
    rng = np.random.default_rng([20_260, number])
    latitude, longitude, _ = list(STATIONS.values())[number % len(STATIONS)]
    climate = Climate(mean=float(rng.uniform(12, 16)), wet_amount=float(rng.uniform(6, 11)))
    days = (TODAY - FIRST_WEATHER).days
    values = daily_weather(climate, FIRST_WEATHER, days, rng, rng.standard_normal((days, 2)))
    name = f"station-{number}"
    about = {"name": name, "kind": "station", "latitude": latitude + 0.01 * number % 1, "longitude": longitude,
             "elevation": f"{400 + 3 * (number % 100)} m"}  # fmt: skip
    long_ago = datetime.combine(FIRST_WEATHER, time(8), tzinfo=ZONE)
    out = [NewEntry("place", about, place=name, seen_at=long_ago)]
    for year in range(FIRST_WEATHER.year, TODAY.year + 1):
        first = (date(year, 1, 1) - FIRST_WEATHER).days
        last = min((date(year + 1, 1, 1) - FIRST_WEATHER).days, days)
        body = {"start": date(year, 1, 1).isoformat(), "source": "invented"}
        body |= {variable: column[first:last].tolist() for variable, column in values.items()}
        seen = datetime.combine(FIRST_WEATHER + timedelta(days=last - 1), time(23), tzinfo=ZONE)
        out.append(NewEntry("station_days", body, place=name, seen_at=seen))
    return out


def _copy(number: int, stations: int) -> list[NewEntry]:
    """One copy of the district, with ids, amounts and a station of its own."""
    mark, rng = f"d{number}-", np.random.default_rng([71, number])
    region = number % stations
    out = []
    for e in base().own:
        body = varied(e.body, np.random.default_rng([72, region]) if e.kind in _REGIONAL else rng)
        if e.kind == "place":
            body["station"] = f"station-{region}"
        place, farm = mark + e.place if e.place else None, mark + e.farm if e.farm else None
        out.append(replace(e, id=None, place=place, farm=farm, body=body))
    return out


def entries(places: int) -> Iterator[list[NewEntry]]:
    """Batches of entries that add up to about `places` places: what is shared, stations, then copies."""
    stations = max(2, round(places / PLACES_A_STATION))
    yield [*base().markets, *base().shared]
    for number in range(stations):
        yield _station(number)
    for number in range(-(-max(places - stations - 1, 1) // base().places)):
        yield _copy(number, stations)


def build(path: Path | str, places: int, batch: int = 50) -> None:
    """Fill a new ledger at `path`, so many batches a transaction."""
    source = entries(places)
    with open_ledger(path) as ledger:
        while group := list(islice(source, batch)):
            ledger.append([e for batch_entries in group for e in batch_entries])
