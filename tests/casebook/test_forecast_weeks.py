"""Phone-ins with a forecast on file for their station: half of them change the call, half must leave it as it was.

Each case (``forecasts/weeks.toml``) has, beside what `judging` reads, the days that are forecast from the day asked on
(``days``: high and low in degF, chance of rain in percent, rain in inches, humidity in percent, wind in mph) or the
hours, and says whether the forecast ``changes`` the call. The station's past is invented.
"""

from __future__ import annotations

import tomllib
from datetime import date, timedelta
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from tests.casebook.judging import faults

import sideoats
from sideoats.demo.climate import Climate, daily_weather
from sideoats.facts import load
from sideoats.outlook import make_outlook
from sideoats.outlook.forecasts import Forecast
from sideoats.outlook.standing import standings
from sideoats.station import StationDays

CASES: list[dict[str, Any]] = tomllib.loads((Path(__file__).parent / "forecasts" / "weeks.toml").read_text("utf-8"))[
    "case"
]
YEARS, STATION = 25, "gauge"
NAMES = ("high", "low", "rain_chance", "rain", "humidity", "wind")
SHARES = ("rain_chance", "humidity")


@lru_cache(maxsize=40)
def past(on: date, warm: float, dry: int) -> StationDays:
    """Twenty-five invented years before a day; the last weeks can be made warmer [degF] or dry [days]."""
    start = date(on.year - YEARS, 1, 1)
    days = (on - start).days
    rng = np.random.default_rng(5)
    made = daily_weather(Climate(), start, days, rng, rng.standard_normal((days, 2)))
    values = {v: made[v].copy() for v in ("tmax", "tmin", "rain", "wind", "humidity")}
    for v in ("tmax", "tmin"):
        values[v][-14:] += warm / 1.8
    if dry:
        values["rain"][-dry:] = 0.0
    return StationDays(station=STATION, start=start, values=values, latitude=38.0, longitude=-99.0, elevation_m=540.0)


def told(case: dict[str, Any], on: date) -> dict[str, Any]:
    """Days and hours of the case as forecasts of the station, issued on its day or so many days before."""
    issued = on - timedelta(days=case.get("age", 0))
    days = {}
    for k, row in enumerate(case.get("days", [])):
        held = {name: float(v) / (100 if name in SHARES else 1) for name, v in zip(NAMES, row, strict=False)}
        days[on + timedelta(days=k)] = held
    names = ("date", "hour", "temperature", "humidity", "wind", "rain")
    hours = [dict(zip(names, (on + timedelta(days=row[0]), *row[1:]), strict=True)) for row in case.get("hours", [])]
    hours = [{**row, "humidity": row["humidity"] / 100} for row in hours]
    about = {"issued": issued, "issued_at": issued.isoformat(), "source": "the weather service", "place": STATION}
    return {
        "forecasts": [Forecast(**about, days=days)] if days else [],
        "hours": [Forecast(**about, hours=tuple(hours))] if hours else [],
    }


def asked(case: dict[str, Any], with_forecast: bool) -> dict[str, Any]:
    """The case with the outlook of its station, with and without what is forecast."""
    on, facts = date.fromisoformat(str(case["on"])), load()
    record = past(on, case.get("warm", 0.0), case.get("dry", 0))
    held = told(case, on) if with_forecast else {"forecasts": [], "hours": []}
    stands = standings({STATION: record}, on, **held, alerts={}, facts=facts, fresh_days=(3, 2))
    out = make_outlook(on, stations={STATION: record}, facts=facts, forecasts=stands)
    given = {**case.get("with", {}), "station": STATION}
    return {**case, "with": given, "options": {"outlook": out, "facts": facts}}


@pytest.mark.parametrize("case", CASES, ids=lambda case: case["id"])
def test_a_specialist_would_accept_the_call_with_the_forecast(case: dict[str, Any]) -> None:
    assert case["because"] and isinstance(case["changes"], bool)
    assert faults(asked(case, True)) == []
    here, without = (
        sideoats.ask(c["ask"], {k: str(v) for k, v in c["with"].items()}, on=str(c["on"]), **c["options"])
        for c in (asked(case, True), asked(case, False))
    )
    assert without["forecast"] is None
    if case["changes"]:
        assert _call(here) != _call(without)
        assert any("weather service" in because for because in here["because"])
    else:
        assert here["verdict"] == without["verdict"]


def _call(answer: dict[str, Any]) -> tuple[Any, ...]:
    """What the grower hears: what to do, by when, and what it is worth."""
    worth = [None if o["expected"] is None else round(o["expected"]) for o in answer["options"]]
    return answer["verdict"], answer["act_by"], answer["look_by"], answer["headline"], worth


def test_half_of_them_change_the_call_and_half_do_not() -> None:
    changes = [case["changes"] for case in CASES]
    assert sum(changes) >= 12 and len(changes) - sum(changes) >= 12
