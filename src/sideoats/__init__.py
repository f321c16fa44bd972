"""Sideoats: a farm adviser's week, from what was seen to what to do about it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from sideoats.version import VERSION as __version__

if TYPE_CHECKING:
    from datetime import date

__all__ = ["__version__", "ask"]


def ask(
    question: str, values: dict[str, Any] | None = None, *, on: date | None = None, **options: Any
) -> dict[str, Any]:
    """Answer one question; see `sideoats.asking.ask` for the parameters and the shape of the answer."""
    from sideoats.asking import ask as _ask

    return _ask(question, values or {}, on=on, **options)
