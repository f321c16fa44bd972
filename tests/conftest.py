"""Shared by all tests: what hypothesis tries is fixed in CI, so that a run says something about the change alone."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

settings.register_profile(
    "ci", derandomize=True, deadline=None, print_blob=True, suppress_health_check=[HealthCheck.too_slow]
)
settings.register_profile("search", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("ci" if os.environ.get("CI") else "search")


@pytest.fixture(scope="module")
def ledger(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The invented district in a file of its own for each module: a test may add to it without reaching others."""
    from sideoats.demo.district import all_entries
    from sideoats.ledger import open_ledger

    path = tmp_path_factory.mktemp("district") / "ledger.sqlite"
    with open_ledger(path) as opened:
        opened.append(all_entries())
    return path
