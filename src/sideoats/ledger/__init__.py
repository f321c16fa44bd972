"""The ledger: what was seen, kept append-only in SQLite or PostgreSQL, with a hash chain over every entry.

    with open_ledger("farm.sqlite") as ledger:
        ledger.append([NewEntry("farm", {"name": "Two Elms"}, farm="two-elms")])

Each name is imported at its first use, and SQLAlchemy with the first `open_ledger`, so that commands without a ledger
start quickly.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from sideoats.ledger.copies import move, restore
    from sideoats.ledger.entry import CheckReport, Entry, Farm, Forgotten, NewEntry, Place, Receipt
    from sideoats.ledger.evidence import EvidenceKind, evidence_kinds
    from sideoats.ledger.store import Ledger, open_ledger

_RECORDS = ("CheckReport", "Entry", "Farm", "Forgotten", "NewEntry", "Place", "Receipt")
_LATE = {
    **dict.fromkeys(_RECORDS, "sideoats.ledger.entry"),
    "EvidenceKind": "sideoats.ledger.evidence",
    "evidence_kinds": "sideoats.ledger.evidence",
    "Ledger": "sideoats.ledger.store",
    "open_ledger": "sideoats.ledger.store",
    "restore": "sideoats.ledger.copies",
    "move": "sideoats.ledger.copies",
}

__all__ = [
    "CheckReport",
    "Entry",
    "EvidenceKind",
    "Farm",
    "Forgotten",
    "Ledger",
    "NewEntry",
    "Place",
    "Receipt",
    "evidence_kinds",
    "move",
    "open_ledger",
    "restore",
]


def __getattr__(name: str) -> Any:
    if name not in _LATE:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from importlib import import_module

    return getattr(import_module(_LATE[name]), name)
