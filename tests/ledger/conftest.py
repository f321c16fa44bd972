"""Every test that asks for `address` or `ledger` runs on SQLite and on a private PostgreSQL server."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from sideoats.ledger import Ledger, open_ledger

sys.path.insert(0, str(Path(__file__).parent))  # the helper modules beside this file
from ledger_engines import new_address, server  # noqa: F401  fixtures


@pytest.fixture
def address(new_address: Callable[[], str]) -> str:  # noqa: F811
    return new_address()


@pytest.fixture
def ledger(address: str) -> Iterator[Ledger]:
    with open_ledger(address) as opened:
        yield opened
