"""Dated values laid out as arrays without holes, from whatever order and number they come in."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime, time, timedelta
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sideoats.errors import InputError
from sideoats.intake.rows import EPOCH, NEVER, Steps, Table
from sideoats.station import Flag, Flags, Rejected, SetAside, StationDays, Values
from sideoats.words import Measured, say

MOST_REJECTED = 1000  # reasons kept; a file with more bad lines than this is refused


class Layout:
    """Gathers dated values, one by one or many at once, and lays them out as arrays without holes.

    `step` is one day or one hour; a time is so many steps since 1970. The first value for a time is kept; a second one
    that differs is set aside, so that nothing in the file is lost and nothing depends on chance.
    """

    def __init__(self, step: timedelta) -> None:
        self.step = step
        self.unit = "D" if step >= timedelta(days=1) else "h"
        self.set_aside: list[SetAside] = []
        self.rejected: list[Rejected] = []
        self._parts: dict[str, list[tuple[ArrayLike, ArrayLike]]] = {}
        self._marks: dict[str, list[tuple[ArrayLike, ArrayLike]]] = {}
        self.seen: list[int] = []

    def at(self, when: datetime) -> int:
        """A time in steps since 1970."""
        days = when.toordinal() - EPOCH
        return days if self.unit == "D" else days * 24 + when.hour

    def see(self, *steps: int) -> None:
        """The file has a row for these times, whether or not it holds a value: the record reaches at least so far."""
        self.seen = [min(*self.seen, *steps), max(*self.seen, *steps)] if self.seen else [min(steps), max(steps)]

    def see_many(self, steps: Steps) -> None:
        """As `see`, of an array."""
        known = steps[steps != NEVER]
        if known.size:
            self.see(int(known.min()), int(known.max()))

    def shown(self, step: int) -> str:
        """A time as text."""
        day, hour = (int(step), 0) if self.unit == "D" else divmod(int(step), 24)
        shown = date.fromordinal(day + EPOCH).isoformat()
        return shown if self.unit == "D" else f"{shown}T{hour:02d}:00"

    def reject(self, line: int, reason: str) -> None:
        """Note a line that cannot be used."""
        self.rejected.append(Rejected(line, reason))

    def reject_cells(self, table: Table, cells: Sequence[str], wrong: Mapping[str, str], what: str = "") -> None:
        """Note every line of a table whose cell cannot be read, with its reason."""
        if wrong:
            lead = f"{what} " if what else ""
            for line, cell in zip(table.lines, cells, strict=True):
                if cell in wrong:
                    self.reject(line, f"{lead}{wrong[cell]}")
                    if len(self.rejected) > MOST_REJECTED:
                        return

    def put(self, variable: str, steps: ArrayLike, values: ArrayLike, flag: ArrayLike = 0) -> None:
        """Values in canonical units at times; NaN is no value. A flag other than 0 marks its time."""
        at, x, marks = np.broadcast_arrays(
            np.asarray(steps, np.int64).reshape(-1), np.asarray(values, np.float64), np.asarray(flag, np.int64)
        )
        known = ~np.isnan(x) & (at != NEVER)
        self._parts.setdefault(variable, []).append((at[known], x[known]))
        if marks.any():
            self.mark(variable, at[known & (marks != 0)], marks[known & (marks != 0)])

    def aside(self, variable: str, step: int, text: str, reason: str) -> None:
        """A value that was there but may not be used."""
        self.set_aside.append(SetAside(variable, self.shown(step), text, reason))

    def fail(self, variable: str, step: int, text: str, reason: str) -> None:
        """A value marked as failed by its publisher."""
        self.aside(variable, step, text, reason)
        self.mark(variable, [step], [int(Flag.FAILED_AT_SOURCE)])
        self._parts.setdefault(variable, [])

    def mark(self, variable: str, steps: ArrayLike, flags: ArrayLike) -> None:
        """Set flags at times."""
        self._marks.setdefault(variable, []).append((steps, flags))

    @property
    def empty(self) -> bool:
        """True where no value was put."""
        return not any(np.size(at) for parts in self._parts.values() for at, _ in parts)

    def arrays(self, name: str) -> tuple[datetime, dict[str, Values], dict[str, Flags]]:
        """First time, values and flags. Raises InputError when no line gave a value."""
        laid = {}
        for variable, parts in self._parts.items():
            at = np.concatenate([np.asarray(a, np.int64) for a, _ in parts] or [np.zeros(0, np.int64)])
            laid[variable] = at, np.concatenate([np.asarray(x, np.float64) for _, x in parts] or [np.zeros(0)])
        ends = [end for at, _ in laid.values() if at.size for end in (int(at.min()), int(at.max()))]
        if not ends:
            first = f"; {self.rejected[0]}" if self.rejected else ""
            raise InputError(f"holds no usable value{first}", where=name, expected="dated weather values")
        too_many_rejected(self.rejected, name)
        start, end = min([*ends, *self.seen]), max([*ends, *self.seen])
        values: dict[str, Values] = {}
        flags: dict[str, Flags] = {}
        for variable, (at, x) in laid.items():
            values[variable] = np.full(end - start + 1, np.nan)
            values[variable][at[::-1] - start] = x[::-1]  # the first of several is written last
            for i in np.flatnonzero(values[variable][at - start] != x):
                self.aside(variable, int(at[i]), f"{x[i]:g}", "a second value for the same time")
            flags[variable] = absent_flags(values[variable])
            for steps, marks in self._marks.get(variable, []):
                when, what = np.asarray(steps, np.int64) - start, np.asarray(marks, np.uint16)
                inside = (when >= 0) & (when <= end - start)
                np.bitwise_or.at(flags[variable], when[inside], what[inside])
            flags[variable][~np.isnan(values[variable])] &= ~np.uint16(Flag.FAILED_AT_SOURCE)  # another one was good
        day, hour = (start, 0) if self.unit == "D" else divmod(start, 24)
        first_time = datetime.combine(date.fromordinal(day + EPOCH), time(hour))
        return first_time, values, flags


def absent_flags(values: NDArray[np.float64]) -> Flags:
    """Fresh flags for an array: ABSENT where it is NaN."""
    return np.where(np.isnan(values), np.uint16(Flag.ABSENT), np.uint16(0)).astype(np.uint16)


def too_many_rejected(rejected: Sequence[Rejected], name: str) -> None:
    """Refuse a file that is mostly unreadable rather than take the rest of it."""
    if len(rejected) > MOST_REJECTED:
        raise InputError(
            f"more than {MOST_REJECTED} lines cannot be used, the first is {rejected[0]}",
            where=name,
            todo="check that this is the right format",
        )


def laid_over(record: StationDays, official: Layout, name: str) -> StationDays:
    """A daily record with official values, where there are any, in the place of those made of hours."""
    if official.empty:
        return record
    start, values, flags = official.arrays(name)
    first = min(record.start, start.date())
    last = max(record.end, start.date() + timedelta(days=len(next(iter(values.values()))) - 1))
    length = (last - first).days + 1
    out: dict[str, Values] = {}
    marks: dict[str, Flags] = {}
    for variable in dict.fromkeys((*record.values, *values)):
        out[variable], marks[variable] = np.full(length, np.nan), np.full(length, np.uint16(Flag.ABSENT))
        for since, columns, flagged in ((record.start, record.values, record.flags), (start.date(), values, flags)):
            if variable in columns:
                at = slice((since - first).days, (since - first).days + len(columns[variable]))
                better = ~np.isnan(columns[variable])
                out[variable][at][better] = columns[variable][better]
                marks[variable][at][better] = flagged[variable][better]
    return replace(
        record,
        start=first,
        values=out,
        flags=marks,
        set_aside=(*record.set_aside, *official.set_aside),
        rejected=(*record.rejected, *official.rejected),
        notes=(*record.notes, say("take.official")),
    )


# Central standard time reaches west of its meridians on the Plains: to the state lines near these longitudes (memory).
_PLAINS = ((25.0, 36.5, -103.05), (36.5, 49.5, -102.05))  # latitudes, longitude of the line


def local_offset(given: float | None, longitude: float, latitude: float, name: str) -> tuple[float, Any]:
    """Hours of local standard time from UTC, and the remark on where they come from: as given, else by the longitude.

    Raises InputError where neither is known.
    """
    if given is not None:
        return given, say("take.zone.told", hours=Measured(float(given), unit="hour"))
    if math.isnan(longitude):
        raise InputError("is in UTC and does not say where it stands", where=name, todo="give utc_offset=, such as -6")
    plains = any(low <= latitude < high and line < longitude < -90 for low, high, line in _PLAINS)
    found = -6.0 if plains else float(round(longitude / 15))
    return found, say("take.zone.found", hours=Measured(found, unit="hour"))
