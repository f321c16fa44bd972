"""What is replayed: the same phone-in on the same days of every year, from public records."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date, timedelta
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np

from sideoats.errors import InputError
from sideoats.replay.series import known
from sideoats.station import StationDays

_OWN = Path(__file__).parent / "scenarios.toml"
WEATHER, PRICES = "weather", "prices"
KNOWN_YEARS = 10  # of prices read before a day is stood on
AHEAD = 12  # months


@dataclass(frozen=True)
class Scenario:
    """One question's phone-in and days.

    Attributes
    ----------
    data : "weather" or "prices"
    days : month and day on which it is asked each year
    given : the phone-in, with ``{on}`` for the day
    always : the option that "always" takes
    usual : the usual practice: `does`, only to the day of the year `until`; ``KEY*`` with `at` is the option of that
        key whose day is nearest to that day of the year
    without : options that the records cannot settle, taken from the choice
    series : of the price file
    quotes : what stands in for a market's later quotes: "season" (what the ten years before did on average from that
        month on) or "flat" (today's price)
    """

    question: str
    data: str
    days: tuple[str, ...]
    given: Mapping[str, str]
    always: str
    usual: Mapping[str, str] = field(default_factory=dict)
    series: str = ""
    name: str = ""
    without: tuple[str, ...] = ()
    quotes: str = "season"

    @property
    def label(self) -> str:
        """Name among others of its question."""
        return f"{self.question} ({self.name})" if self.name else self.question

    def dates(self, first: date, last: date, every: int = 0) -> Iterator[date]:
        """The days on which it is asked; every so many days from the first where `every` is above 0."""
        if every:
            for n in range((last - first).days // every + 1):
                yield first + timedelta(days=n * every)
            return
        for year in range(first.year, last.year + 1):
            for day in sorted(self.days):
                on = date.fromisoformat(f"{year}-{day}")
                if first <= on <= last:
                    yield on

    def practice(self, on: date) -> str:
        """The option that usual practice takes on a day, ``KEY*DAYS`` for the one nearest to so many days from it; ""
        for the baseline.
        """
        does = self.usual.get("does", "")
        if does.endswith("*"):
            wanted = date.fromisoformat(f"{on.year}-{self.usual['at']}")
            return f"{does}{max((wanted - on).days, 0)}"
        return "" if "until" in self.usual and f"{on:%m-%d}" > self.usual["until"] else does


@lru_cache(maxsize=1)
def scenarios() -> tuple[Scenario, ...]:
    """All that are shipped."""
    rows = tomllib.loads(_OWN.read_text("utf-8"))["scenario"]
    return tuple(Scenario(**{("given" if k == "with" else k): _frozen(v) for k, v in row.items()}) for row in rows)


def _frozen(value: Any) -> Any:
    return tuple(value) if isinstance(value, list) else value


def scenarios_of(question: str, data: str | None = None) -> list[Scenario]:
    """Those of a question. Raises InputError where there are none."""
    found = [s for s in scenarios() if question in (s.question, s.label) and data in (None, s.data)]
    if not found:
        names = ", ".join(dict.fromkeys(s.question for s in scenarios() if data in (None, s.data)))
        raise InputError(f"{question!r} has no scenario on public records", where="replay", expected=f"one of {names}")
    return found


@dataclass(frozen=True)
class Stand:
    """One day stood on: the phone-in and prices as they were known, and (week,) the price that came over today's."""

    on: date
    given: Mapping[str, str]
    quotes: tuple[np.ndarray, np.ndarray] | None = None
    came: np.ndarray | None = None


def weather_stand(scenario: Scenario, on: date, station: str) -> Stand:
    """The phone-in of a day at a station."""
    given = {k: v.format(on=on) for k, v in scenario.given.items()}
    given["station"] = station
    return Stand(on, given)


def price_stand(scenario: Scenario, on: date, series: tuple[np.ndarray, np.ndarray]) -> Stand | None:
    """The phone-in of a day on a monthly series: today's price is last month's mean, later quotes are those of
    `Scenario.quotes`; None where too little is on file.
    """
    months, price = series
    bushels = float(known()[scenario.series]["bushels"])
    at = int(np.searchsorted(months, np.datetime64(on, "D"))) - 1
    back = 12 * KNOWN_YEARS
    if at < back + 12 or at + AHEAD >= len(price):
        return None
    today = price[at] / bushels
    past = range(at - back, at - AHEAD, 12)
    season = [np.mean([price[b + k] / price[b] for b in past]) for k in range(1, AHEAD + 1)]
    usual = season if scenario.quotes == "season" else [1.0] * AHEAD
    days = [(months[at] + np.timedelta64(round(30.4375 * (k + 1)), "D")).astype(object) for k in range(1, AHEAD + 1)]
    quoted = {d: f"{today * u:.4f}" for d, u in zip(days, usual, strict=True)}
    base = {**{k: v.format(on=on) for k, v in scenario.given.items()}, "price": f"{today:.4f} USD/bu"}
    weeks = [0.0, *((d - on).days / 7.0 for d in days)]
    ratio = np.interp(np.arange(int(weeks[-1]) + 1), weeks, [1.0, *(price[at + 1 : at + AHEAD + 1] / price[at])])
    return Stand(on, {**base, "quotes": _curve(quoted)}, (months[: at + 1], price[: at + 1] / bushels), ratio)


def _curve(quotes: Mapping[date, str]) -> str:
    return "; ".join(f"{day} {price}" for day, price in quotes.items())


def first_day(record: StationDays, years: int) -> date:
    """The first day that has so many years of a record behind it."""
    return record.start.replace(day=1) + timedelta(days=round(365.25 * years))
