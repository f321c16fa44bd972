"""Entering what was seen through an ordinary form: any kind of evidence, without a script, and places and farms too."""

from __future__ import annotations

import uuid
from datetime import datetime, time, timedelta
from typing import Any

from starlette.responses import Response

from sideoats.desk import forms, permits
from sideoats.desk.accounts import Person
from sideoats.desk.grants import RECORD
from sideoats.desk.photos import photo_body
from sideoats.desk.shown import day
from sideoats.desk.tongue import line_of, plain
from sideoats.desk.visit import Page, Visit
from sideoats.errors import InputError
from sideoats.ledger import EvidenceKind, NewEntry, evidence_kinds
from sideoats.ledger.evidence import DaysField, JsonField
from sideoats.schema import Field, read_date


def kinds_by_hand(person: Person | None = None) -> dict[str, EvidenceKind]:
    """Kinds of evidence that have a form: all of them, or those that the person may record."""
    kinds = (
        {k: v for k, v in evidence_kinds().items() if "form" in v.doors}
        if person is None
        else (permits.open_to(person, "form"))
    )
    return {
        name: kind
        for name, kind in kinds.items()
        if name != "photo" and all(f.kind not in ("json", "days") or not f.required for f in kind.fields.values())
    }


def typed_fields(kind: EvidenceKind) -> list[Field]:
    """Fields of a kind that have a box; outlines come in as text, blocks of days do not come in by hand."""
    plain = [f for f in kind.fields.values() if not isinstance(f, JsonField | DaysField)]
    return plain + ([kind.fields["outline"]] if kind.name == "place" and "outline" in kind.fields else [])


def choose(visit: Visit) -> Response:
    """First what and where, then the fields."""
    kinds, places = kinds_by_hand(visit.who), visit.desk.places(visit.person)
    kind, place = kinds.get(visit.query("kind")), places.get(visit.query("place"))
    if kind is None or (kind.places and place is None):
        fitting = {name: k for name, k in kinds.items() if place is None or not k.places or place.kind in k.places}
        return visit.page("by_hand_choose.html", kinds=fitting, places=places, kind=kind, place=place)
    given: dict[str, str] = {}
    if kind.name == "place" and place is not None:
        described = {"name": place.name, "kind": place.kind, **place.attributes}
        given = {f.name: forms.shown_value(f, described.get(f.name)) for f in typed_fields(kind) if f.kind != "json"}
        given |= {"about.id": place.id, "about.farm": place.farm}
    return _form(visit, kind, place.id if place else "", given, {}, 200)


def _form(
    visit: Visit,
    kind: EvidenceKind,
    place: str,
    given: dict[str, str],
    errors: dict[str, str],
    status: int,
    line: str = "",
) -> Response:
    boxes = forms.boxes(typed_fields(kind), given, errors)
    on_file = visit.desk.places(visit.person).values()
    for box in boxes if kind.name == "place" else []:
        if box.name in ("station", "market"):
            box.shape, ids = "pick", [p.id for p in on_file if p.kind == box.name]
            box.choices = tuple(dict.fromkeys(([box.value] if box.value else []) + ids))
    now = datetime.now(visit.desk.settings.clock())
    return visit.page(
        "by_hand.html",
        status,
        kind=kind,
        place=visit.desk.places(visit.person).get(place),
        boxes=boxes,
        line=line,
        wrong=[b for b in boxes if b.error],
        given=given,
        farms=visit.desk.farms(visit.person),
        seen_day=given.get("seen_day", visit.desk.settings.today().isoformat()),
        seen_time=given.get("seen_time", now.strftime("%H:%M")),
        observer=given.get("observer", visit.who.name),
        mint=given.get("mint") or str(uuid.uuid4()),
    )


def seen_at(visit: Visit, on: str, clock: str) -> datetime:
    """Day and time of a form as an instant in the office's zone. Raises InputError."""
    when = read_date(on) if on else visit.desk.settings.today()
    try:
        at = time.fromisoformat(clock or "12:00")
    except ValueError:
        raise InputError(
            plain("wrong.clock", text=repr(clock[:20])), where=plain("wrong.time"), expected="HH:MM"
        ) from None
    if when > visit.desk.settings.today() + timedelta(days=1):
        raise InputError(
            plain("wrong.ahead", day=day(when)), where=plain("wrong.day_seen"), expected=plain("wrong.day_expected")
        )
    return datetime.combine(when, at.replace(tzinfo=None), tzinfo=visit.desk.settings.clock())


def store(visit: Visit) -> Response:
    """Read the form and keep the entry; every refused field is named, nothing typed is lost."""
    given = forms.sent(visit.form.multi_items())
    kinds = kinds_by_hand(visit.who)
    kind = kinds.get(given.get("kind_of", ""))
    if kind is None:
        raise InputError(plain("wrong.kind"), where=plain("kind"), expected=plain("wrong.listed"))
    fields = typed_fields(kind)
    typed = forms.typed(fields, lambda name: given.get(name, "").strip())
    _, errors = forms.read(fields, typed)
    place = given.get("about.id", "").strip() if kind.name == "place" else given.get("place_of", "")
    farm = given.get("about.farm", "").strip() if kind.name in ("place", "farm") else ""
    try:
        permits.check(visit.desk, visit.who, "form", NewEntry(kind.name, {}, place=place or None, farm=farm or None))
        if errors:
            return _form(visit, kind, place, given, errors, 422)
        entries = _entries(visit, kind, typed, place, given)
        receipts = visit.desk.ledger.append(entries)
    except InputError as error:
        return _form(visit, kind, place, given, {}, 422, line_of(error))
    note = "stored" if receipts[0].stored else "already"
    return visit.go(f"/places/{place}" if place else f"/entry/{receipts[0].id}", note=note)


def _entries(
    visit: Visit, kind: EvidenceKind, typed: dict[str, Any], place: str, given: dict[str, str]
) -> list[NewEntry]:
    """The entry, and its photograph if one came with it."""
    places, farms = visit.desk.places(visit.person), visit.desk.farms(visit.person)
    farm = given.get("about.farm", "").strip() or None
    if kind.name == "place":
        if place in visit.desk.places(None) and place not in places:
            raise InputError(plain("wrong.taken"), where=plain("id"), todo=plain("wrong.another"))
        if farm is not None and farm not in farms:
            raise InputError(
                plain("wrong.no_farm", name=repr(farm[:60])), where=plain("farm"), todo=plain("wrong.farm_first")
            )
        if "outline" in typed:
            from sideoats.ledger.evidence import read_value
            from sideoats.week.outlines import rings

            rings(read_value(kind.fields["outline"], typed["outline"]))
        old = places.get(place)
        if old is not None:  # what has no box here stays as it was
            kept = {
                k: v
                for k, v in old.attributes.items()
                if k not in {f.name for f in typed_fields(kind)} or k == "outline"
            }
            typed = {**kept, **typed}
    elif place and place not in places:
        raise InputError(
            plain("wrong.no_place", name=repr(place[:60])), where=plain("places.place"), todo=plain("wrong.place_first")
        )
    farm = farm if kind.name in ("place", "farm") else None
    when = seen_at(visit, given.get("seen_day", ""), given.get("seen_time", ""))
    observer = visit.who.name if visit.desk.settings.office else given.get("observer", "")[:200]
    mint = given.get("mint") or str(uuid.uuid4())
    out = [NewEntry(kind.name, typed, place=place or None, farm=farm, seen_at=when, observer=observer, id=mint)]
    file = visit.file("photo")
    if file is not None:
        body = photo_body(file.file.read(visit.desk.settings.limits.photo), given.get("photo_note", "")[:500], mint)
        of = str(uuid.uuid5(uuid.UUID(mint), "photo"))
        out.append(NewEntry("photo", body, place=place or None, farm=farm, seen_at=when, observer=observer, id=of))
    return out


PAGES = (
    Page("/enter/by-hand", RECORD, choose),
    Page("/enter/by-hand", RECORD, store, methods=("POST",), body=lambda limits: limits.photo),
)
