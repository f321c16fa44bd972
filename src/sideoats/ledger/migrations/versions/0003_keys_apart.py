"""Seals without keys: those are kept outside the ledger, where no copy of it takes them along."""

from __future__ import annotations

from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """No release wrote a key here, so nothing is lost with the columns."""
    op.drop_column("seals", "key")
    op.drop_column("seals", "destroyed_at")
    op.create_index("seals_by_farm", "seals", ["farm", "made_at"])
    op.execute(guard(op.get_bind().dialect.name))


def guard(dialect: str) -> str:
    """The statement that makes the guard of the seals; `check` holds the one that stands against it."""
    if dialect == "postgresql":
        return "CREATE TRIGGER seals_no_update BEFORE UPDATE ON seals FOR EACH ROW EXECUTE FUNCTION sideoats_refuse()"
    return (
        "CREATE TRIGGER seals_no_update BEFORE UPDATE ON seals "
        "BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END"
    )
