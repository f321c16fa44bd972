"""Tables for spreadsheets: no text becomes a formula, no number is spoiled."""

from __future__ import annotations

import csv
import io
import math
from datetime import UTC, datetime, time

import pytest
from hypothesis import given
from hypothesis import strategies as st
from running_desk import DAY, FIELD, RunningDesk

from sideoats.desk.table_out import safe_cell, safe_row
from sideoats.ledger import NewEntry

# OWASP, "CSV Injection" (from memory): fields that begin with these are formulas to a spreadsheet.
STARTS = ("=", "+", "-", "@", "\t", "\r")


@given(st.text(max_size=60))
def test_no_text_begins_as_a_formula(text: str) -> None:
    out = safe_cell(text)
    assert not out.startswith(STARTS)
    assert not out.lstrip(" ").startswith(STARTS)
    assert out in (text, "'" + text)


@given(st.floats(allow_nan=True) | st.integers())
def test_numbers_stay_numbers(value: float) -> None:
    out = safe_cell(value)
    if isinstance(value, float) and math.isnan(value):
        assert out == ""
    else:
        assert out == value and not isinstance(out, str)


@given(st.lists(st.text(max_size=20) | st.integers() | st.none() | st.booleans(), min_size=1, max_size=8))
def test_a_row_comes_back_from_csv(row: list[object]) -> None:
    out = io.StringIO()
    csv.writer(out).writerow(safe_row(row))
    back = next(csv.reader(io.StringIO(out.getvalue(), newline="")), [""])
    assert len(back) == len(row)
    assert not any(cell.lstrip(" ").startswith(("=", "+", "@", "\t", "\r")) for cell in back)


@pytest.mark.parametrize("name", ["=2+5+cmd|' /C calc'!A0", "@SUM(1+1)", "+1", "-2+3", "\u0009=1"])
def test_a_place_named_as_a_formula_is_harmless_in_the_weeks_table(desk: RunningDesk, name: str) -> None:
    old = desk.desk.places(None)[FIELD]
    body = {"name": name, "kind": old.kind, **old.attributes}
    seen = datetime.combine(DAY, time(6), tzinfo=UTC)
    desk.desk.ledger.append([NewEntry("place", body, place=FIELD, farm=old.farm, seen_at=seen)])
    desk.wait_for_week()
    with desk.launched() as client:
        answer = client.get("/week.csv")
    assert answer.headers["content-disposition"].startswith("attachment")
    rows = list(csv.DictReader(io.StringIO(answer.text, newline="")))
    assert rows
    mine = [r for r in rows if name.strip() in r["place"]]
    assert mine and all(r["place"].startswith("'") for r in mine)
    assert all(float(r["cost_of_waiting_usd"]) == float(r["cost_of_waiting_usd"]) for r in rows)
