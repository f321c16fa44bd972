"""What a buyer's dated schedule does to a load: premiums, discounts and moisture shrink, from a checked record.

The record is the one that `sideoats.intake.buyer_schedule.schedule_record` makes and the ledger keeps.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sideoats.grain.load import pencil_shrink, protein_adjustment, stepped_discount, water_shrink

Floats = NDArray[np.float64]

STEPPED = ("test_weight", "moisture", "foreign_material", "damage", "heat_damage", "shrunken_broken")


@dataclass(frozen=True)
class Priced:
    """A schedule applied to loads; USD/bu unless said. Discounts by factor are positive numbers.

    `complete` is False where a factor that the schedule prices was not measured, or lies beyond its last band.
    """

    adjustment: Floats
    shrink: Floats
    by_factor: dict[str, Floats]
    complete: NDArray[np.bool_]


def holds_on(record: Mapping[str, Any], day: date) -> bool:
    """Whether the schedule is in force on a day."""
    until = record.get("until")
    return bool(record["effective"] <= day and (until is None or day <= until))


def apply_schedule(record: Mapping[str, Any], measured: Mapping[str, ArrayLike]) -> Priced:
    """Premiums less discounts and the moisture shrink of loads under one schedule.

    Parameters
    ----------
    record : a checked schedule
    measured : factor name -> values: protein [%], test_weight [lb/bu], moisture [%], and the other factors [%]; NaN
        where not measured. A factor that the schedule does not price is ignored.
    """
    shape = np.broadcast(*(np.asarray(v, np.float64) for v in measured.values())).shape if measured else ()
    unknown = np.full(shape, np.nan)
    total = np.zeros(shape)
    parts: dict[str, Floats] = {}
    for name in STEPPED:
        factor = record.get(name)
        if factor and factor["bands"]:
            bands = [(band["until"], band["step"], band["charge"]) for band in factor["bands"]]
            value = np.asarray(measured.get(name, unknown), np.float64)
            off = stepped_discount(value, factor["base"], bands, fraction_counts=bool(factor["begun_step_counts"]))
            parts[name] = np.broadcast_to(off, shape)
            total = total - off
    protein = record.get("protein")
    if protein:
        cap = protein.get("cap")
        paid = protein_adjustment(
            measured.get("protein", unknown),
            protein["base"],
            premium=protein["premium"],
            discount=protein["discount"],
            step=protein["step"],
            fraction_counts=bool(protein["begun_step_counts"]),
            cap=np.inf if cap is None else cap,
        )
        parts["protein"] = np.broadcast_to(-paid, shape)
        total = total + paid
    shrink = _shrink(record.get("moisture"), np.asarray(measured.get("moisture", unknown), np.float64))
    complete = ~np.isnan(total) & ~np.isnan(shrink)
    return Priced(np.asarray(total), np.broadcast_to(shrink, shape).astype(np.float64), parts, np.asarray(complete))


def _shrink(moisture: Mapping[str, Any] | None, value: Floats) -> Floats:
    """Moisture shrink of the schedule [%]: water with handling, a pencil factor, or none."""
    if moisture is None or moisture["shrink"] == "none":
        return np.zeros(value.shape)
    if moisture["shrink"] == "pencil":
        return pencil_shrink(value, moisture["base"], moisture["factor"])
    return water_shrink(value, moisture["base"], handling=moisture["handling"])
