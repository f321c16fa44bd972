"""The edition as words: scripts of so many seconds, messages of 160 characters, plain text."""

from __future__ import annotations

import re
import unicodedata
from textwrap import wrap

from sideoats.bulletin.aloud import aloud
from sideoats.bulletin.public import Bulletin
from sideoats.bulletin.words import Words
from sideoats.words import Day, Name, Reader, say, sentence

WORDS_A_MINUTE = 150  # common practice, no source: the pace of a voice on the air
SECONDS = (30, 60, 120)
TOLERANCE = 0.05
MESSAGE = 160
# The letters of GSM 03.38's basic alphabet beyond ASCII that our two languages use; others lose their accent, because
# one letter outside the alphabet more than halves what a message holds.
_GSM = set("éèùìòÇØøÅåÄÖÑÜ§¿äöñüà¡")
# Short closing sentences of several lengths, so that a script ends on time.
_CLOSING = ("ask", "print", "gauge", "walk", "farm", "count", "safe", "neighbor")


def script(bulletin: Bulletin, words: Words, *, seconds: int = 120) -> str:
    """Sentences to read aloud in so many seconds: greeting, every stop, the stories from the first, weather, farewell.

    Stories lose their later sentences to the clock, never their first; no stop is left out for time, so that a script
    of very many is longer than asked.
    """
    target = WORDS_A_MINUTE * seconds / 60
    most, least = int(target * (1 + TOLERANCE)), target * (1 - TOLERANCE)
    reader, language = Reader(words.language), words.language

    def spoken(code: str) -> str:
        return aloud(sentence(say(f"edition.spoken.{code}"), reader), language)

    hello = say("edition.spoken.hello", district=Name(bulletin.district), day=Day(bulletin.on))
    front = [aloud(stop, language) for stop in stops(bulletin, words)]
    room = most - _count(front)
    greeting, bye = aloud(sentence(hello, reader), language), spoken("bye")
    first = [text for text in (greeting,) if _count([text]) <= room]
    room -= _count(first)
    last = [bye] if _count([bye]) <= room / 2 else []
    room -= _count(last)
    told: list[list[str]] = []
    ahead = [[aloud(_ended(t), language) for t in (s.headline, *s.body, s.caution)] for s in bulletin.stories]
    for part in ahead[: max(1, round(seconds / 25))]:
        kept: list[str] = []
        for text in part:
            if _count([text]) > room:
                break
            kept.append(text)
            room -= _count([text])
        told.append(kept)
    weather = []
    more = [*(aloud(_ended(line), language) for line in weather_lines(bulletin, words)), *_others(bulletin, language)]
    for text in more:
        if _count([text]) <= room:
            weather.append(text)
            room -= _count([text])
    closing = _filling([spoken(key) for key in _CLOSING], room, max(0, room - int(most - least)))
    paragraphs = [" ".join(p) for p in (front, first, *told, weather, [*closing, *last]) if p]
    return "\n\n".join(paragraphs)


def _others(bulletin: Bulletin, language: str) -> list[str]:
    """What may be said where the stories leave time: the scouting and the cautions."""
    scout = [line for p in bulletin.parts if p.key == "scout" for line in p.lines]
    return [aloud(_ended(text), language) for text in (*scout, *bulletin.cautions)]


def _filling(sentences: list[str], most: int, least: int) -> list[str]:
    """Some of the sentences, in order, whose words lie between `least` and `most`, as close to the most as can be."""
    reached: dict[int, list[int]] = {0: []}
    for at, text in enumerate(sentences):
        for total, used in list(reached.items()):
            reached.setdefault(total + _count([text]), [*used, at])
    fitting = [total for total in reached if total <= most]
    best = next((t for t in sorted(fitting) if t >= least), max(fitting, default=0))
    return [sentences[at] for at in reached.get(best, [])]


def _ended(text: str) -> str:
    return text if text.endswith((".", "?", "!")) else f"{text}."


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


def messages(bulletin: Bulletin, words: Words) -> list[str]:
    """Messages of at most 160 characters, each stop first and then a story each, in letters that do not shorten one.

    A warning longer than one message goes on in the next; nothing of it is cut.
    """
    day = plain(f"{bulletin.on.day} {words.list('months')[bulletin.on.month - 1][:3]}")
    head = plain(f"{day} {words.verdict('stop').upper()}: ")
    warnings = [head + part for w in bulletin.hazards for part in wrap(plain(w), MESSAGE - len(head))]
    return warnings + [_message(f"{day}: {_ended(s.headline)}", [*s.body, s.caution]) for s in bulletin.stories]


def _message(text: str, more: list[str]) -> str:
    """The headline, and the first of the other sentences that still fits."""
    fitting = (part for part in more if len(plain(f"{text} {part}")) <= MESSAGE)
    return plain(f"{text} {next(fitting, '')}".strip())[:MESSAGE]


def plain(text: str) -> str:
    """`text` in the basic alphabet of messages: accents it does not have are dropped."""
    out = []
    for letter in re.sub("[–—]", "-", text):
        if letter.isascii() or letter in _GSM:
            out.append(letter)
        else:
            base = unicodedata.normalize("NFD", letter)[0]
            out.append(base if base.isascii() else "?")
    return "".join(out)


def plain_text(bulletin: Bulletin, words: Words) -> str:
    """The whole edition as plain text."""
    stop = words.verdict("stop").upper()
    lines = [bulletin.title, "=" * len(bulletin.title), "", *(f"[{stop}] {h}" for h in bulletin.hazards)]
    lines += [*([""] if bulletin.hazards else []), bulletin.opening, ""]
    for story in bulletin.stories:
        lines += [story.headline.upper(), *_wrapped(story.text), *_wrapped(story.caution), *_wrapped(story.source), ""]
    for part in bulletin.parts:
        lines += [part.title.upper(), *(f"- {line}" for line in part.lines)]
        lines += ["  " + " | ".join(row) for row in ((part.columns, *part.rows) if part.rows else ())]
        lines.append("")
    lines += [bulletin.closing, "", words.phrase("care"), *(f"- {c}" for c in bulletin.cautions), ""]
    lines += [bulletin.counted, made(bulletin, words)]
    return "\n".join(lines) + "\n"


def _wrapped(text: str) -> list[str]:
    return wrap(text, 88, initial_indent="  ", subsequent_indent="  ")


def made(bulletin: Bulletin, words: Words) -> str:
    """From which state of the ledger the edition was made."""
    from sideoats.bulletin.spread import LEAST_FARMS

    return words.phrase("made", entry=bulletin.head[0], hash=bulletin.head[1], least=LEAST_FARMS)
