"""The crash tests share the ledger tests' helpers; SIDEOATS_FULL=1 runs them at full size."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))
sys.path.insert(0, str(Path(__file__).parents[1] / "ledger"))
from ledger_engines import new_address, server  # noqa: F401  fixtures


@pytest.fixture(scope="session")
def full() -> bool:
    """Whether to run at full size."""
    return os.environ.get("SIDEOATS_FULL") == "1"


@pytest.fixture
def small_disk() -> Iterator[Path]:
    """A file system of 3 MB in memory."""
    folder = Path(tempfile.mkdtemp(prefix="sideoats-disk-"))
    done = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=3m", "sideoats", str(folder)], capture_output=True, text=True
    )
    if done.returncode:
        folder.rmdir()
        pytest.skip(f"no small file system can be mounted here: {done.stderr.strip()}")
    yield folder
    subprocess.run(["umount", str(folder)], check=True)
    folder.rmdir()
