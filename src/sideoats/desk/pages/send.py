"""The door for phones: one entry a request, stored once however often it is sent. Described in `openapi.yaml`."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from typing import Any

from starlette.responses import Response

from sideoats.desk import permits
from sideoats.desk.grants import RECORD
from sideoats.desk.photos import decoded, photo_body
from sideoats.desk.visit import Page, Visit
from sideoats.errors import InputError, LedgerError
from sideoats.ledger import NewEntry

_KNOWN = frozenset({"id", "kind", "place", "farm", "seen_at", "body", "observer", "corrects"})


def entry(visit: Visit) -> Response:
    """201 stored, 200 there already, 409 another entry has that id, 422 cannot be used, 503 not now."""
    try:
        new = _entry(visit, visit.sent)
        receipt = visit.desk.ledger.append([new])[0]
    except InputError as error:
        return visit.json({"line": str(error)}, 422)
    except LedgerError as error:
        clash = new.id is not None and visit.desk.ledger.get(new.id) is not None
        return visit.json({"line": str(error)}, 409 if clash or new.corrects else 503)
    body = {"id": receipt.id, "seq": receipt.seq, "stored": receipt.stored}
    return visit.json(body, 201 if receipt.stored else 200)


def _entry(visit: Visit, sent: Any) -> NewEntry:
    """A new entry out of JSON; what it says of itself is checked by the ledger, what it may touch is checked here."""
    if not isinstance(sent, dict):
        raise InputError("is not an object", where="entry", expected="a JSON object")
    unknown = sorted(set(sent) - _KNOWN)
    if unknown:
        raise InputError(f"{unknown[0][:60]!r} is not known", where="entry", expected=", ".join(sorted(_KNOWN)))
    texts = {k: _text(sent, k) for k in ("id", "kind", "place", "farm", "seen_at", "observer", "corrects")}
    if not texts["id"]:
        raise InputError("is missing", where="id", expected="a UUID made on the phone")
    places, farms = visit.desk.places(visit.person), visit.desk.farms(visit.person)
    if texts["kind"] != "place" and texts["place"] and texts["place"] not in places:
        raise InputError(f"no place {texts['place'][:60]!r} is on file", where="place")
    if texts["farm"] and texts["kind"] != "farm" and texts["farm"] not in farms:
        raise InputError(f"no farm {texts['farm'][:60]!r} is on file", where="farm")
    body = sent.get("body")
    if not isinstance(body, dict):
        raise InputError("is not an object", where="body", expected="field names with values")
    observer = visit.who.name if visit.desk.settings.office else texts["observer"]
    new = NewEntry(
        texts["kind"],
        body,
        place=texts["place"] or None,
        farm=texts["farm"] or None,
        seen_at=_instant(texts["seen_at"]),
        observer=observer,
        id=texts["id"],
        corrects=texts["corrects"] or None,
    )
    permits.check(visit.desk, visit.who, "phone", new)
    if new.kind == "photo":
        picture = photo_body(decoded(body.get("image")), _text(body, "note"), _text(body, "of"))
        new = replace(new, body=picture)
    return new


def _text(sent: dict[str, Any], name: str) -> str:
    value = sent.get(name)
    if value is None:
        return ""
    if not isinstance(value, str) or len(value) > 2000 or "\x00" in value:
        raise InputError("is not text", where=name)
    return value


def _instant(text: str) -> datetime:
    try:
        when = datetime.fromisoformat(text)
    except ValueError:
        raise InputError(
            f"{text[:40]!r} is not a time", where="seen_at", expected="2026-08-10T09:30:00-05:00"
        ) from None
    if when.tzinfo is None:
        raise InputError(f"{text[:40]!r} has no zone", where="seen_at", expected="2026-08-10T09:30:00-05:00")
    return when


PAGES = (Page("/send/entry", RECORD, entry, methods=("POST",), accepts="json", body=lambda limits: limits.photo),)
