"""Numbers written one after another: which commas stand between numbers, and which stand inside them.

``"4,500, 6,250 ppm"`` is two numbers, ``"12,40,7"`` three. ``"12,400,7"`` may be either, and a guess would be wrong
for somebody: it is refused. A comma separates for certain where a space follows it or no digit stands on one side of
it, and so does a semicolon; where one does, a comma between digits can only mark thousands. Numbers may also stand with
spaces alone between them, and the unit of all behind the last.
"""

from __future__ import annotations

import re
from collections.abc import Callable

from sideoats.errors import InputError

# Compiled when a list is first read: most phone-ins hold none.
_BETWEEN = r",(?=\s)|(?<=[^\d\s])\s*,|(?<=\d)\s+,|,(?!\d)"
_MAY_GROUP = r"(?<![\d.,])(?=([1-9]\d{0,2}),(\d{3})(?!\d))|(?<=,)(?=([1-9]\d{0,2}),(\d{3})(?!\d))"
_GROUPED = r"\s*[<+-]?\s*[1-9]\d{0,2}(?:,\d{3})+(?![\d,])"
_SPACED = r"\s*(\d+(?:\.\d+)?(?:\s+\d+(?:\.\d+)?)+)\s*([^\d\s,;.<>+-][^\d,;]*)?"
_SPACED_THOUSANDS = r"[1-9]\d{0,2}(?:\s\d{3})+"
_ONE_NUMBER = r"\s*[1-9]\d{0,2},0\d\d(?![\d,])"


def items(text: str, possible: Callable[[float], bool], *, whole: bool = False) -> list[str]:
    """The numbers of `text`, each as it is written, with its unit where it has one.

    Parameters
    ----------
    text : numbers with commas or semicolons between them
    possible : whether a number may be meant at all; a thousand that may not be is none
    whole : the numbers are whole, so that no comma can mark decimals

    Raises
    ------
    InputError : a comma may be read in two ways
    """
    spaced = re.fullmatch(_SPACED, text)
    if spaced:  # 2 3 1 0, as they are called out in the field; 68 66 70 g
        numbers, unit = spaced[1], (spaced[2] or "").strip()
        if re.fullmatch(_SPACED_THOUSANDS, numbers) and possible(float("".join(numbers.split()))):
            raise _unclear(text)
        *others, last = numbers.split()
        return [*others, f"{last} {unit}".strip()]
    segments = [part for part in re.split(r"[;\n]", text) if part.strip()]
    pieces = [piece for part in segments for piece in re.split(_BETWEEN, part) if piece.strip()]
    tight = [piece for piece in pieces if "," in piece]
    if not tight:
        return [piece.strip() for piece in pieces]
    if len(pieces) > 1 and (not whole or any(_hides_a_thousand(piece, lambda value: True) for piece in tight)):
        if not all(re.match(_GROUPED, piece) for piece in tight):
            raise _unclear(text)
        return [piece.strip() for piece in pieces]
    if not any(_hides_a_thousand(piece, possible) for piece in tight):
        return [item.strip() for piece in pieces for item in piece.split(",")]
    if re.match(_ONE_NUMBER, pieces[0]):  # nobody writes 4,050 for 4 and 050
        return [pieces[0].strip()]
    raise _unclear(text)


def _hides_a_thousand(piece: str, possible: Callable[[float], bool]) -> bool:
    pairs = (match.group(1, 2) if match.group(1) else match.group(3, 4) for match in re.finditer(_MAY_GROUP, piece))
    return any(possible(float(head + tail)) for head, tail in pairs)


def _unclear(text: str) -> InputError:
    return InputError(
        f"{text.strip()[:80]!r} can be read in two ways: a comma or space may stand between numbers or mark thousands",
        expected="a comma and a space between numbers, and neither inside a number: 4500, 6250",
    )
