"""Figures that a person is asked about before they are kept: ``vocabulary/ranges.toml`` says what can be expected.

Possible and likely are two things: a price of 545 USD/bu is a number in the right unit, and a slip. Such a figure is
kept only in an entry that says ``sure=yes``, so that whoever reads it later knows that it was looked at twice.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Iterable, Mapping
from datetime import date
from typing import Any

from sideoats import units
from sideoats.errors import InputError
from sideoats.vocabulary.likely import price_span, prices_of, ranges

_PRICES = {"place": ("price",), "quote": ("price", "low", "high")}
_PRODUCT = {"place": "crop", "quote": "commodity"}
_EARTH_KM = 6371.0
CONFIRM = "check it; if it is right, add sure=yes"
Position = tuple[float, float]


def require_likely_prices(kind: str, body: Mapping[str, Any]) -> None:
    """Refuse a price that its product has not had. Raises InputError; nothing where the body says that it is sure."""
    if body.get("sure") or kind not in _PRICES:
        return
    product = str(body.get(_PRODUCT[kind]) or "")
    for name in _PRICES[kind]:
        if name in body:
            _require_likely(str(body[name]), product, f"{kind} {name}")


def _require_likely(price: str, product: str, where: str) -> None:
    value, unit = units.split(price)
    table = prices_of(product)
    low, high = price_span(product, unit)
    if low <= value <= high:
        return
    of = f" for {product}" if product and table is not ranges()["price"]["any"] else ""
    raise InputError(
        f"{value:g} {unit} is no price{of} that has been seen",
        where=where,
        expected=f"{low:g} to {high:g} {unit}",
        todo=_other_unit(value, unit, table) + CONFIRM,
    )


_NEAR_DAYS, _NEAR_QUOTES = 200, 5
SLIP = 3.0  # a decimal misplaced is tenfold; no price of the trade has tripled, or fallen to a third, in half a year


def require_steady(day: date, price: str, others: Iterable[tuple[date, str]]) -> None:
    """Refuse a price far off those quoted near its day. Raises InputError; nothing where none of its unit is near.

    Parameters
    ----------
    others : (day, price) of the same market and commodity, in any order
    """
    value, unit = units.split(price)
    near: list[tuple[int, float, date]] = []
    for when, text in others:
        apart = abs((when - day).days)
        try:
            if apart <= _NEAR_DAYS:
                near.append((apart, units.parse(text, unit), when))
        except InputError:
            continue  # quoted by the head, or by the acre
    nearest = sorted(near)[:_NEAR_QUOTES]
    if not nearest:
        return
    usual = statistics.median(quoted for _, quoted, _ in nearest)
    if usual / SLIP <= value <= usual * SLIP:
        return
    raise InputError(
        f"{value:g} {unit} is far from {usual:g} {unit}, quoted near {nearest[0][2]}",
        where="quote price",
        todo="was a decimal misplaced? " + CONFIRM,
    )


def _other_unit(value: float, unit: str, table: Mapping[str, Any]) -> str:
    """The unit in which the same number would be a price, as a hint."""
    units_of = [u for u in table if u != "words" and u != unit]
    likely = [u for u in units_of if table[u][0] <= value <= table[u][1]]
    cents = unit.replace("USD", "cents")
    low, high = table.get(unit, (math.inf, -math.inf))
    if low <= units.parse(f"{value!r} {cents}", unit) <= high:
        likely.insert(0, cents)
    return f"was it {value:g} {likely[0]}? " if likely else ""


def position(body: Mapping[str, Any]) -> Position | None:
    """(latitude, longitude) of a described place: its own, or the first corner of its outline."""
    at = body.get("latitude"), body.get("longitude")
    if all(isinstance(x, int | float) for x in at):
        return float(at[0]), float(at[1])  # type: ignore[arg-type]
    corner = (body.get("outline") or {}).get("coordinates")
    while isinstance(corner, list | tuple) and corner and isinstance(corner[0], list | tuple):
        corner = corner[0]
    if isinstance(corner, list | tuple) and len(corner) >= 2 and all(isinstance(x, int | float) for x in corner[:2]):
        return float(corner[1]), float(corner[0])
    return None


def require_near(kind: str, at: Position, others: Iterable[Position]) -> None:
    """Refuse a place that lies far from every place on file. Raises InputError with the slip that would explain it."""
    known = list(others)
    far = ranges()["far"].get(kind, ranges()["far"]["any"])
    if not known or _nearest_km(at, known) <= far:
        return
    latitude, longitude = at
    slips = {"longitude": (latitude, -longitude), "latitude and longitude": (longitude, latitude)}
    meant = next((f"is the {k} {a:g}, {b:g}? " for k, (a, b) in slips.items() if _nearest_km((a, b), known) <= far), "")
    raise InputError(
        f"{latitude:g}, {longitude:g} is {_nearest_km(at, known):,.0f} km from the nearest place on file",
        where="place latitude, longitude",
        expected="degrees north and east (west is negative) near the other places",
        todo=meant + CONFIRM,
    )


def _nearest_km(at: Position, known: Iterable[Position]) -> float:
    """Great-circle distance [km] to the nearest, on a sphere."""
    return min(_apart_km(at, other) for other in known)


def _apart_km(a: Position, b: Position) -> float:
    (lat_a, lon_a), (lat_b, lon_b) = ((math.radians(x), math.radians(y)) for x, y in (a, b))
    half = math.sin((lat_b - lat_a) / 2) ** 2 + math.cos(lat_a) * math.cos(lat_b) * math.sin((lon_b - lon_a) / 2) ** 2
    return 2 * _EARTH_KM * math.asin(math.sqrt(min(half, 1.0)))
