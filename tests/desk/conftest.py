"""Desks to test against: one person's, and an office's."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))  # the helper modules beside this file
from running_desk import DAY, RunningDesk, make_demo_ledger, make_office, running

from sideoats.desk.settings import Settings


@pytest.fixture(scope="session")
def demo_ledger(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The invented district; not to be written to."""
    return make_demo_ledger(tmp_path_factory.mktemp("demo"))


@pytest.fixture(scope="module")
def desk(demo_ledger: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[RunningDesk]:
    """One person's desk over the invented district."""
    with running(tmp_path_factory.mktemp("desk"), demo_ledger) as found:
        yield found


@pytest.fixture(scope="module")
def office(demo_ledger: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[RunningDesk]:
    """An office's desk over the invented district, reached on loopback without TLS."""
    folder = tmp_path_factory.mktemp("office")
    make_office(Settings(data=folder / "data"))
    with running(folder, demo_ledger, office=True) as found:
        yield found


@pytest.fixture(scope="module")
def empty_desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[RunningDesk]:
    """One person's desk over an empty ledger."""
    with running(tmp_path_factory.mktemp("empty"), day=DAY) as found:
        yield found
