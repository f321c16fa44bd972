"""One entry of the ledger, its correction, and one fact with its source: where every number leads back to."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from starlette.responses import Response

from sideoats.call import call_from
from sideoats.desk import forms, permits, tongue
from sideoats.desk.grants import READ, RECORD
from sideoats.desk.visit import Absent, Page, Visit
from sideoats.ledger import Entry, NewEntry, evidence_kinds
from sideoats.ledger.evidence import DaysField, JsonField
from sideoats.week.option_picture import option_picture

UNSEEN = frozenset({"audit"})


def _entry(visit: Visit) -> Entry:
    """The entry of the address, if it is there and may be seen."""
    found = visit.desk.ledger.get(visit.part("entry"))
    if found is None or (found.kind in UNSEEN and not visit.may("govern")):
        raise Absent
    person, place = visit.who, found.place
    hidden = place not in visit.desk.places(person) if place else bool(person.farms) and found.farm not in person.farms
    if hidden:
        raise Absent
    return found


def entry_page(visit: Visit) -> Response:
    """What was seen, by whom, when it was taken in, and its mark in the chain."""
    entry = _entry(visit)
    kind = evidence_kinds().get(entry.kind)
    call = call_from(entry.body["call"]) if entry.kind == "call" and "call" in entry.body else None
    picture = entry.kind == "photo" and bool(entry.body.get("image"))
    later = [
        e
        for e in visit.desk.ledger.history(place=entry.place, kind=entry.kind, corrected=True)
        if e.corrects == entry.id
    ]
    return visit.page(
        "entry.html",
        entry=entry,
        kind=kind,
        call=call,
        options=option_picture(call, tongue.reader()) if call else None,
        picture=picture,
        place=visit.desk.places(visit.person).get(entry.place or ""),
        farm=visit.desk.farm_name(entry.farm),
        later=later,
        may_correct=visit.may(RECORD) and _correctable(visit, entry) and not later,
        fields=_shown(entry),
    )


def _shown(entry: Entry) -> list[tuple[str, Any, str]]:
    kind = evidence_kinds().get(entry.kind)
    out = []
    for name, value in entry.body.items():
        if name in ("image", "call"):
            continue
        f = kind.fields.get(name) if kind else None
        unit = f.unit if f and f.unit != "1" and isinstance(value, int | float | list) else ""
        out.append((name, value * 100 if f and f.kind == "share" else value, "%" if f and f.kind == "share" else unit))
    return out


def _correctable(visit: Visit, entry: Entry) -> bool:
    kind = evidence_kinds().get(entry.kind)
    plain = kind is not None and not any(
        isinstance(f, JsonField | DaysField) for f in kind.fields.values() if f.required
    )
    mine = entry.kind in permits.open_to(visit.who, "phone", "form", "page")
    return plain and mine and entry.kind not in ("call", "withdrawal", "photo")


def _typeable(entry: Entry) -> list[Any]:
    kind = evidence_kinds()[entry.kind]
    return [f for f in kind.fields.values() if not isinstance(f, JsonField | DaysField)]


def correct_form(visit: Visit) -> Response:
    """The entry's values to be changed; what is sent becomes a new entry that points to this one."""
    entry = _entry(visit)
    if not _correctable(visit, entry):
        raise Absent
    given = {}
    for f in _typeable(entry):
        if f.name in entry.body:
            given[f.name] = forms.shown_value(f, entry.body[f.name])
    boxes = forms.boxes(_typeable(entry), given)
    for box, f in zip(boxes, _typeable(entry), strict=True):
        if box.units[:1] == ("",) and f.name in entry.body:
            box.unit = f.unit
    return visit.page("correct.html", entry=entry, boxes=boxes, wrong=[], place=_place(visit, entry))


def _place(visit: Visit, entry: Entry) -> Any:
    return visit.desk.places(visit.person).get(entry.place or "")


def correct(visit: Visit) -> Response:
    """Record the correction."""
    entry = _entry(visit)
    if not _correctable(visit, entry):
        raise Absent
    fields = _typeable(entry)
    given = forms.sent(visit.form.multi_items())
    typed = forms.typed(fields, lambda name: given.get(name, "").strip())
    _, errors = forms.read(fields, typed)
    if errors:
        boxes = forms.boxes(fields, given, errors)
        wrong = [b for b in boxes if b.error]
        return visit.page("correct.html", 422, entry=entry, boxes=boxes, wrong=wrong, place=_place(visit, entry))
    kept = {k: v for k, v in entry.body.items() if k not in {f.name for f in fields}}
    new = NewEntry(
        entry.kind,
        {**kept, **typed},
        place=entry.place,
        farm=entry.farm,
        seen_at=entry.seen_at,
        observer=visit.who.name if visit.desk.settings.office else entry.observer,
        corrects=entry.id,
    )
    permits.check(visit.desk, visit.who, "form" if "form" in evidence_kinds()[entry.kind].doors else "page", new)
    receipt = visit.desk.ledger.append([new])[0]
    visit.desk.audit(visit.who, "entry corrected", f"{entry.id} by {receipt.id}")
    return visit.go(f"/entry/{receipt.id}", note="corrected")


def photo(visit: Visit) -> Response:
    """The picture of a photo entry."""
    import base64

    entry = _entry(visit)
    image = entry.body.get("image")
    if entry.kind != "photo" or not isinstance(image, dict):
        raise Absent
    return Response(base64.b64decode(image["base64"]), media_type="image/jpeg")


def fact_page(visit: Visit) -> Response:
    """One published number: its value, unit, conditions and source, as this district sees it."""
    facts = visit.desk.districts.on(visit.on).facts
    fact = facts.by_id.get(visit.part("fact"))
    if fact is None:
        raise Absent
    rivals = [
        (choice, facts.chosen.get(choice.id, choice.default))
        for choice in facts.choices.values()
        if fact.id in choice.among.values()
    ]
    return visit.page("fact.html", fact=fact, rivals=rivals, now=datetime.now(visit.desk.settings.clock()))


PAGES = (
    Page("/entry/{entry}", READ, entry_page),
    Page("/entry/{entry}/photo.jpg", READ, photo),
    Page("/entry/{entry}/correct", RECORD, correct_form),
    Page("/entry/{entry}/correct", RECORD, correct, methods=("POST",)),
    Page("/fact/{fact:path}", READ, fact_page),
)
