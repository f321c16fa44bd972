"""Where the ledger and the district's file are, found without opening either: no database library is imported here."""

from __future__ import annotations

import os
from pathlib import Path

from sideoats.folders import data_folder


def address_of(location: str | os.PathLike[str] | None) -> str:
    """Where the ledger is: as given, else ``SIDEOATS_LEDGER``, else ``ledger.sqlite`` in the platform's data folder."""
    found = os.fspath(location) if location else os.environ.get("SIDEOATS_LEDGER", "")
    if found:
        return found
    return str(data_folder() / "ledger.sqlite")


def is_url(address: str) -> bool:
    """Whether `address` names a PostgreSQL server, not a file."""
    return address.startswith(("postgresql:", "postgresql+", "postgres:"))


def district_file(location: str | os.PathLike[str] | None) -> Path | None:
    """The district file: `SIDEOATS_DISTRICT`, else ``district.toml`` beside a ledger file, else none."""
    named = os.environ.get("SIDEOATS_DISTRICT")
    if named:
        return Path(named)
    if location is None or "://" in str(location):
        return None
    beside = Path(location).parent / "district.toml"
    return beside if beside.exists() else None
