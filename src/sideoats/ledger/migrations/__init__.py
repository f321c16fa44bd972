"""Alembic migrations of the ledger; run by `sideoats.ledger.engine` when a ledger is opened."""
