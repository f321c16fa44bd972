"""Catalogues of sentences: gettext files, one folder a language, one file a room; the message's id is its code.

gettext files with Babel were chosen over Fluent by measurement (3,000 messages on one core): a catalogue that was read
once (`sideoats.shipped`) is there in 15 ms and 3,000 sentences are made in 9 ms, where Fluent's Python runtime parses
for 1,100 ms and formats for another 1,100 ms; both have plurals, and translators have more tools for gettext. The price
is that a sentence cannot choose by a value other than its plural: such a choice is a code of its own.

A third language is a folder here with the same files. English stands in for a sentence that a language lacks; a test
lists them.
"""

from __future__ import annotations

import io
import math
import re
from collections.abc import Callable, Mapping
from datetime import date
from functools import lru_cache
from gettext import c2py
from pathlib import Path
from string import Formatter
from typing import Any

from sideoats import shipped
from sideoats.errors import SideoatsError
from sideoats.words.reader import Reader
from sideoats.words.said import (
    Between,
    Count,
    Day,
    Hour,
    LongDay,
    Measured,
    Money,
    Paid,
    Parts,
    Phrase,
    Said,
    Share,
    Term,
    Terms,
    Value,
)

FALLBACK = "en"
_ENDS = (("low", "high"), ("least", "most"), ("lower", "upper"))  # how sentences name the ends of a range
_PLAIN = ("", "1")
_PER = re.compile(r"/([a-z]+)")  # what money and amounts are counted by: a head, a day
_FOLDER = Path(__file__).parent
_folders: list[Path] = [_FOLDER]  # packs add theirs


class UnknownCode(SideoatsError):
    """A code without a sentence in English: a fault of a question or a pack, found by its tests."""


def languages() -> tuple[str, ...]:
    """Languages that have a folder, English first."""
    found = {path.name for folder in _folders for path in folder.iterdir() if any(path.glob("*.po"))}
    return (FALLBACK, *sorted(found - {FALLBACK}))


def add_folder(folder: Path) -> None:
    """Look for catalogues in `folder` too (a pack's words: ``<folder>/<language>/<room>.po``)."""
    if folder not in _folders:
        _folders.append(folder)
        _catalogue.cache_clear()
        slots.cache_clear()


def sentence(said: Said, reader: Reader) -> str:
    """The sentence for this reader.

    Raises UnknownCode where neither the reader's language nor English has it.
    """
    n = said.values.get("n")
    text = _message(said.code, reader.language, int(n.amount) if isinstance(n, Count) else None)
    return text.format_map(
        {name: shown(v, reader) for name, v in said.values.items()} | _bare_ends(said.values, reader)
    )


def _bare_ends(values: Mapping[str, Value], reader: Reader) -> dict[str, str]:
    """Low ends without a unit, ``from {low} to {high}``, as the reader has the unit of their high end."""
    out = {}
    for low, high in _ENDS:
        one, other = values.get(low), values.get(high)
        if (
            isinstance(one, Measured)
            and isinstance(other, Measured)
            and one.unit in _PLAIN
            and other.unit not in _PLAIN
        ):
            text = shown(Measured(one.amount, unit=other.unit), reader)
            out[low] = text.partition(" ")[0] if one.known else reader.number(math.nan)
    return out


def shown(value: Value, reader: Reader) -> str:
    """One value as the reader writes it."""
    text = _shown(value, reader)
    if reader.language == FALLBACK or not isinstance(value, Money | Paid | Measured | Between):
        return text
    return _PER.sub(lambda part: f"/{_find(f'per.{part[1]}', reader.language, None) or part[1]}", text)


def _shown(value: Value, reader: Reader) -> str:
    amount = value.amount
    if isinstance(value, Money):
        return reader.money(float(amount), value.unit)
    if isinstance(value, Paid):
        return reader.cents(float(amount), value.unit)
    if isinstance(value, Measured):
        return _measured(value, reader)
    if isinstance(value, Share):
        return reader.share(float(amount))
    if isinstance(value, Count):
        return reader.number(float(amount), 15)
    if isinstance(value, Day):
        day = amount if not hasattr(amount, "astype") else amount.astype("datetime64[D]").item()
        if day is None:
            return "?"  # as a number that is not known; never today
        return reader.long_day(day) if isinstance(value, LongDay) else reader.day(day)
    if isinstance(value, Hour):
        return reader.clock(float(amount))
    if isinstance(value, Term):
        return term(value.of, str(amount), reader)
    if isinstance(value, Terms):
        return reader.listed([term(value.of, str(choice), reader) for choice in amount])
    if isinstance(value, Phrase):
        return "" if amount is None else sentence(amount, reader)
    if isinstance(value, Between):
        return _range(value, reader)
    if isinstance(value, Parts):
        return "; ".join(sentence(part, reader) for part in amount)
    return str(amount)


def _range(value: Between, reader: Reader) -> str:
    """Both ends in the reader's unit, the unit once; one number where they read the same."""
    low, high = (shown(Measured(float(end), unit=value.unit), reader) for end in value.amount)
    if low == high:
        return low
    unit = high.partition(" ")[2]
    bare = low.removesuffix(f" {unit}") if unit else low
    return _message("range", reader.language, None).format(low=bare, high=high)


def _measured(value: Measured, reader: Reader) -> str:
    """A number whose unit has words of its own (``unit.aphids/leaf``) is said in them; others by their symbols."""
    amount = float(value.amount)
    n = round(amount) if math.isfinite(amount) and amount == round(amount) else 2
    worded = _find(f"unit.{value.unit}", reader.language, n)
    if worded is not None:
        return worded.format(x=reader.number(amount))
    return reader.measured(amount, value.unit)


def term(observable: str, choice: str, reader: Reader) -> str:
    """A choice of the vocabulary in the reader's language; the choice itself where it has no entry."""
    for code in (f"term.{observable}.{choice}", f"term.{choice}"):
        if (found := _find(code, reader.language, None)) is not None:
            return found
    return choice


def full_day(day: date, reader: Reader) -> str:
    """``Monday 14 September 2026``, in the order that the language has (the pattern is its sentence ``date.full``)."""
    return reader.full_day(day, _message("date.full", reader.language, None))


def message(code: str, reader: Reader, n: int | None = None) -> str:
    """The text of a sentence with its slots still open, in the plural that `n` asks for; for surfaces with markup.

    Raises UnknownCode where neither the reader's language nor English has it.
    """
    return _message(code, reader.language, n)


@lru_cache(maxsize=4096)
def slots(code: str) -> frozenset[str]:
    """Names of the values that a sentence shows, the same in every language (a test says so).

    Raises UnknownCode where English does not have it.
    """
    messages, _ = _catalogue(FALLBACK)
    if code not in messages:
        raise UnknownCode(f"no sentence is called {code!r}")
    named = {name for text in messages[code] for _, name, _, _ in Formatter().parse(text) if name}
    return frozenset(named | {high for low, high in _ENDS if low in named})


def has(code: str, language: str) -> bool:
    """True where that language itself has the sentence."""
    return _own(code, language, None) is not None


def codes(language: str) -> frozenset[str]:
    """All codes that a language has a sentence for; read from the files, for tests and for translators' lists."""
    from babel.messages.pofile import read_po

    return frozenset(
        message.id if isinstance(message.id, str) else message.id[0]
        for path in _files(language)
        for message in read_po(io.StringIO(path.read_text("utf-8")))
        if message.id and message.string and any(message.string)
    )


def _message(code: str, language: str, n: int | None) -> str:
    found = _find(code, language, n)
    if found is None:
        raise UnknownCode(f"no sentence is called {code!r}")
    return found


def _find(code: str, language: str, n: int | None) -> str | None:
    found = _own(code, language, n)
    return _own(code, FALLBACK, n) if found is None and language != FALLBACK else found


def _own(code: str, language: str, n: int | None) -> str | None:
    """The sentence in the form for `n` things, or for one where there is no number; None where there is none."""
    messages, form_of = _catalogue(language)
    if (found := messages.get(code)) is None:
        return None
    at = form_of(1 if n is None else n)
    return found[at if at < len(found) else 0]


def _files(language: str) -> list[Path]:
    return [path for folder in _folders for path in sorted((folder / language).glob("*.po"))]


@lru_cache(maxsize=8)
def _catalogue(language: str) -> tuple[Mapping[str, list[str]], Callable[[int], int]]:
    """All rooms of one language: code -> its sentence in every form of the plural; and which form a number takes.

    A pack may not replace a sentence of the house: the first file's stands.
    """
    files = shipped.read_once(f"words-{language}", _files(language), parsed)
    messages: dict[str, list[str]] = {}
    for file in reversed(files):
        messages |= file["messages"]
    return messages, c2py(files[0]["plural"] if files else "n != 1")


def parsed(path: Path) -> dict[str, Any]:
    """A file's sentences by their ids, and the rule of the plural that it names; for `sideoats.shipped`."""
    from babel.messages.pofile import read_po

    found, messages = read_po(io.StringIO(path.read_text("utf-8"))), {}
    for message in found:
        code = message.id if isinstance(message.id, str) else message.id[0]
        forms = [message.string] if isinstance(message.string, str) else list(message.string or ())
        if code and forms and forms[0] and not message.fuzzy:
            messages[code] = forms
    return {"messages": messages, "plural": found.plural_expr}
