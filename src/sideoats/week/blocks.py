"""The unit of work of a week: a block of places with their evidence, asked every question that is about them.

A block carries all that its worker needs besides what is common, so that workers never open the ledger. Places are
sorted by kind and crop before they are cut into blocks: a block then meets few questions, and arrays stay long.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from typing import TYPE_CHECKING

import numpy as np

from sideoats.call import Call
from sideoats.errors import SideoatsError
from sideoats.facts import Facts
from sideoats.outlook import Outlook
from sideoats.question import Context, Question, Table, find
from sideoats.week.district import District
from sideoats.week.gather import Problem, chosen_places, gather
from sideoats.week.snapshot import Snapshot

if TYPE_CHECKING:
    from sideoats.ledger import Entry, Place

CHUNK_BYTES = 8_000_000  # of one payoff array: small enough to stay in cache, which is also the fastest
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


@dataclass(frozen=True)
class Block:
    """Some places and the newest evidence at them."""

    places: tuple[Place, ...]
    evidence: Mapping[str, Mapping[str, Entry]]


@dataclass
class BlockAnswers:
    """Calls and problems of one block, and how many places each question was asked of."""

    calls: list[Call] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    asked: dict[str, int] = field(default_factory=dict)


def common_of(district: District, questions: Sequence[str], risk_aversion: float | None) -> Common:
    """The part of a district that every block shares."""
    bare = replace(district.snapshot, places=(), evidence={})
    return Common(district.on, district.facts, district.outlook, bare, tuple(questions), risk_aversion)


def blocks(snapshot: Snapshot, places: Sequence[Place], size: int = BLOCK_PLACES) -> Iterator[Block]:
    """`places` in blocks, sorted so that a block is mostly of one kind and crop."""
    ordered = sorted(places, key=lambda p: (p.kind, str(p.attributes.get("crop", "")), p.id))
    for first in range(0, len(ordered), size):
        part = tuple(ordered[first : first + size])
        ids = [p.id for p in part]
        held = {kind: {i: at[i] for i in ids if i in at} for kind, at in snapshot.evidence.items()}
        yield Block(part, {kind: at for kind, at in held.items() if at})


def answer_block(common: Common, block: Block) -> BlockAnswers:
    """Every question to every place of the block that it is about, in season."""
    out = BlockAnswers()
    snapshot = replace(common.snapshot, places=block.places, evidence=block.evidence)
    context = Context(common.on, common.facts, common.outlook, common.risk_aversion)
    for name in common.questions:
        question = find(name)
        if not chosen_places(question, block.places):
            continue
        try:
            table, found = gather(question, snapshot)
            table = in_season(question, table, context)
            out.problems += found
            out.asked[name] = len(table)
            for piece in chunks(table, question, common.outlook.draws):
                out.calls += question.ask(piece, context).calls()
        except SideoatsError as error:  # one question's bad data must not cost the adviser the rest of the week
            out.problems.append(Problem(block.places[0].id, name, str(error)))
    return out


def in_season(question: Question, table: Table, context: Context) -> Table:
    """The rows that make sense today."""
    if question.in_season is None or not len(table):
        return table
    return table.take(np.flatnonzero(question.in_season(table, context.fresh())))


def chunks(table: Table, question: Question, draws: int) -> Iterator[Table]:
    """The table in pieces whose payoff arrays stay within `CHUNK_BYTES`."""
    rows = max(1, CHUNK_BYTES // (8 * draws * question.options_count))
    if len(table) and len(table) <= rows:
        yield table
        return
    for first in range(0, len(table), rows):
        yield table.take(np.arange(first, min(first + rows, len(table))))
