"""Every test that asks for `address` or `ledger` runs on SQLite and on a private PostgreSQL server."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))  # the helper modules beside this file
import private_postgres

from sideoats.ledger import Ledger, open_ledger


@pytest.fixture(scope="session")
def server() -> Iterator[private_postgres.Server]:
    reason = private_postgres.missing()
    if reason:
        pytest.skip(reason)
    running = private_postgres.Server()
    yield running
    running.stop()


@pytest.fixture(params=["sqlite", pytest.param("postgresql", marks=pytest.mark.postgres)])
def new_address(request: pytest.FixtureRequest, tmp_path: Path) -> Callable[[], str]:
    """Addresses of ledgers that are not there yet."""
    if request.param == "sqlite":
        numbers = iter(range(1000))
        return lambda: str(tmp_path / f"ledger{next(numbers)}.sqlite")
    running: private_postgres.Server = request.getfixturevalue("server")
    return running.database


@pytest.fixture
def address(new_address: Callable[[], str]) -> str:
    return new_address()


@pytest.fixture
def ledger(address: str) -> Iterator[Ledger]:
    with open_ledger(address) as opened:
        yield opened
