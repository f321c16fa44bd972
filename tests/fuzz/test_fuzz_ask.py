"""`ask` takes anything for any question: it answers in the agreed shape, or refuses in one line; it never fails.

``corpus/answered.jsonl`` holds inputs that each question answers, from which the others are made; inputs that once
broke a question stand in ``corpus/asked.jsonl``. SIDEOATS_FULL=1 tries many more.
"""

from __future__ import annotations

import json
import math
import re
import sys
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

sys.path.insert(0, str(Path(__file__).parent))
from fuzzing import CORPUS, FULL, TEXTS, bounded

from sideoats import ask
from sideoats.errors import SideoatsError
from sideoats.question import find, registry
from sideoats.schema import Field

NAMES = sorted(registry())


def rows(name: str) -> list[dict[str, Any]]:
    """Lines of a file of the corpus; ``{corpus}`` in them is its folder."""
    text = (CORPUS / name).read_text(encoding="utf-8").replace("{corpus}", str(CORPUS))
    return [json.loads(line) for line in text.splitlines() if line]


ASKED, ANSWERED = rows("asked.jsonl"), rows("answered.jsonl")
EXAMPLES = 1500 if FULL else 40
DAYS = (
    date(2026, 9, 14), date(2026, 3, 1), date(2028, 2, 29), date(2026, 12, 31), date(2027, 6, 15), date(1850, 1, 1),
    date(2200, 12, 31),
)  # fmt: skip
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


def value_of(f: Field) -> st.SearchStrategy[Any]:
    """Mostly what the field asks for, sometimes anything at all."""
    low, high = max(f.low, -1e6), min(f.high, 1e6)
    numbers = st.floats(low, high) | st.sampled_from([low, high, 0.0, -1.0, 1e-9, 1e9, 1e308]) | st.integers(-3, 10**12)
    unit = f" {f.unit}" if f.unit not in ("", "1") else ""
    good: dict[str, st.SearchStrategy[Any]] = {
        "number": numbers.map(lambda v: f"{v}{unit}"),
        "share": st.floats(0, 1).map(str) | st.integers(0, 100).map(lambda v: f"{v}%"),
        "counts": st.lists(st.integers(0, 500), max_size=30).map(lambda v: ",".join(map(str, v))),
        "numbers": st.lists(st.floats(low, high), max_size=8).map(lambda v: ",".join(f"{x}{unit}" for x in v)),
        "choice": st.sampled_from(f.choices or ("",)),
        "text": st.text(max_size=20) | st.sampled_from(TEXTS),
        "flag": st.sampled_from(["yes", "no", True, False]),
        "date": st.dates(date(1840, 1, 1), date(2210, 1, 1)).map(str) | st.sampled_from([d.isoformat() for d in DAYS]),
        "series": st.lists(
            st.tuples(st.dates(date(2020, 1, 1), date(2027, 1, 1)), st.floats(low, high)), max_size=6
        ).map(lambda v: "; ".join(f"{d} {x}" for d, x in v)),
        "records": st.lists(st.fixed_dictionaries({}, optional={s.name: _simple(s) for s in f.fields}), max_size=4),
    }  # fmt: skip
    anything = st.sampled_from(TEXTS) | st.text(max_size=15) | st.none() | st.integers() | st.floats() | st.booleans()
    usual = st.just(f.example) if f.example else good[f.kind]
    return st.one_of(usual, usual, good[f.kind], good[f.kind], good[f.kind], anything)


def _simple(f: Field) -> st.SearchStrategy[Any]:
    unit = f" {f.unit}" if f.unit not in ("", "1") else ""
    if f.kind in ("number", "numbers", "counts"):
        return st.floats(max(f.low, -1e4), min(f.high, 1e4)).map(lambda v: f"{v:.6g}{unit}") | st.sampled_from(TEXTS)
    if f.kind == "choice":
        return st.sampled_from(f.choices or ("",))
    if f.kind == "date":
        return st.dates(date(2020, 1, 1), date(2028, 1, 1)).map(str)
    return st.sampled_from(("yes", "0.3", "10%", "prairie hay", "A", "")) | st.sampled_from(TEXTS)


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
