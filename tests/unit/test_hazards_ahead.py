"""Hazards of standing forage that find themselves: a forecast or past years of frost, drought, the day of turnout."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from sideoats.asking import table_of
from sideoats.facts import load
from sideoats.ledger import Ledger, NewEntry, open_ledger
from sideoats.outlook.draws import make_outlook
from sideoats.question import Context, find
from sideoats.station import StationDays
from sideoats.week import run_week

ON = date(2026, 10, 10)
CALM = {
    "height": 40.0,
    "new_shoots": False,
    "frost": False,
    "drought_rain": False,
    "stress": False,
    "nitrogen": "usual",
}


def years_with(frost: dict[int, int], on: date = ON) -> dict[str, StationDays]:
    """A record of eight years up to yesterday, mild but for one night of the given years in October [day of month]."""
    start = date(on.year - 8, 1, 1)
    days = [start + timedelta(days=i) for i in range((on - start).days)]
    low = np.array([-2.0 if d.month == 10 and frost.get(d.year) == d.day else 12.0 for d in days])
    values = {"tmin": low, "tmax": low + 12.0, "rain": np.full(len(days), 3.0)}
    return {"s": StationDays(station="s", start=start, values=values)}


def asked(records: dict[str, StationDays], on: date = ON, **row: Any) -> Any:
    question, facts = find("graze-prussic"), load()
    full = {**{f.name: f.default for f in question.inputs}, "station": "s", "class": "growing", **CALM, **row}
    table = table_of(question, [full])
    context = Context(on, facts, make_outlook(on, stations=records, facts=facts, draws=20))
    return question.ask(table, context).call(0), bool(question.seasonal(table, context)[0])


@pytest.mark.parametrize(("cold_years", "verdict"), [(8, "look"), (3, "look"), (1, "act"), (0, "act")])
def test_frost_that_is_likely_by_the_past_years_is_warned_of_days_ahead(cold_years: int, verdict: str) -> None:
    # one year in five warns (common practice): the 14th of October lies in the week that is looked ahead
    records = years_with({2018 + i: 14 for i in range(cold_years)})
    call, _ = asked(records, species="sudangrass")
    assert call.verdict == verdict
    if verdict == "look":
        assert "has come by Sat 17 Oct" in call.headline and "take off" in call.headline
        assert call.look_by == ON + timedelta(days=6) and call.missing == ("forecast.days",)


def test_a_forecast_speaks_before_the_past_years_do() -> None:
    records = years_with({2018 + i: 14 for i in range(8)})
    mild = tuple({"date": ON + timedelta(days=i), "high": 75.0, "low": 50.0} for i in range(8))
    assert asked(records, species="sudangrass", forecast=mild)[0].verdict == "act"
    short = asked(records, species="sudangrass", forecast=mild[:3])[0]
    assert short.verdict == "look" and "station's years" in short.headline
    cold = (*mild[:2], {"date": ON + timedelta(days=2), "high": 60.0, "low": 35.0})
    call = asked(records, species="sudangrass", forecast=cold)[0]
    # 36 degF in the shelter is frost on the ground (National Weather Service)
    assert call.verdict == "look" and "forecast for Mon 12 Oct, 35 °F" in call.headline
    assert call.look_by == ON + timedelta(days=1)
    assert asked(records, species="pearl millet", forecast=cold)[0].verdict == "act"  # next to no prussic acid


def test_a_frost_of_tonight_bars_turning_out() -> None:
    tonight = ({"date": ON + timedelta(days=1), "high": 60.0, "low": 30.0},)
    call = asked(years_with({}), species="johnsongrass", forecast=tonight)[0]
    assert call.verdict == "look" and call.look_by == ON
    assert next(o for o in call.options if o.key == "graze").barred


@pytest.mark.parametrize(("month", "species", "found"), [(7, "sudangrass", False), (7, "corn", False)])
def test_nothing_is_asked_of_a_stand_that_nothing_threatens(month: int, species: str, found: bool) -> None:
    on = date(2026, month, 15)
    row: dict[str, Any] = {"height": None, "new_shoots": None, "frost": None, "drought_rain": None}
    assert asked(years_with({}, on), on, species=species, **row)[1] is found


def test_a_drought_brings_up_forage_sorghum_by_itself() -> None:
    on = date(2026, 8, 15)
    records = years_with({}, on)
    dry = records["s"].values["rain"].copy()
    dry[-30:] = 0.0
    records = {"s": StationDays(station="s", start=records["s"].start, values={**records["s"].values, "rain": dry})}
    row: dict[str, Any] = dict.fromkeys(("height", "new_shoots", "frost", "drought_rain", "stress"))
    call, found = asked(records, on, species="sorghum-sudan", **row)
    assert found and call.verdict == "stop" and "short of water" in call.headline


@pytest.fixture
def farm(tmp_path: Path) -> Iterator[Ledger]:
    with open_ledger(tmp_path / "farm.db") as ledger:
        ledger.append([NewEntry("farm", {"name": "F"}, farm="f")])
        yield ledger


def seen(ledger: Ledger, what: str, place: str, day: date, **body: Any) -> None:
    at = datetime(day.year, day.month, day.day, 12, tzinfo=UTC)
    ledger.append([NewEntry(what, body, place=place, farm="f" if what == "place" else None, seen_at=at)])


def test_the_week_warns_before_the_night_and_before_cattle_go_on(farm: Ledger) -> None:
    seen(farm, "place", "cane", date(2026, 6, 1), name="cane", kind="field", crop="sorghum-sudan")
    seen(
        farm,
        "place",
        "grass",
        date(2026, 6, 1),
        name="grass",
        kind="pasture",
        crop="johnsongrass",
        turnout="2026-10-14",
    )
    seen(farm, "place", "wheat", date(2026, 6, 1), name="wheat", kind="pasture", crop="wheat", turnout="2026-10-15")
    names = ["graze-prussic", "wheat-pasture-hazard"]
    calls = {(c.place, c.question) for c in run_week(farm, ON, questions=names, draws=20).calls}
    assert ("cane", "graze-prussic") not in calls and ("grass", "graze-prussic") in calls
    assert ("wheat", "wheat-pasture-hazard") in calls
    seen(farm, "forecast", "cane", ON, days="date=2026-10-13, high=58 F, low=31 F")
    week = run_week(farm, ON, questions=names, draws=20)
    assert not week.problems
    call = next(c for c in week.calls if c.place == "cane")
    assert call.verdict == "look" and "Tue 13 Oct, 31 °F" in call.headline and call.look_by == date(2026, 10, 12)
