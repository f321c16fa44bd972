"""Every statement that the ledger sends, in one place."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, date, datetime, timedelta
from functools import lru_cache
from typing import Any

import msgspec
import sqlalchemy as sa
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.engine import Connection

from sideoats.ledger import canon
from sideoats.ledger.canon import Row
from sideoats.ledger.entry import Entry
from sideoats.ledger.evidence import kind_now, kinds_ever
from sideoats.ledger.tables import about, entries, seals, series

PAGE = 1000
_CHUNK = 500
MOST_GUESSED = 5000
_COPY_FROM = 200  # rows from which COPY beats INSERT
_LATER = entries.alias("later")
COLUMNS = [entries.c[name] for name in Row._fields]


def clock(connection: Connection) -> datetime:
    """Now: by the server's clock on PostgreSQL, so that writers on several machines do not disagree."""
    if connection.dialect.name != "postgresql":
        return datetime.now(UTC)
    now: datetime = connection.execute(sa.text("SELECT clock_timestamp()")).scalar_one()
    return now.astimezone(UTC)


def ledger_id(connection: Connection) -> str:
    """The id that the ledger was born with; a copy keeps it."""
    return str(connection.execute(sa.select(about.c.value).where(about.c.name == "ledger_id")).scalar_one())


def head(connection: Connection, ledger: str) -> tuple[int, str, datetime | None]:
    """Seq, hash and recording time of the last entry; 0, the hash in front of the first and None if empty."""
    last = sa.select(entries.c.seq, entries.c.hash, entries.c.recorded_at).order_by(entries.c.seq.desc()).limit(1)
    found = connection.execute(last).first()
    return (found.seq, found.hash, found.recorded_at) if found else (0, canon.genesis(ledger), None)


def _rows(connection: Connection, statement: sa.Select[Any], values: Mapping[str, Any] | None = None) -> list[Row]:
    return [Row._make(found) for found in connection.execute(statement, values or {})]


def _chunks(values: Iterable[str]) -> Iterable[list[str]]:
    listed = list(values)
    for start in range(0, len(listed), _CHUNK):
        yield listed[start : start + _CHUNK]


def by_ids(connection: Connection, ids: Iterable[str]) -> dict[str, Row]:
    """Those of `ids` that are there."""
    found: dict[str, Row] = {}
    for chunk in _chunks(ids):
        for row in _rows(connection, sa.select(*COLUMNS).where(entries.c.id.in_(chunk))):
            found[row.id] = row
    return found


def corrections_of(connection: Connection, ids: Iterable[str]) -> dict[str, str]:
    """Corrected id to the id of its correction."""
    found: dict[str, str] = {}
    for chunk in _chunks(ids):
        statement = sa.select(entries.c.corrects, entries.c.id).where(entries.c.corrects.in_(chunk))
        found.update((corrects, correction) for corrects, correction in connection.execute(statement))
    return found


def subjects(connection: Connection, kind: str, most: int | None = MOST_GUESSED) -> list[str]:
    """Ids that `kind` has been recorded for; by itself so many as are enough to guess what a mistyped id meant."""
    statement = sa.select(series.c.subject).where(series.c.kind == kind).limit(most)
    return list(connection.execute(statement).scalars())


def forgotten(connection: Connection, kind: str) -> list[str]:
    """Farms of which the chain says that they were forgotten: `series` is made from the chain and proves nothing."""
    statement = sa.select(entries.c.farm).distinct().where(entries.c.kind == kind)
    return list(connection.execute(statement).scalars())


def latest(
    connection: Connection, kinds: Sequence[str], on: date | None, subjects: Sequence[str] | None = None
) -> list[Row]:
    """Newest uncorrected entry of every series of `kinds`, seen on or before `on`.

    One seek in the index entries_by_series for each series: the time does not grow with the history.
    """
    values: dict[str, Any] = {"kinds": list(kinds)}
    if on is not None:
        # The day ends last at UTC-12, so no entry of the day was seen later than this instant; the index seeks to it.
        values["ends"] = datetime(on.year, on.month, on.day, tzinfo=UTC) + timedelta(days=1, hours=12)
        values["on"] = on
    statement = _latest(connection.dialect.name, on is not None, subjects is not None)
    if subjects is None:
        return _rows(connection, statement, values)
    found = []
    for chunk in _chunks(subjects):
        found += _rows(connection, statement, {**values, "subjects": chunk})
    return found


@lru_cache(maxsize=8)
def _latest(dialect: str, dated: bool, chosen: bool) -> sa.Select[Any]:
    """The statement of `latest`; built once, because building it takes longer than a single answer."""
    inner, later = entries.alias("inner_entries"), _LATER
    newest = (
        sa.select(inner.c.seq)
        .where(inner.c.kind == series.c.kind, inner.c.subject == series.c.subject, inner.c.topic == series.c.topic)
        .where(~sa.exists().where(later.c.corrects == inner.c.id))
        .order_by(inner.c.seen_at.desc(), inner.c.seq.desc())
        .limit(1)
    )
    if dated:
        newest = newest.where(inner.c.seen_at < sa.bindparam("ends"), inner.c.seen_on <= sa.bindparam("on"))
    if dialect == "postgresql":
        seek = newest.correlate(series).lateral("newest")
        source = series.join(seek, sa.true()).join(entries, entries.c.seq == seek.c.seq)
    else:
        source = series.join(entries, entries.c.seq == newest.correlate(series).scalar_subquery())
    statement = sa.select(*COLUMNS).select_from(source)
    statement = statement.where(series.c.kind.in_(sa.bindparam("kinds", expanding=True)))
    return statement.where(series.c.subject.in_(sa.bindparam("subjects", expanding=True))) if chosen else statement


def history(
    connection: Connection,
    place: str | None,
    farm: str | None,
    kind: str | None,
    since: date | None,
    until: date | None,
    corrected: bool,
    after: tuple[datetime, int] | None,
) -> list[Row]:
    """One page of entries by (seen_at, seq), beginning behind `after`."""
    e, later = entries.c, _LATER
    statement = sa.select(*COLUMNS).order_by(e.seen_at, e.seq).limit(PAGE)
    for column, value in ((e.place, place), (e.farm, farm)):
        if value is not None:
            statement = statement.where(column == value)
    if kind is not None:
        statement = statement.where(_is(kind))
    if place and kind is not None:
        # Leads SQLite to the index by series; to spare a sort it would walk through the kind's entries at all places.
        statement = statement.where(e.subject == place, e.topic >= "")
    statement = _between(statement, since, until)
    if not corrected:
        statement = statement.where(~sa.exists().where(later.c.corrects == e.id))
    if after is not None:
        seen, seq = after
        statement = statement.where(e.seen_at >= seen, sa.or_(e.seen_at > seen, e.seq > seq))
    return _rows(connection, statement)


def _is(kind: str) -> sa.ColumnElement[bool]:
    """Of a kind, under whatever name it was stored; one name stays an equality, which leads to the index."""
    names = kinds_ever(kind)
    return entries.c.kind == kind if len(names) == 1 else entries.c.kind.in_(names)


def _between(statement: sa.Select[Any], since: date | None, until: date | None) -> sa.Select[Any]:
    if since is not None:
        statement = statement.where(entries.c.seen_on >= since)
    return statement if until is None else statement.where(entries.c.seen_on <= until)


def histories(
    connection: Connection, kind: str, subjects: Sequence[str], since: date | None, until: date | None
) -> list[Row]:
    """Uncorrected entries of a kind at many subjects, by (seen_at, seq)."""
    e, found = entries.c, []
    for chunk in _chunks(subjects):
        statement = sa.select(*COLUMNS).where(_is(kind), e.subject.in_(chunk))
        statement = statement.where(~sa.exists().where(_LATER.c.corrects == e.id))
        found += _rows(connection, _between(statement, since, until))
    return sorted(found, key=lambda row: (row.seen_at, row.seq))


def page(connection: Connection, after: int, count: int) -> list[Row]:
    """Entries in the order of the ledger, beginning behind seq `after`."""
    statement = sa.select(*COLUMNS).where(entries.c.seq > after).order_by(entries.c.seq).limit(count)
    return _rows(connection, statement)


def insert(connection: Connection, rows: Sequence[Row]) -> None:
    """Rows that are already chained, and their series, into the caller's transaction."""
    if not rows:
        return
    known = dict.fromkeys((row.kind, row.place or row.farm, row.topic) for row in rows)
    if connection.dialect.name == "postgresql":
        if len(rows) >= _COPY_FROM:
            _copy(connection, rows)
        else:
            connection.execute(sa.insert(entries), [row._asdict() for row in rows])
        add_series: Any = postgresql.insert(series).on_conflict_do_nothing()
    else:
        connection.execute(sa.insert(entries), [row._asdict() for row in rows])
        add_series = sqlite.insert(series).on_conflict_do_nothing()
    connection.execute(add_series, [{"kind": k, "subject": s, "topic": t} for k, s, t in known])
    _insert_seals(connection, rows)


def _insert_seals(connection: Connection, rows: Sequence[Row]) -> None:
    """A seal dates from its first entry, so that a copy of the ledger lists the same seals."""
    first: dict[str, Row] = {}
    for row in rows:
        if row.seal:
            first.setdefault(row.seal, row)
    if first:
        make = postgresql.insert if connection.dialect.name == "postgresql" else sqlite.insert
        values = [{"seal": s, "farm": row.farm, "made_at": row.recorded_at} for s, row in first.items()]
        connection.execute(make(seals).on_conflict_do_nothing(), values)


def seals_of(connection: Connection, farms: Iterable[str]) -> dict[str, str]:
    """Seal to farm, of `farms`, the oldest seals first."""
    found: dict[str, str] = {}
    for chunk in _chunks(farms):
        statement = sa.select(seals.c.seal, seals.c.farm).where(seals.c.farm.in_(chunk))
        found.update((s, f) for s, f in connection.execute(statement.order_by(seals.c.made_at, seals.c.seal)))
    return found


def every_seal(connection: Connection) -> dict[str, str]:
    """Seal to farm, of the whole ledger."""
    return {seal: farm for seal, farm in connection.execute(sa.select(seals.c.seal, seals.c.farm))}


def stored_of(connection: Connection, farm: str) -> tuple[int, int]:
    """How many entries stand under a farm: sealed, and in the clear."""
    count = sa.select(sa.func.count()).where(entries.c.farm == farm)
    sealed = connection.execute(count.where(entries.c.seal != "")).scalar_one()
    return sealed, connection.execute(count).scalar_one() - sealed


def _copy(connection: Connection, rows: Sequence[Row]) -> None:
    import psycopg

    raw: Any = connection.connection.dbapi_connection
    statement = f"COPY entries ({', '.join(Row._fields)}) FROM STDIN"
    try:
        with raw.cursor() as cursor, cursor.copy(statement) as copy:
            for row in rows:
                copy.write_row(row)
    except psycopg.Error as error:  # SQLAlchemy did not see the statement; report it as if it had
        raise sa.exc.OperationalError(statement, None, error) from None


def entry(row: Row, text: str | None) -> Entry:
    """A row, and its body as JSON text or None where that is withheld, as the entry that callers see."""
    body: dict[str, Any] = {} if text is None else msgspec.json.decode(text)
    return Entry(
        row.id,
        row.seq,
        kind_now(row.kind),
        row.topic,
        row.place or None,
        row.farm or None,
        row.seen_at.astimezone(canon.zone(row.seen_zone)),
        row.seen_on,
        row.recorded_at,
        row.clock_behind / 1e6,
        row.observer,
        row.corrects,
        row.hash,
        body,
        text is None,
    )
