"""The bulletin's door: what the public will read, the adviser's own paragraphs, and every form it is put out in."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, time
from typing import TYPE_CHECKING

from starlette.responses import Response

from sideoats.bulletin.dates import farm_calendar
from sideoats.bulletin.publish import bulletin_of, paragraphs
from sideoats.bulletin.render import page, pdf, rain_chart, verdict_chart
from sideoats.bulletin.spoken import messages, notes, plain_text, radio, script, weather_lines
from sideoats.bulletin.words import LANGUAGES, Words, words
from sideoats.desk.shown import words as spaced
from sideoats.desk.table_out import file_response
from sideoats.desk.visit import ADVISE, READ, Absent, Page, Visit
from sideoats.errors import InputError
from sideoats.ledger import NewEntry
from sideoats.pictures import Picture

if TYPE_CHECKING:
    from sideoats.bulletin.public import Bulletin

Maker = Callable[["Bulletin", Words, list[Picture]], bytes]
FORMS: dict[str, tuple[str, str, Maker]] = {
    "bulletin.pdf": ("PDF", "application/pdf", lambda b, w, p: pdf(b, w, pictures=p)),
    "bulletin.html": ("web page", "text/html", lambda b, w, p: page(b, w, pictures=p).encode()),
    "bulletin.txt": ("plain text", "text/plain", lambda b, w, p: plain_text(b, w).encode()),
    "script-two-minutes.txt": ("spoken, two minutes", "text/plain", lambda b, w, p: script(b, w).encode()),
    "radio-60-seconds.txt": ("radio, a minute", "text/plain", lambda b, w, p: radio(b, w, seconds=60).encode()),
    "radio-30-seconds.txt": ("radio, half a minute", "text/plain", lambda b, w, p: radio(b, w, seconds=30).encode()),
    "messages.txt": ("messages for phones", "text/plain", lambda b, w, p: "\n".join(messages(b, w)).encode()),
}
LANGUAGE_NAMES = {"en": "English", "es": "Spanish"}


def _made(visit: Visit, language: str, wait: float) -> tuple[Bulletin, Words, list[Picture]] | None:
    """The bulletin of the day, its words and its pictures; None while the week is being worked out."""
    if language not in LANGUAGES:
        raise Absent
    asked, _ = visit.desk.weeks.on(visit.on, wait=wait)
    if asked.failed or not asked.ready or not asked.week.calls:
        return None
    snapshot, said = visit.desk.districts.on(visit.on).snapshot, words(language)
    found = bulletin_of(asked.week, snapshot, paragraphs(visit.desk.ledger, visit.on), language)
    chart = rain_chart(snapshot.stations, found, said)
    return found, said, [chart] if chart else []


def bulletin_page(visit: Visit) -> Response:
    """What the public will read, with the ways to put it out."""
    language = visit.query("language", "en")
    made = _made(visit, language, 0.35)
    if made is None:
        return visit.page("bulletin_none.html", on=visit.on)
    return _show(visit, language, *made, "", 200)


def _show(
    visit: Visit, language: str, found: Bulletin, said: Words, pictures: list[Picture], line: str, status: int
) -> Response:
    chart = verdict_chart(found, said)
    written = paragraphs(visit.desk.ledger, visit.on)
    slots = {f"{name}.{language}": title for name, title in _slots(found).items()}
    return visit.page(
        "bulletin.html", status, on=visit.on, language=language, languages=LANGUAGE_NAMES, b=found, said=said,
        pictures=[*([chart] if chart else []), *pictures], weather=weather_lines(found, said), notes=notes(found, said),
        script=script(found, said), forms=FORMS, slots=slots, written=written, line=line,
        farms=visit.desk.farms(visit.person),
    )  # fmt: skip


def _slots(found: Bulletin) -> dict[str, str]:
    """Where the adviser may write: before everything, after it, and beside each matter."""
    return {"opening": "Opening", **{i.question: spaced(i.question) for i in found.items}, "closing": "Closing"}


def write(visit: Visit) -> Response:
    """Keep the paragraphs that were changed."""
    language = visit.text("language")
    made = _made(visit, language, 30)
    if made is None:
        raise InputError("is still being worked out", where="the week", todo="wait for it, then write")
    before = paragraphs(visit.desk.ledger, visit.on)
    when = datetime.combine(visit.on, time(12), tzinfo=visit.desk.settings.clock())
    new = []
    for name in _slots(made[0]):
        slot = f"{name}.{language}"
        text = " ".join(visit.text(slot).split())
        if text and text != before.get(slot, ""):
            new.append(NewEntry("paragraph", {"slot": slot, "text": text}, seen_at=when, observer=visit.who.name))
    try:
        visit.desk.keep(visit.desk.ledger.append(new))
    except InputError as error:
        return _show(visit, language, *made, str(error), 422)
    return visit.go("/bulletin", note="stored", language=language, on=visit.on.isoformat())


def put_out(visit: Visit) -> Response:
    """The bulletin in one of its forms, to keep."""
    name = visit.part("form")
    if name not in FORMS:
        raise Absent
    made = _made(visit, visit.part("language"), 60)
    if made is None:
        raise Absent
    _, kind, make = FORMS[name]
    visit.desk.audit(visit.who, "bulletin taken out", f"{name}, {visit.part('language')}, {visit.on}")
    return file_response(make(*made), kind, f"{visit.on.isoformat()}-{visit.part('language')}-{name}")


def calendar(visit: Visit) -> Response:
    """One farm's act-by and look-by dates."""
    farm = visit.part("farm")
    known = visit.desk.farms(visit.person).get(farm)
    asked, _ = visit.desk.weeks.on(visit.on, wait=60)
    if known is None or not asked.ready:
        raise Absent
    own = [call for call in asked.week.calls if call.farm == farm]
    visit.desk.audit(visit.who, "calendar taken out", farm)
    return file_response(farm_calendar(own, words("en"), farm=known.name, on=visit.on), "text/calendar", f"{farm}.ics")


PAGES = (
    Page("/bulletin", READ, bulletin_page),
    Page("/bulletin", ADVISE, write, methods=("POST",)),
    Page("/bulletin/{language}/{form}", READ, put_out),
    Page("/calendar/{farm}", READ, calendar),
)
