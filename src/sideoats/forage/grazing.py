"""Judging standing forage before it is grazed: prussic acid, nitrate and what nobody has said, as arrays by row.

What is not known is never taken for harmless. A wait that runs, a plant too short, a laboratory's result over its line
and a drought bar grazing; a frost, a rain, a drought or nitrogen that nobody spoke of leaves it to be asked.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.facts import Facts
from sideoats.forage import prussic, stock
from sideoats.forage.ahead import Ahead, ahead
from sideoats.forage.drought import by_place, drought_broke_by_place, frost_by_place, look_back
from sideoats.forage.grazed_nitrate import GrazedNitrate, dated, fresh_sample, grazed_nitrate, kept, speaks, torn
from sideoats.question import Context, Table

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]
_SMALL_GRAIN = ("small grains", "oats")
TOLD = {"frost": ("days_since_frost", "frost_date"), "drought_rain": ("days_since_rain", "rain_date")}


@dataclass(frozen=True)
class Judged:
    """What stands against grazing, and what is not known, (n,) each.

    Attributes
    ----------
    standing : the rules of height, frost, new shoots and rain
    groups, risk : height group and prussic acid risk of the species, in words
    frost_age, rain_age : days since; NaN where none was told or seen
    height, shoots : [in] of the growth and of new shoots; NaN where not known or not possible
    shooting : new shoots or regrowth stand
    nitrate_left : days of the wait after rain that ended a drought
    toxic : a prussic acid result of these days is over a line; acid_unread : one cannot be read
    acid_again : an older one was over a line, or a part of a slip is told without its number
    ladders : publisher -> prussic acid class
    nitrate : of the forage
    drought : a sorghum in drought, not cleared by both laboratory results
    horses : the sorghum family and horses; others : animals for which no line on file is published
    unnamed : the sorghum family, and nobody says what would eat it
    small_grain : growing small grain, whose tetany and bloat are asked elsewhere; bloat_alone : no cows
    frozen : no frost is told of it at a time when frost has come everywhere
    preset : whose heights and waits
    frost_untold, rain_untold : nobody has said, and no station's record tells
    frost_misdated, rain_misdated : one dated before this growth stood
    ahead : what comes; coming : frost in sight of a species that carries prussic acid, and it is not winter yet
    """

    standing: prussic.Standing
    groups: list[str]
    risk: list[str]
    frost_age: Floats
    rain_age: Floats
    height: Floats
    shoots: Floats
    shooting: Bools
    nitrate_left: Floats
    toxic: Bools
    acid_unread: Bools
    acid_again: Bools
    ladders: dict[str, Ints]
    nitrate: GrazedNitrate
    drought: Bools
    horses: Bools
    others: Bools
    unnamed: Bools
    small_grain: Bools
    bloat_alone: Bools
    frozen: Bools
    preset: str
    frost_untold: Bools
    rain_untold: Bools
    frost_misdated: Bools
    rain_misdated: Bools
    ahead: Ahead
    coming: Bools

    @property
    def risky(self) -> Bools:
        """Species that carry prussic acid."""
        return np.array([g != "none" for g in self.groups], dtype=bool)

    @property
    def days(self) -> Floats:
        """Days until every wait has run."""
        return np.fmax(np.nan_to_num(self.standing.days_left), self.nitrate_left)


def possible_height(facts: Facts, species: Sequence[Any], inches: Floats) -> Floats:
    """(n,) the heights [in] that the species can reach; NaN for one that was told in feet, or is of another plant."""
    most = dict(facts["forage/standing.tallest"].rows)
    tallest = np.array([float(most.get(str(s), max(most.values()))) for s in species], dtype=np.float64)
    return np.where(inches <= tallest, inches, np.nan)


def ages(table: Table, context: Context) -> dict[str, tuple[Floats, Bools]]:
    """Flag -> days since that frost or drought-breaking rain (told, else of the record), and misdated rows."""
    facts, on, records = context.facts, context.on, context.outlook.records
    threshold = (facts.value("forage/prussic.frost") - 32) / 1.8
    back = look_back(facts)
    stations = table.text("station")
    seen = (
        frost_by_place(stations, records, on, threshold, back),
        drought_broke_by_place(stations, records, on, facts, back),
    )
    out = {}
    for (flag, (days, day)), found in zip(TOLD.items(), seen, strict=True):
        told = np.fmin(table.number(days), -table.days_until(day, on))
        before = told > speaks(facts)[1]
        told = np.where(before, np.nan, told)
        told = np.where(table.flag(flag) & np.isnan(told), 0.0, told)
        # a day ahead of today is a slip or a forecast: the wait is counted from today, never from further on
        out[flag] = (np.maximum(np.fmin(told, found), 0.0), before)
    return out


def _untold(table: Table, context: Context, flag: str, age: Floats, variable: str, days: float) -> Bools:
    """True where nobody said whether it came and the station's record lacks any of the last `days` days."""
    records, on = context.outlook.records, context.on

    def lacking(station: str) -> float:
        return records[station].lacking((variable,), on, int(days)) if station in records else np.nan

    told = table.known(flag) | ~np.isnan(age)
    return np.asarray(~told & ~(by_place(table.text("station"), lacking) == 0))


def shoots_seen(table: Table) -> tuple[Bools, Bools]:
    """New shoots or regrowth stand; and whether anybody looked for them."""
    measured = table.known("shoot_height")
    return table.flag("new_shoots") | measured, table.known("new_shoots") | measured


def _classed(table: Table, context: Context) -> tuple[Bools, Bools, dict[str, Ints]]:
    """Rows whose prussic acid result can be read, those of them that are over a line, and the class by ladder."""
    value, basis, moisture = table.number("hcn"), table.text("hcn_basis"), table.number("moisture")
    known = ~np.isnan(value)
    usable = known & np.array([b in prussic.BASES for b in basis], dtype=bool) & fresh_sample(context.facts, moisture)
    toxic = np.zeros(len(table), dtype=bool)
    classes: dict[str, Ints] = {}
    dry_part = np.where(usable, 1 - moisture, 1.0)
    wet = np.array([b == "wet" for b in basis], dtype=bool)
    as_wet = np.where(wet, value, value * dry_part)
    as_dry = np.where(wet, value / dry_part, value)
    for name, fact in context.facts.under("forage/prussic_class").items():
        ladder = prussic.Ladder.of(fact)
        classes[name] = ladder.classify(np.where(usable, as_wet if ladder.basis == "wet" else as_dry, np.nan))
        toxic = toxic | (classes[name] > 0)
    return usable, toxic, classes


def preset_of(table: Table, facts: Facts) -> tuple[str, prussic.Preset]:
    """The heights and waits of the district, or those asked for this once."""
    given = [p for p in table.text("preset") if p]
    name, fact = facts.choose("forage/prussic_preset", given[0] if given and len(table) == 1 else None)
    return name, prussic.Preset.of(fact)


def judge(table: Table, context: Context) -> Judged:
    """Apply every rule to every row."""
    facts = context.facts
    name, preset = preset_of(table, facts)
    rows = {r[0]: (str(r[1]), str(r[2])) for r in facts["forage/prussic.species"].rows}
    species = [str(s) for s in table.text("species")]
    groups = [rows.get(s, ("", "none"))[1] for s in species]
    risky = np.array([g != "none" for g in groups], dtype=bool)
    (frost, frost_misdated), (rain, rain_misdated) = ages(table, context).values()
    height = possible_height(facts, species, table.number("height"))
    shoots = possible_height(facts, species, table.number("shoot_height"))
    standing = prussic.standing_forage(groups, preset, height, frost, rain, shoots_seen(table)[0], shoots)
    waits = facts.under("forage/rain_wait")
    wait = max(f.high for f in waits.values()) if name == "cautious" else waits["wisconsin"].high
    accumulates = table.known("species")  # every species on the list is named as an accumulator
    nitrate_left = np.where(accumulates & ~np.isnan(rain), np.maximum(wait - rain, 0.0), 0.0)
    readable, toxic, ladders = _classed(table, context)
    now, known = kept(table, context, "hcn"), table.known("hcn")
    found = grazed_nitrate(table, context, accumulates)
    animals = [str(c) for c in table.text("class")]
    beasts = np.array([a in stock.NOT_CATTLE for a in animals], dtype=bool)
    horses = np.array([a == "horse" for a in animals], dtype=bool) & risky
    comes = ahead(table, context)
    denied = table.known("frost") & ~table.flag("frost") & np.isnan(frost)
    frost_waits = (*preset.frost_wait.values(), *preset.new_shoot_wait.values())
    return Judged(
        standing,
        groups,
        [rows.get(s, ("none known", "none"))[0] for s in species],
        frost,
        rain,
        height,
        shoots,
        shoots_seen(table)[0],
        nitrate_left,
        toxic=toxic & now,
        acid_unread=known & ~readable,
        acid_again=(toxic & ~now) | torn(table, "hcn", "hcn_basis", "moisture"),
        ladders=ladders,
        nitrate=found,
        drought=risky & found.stressed & ~(readable & ~toxic & dated(table, context, "hcn") & found.low),
        horses=horses,
        others=beasts & ~horses,
        unnamed=risky & np.isin(np.array(animals, dtype=object), ("", "unknown")),
        small_grain=np.isin(np.array(species, dtype=object), _SMALL_GRAIN),
        bloat_alone=np.isin(np.array(animals, dtype=object), stock.NO_COWS),
        frozen=risky & denied & context.region.holds("frosted", context.on),
        preset=name,
        frost_untold=risky & _untold(table, context, "frost", frost, "tmin", max(frost_waits)),
        rain_untold=accumulates
        & _untold(table, context, "drought_rain", rain, "rain", max(wait, *preset.rain_wait.values())),
        ahead=comes,
        coming=risky & ~np.isnan(comes.frost) & (not context.region.holds("frozen", context.on)),
        frost_misdated=frost_misdated,
        rain_misdated=rain_misdated,
    )
