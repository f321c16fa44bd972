"""Seed as an input: the rate wanted, over the rate that the drill is set to.

The rate wanted comes from seed size and the stand, or from published seeds an acre. Too thin a sowing loses yield, more
so in one published trial than in another; seed beyond the rate wanted brings nothing and is paid for.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sideoats.families import rate_of_an_input as rate
from sideoats.problem import Barred, Choice, labelled
from sideoats.question import Context, Table
from sideoats.wheat import seed
from sideoats.wheat.asked import known_or
from sideoats.wheat.days import late_by, sowing_days
from sideoats.wheat.planting import late_rate
from sideoats.words import Measured, say

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]

UNIT = "USD/ac"
STAND_COUNTED = 21  # days after sowing on which plants are counted
_F = "wheat/seeding."


@dataclass(frozen=True)
class Seed:
    """What to sow; (place,), NaN where not known.

    Attributes
    ----------
    size : seeds in a pound
    target, share : plants wanted an acre, and the share of seeds that become plants
    assumed : that share is the published one
    band : low and high of the published seeds to drop an acre, where no target was given
    drop : seeds wanted an acre, before lateness and residue
    rate : pounds wanted an acre
    span : low and high of the pounds at common seed sizes and, without a target, over the published band
    planned : pounds that the drill is set to
    absurd : more seeds than anybody sows; few : fewer than the thinnest sowing of any trial on file
    weak : the published rates do not hold for seed that germinates so poorly
    printed : low and high of the published pounds at the lot's own size
    days : to sowing
    """

    size: Floats
    target: Floats
    share: Floats
    assumed: Bools
    band: tuple[Floats, Floats]
    drop: Floats
    rate: Floats
    span: tuple[Floats, Floats]
    planned: Floats
    days: Floats
    absurd: Bools
    few: Bools
    weak: Bools
    printed: tuple[Floats, Floats]

    @property
    def right(self) -> Bools:
        """(place,) the drill is set within the published rates."""
        low, high = self.printed
        return np.asarray((self.planned >= 0.995 * low) & (self.planned <= 1.005 * high))

    @property
    def uncounted(self) -> Bools:
        """How many seeds an acre is known, how many pounds is not."""
        return np.asarray(np.isnan(self.size) & np.isfinite(self.drop) & ~self.absurd)

    @property
    def off(self) -> Floats:
        """What the drill is set to over what is wanted, less 1."""
        return np.asarray(self.planned / self.rate - 1)


def seed_of(table: Table, context: Context) -> Seed:
    """The rate wanted, from the stand or from published rates, raised for lateness and residue."""
    weight, target = table.number("kernel_weight"), table.number("target")
    size = np.where(np.isnan(weight), table.number("seeds_per_lb"), seed.seeds_per_pound(weight))
    by_target, none = ~np.isnan(target), np.full(len(table), np.nan)
    share, assumed = _survival(table, context) if by_target.any() else (none, ~by_target)
    low, high = (none, none) if by_target.all() else _published(table, context)
    drop = np.where(by_target, seed.seeds_to_drop(target, share), (low + high) / 2)
    germination, sound = table.number("germination"), context.facts.value(_F + "sound_germination")
    short = np.where(by_target | np.isnan(germination), 1.0, np.minimum(germination / sound, 1.0))
    weak = np.asarray(germination < context.facts.value(_F + "weak_germination")) & ~by_target
    with np.errstate(divide="ignore"):
        low, high, drop = low / short, high / short, drop / short
    drop = np.where(weak, np.nan, drop)
    large, small = context.facts.span(_F + "common_size")
    ends = tuple(
        _pounds(table, context, np.where(by_target, drop, end), np.full(len(table), common))
        for end, common in ((low, small), (high, large))
    )
    return Seed(
        size,
        target,
        share,
        assumed,
        (low, high),
        drop,
        _pounds(table, context, drop, size),
        (ends[0], ends[1]),
        table.number("planned"),
        sowing_days(table, context),
        np.asarray(drop > context.facts.value(_F + "most_seeds")),
        np.asarray(drop < float(context.facts[_F + "leoti_2022"].rows[0][0])),
        weak,
        (_pounds(table, context, low, size), _pounds(table, context, high, size)),
    )


def _published(table: Table, context: Context) -> tuple[Floats, Floats]:
    """Low and high of the published seeds to drop (place,) [1/ac] by precipitation, irrigation and purpose."""
    rain, irrigated = table.number("precipitation"), table.flag("irrigated")
    low, high = np.full(len(table), np.nan), np.full(len(table), np.nan)
    for name, rain_low, rain_high, _, _, seeds_low, seeds_high in context.facts[_F + "kansas"].rows:
        here = irrigated if name == "irrigated" else ~irrigated & (rain >= rain_low) & (rain < rain_high)
        low, high = np.where(here, seeds_low, low), np.where(here, seeds_high, high)
    grazed = np.isin(table.text("purpose").astype(str), ["dual", "graze-out"])
    if grazed.any():
        more_low, more_high = context.facts.span(_F + "dual_ratio")
        low, high = np.where(grazed, low * more_low, low), np.where(grazed, high * more_high, high)
    return low, high


def _survival(table: Table, context: Context) -> tuple[Floats, Bools]:
    """Share of seeds that become plants (place,), and where it had to be taken from the publication."""
    together, germination, emergence = (table.number(k) for k in ("survival", "germination", "emergence"))
    share = np.where(np.isnan(together), germination * emergence, together)
    return known_or(share, context, _F + "survival"), np.isnan(share)


def _pounds(table: Table, context: Context, drop: Floats, size: Floats) -> Floats:
    """(place,) pounds an acre for seeds of that size, raised for lateness and residue."""
    facts, out = context.facts, seed.seeding_rate(drop, size)
    late = late_by(table, context)
    if (late > 0).any():
        raise_by = (facts.value(_F + k) for k in ("late_share", "late_top", "late_full"))
        out = late_rate(out, late, *raise_by)
    if table.flag("residue").any():
        out = out + np.where(table.flag("residue"), facts.value(_F + "residue"), 0.0)
    return out


def options_of(sown: Seed) -> tuple[Choice, ...]:
    """Leave the drill as it is, or set it."""
    wanted = labelled("set-drill", rate=Measured(sown.rate, unit="lb/ac"))
    return (
        Choice("keep", labelled("keep-drill"), passive=True, kind="keep"),
        Choice("set", wanted, trouble=rate.TROUBLE, kind="set"),
    )


def gain_of(table: Table, context: Context, sown: Seed) -> Floats:
    """(place, draw, option) of setting the drill over leaving it [USD/ac]; 0 where its setting is not known."""
    crop = known_or(table.number("yield"), context, "wheat/usual.yield")
    crop = crop * known_or(table.number("price"), context, "wheat/usual.price")
    a_pound = known_or(table.number("seed_price"), context, _F + "seed_price")
    table_ = context.facts[_F + "lost"]
    shares = np.array(table_.column(table_.columns[0]), np.float64)
    at = np.where(sown.right, 1.0, np.nan_to_num(sown.planned / sown.rate, nan=1.0))
    low, high = (np.interp(at, shares, table_.column(end)) for end in ("low", "high"))
    lost = low[:, None] + (high - low)[:, None] * context.outlook.uniform("thin sowing")
    kept = np.stack([-lost * crop[:, None], np.zeros_like(lost)], axis=2)
    wanted = np.where(sown.right, sown.planned, sown.rate)  # any published rate is right
    cost = np.stack([sown.planned * a_pound, wanted * a_pound], axis=1)[:, None, :]
    return rate.over_base(kept, np.where(np.isnan(cost).any(axis=2, keepdims=True), 0.0, cost))


def bars(sown: Seed) -> tuple[Barred, ...]:
    """What the drill is set to is not known."""
    return (Barred(np.isnan(sown.planned)[:, None] & np.array([True, False]), say("bar.drill_not_told")),)


def needs_of(sown: Seed) -> dict[str, Bools]:
    """The size of the seed, and the stand wanted or the rain that the published rates go by."""
    return {
        "seed_lot.seeds_per_lb": np.isnan(sown.size),
        "seed_lot.germination": sown.weak,
        "setting:annual_precipitation": np.isnan(sown.drop) & ~sown.weak,
        "seed_lot.target": sown.absurd | sown.few,
    }


def recheck(sown: Seed) -> Ints:
    """(place,) days to a week before sowing; then to the day on which the stand is counted."""
    count = np.maximum(np.nan_to_num(sown.days) + STAND_COUNTED, 1)
    return np.where(sown.days < 0, count, rate.again(sown.days, STAND_COUNTED, count)).astype(np.int64)
