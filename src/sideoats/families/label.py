"""What a label closes and what is said of it: the interval before harvest, the re-entry interval, the label itself.

The fact: treatment.interval.<crop>, the shortest and longest interval on file. Where nobody has read the label, only
days inside every interval on file are closed; between them the verdict stands and the call says which labels will do.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.facts import Fact
from sideoats.problem import Barred
from sideoats.question import Context, Table
from sideoats.records import dataclass
from sideoats.words import Day, Measured, Said, say

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
_TREATMENT = "insects/treatment."
_FAR = 1e9  # days: no date that closes anything


@dataclass(frozen=True, eq=False)
class Interval:
    """How long before harvest a treatment must be made.

    Attributes
    ----------
    harvest : (place,) days until harvest, cutting or turn-out; NaN where not known
    days : (place,) the interval that closes days: of the label in hand, else the shortest on file
    given : (place,) True where the label in hand was read
    on_file : shortest and longest interval on file for the crop
    work, entry : (place,) days until people have to work in the field, and days that nobody may enter it; NaN for none
    """

    harvest: Floats
    days: Floats
    given: Bools
    on_file: Fact
    work: Floats | None = None
    entry: Floats | None = None

    def told(self, context: Context) -> dict[str, Any]:
        """What sentences say of it: the interval, and the day of harvest."""
        on = np.datetime64(context.on, "D")
        return {
            "interval": Measured(self.days, unit="day"),
            "harvest": Day(on + np.nan_to_num(self.harvest).astype("timedelta64[D]")),
        }


def interval_of(table: Table, context: Context, crop: str) -> Interval:
    """Days before harvest that a treatment must keep: of the label in hand, else the shortest on file for the crop."""
    on_file, given = context.facts[f"{_TREATMENT}interval.{crop}"], table.number("phi_days")
    return Interval(
        table.days_until("harvest_date", context.on),
        np.where(np.isnan(given), on_file.low, given),
        ~np.isnan(given),
        on_file,
        work=table.days_until("entry_date", context.on),
        entry=np.ceil(np.nan_to_num(table.number("rei_hours")) / 24.0),
    )


def closed_days(interval: Interval, context: Context, days: int, options: int) -> tuple[Barred, ...]:
    """Bars on the first `days` of `options`, a day each: inside the interval before harvest, before field work."""
    i, day = interval, np.arange(days)
    inside = np.nan_to_num(i.harvest, nan=_FAR)[:, None] - day < np.nan_to_num(i.days)[:, None]
    bars = [
        Barred(_wide(inside & rows[:, None], options), say(f"treat.barred.{code}", **i.told(context)))
        for rows, code in (
            (i.given & (i.harvest >= 0), "interval"),
            (~i.given & (i.harvest >= 0), "unread"),
            (i.harvest < 0, "past"),
        )
    ]
    if i.work is not None and i.entry is not None:
        gap = np.nan_to_num(i.work, nan=_FAR)[:, None] - day
        entry = (gap >= 0) & (gap < np.nan_to_num(i.entry)[:, None])
        bars.append(Barred(_wide(entry, options), say("treat.barred.entry")))
    return tuple(bars)


def _wide(days: Bools, options: int) -> Bools:
    return np.concatenate([days, np.zeros((len(days), options - days.shape[1]), bool)], axis=1)


def label_cautions(interval: Interval, context: Context, bees: bool = True) -> tuple[Said, ...]:
    """Label, entry and bees for all; for those whose label nobody has read what stands on file."""
    i, unread = interval, ~interval.given
    low, high = i.on_file.low, i.on_file.high
    for name in ("entry", "bees")[: 1 + bees]:
        context.facts[_TREATMENT + name]
    return (
        say("treat.caution.label"),
        say("treat.caution.entry"),
        *((say("treat.caution.bees"),) if bees else ()),
        say(
            "treat.caution.unread",
            low=Measured(low, fact=i.on_file.id),
            high=Measured(high, unit="day", fact=i.on_file.id),
        ).where(unread),
        say("treat.caution.only", days=Measured(i.harvest, unit="day")).where(
            unread & (low <= i.harvest) & (i.harvest < high)
        ),
        say("treat.caution.no-harvest").where(np.isnan(i.harvest)),
    )
