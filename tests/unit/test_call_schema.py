"""Every question's answer keeps to the published JSON Schema (docs/call.schema.json)."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path

import jsonschema_rs
import pytest

import sideoats
from sideoats.errors import SideoatsError
from sideoats.question import registry

ROOT = Path(__file__).parents[2]
SCHEMA = json.loads((ROOT / "docs" / "call.schema.json").read_text("utf-8"))
ANSWERED = [
    json.loads(line) for line in (ROOT / "tests" / "fuzz" / "corpus" / "answered.jsonl").read_text("utf-8").splitlines()
]
BY_FILE_ONLY = {"load-price"}  # asked with a buyer's schedule, which is a file
VALID = jsonschema_rs.validator_for(SCHEMA)


@pytest.mark.parametrize("name", sorted(registry().keys() - BY_FILE_ONLY))
def test_answers_keep_to_the_published_schema(name):
    checked = 0
    for row in ANSWERED:
        if row["question"] != name:
            continue
        try:
            answer = sideoats.ask(name, row["values"], on=date(2026, 9, 14), draws=60)
        except SideoatsError:
            continue
        checked += 1
        assert [str(error) for error in VALID.iter_errors(answer)] == []
        keys = {o["key"] for o in answer["options"]}
        assert answer["baseline"] is None or not keys or answer["baseline"] in keys
    assert checked, "no row of the corpus is answered"


def test_the_schema_refuses_what_is_no_call():
    assert list(VALID.iter_errors({"verdict": "spray"}))
