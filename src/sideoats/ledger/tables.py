"""The tables of a ledger, one schema for SQLite and PostgreSQL; the triggers are in the migrations."""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import Any

from sqlalchemy import (
    BigInteger,
    Column,
    Computed,
    Date,
    DateTime,
    ForeignKey,
    Index,
    Integer,
    MetaData,
    PrimaryKeyConstraint,
    Table,
    Text,
)
from sqlalchemy.engine import Dialect
from sqlalchemy.types import TypeDecorator, TypeEngine

from sideoats.ledger import canon


class Instant(TypeDecorator[datetime]):
    """An instant: timestamptz on PostgreSQL, UTC text of fixed width on SQLite (which sorts as the instant does)."""

    impl = Text
    cache_ok = True

    def load_dialect_impl(self, dialect: Dialect) -> TypeEngine[Any]:
        """Text or timestamptz."""
        return dialect.type_descriptor(DateTime(timezone=True) if dialect.name == "postgresql" else Text())

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> Any:
        """UTC on the way in."""
        return value if value is None or dialect.name == "postgresql" else canon.instant_text(value)

    def process_result_value(self, value: Any, dialect: Dialect) -> datetime | None:
        """UTC on the way out."""
        if value is None:
            return None
        return value.astimezone(UTC) if isinstance(value, datetime) else canon.instant(value)


class Day(TypeDecorator[date]):
    """A calendar day: date on PostgreSQL, ISO text on SQLite."""

    impl = Text
    cache_ok = True

    def load_dialect_impl(self, dialect: Dialect) -> TypeEngine[Any]:
        """Text or date."""
        return dialect.type_descriptor(Date() if dialect.name == "postgresql" else Text())

    def process_bind_param(self, value: date | None, dialect: Dialect) -> Any:
        """ISO text on SQLite."""
        return value if value is None or dialect.name == "postgresql" else value.isoformat()

    def process_result_value(self, value: Any, dialect: Dialect) -> date | None:
        """A date."""
        return date.fromisoformat(value) if isinstance(value, str) else value


WholeNumber = BigInteger().with_variant(Integer(), "sqlite")
SUBJECT = "CASE WHEN place <> '' THEN place ELSE farm END"

metadata = MetaData()

# Name and value of what the ledger itself is: ledger_id.
about = Table(
    "about",
    metadata,
    Column("name", Text, primary_key=True),
    Column("value", Text, nullable=False),
    sqlite_strict=True,
)

entries = Table(
    "entries",
    metadata,
    Column("seq", WholeNumber, primary_key=True, autoincrement=False),
    Column("id", Text, nullable=False, unique=True),
    Column("kind", Text, nullable=False),
    Column("topic", Text, nullable=False),
    Column("place", Text, nullable=False),
    Column("farm", Text, nullable=False),
    Column("seen_at", Instant, nullable=False),
    Column("seen_zone", Text, nullable=False),
    Column("seen_on", Day, nullable=False),
    Column("recorded_at", Instant, nullable=False),
    Column("clock_behind", WholeNumber, nullable=False),
    Column("observer", Text, nullable=False),
    Column("corrects", Text, ForeignKey("entries.id"), nullable=True, unique=True),
    Column("seal", Text, nullable=False),
    Column("body", Text, nullable=False),
    Column("hash", Text, nullable=False),
    Column("subject", Text, Computed(SUBJECT, persisted=True), nullable=False),
    Index("entries_by_series", "kind", "subject", "topic", "seen_at", "seq"),
    Index("entries_by_kind", "kind", "seen_at", "seq"),
    Index("entries_by_time", "seen_at", "seq"),
    Index("entries_by_place", "place", "seen_at"),
    Index("entries_by_farm", "farm", "seen_at"),
    sqlite_strict=True,
)

# Every (kind, subject, topic) that has an entry: `latest` walks these, not the entries. Derived; `check` compares.
series = Table(
    "series",
    metadata,
    Column("kind", Text, nullable=False),
    Column("subject", Text, nullable=False),
    Column("topic", Text, nullable=False),
    PrimaryKeyConstraint("kind", "subject", "topic"),
    sqlite_strict=True,
    sqlite_with_rowid=False,
)

# Every seal that an entry names, and its farm; the newest seals what comes. Derived; `check` compares. No key is here:
# see keys.py.
seals = Table(
    "seals",
    metadata,
    Column("seal", Text, primary_key=True),
    Column("farm", Text, nullable=False),
    Column("made_at", Instant, nullable=False),
    Index("seals_by_farm", "farm", "made_at"),
    sqlite_strict=True,
)
