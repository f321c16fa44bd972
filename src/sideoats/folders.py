"""Where a user's own files lie: kept machine forms, and data that must not be lost; and files written whole.

On Linux by the XDG Base Directory Specification, worked out here because it is one line and every command needs it;
elsewhere by `platformdirs`, which a test holds this to.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

_NAME = "sideoats"


def cache_folder() -> Path:
    """For what can be made again. Raises RuntimeError where the user has no home."""
    if sys.platform == "linux":
        return _by_xdg("XDG_CACHE_HOME", ".cache")
    import platformdirs

    return Path(platformdirs.user_cache_dir(_NAME))


def data_folder() -> Path:
    """For what must not be lost. Raises RuntimeError where the user has no home."""
    if sys.platform == "linux":
        return _by_xdg("XDG_DATA_HOME", ".local/share")
    import platformdirs

    return Path(platformdirs.user_data_dir(_NAME, appauthor=False))


def _by_xdg(variable: str, usual: str) -> Path:
    given = os.environ.get(variable, "")
    return (Path(given) if given.strip() else Path.home() / usual) / _NAME


def write_whole(path: Path, content: bytes) -> Path:
    """In one step, so that a reader never sees half a file; folders that are missing are made."""
    path.parent.mkdir(parents=True, exist_ok=True)
    part = path.with_name(path.name + ".part")
    part.write_bytes(content)
    os.replace(part, path)
    return path
