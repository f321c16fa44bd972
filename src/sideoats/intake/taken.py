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
from functools import cached_property, lru_cache
from importlib import import_module
from pathlib import Path
from typing import Any

from sideoats.errors import InputError
from sideoats.intake.rows import delimiter_of, plain_name, read_bytes
from sideoats.schema import Field
from sideoats.station import Rejected
from sideoats.words import Said

_HEAD = 65_536  # bytes of a file by which its format is told
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
    """What a file gave: drafts in order, rows set aside with their reason, remarks; the file's name and SHA-256.

    One that is `whole` is taken as a whole or not at all. Places of one that goes `onto` what is known keep all else.
    """

    drafts: tuple[Draft, ...]
    rejected: tuple[Rejected, ...] = ()
    notes: tuple[str | Said, ...] = ()
    name: str = ""
    sha256: str = ""
    whole: bool = False
    onto: bool = False


@dataclass(frozen=True)
class Head:
    """How a file begins, unpacked: by this its format is told, never by its name."""

    data: bytes
    text: str

    @cached_property
    def lines(self) -> list[str]:
        """Its lines, blank ones left out."""
        return [line for line in self.text.splitlines() if line.strip()]

    @property
    def first(self) -> str:
        """The first line that is not blank."""
        return self.lines[0] if self.lines else ""

    @cached_property
    def cells(self) -> list[str]:
        """The first line's cells, without quotes."""
        return [cell.strip().strip('"') for cell in self.first.split(delimiter_of(self.first))]

    @cached_property
    def names(self) -> frozenset[str]:
        """The first line's cells as plain names of columns."""
        return frozenset(map(plain_name, self.cells))

    @property
    def json(self) -> bool:
        """Whether it looks like JSON."""
        return self.text.lstrip()[:1] in ("{", "[")


def head_of(path: Path) -> Head:
    """The beginning of a file; of an archive of several files its own bytes. Raises InputError where it is absent."""
    try:
        data = read_bytes(path, _HEAD)
    except InputError:
        try:
            with path.open("rb") as raw:
                data = raw.read(_HEAD)
        except (OSError, ValueError) as error:
            reason = getattr(error, "strerror", None) or str(error)
            raise InputError(f"cannot be read ({reason})", where=path.name, todo="check the path") from None
    for coding in ("utf-16",) if data[:2] in (b"\xff\xfe", b"\xfe\xff") else ("utf-8-sig",):
        text = data.decode(coding, "replace")
    return Head(data, text)


@dataclass(frozen=True)
class Format:
    """An open file format: its name as typed, what it is, the options its reader takes, and the reader.

    `knows` says whether a file that begins so is of this format; None for one that is never told by its content.
    """

    name: str
    about: str
    read: Callable[[Path, dict[str, Any]], Taken]
    options: tuple[Field, ...] = ()
    knows: Callable[[Head], bool] | None = None


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


def recognised(path: Path) -> Format:
    """The format of a file by its content. Raises InputError naming those there are where none or several fit."""
    head = head_of(path)
    fit = [f for f in formats().values() if f.knows is not None and f.knows(head)]
    if len(fit) != 1:
        what = "fits more than one format" if fit else "is of no format that is told by its content"
        names = ", ".join(f.name for f in fit or formats().values())
        raise InputError(what, where=path.name, todo=f"name the format: {names}")
    return fit[0]


def read_file(format_name: str, path: Path, options: dict[str, Any]) -> Taken:
    """The file read by its format, with its name and the SHA-256 of its bytes as they lay there."""
    taken = find_format(format_name).read(path, options)
    with path.open("rb") as raw:
        return replace(taken, name=path.name, sha256=hashlib.file_digest(raw, "sha256").hexdigest())
