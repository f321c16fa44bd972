"""Asking again: one question of one place, on another day or with one value changed, and the telephone's questions."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING, Any

import numpy as np

from sideoats.call import Call
from sideoats.question import Context, Question, Table, column, every, find
from sideoats.week.rows import ask_row, row_of

if TYPE_CHECKING:
    from sideoats.desk.state import Desk
    from sideoats.week.district import District

_MOST_KEPT = 6


class Districts:
    """Facts and outlooks by day and state of the ledger: what a question is asked with, read once."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        self._lock = threading.Lock()
        self._kept: OrderedDict[tuple[date, int], District] = OrderedDict()

    def on(self, day: date) -> District:
        """The district on a day."""
        from sideoats.outlook.draws import DEFAULT_SEED
        from sideoats.week.district import district_of
        from sideoats.week.run import evidence_needed

        wanted = self._desk.evidence_head()
        with self._lock:  # one at a time: two visitors asking for the same day must not read the ledger twice
            # what another visitor had read while we waited is newer than we asked for, and serves: under a stream of
            # entries every visitor would else read the ledger for a head of their own
            newest = max((head for on, head in self._kept if on == day), default=-1)
            key = (day, newest if newest >= wanted else self._desk.evidence_head())
            if key not in self._kept:
                settings = self._desk.settings
                self._kept[key] = district_of(
                    self._desk.ledger,
                    day,
                    kinds=evidence_needed(every()),
                    draws=settings.draws,
                    seed=DEFAULT_SEED if settings.seed is None else settings.seed,
                    pool=True,
                )
            self._kept.move_to_end(key)
            while len(self._kept) > _MOST_KEPT:
                self._kept.popitem(last=False)
            return self._kept[key]


def changed(question: Question, table: Table, values: Mapping[str, Any]) -> Table:
    """The same row with some values replaced; a value given now is of today."""
    columns, ages = dict(table.columns), dict(table.ages)
    for f in question.inputs:
        if f.name in values:
            columns[f.name] = column(f, [values[f.name]])
            ages[f.name] = np.zeros(1)
    return replace(table, columns=columns, ages=ages, stands=() if "station" in values else table.stands)


def ask_place(desk: Desk, name: str, place: str, day: date) -> Call | None:
    """One question of one place on one day, from what was on file by then; None where it is not about the place."""
    from sideoats.week.done import settled

    district = desk.districts.on(day)
    question = find(name)
    table = row_of(question, place, district)
    if table is None:
        return None
    if question.in_season is not None:
        context = Context(district.on, district.facts.reader(), district.outlook)
        if not question.seasonal(table, context)[0]:
            return None
    return settled(ask_row(question, table, district).call(0), district.snapshot.evidence, district.facts)
