"""What several wheat questions ask for, and what they take where nobody said."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.errors import InputError
from sideoats.facts import load
from sideoats.question import Context, Table
from sideoats.vocabulary import see

Floats = NDArray[np.float64]
CROPS = ("winter wheat",)

YIELD = see("asked.wheat_yield", name="yield")
PRICE = see("asked.wheat_price", name="price")
ACRES = see("place.acres")
STATION = see("place.station")
PLANTING = see("place.planting_date")
PURPOSE = see("place.purpose")
ROW_SPACING = see("place.row_spacing")
HARVEST_COST = see("asked.wheat_harvest_cost", name="harvest_cost")
HEAD = see("place.head")
STOCKING = see("asked.stocking")
WEIGHT = see("place.weight", example="520 lb")
GAIN = see("asked.wheat_gain", name="gain")
VALUE_OF_GAIN = see("asked.value_of_gain")
HAY = tuple(see(f"asked.wheat_{name}", name=name) for name in ("hay_yield", "hay_price", "hay_cost"))


def known_or(values: Floats, context: Context, fact: str) -> Floats:
    """Values with the fact's where they are not known; the fact is read only if it is needed."""
    if not np.isnan(values).any():
        return values
    return np.where(np.isnan(values), context.facts.value(fact), values)


def check_weight(values: dict[str, Any], where: str) -> None:
    """Refuse a weight [lb] that no animal on wheat has."""
    weight, (least, most) = values["weight"], load().span("wheat/grazing.weight_believed")
    if weight is not None and not least <= weight <= most:
        raise InputError(f"{weight:,.0f} lb is not the weight of cattle on wheat", where=f"{where} weight",
                         expected=f"{least:,.0f} to {most:,.0f} lb", todo="check the number and its unit")  # fmt: skip


def stocking(table: Table) -> Floats:
    """(place,) head an acre: as given, else head over acres."""
    given = table.number("stocking")
    return np.where(np.isnan(given), table.number("head") / table.number("acres"), given)


def harvest_cost(table: Table, context: Context) -> Floats:
    """(place,) cost by the bushel [USD/bu]: the grower's, else common practice."""
    return known_or(table.number("harvest_cost"), context, "wheat/grazing.harvest_cost")
