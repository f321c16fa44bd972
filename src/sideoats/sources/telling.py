"""What came of a fetch, as codes and values for whoever reads it; where the cache of a ledger lies."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Any

from sideoats.folders import data_folder
from sideoats.ledger.address import is_url
from sideoats.sources.fetching import Told
from sideoats.words import Reader
from sideoats.words.texts import refusal


def cache_folder(address: str) -> Path:
    """The folder ``fetched`` beside a ledger file, or in the data folder."""
    return data_folder() / "fetched" if is_url(address) else Path(address).parent / "fetched"


def told(found: Told, now: datetime, reader: Reader) -> tuple[str, dict[str, Any]]:
    """The code of the line and its values, what went wrong in the reader's language."""
    values: dict[str, Any] = {"name": found.name}
    if found.outcome == "new":
        values |= {"n": found.stored, "aside": found.aside}
    if found.line:
        values["line"] = found.line if found.outcome == "plan" else refusal(found.line, reader)
    if found.outcome in ("failed", "refused", "early", "plan"):
        if not found.as_of:
            return f"fetch.{found.outcome}.never", values
        values["hours"] = max(int((now - datetime.fromisoformat(found.as_of)).total_seconds() // 3600), 0)
    return f"fetch.{found.outcome}", values
