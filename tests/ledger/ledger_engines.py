"""Fixtures for both engines, shared with the crash tests."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import private_postgres
import pytest


@pytest.fixture(scope="session")
def server() -> Iterator[private_postgres.Server]:
    """A private PostgreSQL server; the test is skipped, with the reason, where none can be started."""
    reason = private_postgres.missing()
    if reason:
        pytest.skip(reason)
    running = private_postgres.Server()
    yield running
    running.stop()


@pytest.fixture(params=["sqlite", pytest.param("postgresql", marks=pytest.mark.postgres)])
def new_address(request: pytest.FixtureRequest, tmp_path: Path) -> Callable[[], str]:
    """Addresses of ledgers that are not there yet, on each engine in turn."""
    if request.param == "sqlite":
        numbers = iter(range(1000))
        return lambda: str(tmp_path / f"ledger{next(numbers)}.sqlite")
    running: private_postgres.Server = request.getfixturevalue("server")
    return running.database
