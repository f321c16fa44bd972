"""Trial of the blend: a simulated forecaster of the published error on station records, scored by what came.

No archive of forecasts is at hand, so forecasts are made from what came. Two forecasters bound the real one: `raw` adds
to the weather an error that does not know it; `drawn` has already drawn its forecast to the usual, so that its errors
are of the same size and independent of the forecast. Errors are of Student's t, last from day to day (0.5) and have the
published mean size by lead, highs and lows apart. Chances of rain are told from a hidden signal that grows fainter by
lead and are true as told; amounts are the mean of what such days bring.

From origins spread over the years that have 25 or more behind them, days 1 to 10 are foretold from nothing later: by
the years alone (in today's climate), by the forecast alone (its figure for the day; past its last day the usual), by
the forecast dressed with the published error, and by the blend on its first day (published error) and after a season of
kept forecasts. Shown by lead: the continuous ranked probability score, and how often the 10th to 90th range held what
came.

    python -m benchmarks.trial_forecast [FOLDER]            # prints the tables of docs/weather.md
    python -m benchmarks.trial_forecast [FOLDER] --write    # puts them into docs/weather.md
"""

from __future__ import annotations

import sys
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.stats import norm

from benchmarks.page import put
from benchmarks.trial_climate import FOLDER, records
from sideoats import facts as fact_files
from sideoats.outlook.climate import Climate
from sideoats.outlook.forecasts import Forecast
from sideoats.outlook.skill import ELEMENTS, WET_MM, Skill, day_of_year, days_of_year, skill_of, usual_by_day
from sideoats.outlook.standing import Standing, beginnings
from sideoats.outlook.years import year_windows
from sideoats.station import StationDays
from sideoats.week.scoring import crps_ensemble

Floats = NDArray[np.float64]
LEADS, LAST = 10, 7
STEP, ORIGINS, LEAST_YEARS = 5, 60, 25
SEASON = 100  # kept forecasts, one a day
FORECASTERS = ("raw", "drawn")
WAYS = (
    "the years alone",
    "the forecast alone",
    "the forecast dressed",
    "**the blend, first day**",
    "**the blend, a season on**",
)
NAMES = ("tmax", "tmin", "rain")
_LASTS = 0.5


def errors(rng: np.random.Generator, skill: Skill, days: int) -> dict[str, Floats]:
    """element -> (day of issue, lead) errors [degC], lasting from lead to lead, of the published mean size."""
    freedom = skill.settings["tails"]
    size = float(np.abs(rng.standard_t(freedom, 200_000)).mean())
    out = {}
    for element in ELEMENTS:
        steps = rng.standard_normal((days, LAST + 1))
        for k in range(1, LAST + 1):
            steps[:, k] = _LASTS * steps[:, k - 1] + np.sqrt(1 - _LASTS**2) * steps[:, k]
        heavy = steps / np.sqrt(rng.chisquare(freedom, (days, 1)) / freedom)
        scale = np.array([skill.published(element, k) / 1.8 for k in range(LAST + 1)])
        out[element] = heavy / size * scale
    return out


def chances(rng: np.random.Generator, wet: NDArray[np.bool_], usual: float, lead: int) -> Floats:
    """Chances of rain that are true as told: from a signal of the day that grows fainter by lead."""
    fainter = max(0.75 - 0.09 * lead, 0.05)  # correlation of the signal with what comes
    line = norm.ppf(1 - usual)
    u = rng.random(len(wet))
    hidden = norm.ppf(np.where(wet, 1 - usual + usual * u, (1 - usual) * u))
    signal = fainter * hidden + np.sqrt(1 - fainter**2) * rng.standard_normal(len(wet))
    return np.asarray(norm.sf((line - fainter * signal) / np.sqrt(1 - fainter**2)))


def forecasts(record: StationDays, first: date, days: int, kind: str, skill: Skill, seed: int) -> list[Forecast]:
    """A forecast on every one of so many days, made from what came."""
    rng = np.random.default_rng(seed)
    usual = usual_by_day(record)
    off = errors(rng, skill, days)
    spreads = {n: float(np.nanstd(record.usable(n) - usual[n][days_of_year(record)])) for n in ELEMENTS.values()}
    rain = record.usable("rain")
    wet_share = float(np.mean(rain[~np.isnan(rain)] >= WET_MM)) if (~np.isnan(rain)).any() else 0.0
    wet_mean = float(rain[rain >= WET_MM].mean()) if wet_share else 0.0
    told: list[dict[date, dict[str, float]]] = [{} for _ in range(days)]
    for lead in range(LAST + 1):
        at = record.index(first) + np.arange(days) + lead
        of_year = np.array([day_of_year(first + timedelta(days=int(k) + lead)) for k in range(days)])
        for element, name in ELEMENTS.items():
            came, mean = record.usable(name)[at], usual[name][of_year]
            error = off[element][:, lead]
            spread = spreads[name]
            size = min(float(error.std()), 0.95 * spread)
            share = 1 - (size / spread) ** 2 if kind == "drawn" else 1.0
            # drawn: the mean of what came given a noisy sight of it, with errors of the published size
            noise = error * np.sqrt(share) if kind == "drawn" else error
            value = mean + share * (came - mean) + noise
            for k in np.flatnonzero(np.isfinite(value)):
                told[k].setdefault(first + timedelta(days=int(k) + lead), {})[element] = value[k] * 1.8 + 32
        wet = rain[at]
        if wet_share:
            p = chances(rng, np.nan_to_num(wet) >= WET_MM, wet_share, lead)
            for k in np.flatnonzero(np.isfinite(wet)):
                day = told[k].setdefault(first + timedelta(days=int(k) + lead), {})
                day |= {"rain_chance": float(p[k]), "rain": float(p[k] * wet_mean / 25.4)}
    issued = [first + timedelta(days=k) for k in range(days)]
    return [Forecast(day, day.isoformat(), "simulated", days=held) for day, held in zip(issued, told, strict=True)]


def windows(
    record: StationDays, on: date, stands: Mapping[str, Standing], climate: Climate, seed: int
) -> dict[str, Floats]:
    """(year, day) of each variable, as the outlook makes them."""
    facts = fact_files.load()
    begins = beginnings(stands, on, facts, seed, LEADS + 1) if stands else None
    past = record.window(record.start, on - timedelta(days=1))
    sets, _ = year_windows({record.station: past}, on, horizon=LEADS + 1, seed=seed, climate=climate, begins=begins)
    return {name: sets[0].values[name][0] for name in NAMES}


def held(draws: Floats, came: float) -> float:
    """Whether the 10th to 90th range (at plotting positions) holds what came; ties at an end count by their share."""
    low, high = np.quantile(draws, [0.1, 0.9], method="hazen")
    under, upto = float(np.mean(draws < came)), float(np.mean(draws <= came))
    if came in (low, high) and upto > under:
        return max(min(upto, 0.9) - max(under, 0.1), 0.0) / (upto - under)
    return float(low < came < high)


def origins(record: StationDays) -> Iterator[date]:
    """Days five apart, spread over the years that have enough behind them."""
    first = date(record.start.year + LEAST_YEARS + 1, 1, 1)
    days = (record.end - timedelta(days=LEADS + 1) - first).days
    if days > STEP:
        step = max(days // ORIGINS, STEP)
        yield from (first + timedelta(days=k) for k in range(0, days, step))


def scored(record: StationDays, kind: str) -> list[tuple[str, int, str, float, float]]:
    """(element, lead, way, score, held) of every origin of a record."""
    facts, climate = fact_files.load(), Climate.of(None)
    bare = skill_of(facts, (), record, record.end)
    rows = []
    for number, on in enumerate(origins(record)):
        first = on - timedelta(days=SEASON)
        if record.index(first) < 0:
            continue
        made = forecasts(record, first, SEASON + 1, kind, bare, number)
        newest = made[-1]
        past = record.window(record.start, on - timedelta(days=1))
        usual, skilled = usual_by_day(past), skill_of(facts, made, past, on)
        station = record.station
        plain = {**bare.settings, "lean": 0.0, "fade days": 0.0}
        cases = {
            WAYS[0]: {},
            WAYS[2]: {station: Standing(newest, True, 0, replace(bare, settings=plain))},
            WAYS[3]: {station: Standing(newest, True, 0, bare)},
            WAYS[4]: {station: Standing(newest, True, 0, skilled)},
        }
        drawn = {way: windows(record, on, stands, climate, number) for way, stands in cases.items()}
        for lead in range(1, LEADS + 1):
            day = on + timedelta(days=lead)
            for name in NAMES:
                came = record.usable(name)[record.index(day)]
                if not np.isfinite(came):
                    continue
                element = {v: k for k, v in ELEMENTS.items()}.get(name, name)
                figure = _figure(newest, day, element, usual, name, drawn[WAYS[0]][name][:, lead])
                rows.append((name, lead, WAYS[1], abs(figure - came), float("nan")))
                for way, values in drawn.items():
                    x = values[name][:, lead]
                    score = float(np.ravel(crps_ensemble(x[None, :], np.array([came])))[0])
                    rows.append((name, lead, way, score, held(x, float(came))))
    return rows


def _figure(
    forecast: Forecast, day: date, element: str, usual: Mapping[str, Floats], name: str, years: Floats
) -> float:
    """The forecast's one figure for a day; the usual where it tells none."""
    told = forecast.days.get(day, {}).get(element)
    if told is None:
        return float(np.median(years)) if name == "rain" else float(usual[name][day_of_year(day)])
    return told * 25.4 if name == "rain" else (told - 32) / 1.8


def tables(found: Mapping[str, Sequence[tuple[str, int, str, float, float]]]) -> Iterator[str]:
    """The tables of docs/weather.md."""
    for kind, rows in found.items():
        for name, unit in (("tmax", "°C"), ("tmin", "°C"), ("rain", "mm")):
            own = [r for r in rows if r[0] == name]
            if not own:
                continue
            count = len([r for r in own if r[2] == WAYS[0]])
            yield f"Forecaster `{kind}`, {name} ({unit}), {count:,} days foretold:\n"
            yield "| lead | " + " | ".join(WAYS) + " |"
            yield "|---" * (len(WAYS) + 1) + "|"
            for lead in range(1, LEADS + 1):
                cells = []
                for way in WAYS:
                    held_here = [(s, h) for n, k, w, s, h in own if k == lead and w == way]
                    score = np.mean([s for s, _ in held_here])
                    inside = np.nanmean([h for _, h in held_here]) if way != WAYS[1] else float("nan")
                    cells.append(f"{score:.2f}" + ("" if np.isnan(inside) else f"; {100 * inside:.0f}%"))
                yield f"| {lead} | " + " | ".join(cells) + " |"
            inside = {w: np.nanmean([h for _, k, way, _, h in own if way == w and k <= LAST]) for w in WAYS[2:]}
            shares = ", ".join(f"{way.strip('*')} {100 * h:.1f}%" for way, h in inside.items())
            yield f"\nHeld over leads 1 to {LAST}: {shares}.\n"


def main(arguments: Sequence[str]) -> None:
    """See the module."""
    folder = next((Path(a) for a in arguments if not a.startswith("--")), FOLDER)
    usable = [r for r in records(folder) if "tmax" in r.values and (r.values["tmax"] != r.values["tmin"]).any()]
    found = {kind: [row for record in usable for row in scored(record, kind)] for kind in FORECASTERS}
    lines = [f"{len(usable)} records ({', '.join(r.station for r in usable)}).\n", *tables(found)]
    put("\n".join(lines), "weather.md", "forecast")


if __name__ == "__main__":
    main(sys.argv[1:])
