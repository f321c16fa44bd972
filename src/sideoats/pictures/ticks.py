"""Where an axis is marked: round numbers, and the first days of weeks, months and years. The only such rule here.

The longest step that still marks the axis three times is taken, so a picture has few gridlines: three as a rule, and
never more than `MOST`.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta

from sideoats.errors import InputError

LEAST, MOST, MOST_DAYS = 3, 7, 10
_ONE_VALUE = 1e-9  # a range narrower than this share of its numbers is one value
_NOTHING = 1e-290  # numbers below it are zero: steps between them cannot be written
_LARGEST = sys.float_info.max
_STEPS = (5, 2, 1)


@dataclass(frozen=True)
class Ticks:
    """Marks of a number axis that runs from `low` to `high`; all are printed with so many `decimals`."""

    at: tuple[float, ...]
    decimals: int
    low: float
    high: float


def number_ticks(low: float, high: float) -> Ticks:
    """Multiples of 1, 2 or 5 times a power of ten inside a range, `LEAST` to `MOST` of them.

    A range of one value is widened: to half of it either way, or to one either way of zero.

    Raises
    ------
    InputError : an end is not finite
    """
    if not (math.isfinite(low) and math.isfinite(high)):
        raise InputError("nothing to draw: no finite number was given")
    low, high = _widened(min(low, high), max(low, high))
    half = high / 2 - low / 2  # the whole range of floats is wider than the largest float
    power = min(math.floor(math.log10(half)) + 1, 307)
    while True:
        for step in _STEPS:
            at = _multiples(low, high, step, power)
            if len(at) >= LEAST:
                return Ticks(tuple(at), max(0, -power), low, high)
        power -= 1


def _widened(low: float, high: float) -> tuple[float, float]:
    size = max(abs(low), abs(high))
    if size < _NOTHING:
        return -1.0, 1.0
    if high / 2 - low / 2 > _ONE_VALUE * size:
        return low, high
    return max(low - size / 2, -_LARGEST), min(high + size / 2, _LARGEST)


def _multiples(low: float, high: float, step: int, power: int) -> list[float]:
    """Multiples of step x 10**power from `low` to `high`, each the float nearest to it; none where there are many."""
    size = step * 10.0**power
    first, last = math.ceil(low / size - 1e-9), math.floor(high / size + 1e-9)
    if last - first > 2 * MOST:
        return []
    values = (_exact(i * step, power) for i in range(first, last + 1))
    return [v for v in values if low <= v <= high]


def _exact(count: int, power: int) -> float:
    try:
        return float(count * 10**power) if power >= 0 else count / 10**-power
    except OverflowError:  # a multiple just beyond the largest float
        return math.copysign(math.inf, count)


@dataclass(frozen=True)
class DayTicks:
    """Marks of a day axis; `step` is "day", "month" or "year", by which they are named."""

    at: tuple[date, ...]
    step: str


def day_ticks(first: date, last: date) -> DayTicks:
    """First days of weeks (Mondays), months or years inside a range; days, all or every other, in under three weeks.

    `LEAST` to `MOST_DAYS` of them; fewer only where the range has fewer days.
    """
    first, last = min(first, last), max(first, last)
    for years in (1000, 500, 200, 100, 50, 20, 10, 5, 2, 1):
        if (last.year - first.year) >= years and len(at := list(_months(first, last, 12 * years))) >= LEAST:
            return DayTicks(tuple(at), "year")
    for months in (6, 3, 2, 1):
        if (last - first).days >= 28 * months and len(at := list(_months(first, last, months))) >= LEAST:
            return DayTicks(tuple(at), "month")
    for days in (14, 7, 2, 1):
        if len(at := list(_days(first, last, days))) >= LEAST:
            break
    return DayTicks(tuple(at), "day")


def _months(first: date, last: date, every: int) -> Iterator[date]:
    """First days of each `every`-th month, counted from January of the year 0."""
    month = first.year * 12 + first.month - 1 + (first.day > 1)
    month += -month % every
    while month <= last.year * 12 + last.month - 1:
        if month // 12 <= date.max.year:
            yield date(month // 12, month % 12 + 1, 1)
        month += every


def _days(first: date, last: date, every: int) -> Iterator[date]:
    """Each `every`-th day, counted from a Monday."""
    skip = (1 - first.toordinal()) % every  # the first day of the year 1 was a Monday
    for at in range(skip, (last - first).days + 1, every):
        yield first + timedelta(days=at)
