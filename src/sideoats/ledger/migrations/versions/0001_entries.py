"""Entries, their series, seals, and the triggers that keep all but the seals append-only."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from sideoats.ledger.tables import SUBJECT, Day, Instant, WholeNumber

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

KEPT = ("about", "entries", "series")


def upgrade() -> None:
    """From nothing to the first schema."""
    op.create_table(
        "about",
        sa.Column("name", sa.Text, primary_key=True),
        sa.Column("value", sa.Text, nullable=False),
        sqlite_strict=True,
    )
    op.create_table(
        "entries",
        sa.Column("seq", WholeNumber, primary_key=True, autoincrement=False),
        sa.Column("id", sa.Text, nullable=False, unique=True),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("topic", sa.Text, nullable=False),
        sa.Column("place", sa.Text, nullable=False),
        sa.Column("farm", sa.Text, nullable=False),
        sa.Column("seen_at", Instant, nullable=False),
        sa.Column("seen_zone", sa.Text, nullable=False),
        sa.Column("seen_on", Day, nullable=False),
        sa.Column("recorded_at", Instant, nullable=False),
        sa.Column("clock_behind", WholeNumber, nullable=False),
        sa.Column("observer", sa.Text, nullable=False),
        sa.Column("corrects", sa.Text, sa.ForeignKey("entries.id"), nullable=True, unique=True),
        sa.Column("seal", sa.Text, nullable=False),
        sa.Column("body", sa.Text, nullable=False),
        sa.Column("hash", sa.Text, nullable=False),
        sa.Column("subject", sa.Text, sa.Computed(SUBJECT, persisted=True), nullable=False),
        sqlite_strict=True,
    )
    op.create_index("entries_by_series", "entries", ["kind", "subject", "topic", "seen_at", "seq"])
    op.create_index("entries_by_place", "entries", ["place", "seen_at"])
    op.create_index("entries_by_farm", "entries", ["farm", "seen_at"])
    op.create_table(
        "series",
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("subject", sa.Text, nullable=False),
        sa.Column("topic", sa.Text, nullable=False),
        sa.PrimaryKeyConstraint("kind", "subject", "topic"),
        sqlite_strict=True,
        sqlite_with_rowid=False,
    )
    op.create_table(
        "seals",
        sa.Column("seal", sa.Text, primary_key=True),
        sa.Column("farm", sa.Text, nullable=False),
        sa.Column("key", sa.Text, nullable=True),
        sa.Column("made_at", Instant, nullable=False),
        sa.Column("destroyed_at", Instant, nullable=True),
        sqlite_strict=True,
    )
    statements = _postgresql() if op.get_bind().dialect.name == "postgresql" else _sqlite()
    for statement in statements:
        op.execute(statement)


def _sqlite() -> list[str]:
    refuse = "BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END"
    out = []
    for table in KEPT:
        out.append(f"CREATE TRIGGER {table}_no_update BEFORE UPDATE ON {table} {refuse}")
        out.append(f"CREATE TRIGGER {table}_no_delete BEFORE DELETE ON {table} {refuse}")
    out.append(
        "CREATE TRIGGER entries_in_order BEFORE INSERT ON entries "
        "WHEN NEW.seq <> (SELECT coalesce(max(seq), 0) + 1 FROM entries) "
        "BEGIN SELECT RAISE(ABORT, 'the ledger takes entries in order'); END"
    )
    out.append(
        "CREATE TRIGGER seals_no_delete BEFORE DELETE ON seals "
        "BEGIN SELECT RAISE(ABORT, 'a seal is kept, only its key is destroyed'); END"
    )
    return out


def _postgresql() -> list[str]:
    out = [
        "CREATE FUNCTION sideoats_refuse() RETURNS trigger LANGUAGE plpgsql AS $$ "
        "BEGIN RAISE EXCEPTION 'the ledger is append-only'; END $$",
        "CREATE FUNCTION sideoats_in_order() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN "
        "IF NEW.seq <> (SELECT coalesce(max(seq), 0) + 1 FROM entries) THEN "
        "RAISE EXCEPTION 'the ledger takes entries in order'; END IF; RETURN NEW; END $$",
    ]
    for table in KEPT:
        out.append(
            f"CREATE TRIGGER {table}_no_change BEFORE UPDATE OR DELETE ON {table} "
            "FOR EACH ROW EXECUTE FUNCTION sideoats_refuse()"
        )
    for table in (*KEPT, "seals"):
        out.append(
            f"CREATE TRIGGER {table}_no_truncate BEFORE TRUNCATE ON {table} "
            "FOR EACH STATEMENT EXECUTE FUNCTION sideoats_refuse()"
        )
    out.append(
        "CREATE TRIGGER entries_in_order BEFORE INSERT ON entries FOR EACH ROW EXECUTE FUNCTION sideoats_in_order()"
    )
    out.append("CREATE TRIGGER seals_no_delete BEFORE DELETE ON seals FOR EACH ROW EXECUTE FUNCTION sideoats_refuse()")
    return out
