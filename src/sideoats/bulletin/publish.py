"""Everything a week puts out, as files: public ones by language, private ones by farm."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

from sideoats.bulletin.dates import farm_calendar, public_calendar
from sideoats.bulletin.feed import feed
from sideoats.bulletin.naming import public_stations, unnamed
from sideoats.bulletin.public import Bulletin, make_bulletin
from sideoats.bulletin.render import page, pdf
from sideoats.bulletin.spoken import SECONDS, messages, plain_text, script
from sideoats.bulletin.words import Words, words
from sideoats.errors import InputError
from sideoats.folders import write_whole
from sideoats.week.snapshot import Snapshot

if TYPE_CHECKING:
    from sideoats.facts import Facts
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


def bulletin_of(
    week: Week, snapshot: Snapshot, written: dict[str, str], language: str, facts: Facts | None = None
) -> Bulletin:
    """The bulletin of a week in one language, without the paragraphs that name a farm and without farms' own gauges."""
    said, _ = unnamed(snapshot, written)
    return make_bulletin(
        week,
        words(language),
        district=snapshot.settings.get("district.name", ""),
        stations=public_stations(snapshot),
        paragraphs=said,
        quotes=snapshot.quote_series,
        facts=facts,
    )


Maker = Callable[[Bulletin, Words], bytes]
# Every public form: the file's name and what makes it.
FORMS: Mapping[str, Maker] = {
    "bulletin.html": lambda b, w: page(b, w).encode(),
    "bulletin.pdf": pdf,
    "bulletin.txt": lambda b, w: plain_text(b, w).encode(),
    **{
        f"script-{n}-seconds.txt": lambda b, w, n=n: script(b, w, seconds=n).encode()  # type: ignore[misc]
        for n in SECONDS
    },
    "messages.txt": lambda b, w: "\n".join(messages(b, w)).encode(),
    "feed.xml": feed,
    "dates.ics": public_calendar,
}


def publish(
    week: Week,
    snapshot: Snapshot,
    written: dict[str, str],
    out: Path,
    languages: Sequence[str] = ("en", "es"),
    facts: Facts | None = None,
) -> Published:
    """Write every public form for each language, and a calendar a farm.

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
        b = bulletin_of(week, snapshot, written, language, facts)
        made.append(b)
        files += [write_whole(out / "public" / language / name, make(b, spoken)) for name, make in FORMS.items()]
    for farm in sorted({c.farm for c in week.calls if c.farm}):
        name = snapshot.farm_names.get(farm, farm)
        own = [c for c in week.calls if c.farm == farm]
        calendar = farm_calendar(own, words(languages[0]), farm=name, on=week.on)
        files.append(write_whole(out / "farms" / f"{re.sub(r'[^A-Za-z0-9_-]', '_', farm)}.ics", calendar))
    return Published(tuple(files), tuple(made))
