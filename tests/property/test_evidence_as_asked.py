"""What is recorded at a place reaches its question as it would by phone: the same words, the same values."""

from __future__ import annotations

from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from tests.fuzz.phone_ins import NAMES, phone_ins

from sideoats.errors import SideoatsError
from sideoats.ledger import NewEntry, open_ledger
from sideoats.question import Question, column, find
from sideoats.schema import Field, read_all
from sideoats.week.gather import gather
from sideoats.week.run import evidence_needed
from sideoats.week.snapshot import take_snapshot

TRIED = 3  # phone-ins a question
PLACE = "oak.here"
# The entries that hold what these ask need more than any phone-in of the casebook says.
UNTRIED: set[str] = set()


def _held(f: Field, values: dict[str, Any]) -> tuple[str, str] | None:
    """Kind and field of the entry that holds an input, where it was given and one does."""
    if f.name not in values or not f.found_in:
        return None
    where, _, what = f.found_in[0].partition(":")
    if where == "place":
        return "place", what
    return tuple(what.split(".")) if where == "evidence" else None  # type: ignore[return-value]


def _entries(question: Question, values: dict[str, Any], on: date) -> tuple[list[NewEntry], list[Field]]:
    """Entries that say what a phone-in says, and the inputs that they hold."""
    assert question.places is not None
    bodies: dict[str, dict[str, Any]] = {}
    held = [f for f in question.inputs if _held(f, values)]
    for f in held:
        kind, name = _held(f, values) or ("", "")
        bodies.setdefault(kind, {})[name] = values[f.name]
    place = {"name": "Here", "kind": question.places.kinds[0], **bodies.pop("place", {})}
    if question.places.crops:
        place.setdefault("crop", question.places.crops[0])
    seen = datetime(on.year, on.month, on.day, 8, tzinfo=UTC)
    here = [NewEntry("place", place, place=PLACE, farm="oak", seen_at=seen)]
    farm = [NewEntry("farm", {"name": "Oak"}, farm="oak", seen_at=seen)]
    return farm + here + [NewEntry(k, b, place=PLACE, seen_at=seen) for k, b in bodies.items()], held


def _same(a: Any, b: Any) -> bool:
    if isinstance(a, float | np.floating):
        return bool(np.isclose(a, b, rtol=1e-9, equal_nan=True))
    return bool(a == b) or (a != a and b != b)


@pytest.mark.parametrize("name", [n for n in NAMES if find(n).places is not None and find(n).places.kinds])  # type: ignore[union-attr]
def test_a_place_on_file_is_asked_with_what_was_recorded(name: str, tmp_path: Path) -> None:
    question, tried, wrong = find(name), 0, []
    for number, (on, values) in enumerate(phone_ins(name)):
        try:
            read = read_all(question.inputs, values, on=on)
            entries, held = _entries(question, values, on)
            with open_ledger(tmp_path / f"{number}.sqlite") as ledger:
                ledger.append(entries)
                snapshot = take_snapshot(ledger, on, evidence_needed([question]))
        except SideoatsError:
            continue  # refused by phone, or an entry that needs more than the phone-in said
        table, problems = gather(question, snapshot)
        if not held or not len(table):
            continue
        wrong += [f"{on} {problem.message}" for problem in problems]
        wrong += [
            f"{on} {f.name}: {table.columns[f.name][0]!r} on file, {column(f, [read[f.name]])[0]!r} by phone"
            for f in held
            if not _same(table.columns[f.name][0], column(f, [read[f.name]])[0])
        ]
        tried += 1
        if tried == TRIED:
            break
    assert wrong == []
    assert (tried > 0) is (name not in UNTRIED), "no phone-in could be recorded, or UNTRIED names too many"
