"""The outlook: possible futures with one shared draw index, so that every question answers about the same futures.

A draw is one past year of the stations' own weather from this calendar day on, joined to one path of price moves and to
random numbers of its own. Rules:

* **Own data only.** A place is answered from the station and the market that it names, or the nearest station within
  reach (`sideoats.outlook.stations`); what else is on file makes no difference to it. `part` gives the outlook of the
  places that share a footing; an outlook of several footings refuses to be read as if it were one.
* **Years.** Every past year whose window (today's month and day, `horizon` days on) lies wholly in the record and of
  which at least 90 % of the days carry the variable is used; the others are left out and named in `notes`.
* **Today's climate.** All years count alike, their temperature moved to the station's newest level and the years drawn
  apart as their number asks (`sideoats.outlook.climate`, chosen by a backtest): no question knows of it.
* **Forecast.** Where a fresh forecast stands for a station, its years begin with it, dressed with its error and faded
  into them (`sideoats.outlook.blend`); no question knows of it. An old forecast counts as none.
* **Missing days** inside a used year take the median of the other years on that calendar day (temperature) or a seeded
  other year's value (rain); how many is in `notes`.
* **More draws than years.** Each year is used equally often (to within one), in an order shuffled by the seed.
* **Noise.** `normal` and `uniform` are keyed by seed, name and place (`sideoats.outlook.noise`), so that the answer for
  a place depends neither on its neighbours nor on the number of workers.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import field, replace
from datetime import date
from typing import TYPE_CHECKING, Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from sideoats.facts import Facts
from sideoats.facts import load as load_facts
from sideoats.outlook.climate import Climate, to_today
from sideoats.outlook.noise import generator
from sideoats.records import dataclass

if TYPE_CHECKING:
    from sideoats.outlook.prices import History
    from sideoats.outlook.standing import Standing
    from sideoats.outlook.years import YearWindows
    from sideoats.station import StationDays

Floats = NDArray[np.float64]
Footing: TypeAlias = tuple[tuple[int, ...] | None, str]  # the years of the station (None: no station), the market
DEFAULT_SEED = 20_260
DEFAULT_DRAWS = 500
HORIZON_DAYS = 270
WEEKS = 105


@dataclass(frozen=True)
class Outlook:
    """Futures from `on`, shared by every question.

    Attributes
    ----------
    on : today
    draws : number of futures
    seed : of everything random
    sets : past years of weather, of the stations that share them
    records : station id -> the full daily record
    price_history : commodity -> (dates, prices), oldest first, where no market is named or the market has no quotes
    markets : market id -> commodity -> (dates, prices) quoted there
    unused : what there is to say of stations without a usable year
    came : commodity -> (week,) log of the price over today's, in a replay's hindsight; none where the future is open
    forecasts : station id -> what is expected there, how far off such forecasts are, and warnings in force
    kept : what was made once and is the same for every chunk of places (price paths, shared biology)
    """

    on: date
    draws: int = DEFAULT_DRAWS
    seed: int = DEFAULT_SEED
    sets: tuple[YearWindows, ...] = ()
    records: Mapping[str, StationDays] = field(default_factory=dict)
    price_history: History = field(default_factory=dict)
    markets: Mapping[str, History] = field(default_factory=dict)
    unused: tuple[str, ...] = ()
    facts: Facts | None = None
    came: Mapping[str, Floats] = field(default_factory=dict)
    forecasts: Mapping[str, Standing] = field(default_factory=dict)
    kept: dict[Any, Any] = field(default_factory=dict, repr=False, compare=False)

    def __getstate__(self) -> dict[str, Any]:
        return {**self.__dict__, "kept": {}}  # another process makes its own

    @property
    def windows(self) -> YearWindows | None:
        """The past years, None where there are none. Raises ValueError where stations differ in theirs: see `part`."""
        if len(self.sets) > 1:
            raise ValueError("the stations on file differ in their years: ask for the part of the places in question")
        return self.sets[0] if self.sets else None

    @property
    def has_weather(self) -> bool:
        """False where no station with a past year stands for the places asked about."""
        return bool(self.sets)

    @property
    def station(self) -> str:
        """The one station whose years are drawn; "" where there is none, or more than one."""
        stations = self.windows.stations if self.windows is not None else ()
        return str(stations[0]) if len(stations) == 1 else ""

    @property
    def notes(self) -> tuple[str, ...]:
        """How the years were chosen and what was missing, for the call's reasons."""
        found = tuple(note for windows in self.sets for note in windows.notes) + self.unused
        return found or ("No station record stands for it: the weather is not drawn.",)

    def footing(self, station: str, market: str = "") -> Footing:
        """What the places of a station and a market have in common with others; `part` takes it."""
        own = market if market in self.markets else ""
        if station not in self.records:
            return None, own
        return next((w.years for w in self.sets if station in w.stations), ()), own

    def part(self, footing: Footing) -> Outlook:
        """The outlook of places on one footing: the records and years of their stations, the quotes of their market.

        Places without a station on file get an outlook without any record, as a phone-in that names none.
        """
        key = ("part", footing)
        if key not in self.kept:
            years, market = footing
            sets = tuple(w for w in self.sets if w.years == years)
            drawn = {station for w in self.sets for station in w.stations}
            held = sets[0].stations if sets else () if years is None else [s for s in self.records if s not in drawn]
            quoted = {**self.price_history, **self.markets.get(market, {})}
            unused = () if sets or years is None else self.unused
            self.kept[key] = replace(
                self,
                sets=sets,
                records={s: self.records[s] for s in held},
                price_history=quoted,
                unused=unused,
                markets={m: h for m, h in self.markets.items() if m == market},
                forecasts={s: self.forecasts[s] for s in held if s in self.forecasts},
                kept={},
            )
        part: Outlook = self.kept[key]
        return replace(part, facts=self.facts)

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
        """(place,) index of each place's station on the station axis. Raises ValueError where one is not there."""
        if self.windows is None:
            raise ValueError("no station record is on file")
        at = {station: i for i, station in enumerate(self.windows.stations)}
        strangers = sorted({str(s) for s in stations} - at.keys())
        if strangers:
            raise ValueError(f"no past years of station {strangers[0]!r}: ask for the part of its places")
        return np.array([at[str(s)] for s in stations], dtype=np.int64)

    def daily(self, variable: str) -> Floats:
        """(station, year, day) of tmax, tmin [degC] or rain [mm]; day 0 is today. Index the year by `year_of_draw`."""
        if self.windows is None:
            raise ValueError("no station record is on file")
        if self.facts:
            Climate.of(self.facts)  # every call that draws weather cites what brought the years to today
            if any(held.used for held in self.forecasts.values()):
                from sideoats.outlook.standing import ERROR

                self.facts[ERROR]  # and what dressed the forecast
        return self.windows.daily(variable)

    def as_today(self, station: str) -> StationDays:
        """The days of a station before today, their temperature as in today's climate."""
        key = ("as today", station)
        if key not in self.kept:
            self.kept[key] = to_today(self.records[station], self.on, Climate.of(self.facts))
        record: StationDays = self.kept[key]
        return record

    def generator(self, name: str, key: str = "") -> np.random.Generator:
        """A generator keyed by seed, name and key."""
        return generator(self.seed, name, key)

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

        With three years or more of quotes on file the path is built from the commodity's own past moves, out of the
        same calendar blocks as another commodity's where both were quoted; otherwise from a lognormal walk with the
        commodity's volatility fact and no drift, tied to the others through the factors of the joint table.
        """
        from sideoats.outlook.paths import log_price_paths

        weeks = np.asarray(days, dtype=np.float64).reshape(-1) / 7.0
        name = commodity.strip().lower()
        if name in self.came:
            weeks = np.minimum(weeks, len(self.came[name]) - 1)
            sure = np.exp(np.interp(weeks, np.arange(len(self.came[name])), self.came[name]))
            return np.broadcast_to(sure, (self.draws, weeks.size))
        key = ("price", name)
        if key not in self.kept:
            alone = replace(self, facts=self.facts.reader()) if self.facts else self
            paths = log_price_paths(alone, commodity, WEEKS)
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
    price_history: History | None = None,
    markets: Mapping[str, History] | None = None,
    facts: Facts | None = None,
    draws: int = DEFAULT_DRAWS,
    seed: int = DEFAULT_SEED,
    horizon: int = HORIZON_DAYS,
    forecasts: Mapping[str, Standing] | None = None,
) -> Outlook:
    """An outlook from whatever is on file; stations without a usable past year are left out and named in `notes`.

    `forecasts` : what stands for the stations, from `sideoats.outlook.standing.standings`
    """
    sets: tuple[YearWindows, ...] = ()
    unused: tuple[str, ...] = ()
    if stations:
        from sideoats.outlook.standing import beginnings
        from sideoats.outlook.years import year_windows

        published = facts.reader() if facts else load_facts()
        begins = beginnings(forecasts, on, published, seed, horizon) if forecasts else None
        sets, unused = year_windows(
            stations, on, horizon=horizon, seed=seed, climate=Climate.of(published), begins=begins
        )
    return Outlook(
        on,
        draws,
        seed,
        sets,
        dict(stations or {}),
        dict(price_history or {}),
        dict(markets or {}),
        unused,
        facts,
        forecasts=dict(forecasts or {}),
    )
