"""The program's own files, read once and kept in machine form, because parsing them takes longer than an answer.

The machine form lies in the user's cache folder under a name made of every file's path, size and time of change, so a
changed file is read anew; where that folder cannot be written, or holds something else, the files themselves are read.
It is JSON, which Python reads as fast as a smaller form that needs a library of its own to be imported.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from sideoats.folders import cache_folder
from sideoats.version import VERSION

_KEPT = 8  # machine forms of other versions and other checkouts that are left in the folder


def tables(name: str, paths: Sequence[Path]) -> list[dict[str, Any]]:
    """What the TOML files `paths` hold, in their order; `name` says in the cache what they are.

    Raises
    ------
    OSError, UnicodeDecodeError, tomllib.TOMLDecodeError : a file that is not there or not TOML
    """
    return read_once(name, paths, toml)


def toml(path: Path) -> dict[str, Any]:
    """What one TOML file holds; raises as `tables` does."""
    import tomllib  # seldom needed: what is kept in machine form is not parsed

    return tomllib.loads(path.read_text(encoding="utf-8"))


def read_once(name: str, paths: Sequence[Path], read: Callable[[Path], dict[str, Any]]) -> list[dict[str, Any]]:
    """What `read` makes of each of `paths`, in their order, made again only where one of them or the program changed.

    It makes dictionaries with text keys of what a machine form can hold: texts, numbers, lists, dictionaries.
    """
    kept = _kept_at(name, [*paths, Path(read.__code__.co_filename)])  # another reader may make something else of them
    if kept is not None:
        with contextlib.suppress(OSError, ValueError):
            found = json.loads(kept.read_bytes())
            if isinstance(found, list) and len(found) == len(paths) and all(isinstance(one, dict) for one in found):
                return found
    made = [read(path) for path in paths]
    if kept is not None:
        with contextlib.suppress(OSError, TypeError, ValueError):
            _keep(kept, json.dumps(made).encode())
    return made


def _kept_at(name: str, paths: Sequence[Path]) -> Path | None:
    """Where the machine form lies; None where there is no folder for it."""
    try:
        marks = [(str(path), (found := path.stat()).st_size, found.st_mtime_ns) for path in paths]
        key = hashlib.blake2b(repr((VERSION, marks)).encode(), digest_size=12).hexdigest()
        return cache_folder() / f"{name}-{key}.json"
    except (OSError, RuntimeError):
        return None


def _keep(kept: Path, data: bytes) -> None:
    """Written whole or not at all; the oldest of many go."""
    import tempfile

    kept.parent.mkdir(parents=True, exist_ok=True)
    handle, made = tempfile.mkstemp(dir=kept.parent, suffix=".new")
    try:
        with os.fdopen(handle, "wb") as out:
            out.write(data)
        os.replace(made, kept)
    except OSError:
        Path(made).unlink(missing_ok=True)
        raise
    stem = kept.name.rsplit("-", 1)[0]
    others = sorted(kept.parent.glob(f"{stem}-*.json"), key=lambda path: path.stat().st_mtime)
    for path in others[:-_KEPT]:
        path.unlink(missing_ok=True)
