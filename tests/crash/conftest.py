"""The crash tests share the ledger tests' helpers; SIDEOATS_FULL=1 runs them at full size."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))
sys.path.insert(0, str(Path(__file__).parents[1] / "ledger"))
import private_postgres

FULL = os.environ.get("SIDEOATS_FULL") == "1"


@pytest.fixture(scope="session")
def full() -> bool:
    """Whether to run at full size."""
    return FULL


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
    """Addresses of ledgers that are not there yet, on both engines."""
    if request.param == "sqlite":
        numbers = iter(range(1000))
        return lambda: str(tmp_path / f"ledger{next(numbers)}.sqlite")
    running: private_postgres.Server = request.getfixturevalue("server")
    return running.database
