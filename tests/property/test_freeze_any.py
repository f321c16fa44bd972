"""Freeze on wheat, whatever was phoned in: colder is never milder, longer is never milder, silence never clears."""

from datetime import date
from functools import cache
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import sideoats
from sideoats.facts import Facts, load
from sideoats.schema import Field
from sideoats.wheat.questions import freeze_injury

ON = date(2026, 4, 10)
RANK = {"wait": 0, "look": 1, "act": 2, "stop": 3}
STAGES = next(f for f in freeze_injury.INPUTS if isinstance(f, Field) and f.name == "stage").choices
TABLES = tuple(load().choices["wheat/freeze_table"].among)
WARM = 36.0  # degF, frost in a shelter: no stage freezes above it
each_stage, each_table = st.sampled_from(STAGES), st.sampled_from(TABLES)
quarters = st.integers(0, 48).map(lambda n: n / 4)  # hours


@cache
def _facts(table: str) -> Facts:
    known = load()
    return Facts(known.by_id, known.choices, {"wheat/freeze_table": table}, known.settings)


def _asked(table: str, **given: object) -> tuple[int, float]:
    told = {k: str(v) for k, v in given.items() if v is not None} | {"night": "2026-04-09"}
    found = sideoats.ask("freeze-injury", told, on=ON, facts=_facts(table), draws=40)
    kept = found["quantities"].get("yield_kept")
    return RANK[found["verdict"]], 1.0 if kept is None else kept["value"]


@settings(max_examples=60)
@given(each_table, each_stage, st.floats(-20, 40), st.floats(0, 12), st.none() | quarters)
def test_colder_is_never_milder(table, stage, low, drop, hours):
    mild, cold = (_asked(table, stage=stage, low=f"{t:.2f} F", hours=hours) for t in (low, low - drop))
    assert cold[0] >= mild[0] and (stage == "ripe" or cold[1] <= mild[1] + 1e-9)


@settings(max_examples=60)
@given(each_table, each_stage, st.floats(-20, 40), quarters, quarters)
def test_longer_is_never_milder_and_hours_not_told_are_the_longest(table, stage, low, hours, more):
    spans = (hours, hours + more, None)
    found = [_asked(table, stage=stage, low=f"{low:.2f} F", hours=h) for h in spans]
    assert all(b[0] >= a[0] and (stage == "ripe" or b[1] <= a[1] + 1e-9) for a, b in pairwise(found))


@pytest.mark.parametrize("stage", STAGES)
@pytest.mark.parametrize("table", TABLES)
def test_no_table_and_no_hour_clears_a_night_well_below_every_line(table, stage):
    known = load()
    tables = (known.by_id[i].rows for i in known.choices["wheat/freeze_table"].among.values())
    lines = [float(row[1]) for rows in tables for row in rows if row[0] == stage]
    for hours in (0, 0.1, 1, 6, None):
        assert _asked(table, stage=stage, low=f"{max(lines, default=28) - 1:g} F", hours=hours)[0] >= RANK["look"]
        assert _asked(table, stage=stage, low=f"{WARM + 1:g} F", hours=hours)[0] == RANK["wait"]


@settings(max_examples=40)
@given(st.floats(-10, 30), st.floats(0, 10), st.sampled_from([None, "seedling", "tillering"]))
def test_a_colder_crown_is_never_milder(crown, drop, stage):
    mild, cold = (_asked(TABLES[0], stage=stage, crown_low=f"{t:.2f} F")[0] for t in (crown, crown - drop))
    assert cold >= mild
