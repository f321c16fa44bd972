"""Growth stages of winter wheat: between the scales, and by heat units.

The calendar by heat units is a sketch: leaves by a phyllochron, then phases counted in phyllochrons, the first of them
slowed by short days and by lack of cold. Its constants are facts from memory. An observed stage always overrules it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sideoats.facts import Fact, Facts
from sideoats.wheat.freeze import vernalisation_rate

Floats = NDArray[np.float64]
_F = "wheat/stages."
STAGES = ("seedling", "tillering", "jointing", "boot", "heading", "flowering", "milk", "dough", "ripe")
FREEZE_STAGES = ((30, "tillering"), (41, "jointing"), (51, "boot"), (60, "heading"), (70, "flowering"), (80, "milk"))


def zadoks_of(scale: Fact, feekes: str) -> float:
    """Zadoks (BBCH) code of a Feekes stage as printed in the scale; NaN where it is not."""
    return next((float(row[1]) for row in scale.rows if row[2] == feekes), float("nan"))


def event_at(scale: Fact, zadoks: float) -> tuple[str, str]:
    """Last event reached and its Feekes stage; ("not emerged", "0") before the first."""
    reached = [row for row in scale.rows if row[1] <= zadoks]
    return (str(reached[-1][0]), str(reached[-1][2])) if reached else ("not emerged", "0")


def freeze_stage(zadoks: float) -> str:
    """The freeze table's word for a Zadoks code."""
    return next((word for below, word in FREEZE_STAGES if zadoks < below), "dough")


def heat_units(tmax: ArrayLike, tmin: ArrayLike, base: float = 0.0) -> Floats:
    """Heat units of each day, max(0, mean - base) [degC day]."""
    return np.maximum((np.asarray(tmax, np.float64) + np.asarray(tmin, np.float64)) / 2.0 - base, 0.0)


@dataclass(frozen=True)
class Calendar:
    """Constants of the sketch, from facts: heat units in degC day."""

    emergence: float
    phyllochron: float
    phases: tuple[tuple[float, float], ...]  # (heat units, Zadoks code at the end)
    day_hours: float
    day_slope: float
    vernal: tuple[float, float, float]
    vernal_days: float


def calendar(facts: Facts, depth_cm: float = 4.0) -> Calendar:
    """The sketch's constants; sowing depth in cm."""
    constant, per_cm = facts[_F + "emergence"].rows[0]
    leaf = facts.value(_F + "phyllochron")
    phases = tuple((float(r[2]) * leaf + float(r[3]), float(r[1])) for r in facts[_F + "phases"].rows)
    hours, slope = facts[_F + "photoperiod"].rows[0]
    low, best, high, days = facts[_F + "vernalisation"].rows[0]
    return Calendar(
        float(constant) + float(per_cm) * depth_cm,
        leaf,
        phases,
        float(hours),
        float(slope),
        (float(low), float(best), float(high)),
        float(days),
    )


def zadoks_by_day(tmax: ArrayLike, tmin: ArrayLike, day_hours: ArrayLike, constants: Calendar) -> Floats:
    """Zadoks code at the end of each day from sowing.

    Parameters
    ----------
    tmax, tmin : (..., day) [degC], day 0 the day of sowing into moist soil
    day_hours : (day,) day length [h]

    Returns
    -------
    (..., day): 0 to 9 before emergence, 10 to 13 by leaves, 20 to 29 by tillers, then by phase to 92; NaN after a
    missing day
    """
    high, low = np.asarray(tmax, np.float64), np.asarray(tmin, np.float64)
    mean, units = (high + low) / 2.0, heat_units(tmax, tmin)
    cold = vernalisation_rate(mean, *constants.vernal)
    light = np.clip(
        1.0 - constants.day_slope * (constants.day_hours - np.asarray(day_hours, np.float64)) ** 2, 0.0, 1.0
    )
    heat = np.cumsum(units, axis=-1)
    up = heat >= constants.emergence
    since_up = np.where(up, heat - constants.emergence, 0.0)
    chilled = np.clip(np.cumsum(np.where(np.isnan(cold), np.nan, cold), axis=-1) / constants.vernal_days, 0.0, 1.0)
    slowed = np.cumsum(np.where(up, units * np.minimum(light, chilled), 0.0), axis=-1)
    first_units, first_code = constants.phases[0]
    done = np.clip(slowed / first_units, 0.0, 1.0)
    leaves = since_up / constants.phyllochron
    # three leaves before tillers; tillering fills what is left of the first phase
    early = np.where(leaves < 3, 10.0 + leaves, np.clip(20.0 + (leaves - 3), 20.0, first_code - 1))
    code = np.where(up, early, 9.0 * heat / constants.emergence)
    past = done >= 1
    start = np.where(past, np.cumsum(np.where(past, units, 0.0), axis=-1), 0.0)
    code = np.where(past, first_code, code)
    before, begin = first_code, 0.0
    for length, end in constants.phases[1:]:
        inside = past & (start > begin)
        code = np.where(inside, before + (end - before) * np.clip((start - begin) / length, 0.0, 1.0), code)
        before, begin = end, begin + length
    return np.asarray(np.where(np.isnan(heat), np.nan, code))


def day_of_code(codes: Floats, code: float) -> Floats:
    """First day (from sowing) on which a Zadoks code is reached, (...,); NaN where it is not within the record."""
    reached = codes >= code
    return np.asarray(np.where(reached.any(axis=-1), reached.argmax(axis=-1).astype(float), np.nan))
