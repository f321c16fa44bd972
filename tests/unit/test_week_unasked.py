"""What was not asked of a place, and why, is said by the week: a field never drops out of it without a word."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path

import pytest

from sideoats.cli import main
from sideoats.demo.district import TODAY
from sideoats.ledger import NewEntry, open_ledger
from sideoats.week import run_week

LONG_AGO = datetime(2026, 3, 1, tzinfo=UTC)


@pytest.fixture
def three(tmp_path: Path) -> str:
    """A sorghum field without a planting date or a count, one without a crop, and a market."""
    path = tmp_path / "l.sqlite"
    with open_ledger(path) as ledger:
        ledger.append([NewEntry("farm", {"name": "F"}, farm="f", seen_at=LONG_AGO)])
        for place, body in {
            "f.milo": {"name": "milo", "kind": "field", "crop": "grain sorghum"},
            "f.bare": {"name": "bare", "kind": "field"},
            "f.market": {"name": "m", "kind": "market"},
        }.items():
            ledger.append([NewEntry("place", body, place=place, farm="f", seen_at=LONG_AGO)])
    return str(path)


def test_a_field_without_a_count_or_a_date_says_what_it_needs(three: str) -> None:
    week = run_week(three, TODAY, draws=20)
    needs = {u.question: " ".join(u.needs) for u in week.unasked if u.place == "f.milo"}
    assert "planting date (place planting_date)" in " ".join(needs.values())
    assert "planting date" in needs["sorghum-aphid"] and "counts (head_counts midges)" in needs["sorghum-midge"]
    asked = {c.question for c in week.calls if c.place == "f.milo"}
    assert not asked & needs.keys()
    shape = week.full()["not_asked"]
    assert {"place", "question", "needs", "why"} == set(shape[0]) and json.dumps(shape)


def test_a_place_of_which_nothing_is_asked_says_so(three: str) -> None:
    week = run_week(three, TODAY, draws=20)
    bare = [u for u in week.unasked if u.place == "f.bare"]
    assert any(not u.question and u.needs == ("crop (place crop)",) for u in bare)
    assert not [u for u in week.unasked if u.place == "f.market"]


def test_the_terminal_names_places_without_a_call(three: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit, match="0"):
        main(["--ledger", three, "week", "--on", str(TODAY), "--draws", "20", "--all"])
    said = " ".join(capsys.readouterr().out.split())
    assert "Not asked yet, f.milo:" in said and "needs planting date" in said and "no crop is on file" in said


def test_what_is_asked_is_not_told_as_unasked(ledger: Path) -> None:
    week = run_week(ledger, TODAY, draws=20)
    called = {(c.place, c.question) for c in week.calls}
    assert week.unasked and not called & {(u.place, u.question) for u in week.unasked}
