"""What a price can be expected to be: ``ranges.toml``, for what is kept and for what is asked alike."""

from __future__ import annotations

import math
from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path
from typing import Any

from sideoats import shipped
from sideoats.crops import market_word


@lru_cache(maxsize=1)
def ranges() -> Mapping[str, Any]:
    """The file as it stands."""
    return shipped.tables("ranges", [Path(__file__).parent / "ranges.toml"])[0]


def prices_of(product: str) -> Mapping[str, Any]:
    """Unit -> (lowest, highest) price of a product as people name it; those of anything where it is not on file."""
    words = set(f"{product} {market_word(product)}".lower().replace(",", " ").split())
    tables: Mapping[str, Any] = ranges()["price"]
    return next((t for t in tables.values() if words & set(t["words"])), tables["any"])


def price_span(product: str, unit: str) -> tuple[float, float]:
    """Lowest and highest price that the product has had in that unit; no bounds where none are on file."""
    low, high = prices_of(product).get(unit) or ranges()["price"]["any"].get(unit, (-math.inf, math.inf))
    return float(low), float(high)
