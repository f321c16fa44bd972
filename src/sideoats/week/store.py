"""A week too large for memory: calls kept in a file, block by block, so that a run can be resumed and repeated cheaply.

Each place has a fingerprint of all that its answers depend on: its own description and evidence, and what is common
(the day, draws, seed, facts, weather, quotes, settings, questions, version). A place whose fingerprint stands in the
store is not asked again. A block's calls and fingerprints are written in one transaction, so a run that is killed loses
at most the blocks under way.
"""

from __future__ import annotations

import hashlib
import json
import os
import sqlite3
import zlib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from sideoats.call import Call, call_from
from sideoats.errors import LedgerError
from sideoats.outlook import DEFAULT_DRAWS, DEFAULT_SEED
from sideoats.version import VERSION
from sideoats.week.blocks import Block, Common, answer_block, blocks, common_of
from sideoats.week.district import district_of
from sideoats.week.engines import Engine, Serial
from sideoats.week.run import evidence_needed, weekly_questions
from sideoats.week.snapshot import require_places

if TYPE_CHECKING:
    from sideoats.ledger import Ledger, Place

_SCHEMA = """
CREATE TABLE IF NOT EXISTS meta (name TEXT PRIMARY KEY, value TEXT NOT NULL) STRICT;
CREATE TABLE IF NOT EXISTS place (place TEXT PRIMARY KEY, fingerprint BLOB NOT NULL) STRICT, WITHOUT ROWID;
CREATE TABLE IF NOT EXISTS call (
  place TEXT NOT NULL, question TEXT NOT NULL, farm TEXT NOT NULL, verdict TEXT NOT NULL, cost_of_waiting REAL NOT NULL,
  act_by TEXT, look_by TEXT, headline TEXT NOT NULL, body BLOB NOT NULL, shared BLOB NOT NULL,
  PRIMARY KEY (place, question)) STRICT, WITHOUT ROWID;
CREATE TABLE IF NOT EXISTS shared (key BLOB PRIMARY KEY, body BLOB NOT NULL) STRICT, WITHOUT ROWID;
CREATE TABLE IF NOT EXISTS problem (place TEXT NOT NULL, question TEXT NOT NULL, message TEXT NOT NULL) STRICT;
CREATE INDEX IF NOT EXISTS problem_place ON problem (place);
"""
_ORDER = "(verdict <> 'stop'), cost_of_waiting DESC, instr('stop act  look wait', verdict), question, place"
_SHARED = ("sources", "cautions", "seed", "version", "on")


@dataclass(frozen=True)
class _Encoded:
    """Rows of one block, ready to be written."""

    places: tuple[str, ...]
    calls: list[tuple[Any, ...]]
    shared: dict[bytes, bytes]
    problems: list[tuple[str, str, str]]


@dataclass(frozen=True)
class StoredRun:
    """What a run did: places in all, asked now, calls in the store."""

    places: int
    asked: int
    calls: int
    problems: int


def encode_block(common: Common, block: Block) -> _Encoded:
    """Answer a block and encode it; runs in the worker. What many calls share (sources, cautions) is kept once."""
    answers = answer_block(common, block)
    rows, shared = [], {}
    for call in answers.calls:
        shape = call.full()
        common_part = _pack({k: shape.pop(k) for k in _SHARED})
        key = hashlib.sha256(common_part).digest()[:16]
        shared[key] = common_part
        dates = (shape["act_by"], shape["look_by"])
        head = (call.place, call.question, call.farm, call.verdict, call.cost_of_waiting, *dates, call.headline)
        rows.append((*head, _pack(shape), key))
    problems = [(p.place, p.question, p.message) for p in answers.problems]
    return _Encoded(tuple(p.id for p in block.places), rows, shared, problems)


def _pack(shape: dict[str, Any]) -> bytes:
    return zlib.compress(json.dumps(shape, ensure_ascii=False, separators=(",", ":"), allow_nan=False).encode(), 1)


class WeekStore:
    """A file of calls (SQLite). One writer; readers may look on while a run goes."""

    def __init__(self, path: str | os.PathLike[str]) -> None:
        try:
            self.connection = sqlite3.connect(path, isolation_level=None)
            self.connection.execute("PRAGMA journal_mode=WAL")
            self.connection.execute(
                "PRAGMA synchronous=NORMAL"
            )  # it can be made again; the ledger is what must not be lost
            self.connection.executescript(_SCHEMA)
        except sqlite3.Error as error:
            raise LedgerError(f"week store {Path(path).name} cannot be used ({error}); give another file") from None

    def close(self) -> None:
        """Close the file."""
        self.connection.close()

    def fingerprints(self) -> dict[str, bytes]:
        """Place -> fingerprint under which its calls stand."""
        return dict(self.connection.execute("SELECT place, fingerprint FROM place"))

    def forget(self, places: Sequence[str]) -> None:
        """Drop places that are no longer on file, with their calls."""
        with self._transaction():
            for table in ("call", "problem", "place"):
                self.connection.executemany(f"DELETE FROM {table} WHERE place = ?", [(p,) for p in places])  # noqa: S608

    def write(self, encoded: _Encoded, fingerprints: dict[str, bytes]) -> None:
        """One block, in one transaction."""
        ids = [(p,) for p in encoded.places]
        with self._transaction():
            self.connection.executemany("DELETE FROM call WHERE place = ?", ids)
            self.connection.executemany("DELETE FROM problem WHERE place = ?", ids)
            self.connection.executemany("INSERT OR IGNORE INTO shared VALUES (?, ?)", encoded.shared.items())
            self.connection.executemany("INSERT INTO call VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)", encoded.calls)
            self.connection.executemany("INSERT INTO problem VALUES (?, ?, ?)", encoded.problems)
            self.connection.executemany(
                "INSERT OR REPLACE INTO place VALUES (?, ?)", [(p, fingerprints[p]) for p in encoded.places]
            )

    def _transaction(self) -> _Transaction:
        return _Transaction(self.connection)

    def count(self, verdict: str | None = None) -> int:
        """Calls in the store."""
        where, values = ("WHERE verdict = ?", (verdict,)) if verdict else ("", ())
        return int(self.connection.execute(f"SELECT count(*) FROM call {where}", values).fetchone()[0])  # noqa: S608

    def calls(
        self, *, limit: int = -1, offset: int = 0, farm: str | None = None, question: str | None = None
    ) -> Iterator[Call]:
        """Calls in rank order."""
        where = " AND ".join(c for c, v in (("farm = :farm", farm), ("question = :question", question)) if v) or "1"
        query = f"SELECT body, shared FROM call WHERE {where} ORDER BY {_ORDER} LIMIT :limit OFFSET :offset"  # noqa: S608
        kept: dict[bytes, dict[str, Any]] = {}
        values = {"farm": farm, "question": question, "limit": limit, "offset": offset}
        for body, key in self.connection.execute(query, values):
            if key not in kept:
                row = self.connection.execute("SELECT body FROM shared WHERE key = ?", (key,)).fetchone()
                kept[key] = json.loads(zlib.decompress(row[0]))
            yield call_from({**json.loads(zlib.decompress(body)), **kept[key]})

    def digest(self) -> str:
        """SHA-256 over every call in order of place and question: equal runs have equal digests."""
        total = hashlib.sha256()
        for row in self.connection.execute("SELECT place, question, body, shared FROM call ORDER BY place, question"):
            total.update(row[0].encode() + b"\0" + row[1].encode() + b"\0" + zlib.decompress(row[2]) + row[3])
        return total.hexdigest()


class _Transaction:
    def __init__(self, connection: sqlite3.Connection) -> None:
        self.connection = connection

    def __enter__(self) -> None:
        self.connection.execute("BEGIN IMMEDIATE")

    def __exit__(self, kind: object, error: object, trace: object) -> None:
        self.connection.execute("ROLLBACK" if error else "COMMIT")


def _common_digest(common: Common) -> bytes:
    """A hash of everything that is the same for all places."""
    total = hashlib.sha256(f"{VERSION}|{common.on}|{common.risk_aversion}|{common.questions}".encode())
    out = common.outlook
    total.update(f"{out.seed}|{out.draws}".encode())
    total.update(
        repr(sorted(common.facts.settings.items())).encode() + repr(sorted(common.facts.chosen.items())).encode()
    )
    for fact in common.facts.by_id.values():
        total.update(repr((fact.id, fact.low, fact.mid, fact.high, fact.rows, fact.text)).encode())
    total.update(repr(sorted(common.snapshot.quote_series.items())).encode())
    for name, record in sorted(out.records.items()):
        total.update(f"{name}|{record.start}".encode())
        for variable in sorted(record.values):
            total.update(variable.encode() + np.ascontiguousarray(record.values[variable]).tobytes())
    return total.digest()


def fingerprint(common: bytes, place: Place, evidence: Sequence[str]) -> bytes:
    """Hash of what the answers for one place depend on."""
    own = json.dumps([place.id, place.farm, place.name, place.kind, place.attributes, list(evidence)], sort_keys=True)
    return hashlib.sha256(common + own.encode()).digest()[:16]


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
    progress : called with (places done, places to do); the first call comes before any work

    Raises
    ------
    EngineLost : a worker died; run again to go on
    """
    from sideoats.ledger import Ledger as LedgerClass
    from sideoats.ledger import open_ledger

    if not isinstance(ledger, LedgerClass):
        with open_ledger(ledger, create=False) as opened:
            return run_stored(
                opened, on, store, engine=engine, questions=questions, draws=draws, seed=seed,
                risk_aversion=risk_aversion, progress=progress,
            )  # fmt: skip
    chosen = weekly_questions(questions)
    district = district_of(ledger, on, kinds=evidence_needed(chosen), draws=draws, seed=seed)
    require_places(district.snapshot)
    common = common_of(district, [q.name for q in chosen], risk_aversion)
    seen: dict[str, list[str]] = {}
    for at in district.snapshot.evidence.values():
        for place_id, entry in at.items():
            seen.setdefault(place_id, []).append(entry.hash)
    base = _common_digest(common)
    prints = {p.id: fingerprint(base, p, sorted(seen.get(p.id, ()))) for p in district.snapshot.places}
    week = WeekStore(store)
    try:
        kept = week.fingerprints()
        week.forget([p for p in kept if p not in prints])
        due = [p for p in district.snapshot.places if kept.get(p.id) != prints[p.id]]
        done = 0
        if progress:
            progress(0, len(due))
        for _, result in (engine or Serial()).run(encode_block, common, blocks(district.snapshot, due)):
            if not isinstance(result, _Encoded):
                raise result
            week.write(result, prints)
            done += len(result.places)
            if progress:
                progress(done, len(due))
        problems = int(week.connection.execute("SELECT count(*) FROM problem").fetchone()[0])
        return StoredRun(len(prints), len(due), week.count(), problems)
    finally:
        week.close()
