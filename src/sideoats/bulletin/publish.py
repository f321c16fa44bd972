"""Everything a week puts out, as files: public ones by language, private ones by farm."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

from sideoats.bulletin.dates import farm_calendar
from sideoats.bulletin.naming import public_stations, unnamed
from sideoats.bulletin.public import Bulletin, make_bulletin
from sideoats.bulletin.render import page, pdf, rain_charts
from sideoats.bulletin.spoken import messages, plain_text, radio, script
from sideoats.bulletin.words import words
from sideoats.errors import InputError
from sideoats.folders import write_whole
from sideoats.week.snapshot import Snapshot

if TYPE_CHECKING:
    from sideoats.ledger import Entry, Ledger
    from sideoats.week import Week


@dataclass(frozen=True)
class Published:
    """Files written, in order, and the bulletins behind them."""

    files: tuple[Path, ...]
    bulletins: tuple[Bulletin, ...]


def paragraphs(ledger: Ledger, on: date) -> dict[str, str]:
    """Slot -> the newest paragraph of the last seven days."""
    found = ledger.latest_topics("paragraph", on)
    recent = {slot: e for (_, slot), e in found.items() if e.seen_on > on - timedelta(days=7)}
    return {slot: str(e.body["text"]) for slot, e in recent.items()}


def written(ledger: Ledger, on: date, slot: str) -> list[Entry]:
    """The paragraphs of a slot that stand in the last seven days, the one that is used last."""
    found = ledger.history(kind="paragraph", since=on - timedelta(days=6), until=on)
    return sorted((e for e in found if e.body.get("slot") == slot), key=lambda e: (e.seen_at, e.seq))


def bulletin_of(week: Week, snapshot: Snapshot, written: dict[str, str], language: str) -> Bulletin:
    """The bulletin of a week in one language, without the paragraphs that name a farm and without farms' own gauges."""
    district = snapshot.settings.get("district.name", "")
    said, _ = unnamed(snapshot, written)
    return make_bulletin(week, words(language), district=district, stations=public_stations(snapshot), paragraphs=said)


def publish(
    week: Week, snapshot: Snapshot, written: dict[str, str], out: Path, languages: Sequence[str] = ("en", "es")
) -> Published:
    """Write page, PDF, plain text, spoken script, radio notes and messages for each language, and a calendar a farm.

    Public files go to ``out/public/LANGUAGE``, calendars (which name places) to ``out/farms``.

    Raises
    ------
    InputError : a paragraph names a farm or a place of one; nothing is written
    """
    for slot, name in unnamed(snapshot, written)[1].items():
        raise InputError(
            f"names {name!r}",
            where=f"paragraph {slot}",
            expected="a text that names no farm and no place of one",
            todo="record the paragraph again without it",
        )
    files: list[Path] = []
    made = []
    for language in languages:
        spoken = words(language)
        b = bulletin_of(week, snapshot, written, language)
        made.append(b)
        pictures = rain_charts(public_stations(snapshot), b)
        folder = out / "public" / language
        files += [
            write_whole(folder / "bulletin.html", page(b, spoken, pictures=pictures).encode()),
            write_whole(folder / "bulletin.pdf", pdf(b, spoken, pictures=pictures)),
            write_whole(folder / "bulletin.txt", plain_text(b, spoken).encode()),
            write_whole(folder / "script-two-minutes.txt", script(b, spoken).encode()),
            write_whole(folder / "radio-30-seconds.txt", radio(b, spoken, seconds=30).encode()),
            write_whole(folder / "radio-60-seconds.txt", radio(b, spoken, seconds=60).encode()),
            write_whole(folder / "messages.txt", "\n".join(messages(b, spoken)).encode()),
        ]
    for farm in sorted({c.farm for c in week.calls if c.farm}):
        name = snapshot.farm_names.get(farm, farm)
        own = [c for c in week.calls if c.farm == farm]
        calendar = farm_calendar(own, words(languages[0]), farm=name, on=week.on)
        files.append(write_whole(out / "farms" / f"{re.sub(r'[^A-Za-z0-9_-]', '_', farm)}.ics", calendar))
    return Published(tuple(files), tuple(made))
