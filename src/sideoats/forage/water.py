"""Stock water judged by class and by what is drunk in the month: nitrate, sulfate with the feed's sulfur, salts, algae.

Arrays by row; what is not known is cleared by nobody's silence, but dissolved solids bound what is dissolved: water
with little salt holds little of any ion.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sideoats.facts import Facts
from sideoats.forage import minerals, nitrate, stock
from sideoats.forage.nitrate_tables import water_lines
from sideoats.question import Context, Table

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
_KG_OF_LB = 0.45359237
_PERCENT = 100.0
_COLUMN = {"open-cow": "dry", "bull": "dry", "growing": "growing", "finishing": "growing", "calf": "young"}


@dataclass(frozen=True)
class Water:
    """What is known of each water, (n,) each; ppm is mg/L.

    Attributes
    ----------
    nitrogen, sulfate, salts : [ppm] NO3-N, SO4, total dissolved solids; NaN not known
    gallons : drunk a head and day; intake_kg : dry matter eaten
    as_feed : what the nitrate drunk would be in the feed [ppm NO3-N dry]
    feed, added, total : sulfur of the feed (as told, else as tabled), of the water, of both [% of dry matter]
    told : the feed's sulfur was told
    ceiling : of sulfur in the ration [%]; on_grain : the lower one, for cattle on grain, or of unknown class
    recommended : [ppm] sulfate to be under
    little : dissolved solids so few that sulfate is under every line, were all of them sulfate
    salt_rule : "pass", "watch" or "none" for that class; label : the publisher's word
    age : days since the sample; NaN not known; keeps : days for which it speaks
    """

    nitrogen: Floats
    sulfate: Floats
    salts: Floats
    gallons: Floats
    intake_kg: Floats
    as_feed: Floats
    feed: Floats
    added: Floats
    total: Floats
    told: Bools
    ceiling: Floats
    on_grain: Bools
    recommended: Floats
    little: Bools
    salt_rule: NDArray[np.object_]
    label: NDArray[np.object_]
    age: Floats
    keeps: Floats

    @property
    def sulfur_over(self) -> Bools:
        """Over the ceiling with the feed's own sulfur, or with none at all."""
        return np.asarray(np.where(self.told, self.total, self.added) >= self.ceiling - 1e-9)

    @property
    def sulfur_open(self) -> Bools:
        """Over it with feed as tabled: the feed's own sulfur decides."""
        return np.asarray(~self.told & (self.total >= self.ceiling - 1e-9) & ~self.sulfur_over)


def stock_water(table: Table, context: Context) -> Water:
    """Every row read against the published lines."""
    facts, n = context.facts, len(table)
    animals = [str(a) or "unknown" for a in table.text("class")]
    form = np.array([str(f) if f else "NO3-N" for f in table.text("nitrate_form")], dtype=object)
    nitrogen = nitrate.nitrate_nitrogen_dry(table.number("nitrate"), form=form, basis="dry")
    air = stock.drinking_air(facts, context.region, context.on, table.number("air"))
    gallons = stock.water_gallons(facts, animals, air)
    litres = gallons * nitrate.LITRES_OF_GALLON
    book = stock.by_class(facts["forage/body_weight"], animals, "weight")
    intake = (
        np.where(table.known("weight"), table.number("weight"), book) * facts["forage/intake_share"].low * _KG_OF_LB
    )
    _, as_feed = nitrate.feed_plus_water(0.0, intake, nitrogen, litres)
    sulfate, salts = table.number("sulfate"), table.number("salts")
    added = minerals.sulfur_from_water(np.nan_to_num(sulfate), litres, intake)
    most = minerals.sulfur_from_water(np.nan_to_num(salts, nan=np.inf), litres, intake)  # were all salts sulfate
    told = table.known("feed_sulfur")
    feed = np.where(told, _PERCENT * table.number("feed_sulfur"), facts.value("forage/water.feed_sulfur"))
    # cattle in a pen eat grain unless somebody says that they do not; of unknown ones nobody knows
    pen = np.array([a in ("finishing", "unknown") for a in animals])
    grain = np.where(table.known("grain_fed"), table.flag("grain_fed"), pen)
    low, high = facts.value("forage/sulfur.feedlot"), facts.value("forage/sulfur.older")
    line = {str(k): float(v) for k, v in facts["forage/water.sulfate_recommended"].rows}
    young = np.array([a in ("calf", "unknown") for a in animals])
    rule, label = _salts(facts, animals, salts)
    days = {str(k): float(v) for k, v in facts["forage/water.sample_days"].rows}
    source = table.text("source")
    told_age = -table.days_until("tested", context.on)
    filed = table.ages.get("salts", np.full(n, np.nan))
    return Water(
        nitrogen,
        sulfate,
        salts,
        gallons,
        intake,
        as_feed,
        feed,
        added,
        feed + added,
        told,
        np.where(grain, low, high),
        np.asarray(grain, dtype=bool),
        np.where(young, line["calf"], line["adult"]),
        (salts < np.where(young, line["calf"], line["adult"])) & (feed + most < np.where(grain, low, high)),
        rule,
        label,
        np.fmax(np.where(filed > 0, filed, np.nan), np.where(told_age < 0, np.nan, told_age)),
        np.array([days.get(str(s), min(days.values())) for s in source]),
    )


def _salts(facts: Facts, animals: list[str], salts: Floats) -> tuple[NDArray[np.object_], NDArray[np.object_]]:
    fact = facts["forage/water.salts"]
    bounds = np.array(fact.column("from"), dtype=np.float64)
    at = np.maximum(np.searchsorted(bounds, np.nan_to_num(salts), side="right") - 1, 0)
    rule = [str(fact.column(_COLUMN.get(a, "at_risk"))[i]) for a, i in zip(animals, at, strict=True)]
    label = np.array(fact.column("label"), dtype=object)[at]
    unknown = np.isnan(salts)
    return np.where(unknown, "", np.array(rule, dtype=object)), np.where(unknown, "", label)


def little_nitrate(facts: Facts, water: Water) -> Bools:
    """Rows whose dissolved solids are under the line of nitrate, were all of them nitrate."""
    caution, _ = water_lines(facts)
    return np.asarray(water.salts < caution * nitrate.ion_factor("NO3-N", "NO3"))
