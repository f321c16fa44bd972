"""A letter as one printed page (tagged PDF) and as plain text."""

from __future__ import annotations

from pathlib import Path
from textwrap import shorten, wrap
from typing import Any

from sideoats.bulletin.typeset import printed_picture, typeset
from sideoats.letters.letter import Letter, Line, week_cost, whole
from sideoats.pictures import PHONE
from sideoats.pictures.stems import STEMS
from sideoats.printed import SHAPES
from sideoats.words import Count, Name, full_day, say, sentence

_SHEET = Path(__file__).parent / "letter.typ"
_WIDE = 76  # columns of the plain text


def page(letter: Letter) -> bytes:
    """One page of US letter paper; the same letter gives the same bytes."""
    reader = letter.reader
    data: dict[str, Any] = {
        "title": letter.title(), "language": reader.language, "farm": letter.name, "sender": letter.sender,
        "phone": letter.answer_to, "week_of": letter.word("week_of", day=Name(full_day(letter.on, reader))),
        "opening": list(letter.opening),
        "lines": [
            {"number": str(line.number), "mark": STEMS[line.verdict], "verdict": _verdict(line, letter),
             "by": reader.day(line.by) if line.by else "", "place": line.place,
             "what": whole(line.what), "more": line.more,
             "week": week_cost(line, reader), "slip": shorten(f"{line.place}: {line.what}", 54, placeholder=" ...")
             if line.verdict != "wait" else ""}
            for line in letter.lines
        ],
        "left_out": letter.word("left_out", n=Count(letter.left_out)) if letter.left_out else "",
        "seen": [list(row) for row in letter.seen], "slip": slip_head(letter), "text_to": text_to(letter),
        "where": printed_picture(letter.where, reader, PHONE),
        "picture": printed_picture(letter.picture, reader, PHONE),
        "sources": letter.word("sources", sources=Name(letter.sources)) if letter.sources else "",
        "money": " ".join(letter.money),
        "labels": {k: letter.word(k) for k in _LABELS},
    }  # fmt: skip
    return typeset(_SHEET, data, letter.on, letter.word("unprinted"))


_LABELS = ("by", "what", "week", "where", "seen", "done", "not", "later", "saw", "care", "none", "money_and_risk")


def slip_head(letter: Letter) -> str:
    """What the slip is of: farm, day, code."""
    day = Name(letter.reader.day(letter.on))
    return letter.word("slip", farm=Name(letter.name), day=day, slip=Name(letter.code))


def text_to(letter: Letter) -> str:
    """How to answer without paper."""
    if letter.answer_to:
        return letter.word("slip_text", slip=Name(letter.code), phone=Name(letter.answer_to))
    return letter.word("slip_text_plain", slip=Name(letter.code))


def _verdict(line: Line, letter: Letter) -> str:
    return sentence(say(f"verdict.{line.verdict}"), letter.reader)


def plain(letter: Letter) -> str:
    """The letter as plain text, for a message's body."""
    out = [letter.title(), "=" * len(letter.title()), *([letter.sender] if letter.sender else []), ""]
    out += wrap(" ".join(letter.opening), _WIDE)
    out.append("")
    for line in letter.lines:
        out += _line(line, letter)
    if not letter.lines:
        out.append(letter.word("none"))
    if letter.left_out:
        out.append(letter.word("left_out", n=Count(letter.left_out)))
    if letter.money:
        out += ["", *wrap(f"{letter.word('money_and_risk')} {' '.join(letter.money)}", _WIDE)]
    if letter.seen:
        out += ["", letter.word("seen")]
        for head, text in letter.seen:
            out += wrap(f"{head}: {text}", _WIDE, initial_indent="  ", subsequent_indent="    ")
    out += ["", slip_head(letter), text_to(letter), ""]
    if letter.sources:
        out += wrap(letter.word("sources", sources=Name(letter.sources)), _WIDE)
    return "\n".join([*out, *wrap(letter.word("care"), _WIDE)]) + "\n"


def _line(line: Line, letter: Letter) -> list[str]:
    by = f" ({letter.word('by')} {letter.reader.day(line.by)})" if line.by else ""
    money = f", {letter.word('week')} {cost}" if (cost := week_cost(line, letter.reader)) else ""
    word = _verdict(line, letter).upper()
    head = f"{line.number}. {SHAPES[line.verdict]} {word}{by}{money}"
    text = f"{line.place}: {whole(line.what)} {line.more}".strip()
    return [head, *wrap(text, _WIDE, initial_indent="   ", subsequent_indent="   ")]
