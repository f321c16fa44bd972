"""The keys of sealed farms, kept apart from the ledger so that no copy of the ledger carries them.

A store holds one row a seal: its id and its key, nothing about the client. It is a small SQLite file, or a database of
its own on a PostgreSQL server. Its place is ``SIDEOATS_KEYS``, else, for a ledger in a file, that file's name with
``.keys`` behind it. Several ledgers may share one store, because the ids of seals are random.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import URL, Connection, Engine
from sqlalchemy.pool import NullPool

from sideoats.errors import LedgerError
from sideoats.ledger import engine as engines
from sideoats.ledger.address import is_url

SUFFIX = ".keys"
_APPLICATION_ID = 0x53694F6B
_BUSY_MS = 60_000
_CHUNK = 500

_metadata = sa.MetaData()
_keys = sa.Table(
    "keys",
    _metadata,
    sa.Column("seal", sa.Text, primary_key=True),
    sa.Column("key", sa.Text, nullable=False),
    sqlite_strict=True,
)


def keys_address(ledger_address: str) -> str | None:
    """Where the keys of the ledger at `ledger_address` are; None where that has not been said."""
    named = os.environ.get("SIDEOATS_KEYS", "")
    if named:
        return named
    return None if is_url(ledger_address) else ledger_address + SUFFIX


class KeyStore:
    """One store of keys. Nothing is kept open between calls; each change is on disk when its call returns.

    Raises LedgerError, from every method, where the store cannot be used.
    """

    def __init__(self, address: str) -> None:
        self.address = address

    def all(self) -> dict[str, str]:
        """Seal to key; nothing where there is no store yet."""
        if not is_url(self.address) and not Path(self.address).exists():
            return {}
        with self._engine() as engine, engines.reading(engine, self.address) as connection:
            if not self._is_made(connection):
                return {}
            return {seal: key for seal, key in connection.execute(sa.select(_keys.c.seal, _keys.c.key))}

    def add(self, new: Mapping[str, str]) -> None:
        """Keep keys; those that are there already stay as they are. Makes the store where there is none."""
        if not new:
            return
        with self._engine() as engine:
            self._make(engine)
            with engines.writing(engine, self.address) as connection:
                have = set(connection.execute(sa.select(_keys.c.seal)).scalars())
                rows = [{"seal": seal, "key": key} for seal, key in new.items() if seal not in have]
                if rows:
                    connection.execute(sa.insert(_keys), rows)

    def make(self) -> None:
        """Make the store where there is none: whether a place can hold keys is known before a farm needs one."""
        with self._engine() as engine:
            self._make(engine)

    def _make(self, engine: Engine) -> None:
        with engines.reading(engine, self.address) as connection:
            made = self._is_made(connection)  # before the lock: it may be the ledger's own database
        if not made:
            with engines.writing(engine, self.address) as connection:
                _metadata.create_all(connection)

    def destroy(self, seals: Iterable[str]) -> int:
        """Destroy the keys of `seals`; how many were there."""
        listed, count = list(seals), 0
        if not set(listed) & set(self.all()):
            return 0
        with self._engine() as engine, engines.writing(engine, self.address) as connection:
            for at in range(0, len(listed), _CHUNK):
                gone = sa.delete(_keys).where(_keys.c.seal.in_(listed[at : at + _CHUNK]))
                count += connection.execute(gone).rowcount
        return count

    def _is_made(self, connection: Connection) -> bool:
        tables = set(sa.inspect(connection).get_table_names())
        if "keys" in tables and "entries" not in tables:
            return True
        if tables:
            raise LedgerError(
                f"keys {engines.shown(self.address)}: this is a ledger or another program's database; "
                "keep the keys in a file or database of their own"
            )
        return False

    @contextmanager
    def _engine(self) -> Iterator[Engine]:
        url = is_url(self.address)
        engine = engines.postgresql_engine(self.address) if url else _file(Path(self.address))
        try:
            yield engine
        finally:
            engine.dispose()


def _file(path: Path) -> Engine:
    try:
        if not path.exists():
            path.parent.mkdir(parents=True, exist_ok=True)
            os.close(os.open(path, os.O_CREAT | os.O_RDWR, 0o600))
    except OSError as error:
        raise LedgerError(f"keys {path} cannot be made ({error.strerror}); choose another place") from None
    engine = sa.create_engine(
        URL.create("sqlite", database=str(path)), poolclass=NullPool, connect_args={"timeout": _BUSY_MS / 1000}
    )
    sa.event.listen(engine, "connect", _set_pragmas)
    sa.event.listen(engine, "begin", engines.begin)
    return engine


def _set_pragmas(connection: Any, _record: Any) -> None:
    connection.isolation_level = None
    cursor = connection.cursor()
    cursor.execute(f"PRAGMA busy_timeout={_BUSY_MS}")
    cursor.execute("PRAGMA trusted_schema=OFF")
    cursor.execute("PRAGMA secure_delete=ON")  # a destroyed key is overwritten in the file
    cursor.execute("PRAGMA synchronous=EXTRA")
    cursor.execute("PRAGMA fullfsync=ON")
    cursor.close()
