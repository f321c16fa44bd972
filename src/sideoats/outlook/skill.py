"""How far off forecasts are: as published, drawn to what the kept ones of a station turned out to be.

For a lead of k days and an element (high, low) the weather is taken as ``usual + a + b (forecast - usual) + error``,
where `usual` is the mean of that calendar day. Without kept forecasts a is 0, the error is the published one, and b
lies between 1 (the forecaster has already drawn it to the usual) and the weight that errors independent of the weather
would ask for, w = c^2 / (c^2 + s^2) with c the spread of the weather and s that of the error. Kept forecasts move all
three, the line by least squares and the error by its mean size, the start weighing as much as `trust` of them. A told
chance of rain is scaled by how often it came true.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from sideoats.outlook.forecasts import Forecast

if TYPE_CHECKING:
    from sideoats.facts import Facts
    from sideoats.station import StationDays

Floats = NDArray[np.float64]
ELEMENTS = {"high": "tmax", "low": "tmin"}  # of a forecast -> of a record
WET_MM = 0.254  # a hundredth of an inch, from which the service's chance of rain counts
INCH_MM = 25.4
_NORMAL = float(np.sqrt(np.pi / 2))  # standard deviation of a normal error over its mean absolute value


@dataclass(frozen=True)
class Pairs:
    """Kept forecasts of one element and lead, and what came: departures from the usual of their day [degC]."""

    expected: Floats
    came: Floats

    def __len__(self) -> int:
        return len(self.came)


@dataclass(frozen=True)
class Line:
    """What a lead's forecast says of the weather: departure = a + b * told, with an error of that spread [degC]."""

    a: float
    b: float
    sd: float


@dataclass(frozen=True)
class Skill:
    """The error of a station's forecasts.

    Attributes
    ----------
    mae : element -> (lead, published mean absolute error [degF]) as straight lines
    pairs : (element, lead) -> kept forecasts
    rain : factor on a told chance of rain
    settings : the fact ``outlook/forecast_fit`` by what it sets
    """

    mae: Mapping[str, tuple[tuple[float, ...], tuple[float, ...]]]
    settings: Mapping[str, float]
    pairs: Mapping[tuple[str, int], Pairs] = field(default_factory=dict)
    rain: float = 1.0

    def published(self, element: str, lead: int) -> float:
        """Published mean absolute error [degF]; the first lead's for today's, the last one's beyond it."""
        return float(np.interp(max(lead, 1), *self.mae[element]))

    def measured(self, element: str, lead: int = 1) -> tuple[float, int] | None:
        """Mean absolute error here [degF] and of how many; None where too few were kept to tell."""
        held = self.pairs.get((element, lead))
        if held is None or len(held) < self.settings["told from"]:
            return None
        return float(np.abs(held.came - held.expected).mean()) * 1.8, len(held)

    def line(self, element: str, lead: int, usual_sd: float) -> Line:
        """The line of a lead where the weather's own spread is `usual_sd` [degC]."""
        s = self.published(element, lead) / 1.8 * _NORMAL
        c = max(usual_sd, 1e-6)
        b = 1 - self.settings["lean"] * (1 - c**2 / (c**2 + s**2))
        # the mean of both kinds of forecaster: one whose errors do not know the weather, one who drew them to the usual
        spread = (((1 - b) * c) ** 2 + (b * s) ** 2 + (1 - b) ** 2 * max(c**2 - s**2, 0.0) + s**2) / 2
        mae, heavy = float(np.sqrt(spread)) / _NORMAL, sd_over_mae(self.settings["tails"])
        held = self.pairs.get((element, lead))
        if held is None or not len(held):
            return Line(0.0, b, mae * heavy)
        n, start = len(held), self.settings["trust"]
        x, y = held.expected, held.came
        left = np.array([[n + start, x.sum()], [x.sum(), (x**2).sum() + start * c**2]])
        right = np.array([y.sum(), (x * y).sum() + start * c**2 * b])
        a, b = np.linalg.solve(left, right).tolist()
        rest = np.abs(y - a - b * x).sum() * n / max(n - 2, 1)
        return Line(a, b, float(start * mae + rest) / (start + n) * heavy)


def sd_over_mae(freedom: float) -> float:
    """Standard deviation of Student's t over its mean absolute value."""
    above, below = math.gamma((freedom + 1) / 2), (freedom - 1) * math.gamma(freedom / 2)
    mean = 2 * math.sqrt(freedom / math.pi) * above / below
    return float(np.sqrt(freedom / (freedom - 2)) / mean)


def usual_by_day(record: StationDays, spell: int = 31) -> dict[str, Floats]:
    """Mean high and low of each calendar day, (366,) smoothed over about a month; NaN where nothing is known."""
    of_year = days_of_year(record)
    out = {}
    for name in ELEMENTS.values():
        values = record.usable(name)
        there = ~np.isnan(values)
        count = np.bincount(of_year[there], minlength=366)
        total = np.bincount(of_year[there], values[there], minlength=366)
        around = np.ones(spell)
        counts, totals = (np.convolve(np.tile(v, 3), around, "same")[366:732] for v in (count, total))
        out[name] = np.divide(totals, counts, out=np.full(366, np.nan), where=counts > 0)
    return out


def days_of_year(record: StationDays) -> NDArray[np.int64]:
    """(day,) 0 for the first of January."""
    return np.asarray((record.times - record.times.astype("datetime64[Y]")).astype(np.int64))


def day_of_year(day: date) -> int:
    """0 for the first of January."""
    return day.timetuple().tm_yday - 1


def skill_of(facts: Facts, kept: Sequence[Forecast], record: StationDays, on: date) -> Skill:
    """The skill of a station's forecasts, from those kept and what its record says of their days before `on`."""
    table = facts["outlook/forecast_error"]
    leads = tuple(float(k) for k in table.column("lead"))
    mae = {element: (leads, tuple(float(v) for v in table.column(element))) for element in ELEMENTS}
    set_by = facts["outlook/forecast_fit"]
    settings = dict(zip(set_by.column("what"), map(float, set_by.column("value")), strict=True))
    if record.index(on) <= 0:
        return Skill(mae, settings)
    record = record.window(record.start, on - timedelta(days=1))
    usual = usual_by_day(record)
    found: dict[tuple[str, int], list[tuple[float, float]]] = {}
    newest: dict[tuple[date, date], Forecast] = {(f.issued, day): f for f in kept for day in f.days}
    last = int(settings["last lead"])
    told, wet = 0.0, 0.0
    usable = {name: record.usable(name) for name in (*ELEMENTS.values(), "rain")}
    for (issued, day), forecast in newest.items():
        lead, at = (day - issued).days, record.index(day)
        if not 0 <= lead <= last or day >= on or not 0 <= at < len(record):
            continue
        values = forecast.days[day]
        for element, name in ELEMENTS.items():
            mean, came = usual[name][day_of_year(day)], usable[name][at]
            if element in values and np.isfinite(mean) and np.isfinite(came):
                found.setdefault((element, lead), []).append(((values[element] - 32) / 1.8 - mean, came - mean))
        if "rain_chance" in values and np.isfinite(usable["rain"][at]) and lead >= 1:
            told += values["rain_chance"] / last  # the leads of one issue tell nearly the same
            wet += float(usable["rain"][at] >= WET_MM) / last
    pairs = {key: Pairs(*np.array(rows).T) for key, rows in found.items()}
    rain = facts["outlook/forecast_rain"]
    usual_chance = float(dict(zip(rain.column("what"), rain.column("value"), strict=True))["usual chance"])
    start = settings["trust"] * usual_chance
    return Skill(mae, settings, pairs, (start + wet) / (start + told))
