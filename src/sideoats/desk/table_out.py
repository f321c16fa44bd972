"""Files to keep. In a table for spreadsheets a cell of text can never become a formula."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from starlette.responses import Response

_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "|", "%")


def safe_cell(value: Any) -> Any:
    """Numbers as they are (a negative number is a number); text that a sheet might calculate gets an apostrophe.

    The exact, unchanged form of everything is the ledger itself and the JSON of a call.
    """
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int | float):
        return "" if value != value else value
    text = str(value)
    return "'" + text if text.lstrip(" ").startswith(_FORMULA) or text.startswith(_FORMULA) else text


def safe_row(values: Iterable[Any]) -> list[Any]:
    """`safe_cell` over a row."""
    return [safe_cell(value) for value in values]


def csv_response(text: str, name: str) -> Response:
    """A CSV file to keep."""
    return file_response(text.encode("utf-8"), "text/csv", name)


def file_response(content: bytes, kind: str, name: str) -> Response:
    """A file to keep, never to be shown in the desk's own name."""
    safe = "".join(c if c.isascii() and (c.isalnum() or c in "._-") else "_" for c in name)
    headers = {"Content-Disposition": f'attachment; filename="{safe}"'}
    return Response(content, media_type=f"{kind}; charset=utf-8" if kind.startswith("text/") else kind, headers=headers)
