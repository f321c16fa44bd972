"""The file that keeps the calls of a large week (SQLite). It can be made again: what must not be lost is the ledger.

Beside each call stands what it is ranked by; what many calls share (sources, cautions) is kept once. Sentences are kept
by their codes and told when a call is read. `stored_run` fills it.
"""

from __future__ import annotations

import hashlib
import json
import os
import sqlite3
import zlib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Self

import msgspec

from sideoats.call import Call, call_from
from sideoats.errors import SideoatsError
from sideoats.replies import READER, told

_APPLICATION, _LAYOUT = 0x53694F57, 3
_SCHEMA = f"""
PRAGMA application_id = {_APPLICATION};
PRAGMA user_version = {_LAYOUT};
CREATE TABLE IF NOT EXISTS note (name TEXT PRIMARY KEY, value TEXT NOT NULL) STRICT;
CREATE TABLE IF NOT EXISTS place (place TEXT PRIMARY KEY, mark BLOB NOT NULL) STRICT, WITHOUT ROWID;
CREATE TABLE IF NOT EXISTS call (
  place TEXT NOT NULL, question TEXT NOT NULL, farm TEXT NOT NULL, verdict TEXT NOT NULL, cost_of_waiting REAL NOT NULL,
  act_by TEXT, look_by TEXT, body BLOB NOT NULL, shared BLOB NOT NULL,
  PRIMARY KEY (place, question)) STRICT;
CREATE TABLE IF NOT EXISTS shared (key BLOB PRIMARY KEY, body BLOB NOT NULL) STRICT, WITHOUT ROWID;
CREATE TABLE IF NOT EXISTS problem (place TEXT NOT NULL, question TEXT NOT NULL, message TEXT NOT NULL) STRICT;
CREATE INDEX IF NOT EXISTS problem_place ON problem (place);
"""
_ORDER = "(verdict <> 'stop'), cost_of_waiting DESC, instr('stop act  look wait', verdict), question, place"
_SHARED, _SHARED_SAID = ("sources", "seed", "version", "on"), ("cautions", "loosened")
_ASKED_AT_ONCE = 500


class StoreError(SideoatsError):
    """The file of a large week cannot be used or written."""


@dataclass(frozen=True)
class Encoded:
    """Rows of one block, ready to be written; `marks` are the fingerprints of its places."""

    marks: Mapping[str, bytes]
    calls: list[tuple[Any, ...]]
    shared: dict[bytes, bytes]
    problems: list[tuple[str, str, str]]


def encoded(calls: Iterable[Call], problems: list[tuple[str, str, str]], marks: Mapping[str, bytes]) -> Encoded:
    """Calls of one block as rows."""
    rows, shared = [], {}
    for call in calls:
        shape = call.kept()
        own = dict(shape["said"])
        common_part = _packed({k: shape.pop(k) for k in _SHARED} | {"said": {k: own.pop(k, []) for k in _SHARED_SAID}})
        shape["said"] = own
        key = hashlib.sha256(common_part).digest()[:16]
        shared[key] = common_part
        dates = (shape["act_by"], shape["look_by"])
        head = (call.place, call.question, call.farm, call.verdict, call.cost_of_waiting, *dates)
        rows.append((*head, zlib.compress(_packed(shape), 1), key))
    return Encoded(marks, rows, shared, problems)


def _packed(shape: dict[str, Any]) -> bytes:
    return msgspec.json.encode(shape)


class WeekStore:
    """An open store; a context manager. One writer; readers may look on while a run goes."""

    def __init__(self, path: str | os.PathLike[str]) -> None:
        self.path = Path(path)
        with self._telling():
            self.connection = sqlite3.connect(self.path, isolation_level=None)
            try:
                self._prepare()
            except BaseException:
                self.connection.close()
                raise

    def _prepare(self) -> None:
        application, layout = (self._value(f"PRAGMA {p}") for p in ("application_id", "user_version"))
        if self._value("SELECT count(*) FROM sqlite_schema") and (application, layout) != (_APPLICATION, _LAYOUT):
            kind = "from another version" if application == _APPLICATION else "not a week store but another database"
            raise StoreError(f"{self.path.name} is {kind}; give another file, it is made anew from the ledger")
        self.connection.execute("PRAGMA synchronous=NORMAL")
        if layout != _LAYOUT:
            self.connection.execute("PRAGMA journal_mode=WAL")
            self.connection.executescript(_SCHEMA)

    @contextmanager
    def _telling(self) -> Iterator[None]:
        """SQLite's errors as one line that says what to do."""
        try:
            yield
        except sqlite3.Error as error:
            code = getattr(error, "sqlite_errorcode", 0) & 0xFF
            if code in (sqlite3.SQLITE_FULL, sqlite3.SQLITE_IOERR):
                raise StoreError(
                    f"week store {self.path.name} cannot grow: the disk is full or failing ({error}); the ledger is "
                    "not touched; make room and run again to go on"
                ) from None
            if code in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB):
                raise self._damaged(str(error)) from None
            if code == sqlite3.SQLITE_BUSY:
                raise StoreError(f"week store {self.path.name} is being written by another run; wait for it") from None
            raise StoreError(f"week store {self.path.name} cannot be used ({error}); give another file") from None
        except UnicodeDecodeError:  # a column or value name out of overwritten pages
            raise self._damaged("text in it is not text") from None

    def _damaged(self, how: str) -> StoreError:
        return StoreError(
            f"week store {self.path.name} is damaged ({how}); delete it and run again, it is made anew from the ledger"
        )

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Close the file."""
        self.connection.close()

    def _value(self, statement: str, values: Sequence[Any] = ()) -> Any:
        row = self.connection.execute(statement, values).fetchone()
        return None if row is None else row[0]

    def _ask(self, statement: str, values: Any = ()) -> list[Any]:
        with self._telling():
            return self.connection.execute(statement, values).fetchall()

    def noted(self, name: str) -> str | None:
        """What was noted under a name."""
        found = self._ask("SELECT value FROM note WHERE name = ?", (name,))
        return str(found[0][0]) if found else None

    def note(self, name: str, value: str) -> None:
        """Note something under a name."""
        self._ask("INSERT OR REPLACE INTO note VALUES (?, ?)", (name, value))

    def between(self, first: str, end: str | None) -> dict[str, bytes]:
        """Place -> mark under which its calls stand, for ids from `first` up to `end` (None: to the last)."""
        return dict(
            self._ask(
                "SELECT place, mark FROM place WHERE place >= :a AND (:b IS NULL OR place < :b)", {"a": first, "b": end}
            )
        )

    def marks(self, places: Sequence[str]) -> dict[str, bytes]:
        """The same for the places named."""
        found: dict[str, bytes] = {}
        for first in range(0, len(places), _ASKED_AT_ONCE):
            part = places[first : first + _ASKED_AT_ONCE]
            holes = ",".join("?" * len(part))
            found.update(self._ask(f"SELECT place, mark FROM place WHERE place IN ({holes})", part))  # noqa: S608
        return found

    def forget(self, places: Sequence[str]) -> None:
        """Drop places that are no longer on file, with their calls."""
        if places:
            with self._transaction():
                for table in ("call", "problem", "place"):
                    self.connection.executemany(f"DELETE FROM {table} WHERE place = ?", [(p,) for p in places])  # noqa: S608

    def write(self, block: Encoded) -> None:
        """One block, in one transaction."""
        ids = [(p,) for p in block.marks]
        with self._transaction():
            self.connection.executemany("DELETE FROM call WHERE place = ?", ids)
            self.connection.executemany("DELETE FROM problem WHERE place = ?", ids)
            self.connection.executemany("INSERT OR IGNORE INTO shared VALUES (?, ?)", block.shared.items())
            self.connection.executemany("INSERT INTO call VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)", block.calls)
            self.connection.executemany("INSERT INTO problem VALUES (?, ?, ?)", block.problems)
            self.connection.executemany("INSERT OR REPLACE INTO place VALUES (?, ?)", block.marks.items())

    @contextmanager
    def _transaction(self) -> Iterator[None]:
        with self._telling():
            self.connection.execute("BEGIN IMMEDIATE")
            try:
                yield
                self.connection.execute("COMMIT")
            except BaseException:
                if self.connection.in_transaction:  # a full disk has rolled back by itself
                    self.connection.execute("ROLLBACK")
                raise

    def places(self) -> int:
        """Places whose calls are here."""
        return int(self._ask("SELECT count(*) FROM place")[0][0])

    def problems(self) -> int:
        """Values on file that could not be used."""
        return int(self._ask("SELECT count(*) FROM problem")[0][0])

    def count(self, verdict: str | None = None) -> int:
        """Calls in the store."""
        return int(self._ask("SELECT count(*) FROM call WHERE :v IS NULL OR verdict = :v", {"v": verdict})[0][0])

    def calls(
        self, *, limit: int = -1, offset: int = 0, farm: str | None = None, question: str | None = None
    ) -> Iterator[Call]:
        """Calls in rank order."""
        wanted = " AND ".join(c for c, v in (("farm = :farm", farm), ("question = :question", question)) if v) or "1"
        ranked = f"SELECT rowid FROM call WHERE {wanted} ORDER BY {_ORDER} LIMIT :limit OFFSET :offset"  # noqa: S608
        kept: dict[bytes, dict[str, Any]] = {}
        values = {"farm": farm, "question": question, "limit": limit, "offset": offset}
        for (row,) in self._ask(ranked, values):
            found = self._ask("SELECT body, shared FROM call WHERE rowid = ?", (row,))
            try:
                body, key = found[0]  # an index may name a row that the damaged table no longer has
                if key not in kept:
                    kept[key] = json.loads(self._ask("SELECT body FROM shared WHERE key = ?", (key,))[0][0])
                own, shared = json.loads(zlib.decompress(body)), kept[key]
                said = {**own["said"], **shared["said"]}
                yield told(call_from({**own, **shared, "said": said}), READER)
            except (IndexError, KeyError, TypeError, ValueError, zlib.error) as error:
                raise self._damaged(f"a call cannot be read, {type(error).__name__}") from None

    def digest(self) -> str:
        """SHA-256 over every call in order of place and question: equal runs have equal digests."""
        total = hashlib.sha256()
        with self._telling():
            statement = "SELECT place, question, body, shared FROM call ORDER BY place, question"
            for place, question, body, shared in self.connection.execute(statement):
                total.update(place.encode() + b"\0" + question.encode() + b"\0" + zlib.decompress(body) + shared)
        return total.hexdigest()
