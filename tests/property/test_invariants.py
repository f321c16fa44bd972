"""Every invariant over every question, on phone-ins made from the registry, the casebook and the vocabulary.

What a room still breaks stands in ``broken.toml``, each with its smallest counter-example, and is strictly expected to
fail on it: when it is mended the row is deleted, and the question is tried at random like all others.
SIDEOATS_FULL=1 tries many more.
"""

from __future__ import annotations

from collections import Counter
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from tests.fuzz.fuzzing import FULL
from tests.fuzz.phone_ins import NAMES, phone_ins, value_of
from tests.property.invariants import INVARIANTS, faults
from tools.contracts import broken, departures

from sideoats.question import find

BROKEN = broken()
EXPECTED = {(row["law"], row["question"]) for row in BROKEN}
EXAMPLES = 200 if FULL else 5
TRIED = [(law, name) for name in NAMES for law, invariant in INVARIANTS.items() if (law, name) not in EXPECTED]


@pytest.mark.parametrize(("law", "name"), TRIED)
def test_it_holds(law: str, name: str) -> None:
    question, known = find(name), phone_ins(name)
    fields = {f.name: f for f in question.inputs}

    @settings(max_examples=EXAMPLES, suppress_health_check=list(HealthCheck))
    @given(data=st.data())
    def holds(data: st.DataObject) -> None:
        on, values = data.draw(st.sampled_from(known))
        values = {k: v for k, v in values.items() if k in fields}  # a phone-in may be on file for its unknown word
        if not data.draw(st.integers(0, 2)):
            changed = data.draw(st.sampled_from(sorted(fields)))
            values[changed] = data.draw(value_of(fields[changed]))
        proposal = INVARIANTS[law].propose(question, values, data.draw)
        if proposal is not None:
            assert faults(law, name, *proposal, on) == "", f"on {on}: {proposal[0]} -> {proposal[1]}"

    holds()


@pytest.mark.parametrize("row", BROKEN, ids=lambda row: f"{row['law']}-{row['question']}")
@pytest.mark.xfail(strict=True, reason="a room still breaks it; when it passes, delete the row of broken.toml")
def test_what_a_room_still_breaks(row: dict[str, Any]) -> None:
    assert faults(row["law"], row["question"], row["before"], row["after"], row["on"]) == ""


def test_every_row_of_the_list_says_where_and_why() -> None:
    for row in BROKEN:
        assert row["room"] == find(row["question"]).room and row["law"] in INVARIANTS and row["why"], row
    assert max(Counter((row["law"], row["question"]) for row in BROKEN).values(), default=0) <= 1


def test_every_departure_from_the_one_rule_is_known() -> None:
    """None is declared; one that is has to be written down here with its reason."""
    assert departures() == {}
