"""Phone-in: a question answered while the caller waits, with nothing about a farm on file."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from starlette.responses import Response

from sideoats.asking import answers_for
from sideoats.call import Answered
from sideoats.desk import forms, tongue
from sideoats.desk.grants import ASK, RECORD
from sideoats.desk.visit import Absent, Page, Visit
from sideoats.errors import InputError, QuestionError, SideoatsError
from sideoats.ledger import NewEntry
from sideoats.printed import sheet
from sideoats.question import Question, every, find
from sideoats.week.option_picture import option_picture

MOST_LINES = 12


def contents(visit: Visit) -> Response:
    """Every question, by subject."""
    rooms: dict[str, list[Question]] = {}
    for question in every():
        rooms.setdefault(question.room, []).append(question)
    return visit.page("phone_in.html", rooms=dict(sorted(rooms.items())), count=sum(map(len, rooms.values())))


def _question(visit: Visit) -> Question:
    try:
        return find(visit.part("question"))
    except QuestionError:
        raise Absent from None


def blank(visit: Visit) -> Response:
    """The form, empty or filled from the address."""
    question = _question(visit)
    given = {k: v[:2000] for k, v in forms.sent(visit.request.query_params.multi_items()).items()}
    return _page(visit, question, given, {}, 200)


def _lines(question: Question, get: Callable[[str], str]) -> int:
    """How many lines of records the form shows: as many as were filled and some blank ones."""
    names = [f.name for f in question.inputs if f.kind == "records"]
    used = [
        at
        for name in names
        for at in range(MOST_LINES)
        if any(get(f"{name}.{at}.{f.name}") for q in question.inputs if q.name == name for f in q.fields)
    ]
    return min(max(forms.RECORD_ROWS, max(used, default=-1) + 2), MOST_LINES)


def _page(
    visit: Visit,
    question: Question,
    given: dict[str, str],
    errors: dict[str, str],
    status: int,
    answers: Answered | None = None,
    line: str = "",
) -> Response:
    rows = _lines(question, lambda name: given.get(name, ""))
    boxes = forms.boxes(question.inputs, given, errors, rows=rows, uploads=True)
    own = {
        "asked_on": visit.query("on") or visit.text("asked_on"),
        "whose": visit.text("whose") or visit.query("whose"),
    }
    marks = {f.name: forms.MARK for f in question.inputs}
    call = answers.call(0) if answers else None
    return visit.page(
        "phone_in_question.html",
        status,
        question=question,
        needed=[b for b in boxes if b.required],
        more=[b for b in boxes if not b.required],
        wrong=[b for b in boxes if b.error],
        line=line,
        call=call,
        options=option_picture(call, tongue.reader()) if call else None,
        pictures=answers.drawn(0) if answers else (),
        text=sheet(call, own["whose"], reader=tongue.reader()) if call else "",
        whose=own["whose"],
        asked_on=own["asked_on"] or visit.desk.settings.today().isoformat(),
        again={marks.get(k.partition(".")[0], "") + k: v for k, v in {**own, **given}.items()},
        uploads=any(b.upload or any(inner.upload for row in b.rows for inner in row) for b in boxes),
    )


def answer(visit: Visit) -> Response:
    """What was typed, answered or refused field by field; nothing is kept."""
    question = _question(visit)
    try:
        given = forms.sent(visit.form.multi_items(), uploads=True)
    except InputError as error:
        return _page(visit, question, forms.sent(visit.form.multi_items()), {}, 422, None, tongue.line_of(error))
    answers, errors, line = _ask(visit, question, given)
    return _page(visit, question, given, errors, 200 if answers else 422, answers, line)


def _ask(visit: Visit, question: Question, given: dict[str, str]) -> tuple[Answered | None, dict[str, str], str]:
    """The answers, or lines by field and one for the whole."""

    def get(name: str) -> str:
        return given.get(name, "").strip()

    typed = forms.typed(question.inputs, get, rows=_lines(question, get))
    _, errors = forms.read(question.inputs, typed)
    if errors:
        return None, errors, ""
    try:
        on = visit._day(asked) if (asked := visit.text("asked_on")) else visit.desk.settings.today()
        district = visit.desk.districts.on(on)
        answers = answers_for(question.name, typed, on=on, facts=district.facts, outlook=district.outlook)
    except InputError as error:
        named = [f.name for f in question.inputs if error.where.endswith(f.name)]
        if named:
            return None, {named[0]: tongue.line_of(error)}, ""
        return None, {}, tongue.line_of(error)
    except SideoatsError as error:
        return None, {}, tongue.line_of(error)
    return answers, {}, ""


def keep(visit: Visit) -> Response:
    """The same answer once more, into the ledger."""
    question = _question(visit)
    given = forms.sent(visit.form.multi_items())
    answers, errors, line = _ask(visit, question, given)
    if answers is None:
        return _page(visit, question, given, errors, 422, None, line)
    body: dict[str, Any] = {"call": {**answers.call(0).full(), "whose": visit.text("whose")[:200]}}
    receipts = visit.desk.ledger.append([NewEntry("call", body, observer=visit.who.name)])
    visit.desk.keep(receipts)
    return visit.go(f"/entry/{receipts[0].id}", note="kept")


PAGES = (
    Page("/phone-in", ASK, contents),
    Page("/phone-in/{question}", ASK, blank),
    Page("/phone-in/{question}", ASK, answer, methods=("POST",)),
    Page("/phone-in/{question}/keep", RECORD, keep, methods=("POST",)),
)
