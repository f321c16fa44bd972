"""The fields that a moth flight sends a scout to: of a crop it threatens, near its trap, and not looked at lately."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np

from sideoats.call import Call
from sideoats.facts import Facts
from sideoats.insects.planner import first_look_worth, road_hours
from sideoats.ledger import Place
from sideoats.question import find
from sideoats.week.district import District

_P, _C = "insects/planner.", "insects/counting."


@dataclass(frozen=True)
class FlightField:
    """Why a field is looked at after a flight: the traps' calls, the counts wanted, what the look is worth [USD]."""

    calls: tuple[Call, ...]
    count: tuple[str, ...]
    worth: float


def is_flight(call: Call) -> bool:
    """Whether a call says that a flight is on (and not merely that a trap wants reading)."""
    began = call.quantities.get("flight_began")
    return call.question == "trap-flight" and call.verdict == "look" and bool(began and began.value)


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


def flight_fields(
    flights: Iterable[Call], places: Mapping[str, Place], district: District, facts: Facts, farm: str | None = None
) -> dict[str, FlightField]:
    """Field id -> why it is looked at.

    Parameters
    ----------
    flights : calls for which `is_flight` holds
    places : places that may be shown, by id
    farm : only this farm's fields
    """
    threatened = {str(r[0]): (str(r[1]).split(", "), str(r[2])) for r in facts["insects/moth_flight.crops"].rows}
    found: dict[str, list[tuple[Call, tuple[str, ...]]]] = {}
    for call in flights:
        trap = places.get(call.place)
        crops, questions = threatened.get(str(trap.attributes.get("crop", "")) if trap else "", ([], ""))
        wanted = tuple(q for q in questions.split(", ") if q)
        for place in places.values():
            crop = str(place.attributes.get("crop", "")).lower()
            if not trap or place.kind != "field" or not any(c in crop.split() for c in crops):
                continue
            if farm in (None, place.farm) and _standing(place, district.on) and _near(trap, place, facts):
                found.setdefault(place.id, []).append((call, tuple(q for q in wanted if _asks(q, crop))))
    out = {}
    for name, sent in found.items():
        count = tuple(dict.fromkeys(q for _, questions in sent for q in questions))
        if not _looked_at(name, count, district, facts):
            out[name] = FlightField(tuple(c for c, _ in sent), count, _worth(places[name], facts))
    return out


def _asks(question: str, crop: str) -> bool:
    places = find(question).places
    return places is not None and crop in {c.lower() for c in places.crops}


def _standing(place: Place, on: date) -> bool:
    """Sown, as far as is known, and not yet harvested."""
    sown, cut = (str(place.attributes.get(k) or "") for k in ("planting_date", "harvest_date"))
    return (not sown or sown <= on.isoformat()) and (not cut or cut >= on.isoformat())


def _near(trap: Place, place: Place, facts: Facts) -> bool:
    """Within reach of the trap; a trap or field whose position is not known counts as near."""
    ends = np.array([position(trap), position(place)])
    if np.isnan(ends).any():
        return True
    straight = road_hours(ends[:, 0], ends[:, 1], speed=1.0, winding=1.0)[0, 1]
    return bool(straight <= facts.value(_P + "trap_reach"))


def _looked_at(name: str, questions: Iterable[str], district: District, facts: Facts) -> bool:
    """Whether a count that the questions ask for was taken there in the last few days."""
    kinds = {
        source.partition(":")[2].partition(".")[0]
        for q in questions
        for f in find(q).inputs
        for source in f.found_in
        if f.kind == "counts" and source.startswith("evidence:")
    }
    seen = [e for kind in kinds if (e := district.snapshot.evidence.get(kind, {}).get(name)) is not None]
    return any((district.on - e.seen_on).days <= facts.value(_P + "looked_within") for e in seen)


def _worth(place: Place, facts: Facts) -> float:
    """USD for the whole field."""
    acres: Any = place.attributes.get("acres")
    size = float(acres) if isinstance(acres, int | float) else facts.value(_C + "usual_acres")
    over, excess = facts.value(_P + "over_after_flight"), facts.value(_P + "excess_over")
    return first_look_worth(over, excess, facts.value("insects/treatment.usual_cost")) * size
