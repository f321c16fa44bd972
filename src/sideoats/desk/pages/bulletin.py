"""The bulletin's door: what the public will read, the adviser's own paragraphs, and every form it is put out in."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, time
from typing import TYPE_CHECKING

from starlette.responses import Response

from sideoats.bulletin.dates import farm_calendar
from sideoats.bulletin.naming import unnamed
from sideoats.bulletin.publish import FORMS, bulletin_of, paragraphs, written
from sideoats.bulletin.spoken import SECONDS, script
from sideoats.bulletin.words import LANGUAGES, Words, words
from sideoats.desk import tongue
from sideoats.desk.grants import ADVISE, READ
from sideoats.desk.table_out import file_response
from sideoats.desk.visit import Absent, Page, Visit
from sideoats.errors import InputError
from sideoats.ledger import NewEntry

if TYPE_CHECKING:
    from sideoats.bulletin.public import Bulletin

# File -> (its label, its kind).
KINDS: Mapping[str, tuple[str, str]] = {
    "bulletin.pdf": ("pdf", "application/pdf"),
    "bulletin.html": ("html", "text/html"),
    "bulletin.txt": ("txt", "text/plain"),
    "script-120-seconds.txt": ("spoken", "text/plain"),
    "script-60-seconds.txt": ("radio_60", "text/plain"),
    "script-30-seconds.txt": ("radio_30", "text/plain"),
    "messages.txt": ("messages", "text/plain"),
    "feed.xml": ("feed", "application/atom+xml"),
    "dates.ics": ("dates", "text/calendar"),
}


def usual_language() -> str:
    """The reader's language, if the bulletin is written in it."""
    own = tongue.reader().language
    return own if own in LANGUAGES else LANGUAGES[0]


def _made(visit: Visit, language: str, wait: float) -> tuple[Bulletin, Words] | None:
    """The bulletin of the day and its words; None while the week is being worked out."""
    if language not in LANGUAGES:
        raise Absent
    asked, _ = visit.desk.weeks.on(visit.on, wait=wait, who=visit.who.name)
    if asked.failed or not asked.ready or not asked.week.calls:
        return None
    district = visit.desk.districts.on(visit.on)
    written = paragraphs(visit.desk.ledger, visit.on)
    return bulletin_of(asked.week, district.snapshot, written, language, district.facts), words(language)


def bulletin_page(visit: Visit) -> Response:
    """What the public will read, with the ways to put it out."""
    language = visit.query("language", usual_language())
    made = _made(visit, language, 0.35)
    if made is None:
        return visit.page("bulletin_none.html", on=visit.on)
    return _show(visit, language, *made, "", 200)


def _show(
    visit: Visit,
    language: str,
    found: Bulletin,
    said: Words,
    line: str,
    status: int,
    typed: Mapping[str, str] | None = None,
) -> Response:
    standing = paragraphs(visit.desk.ledger, visit.on)
    named = unnamed(visit.desk.districts.on(visit.on).snapshot, standing)[1]
    slots = {f"{name}.{language}": title for name, title in _slots(found).items()}
    return visit.page(
        "bulletin.html",
        status,
        on=visit.on,
        language=language,
        b=found,
        said=said,
        languages=dict(c for c in tongue.choices() if c[0] in LANGUAGES),
        pictures=found.pictures,
        scripts={n: script(found, said, seconds=n) for n in SECONDS},
        forms=KINDS,
        slots=slots,
        line=line,
        written={**standing, **(typed or {})},
        naming=named,
        farms=visit.desk.farms(visit.person),
    )


def _slots(found: Bulletin) -> dict[str, str]:
    """Where the adviser may write: before everything, after it, and beside each matter."""
    return {
        "opening": tongue.plain("bulletin.opening"),
        **{s.key: s.headline for s in found.stories},
        "closing": tongue.plain("bulletin.closing"),
    }


def write(visit: Visit) -> Response:
    """Keep the paragraphs that were changed."""
    language = visit.text("language")
    made = _made(visit, language, 30)
    if made is None:
        raise InputError(
            tongue.plain("week.not_ready"), where=tongue.plain("week.the"), todo=tongue.plain("bulletin.wait")
        )
    new = []
    for name in _slots(made[0]):
        slot = f"{name}.{language}"
        if slot in visit.form:
            new += _rewritten(visit, slot, " ".join(visit.text(slot).split()))
    try:
        texts = {str(e.body["slot"]): str(e.body["text"]) for e in new if e.kind == "paragraph"}
        for slot, name in unnamed(visit.desk.districts.on(visit.on).snapshot, texts)[1].items():
            raise InputError(
                tongue.plain("bulletin.it_names", name=repr(name)),
                where=slot,
                expected=tongue.plain("bulletin.no_name"),
            )
        visit.desk.keep(visit.desk.ledger.append(new))
    except InputError as error:
        return _show(visit, language, *made, tongue.line_of(error), 422, {k: visit.text(k) for k in visit.form})
    return visit.go("/bulletin", note="stored", language=language, on=visit.on.isoformat())


def _rewritten(visit: Visit, slot: str, text: str) -> list[NewEntry]:
    """What makes `text` the paragraph of a slot: what stands this week is replaced or, for no text, withdrawn.

    A paragraph of the same day is corrected, whatever hour it carries: the later word wins, not the later stamp.
    """
    standing = written(visit.desk.ledger, visit.on, slot)
    if text == (str(standing[-1].body["text"]) if standing else ""):
        return []
    if not text:
        reason = {"reason": "taken out of the bulletin"}
        return [NewEntry("withdrawal", reason, corrects=e.id, observer=visit.who.name) for e in standing]
    when = datetime.combine(visit.on, time(12), tzinfo=visit.desk.settings.clock())
    same = standing[-1] if standing and standing[-1].seen_on == visit.on else None
    return [
        NewEntry(
            "paragraph",
            {"slot": slot, "text": text},
            seen_at=max(when, same.seen_at) if same else when,
            observer=visit.who.name,
            corrects=same.id if same else None,
        )
    ]


def put_out(visit: Visit) -> Response:
    """The bulletin in one of its forms, to keep."""
    name = visit.part("form")
    if name not in KINDS:
        raise Absent
    made = _made(visit, visit.part("language"), 60)
    if made is None:
        raise Absent
    kind = KINDS[name][1]
    visit.desk.audit(visit.who, "bulletin taken out", f"{name}, {visit.part('language')}, {visit.on}")
    return file_response(FORMS[name](*made), kind, f"{visit.on.isoformat()}-{visit.part('language')}-{name}")


def calendar(visit: Visit) -> Response:
    """One farm's act-by and look-by dates."""
    farm = visit.part("farm")
    known = visit.desk.farms(visit.person).get(farm)
    asked, _ = visit.desk.weeks.on(visit.on, wait=60, who=visit.who.name)
    if known is None or not asked.ready:
        raise Absent
    own = [call for call in asked.week.calls if call.farm == farm]
    visit.desk.audit(visit.who, "calendar taken out", farm)
    return file_response(
        farm_calendar(own, words(usual_language()), farm=known.name, on=visit.on), "text/calendar", f"{farm}.ics"
    )


PAGES = (
    Page("/bulletin", READ, bulletin_page),
    Page("/bulletin", ADVISE, write, methods=("POST",)),
    Page("/bulletin/{language}/{form}", READ, put_out),
    Page("/calendar/{farm}", READ, calendar),
)
