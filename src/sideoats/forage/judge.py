"""Judging lots of hay for nitrate: everything between the laboratory's slips and the bars, as arrays.

No money enters here, so that none can talk a bar away.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sideoats.facts import Facts
from sideoats.forage import lots, nitrate, stock
from sideoats.forage.dilution import safe_share
from sideoats.forage.nitrate_tables import dilution_targets, lowest_edge, tables
from sideoats.forage.slips import Sample
from sideoats.records import dataclass

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
_KG_OF_LB = 0.45359237


@dataclass(frozen=True)
class Lots(Sample):
    """What is known of n lots, (n,) each: their sample, and

    Attributes
    ----------
    states : "baled", "standing" or "silage"
    bales : in the lot; NaN not known
    animals : class words
    weakened : hungry, sick, thin, unadapted
    low : [ppm NO3-N dry] of the low feed or mix of feeds; NaN none named
    water : [ppm NO3-N]; NaN not known
    air : [degF]; NaN takes the hottest column of the water table
    weight : [lb]; NaN takes the class's usual weight
    asked_share : share of the hot hay asked for; NaN the largest that is safe
    """

    states: Sequence[Any]
    bales: Floats
    animals: Sequence[Any]
    weakened: Bools
    low: Floats
    water: Floats
    air: Floats
    weight: Floats
    asked_share: Floats

    @property
    def every_bale(self) -> Bools:
        """Each bale that lies there has its own number."""
        return np.asarray((self.singles >= self.bales) & (self.cores >= self.bales))


@dataclass(frozen=True)
class Judgement:
    """What may be done with each lot, (n,) each; levels in ppm NO3-N of dry matter.

    Attributes
    ----------
    risk : of the animals, `stock.PLAIN` to `stock.PREGNANT`
    hottest : level that no bale exceeds, with the stated assurance
    drunk : what the water adds to the ration
    ruling, plain : what the tables allow for this class, and for animals not at special risk
    not_alone : the lot may not be the only feed of this class; the hazard bar
    not_at_all : the lot may not be fed to this class at any share
    over_bale : a bale tested alone is over the line from which this class gets none
    over_plain : the same for animals not at special risk
    tested_bale : a bale tested alone may not be the only feed, although the lot's mean may
    worse_bale : a lot that may not be the only feed has a tested bale of which the tables allow still less
    hot_bale : feeding bale by bale is barred because a bale may be over the line from which nothing is fed
    nearly : it may be so too, yet so few more cores would settle it that nobody sets out for them: not barred
    few : the sample is too small, or its size not stated, to stand for the lot
    lowest : the lot, its hottest tested bale and the water together stay in the lowest class of every table that binds
    unread_water : feed alone would pass, feed and water together do not
    share : largest safe share of ration dry matter, whole percent, safe to the hottest credible bale; 0 where none
    more_bales : to core before bale-by-bale feeding could be cleared, or the sample stands for the lot; NaN where
        coring would not do
    clear_chance : chance that no bale is over that line
    never : [ppm] the line from which nothing is fed to this class
    classes : publisher -> class index
    intake_lb : dry matter eaten [lb/day]
    """

    risk: NDArray[np.int8]
    hottest: Floats
    drunk: Floats
    ruling: nitrate.Ruling
    plain: nitrate.Ruling
    not_alone: Bools
    not_at_all: Bools
    over_bale: Bools
    over_plain: Bools
    tested_bale: Bools
    worse_bale: Bools
    hot_bale: Bools
    nearly: Bools
    few: Bools
    lowest: Bools
    unread_water: Bools
    share: Floats
    more_bales: Floats
    clear_chance: Floats
    never: Floats
    classes: dict[str, NDArray[np.int64]]
    intake_lb: Floats

    @property
    def at_risk(self) -> Bools:
        """The strictest of the tables that bind was used."""
        return np.asarray(self.risk > stock.PLAIN)

    @property
    def unsettled(self) -> Bools:
        """Rows where no class forbids the lot and yet some bale, tested or credible, keeps it from being cleared."""
        return (self.few | self.hot_bale | self.tested_bale) & ~self.not_alone & ~self.over_bale


def _never(risk: NDArray[np.int8], followed: nitrate.ClassTable, every: dict[str, nitrate.ClassTable]) -> Floats:
    plain = nitrate.last_line(followed, every.values()).never_line(stock.PLAIN)
    lines = [plain]
    for grade in range(stock.SENSITIVE, stock.PREGNANT + 1):
        lines.append(min(plain, *(t.never_line(grade) for t in every.values() if t.binds)))
    return np.array(lines)[risk]


def water_share(facts: Facts, known: Lots) -> tuple[Floats, Floats]:
    """What the water adds [ppm of ration dry matter] and the dry matter eaten [lb/day]."""
    usual = stock.by_class(facts["forage/body_weight"], known.animals, "weight")
    weight = np.where(np.isnan(known.weight), usual, known.weight)
    least = facts["forage/intake_share"].low  # least feed for the same water: the most nitrate a pound of feed
    intake = weight * least
    litres = stock.water_gallons(facts, known.animals, known.air) * nitrate.LITRES_OF_GALLON
    _, equivalent = nitrate.feed_plus_water(0.0, intake * _KG_OF_LB, known.water, litres)
    return equivalent, intake


def cores_needed(facts: Facts, bales: Floats, states: Sequence[Any]) -> Floats:
    """(n,) bales to core, or spots to cut, before a sample stands for the lot: the smaller of the two published counts.

    A lot whose size is not said needs the full protocol.
    """
    share, protocol = facts["forage/lot.cores_nitrate"].low, facts.value("forage/lot.cores_protocol")
    baled = np.fmin(np.ceil(share * bales - 1e-9), protocol)
    spots = facts["forage/lot.spots"].low
    return np.where(np.array([s == "baled" for s in states], dtype=bool), baled, spots)


def judge(known: Lots, facts: Facts, followed: str | None = None) -> Judgement:
    """Apply the tables, the water, the blend rule and the hottest credible bale to every lot.

    A bar here follows from evidence and published lines alone. An unknown level allows nothing.
    """
    table, every = tables(facts, followed)
    targets = dilution_targets(facts)
    risk = stock.risk_of(known.animals, known.weakened)
    hottest, more, clear, never = _bales(known, facts, risk, table, every)
    drunk, intake = water_share(facts, known)

    def ruled(level: Floats, at_risk: Any) -> nitrate.Ruling:
        return nitrate.rule(level, at_risk, table, every.values(), targets)

    ruling, whole = ruled(known.level, risk), ruled(known.level + drunk, risk)
    plain = ruled(known.level + drunk, stock.PLAIN)
    not_alone = ~(ruling.alone & whole.alone)
    over_bale = known.seen >= never
    over_plain = known.seen >= _never(np.zeros_like(risk), table, every)
    tested_bale = ~np.isnan(known.seen) & ~ruled(known.seen + drunk, risk).alone & ~not_alone & ~over_bale
    need = cores_needed(facts, known.bales, known.states)
    few = ~(known.stated & (known.cores >= need)) & ~np.isnan(known.level)
    more = np.where(few, np.fmax(more, need - np.where(known.stated, known.cores, 0.0)), more)
    lowest = np.fmax(known.level, known.seen) + drunk < lowest_edge(every.values())
    credible = hottest >= never
    suspect = ~not_alone & ~over_bale & credible & ~(lowest & ~few)
    nearly = suspect & ~few & (more < facts.value("forage/lot.least_trip"))
    hot_bale = suspect & ~nearly
    share = np.minimum(safe_share(hottest, known.low, ruling.ceiling, drunk), np.nan_to_num(ruling.share))
    # the feed to mix with must be under the ceiling itself, or less of the lot would be worse than more of it
    share = np.where(over_bale | (known.low + drunk >= ruling.ceiling * (1 - nitrate.ROUNDING)), 0.0, share)
    return Judgement(
        risk=risk,
        hottest=hottest,
        drunk=drunk,
        ruling=ruling,
        plain=plain,
        not_alone=not_alone,
        not_at_all=ruling.share <= 0,
        over_bale=over_bale,
        over_plain=over_plain,
        tested_bale=tested_bale,
        worse_bale=not_alone
        & ~over_bale
        & ~np.isnan(known.seen)
        & (ruled(known.seen + drunk, risk).share < ruling.share),
        hot_bale=hot_bale,
        nearly=nearly,
        few=few,
        lowest=lowest,
        unread_water=ruling.alone & ~whole.alone,
        share=np.floor(share * 100 + 1e-9) / 100,
        more_bales=more,
        clear_chance=clear,
        never=never,
        classes={name: t.classify(known.level) for name, t in every.items()},
        intake_lb=intake,
    )


def spread_of(known: Lots, facts: Facts) -> tuple[Floats, Floats, float]:
    """How bales spread about the middle of their lot: log spread, its degrees of freedom, and the assurance asked."""
    _, lowest, highest, count = facts["forage/lot.spread"].rows[0]
    published = lots.log_spread_from_range(float(lowest), float(highest), int(count))
    weight, assurance = map(float, facts["forage/lot.hottest"].column("amount"))
    alone = (known.apart, known.singles)
    return *lots.pooled_spread(known.squares, known.results, published, weight, alone), assurance


def _bales(
    known: Lots, facts: Facts, risk: NDArray[np.int8], table: nitrate.ClassTable, every: dict[str, nitrate.ClassTable]
) -> tuple[Floats, Floats, Floats, Floats]:
    spread, freedom, assurance = spread_of(known, facts)
    bales = np.where(np.isnan(known.bales), facts.value("forage/lot.bales_unsaid"), known.bales)
    bales = np.maximum(bales, known.cores)
    hottest = lots.hottest_credible(known.centre, known.cores, bales, spread, freedom, assurance, known.seen)
    never = _never(risk, table, every)
    every_bale = known.every_bale  # each bale has its own number: nothing is left to reckon with
    hottest = np.where(every_bale, np.fmax(known.seen, known.level), np.fmax(hottest, known.level))
    hottest = np.fmin(hottest, nitrate.PURE)
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
