"""Backup, restore, and moving a ledger between SQLite and PostgreSQL: the chain is kept to the bit.

Two forms of backup: a SQLite file (of a SQLite ledger), and JSON Lines in the order of the chain (of either; the file
name ends in ``.jsonl``). Both are written beside the target under another name, verified, forced to disk and only then
put in place, so that a target is either the old backup or the new one and never half of one.

Sealed bodies go as they are. No backup carries a key; keys are copied where the caller says so, to a file in another
folder.
"""

from __future__ import annotations

import json
import os
import sqlite3
import tempfile
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from datetime import date
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from sideoats.errors import LedgerDamaged, LedgerError
from sideoats.ledger import canon, queries
from sideoats.ledger import engine as engines
from sideoats.ledger.address import is_url
from sideoats.ledger.audit import check
from sideoats.ledger.book import Book
from sideoats.ledger.canon import Row
from sideoats.ledger.entry import CheckReport
from sideoats.ledger.keys import KeyStore, keys_address
from sideoats.ledger.seals import FORGOTTEN
from sideoats.ledger.tables import entries

LINES_SUFFIX = ".jsonl"
_BATCH = 10_000
_LINE_FORMAT = 1


def backup(ledger: Book, path: Path, keys: Path | None = None) -> Path:
    """A verified copy of `ledger` at `path`; a backup of the same ledger that stands there is replaced.

    With `keys`, the keys of its farms are copied there first, in place of an earlier copy. Raises LedgerError where
    that is in the folder of the backup: together they would outlive the forgetting of a client.

    Raises LedgerError where something else stands there, the disk is full, or the copy does not verify (then nothing
    is changed).
    """
    lines = path.suffix == LINES_SUFFIX
    if is_url(ledger.address) and not lines:
        raise LedgerError(f"a PostgreSQL ledger is backed up as JSON Lines; name the file {path.stem}{LINES_SUFFIX}")
    _replaceable(ledger, path)
    if keys is not None:
        if keys.parent.resolve() == path.parent.resolve():
            raise LedgerError(f"{keys} is in the folder of the backup; keep the copy of the keys somewhere else")
        copy_keys(ledger, keys)
    with _beside(path) as part:
        if lines:
            export(ledger, part)
            _verify_lines(part, ledger)
        else:
            _copy_sqlite(Path(ledger.address), part)
            _verify_sqlite(part)
        _to_disk(part)
        os.replace(part, path)
    _to_disk(path.parent)
    return path


def copy_keys(ledger: Book, path: Path) -> int:
    """The keys of the ledger's farms in a store of their own at `path`, in place of an earlier copy; how many."""
    from sideoats.ledger.forgetting import finish

    finish(ledger)
    wanted = _own_keys(ledger, ledger.seals.require_store())
    if path.exists():
        same = ledger.seals.require_store()
        if not is_url(same.address) and path.resolve() == Path(same.address).resolve():
            raise LedgerError(f"{path} is the store itself; name another file for its copy")
        KeyStore(str(path)).all()  # refuses what is not a store of keys
    with _beside(path) as part:
        part.unlink()
        KeyStore(str(part)).add(wanted)
        part.touch(0o600)
        _to_disk(part)
        os.replace(part, path)
    _to_disk(path.parent)
    return len(wanted)


def _own_keys(ledger: Book, store: KeyStore) -> dict[str, str]:
    """Those keys of a store that belong to farms of `ledger` which were not forgotten."""
    with ledger.reading() as connection:
        own = queries.every_seal(connection)
        gone = queries.seals_of(connection, queries.forgotten(connection, FORGOTTEN))
    return {seal: key for seal, key in store.all().items() if seal in own and seal not in gone}


def _carry_keys(target: str, keys: str) -> None:
    """Keys of the ledger at `target` from the store at `keys` into its own."""

    with Book.open(target, create=False) as ledger:
        store = ledger.seals.require_store()
        if store.address != keys:
            store.add(_own_keys(ledger, KeyStore(keys)))


def restore(
    backup_file: str | os.PathLike[str],
    target: str | os.PathLike[str],
    keys: str | os.PathLike[str] | None = None,
) -> CheckReport:
    """A ledger at `target` from a backup; never over a ledger that is there.

    With `keys`, a copy of the keys, those of the ledger's farms go into the store of the new ledger. Keys of farms that
    the backup knows as forgotten do not.

    Raises LedgerError where `target` exists (SQLite) or holds entries (PostgreSQL), or the backup does not verify.
    """
    source, address = Path(backup_file), os.fspath(target)
    if not source.is_file():
        raise LedgerError(f"no backup at {source}")
    if keys is not None and not Path(keys).is_file():
        raise LedgerError(f"no copy of keys at {os.fspath(keys)}")
    report = _restore(source, address)
    if keys is not None:
        _carry_keys(address, os.fspath(keys))
    return _told(address, report)


def _told(address: str, report: CheckReport) -> CheckReport:
    """The report, with what cannot be read in the new ledger told under its own name."""

    if not report.notes:
        return report
    with Book.open(address, create=False) as ledger:
        return check(ledger)


def _restore(source: Path, address: str) -> CheckReport:
    lines = _is_lines(source)
    if is_url(address):
        if not lines:
            raise LedgerError("a SQLite backup goes to PostgreSQL in two steps: restore it to a file, then move that")
        return _fill(address, lambda: read_lines(source))
    path = Path(address)
    if path.exists():
        raise LedgerError(f"{path} exists and is not overwritten; restore to a new path, then compare and rename")
    with _beside(path) as part:
        if lines:
            report = _fill(str(part), lambda: read_lines(source))
            _one_file(part)
        else:
            _copy_sqlite(source, part)
            report = _verify_sqlite(part)
        _to_disk(part)
        _link(part, path)
    _to_disk(path.parent)
    return report


def move(source: str | os.PathLike[str], target: str | os.PathLike[str]) -> CheckReport:
    """Copy a whole ledger to an empty `target` of either kind and verify it there; the source is left as it is.

    Keys go along into the store of the target, where a place for that is known; else the report notes what is sealed.

    Raises LedgerError where the target is not empty or the copy's head differs from the source's.
    """

    address = os.fspath(target)
    if not is_url(address) and Path(address).exists():
        raise LedgerError(f"{address} exists and is not overwritten; move to a new path")
    with Book.open(source, create=False) as ledger:
        before = check(ledger)
        keys = ledger.seals.store.address if ledger.seals.store else None
        if not before.ok:
            raise LedgerDamaged(f"the source is damaged and is not moved: {before.problems[0]}")

        def lines() -> Iterator[Any]:
            yield ledger.id
            yield from rows_of(ledger, before.head[0])

        if is_url(address):
            report = _fill(address, lines)
        else:
            with _beside(Path(address)) as part:
                report = _fill(str(part), lines)
                _one_file(part)
                _to_disk(part)
                _link(part, Path(address))
            _to_disk(Path(address).parent)
    if report.head != before.head:
        raise LedgerDamaged(f"the copy ends at {report.head}, the source at {before.head}")
    if keys and keys_address(address):
        _carry_keys(address, keys)
    return _told(address, report)


def rows_of(ledger: Book, last: int) -> Iterator[Row]:
    """Every row up to seq `last`, in the order of the chain."""
    seq = 0
    while seq < last:
        with ledger.reading() as connection:
            rows = queries.page(connection, seq, queries.PAGE)
        if not rows:
            return
        yield from (row for row in rows if row.seq <= last)
        seq = rows[-1].seq


def export(ledger: Book, path: Path) -> None:
    """The ledger as JSON Lines: a first line that says what it is, a line an entry, a last line with the head."""
    last, last_hash = ledger.head()
    with _writing(path) as write:
        write({"sideoats_ledger": _LINE_FORMAT, "id": ledger.id})
        for row in rows_of(ledger, last):
            write(_line(row))
        write({"entries": last, "head": last_hash})


@contextmanager
def _writing(path: Path) -> Iterator[Callable[[Any], None]]:
    try:
        with path.open("w", encoding="utf-8", newline="\n") as handle:
            yield lambda value: _write(handle, value)
    except OSError as error:
        raise LedgerError(f"{path.parent} cannot take the backup ({error.strerror}); nothing was changed") from None


def _write(handle: Any, value: Any) -> None:
    handle.write(json.dumps(value, ensure_ascii=False, separators=(",", ":")) + "\n")


def _line(row: Row) -> dict[str, Any]:
    values = row._asdict()
    values["seen_at"] = canon.instant_text(row.seen_at)
    values["recorded_at"] = canon.instant_text(row.recorded_at)
    values["seen_on"] = row.seen_on.isoformat()
    return values


def read_lines(path: Path) -> Iterator[Any]:
    """The ledger's id, then every row. Raises LedgerDamaged naming the line where the file does not hold together."""
    expected = 0
    last_hash = ""
    ended = False
    with path.open(encoding="utf-8", errors="strict") as handle:
        try:
            for number, text in enumerate(handle, 1):
                value = json.loads(text)
                if number == 1:
                    if value.get("sideoats_ledger") != _LINE_FORMAT:
                        raise LedgerError(f"{path.name} is not a backup of a ledger that this program can read")
                    yield str(value["id"])
                    last_hash = canon.genesis(str(value["id"]))
                elif ended:
                    raise ValueError("lines behind the last")
                elif "head" in value:
                    ended = True
                    if (value["entries"], value["head"]) != (expected, last_hash):
                        raise ValueError("the head does not match")
                else:
                    row = _row(value)
                    expected += 1
                    if row.seq != expected or canon.chained(last_hash, row) != row.hash:
                        raise ValueError(f"entry {value.get('seq')} does not match its hash")
                    last_hash = row.hash
                    yield row
        except (ValueError, KeyError, TypeError, AttributeError) as error:
            raise LedgerDamaged(f"backup {path.name} line {number}: {error}; use an older backup") from None
    if not ended:
        raise LedgerDamaged(f"backup {path.name} breaks off behind entry {expected}; use an older backup")


def _row(value: dict[str, Any]) -> Row:
    value["seen_at"] = canon.instant(value["seen_at"])
    value["recorded_at"] = canon.instant(value["recorded_at"])
    value["seen_on"] = date.fromisoformat(value["seen_on"])
    return Row(**value)


def _fill(address: str, source: Callable[[], Iterable[Any]]) -> CheckReport:
    """Rows into the empty ledger at `address`, all or none, then checked there."""

    stream = iter(source())
    ledger_id = next(stream)
    engine = engines.connect(address, create=True, ledger_id=ledger_id)
    with Book(engine, address) as ledger:
        with ledger.writing() as connection:
            if connection.execute(sa.select(entries.c.seq).limit(1)).first():
                raise LedgerError(f"ledger {engines.shown(address)} already holds entries and is not overwritten")
            if ledger.id != ledger_id:
                raise LedgerError(f"ledger {engines.shown(address)} is another, empty one; use a new database")
            batch: list[Row] = []
            for row in stream:
                batch.append(row)
                if len(batch) == _BATCH:
                    queries.insert(connection, batch)
                    batch = []
            queries.insert(connection, batch)
        report = check(ledger)
    if not report.ok:
        raise LedgerDamaged(f"the copy at {engines.shown(address)} does not verify: {report.problems[0]}")
    return report


def _copy_sqlite(source: Path, part: Path) -> None:
    """SQLite's own online copy: one state of the source, also while others write to it."""
    try:
        with _closing(_read_only(source)) as old, _closing(sqlite3.connect(part)) as new:
            old.backup(new, pages=-1)
    except sqlite3.Error as error:
        raise LedgerError(f"{source} cannot be copied to {part.parent} ({error}); nothing was changed") from None


def _one_file(part: Path) -> None:
    """Without -wal, so that the one file can be carried away; the next opening turns the write-ahead log on again."""
    with _closing(sqlite3.connect(part)) as plain:
        plain.execute("PRAGMA journal_mode=DELETE")


def _read_only(path: Path) -> sqlite3.Connection:
    return sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True)


@contextmanager
def _closing(connection: sqlite3.Connection) -> Iterator[sqlite3.Connection]:
    try:
        yield connection
    finally:
        connection.close()


def _verify_sqlite(part: Path) -> CheckReport:

    with Book.open(part, create=False) as copy:
        report = check(copy)
    _one_file(part)
    if not report.ok:
        raise LedgerDamaged(f"the copy does not verify, nothing was changed: {report.problems[0]}")
    return report


def _verify_lines(part: Path, ledger: Book) -> None:
    count = sum(1 for _ in read_lines(part)) - 1
    if count > ledger.head()[0]:
        raise LedgerDamaged(f"the copy holds {count} entries, more than the ledger")


def _is_lines(path: Path) -> bool:
    with path.open("rb") as handle:
        return handle.read(1) == b"{"


def _replaceable(ledger: Book, path: Path) -> None:
    """Only an earlier backup of the same ledger may be replaced; a slip of the finger must not cost a file."""
    if not path.exists():
        return
    try:
        if path.is_file() and _is_lines(path):
            with path.open(encoding="utf-8") as handle:
                same = json.loads(handle.readline()).get("id") == ledger.id
        else:
            with _closing(_read_only(path)) as old:
                found = old.execute("SELECT value FROM about WHERE name = 'ledger_id'").fetchone()
            same = found == (ledger.id,) and path.resolve() != Path(ledger.address).resolve()
    except (OSError, ValueError, sqlite3.Error, AttributeError):
        same = False
    if not same:
        raise LedgerError(f"{path} exists and is not a backup of this ledger; give another path")
    seq, last = _head_of(path)
    here = ledger.head()[0]
    with ledger.reading() as connection:
        held = queries.page(connection, seq - 1, 1) if seq else []
    if seq and not (held and held[0].seq == seq and held[0].hash == last):
        raise LedgerError(
            f"{path} holds {seq} entries that this ledger of {here} does not hold: the ledger was put back or changed; "
            "keep that backup, find out why, and back up under another name"
        )


def _head_of(path: Path) -> tuple[int, str]:
    """Seq and hash of the last entry of a backup; 0 and "" of an empty one."""
    if _is_lines(path):
        found = (0, "")
        for value in read_lines(path):
            if isinstance(value, Row):
                found = (value.seq, value.hash)
        return found
    with _closing(_read_only(path)) as old:
        row = old.execute("SELECT seq, hash FROM entries ORDER BY seq DESC LIMIT 1").fetchone()
    return (int(row[0]), str(row[1])) if row else (0, "")


@contextmanager
def _beside(path: Path) -> Iterator[Path]:
    """A temporary name in the folder of `path`; what is left of it is removed, also after a failure."""
    _sweep(path)
    try:
        handle, name = tempfile.mkstemp(prefix=f".{path.name}.{os.getpid()}.", suffix=".part", dir=path.parent)
    except OSError as error:
        raise LedgerError(f"{path.parent} cannot take {path.name} ({error.strerror}); nothing was changed") from None
    os.close(handle)
    part = Path(name)
    try:
        yield part
    finally:
        for leftover in (part, Path(f"{name}-wal"), Path(f"{name}-shm"), Path(f"{name}-journal")):
            leftover.unlink(missing_ok=True)


def _sweep(path: Path) -> None:
    """Parts that a killed copy of the same file left behind: they hold clients' data."""
    for left in path.parent.glob(f".{path.name}.*.part*"):
        owner = left.name.removeprefix(f".{path.name}.").split(".")[0]
        if not (owner.isdigit() and _alive(int(owner))):
            left.unlink(missing_ok=True)


def _alive(process: int) -> bool:
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except OSError:  # another account's
        return True
    return True


def _link(part: Path, path: Path) -> None:
    """Give `part` its name without ever replacing a file, even one made a moment ago."""
    try:
        os.link(part, path)
    except FileExistsError:
        raise LedgerError(f"{path} exists and is not overwritten") from None
    except OSError:  # a file system without hard links
        if path.exists():
            raise LedgerError(f"{path} exists and is not overwritten") from None
        os.rename(part, path)


def _to_disk(path: Path) -> None:
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
