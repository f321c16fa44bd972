"""What the nitrogen questions share: fields, the price of a pound, what the soil may hold."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.errors import InputError
from sideoats.question import Context, Table
from sideoats.vocabulary import see
from sideoats.wheat import nitrogen
from sideoats.wheat.fertility import price_per_pound

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
PRICES = (
    see("asked.nitrogen_price", name="nitrogen_price"),
    see("asked.nitrogen_product", name="product"),
    see("asked.nitrogen_product_price", name="product_price"),
)
MATTER = see("soil_test.organic_matter")


def check_prices(question: str, values: dict[str, Any]) -> None:
    """Refuse a product without its price, a price without its product, and both ways at once."""
    pair = (values["product"] is not None, values["product_price"] is not None)
    if pair[0] != pair[1]:
        lacking = "product_price" if pair[0] else "product"
        raise InputError("is missing", where=f"{question} {lacking}", expected="product=urea product_price=560 USD/ton")
    if values["nitrogen_price"] is not None and pair[0]:
        raise InputError(
            "both a pound of nitrogen and a product are priced",
            where=question,
            expected="one of them",
        )


def nitrogen_price(table: Table, context: Context) -> Floats:
    """(place,) price of a pound of nitrogen [USD/lb]: as given, else from the product's price and analysis."""
    given = table.number("nitrogen_price")
    product = table.text("product")
    if not np.isnan(given).any() or not any(product):
        return given
    shares = {str(row[0]): float(row[1]) for row in context.facts["wheat/fertiliser.analysis"].rows}
    share = np.array([shares.get(str(p), np.nan) for p in product])
    return np.where(np.isnan(given), price_per_pound(table.number("product_price"), share), given)


def soil_prior(table: Table, context: Context) -> Floats:
    """Profile nitrogen of an unsampled field (place, draw) [lb/ac], spread as trial sites were.

    Lognormal about the published mean and cut to the published range. The shape is a working assumption.
    """
    fact = context.facts["wheat/nitrogen.kansas.profile_found"]
    spread = context.facts.value("wheat/nitrogen.profile_log_spread")
    z = context.outlook.normal("profile nitrogen", table.keys)
    return np.clip(fact.mid * np.exp(spread * z - spread**2 / 2), fact.low, fact.high)


def profile(table: Table, context: Context) -> Floats:
    """(place,) nitrate-N to the Kansas depth [lb/ac]: as tested, or from ppm; NaN where neither is known."""
    found, ppm = table.number("profile_nitrogen"), table.number("nitrate_ppm")
    if np.isnan(ppm).all():
        return found
    depth = next(float(row[1]) for row in context.facts["wheat/soil.depth"].rows if row[0] == "nitrate")
    factor = context.facts.value("wheat/nitrogen.soil_nitrate_factor")
    return np.where(np.isnan(found), nitrogen.profile_nitrogen(ppm, depth, factor), found)


def publisher_of(table: Table, context: Context) -> NDArray[np.object_]:
    followed, _ = context.facts.choose("wheat/nitrogen")
    given = table.text("publisher")
    return np.array([str(g or followed).replace("-", "_") for g in given], dtype=object)


def recommended(table: Table, context: Context, publisher: NDArray[np.object_]) -> tuple[Floats, Bools]:
    """Each row by its own publisher; rows of one publisher together."""
    rate, between = np.full(len(table), np.nan), np.zeros(len(table), bool)
    price, tested = nitrogen_price(table, context), profile(table, context)
    for name in dict.fromkeys(publisher.tolist()):
        for kind, previous in {(c, p) for c, p in zip(table.text("wheat_class"), table.text("previous"), strict=True)}:
            here = (publisher == name) & (table.text("wheat_class") == kind) & (table.text("previous") == previous)
            if not here.any():
                continue
            need = nitrogen.recommend(
                name,
                context.facts,
                yield_goal=table.number("yield")[here],
                organic_matter=table.number("organic_matter")[here],
                soil_nitrogen=(tested if name == "kansas" else table.number("profile_nitrogen"))[here],
                soil_ppm=table.number("nitrate_ppm")[here] if name == "nebraska" else np.nan,
                wheat_price=table.number("price")[here],
                nitrogen_price=price[here],
                wheat_class=kind,
                previous=previous,
                grazed=np.isin(table.text("purpose")[here].astype(str), ["dual", "graze-out"]),
            )
            rate[here], between[here] = need.rate, need.interpolated
    return rate, between
