"""A question and a record take the same of every observable; what is still declared twice only becomes less."""

from __future__ import annotations

import ast
import math
from collections.abc import Iterator
from pathlib import Path

import pytest

import sideoats
from sideoats.errors import InputError
from sideoats.ledger import evidence_kinds
from sideoats.ledger.evidence import read_value
from sideoats.question import every
from sideoats.schema import Field
from sideoats.vocabulary import observables, see

TWICE = 11  # fields of questions that say again what the vocabulary says: this number only falls
# Pairs that take different things, each with the reason; this table only becomes shorter.
APART = {
    ("hay-nitrate", "place.bales"): "it asks of a sampled lot; a place may hold none, or more than one lot",
    ("hay-supply", "place.head"): "hay for no animal lasts for ever; a pasture may be empty",
    ("ration", "place.head"): "a ration for no animal is no question; a pen may be empty",
}


def _pairs() -> Iterator[tuple[str, Field, str, Field]]:
    """Every input with each evidence field of its own kind that the week finds it in."""
    kinds = evidence_kinds()
    for question in every():
        for asked in question.inputs:
            for where, _, what in (source.partition(":") for source in asked.found_in):
                kind, _, name = what.partition(".") if where == "evidence" else ("place", "", what)
                held = kinds[kind].fields.get(name) if where in ("evidence", "place") and kind in kinds else None
                if held is not None and type(held) is Field and held.kind == asked.kind:
                    yield question.name, asked, f"{kind}.{name}", held


PAIRS = list(_pairs())


def _declared_twice() -> list[str]:
    """Where a question still makes a field of its own for what an entry or a place holds."""
    out = []
    for path in sorted(Path(sideoats.__file__).parent.glob("*/**/*.py")):
        for call in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(call, ast.Call) and isinstance(call.func, ast.Name) and call.func.id == "Field":
                said = [str(part.value) for part in ast.walk(call) if isinstance(part, ast.Constant)]
                if sources := [text for text in said if text.startswith(("evidence:", "place:"))]:
                    out.append(f"{path.name} line {call.lineno}: {', '.join(sources)}")
    return out


def _probes(*fields: Field) -> list[str]:
    """Words and figures at and around every bound and choice of `fields`, as a person writes them."""
    out = [word for f in fields for choice in f.choices for word in (choice, choice.upper())]
    out += [word for f in fields for word in f.aliases or {}]
    ends = {end for f in fields for end in (f.low, f.high) if math.isfinite(end)}
    figures = {round(end * by, 9) for end in ends for by in (0.5, 1, 2)}
    unit = "" if fields[0].unit in ("", "1") or fields[0].kind in ("share", "counts") else f" {fields[0].unit}"
    out += [f"{figure:.10g}{unit}" for figure in sorted(figures)] + [f"{figure:.10g}" for figure in sorted(figures)]
    return out


def _takes(read, text: str) -> object:
    try:
        return read(text)
    except InputError:
        return "refused"


def _differences(asked: Field, held: Field) -> list[str]:
    return [
        text
        for text in _probes(asked, held)
        if _takes(asked.read, text) != _takes(lambda given: read_value(held, given), text)
    ]


@pytest.mark.parametrize(("question", "asked", "what", "held"), PAIRS, ids=[f"{p[0]}-{p[1].name}" for p in PAIRS])
def test_a_question_and_a_record_take_the_same(question, asked, what, held):
    wrong = _differences(asked, held)
    if asked.unit != held.unit:
        wrong.append(f"{asked.unit} and {held.unit}")
    if (question, what) in APART:
        assert wrong, "they agree now: strike it from the table"
    else:
        assert wrong == [], what


def test_what_is_declared_twice_only_becomes_less():
    twice = _declared_twice()
    assert len(twice) <= TWICE, "\n".join(twice)


def test_every_evidence_field_asked_from_the_vocabulary_takes_what_its_record_takes():
    """Generated from the vocabulary: whatever an entry holds, `see` takes, and nothing else."""
    kinds, wrong = evidence_kinds(), []
    for what in observables():
        kind, _, name = what.partition(".")
        held = kinds[kind].fields[name] if kind in kinds else None
        if held is None or type(held) is not Field:
            continue
        wrong += [f"{what} {text!r}" for text in _differences(see(what), held)]
    assert wrong == []


def test_the_probes_find_a_difference():
    """The comparison is no formality: a bound, a unit or a word that only one of two knows is found."""
    one = Field("a", "number", "", unit="ft", low=0, high=10)
    assert _differences(one, one) == []
    assert _differences(one, Field("a", "number", "", unit="ft", low=0, high=20))
    assert _differences(one, Field("a", "number", "", unit="ft", low=1, high=10))
    words = Field("b", "choice", "", choices=("x", "y"), aliases={"ex": "x"})
    assert _differences(words, Field("b", "choice", "", choices=("x", "y")))
    assert _differences(words, Field("b", "choice", "", choices=("x", "y"), aliases={"ex": "y"}))
