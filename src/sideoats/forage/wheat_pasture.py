"""Wheat pasture and the animals on it: tetany by the forage's minerals and the magnesium they eat, bloat by growth,
weather and fill. Arrays by row; what is not known is cleared by nobody's silence.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.facts import Facts
from sideoats.forage import minerals, stock
from sideoats.forage.grazed_nitrate import GrazedNitrate, dated, grazed_nitrate, sample_age
from sideoats.question import Context, Table

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
TESTED = ("potassium", "calcium", "magnesium", "protein")
_COWS = frozenset({"pregnant-cow", "pregnant-heifer", "lactating-cow", "open-cow", "unknown", ""})
_NURSING = frozenset({"lactating-cow", "unknown", ""})
_NITROGEN_OF_PROTEIN = 6.25  # grams of crude protein in a gram of nitrogen, the definition of crude protein
_GRAMS_A_PERCENT = 10.0 * 0.45359237  # grams in a pound of dry matter at 1 %


@dataclass(frozen=True)
class WheatPasture:
    """What is known of each pasture, (n,) each.

    Attributes
    ----------
    grazers : cattle, sheep and goats; cows : of them, those that tetany takes
    percent : K, Ca, Mg and protein of dry matter [%], NaN not known or not possible; slipped : the latter
    ratio : K / (Ca + Mg) in milliequivalents
    over_ratio, low_magnesium, pair : the published lines that are crossed
    pair_open : potassium is over its line and the protein that decides is not known
    tested : K, Ca and Mg are known, of a sample of these days; undated : known, and nobody says of which day
    spared : a dry, open cow on wheat of which somebody says that it is not lush and no front is about: not asked for a
        test
    offered : a magnesium mineral is eaten; unmeasured : and nobody says how much magnesium that is
    eaten : [g/day] of magnesium from the mineral, all : with the forage, need : of a cow of that class
    least : [g/day] that the mineral itself has to give, whatever the wheat holds
    lush, front, full, hungry : as told
    on : cattle went on before today, by the day of turnout
    nitrate : of the forage
    """

    grazers: Bools
    cows: Bools
    percent: dict[str, Floats]
    slipped: dict[str, Bools]
    ratio: Floats
    over_ratio: Bools
    low_magnesium: Bools
    pair: Bools
    pair_open: Bools
    tested: Bools
    undated: Bools
    spared: Bools
    offered: Bools
    unmeasured: Bools
    eaten: Floats
    all: Floats
    need: Floats
    least: float
    lush: Bools
    front: Bools
    full: Bools
    hungry: Bools
    on: Bools
    nitrate: GrazedNitrate

    @property
    def lines(self) -> Bools:
        """Cows on forage over a published line of tetany."""
        return self.cows & (self.over_ratio | self.low_magnesium | self.pair)

    @property
    def short(self) -> Bools:
        """A mineral is eaten, and alone or with the forage it does not make the magnesium that a cow needs."""
        return self.offered & ~self.unmeasured & (self.under_need | ~(self.eaten >= self.least * (1 - 1e-9)))

    @property
    def under_need(self) -> Bools:
        """With the forage it is less than a cow needs."""
        return np.asarray(~(self.all >= self.need * (1 - 1e-9)))

    @property
    def covered(self) -> Bools:
        """A mineral is eaten that makes it."""
        return self.offered & ~self.unmeasured & ~self.short

    @property
    def bloats(self) -> Bools:
        """Growth or weather that bloats."""
        return self.grazers & (self.lush | self.front)

    @property
    def before_front(self) -> Bools:
        """A front is about, and nobody says that they are on already: the change of weather is when turned-out cattle
        bloat."""
        return self.grazers & self.front & ~self.on


def slipped(facts: Facts, name: str, share: Any) -> tuple[Bools, float, float]:
    """True where a share of dry matter is outside what wheat pasture can hold, and the bounds [%]."""
    low, high = {str(r[0]): (float(r[1]), float(r[2])) for r in facts["forage/tetany.plausible"].rows}[name]
    percent = 100 * np.asarray(share, dtype=np.float64)
    return (percent < low * (1 - 1e-9)) | (percent > high * (1 + 1e-9)), low, high


def wheat_pasture(table: Table, context: Context) -> WheatPasture:
    """Read every row against the published lines."""
    facts = context.facts
    animals = [str(c) for c in table.text("class")]
    grazers = np.array([a != "horse" for a in animals], dtype=bool)
    cows = np.array([a in _COWS for a in animals], dtype=bool)
    shares = {name: table.number(name) for name in TESTED}
    wrong = {name: slipped(facts, name, share)[0] for name, share in shares.items()}
    # a figure that cannot be clears nothing: it counts as not tested
    percent = {name: 100 * np.where(wrong[name], np.nan, share) for name, share in shares.items()}
    k, ca, mg, crude = percent.values()
    swapped = mg > ca  # wheat holds more calcium than magnesium: two figures were read out in the wrong order
    wrong["magnesium"] = wrong["magnesium"] | swapped
    found = ~np.isnan(k) & ~np.isnan(ca) & ~np.isnan(mg) & ~swapped
    nitrogen, ratio = crude / _NITROGEN_OF_PROTEIN, minerals.tetany_ratio(k, ca, mg)
    much = minerals.over_level(k, facts.value("forage/tetany.potassium"))
    least = facts["forage/tetany.magnesium"].column("from")[1]
    offered, unmeasured, eaten = _mineral(table)
    fresh = dated(table, context, "magnesium")
    return WheatPasture(
        grazers,
        cows,
        percent,
        wrong,
        ratio,
        over_ratio=minerals.over_level(ratio, facts.value("forage/tetany.ratio")),
        low_magnesium=np.nan_to_num(np.where(swapped, ca, mg), nan=np.inf) < least * (1 - 1e-9),
        pair=much & minerals.over_level(nitrogen, facts.value("forage/tetany.nitrogen")),
        pair_open=much & np.isnan(nitrogen),
        tested=found & fresh,
        spared=np.array([a == "open-cow" for a in animals], dtype=bool)
        & _denied(table, "lush")
        & _denied(table, "front"),
        undated=found & np.isnan(sample_age(table, context, "magnesium")),
        offered=offered,
        unmeasured=unmeasured,
        eaten=eaten,
        # magnesium of an old sample, or of a day that nobody says, is none of this wheat's
        all=np.nan_to_num(eaten) + _grazed(table, facts, np.where(fresh, mg, np.nan)),
        need=_need(facts, animals),
        least=facts.value("forage/tetany.mineral.least"),
        lush=table.flag("lush"),
        front=table.flag("front"),
        full=table.flag("hay_first"),
        hungry=table.flag("hungry"),
        on=table.days_until("turnout", context.on) < 0,
        nitrate=grazed_nitrate(table, context, grazers),
    )


def _denied(table: Table, flag: str) -> Bools:
    """Somebody said no."""
    return np.asarray(table.known(flag) & ~table.flag(flag))


def _mineral(table: Table) -> tuple[Bools, Bools, Floats]:
    """A magnesium mineral is eaten; nobody says how much magnesium that is; its magnesium [g/day]."""
    eaten = minerals.magnesium_supplied(table.number("mineral_eaten"), 100 * table.number("mineral_magnesium"))
    offered = (table.flag("mineral") | (eaten > 0)) & ~_denied(table, "mineral")
    return offered, offered & np.isnan(eaten), np.where(offered, eaten, np.nan)


def _grazed(table: Table, facts: Facts, percent: Floats) -> Floats:
    """Magnesium of the forage that a cow eats [g/day]; untested, the least that wheat can hold."""
    usual = stock.by_class(facts["forage/body_weight"], list(table.text("class")), "weight")
    weight = np.where(table.known("weight"), table.number("weight"), usual)
    least = slipped(facts, "magnesium", 0.0)[1]
    held = np.where(np.isnan(percent), least, percent)
    return np.asarray(weight * facts["forage/intake_share"].low * held * _GRAMS_A_PERCENT, dtype=np.float64)


def _need(facts: Facts, animals: list[str]) -> Floats:
    """Magnesium that a cow needs [g/day]: nursing or not named, the low end; dry, who may calve there, the high."""
    nursing, dry = (facts[f"forage/tetany.magnesium_need.{kind}"] for kind in ("lactating", "dry"))
    return np.array([nursing.low if a in _NURSING else dry.high for a in animals], dtype=np.float64)
