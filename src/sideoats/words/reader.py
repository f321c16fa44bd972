"""The reader: language and units. Figures, dates and units are shown as the reader writes them (the CLDR's data)."""

from __future__ import annotations

import math
from datetime import date
from functools import lru_cache

from sideoats import units
from sideoats.errors import InputError
from sideoats.records import dataclass
from sideoats.words.locales import Locale as Signs
from sideoats.words.locales import locale_of

US, METRIC = "us", "metric"
# The Spanish is that of the southern Plains: the dollar sign and the decimal point of the United States.
LOCALES = {"en": "en_US", "es": "es_US"}
_METRIC = {
    "ac": "ha", "ft": "m", "in": "cm", "lb": "kg", "cwt": "kg", "ton": "t", "degF": "degC", "delta_degF": "delta_degC",
    "mph": "km/h", "gal": "L", "mile": "km", "oz": "g",
}  # fmt: skip
_US = {
    "ha": "ac", "m": "ft", "cm": "in", "mm": "in", "kg": "lb", "t": "ton", "degC": "degF", "delta_degC": "delta_degF",
    "km/h": "mph", "m/s": "mph", "L": "gal", "km": "mile", "g": "oz",
}  # fmt: skip
_SHOWN = {"mile": "mi", "degF": "°F", "degC": "°C", "delta_degF": "°F", "delta_degC": "°C", "percent": "%"}
_AS_THEY_ARE = frozenset(("ppm", "ppb", "1", "", "percent", "bu"))


@dataclass(frozen=True)
class Reader:
    """Who reads: a language with a folder in ``words`` and US customary or metric units."""

    language: str = "en"
    measures: str = US

    def __post_init__(self) -> None:
        if self.measures not in (US, METRIC):
            raise InputError(f"{self.measures!r} is not a way to measure", where="units", expected=f"{US} or {METRIC}")

    @property
    def locale(self) -> str:
        """The name of the reader's locale for Babel; figures of a language that Babel does not know are English."""
        return _locale(self.language)

    @property
    def _own(self) -> Signs:
        return locale_of(_locale(self.language))

    def unit(self, unit: str) -> str:
        """The unit in which the reader has a number that is kept in `unit`."""
        swap = _METRIC if self.measures == METRIC else _US
        whole = swap.get(unit)  # a wind is no length by the second
        return whole if whole is not None else "/".join(_swapped(part, swap) for part in unit.split("/"))

    def number(self, value: float, digits: int = 3) -> str:
        """`value` with `digits` significant digits at most, thousands parted, never "-0" and never an exponent."""
        if not math.isfinite(value):
            return "?"
        return self._own.decimal(_rounded(value, digits))

    def measured(self, value: float, unit: str, digits: int = 3) -> str:
        """A number with its unit as the reader has it: ``80 bu/ac``, ``41 °F``, ``12 %``."""
        shown = self.unit(unit)
        if shown != unit:
            value = float(units.convert(value, unit, shown))
        text = self.number(value, digits)
        label = self.label(unit)
        return f"{text} {label}" if label else text

    def label(self, unit: str) -> str:
        """The reader's unit for what is kept in `unit`, as printed: ``bu/ac``, ``°F``, "" for a plain number."""
        label = "/".join(_SHOWN.get(part, part) for part in self.unit(unit).split("/"))
        return "" if label == "1" else label

    def fixed(self, value: float, decimals: int) -> str:
        """`value` with so many decimals, as beside an axis."""
        return self._own.decimal(round(value, decimals) + 0.0, decimals)

    def dated(self, day: date, pattern: str) -> str:
        """A day by a pattern of the CLDR, such as ``MMM`` or ``d MMM``."""
        return self._own.dated(day, pattern).replace(".", "").replace(",", "")

    def money(self, value: float, unit: str) -> str:
        """``$6/ac``, ``$1,200``, ``$5.62/bu``: cents of a bushel or a pound, three digits of an estimate otherwise."""
        if not math.isfinite(value):
            return "?"
        value, per = self.per(value, unit)
        size = abs(value)
        digits = 2 if size < 100 and per in ("bu", "lb", "kg") else 0 if size >= 0.5 or size < 0.005 else 2
        rounded = round(value, digits) if size < 1000 else _rounded(value, 3, whole=False)
        sign = "-" if rounded < 0 else ""
        text = self._own.decimal(abs(rounded), digits if rounded != 0 else 0)
        return f"{sign}${text}" + (f"/{per}" if per else "")

    def cents(self, value: float, unit: str = "USD") -> str:
        """Dollars to the cent: ``$5,437.20``, ``$251.35/cwt``."""
        if not math.isfinite(value):
            return "?"
        value, per = self.per(value, unit)
        text = self._own.decimal(abs(round(value, 2)), 2)
        return f"{'-' if round(value, 2) < 0 else ''}${text}" + (f"/{per}" if per else "")

    def per(self, value: float, unit: str) -> tuple[float, str]:
        """Money by the unit that the reader reckons in, and that unit ("" for plain dollars)."""
        held = unit.removeprefix("USD").removeprefix("/")
        per = self.unit(held)
        return (value if per == held else value / float(units.convert(1.0, held, per))), per

    def share(self, value: float) -> str:
        """A share in percent: whole numbers, never 0 or 100 for what is neither."""
        if not math.isfinite(value):
            return "?"
        percent = 100 * value
        if 0 < percent < 1 or 99 < percent < 100:
            return f"<{1} %" if percent < 1 else f">{99} %"
        return f"{self.number(round(percent), 3)} %"

    def day(self, day: date) -> str:
        """``Mon 21 Sep``; with the year where it is not the reader's business to guess, see `long_day`."""
        return self._own.dated(day, "EEE d MMM").replace(".", "").replace(",", "")

    def month(self, day: date) -> str:
        """``Sep``."""
        return self._own.dated(day, "MMM").replace(".", "")

    def short_day(self, day: date) -> str:
        """``21 Sep``."""
        return self._own.dated(day, "dd MMM").replace(".", "")

    def whole_day(self, day: date) -> str:
        """``Mon 21 Sep 2026``."""
        return self._own.dated(day, "EEE dd MMM y").replace(".", "").replace(",", "")

    def long_day(self, day: date) -> str:
        """``21 Sep 2026``."""
        return self._own.dated(day, "d MMM y").replace(".", "").replace(",", "")

    def full_day(self, day: date, pattern: str) -> str:
        """A day by a pattern of the CLDR, with every sign that the pattern has."""
        return self._own.dated(day, pattern)

    def clock(self, hour: float) -> str:
        """An hour of the clock: ``9 am``, ``6:48 pm``; ``9:00``, ``18:48`` where the reader measures in metric."""
        minutes = round(hour * 60) % (24 * 60)
        whole, part = divmod(minutes, 60)
        if self.measures == METRIC:
            return f"{whole}:{part:02d}"
        shown = whole % 12 or 12
        return f"{shown}{f':{part:02d}' if part else ''} {_halves(self.locale)[whole >= 12]}"

    def listed(self, words: list[str]) -> str:
        """``price, yield and stage``."""
        return self._own.listed(words)


@lru_cache(maxsize=16)
def _halves(locale: str) -> tuple[str, str]:
    """How the hours before and after noon are marked: am and pm, a.m. and p.m."""
    from babel import Locale

    named = Locale.parse(locale).day_periods["format"]["abbreviated"]
    am, pm = (str(named[half]).replace("\xa0", "").replace("\u202f", "").lower() for half in ("am", "pm"))
    return am, pm


@lru_cache(maxsize=16)
def _locale(language: str) -> str:
    if language in LOCALES:
        return LOCALES[language]
    from babel import Locale, UnknownLocaleError

    try:
        return str(Locale.parse(language))
    except (UnknownLocaleError, ValueError):
        return LOCALES["en"]


def _swapped(part: str, swap: dict[str, str]) -> str:
    return part if part in _AS_THEY_ARE else swap.get(part, part)


def _rounded(value: float, digits: int, *, whole: bool = True) -> float:
    """To so many significant digits; what was measured keeps its whole numbers (2,575 ppm), an estimate does not."""
    if value == 0 or abs(value) >= 1e15:
        return value + 0.0  # -0.0 becomes 0.0
    places = digits - 1 - math.floor(math.log10(abs(value)))
    rounded = round(value, max(places, 0) if whole else places)
    return 0.0 if rounded == 0 else rounded  # round() keeps the sign of -0.0
