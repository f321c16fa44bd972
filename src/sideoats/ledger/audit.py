"""Checking a ledger: every entry against the chain, what it points to, and the database that holds it."""

from __future__ import annotations

import importlib
import json
import re
import uuid
from collections.abc import Generator, Iterator, Mapping, Sequence
from functools import lru_cache
from typing import TYPE_CHECKING

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from sideoats.errors import LedgerDamaged, LedgerError
from sideoats.ledger import canon, queries
from sideoats.ledger.canon import Row
from sideoats.ledger.entry import CheckReport
from sideoats.ledger.seals import FORGOTTEN
from sideoats.ledger.tables import entries, seals, series

if TYPE_CHECKING:
    from sideoats.ledger.book import Book

_MOST_PROBLEMS = 50


def check(ledger: Book, anchor: tuple[int, str] | None = None) -> CheckReport:
    """Verify a whole ledger.

    Parameters
    ----------
    ledger : open ledger
    anchor : (seq, hash) noted earlier, such as the head printed in a bulletin. Only this finds that entries at the
        end were cut off, or that the whole chain was written anew.

    Returns
    -------
    CheckReport : ``problems`` names each damaged entry by its number and id
    """
    walk = _Walk(ledger, anchor)
    found: list[str] = []
    notes: list[str] = []
    for said in walk.problems():
        found.append(said)
        if len(found) >= _MOST_PROBLEMS:
            found.append("more problems follow; this list ends here")
            break
    for look in (_database, _series, _seals):
        try:
            with ledger.reading() as connection:
                found += look(connection)
        except LedgerError as error:  # a page that the database cannot read
            found.append(str(error))
    found += _keys(ledger)
    notes += walk.withheld()
    if walk.clock_steps:
        notes.append(f"the machine's clock stepped back at {walk.clock_steps} entries, first at {walk.first_step}")
    if walk.ahead:
        notes.append(f"{len(walk.ahead)} entries were recorded in the future by a wrong clock, first {walk.ahead[0]}")
    notes += [f"{said}: it corrects nothing there" for said in walk.astray[:5]]
    return CheckReport(not found, tuple(found), walk.count, (walk.seq, walk.hash), tuple(notes))


class _Walk:
    """The walk along the chain; keeps what the report needs."""

    def __init__(self, ledger: Book, anchor: tuple[int, str] | None) -> None:
        self.ledger, self.anchor = ledger, anchor
        self.seq, self.count, self.hash = 0, 0, canon.genesis(ledger.id)
        self.clock_steps, self.first_step = 0, ""
        self._last: Row | None = None
        self._told = canon.genesis(ledger.id)  # the hash that the entry in front states
        self._ids: dict[bytes, tuple[str, str]] = {}
        self._texts: dict[int, str | None] = {}
        self._unopened: set[int] = set()
        self._forgotten: set[str] = set()
        self._hidden = self._keyless = 0
        self.ahead: list[str] = []  # entries that a clock dated in the future
        self.astray: list[str] = []  # corrections of another place's entry, as an earlier version took them
        with ledger.reading() as connection:
            self._now = queries.clock(connection)

    def problems(self) -> Iterator[str]:
        """One line for each thing wrong."""
        after = 0
        while True:
            try:
                with self.ledger.reading() as connection:
                    rows = queries.page(connection, after, queries.PAGE)
                    self._open(connection, rows)
            except LedgerError as error:
                last = yield from self._around_damage(after, error)
                if last is None:
                    return
                after = last
                continue
            for row in rows:
                yield from self._one(row)
            if len(rows) < queries.PAGE:
                break
            after = rows[-1].seq
        if self.anchor and self.anchor[0] > self.seq:
            yield f"the ledger ends at entry {self.seq}, but entry {self.anchor[0]} was noted earlier: some are gone"

    def _open(self, connection: Connection, rows: Sequence[Row]) -> None:
        """The bodies of one page, opened one by one where a key does not open one of them."""
        self._texts, self._unopened = {}, set()
        self._forgotten = set(queries.forgotten(connection, FORGOTTEN))
        try:
            texts = self.ledger.seals.texts(connection, rows)
        except LedgerDamaged:
            texts = []
            for row in rows:
                try:
                    texts += self.ledger.seals.texts(connection, [row])
                except LedgerDamaged:
                    self._unopened.add(row.seq)
                    texts.append(None)
        self._texts = {row.seq: text for row, text in zip(rows, texts, strict=True)}

    def withheld(self) -> list[str]:
        """What cannot be read, and why: odd perhaps, not wrong."""
        notes = []
        if self._hidden:
            notes.append(f"{self._hidden} entries are withheld: {len(self._forgotten)} farms were forgotten")
        if self._keyless:
            notes.append(f"{self._keyless} entries are sealed, and their keys are not in {self.ledger.seals.shown()}")
        return notes

    def _around_damage(self, after: int, error: LedgerError) -> Generator[str, None, int | None]:
        """Entries of one page, each read alone, so that those that the database cannot give are named.

        Returns the seq to go on behind, None where nothing can be read any more.
        """
        read = 0
        for seq in range(after + 1, after + queries.PAGE + 1):
            try:
                with self.ledger.reading() as connection:
                    rows = queries.page(connection, seq - 1, 1)
                    self._open(connection, rows)
            except LedgerError:
                yield f"entry {seq} cannot be read: {error}"
                self.seq, self._told = seq, ""  # its hash is not known, so the next entry cannot be held against it
                continue
            if not rows:
                break
            if rows[0].seq == seq:
                read += 1
                yield from self._one(rows[0])
        return after + queries.PAGE if read else None

    def _one(self, row: Row) -> Iterator[str]:
        where = f"entry {row.seq} ({row.id})"
        if row.seq != self.seq + 1:
            yield f"entry {self.seq + 1} is missing; the next is {where}"
        elif self._told and canon.chained(self._told, row) != row.hash:
            yield f"{where} does not match its hash: it was changed after it was stored"
        yield from self._content(row, where)
        if self.anchor and self.anchor[0] == row.seq and self.anchor[1] != row.hash:
            yield f"{where} is not the entry that was noted earlier under that number"
        if row.clock_behind and not (self._last and self._last.clock_behind):
            self.clock_steps += 1
            self.first_step = self.first_step or f"entry {row.seq}, by {row.clock_behind / 1e6:.0f} s"
        self._last, self._told = row, row.hash
        self.seq, self.hash = row.seq, row.hash
        self.count += 1

    def _content(self, row: Row, where: str) -> Iterator[str]:
        try:
            key = uuid.UUID(row.id).bytes
        except ValueError:
            yield f"{where} has an id that is not a UUID"
            return
        text = self._texts.get(row.seq) if row.seal else row.body
        if row.seq in self._unopened:
            yield f"{where} is sealed, and its key does not open it"
        elif text is not None:
            try:
                body = json.loads(text)
                if not isinstance(body, dict) or canon.body_text(body) != text:
                    raise ValueError
            except (ValueError, RecursionError, LedgerError):
                yield f"{where} has a body that is not canonical JSON"
        if self._texts.get(row.seq) is None and row.seq not in self._unopened:
            self._hidden += row.farm in self._forgotten
            self._keyless += row.farm not in self._forgotten
        if key in self._ids:
            yield f"{where} has an id that an earlier entry has"
        if self._last and row.recorded_at < self._last.recorded_at and not row.clock_behind:
            yield f"{where} was recorded before the entry in front of it"
        if row.recorded_at > self._now:
            self.ahead.append(f"entry {row.seq}, {row.recorded_at:%Y-%m-%d}")
        if row.corrects:
            old = self._ids.get(uuid.UUID(row.corrects).bytes)
            if old is None:
                yield f"{where} corrects {row.corrects}, which is not in front of it"
            elif old != (row.place, row.farm) and not (row.place and row.place == old[0]):
                if row.place or old[0]:
                    yield f"{where} corrects {row.corrects} at another place"
                else:  # an earlier version took such a correction from another farm
                    self.astray.append(f"{where} corrects {row.corrects}, which is of {old[1] or 'no farm'}")
        self._ids[key] = (row.place, row.farm)


def _database(connection: Connection) -> list[str]:
    found = []
    if connection.dialect.name == "sqlite":
        for pragma in ("integrity_check(20)", "foreign_key_check"):
            said = [" ".join(str(v) for v in row) for row in connection.exec_driver_sql(f"PRAGMA {pragma}")]
            found += [f"database: {line}" for line in said if line != "ok"]
        held = connection.exec_driver_sql("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'")
    else:
        held = connection.exec_driver_sql(
            "SELECT tgname, tgrelid::regclass || ' ' || (tgtype::int)::text || ' ' || p.proname || ' ' || p.prosrc "
            "FROM pg_trigger JOIN pg_class c ON c.oid = tgrelid JOIN pg_proc p ON p.oid = tgfoid "
            "WHERE NOT tgisinternal AND tgenabled <> 'D' "
            "AND c.relnamespace = (SELECT relnamespace FROM pg_class WHERE oid = to_regclass('entries'))"
        )
    return found + _guards(connection.dialect.name, {str(name): _words(str(text)) for name, text in held})


def _guards(dialect: str, there: Mapping[str, str]) -> list[str]:
    """Guards that are missing, that say something else than they should, and triggers that are not ours."""
    wanted = _sqlite_guards() if dialect == "sqlite" else _postgresql_guards()
    found = []
    for name in sorted(wanted):
        if name not in there:
            found.append(f"the guard {name} is missing: the ledger is not protected against changes")
        elif wanted[name] != there[name]:
            found.append(f"the guard {name} was changed: the ledger is not protected as it should be")
    foreign = sorted(there.keys() - wanted.keys())
    return found + [f"the trigger {name} is not one of the ledger's: it may hide or change entries" for name in foreign]


def _words(text: str) -> str:
    return " ".join(text.split())


def _statements(dialect: str) -> list[str]:
    """The statements by which the migrations make the guards."""
    first, third = (
        importlib.import_module(f"sideoats.ledger.migrations.versions.{name}")
        for name in ("0001_entries", "0003_keys_apart")
    )
    made: list[str] = first._sqlite() if dialect == "sqlite" else first._postgresql()
    return [*made, third.guard(dialect)]


@lru_cache(maxsize=1)
def _sqlite_guards() -> Mapping[str, str]:
    return {s.split()[2]: _words(s) for s in _statements("sqlite") if s.startswith("CREATE TRIGGER")}


@lru_cache(maxsize=1)
def _postgresql_guards() -> Mapping[str, str]:
    """Name -> table, kind of trigger as PostgreSQL numbers it, function and its body."""
    bodies, out = {}, {}
    kinds = {"BEFORE UPDATE OR DELETE": 27, "BEFORE TRUNCATE": 34, "BEFORE INSERT": 7, "BEFORE DELETE": 11,
             "BEFORE UPDATE": 19}  # fmt: skip
    for statement in _statements("postgresql"):
        if made := re.match(r"CREATE FUNCTION (\w+)\(\).*?\$\$ ?(.*?) ?\$\$", statement):
            bodies[made[1]] = made[2]
        elif made := re.match(r"CREATE TRIGGER (\w+) (BEFORE [A-Z ]+?) ON (\w+) .*FUNCTION (\w+)\(\)", statement):
            out[made[1]] = _words(f"{made[3]} {kinds[made[2]]} {made[4]} {bodies[made[4]]}")
    return out


def _series(connection: Connection) -> list[str]:
    """Entries whose series is not listed would be passed over by `latest`; a row without entries was planted."""
    planted = (
        sa.select(series.c.kind, series.c.subject, series.c.topic)
        .where(
            ~sa.exists().where(
                entries.c.kind == series.c.kind,
                entries.c.subject == series.c.subject,
                entries.c.topic == series.c.topic,
            )
        )
        .limit(5)
    )
    lost = (
        sa.select(entries.c.kind, entries.c.subject, entries.c.topic)
        .distinct()
        .where(
            ~sa.exists().where(
                series.c.kind == entries.c.kind,
                series.c.subject == entries.c.subject,
                series.c.topic == entries.c.topic,
            )
        )
        .limit(5)
    )
    return [
        f"entries of {kind} at {subject or 'no place'} {topic} are not listed in the table series"
        for kind, subject, topic in connection.execute(lost)
    ] + [
        f"the table series lists {kind} at {subject or 'no place'} {topic}, of which there is no entry: it was planted"
        for kind, subject, topic in connection.execute(planted)
    ]


def _seals(connection: Connection) -> list[str]:
    """Entries whose seal is not listed: forgetting their farm would leave their key."""
    lost = (
        sa.select(entries.c.farm, entries.c.seal)
        .distinct()
        .where(entries.c.seal != "", ~sa.exists().where(seals.c.seal == entries.c.seal, seals.c.farm == entries.c.farm))
        .limit(5)
    )
    return [
        f"entries of farm {farm} have a seal that is not listed in the table seals"
        for farm, _ in connection.execute(lost)
    ]


def _keys(ledger: Book) -> list[str]:
    """Keys of forgotten farms that could not be destroyed."""
    try:
        with ledger.reading() as connection:
            gone = queries.seals_of(connection, queries.forgotten(connection, FORGOTTEN))
        left = len(gone.keys() & ledger.seals.store.all().keys()) if gone and ledger.seals.store else 0
    except LedgerError as error:
        return [str(error)]
    return [f"{left} keys of forgotten farms are still in {ledger.seals.shown()}"] if left else []
