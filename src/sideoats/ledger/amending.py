"""Changing the description of a place or farm: what is given is changed, everything else stays, and the change is told.

The newest description of a place counts as a whole, so a description that repeats only half of it would wipe the rest.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime
from typing import Any

from sideoats.errors import InputError
from sideoats.ledger.book import Book
from sideoats.ledger.entry import Entry, NewEntry
from sideoats.ledger.evidence import EvidenceKind

DESCRIBING = ("place", "farm")
_CHECKED = {"price", "crop", "latitude", "longitude", "outline"}  # what `plausible` asks about


def amended(
    ledger: Book,
    kind: str,
    subject: str,
    changes: Mapping[str, Any],
    *,
    farm: str | None = None,
    seen_at: datetime | None = None,
    observer: str = "",
) -> tuple[NewEntry, list[str]]:
    """The newest description of a place or farm with `changes`, to be appended, and one line for each change.

    A change to "" takes the field out. Raises InputError where nothing is described yet, nothing changes, or a newer
    description would stand in front of this one.
    """
    old = described(ledger, kind, subject)
    if old is None:
        raise InputError(
            f"no {kind} {subject[:60]!r} is described yet",
            where="amend",
            todo=f"record {kind} {kind}={subject[:60]} ...",
        )
    if seen_at is not None and seen_at < old.seen_at:
        raise InputError(
            f"{seen_at.date()} is before the newest description, of {old.seen_on}, which would go on to count",
            where="seen",
            expected=f"a day from {old.seen_on} on, or none",
        )
    known = ledger.kinds[kind]
    body = merged(known, old.body, changes)
    belongs = farm if farm is not None else old.farm
    told = told_changes(known.read(old.body), known.read(body))
    if kind == "place" and belongs != old.farm:
        told.append(f"farm: {old.farm or 'none'} -> {belongs or 'none'}")
    if not told:
        raise InputError("says what is on file already", where="amend", expected="name=value with another value")
    new = NewEntry(
        kind,
        body,
        place=subject if kind == "place" else None,
        farm=subject if kind == "farm" else belongs or None,
        seen_at=seen_at,
        observer=observer,
    )
    return new, told


def described(ledger: Book, kind: str, subject: str) -> Entry | None:
    """The newest description of a place or farm, None where there is none."""
    return ledger.latest([kind], None, [subject])[kind].get(subject)


def merged(kind: EvidenceKind, old: Mapping[str, Any], changes: Mapping[str, Any]) -> dict[str, Any]:
    """The old body with the changes; what is given blank is out.

    That a figure was checked (``sure``) holds until it changes.
    """
    kind.read({name: value for name, value in changes.items() if not _blank(value)} | _needed(kind, old, changes))
    kept = {name: value for name, value in old.items() if name not in changes}
    if _CHECKED & changes.keys():
        kept.pop("sure", None)
    return kept | {name: value for name, value in changes.items() if not _blank(value)}


def _needed(kind: EvidenceKind, old: Mapping[str, Any], changes: Mapping[str, Any]) -> dict[str, Any]:
    return {n: old[n] for n, f in kind.fields.items() if f.required and n in old and n not in changes}


def told_changes(old: Mapping[str, Any], new: Mapping[str, Any]) -> list[str]:
    """``field: before -> after`` for every field that differs."""
    names = [name for name in dict.fromkeys((*old, *new)) if name != "sure" and old.get(name) != new.get(name)]
    return [f"{name}: {_shown(old.get(name))} -> {_shown(new.get(name))}" for name in names]


def require_whole(ledger: Book, kind: str, subject: str, body: Mapping[str, Any]) -> None:
    """Refuse a second description that leaves out what the first one says. Raises InputError naming what would go.

    A field that is given blank (``head=``) is left out on purpose.
    """
    old = described(ledger, kind, subject) if kind in DESCRIBING else None
    lost = [name for name in (old.body if old else ()) if name not in body and name not in ("sure", "note")]
    if lost:
        raise InputError(
            f"would wipe {', '.join(lost)}",
            where=f"{kind} {subject}",
            expected="a whole description",
            todo=f"use `sideoats amend {kind}={subject} NAME=VALUE` to change only what you give; "
            f"{lost[0]}= (blank) takes a field out",
        )


def _blank(value: Any) -> bool:
    return value is None or (isinstance(value, str) and not value.strip())


def _shown(value: Any) -> str:
    if value is None:
        return "not known"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:g}"
    return value.isoformat() if isinstance(value, date) else str(value)[:80]
