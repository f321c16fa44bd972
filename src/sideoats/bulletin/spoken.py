"""The bulletin as words: a spoken script of about two minutes, radio notes, and messages of 160 characters."""

from __future__ import annotations

import unicodedata
from textwrap import wrap

from sideoats.bulletin.public import Bulletin, Item
from sideoats.bulletin.words import Words

WORDS_A_MINUTE = 140  # common practice, no source: an unhurried reading pace
MESSAGE = 160
# The letters of GSM 03.38's basic alphabet beyond ASCII that our two languages use; others lose their accent, because
# one letter outside the alphabet more than halves what a message holds.
_GSM = set("éèùìòÇØøÅåÄÖÑÜ§¿äöñüà¡")


def script(bulletin: Bulletin, words: Words, *, minutes: float = 2.0) -> str:
    """Sentences to read aloud: greeting, every stop, what presses, weather, farewell; whole items, as many as the time
    holds. No stop is left out for time."""
    most = int(minutes * WORDS_A_MINUTE)
    hello = words.phrase("spoken_hello", district=bulletin.title.split(":")[0], day=words.long_day(bulletin.on))
    ends = [hello, *stops(bulletin, words), bulletin.opening]
    bye = [words.phrase("spoken_bye")]
    middle: list[str] = []
    room = most - _count(ends) - _count(bye)
    for item in bulletin.items:
        said = words.phrase("spoken_item", title=f"{item.title}:", sentence=item.said)
        if _count([said]) > room:
            continue
        room -= _count([said])
        middle.append(said)
    for line in weather_lines(bulletin, words):
        if _count([line]) <= room:
            room -= _count([line])
            middle.append(line + ".")
    return "\n\n".join([*ends, *middle, *bye])


def stops(bulletin: Bulletin, words: Words) -> list[str]:
    """Every warning of a hazard as a sentence that begins with the word for stop."""
    return [f"{words.verdict('stop')}: {warning}" for warning in bulletin.hazards]


def _count(parts: list[str]) -> int:
    return sum(len(p.split()) for p in parts)


def weather_lines(bulletin: Bulletin, words: Words) -> list[str]:
    """A line a station."""
    out = []
    for s in bulletin.stations:
        line = words.phrase(
            "station_line",
            name=s.name,
            rain=words.rain(s.rain_mm),
            usual=words.rain(s.usual_rain_mm),
            cold=words.temperature(s.coldest_c),
            warm=words.temperature(s.warmest_c),
        )
        out.append(line + (words.phrase("missing", count=s.missing_days) if s.missing_days else ""))
    return out


def radio(bulletin: Bulletin, words: Words, *, seconds: int) -> str:
    """A note for the radio: every stop, then whole sentences, as many as can be read in so many seconds."""
    most = int(WORDS_A_MINUTE * seconds / 60)
    out = stops(bulletin, words)
    for sentence in [
        bulletin.opening,
        *(f"{i.title}: {i.said}" for i in bulletin.items),
        words.phrase("spoken_bye"),
    ]:
        if _count([*out, sentence]) <= most:
            out.append(sentence)
    return " ".join(out)


def messages(bulletin: Bulletin, words: Words) -> list[str]:
    """Messages of at most 160 characters, each stop first and then one group each, in letters that do not shorten one.

    A warning longer than one message goes on in the next; nothing of it is cut.
    """
    day = f"{bulletin.on.day} {words.list('months')[bulletin.on.month - 1][:3]}"
    head = plain(f"{day} {words.verdict('stop').upper()}: ")
    warnings = [head + part for w in bulletin.hazards for part in wrap(plain(w), MESSAGE - len(head))]
    return warnings + [_message(item, day, words) for item in bulletin.items]


def _message(item: Item, day: str, words: Words) -> str:
    last = f" {words.day(item.last)}" if item.last else ""
    farms = words.phrase("farms", count=item.farms)
    text = f"{day} {item.word.upper()}{last}: {item.title} ({farms}). {item.reminder}".strip()
    text = plain(text)
    if len(text) > MESSAGE:
        text = text[: MESSAGE - 3].rsplit(" ", 1)[0] + "..."
    return text


def plain(text: str) -> str:
    """`text` in the basic alphabet of messages: accents it does not have are dropped."""
    out = []
    for letter in text:
        if letter.isascii() or letter in _GSM:
            out.append(letter)
        else:
            base = unicodedata.normalize("NFD", letter)[0]
            out.append(base if base.isascii() else "?")
    return "".join(out)


def plain_text(bulletin: Bulletin, words: Words) -> str:
    """The whole bulletin as plain text."""
    stop = words.verdict("stop").upper()
    lines = [bulletin.title, "=" * len(bulletin.title), "", *(f"[{stop}] {h}" for h in bulletin.hazards)]
    lines += [*([""] if bulletin.hazards else []), bulletin.opening, ""]
    for item in bulletin.items:
        lines += [f"[{item.word.upper()}] {item.title}", f"  {item.sentence}"]
        if item.reminder:
            lines.append(f"  {item.reminder}")
    lines += [
        "",
        *notes(bulletin, words),
        "",
        words.phrase("weather"),
        *(f"  {w}" for w in weather_lines(bulletin, words)),
    ]
    lines += ["", bulletin.closing, "", words.phrase("care"), *(f"  - {c}" for c in bulletin.cautions), ""]
    lines.append(made(bulletin, words))
    return "\n".join(lines) + "\n"


def notes(bulletin: Bulletin, words: Words) -> list[str]:
    """What is not shown, and how much was asked."""
    out = [words.phrase("counted", places=bulletin.places, farms=bulletin.farms)]
    if bulletin.withheld:
        out.append(words.phrase("withheld", count=bulletin.withheld))
    if bulletin.waiting:
        out.append(words.phrase("waiting", count=bulletin.waiting))
    return out


def made(bulletin: Bulletin, words: Words) -> str:
    """From which state of the ledger the bulletin was made."""
    from sideoats.bulletin.public import LEAST_FARMS

    return words.phrase("made", entry=bulletin.head[0], hash=bulletin.head[1], least=LEAST_FARMS)
