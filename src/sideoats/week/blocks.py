"""The unit of work of a week: a block of places with their evidence, asked every question that is about them.

A block carries all that its worker needs besides what is common, so that workers never open the ledger. Places are
sorted by kind and crop before they are cut into blocks: a block then meets few questions, and arrays stay long.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any, TypeAlias, TypeVar

import numpy as np
from numpy.typing import NDArray

from sideoats.call import Answered, Call
from sideoats.errors import SideoatsError, one_line
from sideoats.facts import Facts
from sideoats.outlook import Outlook
from sideoats.question import Context, Question, Table, find
from sideoats.replies import READER, told
from sideoats.ruling import WAIT_DAYS
from sideoats.threads import one_thread
from sideoats.week.district import District
from sideoats.week.done import settled
from sideoats.week.gather import Problem, chosen_places, gather
from sideoats.week.snapshot import Snapshot
from sideoats.week.unasked import Unasked, by_crop, out_of_season

if TYPE_CHECKING:
    from sideoats.ledger import Entry, Place

T = TypeVar("T")
Made: TypeAlias = Callable[[Call, Answered, int], Any]
CHUNK_BYTES = 4_000_000  # of one payoff array: small enough to stay in cache, which is also the fastest
BLOCK_PLACES = 400


@dataclass(frozen=True)
class Common:
    """What every block is asked with. `snapshot` holds no places and no evidence: those travel with the blocks."""

    on: date
    facts: Facts
    outlook: Outlook
    snapshot: Snapshot
    questions: tuple[str, ...]
    risk_aversion: float | None = None
    tell_unasked: bool = False


@dataclass(frozen=True)
class Block:
    """Some places and the newest evidence at them; `marks` are the caller's own, by place, and travel along."""

    places: tuple[Place, ...]
    evidence: Mapping[str, Mapping[str, Entry]]
    marks: Mapping[str, bytes] = field(default_factory=dict)


@dataclass
class BlockAnswers:
    """Calls (or what is kept of them) and problems of one block, how many places each question was asked of, and what
    was not asked.
    """

    calls: list[Any] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    asked: dict[str, int] = field(default_factory=dict)
    unasked: list[Unasked] = field(default_factory=list)


def common_of(district: District, questions: Sequence[str], risk_aversion: float | None) -> Common:
    """The part of a district that every block shares."""
    bare = replace(district.snapshot, places=(), evidence={}, stations={})  # the outlook holds the stations' records
    return Common(district.on, district.facts, district.outlook, bare, tuple(questions), risk_aversion)


def blocks(
    evidence: Mapping[str, Mapping[str, Entry]], places: Sequence[Place], size: int = BLOCK_PLACES
) -> Iterator[Block]:
    """`places` in blocks, sorted so that a block is mostly of one kind, crop and station."""
    ordered = sorted(places, key=lambda p: (p.kind, *(str(p.attributes.get(a, "")) for a in ("crop", "station")), p.id))
    for first in range(0, len(ordered), size):
        part = tuple(ordered[first : first + size])
        ids = [p.id for p in part]
        held = {kind: {i: at[i] for i in ids if i in at} for kind, at in evidence.items()}
        yield Block(part, {kind: at for kind, at in held.items() if at})


def _call_alone(call: Call, answered: Answered, row: int) -> Call:
    return call


def answer_block(common: Common, block: Block) -> BlockAnswers:
    """Every question to every place of the block that it is about, in season, told in English."""
    with one_thread():
        out = shaped_block(common, block)
        return replace(out, calls=[told(call, READER) for call in out.calls])


def shaped_block(common: Common, block: Block, make: Made = _call_alone) -> BlockAnswers:
    """The same with sentences by their codes only: what is stored is told when it is read.

    `make` : what is kept of every call in place of the call itself, from the call, the answers and its row there
    """
    with one_thread():
        return _answers(common, block, make)


def _answers(common: Common, block: Block, make: Made) -> BlockAnswers:
    out = BlockAnswers()
    snapshot = replace(common.snapshot, places=block.places, evidence=block.evidence)
    context = Context(common.on, common.facts, common.outlook, common.risk_aversion)
    for name in common.questions:
        question = find(name)
        if not chosen_places(question, block.places):
            continue
        table, found = gather(question, snapshot)
        out.problems += found

        def seasonal(rows: Table, question: Question = question) -> list[Table]:
            return [in_season(question, rows, context)]

        def calls(rows: Table, question: Question = question) -> list[Any]:
            answered = question.ask(rows, context)
            shaped = (again(settled(answered.shaped(row), block.evidence, common.facts)) for row in range(len(rows)))
            return [make(call, answered, row) for row, call in enumerate(shaped)]

        def left_out(rows: Table, question: Question = question) -> list[Unasked]:
            return out_of_season(question, rows, context)

        asked, failed = sparing(seasonal, table, name)
        out.problems += failed
        if common.tell_unasked:
            keys = {key for part in asked for key in part.keys}
            rest = table.take(np.array([i for i, key in enumerate(table.keys) if key not in keys], dtype=np.int64))
            out.unasked += sparing(left_out, rest, name)[0]
        for part in asked:
            out.asked[name] = out.asked.get(name, 0) + len(part)
            for piece in chunks(part, question, common.outlook.draws):
                answered, failed = sparing(calls, piece, name)
                out.calls += answered
                out.problems += failed
    if common.tell_unasked:
        out.unasked += by_crop(block.places, [find(name) for name in common.questions])
    return out


def again(call: Call) -> Call:
    """A wait without a day of its own is asked again in a week: nothing it rests on is out of date before."""
    if call.verdict != "wait" or call.look_by is not None or call.done:
        return call
    return replace(call, look_by=call.on + timedelta(days=WAIT_DAYS))


def sparing(work: Callable[[Table], list[T]], table: Table, question: str) -> tuple[list[T], list[Problem]]:
    """What `work` gives for the table; where a row makes it fail, for all rows but that one, which is a problem.

    One place's bad data, or a fault of one question, must not cost the adviser the rest of the week. With
    SIDEOATS_TRACE set, a fault of the program is raised, for its authors.
    """
    if not len(table):
        return [], []
    try:
        return work(table), []
    except Exception as error:
        if not isinstance(error, SideoatsError) and os.environ.get("SIDEOATS_TRACE"):
            raise
        said = _said(error)
    if len(table) == 1:
        return [], [Problem(table.keys[0], question, said)]
    ends = [sparing(work, table.take(np.array([row])), question)[1] for row in (0, len(table) - 1)]
    if all(end and end[0].message == said for end in ends):  # it is not about one row
        return [], [Problem(table.keys[0], question, f"{said} (so for {len(table)} places)")]
    middle = len(table) // 2
    halves = [sparing(work, table.take(np.arange(*span)), question) for span in ((0, middle), (middle, len(table)))]
    return [r for found, _ in halves for r in found], [p for _, failed in halves for p in failed]


def _said(error: Exception) -> str:
    if isinstance(error, SideoatsError):
        return str(error)
    return one_line(f"a fault of the program, not of your data: {type(error).__name__}: {error}; please report it")


def in_season(question: Question, table: Table, context: Context) -> Table:
    """The rows that make sense today."""
    return table.take(np.flatnonzero(question.seasonal(table, context)))


def chunks(table: Table, question: Question, draws: int) -> Iterator[Table]:
    """The table in pieces whose payoff arrays stay within `CHUNK_BYTES`; rows to be asked apart never share one."""
    most = max(1, CHUNK_BYTES // (8 * draws * question.options_count))
    for rows in _apart(table, question.apart):
        for first in range(0, len(rows), most):
            part = rows[first : first + most]
            yield table if len(part) == len(table) else table.take(part)


def _apart(table: Table, fields: Sequence[str]) -> list[NDArray[np.int64]]:
    """Rows that agree in `fields`, in groups; the first group holds the first row."""
    if not fields:
        return [np.arange(len(table))] if len(table) else []
    told = [table.known(name[:-1]) if name.endswith("?") else table.columns[name] for name in fields]
    groups: dict[str, list[int]] = {}
    for row in range(len(table)):
        groups.setdefault(repr([column[row] for column in told]), []).append(row)
    return [np.array(rows, dtype=np.int64) for rows in groups.values()]
