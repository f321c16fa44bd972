"""Whether grain may be held at all, and for how long: the bars shared by the questions about bins."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sideoats.grain.carry import MONTH_DAYS
from sideoats.grain.condition import BEYOND, allowable_days, is_heating, moisture_limit
from sideoats.question import Context

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

CROPS = ("wheat", "grain sorghum", "corn", "soybean")
CROP_ALIASES = {"winter wheat": "wheat", "sorghum": "grain sorghum", "milo": "grain sorghum", "soybeans": "soybean"}

BIN_CAUTIONS = (
    "Never go into a bin while grain is moving, or alone, or on crusted or bridged grain: flowing grain takes seconds "
    "to bury a person, and grain out of condition is the usual reason for going in. Lock out the power, test the air, "
    "wear a harness, keep a watcher outside; call the fire service for a rescue.",
)
PRICE_CAUTIONS = (
    "Not a forecast and not investment advice: ranges come from past price moves and today's quotes.",
    "Basis, delivery terms, free days and discounts are local and change without notice: confirm them with the buyer.",
)


@dataclass(frozen=True)
class Condition:
    """What the condition of the grain allows; arrays (place,) or (place, month).

    Attributes
    ----------
    heating, out : (place,) heating, or musty, sour or crusted
    limit : (place, month) moisture limit for holding so long [%]
    wet : (place, month) wetter than that
    days : (place,) allowable storage time at this moisture and temperature [day]; infinite or NaN where none applies
    spoiled : (place, month) the allowable time runs out before, or moisture and temperature are off the table
    known : (place,) moisture is known
    rise : (place,) warming since the check before, where it is taken as heating; NaN elsewhere [degF]
    unread : (place,) moisture or temperature is not known, so that the storage table cannot be read
    """

    heating: Bools
    out: Bools
    limit: Floats
    wet: Bools
    days: Floats
    spoiled: Bools
    known: Bools
    rise: Floats
    unread: Bools

    @property
    def urgent(self) -> Bools:
        """(place,) going bad now, or nobody knows: not merely too wet to keep while cool."""
        return np.asarray(self.heating | self.out | self.spoiled[:, 0] | self.unread)

    @property
    def barred(self) -> Bools:
        """(place, month) holding that long is not allowed."""
        return np.asarray(self.wet | self.spoiled | (self.heating | self.out)[:, None])

    @property
    def must_move(self) -> Bools:
        """(place,) holding is not allowed even for the first month."""
        return np.asarray(self.barred[:, 0])

    def reason(self, moisture: Floats, temperature: Floats) -> Callable[[int], str]:
        """Why a row may not be held, as a function of the row."""

        def text(i: int) -> str:
            parts = []
            if self.heating[i]:
                at = f" at {temperature[i]:.0f} degF" if np.isfinite(temperature[i]) else ""
                up = f", {self.rise[i]:.0f} more than at the check before" if np.isfinite(self.rise[i]) else ""
                parts.append(f"the grain is heating{at}{up}")
            if self.out[i]:
                parts.append("the grain is musty, sour or crusted")
            if self.wet[i].any():
                months = int(np.argmax(self.wet[i])) + 1
                keeping = "keeping it" if months == 1 else f"keeping it {months} months or longer"
                limit = self.limit[i, months - 1]
                parts.append(f"{moisture[i]:.1f} % moisture is over the {limit:.1f} % for {keeping}")
            here = f"{moisture[i]:.1f} % and {temperature[i]:.0f} degF"
            if self.spoiled[i].any() and np.isfinite(self.days[i]):
                parts.append(f"at {here} it keeps about {self.days[i]:.0f} days in all")
            elif self.spoiled[i].any():
                parts.append(f"{here} is off the storage table, on its wet or warm side")
            return "; ".join(parts)

        return text


def bin_condition(
    context: Context,
    crop: NDArray[np.object_],
    *,
    moisture: Floats,
    temperature: Floats,
    earlier: Floats,
    heating: Bools,
    out: Bools,
    months: Floats,
) -> Condition:
    """The condition of each row's grain against the limits that the district follows.

    Parameters
    ----------
    crop : (place,) one of `CROPS`; wheat's limits are used where it is not known
    moisture : [%], NaN where not known; temperature, earlier : hottest reading now and at the last check [degF]
    heating, out : said by the person who looked
    months : (month,) months ahead
    """
    facts = context.facts
    shape = (len(crop), months.size)
    limit, days = np.full(shape, np.nan), np.full(len(crop), np.nan)
    off = np.zeros(len(crop), bool)
    for name in sorted(set(crop.tolist())):  # a loop over crops, not over places
        rows = crop == name
        key = (name or "wheat").split()[-1]
        _, table = facts.choose(f"grain/moisture_limit_{key}")
        limit[rows] = moisture_limit(table, months)[None, :]
        keeping = facts["grain/allowable_days.soybean" if key == "soybean" else "grain/allowable_days.cereal"]
        days[rows], code = allowable_days(moisture[rows], temperature[rows], keeping)
        off[rows] = code == BEYOND
    least = facts.value("grain/heating_rise")
    hot = is_heating(heating, temperature, earlier, least)
    rise = np.where(temperature - earlier >= least, temperature - earlier, np.nan)
    wet = np.nan_to_num(moisture, nan=-np.inf)[:, None] > limit
    spoiled = (months[None, :] * MONTH_DAYS > np.where(np.isnan(days), np.inf, days)[:, None]) | off[:, None]
    unread = np.isnan(moisture) | np.isnan(temperature)
    return Condition(hot, np.asarray(out), limit, wet, days, spoiled, ~np.isnan(moisture), rise, unread)
