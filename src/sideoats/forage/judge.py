"""Judging lots of hay for nitrate: everything between the laboratory's slip and the bars, as arrays.

No money enters here, so that none can talk a bar away.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sideoats.facts import Facts
from sideoats.forage import lots, nitrate, stock
from sideoats.forage.dilution import safe_share
from sideoats.forage.nitrate_tables import ALWAYS, dilution_targets, tables

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
_KG_OF_LB = 0.45359237


@dataclass(frozen=True)
class Lots:
    """What is known of n lots, (n,) each.

    Attributes
    ----------
    level : [ppm NO3-N dry] the laboratory's result, or the mean of single bales; NaN unknown
    centre : [ppm NO3-N dry] the same, but the geometric mean of single bales, about which they spread
    squares, cores, seen : from `lots.core_summary`; cores 1 where not stated, seen NaN for a composite
    bales : in the lot; NaN not known
    animals : class words
    weakened : hungry, sick, thin, unadapted
    low : [ppm NO3-N dry] of the low feed or mix of feeds; NaN none named
    water : [ppm NO3-N]; NaN not known
    air : [degF]; NaN takes the hottest column of the water table
    weight : [lb]; NaN takes the class's usual weight
    asked_share : share of the hot hay asked for; NaN the largest that is safe
    """

    level: Floats
    centre: Floats
    squares: Floats
    cores: Floats
    seen: Floats
    bales: Floats
    animals: Sequence[Any]
    weakened: Bools
    low: Floats
    water: Floats
    air: Floats
    weight: Floats
    asked_share: Floats


@dataclass(frozen=True)
class Judgement:
    """What may be done with each lot, (n,) each; levels in ppm NO3-N of dry matter.

    Attributes
    ----------
    at_risk : the strictest class on file was used
    hottest : level that no bale exceeds, with the stated assurance
    drunk : what the water adds to the ration
    ruling, plain : what the tables allow for this class, and for animals not at special risk
    not_alone : the lot may not be the only feed of this class; the hazard bar
    not_at_all : the lot may not be fed to this class at any share
    over_bale : a bale tested alone is over the line from which this class gets none
    over_plain : the same for animals not at special risk
    hot_bale : feeding bale by bale is barred because a bale may be over the line from which nothing is fed
    unread_water : feed alone would pass, feed and water together do not
    share : largest safe share of ration dry matter, whole percent, safe to the hottest credible bale; 0 where none
    more_bales : to core before bale-by-bale feeding could be cleared; NaN where coring would not do
    clear_chance : chance that no bale is over that line
    never : [ppm] the line from which nothing is fed to this class
    classes : publisher -> class index
    """

    at_risk: Bools
    hottest: Floats
    drunk: Floats
    ruling: nitrate.Ruling
    plain: nitrate.Ruling
    not_alone: Bools
    not_at_all: Bools
    over_bale: Bools
    over_plain: Bools
    hot_bale: Bools
    unread_water: Bools
    share: Floats
    more_bales: Floats
    clear_chance: Floats
    never: Floats
    classes: dict[str, NDArray[np.int64]]
    intake_lb: Floats


def never_line(table: nitrate.ClassTable, at_risk: bool) -> float:
    """Level [ppm NO3-N dry] from which a table feeds nothing to these animals; infinite where it never says so."""
    shares = table.share_at_risk if at_risk else table.share
    barred = np.flatnonzero(shares == 0.0)
    return float(table.bounds_nitrogen[barred[0]]) if barred.size else float("inf")


def _never(at_risk: Bools, followed: nitrate.ClassTable, every: dict[str, nitrate.ClassTable]) -> Floats:
    plain = min(never_line(followed, False), never_line(every[ALWAYS], False))
    strict = min(never_line(table, True) for table in every.values())
    return np.where(at_risk, min(plain, strict), plain)


def water_share(facts: Facts, known: Lots) -> tuple[Floats, Floats]:
    """What the water adds [ppm of ration dry matter] and the dry matter eaten [lb/day]."""
    usual = stock.by_class(facts["forage/body_weight"], known.animals, "weight")
    weight = np.where(np.isnan(known.weight), usual, known.weight)
    least = facts["forage/intake_share"].low  # least feed for the same water: the most nitrate a pound of feed
    intake = weight * least
    litres = stock.water_gallons(facts["forage/water_need"], known.animals, known.air) * nitrate.LITRES_OF_GALLON
    _, equivalent = nitrate.feed_plus_water(0.0, intake * _KG_OF_LB, known.water, litres)
    return equivalent, intake


def judge(known: Lots, facts: Facts, followed: str | None = None) -> Judgement:
    """Apply the tables, the water, the blend rule and the hottest credible bale to every lot.

    A bar here follows from evidence and published lines alone. An unknown level allows nothing.
    """
    table, every = tables(facts, followed)
    targets = dilution_targets(facts)
    risk = stock.at_risk(known.animals, known.weakened)
    hottest, more, clear, never = _bales(known, facts, risk, table, every)
    drunk, intake = water_share(facts, known)
    total = known.level + drunk
    ruling = nitrate.rule(known.level, risk, table, every.values(), every[ALWAYS], targets)
    whole = nitrate.rule(total, risk, table, every.values(), every[ALWAYS], targets)
    plain = nitrate.rule(total, False, table, every.values(), every[ALWAYS], targets)
    not_alone = ~(ruling.alone & whole.alone)
    # the one line of some publishers lies so high that bales of a lot under it may be over the line for all animals
    lowest_class = _lowest(known.level, [table, every[ALWAYS]]) & (~risk | _lowest(known.level, every.values()))
    over_bale = known.seen >= never * (1 - nitrate.ROUNDING)
    over_plain = known.seen >= _never(np.zeros_like(risk), table, every) * (1 - nitrate.ROUNDING)
    hot_bale = ~not_alone & ~over_bale & ~lowest_class & (hottest >= never * (1 - nitrate.ROUNDING))
    share = np.minimum(safe_share(hottest, known.low, ruling.ceiling, drunk), np.nan_to_num(ruling.share))
    # the feed to mix with must be under the ceiling itself, or less of the lot would be worse than more of it
    share = np.where(over_bale | (known.low + drunk >= ruling.ceiling * (1 - nitrate.ROUNDING)), 0.0, share)
    return Judgement(
        at_risk=risk, hottest=hottest, drunk=drunk, ruling=ruling, plain=plain, not_alone=not_alone,
        not_at_all=ruling.share <= 0, over_bale=over_bale, over_plain=over_plain, hot_bale=hot_bale,
        unread_water=ruling.alone & ~whole.alone,
        share=np.floor(share * 100 + 1e-9) / 100, more_bales=more, clear_chance=clear, never=never,
        classes={name: t.classify(known.level) for name, t in every.items()}, intake_lb=intake,
    )  # fmt: skip


def _lowest(level: Floats, held: Any) -> Bools:
    """True where every table puts the level in its first class: safe however the animals are fed."""
    out = np.ones(level.shape, dtype=bool)
    for table in held:
        first = table.bounds_nitrogen[1] if len(table.bounds) > 1 else np.inf
        out &= level < first * (1 - nitrate.ROUNDING)
    return out


def _bales(
    known: Lots, facts: Facts, risk: Bools, table: nitrate.ClassTable, every: dict[str, nitrate.ClassTable]
) -> tuple[Floats, Floats, Floats, Floats]:
    _, lowest, highest, count = facts["forage/lot.spread"].rows[0]
    published = lots.log_spread_from_range(float(lowest), float(highest), int(count))
    weight, assurance = facts.value("forage/lot.spread_weight"), facts.value("forage/lot.assurance")
    bales = np.where(np.isnan(known.bales), facts.value("forage/lot.bales_assumed"), known.bales)
    single = np.where(np.isnan(known.seen), 0.0, known.cores)
    spread, freedom = lots.pooled_spread(known.squares, single, published, weight)
    bales = np.maximum(bales, known.cores)
    hottest = lots.hottest_credible(known.centre, known.cores, bales, spread, freedom, assurance, known.seen)
    never = _never(risk, table, every)
    every_bale = single >= known.bales  # each bale has its own number: nothing is left to reckon with
    hottest = np.where(every_bale, known.seen, hottest)
    suspect = np.where(hottest >= never, known.centre, np.nan)  # the others need no more cores
    more = lots.more_bales_to_core(suspect, never, known.cores, bales, spread, freedom, assurance)
    clear = lots.chance_none_hotter(known.centre, never, known.cores, bales, spread, freedom)
    clear = np.where(every_bale, (hottest < never).astype(np.float64), clear)
    return hottest, more, clear, never


def blend_is_safe(judgement: Judgement, asked: ArrayLike) -> Bools:
    """True where the share asked for is no more than the largest safe one and that is above 0."""
    wanted = np.asarray(asked, dtype=np.float64)
    wanted = np.where(np.isnan(wanted), judgement.share, wanted)
    return np.asarray((judgement.share > 0) & (wanted <= judgement.share + 1e-9) & (wanted > 0), dtype=bool)
