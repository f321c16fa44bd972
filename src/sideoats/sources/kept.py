"""What was fetched, on disk: the raw body under its hash, and what is needed to ask for it again.

A body is written beside its place and moved there whole, so that a fetch that breaks off leaves what was there before.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import re
import tempfile
from dataclasses import asdict, dataclass, replace
from pathlib import Path

MOST_KEPT = 3  # bodies of an address; the ledger has what was in the others


@dataclass(frozen=True)
class State:
    """What is known of an address.

    Attributes
    ----------
    etag, last_modified : of the body that is kept, to ask whether it changed
    sha256 : of that body; "" for none
    as_of : when it was fetched, or last said to be unchanged (ISO 8601, UTC)
    taken : hash of the body that was last taken into the ledger
    not_before : when the service may be asked again, where it asked for time
    """

    etag: str = ""
    last_modified: str = ""
    sha256: str = ""
    as_of: str = ""
    taken: str = ""
    not_before: str = ""


class Kept:
    """The cache of one ledger. `folder` is made when the first body is kept."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def _home(self, name: str) -> Path:
        plain = re.sub(r"[^A-Za-z0-9]+", "-", name).strip("-")[:60]
        return self._folder / f"{plain}-{hashlib.sha256(name.encode()).hexdigest()[:8]}"

    def state(self, name: str) -> State:
        """What is known; nothing where nothing was fetched, or what lies there cannot be read."""
        try:
            held = json.loads((self._home(name) / "state.json").read_text(encoding="utf-8"))
            state = State(**{key: str(held.get(key, "")) for key in State.__dataclass_fields__})
        except (OSError, ValueError, AttributeError):
            return State()
        if state.sha256 and not self.path(name, state).exists():
            return replace(state, etag="", last_modified="", sha256="")
        return state

    def path(self, name: str, state: State) -> Path:
        """Where the body of a state lies."""
        return self._home(name) / f"{state.sha256}.body"

    def put(self, name: str, state: State, body: bytes | None = None) -> State:
        """Keep a state, and a body with it; the state as kept, with the body's hash."""
        home = self._home(name)
        home.mkdir(parents=True, exist_ok=True)
        if body is not None:
            state = replace(state, sha256=hashlib.sha256(body).hexdigest())
            _whole(self.path(name, state), body)
        _whole(home / "state.json", json.dumps(asdict(state), indent=1).encode())
        if body is not None:
            self._forget(home, state)
        return state

    def _forget(self, home: Path, state: State) -> None:
        held = sorted(home.glob("*.body"), key=lambda p: p.stat().st_mtime)
        for old in held[:-MOST_KEPT]:
            if old.stem != state.sha256:
                with contextlib.suppress(OSError):
                    old.unlink()


def _whole(path: Path, data: bytes) -> None:
    """Written whole or not at all."""
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=".part-")
    try:
        with os.fdopen(handle, "wb") as out:
            out.write(data)
            out.flush()
            os.fsync(out.fileno())
        os.replace(name, path)
    except BaseException:
        with contextlib.suppress(OSError):
            os.unlink(name)
        raise
