"""What is on file of other stations, places and markets changes no call: each place stands on what it names or is near.

An unknown, missing or misspelt station used to take the longest record on file, years were those of all stations, and
one short price series narrowed every other.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from sideoats import ask
from sideoats.demo.district import MARKET, TODAY, all_entries
from sideoats.errors import InputError
from sideoats.intake.station_files import drafts_of
from sideoats.ledger import Ledger, NewEntry, open_ledger
from sideoats.station import StationDays
from sideoats.week import Week, run_week
from sideoats.week.engines import Processes
from sideoats.week.store import WeekStore
from sideoats.week.stored_run import run_stored

DRAWS = 40
LONG_AGO = datetime(2024, 3, 1, tzinfo=UTC)


def a_record(name: str, first: date, until: date, *, seed: int = 1, warm: float = 0.0, **where: float) -> StationDays:
    days = (until - first).days + 1
    rng, at = np.random.default_rng(seed), np.arange(days)
    season = 14 + warm - 13 * np.cos(2 * np.pi * (at - 20) / 365.25) + rng.normal(0, 4, days)
    rain = np.where(rng.random(days) < 0.3, rng.gamma(0.8, 7.0, days), 0.0)
    values = {"tmax": season + 7, "tmin": season - 6, "rain": rain}
    return StationDays(station=name, start=first, values=values, **where)  # type: ignore[arg-type]


def filed(record: StationDays) -> list[NewEntry]:
    return [
        NewEntry(d.kind, {**d.body, "sure": True} if d.kind == "place" else d.body, place=d.place, seen_at=d.seen_at)
        for d in drafts_of(record)
    ]  # a place far from all others is asked back unless the sender is sure


def strangers() -> Iterator[NewEntry]:
    """Stations old and new, far and without a position; places of another farm; quotes of another market."""
    yield from filed(a_record("elsewhere-1912", date(1912, 1, 1), date(1950, 12, 31)))
    yield from filed(
        a_record("far", date(2001, 1, 1), TODAY - timedelta(days=1), warm=9, latitude=25.0, longitude=55.0)
    )
    yield from filed(a_record("aaa-first", date(1990, 1, 1), TODAY - timedelta(days=1), seed=3, warm=-9))
    yield from filed(a_record("young", date(2026, 2, 1), TODAY - timedelta(days=1), seed=4))
    yield NewEntry("farm", {"name": "Strange"}, farm="strange", seen_at=LONG_AGO)
    field = {"name": "f", "kind": "field", "crop": "grain sorghum", "station": "far", "acres": 40}
    yield NewEntry("place", field, place="strange.f", farm="strange", seen_at=LONG_AGO)
    yield NewEntry("place", {"name": "m", "kind": "market"}, place="aaa-market", seen_at=LONG_AGO)
    for commodity, price, unit in (("wheat", 9.0, "USD/bu"), ("oats", 3.0, "USD/bu"), ("cull cow", 60.0, "USD/cwt")):
        for week in range(170):  # long enough to count, and shorter than what is on file
            quote = {"commodity": commodity, "price": f"{price * (1 + 0.3 * (week % 2)):g} {unit}"}
            seen = datetime(2026, 9, 13, 12, tzinfo=UTC) - timedelta(days=7 * week)
            yield NewEntry("quote", quote, place="aaa-market", seen_at=seen)


@pytest.fixture(scope="module")
def crowded(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("crowded") / "ledger.sqlite"
    with open_ledger(path) as ledger:
        ledger.append(all_entries())
        ledger.append(strangers())
    return path


def of_the_demo(week: Week) -> dict[tuple[str, str], Any]:
    """The demo's calls; entry ids are minted anew in each ledger."""
    return {(c.place, c.question): replace(c, evidence=()).full() for c in week.calls if c.farm != "strange"}


def test_unrelated_stations_places_and_series_change_no_call(ledger: Path, crowded: Path) -> None:
    plain = of_the_demo(run_week(ledger, TODAY, draws=DRAWS))
    assert of_the_demo(run_week(crowded, TODAY, draws=DRAWS)) == plain
    workers = run_week(crowded, TODAY, draws=DRAWS, engine=Processes(2))
    assert of_the_demo(workers) == plain


def test_nor_do_they_in_a_stored_run(crowded: Path, ledger: Path, tmp_path: Path) -> None:
    found = []
    for name, path in (("plain", ledger), ("crowded", crowded)):
        run_stored(path, TODAY, tmp_path / name, draws=DRAWS)
        store = WeekStore(tmp_path / name)
        found.append(
            {(c.place, c.question): replace(c, evidence=()).full() for c in store.calls() if c.farm != "strange"}
        )
        store.close()
    assert found[0] == found[1]


def alone(tmp_path: Path, *records: StationDays, **attributes: Any) -> Ledger:
    """A ledger of one pasture and some stations."""
    ledger = open_ledger(tmp_path / "l.sqlite")
    for record in records:
        ledger.append(filed(record))
    body = {"name": "p", "kind": "pasture", "crop": "native grass", "sure": True, **attributes}
    ledger.append([NewEntry("farm", {"name": "F"}, farm="f", seen_at=LONG_AGO)])
    ledger.append([NewEntry("place", body, place="f.p", farm="f", seen_at=LONG_AGO)])
    return ledger


YESTERDAY = TODAY - timedelta(days=1)
NEAR = {"latitude": 38.1, "longitude": -99.0}


def rain(ledger: Ledger) -> Any:
    week = run_week(ledger, TODAY, questions=["rain-deficit"], draws=DRAWS)
    assert week.problems == ()
    return week.calls[0]


def test_the_nearest_station_within_reach_stands_for_a_place_that_names_none(tmp_path: Path) -> None:
    near = a_record("creek", date(2010, 1, 1), YESTERDAY, latitude=38.2, longitude=-99.0)
    nearer_but_dead = a_record("old", date(1980, 1, 1), date(1999, 12, 31), **NEAR)
    longer = a_record("long", date(1950, 1, 1), YESTERDAY, seed=2, latitude=39.5, longitude=-99.0)
    call = rain(alone(tmp_path, near, nearer_but_dead, longer, **NEAR))
    assert "Weather of the nearest station, creek, 7 mi off." in call.because  # 0.1 degree of latitude is 6.9 miles
    assert any("16 past years, 2010 to 2025" in line for line in call.because)


def test_height_counts_where_it_is_known(tmp_path: Path) -> None:
    peak = a_record("peak", date(2010, 1, 1), YESTERDAY, latitude=38.11, longitude=-99.0, elevation_m=1500.0)
    call = rain(alone(tmp_path, peak, elevation="600 m", **NEAR))
    assert any(line.startswith("No weather record: no station on file lies within 25 mi") for line in call.because)


@pytest.mark.parametrize("where", [{}, NEAR])
def test_no_stranger_stands_in_for_a_place(tmp_path: Path, where: dict[str, float]) -> None:
    """A place without a station, a position or a station near it is answered as if no station were on file."""
    far = a_record("far", date(1990, 1, 1), YESTERDAY, latitude=45.0, longitude=-75.0)
    call = rain(alone(tmp_path, far, **where))
    (tmp_path / "none").mkdir()
    bare = rain(alone(tmp_path / "none", **where))
    assert call.verdict == bare.verdict and call.headline == bare.headline and call.options == bare.options
    assert any(line.startswith("No weather record:") for line in call.because)


def test_a_station_without_a_past_year_draws_no_strangers_years(tmp_path: Path) -> None:
    new = a_record("new", date(2026, 3, 1), YESTERDAY, **NEAR)
    old = a_record("old", date(1950, 1, 1), YESTERDAY, seed=2, latitude=45.0, longitude=-75.0)
    call = rain(alone(tmp_path, new, old, station="new"))
    assert not any("past years" in line and "1950" in line for line in call.because)


def test_an_unknown_station_or_market_is_refused_when_recorded(ledger: Path) -> None:
    with open_ledger(ledger) as opened:
        before = opened.head()
        for attribute, given, hint in (
            ("station", "marrow-nrth", "did you mean marrow-north"),
            ("market", "marrow-flat-market", f"did you mean {MARKET}"),
            ("station", "two-elms.sorghum-1", "is a field"),
        ):
            entry = NewEntry("place", {"name": "x", "kind": "field", attribute: given}, place="two-elms.x")
            with pytest.raises(InputError, match=hint):
                opened.append([entry])
        assert opened.head() == before


def test_a_batch_may_name_a_station_that_it_describes_later(tmp_path: Path) -> None:
    with open_ledger(tmp_path / "l.sqlite") as opened:
        field = NewEntry("place", {"name": "x", "kind": "field", "station": "s"}, place="x")
        assert all(
            r.stored for r in opened.append([field, NewEntry("place", {"name": "s", "kind": "station"}, place="s")])
        )


def test_ask_refuses_a_station_that_is_not_on_file_and_uses_none_where_none_is_named(ledger: Path) -> None:
    values = {"crop": "native grass", "station": "marrow-nrth"}
    with pytest.raises(InputError, match="did you mean marrow-north"):
        ask("rain-deficit", values, on=TODAY, ledger=ledger)
    named = ask("rain-deficit", {**values, "station": "marrow-north"}, on=TODAY, ledger=ledger, draws=DRAWS)
    assert "Weather of station marrow north, as asked." in named["because"]
    none = ask("cotton-pace", {"bloom_date": "2026-08-20"}, on=TODAY, ledger=ledger, draws=DRAWS)
    assert none["verdict"] == "look" and any("No station was named" in line for line in none["because"])
