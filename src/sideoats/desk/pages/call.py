"""One call: options with ranges, reasons, evidence, sources, what changed, and what would change it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from starlette.responses import Response

from sideoats.call import Call
from sideoats.desk import forms, tongue
from sideoats.desk.asked import ask_place, changed
from sideoats.desk.grants import READ
from sideoats.desk.visit import Absent, Page, Visit
from sideoats.errors import InputError, QuestionError
from sideoats.ledger import Entry
from sideoats.outlook.stations import known_station
from sideoats.pictures import Picture
from sideoats.printed import sheet
from sideoats.question import Question, Table, find
from sideoats.schema import Field
from sideoats.week.option_picture import option_picture
from sideoats.week.rows import ask_row, row_of

_FIXED_KINDS = frozenset({"series", "file", "records"})


@dataclass(frozen=True)
class Used:
    """One value that the call was worked out from, and how old it is."""

    field: Field
    text: str
    age: float | None


def _found(visit: Visit) -> tuple[Question, Any]:
    """The question and the place of the address, if there are such and the person may see them."""
    places = visit.desk.places(visit.person)
    place = places.get(visit.part("place"))
    try:
        question = find(visit.part("question"))
    except QuestionError:
        raise Absent from None
    if place is None:
        raise Absent
    return question, place


def _call(visit: Visit, question: Question, place: str) -> Call | None:
    """The call as the week has it, else asked now."""
    asked, fresh = visit.desk.weeks.on(visit.on, who=visit.who.name)
    if fresh and asked.ready:
        for call in asked.week.calls:
            if call.place == place and call.question == question.name:
                return call  # type: ignore[no-any-return]
    return ask_place(visit.desk, question.name, place, visit.on)


def used_values(question: Question, table: Table) -> list[Used]:
    """The row's values as they would be typed, in the question's own order; unknown ones are empty."""
    out = []
    for f in question.inputs:
        raw = table.columns[f.name][0]
        value = (None if str(raw) == "NaT" else raw.item()) if f.kind == "date" else raw
        if f.kind == "flag":
            value = None if raw != raw else bool(raw)
        age = table.ages.get(f.name)
        known = float(age[0]) if age is not None and age[0] == age[0] else None
        out.append(Used(f, forms.shown_value(f, value), known))
    return out


def call_page(visit: Visit) -> Response:
    """The call with everything behind it."""
    question, place = _found(visit)
    call = _call(visit, question, place.id)
    if call is None:
        return visit.page("call_none.html", 404, question=question, place=place, on=visit.on)
    district = visit.desk.districts.on(visit.on)
    table = row_of(question, place.id, district)
    used = used_values(question, table) if table is not None else []
    pictures = ask_row(question, table, district).drawn(0) if table is not None else ()
    evidence = [e for i in call.evidence if (e := visit.desk.ledger.get(i)) is not None]
    farm = visit.desk.farm_name(place.farm)
    return visit.page(
        "call.html",
        on=visit.on,
        call=call,
        question=question,
        place=place,
        farm=farm,
        options=option_picture(call, tongue.reader()),
        pictures=pictures,
        used=used,
        boxes=_boxes(used, {}, {}),
        evidence=evidence,
        text=sheet(call, place.name, farm, reader=tongue.reader()),
        done=_done(visit, place.id, question.name),
        units=_unit_words(used),
    )


def _boxes(used: list[Used], given: dict[str, str], errors: dict[str, str]) -> list[forms.Box]:
    """Boxes holding the values used; long lists are shown on the page and not changed here."""
    fields = [u.field for u in used if u.field.kind not in _FIXED_KINDS]
    filled = {u.field.name: u.text for u in used}
    out = forms.boxes(fields, {**filled, **given}, errors)
    for box, f in zip(out, fields, strict=True):
        box.required = False
        if box.units[:1] == ("",):  # the value shown is in the field's own unit
            box.unit = box.unit or f.unit
    return out


def _unit_words(used: list[Used]) -> dict[str, str]:
    return {u.field.name: "%" if u.field.kind == "share" else "" if u.field.unit == "1" else u.field.unit for u in used}


def _done(visit: Visit, place: str, question: str) -> list[Entry]:
    """What was done about this question here, and how it turned out."""
    kinds = ("action", "outcome")
    found = [e for e in visit.desk.entries(visit.who, place) if e.kind in kinds and e.body.get("question") == question]
    return found[:10]


def what_if(visit: Visit) -> Response:
    """The call again with some values changed, beside the call as it stands."""
    question, place = _found(visit)
    district = visit.desk.districts.on(visit.on)
    table = row_of(question, place.id, district)
    if table is None:
        raise Absent
    used = used_values(question, table)
    given = forms.sent(visit.form.multi_items())
    fields = [u.field for u in used if u.field.kind not in _FIXED_KINDS]
    filled = {u.field.name: u.text for u in used}
    moved = [f for f in fields if given.get(f.name, "").strip() != filled[f.name] or _unit_moved(f, given)]
    typed = forms.typed(moved, lambda name: given.get(name, "").strip())
    values: dict[str, Any] = {}
    errors: dict[str, str] = {}
    for f in moved:
        if f.name in typed:
            got, wrong = forms.read([f], typed)
            values |= got
            errors |= wrong
        else:
            values[f.name] = None
    now = ask_row(question, table, district).call(0)
    then: Call | None = None
    pictures: tuple[Picture, ...] = ()
    if not errors and values:
        try:
            if values.get("station"):
                known_station(values["station"], district.outlook.records, where="station")
            answers = ask_row(question, changed(question, table, values), district)
            then, pictures = answers.call(0), answers.drawn(0)
        except InputError as error:
            errors[moved[0].name] = tongue.line_of(error)
    return visit.page(
        "what_if.html",
        422 if errors else 200,
        on=visit.on,
        question=question,
        place=place,
        now=now,
        then=then,
        boxes=_boxes(used, given, errors),
        wrong=[b for b in _boxes(used, given, errors) if b.error],
        moved=[forms.label_of(f) for f in moved],
        options=option_picture(then, tongue.reader()) if then else None,
        pictures=pictures,
    )


def _unit_moved(f: Field, given: dict[str, str]) -> bool:
    unit = given.get(f.name + ".unit", "")
    return f.kind in ("number", "numbers") and bool(given.get(f.name)) and unit not in ("", f.unit)


def last_week(visit: Visit) -> Response:
    """What the same question would have said seven days before, from what was on file by then."""
    question, place = _found(visit)
    now = _call(visit, question, place.id)
    before = ask_place(visit.desk, question.name, place.id, visit.on - timedelta(days=7))
    return visit.page(
        "last_week.html",
        on=visit.on,
        now=now,
        before=before,
        day=visit.on - timedelta(days=7),
        changes=_changes(before, now) if before and now else [],
    )


def _changes(before: Call, now: Call) -> list[tuple[str, Any, Any, str]]:
    """Quantities that both calls have and that moved: name, before, now, unit."""
    out = []
    for name, new in now.quantities.items():
        old = before.quantities.get(name)
        if old is not None and old.unit == new.unit and old.value != new.value:
            out.append((name, old.value, new.value, new.unit))
    return out


def as_json(visit: Visit) -> Response:
    """The call in the agreed shape."""
    question, place = _found(visit)
    call = _call(visit, question, place.id)
    if call is None:
        raise Absent
    return visit.json(call.full())


PAGES = (
    Page("/call/{question}/{place}", READ, call_page),
    Page("/call/{question}/{place}/what-if", READ, what_if, methods=("POST",)),
    Page("/call/{question}/{place}/last-week", READ, last_week),
    Page("/call/{question}/{place}/json", READ, as_json),
)
