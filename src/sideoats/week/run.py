"""Every question to every place, in chunks that fit, ranked by the money that waiting until next week would lose."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any

import numpy as np

from sideoats.call import VERDICTS, Call
from sideoats.errors import SideoatsError
from sideoats.outlook import DEFAULT_DRAWS, DEFAULT_SEED
from sideoats.question import Context, Question, Table, every, find
from sideoats.week.district import District, district_of
from sideoats.week.gather import Problem, gather
from sideoats.week.snapshot import require_places

if TYPE_CHECKING:
    from sideoats.ledger import Ledger

CHUNK_BYTES = 8_000_000  # of one payoff array: small enough to stay in cache, which is also the fastest
_ORDER = {verdict: i for i, verdict in enumerate(VERDICTS)}


@dataclass(frozen=True)
class Week:
    """The ranked calls of one day.

    Attributes
    ----------
    calls : stop first, then by cost of waiting, then by verdict and place
    asked : question -> places asked
    problems : values on file that could not be used, and questions that failed
    head : the ledger's head when it was read: (entries, hash)
    """

    on: date
    calls: tuple[Call, ...]
    asked: dict[str, int]
    problems: tuple[Problem, ...]
    head: tuple[int, str]
    seed: int
    draws: int

    def of(self, verdict: str) -> tuple[Call, ...]:
        """The calls with one verdict, in rank order."""
        return tuple(c for c in self.calls if c.verdict == verdict)

    def full(self) -> dict[str, Any]:
        """JSON of the week."""
        return {
            "on": self.on.isoformat(), "head": {"entries": self.head[0], "hash": self.head[1]}, "seed": self.seed,
            "draws": self.draws, "asked": self.asked, "calls": [c.full() for c in self.calls],
            "problems": [{"place": p.place, "question": p.question, "message": p.message} for p in self.problems],
        }  # fmt: skip


def evidence_needed(questions: Iterable[Question]) -> set[str]:
    """Evidence kinds that the questions' fields are found in."""
    return {
        s.partition(":")[2].partition(".")[0]
        for q in questions
        for f in q.inputs
        for s in f.found_in
        if s.startswith("evidence:")
    }


def chunks(table: Table, question: Question, draws: int) -> Iterator[Table]:
    """The table in pieces whose payoff arrays stay within `CHUNK_BYTES`."""
    rows = max(1, CHUNK_BYTES // (8 * draws * question.options_count))
    for first in range(0, len(table), rows):
        yield table.take(np.arange(first, min(first + rows, len(table))))


def answer_chunk(question_name: str, table: Table, context: Context) -> list[Call]:
    """All calls of one chunk: the unit of work that an engine hands out."""
    return list(find(question_name).ask(table, context).calls())


def tables(
    questions: Sequence[Question], district: District, farm: str | None
) -> Iterator[tuple[Question, Table, list[Problem]]]:
    """Each question with its places in season."""
    for question in questions:
        table, problems = gather(question, district.snapshot, farm)
        if len(table) and question.in_season is not None:
            context = Context(district.on, district.facts.reader(), district.outlook)
            table = table.take(np.flatnonzero(question.in_season(table, context)))
        yield question, table, problems


def run_week(
    ledger: Ledger | str | os.PathLike[str],
    on: date,
    *,
    questions: Sequence[str] | None = None,
    farm: str | None = None,
    draws: int = DEFAULT_DRAWS,
    seed: int = DEFAULT_SEED,
    risk_aversion: float | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> Week:
    """Ask every question of every place on one day.

    Parameters
    ----------
    ledger : open, or its location
    questions : names; all where None
    farm : only this farm's places
    progress : called with (places answered, places in all)
    """
    from sideoats.ledger import Ledger as LedgerClass
    from sideoats.ledger import open_ledger

    if not isinstance(ledger, LedgerClass):
        with open_ledger(ledger, create=False) as opened:
            return run_week(
                opened,
                on,
                questions=questions,
                farm=farm,
                draws=draws,
                seed=seed,
                risk_aversion=risk_aversion,
                progress=progress,
            )
    chosen = [find(name) for name in questions] if questions else list(every())
    chosen = [q for q in chosen if q.places is not None]
    district = district_of(ledger, on, kinds=evidence_needed(chosen), draws=draws, seed=seed)
    require_places(district.snapshot)
    asked, problems, work = {}, [], []
    for question, table, found in tables(chosen, district, farm):
        problems += found
        asked[question.name] = len(table)
        work += [(question.name, piece) for piece in chunks(table, question, draws)]
    total, done = sum(asked.values()), 0
    context = Context(on, district.facts, district.outlook, risk_aversion)
    calls: list[Call] = []
    for name, piece in work:
        try:
            calls += answer_chunk(name, piece, context)
        except SideoatsError as error:  # one question's bad data must not cost the adviser the rest of the week
            problems += [Problem(key, name, str(error)) for key in piece.keys]
        done += len(piece)
        if progress:
            progress(done, total)
    return Week(on, ranked(calls), asked, tuple(problems), ledger.head(), seed, draws)


def ranked(calls: Iterable[Call]) -> tuple[Call, ...]:
    """Bars first, then by the money that waiting loses (for a look: its worth), then verdict, question, place."""

    def key(call: Call) -> tuple[bool, float, int, str, str]:
        return (call.verdict != "stop", -call.cost_of_waiting, _ORDER[call.verdict], call.question, call.place)

    return tuple(sorted(calls, key=key))
