"""When a scout may stop counting, as plain numbers that a phone can use without a signal.

The lines are those of the questions themselves: each question that counts something is asked, for all of its places at
once and for each growth stage, at which totals it would stop after two numbers of units. The lines are straight, so two
points give them. What a question does not say (no threshold, no price on file) has no lines here either.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from sideoats.errors import SideoatsError
from sideoats.outlook import make_outlook
from sideoats.question import Context, Question, Table, column, every
from sideoats.schema import Field

if TYPE_CHECKING:
    from sideoats.week.district import District

BELOW, ABOVE = "stop_line_below", "stop_line_treat"
_POINTS = (10, 40)
_DRAWS = 20
_BY = "stage"


def counted_fields(question: Question) -> Iterator[tuple[Field, str, str]]:
    """The field of a question that its stop lines are for, with the evidence kind and field that it is found in.

    That is the first one counted unit by unit: further ones (small larvae, medium larvae) have no lines of their own.
    """
    for f in question.inputs:
        if f.kind == "counts":
            for source in f.found_in:
                where, _, what = source.partition(":")
                kind, _, name = what.partition(".")
                if where == "evidence" and name:
                    yield f, kind, name
                    return


def stop_lines(district: District) -> list[dict[str, Any]]:
    """Every plan: question, what to count, kind, field, place, and by stage the four numbers below and above.

    ``by`` maps a stage ("" for what is on file) to [b0, b1, a0, a1]: after n units a total at or under b0 + b1 n says
    "leave it", one at or over a0 + a1 n says "treat".
    """
    from sideoats.week.gather import gather

    small = make_outlook(district.on, facts=district.facts, draws=_DRAWS, stations=district.outlook.records)
    context = Context(district.on, district.facts, small)
    out = []
    for question in every():
        for counted, kind, name in counted_fields(question):
            table, _ = gather(question, district.snapshot)
            if not len(table):
                continue
            stages = next((f.choices for f in question.inputs if f.name == _BY and f.kind == "choice"), ())
            found: dict[str, dict[str, list[float]]] = {}
            for stage in ("", *stages):
                lines = _lines(question, table, counted, stage, context)
                for row in np.flatnonzero(~np.isnan(lines).any(axis=1)).tolist():
                    found.setdefault(table.keys[row], {})[stage] = [round(v, 4) for v in lines[row].tolist()]
            for by in found.values():
                told = list(by.values())
                if "" not in by and len(by) == len(stages) and all(line == told[0] for line in told):
                    by[""] = told[0]  # the stage makes no difference
            out += [
                {
                    "question": question.name,
                    "title": question.title,
                    "count": counted.help,
                    "kind": kind,
                    "field": name,
                    "place": place,
                    "by": by,
                }
                for place, by in found.items()
            ]
    return out


def _lines(question: Question, table: Table, counted: Field, stage: str, context: Context) -> NDArray[np.float64]:
    """(place, 4) numbers; NaN where the question gives no line."""
    n = len(table)
    totals = []
    for units in _POINTS:
        columns = {**table.columns, counted.name: column(counted, [(0,) * units] * n)}
        if stage:
            columns[_BY] = np.array([stage] * n, dtype=object)
        ages = {name: np.zeros(n) for name in table.ages}
        try:
            answers = question.ask(replace(table, columns=columns, ages=ages), context)
        except (SideoatsError, ValueError, ArithmeticError):
            return np.full((n, 4), np.nan)
        pair = [answers.quantities.get(name, (np.nan, ""))[0] for name in (BELOW, ABOVE)]
        totals.append(np.stack([np.broadcast_to(np.asarray(v, np.float64), (n,)) for v in pair], axis=1))
    first, second = totals
    slope = (second - first) / (_POINTS[1] - _POINTS[0])
    start = first - slope * _POINTS[0]
    return np.stack([start[:, 0], slope[:, 0], start[:, 1], slope[:, 1]], axis=1)
