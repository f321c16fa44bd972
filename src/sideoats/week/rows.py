"""One place as a question's table of one row, and that row answered: a call again, with its pictures."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from sideoats.call import Answered
from sideoats.question import Context, Question, Table
from sideoats.week.gather import gather

if TYPE_CHECKING:
    from sideoats.week.district import District


def row_of(question: Question, place: str, district: District) -> Table | None:
    """The place as the question's table of one row, or None where the question is not about it."""
    farm = next((p.farm for p in district.snapshot.places if p.id == place), None)
    table, _ = gather(question, district.snapshot, farm)
    if place not in table.keys:
        return None
    return table.take(np.array([table.keys.index(place)], dtype=np.int64))


def ask_row(question: Question, table: Table, district: District) -> Answered:
    """A table of one row answered."""
    return question.ask(table, Context(district.on, district.facts, district.outlook))
