"""A call as plain text, to copy, print or read out."""

from __future__ import annotations

from sideoats.call import Call


def call_text(call: Call, place: str = "", farm: str = "") -> str:
    """Place and day, then the text that the command line prints."""
    from sideoats.cli._shared import call_text as printed

    where = ", ".join(part for part in (place or call.place_name, farm) if part)
    head = f"{call.question}{': ' + where if where else ''}, {call.on.day} {call.on:%B %Y}"
    return f"{head}\n{printed(call)}"
