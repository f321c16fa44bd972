"""When a scout may stop counting, as plain numbers that a phone can use without a signal.

The lines are those of the questions themselves: each question that counts something is asked, for all of its places at
once and for each growth stage, at which totals its ruling would change after so many units. They move with the scatter
of the counts (k), which the phone takes from its own counts as the question does. What a question does not say (no
threshold, no price on file) has no lines here either.
"""

from __future__ import annotations

from collections.abc import Container, Iterator
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from sideoats.errors import SideoatsError
from sideoats.problem import Problem
from sideoats.question import Context, Question, Table, column, every, parts
from sideoats.schema import Field

if TYPE_CHECKING:
    from sideoats.week.district import District

UNITS = (1, 2, 3, 4, 5, 7, 10, 15, 20, 30, 40, 60, 80, 120, 150, 200)  # where lines are given; straight between
_SCATTER = 10  # values of k, evenly in its logarithm, for lines between
_EMPTY = 100  # units without any pest, on which the lines do not depend
_BY = "stage"
_COUNTING = "insects/counting."


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


def stop_lines(district: District, places: Container[str] | None = None) -> list[dict[str, Any]]:
    """Every plan: question, what to count, kind, field, place, and by stage the four numbers below and above.

    `places` are the keys of those that are asked about; all where it is left out.
    ``by`` maps a stage ("" for what is on file) to its lines, ``below`` and ``above`` after each of ``units`` units: a
    total at or under the one says "leave it", at or over the other "treat"; None for none. The first row of each is
    for the pest's usual scatter, taken up to ``own_from`` counts; then one for each ``k`` of the counts themselves.
    """
    from sideoats.week.gather import gather

    context = Context(district.on, district.facts, district.outlook)
    out = []
    for question in every():
        for counted, kind, name in counted_fields(question):
            table, _ = gather(question, district.snapshot)
            if places is not None:
                table = table.take(np.array([row for row, key in enumerate(table.keys) if key in places], dtype=int))
            if not len(table):
                continue
            stages = next((f.choices for f in question.inputs if f.name == _BY and f.kind == "choice"), ())
            found: dict[str, dict[str, Any]] = {}
            for stage in ("", *stages):
                for rows, here in parts(table, context):
                    some = table.take(rows)
                    for key, line in zip(some.keys, plans_of(question, some, counted, stage, here), strict=True):
                        if line:
                            found.setdefault(key, {})[stage] = line
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
                    "units": list(UNITS),
                    "own_from": context.facts.value(_COUNTING + "own_k_from"),
                    "bounds": list(context.facts.span(_COUNTING + "k_unknown")),
                    "by": by,
                }
                for place, by in found.items()
            ]
    return out


def plans_of(
    question: Question, table: Table, counted: Field, stage: str, context: Context
) -> list[dict[str, list[Any]] | None]:
    """For each place its lines; None where the question gives none."""
    problem = _posed(question, table, counted, stage, context)
    if problem is None or problem.stops is None:
        return [None] * len(table)
    scatter = np.array([np.nan, *np.geomspace(*context.facts.span(_COUNTING + "k_unknown"), _SCATTER)])
    units, k = (np.tile(grid.ravel(), (len(table), 1)) for grid in np.meshgrid(np.array(UNITS, float), scatter))
    gone = problem.missing()
    both = [np.where(gone[:, None], np.nan, line) for line in problem.stops(units, k)]
    below, above = (line.reshape(len(table), len(scatter), len(UNITS)) for line in both)
    some = np.isfinite(above).any(axis=(1, 2))
    return [
        {"k": scatter[1:].round(4).tolist(), "below": _told(below[row]), "above": _told(above[row])} if found else None
        for row, found in enumerate(np.atleast_1d(some).tolist())
    ]


def _told(lines: NDArray[np.float64]) -> list[list[float | None]]:
    return [[None if np.isnan(v) else round(v, 1) for v in line] for line in lines.tolist()]


def _posed(question: Question, table: Table, counted: Field, stage: str, context: Context) -> Problem | None:
    """The question's problem for some units without any pest; None where it refuses."""
    columns = {**table.columns, counted.name: column(counted, [(0,) * _EMPTY] * len(table))}
    if stage:
        columns[_BY] = np.array([stage] * len(table), dtype=object)
    ages = {name: np.zeros(len(table)) for name in table.ages}
    try:
        return question.pose(replace(table, columns=columns, ages=ages), context.fresh())
    except (SideoatsError, ValueError, ArithmeticError):
        return None
