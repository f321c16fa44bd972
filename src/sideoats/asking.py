"""Answering one phone-in: text in, the agreed shape out. Nothing about a farm needs to be on file."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np

from sideoats.call import Answered, Call
from sideoats.errors import InputError
from sideoats.facts import Facts
from sideoats.facts import load as load_facts
from sideoats.outlook.draws import DEFAULT_DRAWS, DEFAULT_SEED, Outlook, make_outlook
from sideoats.question import Context, Question, Table, column, find
from sideoats.schema import read_all, read_date, with_files
from sideoats.words import Name, Said, say

MOST_AVERSE = 10.0  # relative; beyond it a grower would not farm


def table_of(question: Question, rows: Sequence[Mapping[str, Any]], keys: Sequence[str] | None = None) -> Table:
    """Rows of values already read (name -> value) as a table; ages are zero."""
    return Table(
        keys=tuple(keys or (f"row {i}" for i in range(len(rows)))),
        columns={f.name: column(f, [row.get(f.name) for row in rows]) for f in question.inputs},
        size=np.full(len(rows), np.nan),  # a phone-in's size is not known
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
    files: bool = False,
) -> Call:
    """One question answered once.

    Parameters
    ----------
    question_name : such as "sorghum-aphid"
    values : name -> text with its unit, or a Python value of the field's kind
    on : today
    facts, outlook : of the district; the published facts and an outlook without weather where None
    risk_aversion : relative: 0 none, 2 usual, 4 very averse; the district's where None
    files : open the files whose paths the values name; only for values typed on this machine

    Raises
    ------
    QuestionError : no such question
    InputError, UnitError : a value is missing, unknown, out of range, or without its unit
    """
    return answers_for(
        question_name,
        values,
        on=on,
        facts=facts,
        outlook=outlook,
        draws=draws,
        seed=seed,
        risk_aversion=risk_aversion,
        files=files,
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
    files: bool = False,
) -> Answered:
    """As `call_for`, but the answers of one row, from which the call and its pictures are made."""
    question = find(question_name)
    _check_aversion(question, risk_aversion)
    known = facts or load_facts()
    given = {k: _setting(v, known) for k, v in values.items()}
    opened = with_files(question.inputs, given) if files else given
    read = read_all(question.inputs, opened, where=f"{question.name} ", on=on)
    if question.check:
        question.check(read)
    future = outlook or make_outlook(on, facts=known, draws=draws, seed=seed)
    context = Context(on, known, future, risk_aversion)
    table = table_of(question, [read], keys=["phone-in"])
    return question.ask(replace(table, stands=_stands(question, read, future)), context)


def _check_aversion(question: Question, aversion: float | None) -> None:
    if aversion is not None and not 0 <= aversion <= MOST_AVERSE:
        raise InputError(
            f"relative risk aversion {aversion:g} is out of range",
            where=question.name,
            expected="0 for none, 2 as usual, 4 for very averse; 10 at most",
        )


def _stands(question: Question, read: Mapping[str, Any], outlook: Outlook) -> tuple[Said, ...]:
    """Which weather station stands for a phone-in; () where the question asks for none or none is on file anywhere.

    Raises InputError for a station that is not among those on file: another's record must not stand in for it.
    """
    if "station" not in read:
        return ()
    named = str(read["station"] or "")
    if not named:
        on_file = ", ".join(sorted(outlook.records)[:4]) + (", ..." if len(outlook.records) > 4 else "")
        return (say("station.asked.none", known=Name(on_file)),) if on_file else ()
    if not outlook.records:
        return (say("station.asked.no-records", station=Name(named)),)
    from sideoats.outlook.stations import known_station

    known_station(named, outlook.records, where=f"{question.name} station")
    return (say("station.asked", station=Name(outlook.records[named].name or named)),)


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
    files: bool = True,
    **options: Any,
) -> dict[str, Any]:
    """Answer a question; the shape printed by ``sideoats ask --json``.

    Parameters
    ----------
    question : its name, see ``sideoats questions``
    values : name -> text with units, or Python values
    on : the day asked about; today where None
    ledger : take stations, prices and the district file from this ledger (none are used where None)
    files : open a file where a value is its path (``catches="moths.csv"``); pass False for values that come from
        someone else, who can then hand in a `sideoats.document.Document` instead
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
    return call_for(question, values, on=day, files=files, **options).contract()
