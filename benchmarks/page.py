"""Where a trial's tables go: printed, or put into a page of the docs between its marks."""

from __future__ import annotations

import sys
from pathlib import Path

DOCS = Path(__file__).parents[1] / "docs"
BEGIN, END = "<!-- trial begins -->", "<!-- trial ends -->"


def put(text: str, page: str) -> None:
    """Print a text, or write it into ``docs/<page>`` where ``--write`` was given."""
    if "--write" not in sys.argv:
        print(text)
        return
    path = DOCS / page
    head, rest = path.read_text(encoding="utf-8").split(BEGIN)
    path.write_text(f"{head}{BEGIN}\n{text}\n{END}{rest.split(END)[1]}", encoding="utf-8")
