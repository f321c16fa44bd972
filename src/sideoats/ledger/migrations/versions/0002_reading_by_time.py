"""Indexes for reading one kind, or everything, in the order in which it was seen."""

from __future__ import annotations

from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Without them every page of `history` sorts the whole kind."""
    op.create_index("entries_by_kind", "entries", ["kind", "seen_at", "seq"])
    op.create_index("entries_by_time", "entries", ["seen_at", "seq"])
