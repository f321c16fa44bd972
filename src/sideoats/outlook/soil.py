"""What a station's soil probes say of today: a temperature, or how much of its usable water is left.

A probe counts while it is fresh. Usable water is told by the station's own range, because what a soil holds is not in
the file: each depth between the dry and the wet end of its own days, weighed by the soil that the probe stands for.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise
from types import MappingProxyType

import numpy as np

from sideoats.facts import Facts
from sideoats.station import DAILY_UNITS, SOIL_DEPTHS_CM, StationDays

_FACTS = "outlook/soil_probes."


@dataclass(frozen=True)
class Probed:
    """A reading: its value, its unit, the day and the depth [cm] (of the deepest probe, where several count)."""

    value: float
    unit: str
    day: date
    depth_cm: float


def _newest(record: StationDays, variable: str, on: date, fresh_days: float) -> tuple[float, date] | None:
    """The newest usable value before `on`, if it is not too old."""
    if variable not in record.values:
        return None
    values = record.usable(variable)[: max(min(record.index(on), len(record)), 0)]
    known = np.flatnonzero(~np.isnan(values))
    if not known.size:
        return None
    day = record.start + timedelta(days=int(known[-1]))
    return (float(values[known[-1]]), day) if (on - day).days <= fresh_days else None


def probed(record: StationDays, what: str, on: date, fresh_days: float, facts: Facts) -> Probed | None:
    """The reading of a daily variable, or of ``soil_water_left``; None where none is fresh."""
    if what in DERIVED:
        return DERIVED[what](record, on, fresh_days, facts)
    found = _newest(record, what, on, fresh_days)
    return None if found is None else Probed(found[0], DAILY_UNITS[what], found[1], float(what.rpartition("_")[2]))


def water_left(record: StationDays, on: date, fresh_days: float, facts: Facts) -> Probed | None:
    """Share of the usable water left in the profile of a station, 0 to 1.

    Mean over depths, by thickness, of (now - dry) / (wet - dry), each end a quantile of the depth's own days before
    `on`; None where no fresh probe reaches as deep, or has as many days, as the facts ask for.
    """
    dry, wet = facts.span(_FACTS + "ends")
    least_days, reach = facts.value(_FACTS + "least_days"), facts.value(_FACTS + "reach")
    end = max(min(record.index(on), len(record)), 0)
    shares, weights, newest, deepest = [], [], date.min, 0.0
    for depth, thick in zip(SOIL_DEPTHS_CM, _THICKNESS, strict=True):
        found = _newest(record, name := f"soil_moisture_{depth}", on, fresh_days)
        if found is None:
            continue
        days = record.usable(name)[:end]
        days = days[~np.isnan(days)]
        if days.size < least_days:
            continue
        low, high = np.quantile(days, [dry, wet])
        if high > low:
            shares.append(np.clip((found[0] - low) / (high - low), 0.0, 1.0))
            weights.append(thick)
            newest, deepest = max(newest, found[1]), float(depth)
    if deepest < reach:
        return None
    return Probed(float(np.average(shares, weights=weights)), "1", newest, deepest)


# Each probe stands for the soil up to halfway to its neighbours [cm]; the lowest, at 1 m, down to 105 cm.
_EDGES = [0.0, *((a + b) / 2 for a, b in pairwise(SOIL_DEPTHS_CM)), 105.0]
_THICKNESS = tuple(np.diff(_EDGES).tolist())
DERIVED: Mapping[str, Callable[[StationDays, date, float, Facts], Probed | None]] = MappingProxyType(
    {"soil_water_left": water_left}
)
