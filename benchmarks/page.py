"""Where a trial's tables go: printed, or put into a page of the docs between its marks."""

from __future__ import annotations

import sys
from pathlib import Path

DOCS = Path(__file__).parents[1] / "docs"
_BEGIN, _END = "<!-- {} begins -->", "<!-- {} ends -->"


def put(text: str, page: str, name: str = "trial") -> None:
    """Print a text, or write it between the marks of a trial in ``docs/<page>`` where ``--write`` was given."""
    begin, end = _BEGIN.format(name), _END.format(name)
    if "--write" not in sys.argv:
        print(text)
        return
    path = DOCS / page
    head, rest = path.read_text(encoding="utf-8").split(begin)
    path.write_text(f"{head}{begin}\n{text}\n{end}{rest.split(end)[1]}", encoding="utf-8")
