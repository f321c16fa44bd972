"""What is said in English where it arises (a field's help, a refusal, a command's help), told in another language.

The English itself is the key, as is usual with gettext: ``words/<language>/texts/*.po``. English needs no such folder,
and where a language lacks a text the English stands; `python -m tools.untranslated` lists those. A key may have slots,
``{count} counts given``, whose contents are put into the translation. What a question says goes by codes instead
(`sideoats.words.catalogue`): there values carry units, and a sentence is whole.
"""

from __future__ import annotations

import re
from functools import lru_cache
from pathlib import Path

from sideoats import shipped
from sideoats.errors import one_line
from sideoats.words.catalogue import message, parsed
from sideoats.words.reader import Reader

_FOLDER = Path(__file__).parent
_SLOT = re.compile(r"{(\w+)}")
_ENGLISH = Reader().language


def translated(text: str, reader: Reader) -> str:
    """A text in the reader's language; its parts between semicolons apart where it has no words for the whole."""
    if reader.language == _ENGLISH or not text:
        return text
    found = _found(text, reader.language)
    if found is None and "; " in text:
        return "; ".join(translated(part, reader) for part in text.split("; "))
    return text if found is None else found


def refusal(line: str, reader: Reader) -> str:
    """The line of an error: where it is, what is wrong, what was expected, what to do; several parted by bars."""
    if reader.language == _ENGLISH:
        return line
    return one_line(" | ".join(_one_refusal(each, reader) for each in line.split(" | ")))


def _one_refusal(line: str, reader: Reader) -> str:
    whole = _after_its_place(line, reader.language)
    if whole is not None:
        return whole
    out = []
    for part in line.split("; "):
        head, _, rest = part.partition("expected ")
        if rest and not head:
            out.append(message("error.expected", reader).format(what=translated(rest, reader)))
        else:
            out.append(_after_its_place(part, reader.language) or part)
    return "; ".join(out)


def _after_its_place(part: str, language: str) -> str | None:
    """The part translated, behind the names of the question, the field and the row that it begins with."""
    starts = [0, *(found.end() for found in re.finditer(": ", part))]
    for at in starts:
        if (found := _found(part[at:], language)) is not None:
            return part[:at] + found
    return None


def keys_of(language: str) -> frozenset[str]:
    """The English texts that a language has words for, with ``{}`` for every slot."""
    return frozenset(_SLOT.sub("{}", key) for key in _texts(language))


def _found(text: str, language: str) -> str | None:
    plain = " ".join(text.split())
    texts = _texts(language)
    if (found := texts.get(plain)) is not None:
        return found
    for pattern, said in _slotted(language):
        if match := pattern.fullmatch(plain):
            return said.format_map({name: texts.get(part, part) for name, part in match.groupdict().items()})
    return None


@lru_cache(maxsize=8)
def _texts(language: str) -> dict[str, str]:
    """English -> the language's own."""
    files = sorted((_FOLDER / language / "texts").glob("*.po"))
    found: dict[str, str] = {}
    for file in shipped.read_once(f"texts-{language}", files, parsed):
        found |= {text: forms[0] for text, forms in file["messages"].items()}
    return found


@lru_cache(maxsize=8)
def _slotted(language: str) -> list[tuple[re.Pattern[str], str]]:
    """Texts with slots as patterns, those with most words of their own first."""
    slotted = [(key, said) for key, said in _texts(language).items() if _SLOT.search(key)]
    slotted.sort(key=lambda pair: -len(_SLOT.sub("", pair[0])))
    return [(_pattern(key), said) for key, said in slotted]


def _pattern(key: str) -> re.Pattern[str]:
    parts = _SLOT.split(key)
    return re.compile("".join(re.escape(p) if at % 2 == 0 else f"(?P<{p}>.+?)" for at, p in enumerate(parts)))
