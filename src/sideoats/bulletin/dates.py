"""Act-by and look-by dates of a farm as a calendar (RFC 5545): the same call has the same UID on every run."""

from __future__ import annotations

import uuid
from collections.abc import Iterable
from datetime import UTC, date, datetime, time, timedelta
from typing import TYPE_CHECKING

from sideoats.bulletin.public import Bulletin
from sideoats.bulletin.words import Words
from sideoats.call import Call
from sideoats.words import Name, Reader, say, sentence

if TYPE_CHECKING:
    from icalendar import Event

_NAMESPACE = uuid.UUID("3f0f2a6b-93c4-5d11-a6f5-6d6f5f0a3f11")


def farm_calendar(calls: Iterable[Call], words: Words, *, farm: str, on: date) -> bytes:
    """A calendar of one farm's dates. All-day events; the stamp is the week's own day, so two runs give equal bytes."""
    from icalendar import Calendar, Event

    calendar = Calendar()
    calendar.add("prodid", "-//Sideoats//farm week//EN")
    calendar.add("version", "2.0")
    calendar.add("name", words.phrase("calendar_name", farm=farm))
    stamp = datetime.combine(on, time(12, 0), tzinfo=UTC)
    for call in calls:
        for kind, day in (("act", call.act_by), ("look", call.look_by)):
            if day is None or call.verdict == "wait":
                continue
            event = Event()
            what = f"{words.question(call.question)}, {call.place_name or call.place}"
            event.add("uid", event_uid(call, kind))
            event.add("dtstamp", stamp)
            event.add("dtstart", day)
            event.add("dtend", day + timedelta(days=1))
            event.add("summary", words.phrase(f"calendar_{kind}", what=what))
            event.add("description", "\n".join([call.headline, *call.cautions]))
            event.add("sequence", on.toordinal() - date(2020, 1, 1).toordinal())
            event.add("transp", "TRANSPARENT")
            _remind(event, day, on, words.phrase(f"calendar_{kind}", what=what))
            calendar.add_component(event)
    return bytes(calendar.to_ical())


def _remind(event: Event, day: date, on: date, what: str) -> None:
    """An alarm at noon of the day before, where that is not past: the calendar is made at noon of `on`."""
    from icalendar import Alarm

    if day - timedelta(days=1) <= on:
        return
    alarm = Alarm()
    alarm.add("action", "DISPLAY")
    alarm.add("description", what)
    alarm.add("trigger", timedelta(hours=-12))
    event.add_component(alarm)


def public_calendar(bulletin: Bulletin, words: Words) -> bytes:
    """The dates that the edition names to everyone; a story's next edition moves its event."""
    from icalendar import Calendar, Event

    reader = Reader(words.language)
    calendar = Calendar()
    calendar.add("prodid", f"-//Sideoats//public dates//{words.language.upper()}")
    calendar.add("version", "2.0")
    calendar.add("name", sentence(say("edition.calendar.name", district=Name(bulletin.district)), reader))
    for found in bulletin.days:
        what = sentence(found.what, reader)
        event = Event()
        event.add("uid", f"{uuid.uuid5(_NAMESPACE, f'{bulletin.district}|{found.key}|{found.day.year}')}@sideoats")
        event.add("dtstamp", datetime.combine(bulletin.on, time(12, 0), tzinfo=UTC))
        event.add("dtstart", found.day)
        event.add("dtend", found.day + timedelta(days=1))
        event.add("summary", what[:1].upper() + what[1:])
        event.add("sequence", bulletin.on.toordinal() - date(2020, 1, 1).toordinal())
        event.add("transp", "TRANSPARENT")
        _remind(event, found.day, bulletin.on, what)
        calendar.add_component(event)
    return bytes(calendar.to_ical())


def event_uid(call: Call, kind: str) -> str:
    """One UID for a question at a place in a year: next week's run moves the event instead of adding another."""
    return f"{uuid.uuid5(_NAMESPACE, f'{call.place}|{call.question}|{kind}|{call.on.year}')}@sideoats"
