"""Data to tagged PDF by a Typst template; nothing that a person typed is ever read as markup."""

from __future__ import annotations

import json
import re
from datetime import UTC, date, datetime, time
from pathlib import Path
from typing import Any

from sideoats.pictures import PRINT, Picture
from sideoats.words import Reader

_INK, _NOW, _LETTERS = "#1d1a16", "#702a5b", "Libertinus Serif"
# What the typesetter says of a letter that its font lacks; the letters are replaced, and a line says so.
_LACKING = re.compile(r'the text `"(.+?)"` could not be displayed', re.DOTALL)
_ESCAPED = re.compile(r"\\u\{([0-9a-f]+)\}")
_LATIN, _MOST_TRIES = 0x24F, 40


def printed_picture(picture: Picture | None, reader: Reader, width: float = PRINT) -> dict[str, Any]:
    """A picture for the typesetter: drawn for its page in the letters of the text, in ink and one colour."""
    if picture is None:
        return {"svg": "", "title": "", "summary": "", "columns": [], "rows": []}
    svg = picture.drawing(width, reader).replace("sans-serif", _LETTERS)
    svg = re.sub(r'<[^>]*class="now"[^>]*>', lambda tag: tag[0].replace("currentColor", _NOW), svg)
    table = picture.table(reader)
    return {
        "svg": svg.replace("currentColor", _INK),
        "title": picture.title_for(reader),
        "summary": picture.summary_for(reader),
        "columns": table.columns,
        "rows": table.rows,
    }


def typeset(template: Path, data: dict[str, Any], on: date, unprinted: str) -> bytes:
    """Tagged PDF, checked against PDF/UA-1 while it is made; the same data give the same bytes.

    Parameters
    ----------
    template : reads ``sys.inputs.data``, JSON
    on : the document's own day
    unprinted : the line, the template's ``unprinted``, that says that letters which the font lacks are shown as ?
    """
    import typst

    data = {**data, "unprinted": ""}
    made_at = datetime.combine(on, time(12, 0), tzinfo=UTC)
    text = json.dumps(data, ensure_ascii=False)
    for attempt in range(_MOST_TRIES):
        try:
            found = typst.compile(
                template.read_bytes(),
                format="pdf",
                sys_inputs={"data": text},
                pdf_standards=["ua-1"],
                timestamp=made_at,
                ignore_system_fonts=True,
            )
            return bytes(found)
        except typst.TypstError as error:
            named = _ESCAPED.sub(lambda m: chr(int(m[1], 16)), "".join(_LACKING.findall(str(error))))
            lacking = set(named) if attempt < _MOST_TRIES - 2 else set(text)
            lacking = {letter for letter in lacking if ord(letter) > _LATIN}
            if not lacking:
                raise
            data["unprinted"] = unprinted
            text = "".join("?" if c in lacking else c for c in json.dumps(data, ensure_ascii=False))
            data = json.loads(text)
    raise AssertionError("the last try prints Latin letters only")
