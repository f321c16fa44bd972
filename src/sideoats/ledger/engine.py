"""Opening the database behind a ledger: SQLite file or PostgreSQL URL, brought to the present schema.

SQLite: write-ahead log, every commit forced to disk (synchronous FULL), foreign keys and recursive triggers on, the
schema not trusted, and write transactions that take the lock at once (BEGIN IMMEDIATE), so that two writers queue
instead of failing half-way. PostgreSQL: one advisory lock, held to the end of the transaction, orders writers and
migrations.
"""

from __future__ import annotations

import hashlib
import os
import time
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import URL, Connection, Engine, make_url

from sideoats.errors import LedgerDamaged, LedgerError
from sideoats.ledger import tables
from sideoats.ledger.address import is_url

REVISION = "0003"  # the newest migration; a test compares it with the migrations folder
_APPLICATION_ID = 0x53694F61
_LOCK = int.from_bytes(hashlib.sha256(b"sideoats ledger").digest()[:8], "big", signed=True)
_BUSY_MS = 60_000
_DAMAGE = ("malformed", "not a database", "invalid page", "could not read block", "database corruption")


def shown(address: str) -> str:
    """`address` without its password, for messages."""
    if not is_url(address):
        return address
    try:
        return _url(address).render_as_string(hide_password=True)
    except LedgerError:
        return "postgresql://..."


def connect(address: str, *, create: bool, ledger_id: str | None = None) -> Engine:
    """An engine on a ledger with the present schema. Raises LedgerError with one line."""
    engine = postgresql_engine(address) if is_url(address) else _sqlite(Path(address), create)
    try:
        with reporting(address):
            _bring_up_to_date(engine, address, create, ledger_id)
    except BaseException:
        engine.dispose()
        raise
    return engine


def _url(address: str) -> URL:
    try:
        url = make_url(address)
    except sa.exc.ArgumentError:
        raise LedgerError("the address of the ledger is not a URL; expected postgresql://user@host/database") from None
    return url.set(drivername="postgresql+psycopg")


def postgresql_engine(address: str) -> Engine:
    """An engine on a PostgreSQL database, whatever is in it. Raises LedgerError without the driver."""
    try:
        import psycopg  # noqa: F401
    except ImportError:
        raise LedgerError("PostgreSQL needs the office extra; install sideoats[office]") from None
    # Without prepared statements: a plan made while the tables were empty would be kept for the load of 100,000 places.
    settings: dict[str, Any] = {"connect_timeout": 10, "prepare_threshold": None}
    engine = sa.create_engine(_url(address), pool_pre_ping=True, connect_args=settings)
    sa.event.listen(engine, "connect", _set_planner)
    return engine


def _set_planner(connection: Any, _record: Any) -> None:
    """Every statement here goes by an index. Right after a bulk load the server knows no better than that the tables
    are nearly empty, and would read them whole, once for each place, until its statistics have caught up."""
    with connection.cursor() as cursor:
        cursor.execute("SET enable_seqscan = off")
    connection.commit()


def _sqlite(path: Path, create: bool) -> Engine:
    if path.is_dir():
        raise LedgerError(f"{path} is a folder; expected the path of a ledger file")
    if not path.exists():
        if not create:
            raise LedgerError(f"no ledger at {path}; give another with --ledger; recording something makes one")
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            # Other people's records: readable by their keeper only. SQLite gives -wal and -shm the same mode.
            os.close(os.open(path, os.O_CREAT | os.O_RDWR, 0o600))
        except OSError as error:
            raise LedgerError(f"{path} cannot be made ({error.strerror}); choose another folder") from None
    engine = sa.create_engine(
        URL.create("sqlite", database=str(path)),
        connect_args={"timeout": _BUSY_MS / 1000, "check_same_thread": False},
    )
    sa.event.listen(engine, "connect", _set_pragmas)
    sa.event.listen(engine, "begin", begin)
    return engine


def _set_pragmas(connection: Any, _record: Any) -> None:
    import sqlite3

    connection.isolation_level = None  # transactions are begun by `begin`, not by the driver
    cursor = connection.cursor()
    cursor.execute(f"PRAGMA busy_timeout={_BUSY_MS}")
    cursor.execute("PRAGMA trusted_schema=OFF")
    for attempt in range(200):  # changing to WAL does not wait for the busy timeout when two processes open at once
        try:
            mode = cursor.execute("PRAGMA journal_mode=WAL").fetchone()[0]
            break
        except sqlite3.OperationalError as error:
            if "locked" not in str(error) or attempt == 199:
                raise
            time.sleep(0.02)
    if mode != "wal":
        raise sqlite3.OperationalError("this folder does not allow a write-ahead log (is it a network share?)")
    cursor.execute("PRAGMA synchronous=FULL")
    cursor.execute("PRAGMA fullfsync=ON")
    cursor.execute("PRAGMA foreign_keys=ON")
    cursor.execute("PRAGMA recursive_triggers=ON")
    cursor.close()


def begin(connection: Connection) -> None:
    """Begin a transaction on SQLite; one that writes takes the lock at once."""
    writes = connection.get_execution_options().get("sideoats_writes")
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


@contextmanager
def reading(engine: Engine, address: str) -> Iterator[Connection]:
    """A short transaction that sees one state of the ledger."""
    with reporting(address), engine.connect() as connection, connection.begin():
        yield connection


@contextmanager
def writing(engine: Engine, address: str) -> Iterator[Connection]:
    """A transaction that holds the ledger's write lock until it is on disk."""
    with reporting(address), engine.connect().execution_options(sideoats_writes=True) as connection, connection.begin():
        if engine.dialect.name == "postgresql":
            connection.execute(sa.text("SET LOCAL synchronous_commit = on"))
            connection.execute(sa.text("SET LOCAL lock_timeout = '60s'"))
            connection.execute(sa.text("SELECT pg_advisory_xact_lock(:key)"), {"key": _LOCK})
        yield connection


@contextmanager
def reporting(address: str) -> Iterator[None]:
    """Turns what a database says into one line of ours."""
    try:
        yield
    except sa.exc.SQLAlchemyError as error:
        said = str(getattr(error, "orig", None) or error)
        where = f"ledger {shown(address)}"
        low = said.lower()
        if any(word in low for word in _DAMAGE):
            raise LedgerDamaged(f"{where}: {said}; restore the newest backup, keep this file") from None
        for words, line in _SAID:
            if any(word in low for word in words):
                raise LedgerError(f"{where}: {line} ({said})") from None
        raise LedgerError(f"{where}: {said}") from None


_UNREACHED = "the server cannot be reached, nothing was stored"
# Whether the last commit still arrived cannot be known from here; sending again is safe, because ids are stored once.
_LOST = "the connection to the server was lost; send again what was not acknowledged, nothing is stored twice"
_SAID: tuple[tuple[tuple[str, ...], str], ...] = (
    (("database is locked", "lock timeout"), "another program writes for too long; nothing was stored, try again"),
    (("disk is full", "no space left", "disk i/o error"), "the disk is full or failing; nothing was stored"),
    (("unable to open", "readonly", "read-only"), "its folder must be writable, even for reading"),
    (("append-only", "in order"), "entries are never changed or removed; append a correction instead"),
    (("closed the connection", "terminating connection", "connection is lost"), _LOST),
    (("connection failed", "connection is bad", "refused", "could not", "timeout"), _UNREACHED),
    (("permission denied",), "this database user may not do that"),
)


def _revision(connection: Connection) -> str | None:
    """The schema's revision, None where the tables are not there yet."""
    if not sa.inspect(connection).has_table("alembic_version"):
        return None
    found: str | None = connection.execute(sa.text("SELECT version_num FROM alembic_version")).scalar()
    return found


def _bring_up_to_date(engine: Engine, address: str, create: bool, ledger_id: str | None) -> None:
    with engine.connect() as connection, connection.begin():
        if _revision(connection) == REVISION:
            return
    with writing(engine, address) as connection:
        found = _revision(connection)
        if found == REVISION:  # another process was quicker
            return
        if found is None:
            _refuse_strangers(connection, address, create)
        elif found > REVISION:
            raise LedgerError(
                f"ledger {shown(address)}: its schema {found} is newer than this program; install a newer Sideoats"
            )
        upgrade(connection)
        if found is None:
            connection.execute(sa.insert(tables.about).values(name="ledger_id", value=ledger_id or str(uuid.uuid4())))


def _refuse_strangers(connection: Connection, address: str, create: bool) -> None:
    where = f"ledger {shown(address)}"
    if not create:
        raise LedgerError(f"{where}: there is no ledger in it yet")
    taken = sa.inspect(connection).get_table_names()
    if taken:
        raise LedgerError(f"{where}: the database belongs to another program (it has a table {sorted(taken)[0]!r})")
    if connection.dialect.name == "sqlite":
        connection.exec_driver_sql(f"PRAGMA application_id={_APPLICATION_ID}")
        return
    encoding = connection.execute(sa.text("SHOW server_encoding")).scalar()
    if encoding != "UTF8":
        raise LedgerError(f"{where}: the database is encoded in {encoding}; expected one created with ENCODING 'UTF8'")


def upgrade(connection: Connection, to: str = REVISION) -> None:
    """Run the migrations that are missing up to revision `to`, inside the caller's transaction."""
    from alembic import command
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent / "migrations").replace("%", "%%"))
    config.attributes["connection"] = connection
    command.upgrade(config, to)
