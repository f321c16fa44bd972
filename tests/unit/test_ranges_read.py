"""A range is told in one unit to every reader: its low end is never left in pounds beside a high end in kilograms."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from sideoats.asking import call_for
from sideoats.errors import SideoatsError
from sideoats.question import registry
from sideoats.words import METRIC, Measured, Name, Reader, say, sentence

CASEBOOK = Path(__file__).parent.parent / "casebook"
sys.path.insert(0, str(CASEBOOK))
import judging  # noqa: E402

READER = Reader("en", METRIC)
ENDS = (("low", "high"), ("least", "most"), ("lower", "upper"))
MIDDLES = ("point", "middle", "mean", "mid")


def sentences(shape: list[Any]) -> Iterator[list[Any]]:
    """A sentence as kept in a call, and those inside it."""
    yield shape
    for kind, amount, *_ in shape[1].values():
        if kind == "s" and amount:
            yield from sentences(amount)
        for part in amount if kind == "e" else ():
            yield from sentences(part)


def unit(value: list[Any] | None) -> str | None:
    """The unit of a measured value; None of any other."""
    return None if value is None or value[0] != "q" else value[2] if len(value) > 2 and value[2] else "1"


def mixed(values: dict[str, list[Any]]) -> bool:
    """The ends of a range, or its ends and its middle, would be converted differently."""
    for low, high in ENDS:
        ends = [u for u in (unit(values.get(low)), unit(values.get(high))) if u is not None]
        if len(ends) < 2:
            continue
        if ends[0] == "1":  # "from {low} to {high}": the renderer gives the low end the unit of the high one
            ends = ends[1:]
        units = {*ends, *(u for name in MIDDLES if (u := unit(values.get(name))) is not None)}
        if len(units) > 1 and any(READER.unit(u) != u for u in units):
            return True
    return False


def test_a_range_of_two_units_is_found():
    low, high = ["q", 5.0], ["q", 30.0, "lb/ac"]
    assert mixed({"low": high, "high": low}) and not mixed({"low": high, "high": high})
    assert not mixed({"low": low, "high": low, "head": ["q", 0.6, "head/ac"]})
    assert mixed({"low": low, "high": low, "point": high})


def test_a_bare_low_end_is_told_in_the_unit_of_its_high_end():
    said = say("treat.because.line", by=Name("a table"), low=Measured(5.0), high=Measured(30.0, unit="lb/ac"))
    assert "5.6" in sentence(said, READER) and "33.6 kg/ha" in sentence(said, READER)
    counted = say("treat.because.line", by=Name("a table"), low=Measured(25.0), high=Measured(50.0, unit="aphids/ft"))
    assert "25" in sentence(counted, READER) and "50 " in sentence(counted, READER)


@pytest.mark.parametrize("question", sorted(registry()))
def test_the_ends_of_a_range_have_one_unit(question):
    for case in judging.cases(CASEBOOK):
        if case["ask"] != question:
            continue
        given = {k: str(v) for k, v in case.get("with", {}).items()}
        try:
            said = call_for(question, given, on=date.fromisoformat(str(case["on"])), draws=20).said
        except SideoatsError:
            continue
        bars = (bar for each in said["bars"] for bar in each)
        told = [said["headline"], *said["because"], *said["cautions"], *said["labels"], *bars]
        found = [s[0] for each in told for s in sentences(each) if mixed(s[1])]
        assert not found, f"{case['id']}: {found}"
