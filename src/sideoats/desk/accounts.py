"""Who may use an office's desk, and the sessions they have open: a small SQLite file beside the ledger.

Passwords are kept as argon2id hashes, sessions as SHA-256 of a random key that only the browser holds, so a copied file
opens nothing. A desk for one person keeps the same tables in memory.
"""

from __future__ import annotations

import hashlib
import os
import re
import secrets
import sqlite3
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

from sideoats.errors import InputError

ROLES = ("adviser", "scout", "reader")
SHORTEST, LONGEST = 12, 400
_NAME = re.compile(r"[a-z0-9][a-z0-9._-]{1,39}")
_SCHEMA = """
CREATE TABLE IF NOT EXISTS person (
  name TEXT PRIMARY KEY, role TEXT NOT NULL, hash TEXT NOT NULL, farms TEXT NOT NULL DEFAULT '',
  made REAL NOT NULL, closed REAL) STRICT;
CREATE TABLE IF NOT EXISTS session (
  key_hash TEXT PRIMARY KEY, person TEXT NOT NULL REFERENCES person(name), made REAL NOT NULL, seen REAL NOT NULL,
  device TEXT NOT NULL, ended REAL) STRICT;
"""


@dataclass(frozen=True)
class Person:
    """Someone signed in. `farms` are the ids of the only farms they may see; () means all."""

    name: str
    role: str
    farms: tuple[str, ...] = ()

    def sees(self, farm: str | None) -> bool:
        """Whether a farm's records may be shown to them (what belongs to no farm is shown to all)."""
        return not self.farms or not farm or farm in self.farms


@dataclass(frozen=True)
class Session:
    """One open session, as listed to its owner; `short` names it without giving its key away."""

    short: str
    person: str
    made: float
    seen: float
    device: str


class Accounts:
    """People and sessions. Safe to share between threads.

    Parameters
    ----------
    path : the file, made with mode 0600; None keeps everything in memory
    idle_hours, session_days : when a session ends by itself
    """

    def __init__(self, path: Path | None, *, idle_hours: float = 12, session_days: float = 14) -> None:
        if path is not None and not path.exists():
            os.close(os.open(path, os.O_CREAT | os.O_RDWR, 0o600))
        self._lock = threading.Lock()
        self._db = sqlite3.connect(":memory:" if path is None else path, check_same_thread=False, isolation_level=None)
        self._db.execute("PRAGMA trusted_schema=OFF")
        if path is not None:
            self._db.execute("PRAGMA journal_mode=WAL")
            self._db.execute("PRAGMA synchronous=FULL")
        self._db.executescript(_SCHEMA)
        self._idle, self._most = idle_hours * 3600, session_days * 86400

    def close(self) -> None:
        """Close the file."""
        self._db.close()

    @contextmanager
    def _using(self) -> Iterator[sqlite3.Connection]:
        with self._lock:
            yield self._db

    def _one(self, statement: str, *values: Any) -> Any:
        with self._using() as db:
            return db.execute(statement, values).fetchone()

    # People

    def add(self, name: str, password: str, role: str, farms: tuple[str, ...] = ()) -> Person:
        """A new person. Raises InputError for a bad name, role or password, or a name that is taken."""
        if not _NAME.fullmatch(name):
            raise InputError(
                f"{name[:50]!r} cannot be a name", expected="2 to 40 of a-z, 0-9, dot, dash, underscore", where="name"
            )
        if role not in ROLES:
            raise InputError(f"{role[:50]!r} is not a role", expected="one of " + ", ".join(ROLES), where="role")
        check_password(password, name)
        with self._using() as db:
            if db.execute("SELECT 1 FROM person WHERE name = ?", (name,)).fetchone():
                raise InputError(f"{name!r} is taken", where="name", todo="choose another name")
            db.execute(
                "INSERT INTO person (name, role, hash, farms, made) VALUES (?, ?, ?, ?, ?)",
                (name, role, _hasher().hash(password), " ".join(farms), time.time()),
            )
        return Person(name, role, farms)

    def people(self) -> list[tuple[Person, bool]]:
        """Everyone, and whether their account is open."""
        with self._using() as db:
            rows = db.execute("SELECT name, role, farms, closed FROM person ORDER BY name").fetchall()
        return [(Person(name, role, tuple(farms.split())), closed is None) for name, role, farms, closed in rows]

    def has(self, name: str) -> bool:
        """Whether there is an account of that name, open or closed."""
        return self._one("SELECT 1 FROM person WHERE name = ?", name) is not None

    def change(
        self, name: str, *, role: str | None = None, password: str | None = None, closed: bool | None = None
    ) -> None:
        """Change a role, a password, or close or reopen an account; every session of theirs ends.

        Raises InputError for an unknown name, a bad value, or a change that would leave no adviser.
        """
        if self._one("SELECT 1 FROM person WHERE name = ?", name) is None:
            raise InputError(f"{name[:50]!r} has no account", where="name")
        if role is not None and role not in ROLES:
            raise InputError(f"{role[:50]!r} is not a role", expected="one of " + ", ".join(ROLES), where="role")
        if password is not None:
            check_password(password, name)
        advisers = [p.name for p, is_open in self.people() if is_open and p.role == "adviser"]
        if advisers == [name] and (closed or role not in (None, "adviser")):
            raise InputError(f"{name!r} is the last adviser", todo="make someone else an adviser first")
        with self._using() as db:
            if role is not None:
                db.execute("UPDATE person SET role = ? WHERE name = ?", (role, name))
            if password is not None:
                db.execute("UPDATE person SET hash = ? WHERE name = ?", (_hasher().hash(password), name))
            if closed is not None:
                db.execute("UPDATE person SET closed = ? WHERE name = ?", (time.time() if closed else None, name))
            db.execute("UPDATE session SET ended = ? WHERE person = ? AND ended IS NULL", (time.time(), name))

    def check(self, name: str, password: str) -> Person | None:
        """The person if name and password are right; takes as long for an unknown name as for a wrong password."""
        from argon2.exceptions import VerificationError

        row = self._one("SELECT name, role, hash, farms FROM person WHERE name = ? AND closed IS NULL", name)
        try:
            _hasher().verify(row[2] if row else _decoy(), password[:LONGEST])
        except VerificationError:
            return None
        if row is None:
            return None
        if _hasher().check_needs_rehash(row[2]):
            with self._using() as db:
                db.execute("UPDATE person SET hash = ? WHERE name = ?", (_hasher().hash(password), row[0]))
        return Person(row[0], row[1], tuple(row[3].split()))

    # Sessions

    def begin(self, person: Person, device: str = "") -> str:
        """A new session; the key goes into the browser's cookie and is kept nowhere else."""
        key, now = secrets.token_urlsafe(32), time.time()
        with self._using() as db:
            db.execute(
                "INSERT OR IGNORE INTO person (name, role, hash, made) VALUES (?, ?, '!', ?)",
                (person.name, person.role, now),
            )
            db.execute(
                "INSERT INTO session (key_hash, person, made, seen, device) VALUES (?, ?, ?, ?, ?)",
                (_digest(key), person.name, now, now, device[:200]),
            )
        return key

    def who(self, key: str) -> Person | None:
        """The person behind a session key, if the session is still open."""
        now, digest = time.time(), _digest(key)
        with self._using() as db:
            row = db.execute(
                "SELECT p.name, p.role, p.farms, s.made, s.seen FROM session s JOIN person p ON p.name = s.person"
                " WHERE s.key_hash = ? AND s.ended IS NULL AND p.closed IS NULL",
                (digest,),
            ).fetchone()
            if row is None:
                return None
            if now - row[4] > self._idle or now - row[3] > self._most:
                db.execute("UPDATE session SET ended = ? WHERE key_hash = ?", (now, digest))
                return None
            if now - row[4] > 60:
                db.execute("UPDATE session SET seen = ? WHERE key_hash = ?", (now, digest))
        return Person(row[0], row[1], tuple(row[2].split()))

    def end(self, key: str) -> None:
        """End a session on the server; its key opens nothing any more."""
        with self._using() as db:
            db.execute("UPDATE session SET ended = ? WHERE key_hash = ? AND ended IS NULL", (time.time(), _digest(key)))

    def sessions(self, person: str) -> list[Session]:
        """Someone's open sessions, the newest first."""
        since = time.time() - self._idle
        with self._using() as db:
            rows = db.execute(
                "SELECT key_hash, person, made, seen, device FROM session"
                " WHERE person = ? AND ended IS NULL AND seen > ? ORDER BY seen DESC",
                (person, since),
            ).fetchall()
        return [Session(row[0][:12], *row[1:]) for row in rows]

    def end_by_name(self, person: str, short: str) -> bool:
        """End the session of `person` that `sessions` lists as `short`."""
        with self._using() as db:
            done = db.execute(
                "UPDATE session SET ended = ? WHERE person = ? AND substr(key_hash, 1, 12) = ? AND ended IS NULL",
                (time.time(), person, short),
            )
            return done.rowcount > 0


def check_password(password: str, name: str = "") -> None:
    """Refuse a password that is short, enormous, common, or holds the person's name. Raises InputError."""
    where, folded = "password", password.casefold()
    if len(password) < SHORTEST:
        raise InputError("is too short", where=where, expected=f"{SHORTEST} characters or more; several words do well")
    if len(password) > LONGEST:
        raise InputError("is too long", where=where, expected=f"{LONGEST} characters at most")
    if len(set(folded)) < 5 or folded in _common() or re.sub(r"[\d\W_]+$", "", folded) in _common():
        raise InputError("is one of those tried first", where=where, expected="words that do not belong together")
    if name and name.casefold() in folded:
        raise InputError("holds the name of the account", where=where)


@lru_cache(maxsize=1)
def _common() -> frozenset[str]:
    text = (Path(__file__).parent / "common_passwords.txt").read_text(encoding="utf-8")
    return frozenset(line.strip() for line in text.splitlines() if line.strip() and not line.startswith("#"))


@lru_cache(maxsize=1)
def _hasher() -> Any:
    from argon2 import PasswordHasher

    return PasswordHasher()


@lru_cache(maxsize=1)
def _decoy() -> str:
    return str(_hasher().hash(secrets.token_urlsafe(16)))


def _digest(key: str) -> str:
    return hashlib.sha256(key.encode("utf-8", "replace")).hexdigest()
