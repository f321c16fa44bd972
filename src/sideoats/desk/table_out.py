"""Tables for spreadsheets: a cell of text can never become a formula there."""

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
    return Response(
        text.encode("utf-8"), media_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": f'attachment; filename="{name}"'},
    )  # fmt: skip
