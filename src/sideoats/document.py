"""A document handed to a reader: a name to show and the bytes, never a path.

Only `open_document` opens a file by its path. The command line calls it, and a Python program may (`sideoats.ask`); a
request over HTTP brings its document with it and never reaches it.
"""

from __future__ import annotations

import os
import stat
from dataclasses import field
from pathlib import Path

from sideoats.errors import InputError
from sideoats.records import dataclass

MOST_BYTES = 20_000_000


@dataclass(frozen=True)
class Document:
    """One document.

    Attributes
    ----------
    name : what it is called in messages
    content : its bytes
    """

    name: str
    content: bytes = field(repr=False)

    def text(self) -> str:
        """The content as UTF-8 text, byte-order mark removed. Raises InputError that names the document."""
        try:
            text = self.content.decode("utf-8-sig")
        except UnicodeDecodeError as error:
            raise InputError(f"byte {error.start} is not UTF-8 text", where=self.name, expected="a text file") from None
        if "\0" in text:
            raise InputError("holds NUL characters", where=self.name, expected="a text file")
        return text


def open_document(path: str | Path, most: int = MOST_BYTES) -> Document:
    """The file at `path`. Pipes, folders and devices are refused before a byte is read.

    Raises
    ------
    InputError : absent, not a regular file, empty, or larger than `most` bytes
    """
    shown = Path(path).name or str(path)[:80]
    try:
        # without O_NONBLOCK, opening a pipe that nobody writes to would wait for ever
        handle = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "no such name"
        raise InputError(f"cannot be read ({reason})", where=shown, todo="check the path") from None
    if not stat.S_ISREG(os.fstat(handle).st_mode):
        os.close(handle)
        raise InputError("is not a file (a folder, a pipe or a device)", where=shown, expected="a file")
    with os.fdopen(handle, "rb") as file:
        content = file.read(most + 1)
    if len(content) > most:
        raise InputError(f"is larger than {most / 1e6:g} MB", where=shown, expected="a smaller file")
    if not content.strip():
        raise InputError("is empty", where=shown, expected="a file with something in it")
    return Document(shown, content)
