"""How numbers, money, days and verdicts are written on every page."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Callable, Iterable, Mapping
from datetime import date, datetime
from functools import lru_cache
from pathlib import Path
from typing import Any

from jinja2 import pass_context
from markupsafe import Markup, escape

from sideoats import replies, units
from sideoats.bulletin.field_card import forecast_said
from sideoats.call import VERDICTS, Call
from sideoats.desk import tongue
from sideoats.errors import UnitError
from sideoats.ledger import EvidenceKind
from sideoats.pictures import Picture
from sideoats.pictures.stems import BODIES
from sideoats.question import Question
from sideoats.words import Said, has, say, sentence

STATIC = Path(__file__).parent / "static"
VERDICT_WORDS = tongue.Words("verdict", VERDICTS)
VERDICT_LINES = tongue.Words("verdict_line", VERDICTS)
_UNITS_OF_TIME = frozenset({"day", "month", "year", "leaf", "hour", "bushel"})  # said in words, with a plural
_MINUS = "−"


def known(value: Any) -> bool:
    """Whether a number is there."""
    return isinstance(value, int | float) and math.isfinite(value)


def figure(value: Any, digits: int | None = None) -> str:
    """A plain number: thousands parted, about three significant digits unless `digits` says how many decimals."""
    if isinstance(value, str):
        return value
    if not known(value):
        return not_known()
    size = abs(value)
    if digits is None:
        digits = 0 if size >= 100 or value == int(value) else 1 if size >= 10 else 2 if size >= 0.1 else 4
    if digits and size < 0.1:
        while digits and round(size, digits) == round(size, digits - 1):
            digits -= 1
    return (_MINUS if value < 0 and round(size, digits) else "") + tongue.reader().fixed(size, digits)


def money(value: Any, unit: str = "USD") -> str:
    """Money with its unit: ``$12.40/ac``, ``−$1,240``; other units as a number and the unit."""
    if not unit.startswith("USD"):
        return measure(value, unit)
    if not known(value):
        return not_known()
    own, per = tongue.reader().per(value, unit)
    size = abs(own)
    digits = 0 if size >= 1000 or (not per and size >= 100) else 2
    sign = _MINUS if own < 0 and round(size, digits) else ""
    return f"{sign}${tongue.reader().fixed(size, digits)}{'/' if per else ''}{per}"


def measure(value: Any, unit: str = "") -> str:
    """A number with its unit, in the reader's units."""
    if isinstance(value, str) or not known(value):
        return figure(value)
    own, shown = in_units_of(value, unit)
    text = figure(own)
    if shown in _UNITS_OF_TIME:
        return tongue.plain(f"unit.{shown}", 1 if text == "1" else 2, x=text)
    return f"{text} {unit_word(shown)}".strip()


def in_units_of(value: float, unit: str) -> tuple[float, str]:
    """A number in the reader's units, and that unit; as it is where the unit is none that is known."""
    shown = tongue.reader().unit(unit)
    if shown == unit:
        return value, unit
    try:
        return float(units.convert(value, unit, shown)), shown
    except UnitError:
        return value, unit


def unit_word(unit: str) -> str:
    """A unit as it is written beside a number: its word where it has one, else its symbol."""
    return "" if unit in ("", "1") else tongue.named(f"term.unit.{unit}") or unit


def not_known() -> str:
    """What stands where a number is missing."""
    return tongue.plain("not_known")


def share(value: Any) -> str:
    """A chance in words that carry no false precision: ``73 %``, ``under 1 %``."""
    if not known(value):
        return not_known()
    if 0 < value < 0.01:
        return tongue.plain("under_1")
    if 0.99 < value < 1:
        return tongue.plain("over_99")
    return f"{value * 100:.0f} %"


def quantity(value: Any, name: str, unit: str) -> str:
    """A named quantity of a call: chances and shares in percent, money and measures with their units."""
    part_of_one = unit in ("", "1") and known(value) and 0 <= value <= 1
    if part_of_one and any(word in name.split("_") for word in ("chance", "share", "loss")):
        return share(value)
    return money(value, unit)


def day(value: date | str | None, year: int | None = None) -> str:
    """``Wed 12 Aug``, with the year where it is not `year`."""
    if value is None or value == "":
        return ""
    when = date.fromisoformat(value[:10]) if isinstance(value, str) else value
    text = tongue.reader().day(when)
    return text if year is None or when.year == year else f"{text} {when.year}"


def day_tag(value: date | None, year: int | None = None) -> Markup:
    """The same inside a ``<time>`` element."""
    if value is None:
        return Markup("")
    iso = value.date().isoformat() if isinstance(value, datetime) else value.isoformat()
    return Markup('<time datetime="{}">{}</time>').format(iso, day(value, year))


def moment(value: datetime) -> Markup:
    """An instant in its own zone: ``Wed 12 Aug 2026, 14:05``."""
    return Markup('<time datetime="{}">{} {}, {}</time>').format(
        value.isoformat(timespec="seconds"), day(value.date()), value.year, value.strftime("%H:%M")
    )


def words(name: str) -> str:
    """A name of the program as words: ``worth_of_a_look`` and ``hay-nitrate`` without joints."""
    if tongue.foreign():  # an English page says the program's own names, which are English
        found = tongue.named(f"name.{name}", f"kind.{name}", f"label.{name}", f"term.{name}")
        if found is not None:
            return found
    return tongue.in_words(name.replace("_", " ").replace("-", " ").replace(".", ", "))


def said(what: Said | str) -> str:
    """A sentence by its code, or one with its values."""
    return sentence(say(what) if isinstance(what, str) else what, tongue.reader())


def capital(text: str) -> str:
    """The first letter large, the rest as it is."""
    return text[:1].upper() + text[1:]


def kind_title(kind: EvidenceKind) -> str:
    """What a kind of evidence is called."""
    return tongue.named(f"kind.{kind.name}") or kind.title


def place_kinds(kinds: Iterable[str]) -> str:
    """Kinds of places to choose from: ``a field or a pasture``."""
    return tongue.plain("or").join(tongue.plain("a_kind", kind=tongue.term("place_kind", k)) for k in kinds)


def in_own(value: float, unit: str) -> float:
    """A number in the reader's unit for `unit`."""
    return in_units_of(value, unit)[0]


def own_unit(unit: str) -> str:
    """The reader's unit for `unit`, as it is written."""
    return unit_word(tongue.reader().unit(unit))


def plural(count: int, noun: str) -> str:
    """``1 call``, ``3 calls``."""
    return tongue.plain(f"n.{noun}", count)


def told(call: Call) -> Call:
    """A call with its sentences in the reader's language, as far as its question has them."""
    return replies.told(call, tongue.reader())


def foreign(call: Call) -> Markup:
    """The mark of a call that is in English on a page that is not."""
    return Markup("") if call.said else tongue.foreign()


def part(question: Question, name: str) -> Markup:
    """A question's title, what it is about or its limits, marked where it is in English on a page that is not."""
    text = question.part(name, tongue.reader())
    if has(f"{question.name}.{name}", tongue.reader().language):
        return escape(text)
    return Markup("<span{}>{}</span>").format(tongue.foreign(), text) if tongue.foreign() else escape(text)


def mark(verdict: str) -> Markup:
    """The verdict's drawing: a grass stem behind two rails, bearing three seeds, one open seed, or none."""
    name = verdict if verdict in VERDICT_WORDS else "wait"
    return Markup('<svg class="mark" aria-hidden="true" focusable="false"><use href="#mark-{}"/></svg>').format(name)


def plain_value(value: Any) -> str:
    """A value out of an entry's body, for reading."""
    if isinstance(value, bool):
        return tongue.plain("yes") if value else tongue.plain("no")
    if isinstance(value, float) or (isinstance(value, int) and not isinstance(value, bool)):
        return figure(value)
    if isinstance(value, list | tuple):
        shown = ", ".join(plain_value(item) for item in value[:60])
        return shown + (tongue.plain("and_more", len(value) - 60) if len(value) > 60 else "")
    if isinstance(value, Mapping):
        return "; ".join(f"{words(str(k))} {plain_value(v)}" for k, v in list(value.items())[:20])
    return "" if value is None else str(value)


def provenance(word: str) -> str:
    """How a fact came to be here, in words."""
    return tongue.named(f"printed.{word}") or word


@lru_cache(maxsize=256)
def _sum(name: str, stamp: float) -> str:
    return hashlib.sha256((STATIC / name).read_bytes()).hexdigest()[:10]


def asset(name: str) -> str:
    """Address of a static file, with its content's sum so that it may be kept for good."""
    return f"/static/{name}?v={_sum(name, (STATIC / name).stat().st_mtime)}"


@pass_context
def drawn(context: Mapping[str, Any], picture: Any) -> Markup:
    """A picture of `sideoats.pictures` for the page's reader; it escapes every text that it is given."""
    if not isinstance(picture, Picture):
        raise ValueError("not a picture")
    return Markup(picture.html(tongue.reader()))  # noqa: S704 - made by sideoats.pictures only


FILTERS: dict[str, Callable[..., Any]] = {
    "said": said, "unwalked": forecast_said,
    "figure": figure, "money": money, "measure": measure, "share": share, "day": day, "day_tag": day_tag,
    "moment": moment, "words": words, "capital": capital, "plural": plural, "mark": mark, "plain_value": plain_value,
    "provenance": provenance, "drawn": drawn, "quantity": quantity, "told": told, "foreign": foreign, "part": part,
    "unit_word": unit_word, "kind_title": kind_title, "place_kinds": place_kinds,
    "in_words": tongue.in_words, "refused": tongue.refused, "in_own": in_own, "own_unit": own_unit,
    "term": lambda choice, of="": tongue.term(of, choice),
}  # fmt: skip
GLOBALS: dict[str, Any] = {
    "STEMS": {name: Markup(body) for name, body in BODIES.items()},  # noqa: S704 - our own drawings
    "asset": asset, "VERDICT_WORDS": VERDICT_WORDS, "VERDICT_LINES": VERDICT_LINES, "say": tongue.say,
    "foreign": tongue.foreign,
    "reader": tongue.reader, "tongues": tongue.choices, "measures": tongue.measures,
}  # fmt: skip
