"""Act-by and look-by dates of a farm as a calendar (RFC 5545): the same call has the same UID on every run."""

from __future__ import annotations

import uuid
from collections.abc import Iterable
from datetime import UTC, date, datetime, time, timedelta

from sideoats.bulletin.words import Words
from sideoats.call import Call

_NAMESPACE = uuid.UUID("3f0f2a6b-93c4-5d11-a6f5-6d6f5f0a3f11")


def farm_calendar(calls: Iterable[Call], words: Words, *, farm: str, on: date) -> bytes:
    """A calendar of one farm's dates. All-day events; the stamp is the week's own day, so two runs give equal bytes."""
    from icalendar import Alarm, Calendar, Event

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
            alarm = Alarm()
            alarm.add("action", "DISPLAY")
            alarm.add("description", words.phrase(f"calendar_{kind}", what=what))
            alarm.add("trigger", timedelta(hours=-12))
            event.add_component(alarm)
            calendar.add_component(event)
    return bytes(calendar.to_ical())


def event_uid(call: Call, kind: str) -> str:
    """One UID for a question at a place in a year: next week's run moves the event instead of adding another."""
    return f"{uuid.uuid5(_NAMESPACE, f'{call.place}|{call.question}|{kind}|{call.on.year}')}@sideoats"
