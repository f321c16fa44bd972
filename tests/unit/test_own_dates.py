"""A district's own dates of its wheat, from the ledger to the call."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from sideoats.intake.station_files import drafts_of
from sideoats.ledger import Ledger, NewEntry, open_ledger
from sideoats.replies import told
from sideoats.station import StationDays
from sideoats.week import run_week
from sideoats.week.district import district_of
from sideoats.wheat import own_dates
from sideoats.wheat.own_dates import STEM
from sideoats.words import Reader

ON = date(2026, 2, 26)
LONG_AGO = datetime(1999, 1, 1, tzinfo=UTC)
FIELD = {"kind": "field", "crop": "winter wheat", "purpose": "dual", "acres": 160, "head": 90, "weight": "500 lb"}
MONEY = {"value_of_gain": "1.10 USD/lb", "price.wheat": "5.60 USD/bu"}


def record(name: str, warmer: float, seed: int = 3) -> StationDays:
    """A climate of the plains, warmer by some degrees at one station than at another."""
    start = date(2000, 1, 1)
    days = (ON - start).days
    at = np.arange(days)
    odd = np.repeat(np.random.default_rng(seed).normal(0, 2.0, days // 20 + 1), 20)[:days]
    mean = 12 + warmer - 13 * np.cos(2 * np.pi * (at - 15) / 365.25) + odd
    values = {"tmax": mean + 7, "tmin": mean - 7, "rain": np.where(at % 9 == 0, 6.0, 0.0)}
    return StationDays(station=name, start=start, values=values, latitude=38.0, longitude=-99.0)


def district(folder: Path, looks: list[tuple[str, date, dict[str, object]]], **more: object) -> Ledger:
    """Two stations and a field at each."""
    ledger = open_ledger(folder / "l.sqlite")
    for held in (record("cool", 0.0), record("warm", 3.0)):
        ledger.append([NewEntry(d.kind, d.body, place=d.place, seen_at=d.seen_at, id=d.id) for d in drafts_of(held)])
    ledger.append([NewEntry("farm", {"name": "F"}, farm="f", seen_at=LONG_AGO)])
    for name in ("cool", "warm"):
        body = {"name": name, **FIELD, "station": name, "expected_yield": "45 bu/ac", **more}
        ledger.append([NewEntry("place", body, place=f"f.{name}", farm="f", seen_at=LONG_AGO)])
    for name, value in MONEY.items():
        ledger.append([NewEntry("setting", {"name": name, "value": value}, seen_at=LONG_AGO)])
    for place, day, body in looks:
        seen = datetime(day.year, day.month, day.day, 15, tzinfo=UTC)
        ledger.append([NewEntry("wheat_check", body, place=f"f.{place}", farm="f", seen_at=seen)])
    return ledger


def splits(heat: float, springs: tuple[int, ...]) -> list[tuple[str, date, dict[str, object]]]:
    """Stems of the cool field split a few days either side of the day on which a heat was reached."""
    held, found = record("cool", 0.0), []
    for year in springs:
        day = date(year, 1, 2)
        while own_dates.heat_between(held, date(year, 1, 1), day) < heat:
            day += timedelta(1)
        for off, length in ((-4, "0.9, 1.1 cm"), (4, "2.0, 2.0 cm")):
            found.append(("cool", day + timedelta(off), {"hollow_stem": length}))
    return found


def test_it_moves_from_the_figure_on_file_to_what_was_split_and_narrows(tmp_path: Path) -> None:
    before, width = 240.0, 1e9
    for k, springs in enumerate([(2020, 2021), (2019, 2020, 2021, 2022), tuple(range(2012, 2024))]):
        (tmp_path / str(k)).mkdir()
        with district(tmp_path / str(k), splits(330.0, springs)) as ledger:
            fact = district_of(ledger, ON, draws=20).facts.by_id[STEM]
        assert fact.overridden and fact.shipped is not None and fact.shipped.mid == 240
        assert before < fact.mid < 345 and fact.high - fact.low < width
        assert f"{len(springs)} of the district's own" in fact.citation and "140 to 360" in fact.citation
        before, width = fact.mid, fact.high - fact.low
    assert before > 310


def test_the_district_files_own_figure_is_left_alone_and_one_spring_is_too_few(tmp_path: Path) -> None:
    with district(tmp_path, splits(330.0, (2020,))) as ledger:
        assert not district_of(ledger, ON, draws=20).facts.by_id[STEM].overridden
        file = tmp_path / "district.toml"
        file.write_text(
            f'[override."{STEM}"]\nvalue = 200\nsource = "our own notes, 2025"\nprovenance = "practice"\n', "utf-8"
        )
        for place, day, body in splits(330.0, (2021, 2022)):
            seen = datetime(day.year, day.month, day.day, 15, tzinfo=UTC)
            ledger.append([NewEntry("wheat_check", body, place=f"f.{place}", farm="f", seen_at=seen)])
        assert district_of(ledger, ON, draws=20, file=file).facts.by_id[STEM].mid == 200


def test_a_look_after_the_day_asked_teaches_nothing(tmp_path: Path) -> None:
    with district(tmp_path, splits(330.0, (2020, 2021, 2022))) as ledger:
        assert not district_of(ledger, date(2020, 2, 1), draws=20).facts.by_id[STEM].overridden
        assert district_of(ledger, date(2022, 6, 1), draws=20).facts.by_id[STEM].overridden


def test_the_call_dates_stems_at_another_station_by_the_heat_learned_and_says_both_figures(tmp_path: Path) -> None:
    with district(tmp_path, splits(330.0, tuple(range(2012, 2024)))) as ledger:
        calls = {c.place: c for c in run_week(ledger, ON, questions=["graze-pull-off"], draws=200).calls}
    cool, warm = (calls[f"f.{name}"] for name in ("cool", "warm"))
    away = [c.quantities["days_to_hollow_stem"].value for c in (cool, warm)]
    assert away[1] < away[0] - 5  # the same heat comes earlier where it is warmer
    for call in (cool, warm):
        assert call.verdict in ("look", "wait") and "by the heat" in call.headline
        said = " ".join(call.because)
        assert "the figure on file, without them, is 432" in said and "This season stands at" in said
        assert any(s["id"] == STEM and "of the district's own" in s["citation"] for s in call.sources)
        assert "Los tallos del propio distrito" in " ".join(told(call, Reader("es", "metric")).because)


def test_every_question_of_the_room_takes_the_same_day(tmp_path: Path) -> None:
    with district(tmp_path, splits(330.0, tuple(range(2012, 2024)))) as ledger:
        asked = ["graze-pull-off", "wheat-purpose", "stocking-rate"]
        calls = run_week(ledger, ON, questions=asked, draws=200).calls
    away: dict[str, set[float]] = {}
    for call in calls:
        if "days_to_hollow_stem" in call.quantities:
            away.setdefault(call.place, set()).add(round(call.quantities["days_to_hollow_stem"].value))
    assert len(away) == 2 and all(max(days) - min(days) <= 1 for days in away.values())
    assert {c.question for c in calls if "days_to_hollow_stem" in c.quantities} >= {"graze-pull-off", "wheat-purpose"}
    told_so = [c for c in calls if c.question == "wheat-purpose"]
    assert told_so and all("dated by the heat" in " ".join(c.because) for c in told_so)


def test_a_date_that_the_grower_gives_stands_and_a_split_stem_decides(tmp_path: Path) -> None:
    with district(tmp_path, splits(330.0, (2020, 2021, 2022)), hollow_stem_date="2026-03-20") as ledger:
        calls = run_week(ledger, ON, questions=["graze-pull-off"], draws=50).calls
    assert all("by the date alone" in c.headline for c in calls)


def test_heat_kept_with_a_split_needs_no_station(tmp_path: Path) -> None:
    looks = [
        ("cool", date(1990 + k, 3, 5 + 8 * j), {"hollow_stem": text, "heat": heat})
        for k in range(3)
        for j, (text, heat) in enumerate([("1.0, 1.0 cm", 540.0), ("2.0, 2.0 cm", 660.0)])
    ]
    with district(tmp_path, looks) as ledger:
        fact = district_of(ledger, ON, draws=20).facts.by_id[STEM]
    assert fact.overridden and 240 < fact.mid < 600 / 1.8


def test_leaves_and_ripening_are_learned_in_the_shape_of_the_figures_on_file(tmp_path: Path) -> None:
    held, looks = record("cool", 0.0), []
    for year in (2018, 2019, 2020):
        sown, counted = date(year, 9, 25), date(year, 11, 10)
        looks.append(("cool", counted, {"leaves": (own_dates.heat_between(held, sown, counted) - 100) / 105}))
        for month, day, stage in ((5, 1, "boot"), (5, 9, "heading"), (6, 18, "dough"), (6, 26, "ripe")):
            looks.append(("cool", date(year + 1, month, day), {"stage": stage}))
    with district(tmp_path, looks) as ledger:
        for year in (2018, 2019, 2020):
            body = {"name": "cool", **FIELD, "station": "cool", "planting_date": f"{year}-09-25"}
            seen = datetime(year, 9, 26, tzinfo=UTC)
            ledger.append([NewEntry("place", body, place="f.cool", farm="f", seen_at=seen)])
        facts = district_of(ledger, ON, draws=20).facts
    leaf, phases = facts.by_id["wheat/stages.phyllochron"], facts.by_id["wheat/stages.phases"]
    assert leaf.overridden and 95 < leaf.mid < 105 and "leaf counts in 3 season(s)" in leaf.citation
    came = np.mean([own_dates.heat_between(held, date(y, 5, 5), date(y, 6, 22)) for y in (2019, 2020, 2021)])
    assert phases.overridden and phases.shipped is not None
    last, old = phases.rows[-1][3], phases.shipped.rows[-1][3]
    assert abs(200 + last - came) < abs(200 + old - came)


@pytest.mark.parametrize(
    ("days", "heats", "lengths", "heat"),
    [
        ((0, 8), (300, 340), (1.0, 2.0), 320),  # on either side of the line
        ((0, 8), (300, 340), (0.4, 0.8), np.nan),  # never near it
        ((0, 8), (300, 340), (0.4, 1.4), 340),  # near it
        ((0, 40), (200, 500), (0.5, 3.0), np.nan),  # too far apart to tell
    ],
)
def test_when_looks_tell_the_heat(days: tuple[int, ...], heats: tuple[float, ...], lengths, heat: float) -> None:
    first = date(2026, 3, 1)
    found = own_dates.stem_heat([first + timedelta(d) for d in days], heats, lengths, 1.5)
    assert found == pytest.approx(heat, nan_ok=True)


def test_a_stage_lies_between_the_look_before_it_and_the_first_look_at_it() -> None:
    days = [date(2026, 5, 1), date(2026, 5, 9), date(2026, 6, 20)]
    assert own_dates.stage_heat(days, [700, 800, 1500], ["boot", "heading", "ripe"], "heading") == 750
    assert np.isnan(own_dates.stage_heat(days, [700, 800, 1500], ["boot", "heading", "ripe"], "ripe"))
    assert np.isnan(own_dates.stage_heat(days, [700, 800, 900], ["boot", "milk", "ripe"], "heading"))
