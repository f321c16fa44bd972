"""Where a place lies, and whether its crop stands."""

from __future__ import annotations

import math
from datetime import date
from typing import Any

import numpy as np

from sideoats.ledger import Place


def position(place: Place) -> tuple[float, float]:
    """(latitude, longitude) of a place: its own, or the middle of its outline's first ring; NaN where unknown."""
    at = place.attributes
    if isinstance(at.get("latitude"), int | float) and isinstance(at.get("longitude"), int | float):
        return float(at["latitude"]), float(at["longitude"])
    outline = at.get("outline") or {}
    try:
        ring: Any = outline["coordinates"][0]
        ring = ring[0] if outline["type"] == "MultiPolygon" else ring
        corners = np.array(ring, dtype=float)[:-1, :2]
        return float(corners[:, 1].mean()), float(corners[:, 0].mean())
    except (KeyError, IndexError, TypeError, ValueError):
        return math.nan, math.nan


def standing(place: Place, on: date) -> bool:
    """Sown, as far as is known, and not yet harvested."""
    sown, cut = (str(place.attributes.get(k) or "") for k in ("planting_date", "harvest_date"))
    return (not sown or sown <= on.isoformat()) and (not cut or cut >= on.isoformat())
