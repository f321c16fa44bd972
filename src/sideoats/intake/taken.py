"""What every open-file reader gives: drafts of ledger entries, and each row it could not use with the reason.

A reader module exposes ``FORMATS``, a tuple of `Format`; `find_format` looks through the folder. Drafts carry an id
made from their content, so that the same file taken twice is stored once.
"""

from __future__ import annotations

import hashlib
import json
import uuid
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from functools import lru_cache
from importlib import import_module
from pathlib import Path
from typing import Any

from sideoats.errors import InputError
from sideoats.schema import Field
from sideoats.station import Rejected

_NAMESPACE = uuid.UUID("6d1c0f5e-3a77-5b6b-9a0e-0f6f8f3f2a11")


@dataclass(frozen=True)
class Draft:
    """One entry read from a file, not yet in the ledger; `line` is where it stood, 0 where it comes from several."""

    kind: str
    body: Mapping[str, Any]
    seen_at: datetime
    place: str | None = None
    farm: str | None = None
    line: int = 0

    @property
    def id(self) -> str:
        """UUID version 5 of the content."""
        text = json.dumps(
            [self.kind, self.place, self.farm, self.seen_at.isoformat(), self.body], sort_keys=True, default=str
        )
        return str(uuid.uuid5(_NAMESPACE, text))


@dataclass(frozen=True)
class Taken:
    """What a file gave: drafts in order, rows set aside with their reason, remarks; the file's name and SHA-256."""

    drafts: tuple[Draft, ...]
    rejected: tuple[Rejected, ...] = ()
    notes: tuple[str, ...] = ()
    name: str = ""
    sha256: str = ""


@dataclass(frozen=True)
class Format:
    """An open file format: its name as typed, what it is, the options its reader takes, and the reader."""

    name: str
    about: str
    read: Callable[[Path, dict[str, Any]], Taken]
    options: tuple[Field, ...] = ()


@lru_cache(maxsize=1)
def formats() -> dict[str, Format]:
    """Every format by name, from the modules of this folder."""
    found: dict[str, Format] = {}
    for path in sorted(Path(__file__).parent.glob("*.py")):
        if path.stem.startswith("_") or "\nFORMATS" not in path.read_text(encoding="utf-8"):
            continue
        for item in import_module(f"sideoats.intake.{path.stem}").FORMATS:
            found[item.name] = item
    return found


def find_format(name: str) -> Format:
    """The format of that name. Raises InputError with the names there are."""
    known = formats()
    if name not in known:
        raise InputError(f"format {name[:60]!r} is not known", expected="one of " + ", ".join(sorted(known)))
    return known[name]


def read_file(format_name: str, path: Path, options: dict[str, Any]) -> Taken:
    """The file read by its format, with its name and the SHA-256 of its bytes as they lay there."""
    taken = find_format(format_name).read(path, options)
    with path.open("rb") as raw:
        return replace(taken, name=path.name, sha256=hashlib.file_digest(raw, "sha256").hexdigest())
