"""The fields that a moth flight sends a scout to: near its trap, at a stage it threatens, and not looked at lately.

A field's own stage decides where it is on file and fresh; else the region's window of the crop.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from sideoats.call import Call
from sideoats.crops import crop_of
from sideoats.facts import Facts
from sideoats.insects.planner import first_look_worth, road_hours
from sideoats.ledger import Place
from sideoats.question import find
from sideoats.ruling import known_size
from sideoats.week.district import District
from sideoats.week.spots import position, standing

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
    found: dict[str, list[tuple[Call, tuple[str, ...]]]] = {}
    for call in flights:
        trap = places.get(call.place)
        hosts = _hosts(crop_of(str(trap.attributes.get("crop", ""))) if trap else "", facts)
        for place in places.values():
            if not trap or place.kind != "field" or farm not in (None, place.farm):
                continue
            own = [host for host in hosts if host.threatens(place, district, facts)]
            if own and standing(place, district.on) and _near(trap, place, facts):
                crop = crop_of(str(place.attributes.get("crop", "")))
                found.setdefault(place.id, []).append((call, tuple(h.question for h in own if _asks(h.question, crop))))
    out = {}
    for name, sent in found.items():
        count = tuple(dict.fromkeys(q for _, questions in sent for q in questions))
        if not _looked_at(name, count, district, facts):
            out[name] = FlightField(tuple(c for c, _ in sent), count, _worth(places[name], facts))
    return out


@dataclass(frozen=True)
class _Host:
    """A crop at the stages that larvae of one moth harm, in the region's window, and the question of its count."""

    crop: str
    window: str
    stages: tuple[str, ...]
    question: str

    def threatens(self, place: Place, district: District, facts: Facts) -> bool:
        """Whether the field is of this crop and at such a stage: its own where it is known, else by the window."""
        if self.crop not in crop_of(str(place.attributes.get("crop", ""))).split():
            return False
        stage = _stage(place, self.question, district, facts) if self.stages else ""
        return stage in self.stages if stage else facts.region.holds(self.window, district.on)


def _hosts(species: str, facts: Facts) -> list[_Host]:
    rows = facts["insects/moth_flight.hosts"].rows
    return [
        _Host(str(crop), str(window), tuple(s for s in str(stages).split(", ") if s), str(question))
        for name, crop, window, stages, _, question in rows
        if name == species
    ]


def _stage(place: Place, question: str, district: District, facts: Facts) -> str:
    """The growth stage of the field as the question of its count would have it, "" where none is known or fresh."""
    fresh = facts.value(_P + "stage_fresh")
    f = next((f for f in find(question).inputs if f.name == "stage"), None) if question else None
    for source in () if f is None else f.found_in:
        kind, _, field = source.partition(":")[2].partition(".")
        entry = district.snapshot.evidence.get(kind, {}).get(place.id) if source.startswith("evidence:") else None
        if entry and entry.body.get(field) and (district.on - entry.seen_on).days <= fresh:
            return str(entry.body[field])
    return ""


def _asks(question: str, crop: str) -> bool:
    places = find(question).places if question else None
    return places is not None and places.takes(crop)


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
    told = np.array([float(acres) if isinstance(acres, int | float) else np.nan])
    size = float(known_size("USD/ac", told, facts)[0])
    over, excess = facts.value(_P + "over_after_flight"), facts.value(_P + "excess_over")
    return first_look_worth(over, excess, facts.value("insects/treatment.usual_cost")) * size
