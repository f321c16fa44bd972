"""The crash tests share the ledger tests' helpers; SIDEOATS_FULL=1 runs them at full size."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))
sys.path.insert(0, str(Path(__file__).parents[1] / "ledger"))
from ledger_engines import new_address, server  # noqa: F401  fixtures


@pytest.fixture(scope="session")
def full() -> bool:
    """Whether to run at full size."""
    return os.environ.get("SIDEOATS_FULL") == "1"
