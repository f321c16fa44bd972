"""How numbers, money, days and verdicts are written on every page."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Callable, Mapping
from datetime import date, datetime
from functools import lru_cache
from pathlib import Path
from typing import Any

from markupsafe import Markup

from sideoats.facts import PROVENANCE_WORDS

STATIC = Path(__file__).parent / "static"
VERDICT_WORDS = {"stop": "Stop", "act": "Act", "look": "Look", "wait": "Wait"}
VERDICT_LINES = {
    "stop": "A hazard stands in the way; no money lifts it.",
    "act": "Do it, by the date.",
    "look": "Go and measure, by the date.",
    "wait": "Nothing to do yet.",
}
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_PLURALS = {"day": "days", "month": "months", "year": "years", "leaf": "leaves", "hour": "hours", "bushel": "bushels"}
_MINUS = "−"


def known(value: Any) -> bool:
    """Whether a number is there."""
    return isinstance(value, int | float) and math.isfinite(value)


def figure(value: Any, digits: int | None = None) -> str:
    """A plain number: thousands parted, about three significant digits unless `digits` says how many decimals."""
    if isinstance(value, str):
        return value
    if not known(value):
        return "not known"
    size = abs(value)
    if digits is None:
        digits = 0 if size >= 100 or value == int(value) else 1 if size >= 10 else 2 if size >= 0.1 else 4
    text = f"{size:,.{digits}f}"
    if digits and "." in text and size < 0.1:
        text = text.rstrip("0").rstrip(".")
    return (_MINUS if value < 0 and float(text.replace(",", "")) else "") + text


def money(value: Any, unit: str = "USD") -> str:
    """Money with its unit: ``$12.40/ac``, ``−$1,240``; other units as a number and the unit."""
    if not unit.startswith("USD"):
        return measure(value, unit)
    if not known(value):
        return "not known"
    rest = unit[3:].strip()
    size = abs(value)
    text = f"{size:,.0f}" if size >= 1000 or (not rest and size >= 100) else f"{size:,.2f}"
    sign = _MINUS if value < 0 and float(text.replace(",", "")) else ""
    return f"{sign}${text}{rest}"


def measure(value: Any, unit: str = "") -> str:
    """A number with its unit."""
    text = figure(value)
    if text == "not known" or unit in ("", "1"):
        return text
    return f"{text} {unit if text == '1' else _PLURALS.get(unit, unit)}"


def share(value: Any) -> str:
    """A chance in words that carry no false precision: ``73 %``, ``under 1 %``."""
    if not known(value):
        return "not known"
    if 0 < value < 0.01:
        return "under 1 %"
    if 0.99 < value < 1:
        return "over 99 %"
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
    text = f"{_DAYS[when.weekday()]} {when.day} {_MONTHS[when.month - 1]}"
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
    return name.replace("_", " ").replace("-", " ").replace(".", ", ")


def capital(text: str) -> str:
    """The first letter large, the rest as it is."""
    return text[:1].upper() + text[1:]


def plural(count: int, one: str, many: str = "") -> str:
    """``1 call``, ``3 calls``."""
    return f"{count:,} {one if count == 1 else many or one + 's'}"


def mark(verdict: str) -> Markup:
    """The verdict's drawing: a grass stem behind two rails, bearing three seeds, one open seed, or none."""
    name = verdict if verdict in VERDICT_WORDS else "wait"
    return Markup('<svg class="mark" aria-hidden="true" focusable="false"><use href="#mark-{}"/></svg>').format(name)


def plain_value(value: Any) -> str:
    """A value out of an entry's body, for reading."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float) or (isinstance(value, int) and not isinstance(value, bool)):
        return figure(value)
    if isinstance(value, list | tuple):
        shown = ", ".join(plain_value(item) for item in value[:60])
        return shown + (f", and {len(value) - 60} more" if len(value) > 60 else "")
    if isinstance(value, Mapping):
        return "; ".join(f"{words(str(k))} {plain_value(v)}" for k, v in list(value.items())[:20])
    return "" if value is None else str(value)


def provenance(word: str) -> str:
    """How a fact came to be here, in words."""
    return PROVENANCE_WORDS.get(word, word)


@lru_cache(maxsize=256)
def _sum(name: str, stamp: float) -> str:
    return hashlib.sha256((STATIC / name).read_bytes()).hexdigest()[:10]


def asset(name: str) -> str:
    """Address of a static file, with its content's sum so that it may be kept for good."""
    return f"/static/{name}?v={_sum(name, (STATIC / name).stat().st_mtime)}"


def drawn(svg: str) -> Markup:
    """A drawing of `sideoats.pictures`, which escapes every text that it is given."""
    if not svg.startswith("<svg "):
        raise ValueError("not a drawing")
    return Markup(svg)  # noqa: S704 - made by sideoats.pictures only


FILTERS: dict[str, Callable[..., Any]] = {
    "figure": figure, "money": money, "measure": measure, "share": share, "day": day, "day_tag": day_tag,
    "moment": moment, "words": words, "capital": capital, "plural": plural, "mark": mark, "plain_value": plain_value,
    "provenance": provenance, "drawn": drawn, "quantity": quantity,
}  # fmt: skip
GLOBALS: dict[str, Any] = {
    "asset": asset, "VERDICT_WORDS": VERDICT_WORDS, "VERDICT_LINES": VERDICT_LINES,
}  # fmt: skip
