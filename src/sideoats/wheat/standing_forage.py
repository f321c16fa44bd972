"""Wheat forage that stands and grows, as draws: what turning on and stocking both rest on."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sideoats.question import Context, Table
from sideoats.wheat.days import spring_close

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
FACTS = "wheat/grazing."
WINTER, SPRING = (f"cattle/wheat_pasture.stocking.{season}" for season in ("winter", "spring"))


@dataclass(frozen=True)
class Forage:
    """Dry matter standing and its growth a day (place, draw) [lb/ac]; the least to go on at, and what is left.

    `harvested` and `intake` (draw,) are the share of what disappears that is eaten, and what cattle eat a day as a
    share of live weight.
    """

    standing: Floats
    growth: Floats
    least: float
    left: float
    harvested: Floats
    intake: Floats

    def after(self, days: Floats) -> Floats:
        """(place, day) forage expected after so many ungrazed days [lb/ac]."""
        return np.asarray(self.standing.mean(axis=1)[:, None] + self.growth.mean(axis=1)[:, None] * days)


def forage_of(table: Table, context: Context) -> Forage:
    """As clipped, else judged by height; growth as given, else the common range."""
    facts, out = context.facts, context.outlook
    standing = table.number("forage")[:, None] + np.zeros((1, out.draws))
    if np.isnan(standing).any():
        density = out.between("wheat density", *facts.span(FACTS + "height_density"))
        standing = np.where(np.isnan(standing), table.number("height")[:, None] * density, standing)
    growth = table.number("growth")[:, None] + np.zeros((1, out.draws))
    if np.isnan(growth).any():
        growth = np.where(np.isnan(growth), out.between("wheat growth", *facts.span(FACTS + "growth")), growth)
    return Forage(
        standing,
        growth,
        facts.value(FACTS + "turn_on_forage"),
        facts.value(FACTS + "leave_standing"),
        out.between("forage harvested", *facts.span(FACTS + "harvested")),
        out.between("intake", *facts.span(FACTS + "intake")),
    )


def needs_of(table: Table, forage: Forage) -> dict[str, Bools]:
    """What the money cannot do without."""
    return {
        "wheat_check.forage": np.isnan(forage.standing[:, 0]),
        "place.weight": ~table.known("weight"),
        "setting:value_of_gain": ~table.known("value_of_gain"),
    }


def published_most(table: Table, context: Context, stem: str) -> tuple[Floats, Bools]:
    """(place,) most live weight that is published for the season [lb/ac], and True before first hollow stem.

    `stem` names the field with the day of first hollow stem.
    """
    winter = np.asarray(spring_close(table, context, stem) > 0)
    return np.where(winter, context.facts.span(WINTER)[1], context.facts.span(SPRING)[1]), winter
