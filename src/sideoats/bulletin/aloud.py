"""A text as it is read aloud: figures, money, units and days as words, in English and Spanish.

Every text passes through here, the adviser's own too: what a reader's eye takes in as ``$19/ac`` a voice must say.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from datetime import date
from functools import lru_cache

from sideoats.words import Reader, has, message

_EN = tuple(
    [
        "zero",
        "one",
        "two",
        "three",
        "four",
        "five",
        "six",
        "seven",
        "eight",
        "nine",
        "ten",
        "eleven",
        "twelve",
        "thirteen",
        "fourteen",
        "fifteen",
        "sixteen",
        "seventeen",
        "eighteen",
        "nineteen",
    ]
)
_EN_TENS = tuple("_ _ twenty thirty forty fifty sixty seventy eighty ninety".split())  # noqa: SIM905
_ES = tuple(
    [
        "cero",
        "uno",
        "dos",
        "tres",
        "cuatro",
        "cinco",
        "seis",
        "siete",
        "ocho",
        "nueve",
        "diez",
        "once",
        "doce",
        "trece",
        "catorce",
        "quince",
        "dieciséis",
        "diecisiete",
        "dieciocho",
        "diecinueve",
        "veinte",
        "veintiuno",
        "veintidós",
        "veintitrés",
        "veinticuatro",
        "veinticinco",
        "veintiséis",
        "veintisiete",
        "veintiocho",
        "veintinueve",
    ]
)
_ES_TENS = tuple("_ _ _ treinta cuarenta cincuenta sesenta setenta ochenta noventa".split())  # noqa: SIM905
_ES_HUNDREDS = tuple(
    "_ ciento doscientos trescientos cuatrocientos quinientos seiscientos setecientos ochocientos novecientos".split()  # noqa: SIM905
)
_ORDINALS = {"one": "first", "two": "second", "three": "third", "five": "fifth", "eight": "eighth", "nine": "ninth",
             "twelve": "twelfth"}  # fmt: skip
_NUMBER = r"(?<![\w.])(-?\d[\d,]*(?:\.\d+)?)"


def spelled(value: float, language: str = "en") -> str:
    """A number in words: ``one hundred forty-two point five``; Spanish has its masculine before no noun (``uno``)."""
    if value < 0:
        return f"{message('edition.aloud.minus', Reader(language))} {spelled(-value, language)}"
    whole, _, part = f"{value:.10g}".partition(".") if abs(value) < 1e9 else (f"{value:.0f}", "", "")
    text = (_spanish if language == "es" else _english)(int(whole))
    if not part:
        return text
    digits = " ".join(spelled(int(d), language) for d in part)
    return f"{text} {message('edition.aloud.point', Reader(language))} {digits}"


def _english(n: int) -> str:
    if n < 20:
        return _EN[n]
    if n < 100:
        return _EN_TENS[n // 10] + (f"-{_EN[n % 10]}" if n % 10 else "")
    for size, name in ((1_000_000_000, "billion"), (1_000_000, "million"), (1000, "thousand"), (100, "hundred")):
        if n >= size:
            rest = f" {_english(n % size)}" if n % size else ""
            return f"{_english(n // size)} {name}{rest}"
    raise AssertionError("every number is under a hundred or over")


def _spanish(n: int) -> str:
    if n < 30:
        return _ES[n]
    if n < 100:
        return _ES_TENS[n // 10] + (f" y {_ES[n % 10]}" if n % 10 else "")
    if n == 100:
        return "cien"
    if n < 1000:
        return _ES_HUNDREDS[n // 100] + (f" {_spanish(n % 100)}" if n % 100 else "")
    size, one, many = (1000, "mil", "mil") if n < 1_000_000 else (1_000_000, "un millón", "millones")
    front = one if n // size == 1 else f"{before_noun(_spanish(n // size))} {many}"
    return front + (f" {_spanish(n % size)}" if n % size else "")


def before_noun(text: str, *, feminine: bool = False) -> str:
    """A Spanish number as it stands before a noun: un, veintiún, treinta y un; una, doscientas."""
    if feminine:
        return re.sub(r"cientos\b", "cientas", re.sub(r"uno$", "una", text)).replace("quinientos", "quinientas")
    return re.sub(r"veintiuno$", "veintiún", text) if text.endswith("veintiuno") else re.sub(r"\buno$", "un", text)


def ordinal(n: int, language: str = "en") -> str:
    """The day of a month: ``fourteenth``, ``catorce``, ``primero``."""
    if language == "es":
        return "primero" if n == 1 else _spanish(n)
    text = _english(n)
    head, dash, last = text.rpartition("-")
    last = _ORDINALS.get(last) or (last[:-1] + "ieth" if last.endswith("y") else last + "th")
    return f"{head}{dash}{last}"


def aloud(text: str, language: str) -> str:
    """The text with every figure in words."""
    reader = Reader(language)
    for pattern, say in _rules(language):
        text = pattern.sub(say, text)
    text = re.sub(_NUMBER, lambda m: _read(m[1], reader), text)
    return " ".join(re.sub(r"\d+", lambda m: spelled(int(m[0]), language), text).split())


def _read(digits: str, reader: Reader, unit: str = "") -> str:
    value = float(digits.replace(",", ""))
    words = spelled(value, reader.language)
    if not unit:
        return words
    slots = {"x": words, "f": words}
    if reader.language == "es":
        slots = {"x": before_noun(words), "f": before_noun(words, feminine=True)}
    return message(f"edition.aloud.{unit}", reader, 1 if value == 1 else 2).format(**slots)


_UNITS = {"°F": "degF", "%": "percent", "in": "in", "lb/ac": "lb_ac", "ppm": "ppm", "lb": "lb", "mi": "mi", "mm": "mm",
          "bu/ac": "bu_ac", "lb/acre": "lb_ac"}  # fmt: skip
Rule = tuple[re.Pattern[str], Callable[[re.Match[str]], str]]


@lru_cache(maxsize=4)
def _rules(language: str) -> tuple[Rule, ...]:
    """Days, then money, then numbers with a unit; what is left over is a bare number."""
    reader = Reader(language)
    days, months = _names(reader)

    def day(m: re.Match[str]) -> str:
        month = months[m["month"].lower()]
        told = {"weekday": days[m["weekday"].lower()], "day": ordinal(int(m["day"]), language), "month": month}
        return message("edition.aloud.day", reader).format(**told)

    def money(m: re.Match[str]) -> str:
        whole, _, cents = m["sum"].replace(",", "").partition(".")
        text = _read(whole, reader, "dollars")
        if cents.strip("0"):
            part = _read(str(int(f"{cents:0<2}"[:2])), reader, "cents")
            text = message("edition.aloud.and_cents", reader).format(dollars=text, cents=part)
        per = m["per"] or ""
        code = f"edition.aloud.per.{per}"
        minus = f"{message('edition.aloud.minus', reader)} " if m["minus"] else ""
        each = f" {message(code, reader)}" if per and has(code, language) else f" / {per}" if per else ""
        return minus + text + each

    units = "|".join(sorted(map(re.escape, _UNITS), key=len, reverse=True))
    either = "|".join
    return (
        (
            re.compile(rf"\b(?P<weekday>{either(days)}) (?P<day>\d\d?) (?P<month>{either(months)})\b", re.IGNORECASE),
            day,
        ),
        (re.compile(r"(?P<minus>-?)\$(?P<sum>\d[\d,]*(?:\.\d+)?)(?:/(?P<per>\w+))?"), money),
        (re.compile(rf"{_NUMBER} ?({units})(?![\w/])"), lambda m: _read(m[1], reader, _UNITS[m[2]])),
    )


def _names(reader: Reader) -> tuple[Mapping[str, str], Mapping[str, str]]:
    """Short name in small letters -> long name, of days and of months, as the reader's dates have them."""
    monday = date(2024, 1, 1)
    weekdays = [date.fromordinal(monday.toordinal() + i) for i in range(7)]
    months = [date(2024, m, 1) for m in range(1, 13)]
    return (
        {reader.dated(d, "EEE").lower(): reader.dated(d, "EEEE") for d in weekdays},
        {reader.dated(d, "MMM").lower(): reader.dated(d, "MMMM") for d in months},
    )
