"""Phone-ins for every question: inputs that it answers, and what may be said of each field, from the registry.

``corpus/answered.jsonl`` and the casebook hold inputs that each question answers, from which others are made.
"""

from __future__ import annotations

import json
from datetime import date
from functools import lru_cache
from typing import Any

from hypothesis import strategies as st
from tests.casebook.judging import cases
from tests.fuzz.fuzzing import CORPUS, TEXTS

from sideoats.document import Document
from sideoats.question import registry
from sideoats.schema import Field

NAMES = sorted(registry())
DAYS = (
    date(2026, 9, 14), date(2026, 3, 1), date(2028, 2, 29), date(2026, 12, 31), date(2027, 6, 15), date(1850, 1, 1),
    date(2200, 12, 31),
)  # fmt: skip


def rows(name: str) -> list[dict[str, Any]]:
    """Lines of a file of the corpus; ``{corpus}`` in them is its folder."""
    text = (CORPUS / name).read_text(encoding="utf-8").replace("{corpus}", str(CORPUS))
    return [json.loads(line) for line in text.splitlines() if line]


ASKED, ANSWERED = rows("asked.jsonl"), rows("answered.jsonl")


@lru_cache(maxsize=1)
def _of_the_casebook() -> dict[str, list[tuple[date, dict[str, Any]]]]:
    found: dict[str, list[tuple[date, dict[str, Any]]]] = {}
    for case in cases():
        values = {k: str(v) for k, v in case.get("with", {}).items()}
        found.setdefault(case["ask"], []).append((date.fromisoformat(str(case["on"])), values))
    return found


def phone_ins(name: str) -> list[tuple[date, dict[str, Any]]]:
    """The day and the inputs of phone-ins to a question: those of the casebook, then those of the corpus."""
    answered = [row["values"] for row in ANSWERED if row["question"] == name]
    return _of_the_casebook().get(name, []) + [(on, values) for values in answered for on in DAYS[:2]]


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
        "crop": st.sampled_from(["wheat", "milo", "soybeans", "hard red winter wheat", "cotton", "nonsense"]),
        "text": st.text(max_size=20) | st.sampled_from(TEXTS),
        "flag": st.sampled_from(["yes", "no", True, False]),
        "date": st.dates(date(1840, 1, 1), date(2210, 1, 1)).map(str) | st.sampled_from([d.isoformat() for d in DAYS]),
        "series": st.lists(
            st.tuples(st.dates(date(2020, 1, 1), date(2027, 1, 1)), st.floats(low, high)), max_size=6
        ).map(lambda v: "; ".join(f"{d} {x}" for d, x in v)),
        "file": st.binary(max_size=60).map(lambda v: Document("a file", v)) | st.sampled_from(TEXTS),
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
