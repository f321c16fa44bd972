"""GHCN-Daily elements and marks: what they are called here, in which steps and units they are written.

Format: NOAA National Centers for Environmental Information, GHCN-Daily readme (columns and element units; the sections
of it that no stored copy shows are from memory: the unit of TAVG, EVAP and WSF*, several quality marks).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sideoats.intake.laid import Layout
from sideoats.intake.rows import NEVER, Steps
from sideoats.station import DAILY_UNITS, Flag, Values
from sideoats.units import conversion

MISSING = -9999
MULTIDAY = "MDPR"
ROLLED = ("TMAX", "PRCP", "MDPR", "EVAP")  # what a morning observer reads of the day before
NOON = 1200  # observers before it read yesterday's highest temperature and rain


@dataclass(frozen=True)
class Element:
    """An element of the format: our variable, how many of the file's native steps make our unit, its US order unit."""

    variable: str
    native_per_unit: float
    metric_per_unit: float
    imperial: str

    def scale(self, units: str) -> tuple[float, float]:
        """Divisor and offset that make our unit of a value in `units`: native, metric or imperial."""
        if units == "imperial":
            factor, offset = conversion(self.imperial, DAILY_UNITS[self.variable])
            return 1 / factor, offset
        return (self.metric_per_unit if units == "metric" else self.native_per_unit), 0.0


_TEMPERATURE, _AMOUNT, _SNOW = (10.0, 1.0, "degF"), (10.0, 1.0, "inch"), (1.0, 1.0, "inch")
_SPEED, _PERCENT = (10.0, 1.0, "mph"), (100.0, 100.0, "percent")
ELEMENTS = {
    "TMAX": Element("tmax", *_TEMPERATURE),
    "TMIN": Element("tmin", *_TEMPERATURE),
    "TAVG": Element("tmean", *_TEMPERATURE),
    "ADPT": Element("dewpoint", *_TEMPERATURE),
    "PRCP": Element("rain", *_AMOUNT),
    "EVAP": Element("evaporation", *_AMOUNT),
    "SNOW": Element("snow", *_SNOW),
    "SNWD": Element("snow_depth", *_SNOW),
    "AWND": Element("wind", *_SPEED),
    "WSFG": Element("gust", *_SPEED),
    "WSF5": Element("gust", *_SPEED),  # the strongest five seconds; read where no WSFG is there
    "RHAV": Element("humidity", *_PERCENT),
    "RHMX": Element("humidity_max", *_PERCENT),
    "RHMN": Element("humidity_min", *_PERCENT),
}
QUALITY_MARKS = {
    "D": "a duplicate",
    "G": "a gap check",
    "I": "an internal consistency check",
    "K": "a streak check",
    "L": "a check against a total of several days",
    "M": "a check on the number of values in the month",
    "N": "a check for naught",
    "O": "a climatological outlier check",
    "R": "a lagged range check",
    "S": "a spatial consistency check",
    "T": "a temporal consistency check",
    "W": "snow where it is too warm for it",
    "X": "a bounds check",
    "Z": "a manual review",
}
_MEASUREMENT_FLAGS = {"T": Flag.TRACE, "P": Flag.PRESUMED_ZERO, "A": Flag.ACCUMULATED}


def usable_elements(present: Sequence[str]) -> list[str]:
    """Which of the elements of a file are read: all we know, each variable once."""
    known = [e for e in ELEMENTS if e in present]
    return [e for e in known if e != "WSF5" or "WSFG" not in known]


def variable_of(element: str) -> str:
    """Our variable of an element."""
    return "rain" if element == MULTIDAY else ELEMENTS[element].variable


def put_values(
    layout: Layout,
    element: str,
    days: Steps,
    given: Values,
    measured: Sequence[str],
    quality: Sequence[str],
    units: str = "native",
) -> None:
    """Values of one element at days since 1970; NaN is missing. Marks are blank where there are none.

    A value with a quality mark is set aside with that mark's meaning; an amount gathered over several days (MDPR) is
    set aside and never spread over those days.
    """
    known = ~np.isnan(given) & (days != NEVER)
    if element == MULTIDAY:
        for i in np.flatnonzero(known).tolist():
            layout.aside(
                "rain", int(days[i]), f"{given[i] / 10:g} mm", "the amount of several days, not spread over them"
            )
            layout.mark("rain", [days[i]], [int(Flag.ACCUMULATED)])
        return
    rule = ELEMENTS[element]
    divisor, offset = rule.scale(units)
    values = given / divisor + offset
    flags = np.zeros(len(days), np.int64)
    failed = np.zeros(len(days), bool)
    if any(quality):
        failed = known & np.array([bool(q) for q in quality], bool)
        for i in np.flatnonzero(failed).tolist():
            why = QUALITY_MARKS.get(quality[i], f"check {quality[i]}")
            layout.fail(rule.variable, int(days[i]), f"{values[i]:g}", f"failed {why}")
    for mark in {*measured} & {*_MEASUREMENT_FLAGS}:
        flags[np.array([m == mark for m in measured], bool)] |= int(_MEASUREMENT_FLAGS[mark])
    good = known & ~failed
    layout.put(rule.variable, days[good], values[good], flags[good])
