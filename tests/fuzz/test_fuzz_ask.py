"""`ask` takes anything for any question: it answers in the agreed shape, or refuses in one line; it never fails.

``corpus/answered.jsonl`` holds inputs that each question answers, from which the others are made; inputs that once
broke a question stand in ``corpus/asked.jsonl``. SIDEOATS_FULL=1 tries many more.
"""

from __future__ import annotations

import json
import math
import re
from datetime import date
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from tests.fuzz.fuzzing import FULL, bounded
from tests.fuzz.phone_ins import ANSWERED, ASKED, DAYS, NAMES, value_of

from sideoats import ask
from sideoats.errors import SideoatsError
from sideoats.question import find

EXAMPLES = 1500 if FULL else 40
NO_NUMBER = re.compile(r"\b(nan|inf)\b|\bNone\b")
VERDICTS = {"stop", "act", "look", "wait"}


def asked(name: str, values: dict[str, Any], on: date) -> dict[str, Any] | None:
    """The answer, checked for its shape, or None where the question refused in one line."""
    try:
        with bounded():
            got = ask(name, values, on=on, draws=40)
    except SideoatsError as error:
        assert "\n" not in str(error) and 0 < len(str(error)) <= 600
        return None
    json.dumps(got, allow_nan=False)
    assert got["verdict"] in VERDICTS and got["headline"] and "\n" not in got["headline"]
    for option in got["options"]:
        assert option["expected"] is None or math.isfinite(option["expected"])
        assert option["chance_best"] is None or 0 <= option["chance_best"] <= 1
        if option["barred"]:
            assert option["chance_best"] in (0, None)
    assert got["verdict"] != "act" or got["act_by"], got["headline"]
    assert got["verdict"] != "look" or got["look_by"], got["headline"]
    for when in (got["act_by"], got["look_by"]):
        assert when is None or date.fromisoformat(when) >= on
    if not NO_NUMBER.search(str(values)):  # else the words may be the sender's own
        for words in (got["headline"], *got["because"], *got["cautions"]):
            assert not NO_NUMBER.search(words), words
    return got


@pytest.mark.parametrize("row", ASKED, ids=lambda r: f"{r['question']}: {r['why'][:50]}")
def test_what_once_broke_a_question(row: dict[str, Any]) -> None:
    asked(row["question"], row["values"], date.fromisoformat(row["on"]))


@pytest.mark.parametrize("name", NAMES)
def test_the_corpus_has_inputs_that_are_answered(name: str) -> None:
    good = [row["values"] for row in ANSWERED if row["question"] == name]
    assert good, f"add a line for {name} to answered.jsonl"
    assert any(asked(name, values, DAYS[0]) for values in good)


@pytest.mark.slow
@pytest.mark.parametrize("name", NAMES)
def test_any_input_is_answered_or_refused(name: str) -> None:
    fields = {f.name: value_of(f) for f in find(name).inputs}
    good = [row["values"] for row in ANSWERED if row["question"] == name]

    @settings(
        max_examples=EXAMPLES, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large]
    )
    @given(data=st.data(), on=st.sampled_from(DAYS))
    def any_input(data: st.DataObject, on: date) -> None:
        values = dict(data.draw(st.sampled_from(good)))
        for changed in data.draw(st.lists(st.sampled_from(sorted(fields)), max_size=4)):
            if data.draw(st.integers(0, 5)):
                values[changed] = data.draw(fields[changed])
            else:
                values.pop(changed, None)
        asked(name, values, on)

    any_input()


@pytest.mark.parametrize("name", NAMES)
def test_nothing_at_all_is_answered_or_refused(name: str) -> None:
    asked(name, {}, DAYS[0])
    asked(name, {f.name: f.example for f in find(name).inputs if f.example}, DAYS[0])
