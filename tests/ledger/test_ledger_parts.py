"""Reading some places only, and what came since a head that was noted, on both engines."""

from __future__ import annotations

import uuid
from datetime import date

from district import note, place, start

from sideoats.ledger import Ledger, NewEntry, queries

ON = date(2026, 6, 30)


def filled(ledger: Ledger) -> None:
    ledger.append([*start(), *(place(f"field-{i:04}", acres=i + 1) for i in range(1, 620))])
    ledger.append([note(f"seen at {i}", f"field-{i:04}") for i in range(1, 620, 3)])


def test_the_places_named_are_read_as_all_are(ledger: Ledger) -> None:
    filled(ledger)
    everything, known = ledger.places(ON), ledger.latest(["note"], ON)["note"]
    wanted = [p.id for p in everything if p.id.endswith(("1", "7"))] + ["nowhere"]
    assert 0 < len(wanted) - 1 < len(everything)
    assert ledger.places(ON, wanted) == [p for p in everything if p.id in set(wanted)]
    assert ledger.latest(["note"], ON, wanted) == {"note": {k: v for k, v in known.items() if k in set(wanted)}}
    assert ledger.places(ON, []) == [] and ledger.latest(["note"], ON, []) == {"note": {}}
    assert ledger.place_ids() == sorted(p.id for p in everything)


def test_what_came_since_a_head_is_told_in_order(ledger: Ledger) -> None:
    filled(ledger)
    seq, last = ledger.head()
    assert list(ledger.added(seq)) == []
    first = str(uuid.uuid4())
    ledger.append([note("one", "north", id=first), note("two", "pen-1")])
    ledger.append([NewEntry("note", {"text": "better"}, place="north", corrects=first)])
    assert [(e.seq, e.place) for e in ledger.added(seq)] == [(seq + 1, "north"), (seq + 2, "pen-1"), (seq + 3, "north")]
    assert next(ledger.added(seq - 1)).hash == last
    assert len(list(ledger.added(0))) == seq + 3 > queries.PAGE / 2
