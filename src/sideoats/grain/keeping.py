"""Whether grain may be held at all, and for how long: hazards, bars and their reasons, for the questions about bins."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta

import numpy as np
from numpy.typing import NDArray

from sideoats.crops import synonyms
from sideoats.grain.carry import MONTH_DAYS
from sideoats.grain.condition import BEYOND, DRIER, INSIDE, allowable_days, is_heating, moisture_limit, warm_days
from sideoats.problem import Hazard
from sideoats.question import Context
from sideoats.words import Measured, Said, say

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
RowSaid = Callable[[int], Said | None]

CROPS = ("wheat", "grain sorghum", "corn", "soybean")
CROP_ALIASES = synonyms(CROPS)

PRICE_CARE = ("grain.care.forecast", "grain.care.terms")
BIN_CARE = ("grain.care.entry",)


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
    warming : (place,) warming that is too little for that and too much to be left unread; NaN elsewhere [degF]
    unread : (place,) moisture or temperature is not known, so that the storage table cannot be read
    live, asleep : (place,) live insects in grain that is warm (or not known to be cold), and in cold grain
    moisture, temperature : (place,) as read [%], [degF]
    term : (place,) days within which grain that is too wet or too warm to keep is dried, cooled or moved
    """

    heating: Bools
    out: Bools
    limit: Floats
    wet: Bools
    days: Floats
    spoiled: Bools
    known: Bools
    rise: Floats
    warming: Floats
    unread: Bools
    live: Bools
    asleep: Bools
    moisture: Floats
    temperature: Floats
    term: Floats

    @property
    def urgent(self) -> Bools:
        """(place,) going bad now, or nobody knows: not merely too wet to keep while cool."""
        return np.asarray(self.heating | self.out | self.spoiled[:, 0] | (self.unread & self.wet[:, 0]))

    @property
    def barred(self) -> Bools:
        """(place, month) holding that long is not allowed."""
        woken = self.asleep[:, None] & (np.arange(self.wet.shape[1]) > 0)
        return np.asarray(self.wet | self.spoiled | (self.heating | self.out | self.live)[:, None] | woken)

    @property
    def must_move(self) -> Bools:
        """(place,) holding is not allowed even for the first month."""
        return np.asarray(self.barred[:, 0])

    def reasons(self, i: int) -> list[Said]:
        """Why a row may not be held, the most pressing first; parts of a sentence."""
        read = {"moisture": Measured(self.moisture[i], unit="percent"), "t": Measured(self.temperature[i], unit="degF")}
        found = [*self._heating(i)]
        if self.out[i]:
            found.append(say("grain.why.musty"))
        if self.live[i]:
            found.append(say("grain.why.insects"))
        if self.asleep[i]:
            found.append(say("grain.why.insects_cold"))
        if self.wet[i].any():
            found.append(self.too_wet(i))
        if self.spoiled[i].any() and np.isfinite(self.days[i]):
            found.append(say("grain.why.time", **read, n=round(float(self.days[i]))))
        elif self.spoiled[i].any():
            found.append(say("grain.why.off_table", **read))
        return found

    def _heating(self, i: int) -> list[Said]:
        if not self.heating[i]:
            return []
        t = self.temperature[i]
        at = say("grain.why.at", t=Measured(t, unit="degF")) if np.isfinite(t) else None
        rise = Measured(self.rise[i], unit="delta_degF")
        return [say("grain.why.heating", at=at, up=say("grain.why.up", rise=rise) if rise.known else None)]

    def limit_said(self, i: int, month: int) -> Measured:
        """The moisture limit for keeping it till that month, by index."""
        return Measured(float(self.limit[i, month]), unit="percent")

    def first_too_wet(self, i: int) -> Said | None:
        """`too_wet` where it is."""
        return self.too_wet(i) if self.wet[i].any() else None

    def too_wet(self, i: int) -> Said:
        """Over the limit, from the first month for which it is."""
        m = int(np.argmax(self.wet[i]))
        moisture = Measured(float(self.moisture[i]), unit="percent")
        return say("grain.why.wet", moisture=moisture, limit=self.limit_said(i, m), n=m + 1)


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
    insects: Bools | None = None,
    fresh: bool = False,
) -> Condition:
    """The condition of each row's grain against the limits that the district follows.

    Parameters
    ----------
    crop : (place,) one of `CROPS`; wheat's limits are used where it is not known
    moisture : [%], NaN where not known; temperature, earlier : hottest reading now and at the last check [degF]
    heating, out, insects : said by the person who looked; no insects where None
    months : (month,) months ahead
    fresh : it comes from the field and gets air as it is stored: dry grain does not stay as hot as that
    """
    facts = context.facts
    shape = (len(crop), months.size)
    limit = np.full(shape, np.nan)
    days, life = np.full(len(crop), np.nan), np.full(len(crop), np.nan)
    off, code = np.zeros(len(crop), bool), np.zeros(len(crop), np.int8)
    # a temperature that nobody read is taken as high as grain comes off the combine: it makes no term longer
    hottest = np.where(np.isnan(temperature), facts.value("grain/harvest_heat"), temperature)
    for name in sorted(set(crop.tolist())):  # a loop over crops, not over places
        rows = crop == name
        key = (name or "wheat").split()[-1]
        _, table = facts.choose(f"grain/moisture_limit_{key}")
        limit[rows] = moisture_limit(table, months)[None, :]
        keeping = facts["grain/allowable_days.soybean" if key == "soybean" else "grain/allowable_days.cereal"]
        read, code[rows] = allowable_days(moisture[rows], temperature[rows], keeping)
        life[rows] = warm_days(moisture[rows], hottest[rows], keeping, facts["grain/allowable_days.dry"])
        days[rows] = np.where((code[rows] == DRIER) & (not fresh), life[rows], read)
        off[rows] = code[rows] == BEYOND
    least = facts.value("grain/heating_rise")
    # no field or weather makes grain so hot: it heats, whatever its moisture and with no earlier reading
    heating = heating | (temperature >= facts.value("grain/heating_from"))
    hot = is_heating(heating, temperature, earlier, least)
    up = temperature - earlier
    rise = np.where(up >= least, up, np.nan)
    warming = np.where((up >= facts.value("grain/rise_asked")) & ~(up >= least), up, np.nan)
    wet = np.nan_to_num(moisture, nan=-np.inf)[:, None] > limit
    # the limits are for summer's warmth: grain that is cold keeps by the table, a part of its time, until spring
    part = facts.value("grain/term_of_life")
    left = np.where((temperature <= facts.value("grain/cold_keeps")) & (code == INSIDE), days * part, 0.0)
    wet &= ~((months[None, :] * MONTH_DAYS <= left[:, None]) & _cold_till(context, months)[None, :])
    spoiled = (months[None, :] * MONTH_DAYS > np.where(np.isnan(days), np.inf, days)[:, None]) | off[:, None]
    unread = np.isnan(moisture) | np.isnan(temperature)
    found = np.zeros(len(crop), bool) if insects is None else insects
    cold = temperature <= facts.value("grain/insects_dormant_below")
    least_days, most_days = facts.value("grain/move_within"), facts["grain/check_every"].high
    keeps = np.where(code == INSIDE, days, life)
    term = np.floor(np.nan_to_num(keeps * part, nan=0.0, posinf=most_days)).clip(least_days, most_days)
    return Condition(
        hot,
        np.asarray(out),
        limit,
        wet,
        days,
        spoiled,
        ~np.isnan(moisture),
        rise,
        warming,
        unread,
        found & ~cold,
        found & cold,
        moisture,
        temperature,
        term,
    )


def _cold_till(context: Context, months: Floats) -> Bools:
    """(month,) True where today and every month's day up to that one lie in the time when grain stays cold."""
    ahead = [context.on, *(context.on + timedelta(days=round(float(m) * MONTH_DAYS)) for m in months)]
    held = [context.region.holds("grain-stays-cold", day) for day in ahead]
    return np.logical_and.accumulate(held)[1:]


def hazards(context: Context, c: Condition, stale: dict[str, Bools], seen: RowSaid, pays: Bools) -> tuple[Hazard, ...]:
    """What stops the holding of grain, the most pressing first, and the readings that clear it.

    Parameters
    ----------
    stale : "moisture", "temperature" -> (place,) not known, or read too long ago
    seen : row -> when the bin was last looked at, None for a phone-in
    pays : (place,) keeping it pays, or nearly: warm grain that is sold is cooled by whoever buys it
    """
    facts = context.facts
    now, week = facts.value("grain/move_within"), facts["grain/check_every"].low
    wet, hot = {"bin_check.moisture": stale["moisture"]}, {"bin_check.temperature": stale["temperature"]}

    def hazard(code: str, over: Bools, within: float | Floats, why: RowSaid, doubts: dict[str, Bools]) -> Hazard:
        unclear = "" if code == "bin.insects" else "bin.unchecked.look"
        return Hazard(
            code,
            over,
            doubts,
            {"why": why, "seen": seen, "unread": lambda i: say(f"bin.unread.{'old' if seen(i) else 'never'}")},
            act_within=np.asarray(within, dtype=np.int64),
            look_within=int(week),
            unclear=unclear,
        )

    def first(i: int) -> Said | None:
        return next(iter(c.reasons(i)), None)

    def last(i: int) -> Said | None:
        return next(iter(reversed(c.reasons(i))), None)

    unread = c.unread & c.wet[:, 0]
    winter, mild = (context.region.holds(name, context.on) for name in ("grain-cooled", "grain-mild"))
    line = facts.value(f"grain/warm_in_{'winter' if winter else 'mild_months' if mild else 'summer'}")
    warm = (c.temperature >= line) & ~c.heating & (pays | winter)

    return (
        hazard("bin.move", c.heating, now, first, hot),
        hazard("bin.move", c.out, now, first, {}),
        hazard("bin.move", c.spoiled[:, 0], c.term, last, wet | hot),
        hazard("bin.unread", unread, c.term, c.first_too_wet, {}),
        hazard("bin.insects", c.live, facts.value("grain/treat_within"), first, {"bin_check.insects": c.asleep}),
        Hazard(
            "bin.warm",
            np.zeros(len(warm), bool),
            {"bin_check.temperature": warm},
            {"t": Measured(c.temperature, unit="degF"), "seen": seen},
            look_within=int(now if winter else week),
            unclear="bin.warm.look" if winter else "bin.hot.look",
        ),
        Hazard(
            "bin.warming",
            np.zeros(len(warm), bool),
            {"bin_check.temperature": np.isfinite(c.warming) & ~c.heating & pays},
            {"up": Measured(c.warming, unit="delta_degF"), "t": Measured(c.temperature, unit="degF"), "seen": seen},
            look_within=int(week),
        ),
        hazard("bin.dry", c.wet[:, 0], c.term, c.first_too_wet, wet),
    )
