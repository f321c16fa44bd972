"""Alembic's entry: it works on the connection and in the transaction that the ledger hands over."""

from __future__ import annotations

from alembic import context

from sideoats.ledger.tables import metadata

connection = context.config.attributes["connection"]
context.configure(connection=connection, target_metadata=metadata, transactional_ddl=True)
with context.begin_transaction():
    context.run_migrations()
