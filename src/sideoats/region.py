"""The region: its calendar of windows and usual days, as data, so that no month stands in a question.

A region is a TOML file, shipped in ``regions/`` or beside the district's own file. A district names its own with
``region = "NAME"``; the shipped one stands where none is named.
"""

from __future__ import annotations

from calendar import monthrange
from collections.abc import Mapping
from dataclasses import field
from datetime import date, timedelta
from functools import lru_cache
from pathlib import Path
from typing import Any

from sideoats import shipped
from sideoats.errors import FactError
from sideoats.records import dataclass

DEFAULT = "southern_plains"
MonthDay = tuple[int, int]
_SHIPPED = Path(__file__).parent / "regions"


@dataclass(frozen=True)
class Region:
    """Windows and usual days of one region.

    Attributes
    ----------
    id, name : file name without ending, and what people call it
    crop_year : (month, day) on which the year of winter wheat turns
    windows : name -> pairs of (month, day), both included; a pair may run over the turn of the year
    days : name -> (month, day)
    rain : usual rain of each month [in], January first; () where the region names none
    stages : crop -> growth stage -> pairs as of a window, in which some field of it may stand at that stage
    air : usual mean temperature of each month [degC], January first; () where the region names none
    swing, either_way : warmest over coolest hour of a day, and by how much two weeks differ from the usual [degC]
    """

    id: str
    name: str
    crop_year: MonthDay
    windows: Mapping[str, tuple[tuple[MonthDay, MonthDay], ...]]
    days: Mapping[str, MonthDay]
    rain: tuple[float, ...] = ()
    air: tuple[float, ...] = ()
    stages: Mapping[str, Mapping[str, tuple[tuple[MonthDay, MonthDay], ...]]] = field(default_factory=dict)
    swing: float = 0.0
    either_way: float = 0.0

    @property
    def with_air(self) -> Region:
        """This region, or the shipped one where this names no temperatures."""
        return self if self.air else load()

    def usual_air(self, on: date, unknown: float = float("nan")) -> float:
        """Usual mean temperature of that day [degC], between the middles of the months; `unknown` for none on file."""
        if not self.air:
            return unknown
        before, part = divmod(on.timetuple().tm_yday / 365.25 * 12 - 0.5, 1)
        first = int(before) % 12
        return self.air[first] + part * (self.air[(first + 1) % 12] - self.air[first])

    def rain_by_day(self, on: date, days: int, unknown: float) -> tuple[float, ...]:
        """Usual rain from `on` to the end of each of so many days [in], 0 first.

        `unknown` is the rain of a year that is reckoned with where the region names none.
        """
        months = self.rain or (unknown / 12,) * 12
        total, out = 0.0, [0.0]
        for ahead in range(days):
            day = on + timedelta(days=ahead)
            total += months[day.month - 1] / monthrange(day.year, day.month)[1]
            out.append(total)
        return tuple(out)

    def holds(self, window: str, on: date) -> bool:
        """True where `on` lies in the window. Raises FactError for a window that the region does not have."""
        return _within(self._named(self.windows, window, "window"), on)

    def stands(self, crop: str, stage: str, on: date) -> bool:
        """True where some field of the crop may stand at the stage on that day, and where no days of it are on file."""
        pairs = self.stages.get(crop, {}).get(stage)
        return pairs is None or _within(pairs, on)

    def opens(self, window: str, on: date) -> date:
        """The next day on which the window holds, today included."""
        if self.holds(window, on):
            return on
        firsts = [first for first, _ in self._named(self.windows, window, "window")]
        return min(date(year, *first) for year in (on.year, on.year + 1) for first in firsts if date(year, *first) > on)

    def next(self, day: str, on: date) -> date:
        """The next such day, today included."""
        there = self._in_year(day, on.year)
        return there if there >= on else self._in_year(day, on.year + 1)

    def last(self, day: str, on: date) -> date:
        """The last such day up to today."""
        there = self._in_year(day, on.year)
        return there if there <= on else self._in_year(day, on.year - 1)

    def this_crop(self, day: str, on: date) -> date:
        """Such a day of the crop year that `on` belongs to; it may lie behind."""
        month, of_month = self._named(self.days, day, "day")
        return self.in_crop_year(month, of_month, on)

    def next_crop(self, on: date) -> date:
        """The day on which the next crop year begins."""
        this = date(on.year, *self.crop_year)
        return this if this > on else date(on.year + 1, *self.crop_year)

    def in_crop_year(self, month: int, day: int, on: date) -> date:
        """The calendar day in the crop year that `on` belongs to."""
        begins = on.year if (on.month, on.day) >= self.crop_year else on.year - 1
        return date(begins if (month, day) >= self.crop_year else begins + 1, month, day)

    def _in_year(self, day: str, year: int) -> date:
        month, of_month = self._named(self.days, day, "day")
        return date(year, month, of_month)

    def _named(self, table: Mapping[str, Any], name: str, what: str) -> Any:
        if name not in table:
            raise FactError(f"region {self.id} has no {what} {name!r}; it has {', '.join(sorted(table))}")
        return table[name]


@lru_cache(maxsize=16)
def load(name: str = DEFAULT, folder: Path | None = None) -> Region:
    """The region of that name, from `folder` (beside the district's file) or from those that are shipped.

    Raises
    ------
    FactError : no such region, or a file that is not one; one line that says where and what was expected
    """
    for path in (*([folder / f"{name}.toml"] if folder else []), _SHIPPED / f"{name}.toml"):
        if path.is_file():
            return _read(path)
    known = ", ".join(sorted(p.stem for p in _SHIPPED.glob("*.toml")))
    raise FactError(f"region {name[:60]!r} is not on file; expected one of {known}, or a file {name[:60]}.toml")


def _read(path: Path) -> Region:
    try:
        table = shipped.tables(f"region-{path.stem}", [path])[0]
        return Region(
            path.stem,
            str(table["name"]),
            _month_day(table["crop_year"]["begins"]),
            _windows(table["windows"]),
            {k: _month_day(text) for k, text in table["days"].items()},
            _rain(table.get("rain", {}).get("inches", ())),
            _air(table.get("air", {}).get("degrees", ())),
            {crop: _windows(of_crop) for crop, of_crop in table.get("stages", {}).items()},
            float(table.get("air", {}).get("swing", 0.0)),
            float(table.get("air", {}).get("either_way", 0.0)),
        )
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        raise FactError(
            f"region file {path.name}: {error}; expected name, [crop_year], [windows] and [days] with days as MM-DD, "
            "inches of twelve months if there is [rain] and degrees of twelve if there is [air]"
        ) from None


def _windows(table: Mapping[str, Any]) -> dict[str, tuple[tuple[MonthDay, MonthDay], ...]]:
    return {name: tuple((_month_day(a), _month_day(b)) for a, b in pairs) for name, pairs in table.items()}


def _within(pairs: tuple[tuple[MonthDay, MonthDay], ...], on: date) -> bool:
    today = (on.month, on.day)
    return any(first <= today <= last if first <= last else today >= first or today <= last for first, last in pairs)


def _rain(months: Any) -> tuple[float, ...]:
    found = tuple(float(inches) for inches in months)
    if len(found) not in (0, 12) or not all(0 <= inches < 100 for inches in found):
        raise ValueError(f"rain of {len(found)} months")
    return found


def _air(months: Any) -> tuple[float, ...]:
    found = tuple(float(degrees) for degrees in months)
    if len(found) not in (0, 12) or not all(-40 <= degrees <= 50 for degrees in found):
        raise ValueError(f"mean temperature of {len(found)} months")
    return found


def _month_day(text: str) -> MonthDay:
    month, day = (int(part) for part in text.split("-"))
    date(2024, month, day)  # a leap year: 02-29 ends a window
    return month, day
