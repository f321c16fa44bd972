"""What the nitrogen questions share: fields, the price of a pound, what the soil may hold."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.errors import InputError
from sideoats.question import Context, Table
from sideoats.schema import Field
from sideoats.wheat.fertility import price_per_pound

Floats = NDArray[np.float64]
PRODUCTS = ("urea", "UAN 28", "UAN 32", "anhydrous ammonia")
PRICES = (
    Field("nitrogen_price", "number", "price of a pound of nitrogen", unit="USD/lb", low=0.05, high=5,
          example="0.60 USD/lb", found_in=("setting:price.nitrogen",)),
    Field("product", "choice", "product bought, with its price, instead", choices=PRODUCTS,
          found_in=("setting:nitrogen_product",)),
    Field("product_price", "number", "price of the product", unit="USD/ton", low=50, high=5000,
          example="560 USD/ton", found_in=("setting:price.nitrogen_product",)),
)  # fmt: skip
MATTER = Field("organic_matter", "number", "soil organic matter", unit="percent", low=0, high=20, example="1.8 %",
               found_in=("evidence:soil_test.organic_matter",))  # fmt: skip


def check_prices(question: str, values: dict[str, Any]) -> None:
    """Refuse a product without its price, a price without its product, and both ways at once."""
    pair = (values["product"] is not None, values["product_price"] is not None)
    if pair[0] != pair[1]:
        lacking = "product_price" if pair[0] else "product"
        raise InputError("is missing", where=f"{question} {lacking}", expected="product=urea product_price=560 USD/ton")
    if values["nitrogen_price"] is not None and pair[0]:
        raise InputError(
            "both a pound of nitrogen and a product are priced", where=question, expected="one of them",
        )  # fmt: skip


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
