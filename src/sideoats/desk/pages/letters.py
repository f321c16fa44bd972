"""Letters: one page a farm to read, print or send, and the slips that come back."""

from __future__ import annotations

from starlette.responses import Response

from sideoats.desk import permits, tongue
from sideoats.desk.grants import READ, RECORD
from sideoats.desk.pages.by_hand import seen_at
from sideoats.desk.table_out import file_response
from sideoats.desk.visit import Absent, Page, Visit
from sideoats.errors import InputError
from sideoats.farm.plan import run_farm
from sideoats.letters.letter import LATELY, Letter, letter_of
from sideoats.letters.sheet import page, plain
from sideoats.letters.slips import actions_of, answers, entry_of
from sideoats.words import Reader, languages


def _letter(visit: Visit, farm: str, wait: float) -> Letter | None:
    """The farm's letter of the day in its own language, else in the visitor's; None while the week is worked out."""
    known = visit.desk.farms(visit.person).get(farm)
    if known is None:
        raise Absent
    asked, _ = visit.desk.weeks.on(visit.on, wait=wait, who=visit.who.name)
    if asked.failed or not asked.ready:
        return None
    own = visit.query("language") or str(known.attributes.get("language", ""))
    reader = tongue.reader()
    reader = Reader(own, reader.measures) if own in languages() else reader
    history = (e for e in visit.desk.ledger.history(since=visit.on - LATELY, until=visit.on) if e.farm == farm)
    week = asked.week
    plan = run_farm(visit.desk.ledger, farm, visit.on, draws=week.draws, seed=week.seed)
    return letter_of(week, visit.desk.districts.on(visit.on), history, farm, reader, plan)


def letters_page(visit: Visit) -> Response:
    """The farms, one letter to read, and a box for what a slip says."""
    return _show(visit, "", "", 200)


def _show(visit: Visit, line: str, typed: str, status: int) -> Response:
    farm = visit.query("farm")
    letter = _letter(visit, farm, 30) if farm else None
    return visit.page(
        "letters.html",
        status,
        on=visit.on,
        farms=visit.desk.farms(visit.person),
        farm=farm,
        letter=letter,
        text=plain(letter) if letter else "",
        line=line,
        typed=typed,
        languages=tongue.choices(),
    )


def printed(visit: Visit) -> Response:
    """The page of one farm; that it went out is kept, so that its slip can be read back."""
    letter = _letter(visit, visit.part("farm").removesuffix(".pdf"), 60)
    if letter is None:
        raise Absent
    if visit.may(RECORD):
        when = seen_at(visit, visit.on.isoformat(), "12:00")
        kept = entry_of(letter, "printed", when, visit.who.name)
        if visit.desk.ledger.get(str(kept.id)) is None:
            visit.desk.keep(visit.desk.ledger.append([kept]))
    visit.desk.audit(visit.who, "letter taken out", letter.farm)
    return file_response(page(letter), "application/pdf", f"{letter.farm}-{letter.on.isoformat()}.pdf")


def reply(visit: Visit) -> Response:
    """Store what a slip says."""
    typed = " ".join(visit.text("slip").split())
    try:
        letter, said = answers(typed, visit.desk.ledger.history(kind="letter"))
        if letter.farm not in visit.desk.farms(visit.person):
            raise Absent
        when = seen_at(visit, visit.desk.settings.today().isoformat(), "12:00")
        new = actions_of(visit.desk.ledger, letter, said, when, visit.who.name)
        for entry in new:
            permits.check(visit.desk, visit.who, "page", entry)
        visit.desk.keep(visit.desk.ledger.append(new))
    except InputError as error:
        return _show(visit, tongue.line_of(error), typed, 422)
    return visit.go("/letters", note="stored", farm=letter.farm or "", on=visit.on.isoformat())


PAGES = (
    Page("/letters", READ, letters_page),
    Page("/letters", RECORD, reply, methods=("POST",)),
    Page("/letters/{farm}", READ, printed),
)
