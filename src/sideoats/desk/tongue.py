"""Who reads a page, and the desk's own words for them: codes ``desk.<code>`` of `words/<language>/desk.po`.

Each request has its reader (language and units): chosen on any page and kept in a cookie, else the district's. It
stands in a context variable, because figures, days and labels are written in many places that know no request.

Text of the catalogue is ours and may hold plain markup (a link, ``<b>``); every value put into it is escaped.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextvars import ContextVar
from functools import lru_cache
from typing import Any

from markupsafe import Markup

from sideoats.errors import InputError, SideoatsError
from sideoats.words import METRIC, US, Reader, chosen_reader, codes, has, languages, message
from sideoats.words import term as word_of
from sideoats.words.texts import refusal, translated

COOKIE = "sideoats-reader"
_reading: ContextVar[Reader | None] = ContextVar("reader", default=None)
_ENGLISH = Reader()


def reader() -> Reader:
    """Whoever the page now being made is for."""
    return _reading.get() or _ENGLISH


def read_by(who: Reader) -> None:
    """From here to the end of the request everything is written for `who`."""
    _reading.set(who)


def reader_from(cookie: str, usual: Reader) -> Reader:
    """The reader that a cookie such as ``es.metric`` names; `usual` where it names none."""
    language, _, measures = cookie.partition(".")
    try:
        return chosen_reader(language, measures)
    except InputError:
        return usual


def cookie_of(who: Reader) -> str:
    """What the cookie of `who` holds."""
    return f"{who.language}.{who.measures}"


def choices() -> list[tuple[str, str]]:
    """Languages with the name that each gives itself."""
    return [(code, message("desk.language.name", Reader(code))) for code in languages()]


def measures() -> tuple[str, ...]:
    """Systems of units."""
    return (US, METRIC)


def say(code: str, n: int | None = None, **values: Any) -> Markup:
    """The sentence ``desk.<code>``; its plural follows `n`, and every value but markup is escaped."""
    text = message(f"desk.{code}", reader(), n)
    given = {name: reader().number(v, 15) if type(v) is int else v for name, v in values.items()}
    if n is not None:
        given["n"] = reader().number(n, 15)
    return Markup(text).format(**given)  # noqa: S704 - the catalogue is ours; format() escapes the values


def plain(code: str, n: int | None = None, **values: Any) -> str:
    """The same for a place that holds no markup."""
    return say(code, n, **values).unescape()


def term(of: str, choice: str) -> str:
    """A choice of the vocabulary in the reader's language."""
    return word_of(of, choice, reader())


def named(*codes: str) -> str | None:
    """The first of `codes` that there are words for in the reader's language; None for none."""
    found = next((code for code in codes if has(code, reader().language)), None)
    return None if found is None else message(found, reader())


def all_of(family: str) -> dict[str, dict[str, str | list[str]]]:
    """Every sentence ``desk.<family>.<rest>`` by language and rest, slots open, plurals as lists: for a script."""
    return _all_of(family, languages())


@lru_cache(maxsize=4)
def _all_of(family: str, spoken: tuple[str, ...]) -> dict[str, dict[str, str | list[str]]]:
    head = f"desk.{family}."
    rest = sorted(code.removeprefix(head) for code in codes(_ENGLISH.language) if code.startswith(head))
    return {code: {name: _forms(f"{head}{name}", Reader(code)) for name in rest} for code in spoken}


def _forms(code: str, who: Reader) -> str | list[str]:
    one, more = message(code, who, 1), message(code, who, 2)
    return one if one == more else [one, more]


def named_in(language: str, asked: Mapping[str, str]) -> dict[str, str]:
    """Names -> their words in a language, of those that have one; `asked` is name -> code."""
    who = Reader(language)
    return {name: message(code, who) for name, code in asked.items() if has(code, language)}


def foreign(text: str = "") -> Markup:
    """The attribute of an element whose text is in English on a page that is not; none where `text` has words."""
    own = reader().language == _ENGLISH.language or (text and translated(text, reader()) != text)
    return Markup("") if own else Markup(' lang="en"')


def in_words(text: str) -> str:
    """A text that stands in English where it arises, in the reader's language where that has words for it."""
    return translated(text, reader())


def refused(line: str) -> str:
    """The line of an error that was kept, in the reader's language as far as that has words for it."""
    return refusal(line, reader())


def line_of(error: SideoatsError) -> str:
    """An error in one line, in the reader's language as far as that has words for it."""
    return refusal(str(error), reader())


class Words(Mapping[str, str]):
    """The words of several keys, each looked up when it is needed: ``Words("verdict", VERDICTS)["stop"]``."""

    def __init__(self, code: str, keys: tuple[str, ...]) -> None:
        self._code, self._keys = code, keys

    def __getitem__(self, key: str) -> str:
        if key not in self._keys:
            raise KeyError(key)
        return plain(f"{self._code}.{key}")

    def __iter__(self) -> Iterator[str]:
        return iter(self._keys)

    def __len__(self) -> int:
        return len(self._keys)
