"""Soil temperature and moisture of stations: kept when a file is taken, and read where nobody said them."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest

from sideoats.asking import call_for
from sideoats.facts import load
from sideoats.intake.station_csv import read_station_csv
from sideoats.intake.station_files import drafts_of
from sideoats.intake.uscrn import read_uscrn_daily
from sideoats.ledger import NewEntry, open_ledger
from sideoats.outlook import make_outlook
from sideoats.outlook.soil import probed, water_left
from sideoats.replies import told
from sideoats.station import StationDays
from sideoats.week.snapshot import station_records
from sideoats.words import Reader

DATA = Path(__file__).parents[2].parent / "shared" / "data" / "weather" / "CRND0103-2020-53974.txt"
real = pytest.mark.skipif(not DATA.exists(), reason="the shared USCRN file is not beside this checkout")
ON = date(2026, 9, 21)


def record(**more: float) -> StationDays:
    """Three years of a climate; each probe given swings about its mean, and ends on it."""
    days = (ON - date(2023, 1, 1)).days
    at = np.arange(days)
    mean = 12 - 13 * np.cos(2 * np.pi * at / 365.25)
    values = {"tmax": mean + 8, "tmin": mean - 7, "rain": np.where(at % 8 == 0, 9.0, 0.0)}
    for name, last in more.items():
        low, high = (0.1, 0.3) if "moisture" in name else (-2.0, 30.0)
        swing = low + (high - low) * (0.5 + 0.5 * np.sin(at / 40))
        swing[-1] = last
        values[name] = swing
    return StationDays(station="north", start=date(2023, 1, 1), values=values, latitude=38.0, longitude=-99.0)


def ask(question: str, held: StationDays, **values: str):
    facts = load()
    out = make_outlook(ON, stations={"north": held}, facts=facts, draws=60)
    return call_for(question, {"station": "north", **values}, on=ON, facts=facts, outlook=out)


def test_soil_temperature_of_the_station_is_used_where_nobody_said_it() -> None:
    held = record(soil_temperature_5=31.0, soil_temperature_10=20.0)
    call = ask("wheat-planting", held)
    said = " ".join(call.because)
    assert "Soil temperature 87.8 °F is the station's: the mean of Sun 20 Sep at 2 in (5 cm)." in said
    assert "La temperatura del suelo, 31 °C, es de la estación" in " ".join(told(call, Reader("es", "metric")).because)
    own = " ".join(ask("wheat-planting", held, soil_temperature="62 F").because)
    assert "is the station's" not in own and "62 °F" in own
    deeper = " ".join(ask("wheat-planting", record(soil_temperature_10=20.0)).because)
    assert "68 °F" in deeper and "at 4 in (10 cm)" in deeper


def test_a_reading_too_old_or_of_the_day_asked_is_not_used() -> None:
    held, facts = record(soil_temperature_5=20.0), load()
    assert probed(held, "soil_temperature_5", ON, 5, facts) is not None
    assert probed(held, "soil_temperature_5", ON + timedelta(6), 5, facts) is None
    early = probed(held, "soil_temperature_5", date(2026, 9, 20), 5, facts)
    assert early is not None and early.day == date(2026, 9, 19)
    assert "is the station's" not in " ".join(ask("wheat-planting", record()).because)


def test_water_left_lies_between_the_ends_of_each_depth_by_its_thickness() -> None:
    facts = load()
    dry = {f"soil_moisture_{d}": 0.1 for d in (5, 10, 20, 50, 100)}
    for last, share in ((0.1, 0.0), (0.3, 1.0)):
        found = water_left(record(**{name: last for name in dry}), ON, 10, facts)
        assert found is not None and found.value == pytest.approx(share) and found.depth_cm == 100
    half = water_left(record(**dry | {"soil_moisture_50": 0.3, "soil_moisture_100": 0.3}), ON, 10, facts)
    assert half is not None and half.value == pytest.approx((40 + 30) / 105)  # 35 to 75 cm and 75 to 105 cm of 105
    shallow = {f"soil_moisture_{d}": 0.2 for d in (5, 10, 20)}
    assert water_left(record(**shallow), ON, 10, facts) is None  # eight inches are no root zone
    short = record(**dry).window(date(2026, 1, 1), ON)
    assert water_left(short, ON, 10, facts) is None  # not a year


def test_a_station_with_probes_starts_the_balance_and_a_told_share_goes_before_it() -> None:
    wet = record(**{f"soil_moisture_{d}": 0.3 for d in (5, 10, 20, 50, 100)})
    dry = record(**{f"soil_moisture_{d}": 0.1 for d in (5, 10, 20, 50, 100)})
    left = {}
    for name, held in (("wet", wet), ("dry", dry)):
        call = ask("rain-deficit", held, crop="native grass")
        assert any("usable water is left at the station" in line for line in call.because)
        assert any(s["id"] == "outlook/soil_probes.ends" for s in call.sources)
        left[name] = call.quantities["soil_water_left"].value
    assert left["wet"] > left["dry"] + 0.5
    told_share = ask("rain-deficit", wet, crop="native grass", soil_water="20 %")
    assert told_share.quantities["soil_water_left"].value == pytest.approx(0.2, abs=0.02)
    assert not any("at the station" in line for line in told_share.because)


def test_the_ledger_keeps_what_the_station_carries(tmp_path: Path) -> None:
    held = record(soil_temperature_5=20.0, soil_moisture_50=0.2)
    with open_ledger(tmp_path / "l.sqlite") as ledger:
        ledger.append([NewEntry(d.kind, d.body, place=d.place, seen_at=d.seen_at, id=d.id) for d in drafts_of(held)])
        kept = station_records(ledger, ON)["north"]
    for name in ("soil_temperature_5", "soil_moisture_50"):
        assert np.allclose(kept.get(name), held.get(name))


def test_a_table_of_ones_own_may_carry_soil(tmp_path: Path) -> None:
    path = tmp_path / "own.csv"
    path.write_text("day,t,soil,water\n2026-09-01,90,75,0.2\n2026-09-02,91,77,0.21\n", "utf-8")
    columns = {
        "tmax": {"column": "t", "unit": "degF"},
        "soil_temperature_5": {"column": "soil", "unit": "degF"},
        "soil_moisture_20": {"column": "water", "unit": "1"},
    }
    found = read_station_csv(path, {"time": {"column": "day"}, "columns": columns, "station": {"id": "own"}})
    assert np.allclose(found.get("soil_temperature_5"), [(75 - 32) / 1.8, 25.0])
    assert np.allclose(found.get("soil_moisture_20"), [0.2, 0.21])


@real
def test_a_reference_network_file_keeps_its_probes() -> None:
    """Manhattan, Kansas, 2020: the first five-day mean of 60 degF at 5 cm ends 3 May; the last below it, 16 May."""
    found = read_uscrn_daily(DATA)
    assert isinstance(found, StationDays)
    soil = found.get("soil_temperature_5")
    five = np.convolve(soil, np.ones(5) / 5, "valid")
    warm = np.flatnonzero(five >= (60 - 32) / 1.8)
    assert found.start + timedelta(int(warm[0]) + 4) == date(2020, 5, 3)
    cold = np.flatnonzero(five[:200] < (60 - 32) / 1.8)
    assert found.start + timedelta(int(cold[-1]) + 4) == date(2020, 5, 16)
    moisture = found.get("soil_moisture_20")
    assert 0 < np.nanmin(moisture) < np.nanmax(moisture) < 0.7
    assert replace(found, name="x").coverage()
