"""What a letter was and what its slip answers: "HZKNT 1 done, 2 later" becomes what was done about the calls it lists.

A letter put out is an entry of the kind ``letter``; its code is found there, so a slip of last month still says what
its numbers meant. An answer becomes an ``action`` for each call that the line stands for; sent twice, it is stored
once.
"""

from __future__ import annotations

import re
import uuid
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any

from sideoats.errors import InputError
from sideoats.ledger import NewEntry
from sideoats.letters.letter import Letter
from sideoats.words import Reader, languages, message

if TYPE_CHECKING:
    from sideoats.ledger import Entry, Ledger

_NAMESPACE = uuid.UUID("7a1c66d2-0d0c-5a51-9d5e-6a1f3b7c2e90")
ANSWERS = {"done": "done", "not": "not done", "later": "later"}
_CODE = re.compile(r"\s*([A-Za-z]{5})\b[\s,:;]*(.*)", re.DOTALL)
_PART = re.compile(r"(\d{1,2})[\s:=.)-]*([^\d,;\n]*)")


@dataclass(frozen=True)
class Answer:
    """What a slip says of one line."""

    number: int
    answer: str
    what: str
    about: tuple[tuple[str, str], ...]


def entry_of(
    letter: Letter, stands: str, when: datetime, who: str, *, to: str = "", note: str = "", turn: int = 0
) -> NewEntry:
    """The letter as it is kept: one entry for each way that it stands, however often it is put out.

    `turn` tells one attempt to send it from the next.
    """
    lines = [
        {"number": line.number, "what": f"{line.place}: {line.what}", "about": [list(key) for key in line.about]}
        for line in letter.lines
    ]
    body: dict[str, Any] = {"slip": letter.code, "lines": lines, "stands": stands}
    body |= {name: text for name, text in (("to", to), ("note", note)) if text}
    mark = str(uuid.uuid5(_NAMESPACE, "|".join((letter.farm, letter.code, stands, to, str(turn)))))
    return NewEntry("letter", body, farm=letter.farm, seen_at=when, observer=who, id=mark)


def answers(text: str, history: Iterable[Entry]) -> tuple[Entry, tuple[Answer, ...]]:
    """The letter that a slip belongs to, and what is said of its lines.

    Parameters
    ----------
    text : the code, then numbers with "done", "won't" or "later", in any language that there are words for
    history : the letters on file, oldest first

    Raises
    ------
    InputError : one line that names all that cannot be read; nothing is stored
    """
    match = _CODE.match(text)
    if match is None:
        raise InputError(f"{text[:40]!r} begins with no code", where="slip", expected="such as HZKNT 1 done, 2 later")
    slip = match[1].upper()
    letter = next((e for e in reversed(list(history)) if e.body.get("slip") == slip), None)
    if letter is None:
        raise InputError(f"no letter on file has the code {slip}", where="slip", todo="read the code on it again")
    lines = {int(line["number"]): line for line in letter.body["lines"]}
    found, wrong = [], []
    for number, said in _PART.findall(match[2]):
        line, answer = lines.get(int(number)), _answer(said)
        if line is None:
            wrong.append(f"{number} is no line of it")
        elif answer is None:
            wrong.append(f"{number}: {said.strip()[:20]!r} is neither done, won't nor later")
        else:
            about = tuple((str(q), str(p)) for q, p in line["about"])
            found.append(Answer(int(number), answer, str(line["what"]), about))
    left = _PART.sub("", match[2]).strip(" ,;.\n")
    if left:
        wrong.append(f"{left[:30]!r} cannot be read")
    if wrong or not found:
        raise InputError(
            "; ".join(wrong) or "answers no line", where=f"slip {slip}", expected="such as 1 done, 2 later"
        )
    return letter, tuple(found)


def _answer(said: str) -> str | None:
    """ "done", "not done" or "later", from whatever language has a word for it; None for no word that is known."""
    text = " ".join(said.lower().replace("’", "'").strip(" .!\n").split())
    for language in languages():
        for key, answer in ANSWERS.items():
            if text in [sign.strip() for sign in message(f"letter.signs.{key}", Reader(language)).split(",")]:
                return answer
    return None


def actions_of(ledger: Ledger, letter: Entry, said: Iterable[Answer], when: datetime, who: str) -> list[NewEntry]:
    """What to store of a slip: one action for each call of each line; what it said before is left as it stands."""
    new = []
    for one in said:
        for question, place in one.about:
            body = {"what": one.what, "question": question, "answer": one.answer}
            mark = str(uuid.uuid5(_NAMESPACE, "|".join((letter.id, question, place, one.answer))))
            new.append(NewEntry("action", body, place=place, seen_at=when, observer=who, id=mark))
    return [entry for entry in new if ledger.get(str(entry.id)) is None]
