"""Answering one phone-in: text in, the agreed shape out. Nothing about a farm needs to be on file."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np

from sideoats.call import Call
from sideoats.errors import InputError
from sideoats.facts import Facts
from sideoats.facts import load as load_facts
from sideoats.outlook.draws import DEFAULT_DRAWS, DEFAULT_SEED, Outlook, make_outlook
from sideoats.question import Answers, Context, Question, Table, column, find
from sideoats.schema import read_all, read_date


def table_of(question: Question, rows: Sequence[Mapping[str, Any]], keys: Sequence[str] | None = None) -> Table:
    """Rows of values already read (name -> value) as a table; ages are zero."""
    return Table(
        keys=tuple(keys or (f"row {i}" for i in range(len(rows)))),
        columns={f.name: column(f, [row.get(f.name) for row in rows]) for f in question.inputs},
        size=np.ones(len(rows)),
    )


def call_for(
    question_name: str,
    values: Mapping[str, Any],
    *,
    on: date,
    facts: Facts | None = None,
    outlook: Outlook | None = None,
    draws: int = DEFAULT_DRAWS,
    seed: int = DEFAULT_SEED,
    risk_aversion: float | None = None,
) -> Call:
    """One question answered once.

    Parameters
    ----------
    question_name : such as "sorghum-aphid"
    values : name -> text with its unit, or a Python value of the field's kind
    on : today
    facts, outlook : of the district; the published facts and an outlook without weather where None

    Raises
    ------
    QuestionError : no such question
    InputError, UnitError : a value is missing, unknown, out of range, or without its unit
    """
    return answers_for(
        question_name, values, on=on, facts=facts, outlook=outlook, draws=draws, seed=seed, risk_aversion=risk_aversion
    ).call(0)


def answers_for(
    question_name: str,
    values: Mapping[str, Any],
    *,
    on: date,
    facts: Facts | None = None,
    outlook: Outlook | None = None,
    draws: int = DEFAULT_DRAWS,
    seed: int = DEFAULT_SEED,
    risk_aversion: float | None = None,
) -> Answers:
    """As `call_for`, but the answers of one row, from which the call and its pictures are made."""
    question = find(question_name)
    if risk_aversion is not None and not 0 <= risk_aversion < np.inf:
        raise InputError(f"risk aversion {risk_aversion:g} is not a number from 0 up", where=question.name,
                         expected="such as 0.005 a USD of the answer's unit")  # fmt: skip
    known = facts or load_facts()
    read = read_all(question.inputs, {k: _setting(v, known) for k, v in values.items()}, where=f"{question.name} ")
    if question.check:
        question.check(read)
    future = outlook or make_outlook(on, facts=known, draws=draws, seed=seed)
    context = Context(on, known, future, risk_aversion)
    return question.ask(table_of(question, [read], keys=["phone-in"]), context)


def _setting(value: Any, facts: Facts) -> Any:
    """``@price.wheat`` stands for the district's setting of that name."""
    if isinstance(value, str) and value.startswith("@"):
        if value[1:] not in facts.settings:
            raise InputError(
                f"setting {value[1:]!r} is not in the district file",
                expected=", ".join(facts.settings) or "none are set",
            )
        return facts.settings[value[1:]]
    return value


def ask(
    question: str,
    values: Mapping[str, Any],
    *,
    on: date | str | None = None,
    ledger: str | Path | None = None,
    **options: Any,
) -> dict[str, Any]:
    """Answer a question; the shape printed by ``sideoats ask --json``.

    Parameters
    ----------
    question : its name, see ``sideoats questions``
    values : name -> text with units, or Python values
    on : the day asked about; today where None
    ledger : take stations, prices and the district file from this ledger (none are used where None)
    options : draws, seed, facts, outlook, risk_aversion of `call_for`

    Raises
    ------
    SideoatsError with one line that says what, where, what was expected and what to do
    """
    day = date.today() if on is None else read_date(on)
    if ledger is not None:
        from sideoats.week.district import district_of

        settled = district_of(
            ledger, day, draws=options.pop("draws", DEFAULT_DRAWS), seed=options.pop("seed", DEFAULT_SEED)
        )
        options = {"facts": settled.facts, "outlook": settled.outlook, **options}
    return call_for(question, values, on=day, **options).contract()
