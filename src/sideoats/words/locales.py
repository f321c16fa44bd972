"""How a language writes figures, dates and lists: the CLDR's data, read through Babel once and kept in machine form.

Importing Babel and reading a locale takes longer than a whole answer. What figures and dates need of it is a dozen
signs and some names; `locale_of` keeps those (`sideoats.shipped`). What they cannot write (languages that do not group
by threes, rarer parts of a date) is left to Babel itself.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import date
from decimal import Decimal
from functools import lru_cache
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from sideoats import shipped

_SAMPLE = 1_234_567
# A pattern's parts: quoted text, a run of one letter, anything else.
_PARTS = re.compile(r"'([^']*)'|(([A-Za-z])\3*)|([^A-Za-z']+)")


class Locale:
    """The signs and names of one locale, by its name for Babel (``en_US``)."""

    def __init__(self, name: str, kept: Mapping[str, Any]) -> None:
        self.name = name
        self._list: Mapping[str, str] = kept["list"]
        self._names: Mapping[str, list[str]] = {key: kept[key] for key in ("EEE", "EEEE", "MMM", "MMMM")}
        self._threes: bool = kept["threes"]
        self._every: bool = kept["every"]
        self._signs = str.maketrans({",": kept["grouped"], ".": kept["point"], "-": kept["negative"]})

    def decimal(self, value: float, fixed: int | None = None) -> str:
        """`value` with `fixed` decimals, up to six where None; thousands parted as the language does."""
        if not self._threes or (not self._every and 1000 <= abs(value) < 10_000):
            return str(_by_babel(self.name, fixed)(value))  # some languages write 1234 without a sign
        text = f"{Decimal(repr(float(value))):,.{6 if fixed is None else fixed}f}"
        if fixed is None:
            text = text.rstrip("0").rstrip(".") if "." in text else text
        if not text.strip("-0."):
            text = text.lstrip("-")  # nought has no sign
        return text.translate(self._signs)

    def dated(self, day: date, pattern: str) -> str:
        """A day by a pattern of the CLDR, such as ``EEE d MMM``."""
        out = []
        for quoted, run, _, plain in _PARTS.findall(pattern):
            if run:
                part = self._part(day, run)
                if part is None:
                    from babel.dates import format_date

                    return str(format_date(day, pattern, locale=self.name))
                out.append(part)
            else:
                out.append(quoted or plain or "'")
        return "".join(out)

    def _part(self, day: date, run: str) -> str | None:
        """One part of a pattern; None where it is left to Babel."""
        if run in self._names:
            return self._names[run][day.weekday() if run[0] == "E" else day.month - 1]
        number = {"d": day.day, "M": day.month, "y": day.year}.get(run[0])
        wide = {"d": 2, "M": 2, "y": 4}.get(run[0], 0)
        return (
            str(number) if len(run) == 1 and number is not None else f"{number:0{wide}d}" if len(run) == wide else None
        )

    def listed(self, words: list[str]) -> str:
        """``price, yield and stage``."""
        if len(words) < 2:
            return "".join(words)
        if len(words) == 2:
            return self._joined("2", *words)
        said = self._joined("start", words[0], words[1])
        for word in words[2:-1]:
            said = self._joined("middle", said, word)
        return self._joined("end", said, words[-1])

    def _joined(self, place: str, before: str, after: str) -> str:
        first, between, last = re.split(r"\{[01]\}", self._list[place])
        return f"{first}{before}{between}{after}{last}"


@lru_cache(maxsize=16)
def locale_of(name: str) -> Locale:
    """The locale of that name for Babel. Raises `babel.UnknownLocaleError` for a name that Babel does not know."""
    found = find_spec("babel")
    folder = Path((found.submodule_search_locations or [""])[0]) if found else Path()
    data = folder / "locale-data" / f"{name}.dat"  # a Babel of another version has other files here
    kept = shipped.read_once(f"locale-{name}", [data], lambda _: _read(name))
    return Locale(name, kept[0])


def _read(name: str) -> dict[str, Any]:
    from babel import Locale as Known
    from babel.dates import get_day_names, get_month_names
    from babel.numbers import parse_pattern

    known = Known.parse(name)

    def shown(pattern: str, value: float) -> str:
        return str(parse_pattern(pattern).apply(value, known))

    whole, part = shown("#,##0", _SAMPLE), shown("0.0", 0.5)
    grouped, point = whole[1:2], part[1:-1]
    out: dict[str, Any] = {
        "grouped": grouped,
        "point": point,
        "negative": shown("0", -1)[:-1],
        "threes": whole == f"1{grouped}234{grouped}567" and part == f"0{point}5",
        "every": shown("#,##0", 1234) == f"1{grouped}234",
        "list": {place: str(known.list_patterns["standard"][place]) for place in ("start", "middle", "end", "2")},
    }
    for day, days in (
        ("EEE", get_day_names("abbreviated", locale=known)),
        ("EEEE", get_day_names("wide", locale=known)),
    ):
        out[day] = [str(days[at]) for at in range(7)]
    for month, names in (
        ("MMM", get_month_names("abbreviated", locale=known)),
        ("MMMM", get_month_names("wide", locale=known)),
    ):
        out[month] = [str(names[at]) for at in range(1, 13)]
    return out


@lru_cache(maxsize=16)
def _by_babel(name: str, fixed: int | None) -> Any:
    from babel import Locale as Known
    from babel.numbers import parse_pattern

    known = Known.parse(name)
    pattern = parse_pattern("#,##0.######" if fixed is None else "#,##0." + "0" * fixed if fixed else "#,##0")
    return lambda value: str(pattern.apply(value, known))
