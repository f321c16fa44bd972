"""A week too large for memory: places read, asked and stored some thousands at a time, and never asked twice.

Each place has a fingerprint of all that its answers depend on: its own description and evidence, and what all places
share (the day, draws, seed, facts, weather, quotes, settings, questions, the program); what the district's other counts
say of its pests counts as its own. A place whose fingerprint stands in the store is not asked again. A block's calls
and fingerprints are written in one transaction, so a run that is killed loses at most the blocks under way. A finished
run notes how far it had read the ledger; while nothing shared has changed, and no count that others are weighed
against, the next run looks only at places with entries behind that.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from sideoats.outlook import DEFAULT_DRAWS, DEFAULT_SEED
from sideoats.version import VERSION
from sideoats.week.blocks import Block, Common, blocks, common_of, shaped_block
from sideoats.week.district import district_of
from sideoats.week.engines import Engine, Serial
from sideoats.week.run import evidence_needed, weekly_questions
from sideoats.week.snapshot import no_places, places_of
from sideoats.week.store import Encoded, WeekStore, encoded

if TYPE_CHECKING:
    from sideoats.ledger import Entry, Ledger, Place

READ_PLACES = 4_000  # at a time: some blocks for every worker, and a few tens of megabytes


@dataclass(frozen=True)
class StoredRun:
    """What a run did: places in all, asked now; calls and problems in the store."""

    places: int
    asked: int
    calls: int
    problems: int


@dataclass
class _Progress:
    """Places that are up to date, of those that had to be looked at."""

    total: int
    tell: Callable[[int, int], None] | None
    done: int = 0
    asked: int = 0

    def add(self, places: int, asked: bool) -> None:
        self.done += places
        self.asked += places if asked else 0
        if self.tell:
            self.tell(self.done, self.total)


def run_stored(
    ledger: Ledger | str | os.PathLike[str],
    on: date,
    store: str | os.PathLike[str],
    *,
    engine: Engine | None = None,
    questions: Sequence[str] | None = None,
    draws: int = DEFAULT_DRAWS,
    seed: int = DEFAULT_SEED,
    risk_aversion: float | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> StoredRun:
    """Bring a store up to date: ask only the places whose fingerprint is not there yet.

    Parameters
    ----------
    ledger : open, or its location
    store : file of the calls, made if absent; what a killed run had finished is kept
    progress : called with (places up to date, places looked at); the first call comes before any work

    Raises
    ------
    EngineLost : a worker died; run again to go on
    StoreError : the store is damaged, is something else, or its disk is full
    """
    from sideoats.ledger import Ledger as LedgerClass
    from sideoats.ledger import open_ledger

    if not isinstance(ledger, LedgerClass):
        with open_ledger(ledger, create=False) as opened:
            return run_stored(
                opened,
                on,
                store,
                engine=engine,
                questions=questions,
                draws=draws,
                seed=seed,
                risk_aversion=risk_aversion,
                progress=progress,
            )
    chosen = weekly_questions(questions)
    head = ledger.head()  # what comes in while we read is looked at next time
    names = [q.name for q in chosen]  # what all places share; what was learned of the counts is in the facts by now
    common = common_of(district_of(ledger, on, draws=draws, seed=seed, places=False, pool=True), names, risk_aversion)
    base = common_digest(common)
    with WeekStore(store) as week:
        footing = base + hashlib.sha256(repr(sorted(common.facts.nearby.items())).encode()).digest()
        ids, whole = _to_look_at(ledger, week, footing)
        told = _Progress(len(ids), progress)
        told.add(0, False)
        marking = Marking(base, common.facts.nearby)
        pieces = _due(ledger, on, evidence_needed(chosen), marking, week, ids, whole, told)
        for _, result in (engine or Serial()).run(encode_block, common, pieces):
            if not isinstance(result, Encoded):
                raise result
            week.write(result)
            told.add(len(result.marks), True)
        week.note(_READ_TO, _read_to(ledger, footing, head))
        places = week.places()
        if not places:
            raise no_places()
        return StoredRun(places, told.asked, week.count(), week.problems())


def encode_block(common: Common, block: Block) -> Encoded:
    """Answer a block and encode it; runs in the worker."""
    answers = shaped_block(common, block)
    problems = [(p.place, p.question, p.message) for p in answers.problems]
    return encoded(answers.calls, problems, block.marks)


def _due(
    ledger: Ledger,
    on: date,
    kinds: Iterable[str],
    marking: Marking,
    week: WeekStore,
    ids: Sequence[str],
    whole: bool,
    told: _Progress,
) -> Iterator[Block]:
    """Blocks of places to ask, read some thousands at a time; forgets places that are closed or gone."""
    kinds = sorted(kinds)
    for first in range(0, len(ids), READ_PLACES):
        part = ids[first : first + READ_PLACES]
        places, evidence = places_of(ledger, on, kinds, part)
        prints = marking.of(places, evidence)
        kept = _kept(week, ids, first) if whole else week.marks(part)
        week.forget([p for p in kept if p not in prints])
        due = [p for p in places if kept.get(p.id) != prints[p.id]]
        told.add(len(part) - len(due), False)
        for block in blocks(evidence, due):
            yield replace(block, marks={p.id: prints[p.id] for p in block.places})


def _kept(week: WeekStore, ids: Sequence[str], first: int) -> dict[str, bytes]:
    """Marks of all places in the stretch of ids read at a time, also of those that are no longer on file."""
    after = first + READ_PLACES
    return week.between(ids[first] if first else "", ids[after] if after < len(ids) else None)


_READ_TO = "read to"


def _read_to(ledger: Ledger, base: bytes, head: tuple[int, str]) -> str:
    return json.dumps({"ledger": ledger.id, "base": base.hex(), "entries": head[0], "hash": head[1]})


def _to_look_at(ledger: Ledger, week: WeekStore, base: bytes) -> tuple[list[str], bool]:
    """(ids in order, whether these are all): places with news where the last run finished on the same footing."""
    every = ledger.place_ids()
    try:
        noted = json.loads(week.noted(_READ_TO) or "{}")
    except ValueError:  # a damaged note: as if there were none
        noted = {}
    if noted.get("ledger") != ledger.id or noted.get("base") != base.hex():
        return every, True
    news, found = ledger.added(noted["entries"] - 1), set()
    last = next(news, None) if noted["entries"] else None
    if noted["entries"] and (last is None or last.hash != noted["hash"]):  # another history: a restored copy, say
        return every, True
    for entry in news:
        if entry.kind == "forgotten":  # stands at no place, and takes all places of its farm away
            return every, True
        if entry.place:
            found.add(entry.place)
    return sorted(found), False


class Marking:
    """Fingerprints of places: a hash of all that a place's answers depend on.

    `base` stands for what all places share; `nearby` is what other counts say of each (`Facts.nearby`).
    """

    def __init__(self, base: bytes, nearby: Mapping[tuple[str, str], tuple[float, float, int]]) -> None:
        self._base = base
        self._told: dict[str, list[object]] = {}
        for (pest, place), said in sorted(nearby.items()):
            self._told.setdefault(place, []).append([pest, *said])

    def of(self, places: Sequence[Place], evidence: Mapping[str, Mapping[str, Entry]]) -> dict[str, bytes]:
        """Place id -> fingerprint."""
        behind: dict[str, list[str]] = {p.id: [] for p in places}
        for at in evidence.values():
            for place_id, entry in at.items():
                if place_id in behind:
                    behind[place_id].append(entry.hash)
        out = {}
        for p in places:
            about = [p.id, p.farm, p.name, p.kind, p.attributes, sorted(behind[p.id]), self._told.get(p.id)]
            own = json.dumps(about, sort_keys=True)
            out[p.id] = hashlib.sha256(self._base + own.encode()).digest()[:16]
        return out


def common_digest(common: Common) -> bytes:
    """A hash of everything that is the same for all places."""
    out, snapshot, facts = common.outlook, common.snapshot, common.facts
    total = hashlib.sha256(f"{VERSION}|{common.on}|{common.risk_aversion}|{common.questions}".encode() + _program())
    total.update(f"{out.seed}|{out.draws}".encode())
    total.update(repr((sorted(facts.settings.items()), sorted(facts.chosen.items()))).encode())
    total.update(repr(sorted(facts.strips.items())).encode())
    for fact in facts.by_id.values():
        total.update(repr(fact).encode())
    total.update(repr((sorted(snapshot.quote_series.items()), sorted(snapshot.first_market.items()))).encode())
    total.update(repr(sorted((key, entry.hash) for key, entry in snapshot.quotes.items())).encode())
    for name, record in sorted(out.records.items()):
        where = (record.latitude, record.longitude, record.elevation_m, record.wind_height_m)
        total.update(repr((name, record.name, record.start, where)).encode())
        for variable in sorted(record.values):
            total.update(variable.encode() + np.ascontiguousarray(record.values[variable]).tobytes())
            if variable in record.flags:
                total.update(np.ascontiguousarray(record.flags[variable]).tobytes())
    total.update(repr(sorted(out.forecasts.items(), key=lambda held: held[0])).encode())
    return total.digest()


@lru_cache(maxsize=1)
def _program() -> bytes:
    """A hash of the program's own text, so that no answer of an older one is kept."""
    total = hashlib.sha256()
    for path in sorted((Path(__file__).parents[1]).glob("**/*.py")):
        total.update(path.read_bytes())
    return total.digest()
