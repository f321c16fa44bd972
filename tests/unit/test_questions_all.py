"""What must hold for every question, however it was written."""

from __future__ import annotations

import json
from datetime import date

import numpy as np
import pytest

from sideoats.asking import table_of
from sideoats.errors import SideoatsError
from sideoats.facts import load
from sideoats.ledger import evidence_kinds
from sideoats.outlook import make_outlook
from sideoats.outlook.soil import DERIVED
from sideoats.question import Context, find, registry
from sideoats.schema import Field
from sideoats.station import DAILY_UNITS

ON = date(2026, 9, 14)
NAMES = sorted(registry())


@pytest.fixture(scope="module")
def context() -> Context:
    known = load()
    return Context(ON, known, make_outlook(ON, facts=known, draws=60))


@pytest.mark.parametrize("name", NAMES)
def test_it_says_what_it_is_and_what_it_does_not_cover(name: str) -> None:
    question = find(name)
    assert question.title.endswith("?") and question.about and question.limits and question.room
    names = [f.name for f in question.inputs]
    assert len(names) == len(set(names))
    assert all(f.help for f in question.inputs)


def _known(source: str) -> bool:
    where, _, what = source.partition(":")
    kinds = evidence_kinds()
    if where == "evidence":
        kind, _, name = what.partition(".")
        return kind in kinds and name in kinds[kind].fields
    if where == "history":
        kind, _, name = what.partition(".")
        return kind in kinds and (not name or name in kinds[kind].fields)
    if where == "place":
        return what in kinds["place"].fields
    if where == "station":
        return what in DAILY_UNITS or what in DERIVED
    if where == "forecast":
        return what in ("days", "hours")
    return where in ("quote", "quotes", "setting") and bool(what)


@pytest.mark.parametrize("name", NAMES)
def test_the_week_looks_where_something_can_be_found(name: str) -> None:
    def fields(these: tuple[Field, ...]) -> list[Field]:
        return [f for f in these] + [g for f in these for g in fields(f.fields)]

    lost = [(f.name, s) for f in fields(find(name).inputs) for s in f.found_in if not _known(s)]
    assert lost == []


@pytest.mark.parametrize("name", NAMES)
def test_a_place_of_which_nothing_is_known_is_never_told_to_act(name: str, context: Context) -> None:
    """A row of blanks (as the week meets it): no crash, no advice to act, valid JSON, and the facts are cited."""
    question = find(name)
    if question.places is None:
        pytest.skip("a phone-in question only: blanks are refused before they reach it")
    blank = {f.name: f.default for f in question.inputs}
    table = table_of(question, [blank, blank], keys=["a", "b"])
    calls = list(question.ask(table, context).calls())
    assert len(calls) == 2
    for call in calls:
        assert call.verdict in ("stop", "look", "wait"), call.headline
        assert call.headline and call.because is not None
        json.dumps(call.full(), allow_nan=False)
    assert calls[0].headline == calls[1].headline
    assert question.ask(table, context).drawn(0) == ()


@pytest.mark.parametrize("name", NAMES)
def test_a_phone_in_without_anything_is_one_line(name: str, context: Context) -> None:
    from sideoats.asking import call_for

    try:
        call = call_for(name, {}, on=ON, facts=context.facts, outlook=context.outlook)
    except SideoatsError as error:
        assert "\n" not in str(error) and len(str(error)) <= 600
    else:
        assert call.verdict in ("stop", "look", "wait", "act") and call.headline


@pytest.mark.parametrize("name", NAMES)
def test_rows_do_not_influence_one_another(name: str, context: Context) -> None:
    question = find(name)
    blank = {f.name: f.default for f in question.inputs}
    three = question.ask(table_of(question, [blank] * 3, keys=["a", "b", "c"]), context)
    one = question.ask(table_of(question, [blank], keys=["b"]), context)
    assert three.call(1).contract() == one.call(0).contract()
    assert len(np.atleast_1d(three.verdict)) == 3
