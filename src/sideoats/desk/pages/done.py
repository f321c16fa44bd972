"""Done: what was done about a call, how it turned out, and how the season's calls held up."""

from __future__ import annotations

import itertools
from datetime import date, timedelta
from typing import Any

from starlette.responses import Response

from sideoats.call import Call, call_from
from sideoats.desk import forms, permits
from sideoats.desk.asked import ask_place
from sideoats.desk.grants import ADVISE, READ, RECORD
from sideoats.desk.pages.by_hand import seen_at
from sideoats.desk.pages.week import seen_calls
from sideoats.desk.tongue import line_of, plain
from sideoats.desk.visit import Absent, Page, Visit
from sideoats.errors import InputError, QuestionError
from sideoats.ledger import Entry, NewEntry, evidence_kinds
from sideoats.pictures import Axis, Picture, Row, Rows
from sideoats.question import registry
from sideoats.week.kept import HeldUp, call_id, held_up, keep_calls
from sideoats.words import Count, Parts, Share, say

SHOWN = 40
SEASON_DAYS = 365
_ASKED = ("what", "answer", "on", "cost", "note")


def done_page(visit: Visit) -> Response:
    """What was done lately, what still waits for a word, and the season's score."""
    since = visit.on - timedelta(days=SEASON_DAYS)
    mine = visit.desk.places(visit.person)
    recent = [e for e in _of(visit, ("action", "outcome"), since) if (e.place or "") in mine or not e.place][:SHOWN]
    asked, _ = visit.desk.weeks.on(visit.on, who=visit.who.name)
    due = [c for c in (seen_calls(visit, asked) if asked.ready else []) if c.verdict in ("act", "stop")]
    answered = {(e.place, e.body.get("question")) for e in recent if (visit.on - e.seen_on).days <= 14}
    open_calls = [c for c in due if (c.place, c.question) not in answered]
    score = held_up(visit.desk.ledger, since=since, until=visit.on) if visit.may(ADVISE) else None
    return visit.page(
        "done.html",
        on=visit.on,
        recent=recent,
        open_calls=open_calls[:SHOWN],
        more=max(len(open_calls) - SHOWN, 0),
        score=score,
        picture=reliability_picture(score) if score else None,
        places=mine,
        since=since,
        scorable=[e for e in _of(visit, ("call",), since) if (e.place or "") in mine][:SHOWN],
    )


def _of(visit: Visit, kinds: tuple[str, ...], since: date) -> list[Entry]:
    """Entries of some kinds, the newest first."""
    found = itertools.chain(*(visit.desk.ledger.history(kind=k, since=since, until=visit.on) for k in kinds))
    return sorted(found, key=lambda e: (e.seen_at, e.seq), reverse=True)


def reliability_picture(score: HeldUp) -> Picture | None:
    """What came against what was said, with the room that chance alone leaves; None where nothing scores a chance."""
    r = score.chances
    if r is None:
        return None
    names = [
        say("picture.kept.row", stated=Share(s), n=Count(n))
        for s, n in zip(r.stated.tolist(), r.count.tolist(), strict=True)
    ]
    total = Count(int(r.count.sum()))
    parts = (say("picture.kept.part", row=n, came=Share(c)) for n, c in zip(names, r.came.tolist(), strict=True))
    return Rows(
        finding=say("picture.kept.title" if r.enough else "picture.kept.few", n=total),
        saying=say("picture.kept.says", parts=Parts(tuple(parts))),
        kept=[
            Row(n, float(low), float(came), float(high))
            for n, low, came, high in zip(names, r.low, r.came, r.high, strict=True)
        ],
        axis=Axis(say("picture.kept.axis"), kind=Share),
    )


def _call_for(visit: Visit) -> Call | None:
    """The call that the form is about: as the week has it, or asked now; None for a form about no call."""
    question, place = visit.query("question") or visit.text("question"), visit.query("place") or visit.text("place_of")
    if not place or place not in visit.desk.places(visit.person):
        if place:
            raise Absent
        return None
    if not question:
        return None
    if question not in registry():
        raise Absent
    try:
        return ask_place(visit.desk, question, place, visit.on)
    except QuestionError:
        raise Absent from None


def action_form(visit: Visit) -> Response:
    """What was done."""
    call = _call_for(visit)
    return _action(visit, call, {}, {}, 200)


def _action(visit: Visit, call: Call | None, given: dict[str, str], errors: dict[str, str], status: int) -> Response:
    fields = evidence_kinds()["action"].fields
    wanted = [fields[n] for n in _ASKED if n in fields]
    given = {"on": visit.desk.settings.today().isoformat(), **given}
    boxes = forms.boxes(wanted, given, errors)
    for box in boxes:
        box.required = box.name == "what" and call is None
    place = visit.desk.places(visit.person).get(call.place if call else visit.query("place") or visit.text("place_of"))
    return visit.page(
        "done_new.html",
        status,
        call=call,
        place=place,
        boxes=boxes,
        wrong=[b for b in boxes if b.error],
        given=given,
        on=visit.on,
        places=visit.desk.places(visit.person),
    )


def record_action(visit: Visit) -> Response:
    """Keep the call as it was given, and what was done about it."""
    call = _call_for(visit)
    given = forms.sent(visit.form.multi_items())
    kind = evidence_kinds()["action"]
    option = next((o for o in call.options if o.key == given.get("option")), None) if call else None
    wanted = [kind.fields[n] for n in _ASKED]
    if option is not None and not given.get("what", "").strip():
        given["what"] = option.label
    typed = forms.typed(wanted, lambda name: given.get(name, "").strip())
    _, errors = forms.read(wanted, typed)
    if errors:
        return _action(visit, call, given, errors, 422)
    place = call.place if call else given.get("place_of", "")
    if place not in visit.desk.places(visit.person):
        return _action(visit, call, given, {"what": plain("done.choose_place")}, 422)
    body: dict[str, Any] = dict(typed)
    if call is not None:
        visit.desk.keep(keep_calls(visit.desk.ledger, [call], observer=visit.who.name))
        body |= {"call": call_id(call), "question": call.question}
        if option is not None:
            body["option"] = option.key
    when = seen_at(visit, str(typed.get("on", "")), "12:00")
    new = NewEntry("action", body, place=place, seen_at=when, observer=visit.who.name)
    permits.check(visit.desk, visit.who, "page", new)
    visit.desk.ledger.append([new])
    return visit.go(f"/places/{place}", note="stored")


def _kept(visit: Visit) -> Entry:
    """The kept call that an outcome is about."""
    entry = visit.desk.ledger.get(visit.query("call") or visit.text("call"))
    if (
        entry is None
        or entry.withheld
        or entry.kind != "call"
        or (entry.place and entry.place not in visit.desk.places(visit.person))
    ):
        raise Absent
    return entry


def outcome_form(visit: Visit) -> Response:
    """How a kept call turned out."""
    entry = _kept(visit)
    return _outcome(visit, entry, {}, "", 200)


def _outcome(visit: Visit, entry: Entry, given: dict[str, str], line: str, status: int) -> Response:
    call = call_from(entry.body["call"])
    chances = [name for name in call.quantities if name.startswith("chance")]
    return visit.page(
        "done_outcome.html",
        status,
        entry=entry,
        call=call,
        chances=chances,
        given=given,
        line=line,
        place=visit.desk.places(visit.person).get(entry.place or ""),
        today=visit.desk.settings.today(),
    )


def record_outcome(visit: Visit) -> Response:
    """Keep how it turned out, in the shape that scores the call."""
    entry = _kept(visit)
    given = forms.sent(visit.form.multi_items())
    call = call_from(entry.body["call"])
    what, value, unit = given.get("what", "").strip(), given.get("value", "").strip(), given.get("unit", "").strip()
    body: dict[str, Any] = {"what": what, "call": entry.id, "question": call.question}
    option = next((o for o in call.options if o.key == what), None)
    if given.get("happened") in ("yes", "no"):
        body["happened"] = given["happened"] == "yes"
    if value:
        body["value"] = value if not unit or not value[-1:].isdigit() else f"{value} {option.unit if option else unit}"
    if given.get("note", "").strip():
        body["note"] = given["note"].strip()
    try:
        if not what or not ({"happened", "value"} & set(body)):
            raise InputError(
                plain("done.nothing_said"), where=plain("done.outcome"), expected=plain("done.outcome_expected")
            )
        when = seen_at(visit, given.get("seen_day", ""), "12:00")
        new = NewEntry("outcome", body, place=entry.place, seen_at=when, observer=visit.who.name)
        permits.check(visit.desk, visit.who, "page", new)
        visit.desk.ledger.append([new])
    except InputError as error:
        return _outcome(visit, entry, given, line_of(error), 422)
    return visit.go("/done", note="stored")


def keep_week(visit: Visit) -> Response:
    """Keep every call of the week as given, so that it can be scored when its outcome is known."""
    asked, fresh = visit.desk.weeks.on(visit.on, wait=30, who=visit.who.name)
    if not asked.ready or not fresh:
        raise InputError(plain("week.not_ready"), where=plain("week.the"), todo=plain("done.wait"))
    visit.desk.keep(keep_calls(visit.desk.ledger, seen_calls(visit, asked), observer=visit.who.name))
    return visit.go("/", note="kept", on=visit.on.isoformat())


PAGES = (
    Page("/done", READ, done_page),
    Page("/done/new", RECORD, action_form),
    Page("/done/new", RECORD, record_action, methods=("POST",)),
    Page("/done/outcome", RECORD, outcome_form),
    Page("/done/outcome", RECORD, record_outcome, methods=("POST",)),
    Page("/week/keep", ADVISE, keep_week, methods=("POST",)),
)
