"""The scouting round of a week: which places to visit with the hours there are, in which order, and what to count."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import numpy as np

from sideoats.call import Call
from sideoats.insects.planner import plan_round, road_hours
from sideoats.ledger import Place
from sideoats.question import find
from sideoats.week.district import District
from sideoats.week.flights import FlightField, flight_fields, is_flight
from sideoats.week.run import Week
from sideoats.week.spots import position
from sideoats.week.unwalked import Forecast, forecasts

_C = "insects/counting."
_ROUND_DAYS = 7  # the next round is a week away, as the week itself is


@dataclass(frozen=True)
class Visit:
    """One place of the round.

    Attributes
    ----------
    number : in the order of the round, 0 for a place left out
    reasons : the calls that ask for the look, hazards and then the most worth first; a trap's call where its flight
        sends one there
    count : questions whose counts are wanted
    worth : money for the whole place that the looks are worth [USD]; `guessed` where nothing is known of it yet
    look_by : the earliest date among the reasons
    hazard : whether a hazard is among the reasons, which has no price
    forecasts : what the district's other counts say of the pests there that nobody has counted lately
    """

    number: int
    place: Place
    reasons: tuple[Call, ...]
    count: tuple[str, ...]
    worth: float
    guessed: bool
    look_by: date | None
    latitude: float
    longitude: float
    hazard: bool = False
    forecasts: tuple[Forecast, ...] = ()


@dataclass(frozen=True)
class Plan:
    """Visits in order, those left out, and the hours."""

    on: date
    visits: tuple[Visit, ...]
    left: tuple[Visit, ...]
    hours: float
    road_hours: float
    available: float


def plan_visits(
    week: Week,
    district: District,
    *,
    hours: float,
    start: tuple[float, float] | None = None,
    farm: str | None = None,
    sees: Collection[str] | None = None,
) -> Plan:
    """Choose and order the visits of a week.

    Places whose call asks for a look are candidates, and so are the fields that a moth flight threatens
    (`flight_fields`) and those that nobody has walked where the district's other counts make a look worth money
    (`forecasts`). The trap of a flight is not visited for it: it is the fields that want looking at. Nor is a place for
    what is looked up at the desk, such as the weather ahead. Hours go first to what is due within days, hazards before
    the rest, then to what is due before the next weekly round, and last to what that round can do.

    Parameters
    ----------
    hours : there are in all, road included
    start : latitude and longitude of the office; the middle of the places where None
    farm : only this farm's places
    sees : ids of the places that may be shown; all where None
    """
    facts = district.facts.reader()
    by_place: dict[str, list[Call]] = {}
    for call in week.calls:
        if _asks_for_a_visit(call) and (farm is None or call.farm == farm):
            by_place.setdefault(call.place, []).append(call)
    places = {p.id: p for p in district.snapshot.places if sees is None or p.id in sees}
    flights = flight_fields(filter(is_flight, week.calls), places, district, facts, farm)
    unwalked = _unwalked(forecasts(district, farm), by_place)
    unknown = facts.value("insects/planner.unknown_worth")
    due = district.on + timedelta(days=int(facts[_C + "next_look"].mid))
    visits = [
        _visit(places[i], by_place.get(i, ()), flights.get(i), unwalked.get(i, ()), unknown, due)
        for i in dict.fromkeys((*by_place, *flights, *unwalked))
        if i in places
    ]
    visits.sort(key=lambda v: (v.look_by or date.max, v.place.id))  # of equal worth the sooner date goes first
    latitude, longitude = (np.array([getattr(v, name) for v in visits]) for name in ("latitude", "longitude"))
    base = start or (_middle(latitude), _middle(longitude))
    road = road_hours(
        np.append(base[0], latitude),
        np.append(base[1], longitude),
        speed=facts.value("insects/planner.speed"),
        winding=facts.value("insects/planner.winding"),
    )
    stay = np.full(len(visits), facts.value(_C + "visit_minutes") / 60)
    soon = facts.value("insects/planner.due_soon")
    turn = np.array([_turn(v, week.on, soon) for v in visits], dtype=np.int64)
    found = plan_round(np.array([v.worth for v in visits]), stay, road, hours, turn=turn)
    numbered = tuple(_numbered(visits[i], n) for n, i in enumerate(found.order.tolist(), 1))
    left = tuple(visits[i] for i in found.left.tolist())
    return Plan(week.on, numbered, left, found.hours_in_all, found.road_hours, hours)


def _middle(values: Any) -> float:
    known = values[np.isfinite(values)]
    return float(known.mean()) if known.size else 0.0


def _asks_for_a_visit(call: Call) -> bool:
    asked = call.verdict == "look" or (call.verdict == "stop" and call.look_by is not None)
    return asked and not is_flight(call) and not find(call.question).desk_look


def _turn(visit: Visit, on: date, soon: float) -> int:
    """Which visits get hours first: by how soon they are due, and of those hazards before what has a price."""
    days = (visit.look_by - on).days if visit.look_by else _ROUND_DAYS
    due = 0 if days <= soon else 1 if days < _ROUND_DAYS else 2
    return 2 * due + (not visit.hazard)


def _unwalked(found: Sequence[Forecast], calls: Mapping[str, Sequence[Call]]) -> dict[str, tuple[Forecast, ...]]:
    """Place -> its forecasts that make a look worth money, but of pests whose call already says what one is worth."""
    out: dict[str, tuple[Forecast, ...]] = {}
    for forecast in found:
        priced = any(c.question == forecast.question and c.cost_of_waiting > 0 for c in calls.get(forecast.place, ()))
        if forecast.worth > 0 and not priced:
            out[forecast.place] = (*out.get(forecast.place, ()), forecast)
    return out


def _visit(
    place: Place,
    calls: Sequence[Call],
    flight: FlightField | None,
    unwalked: tuple[Forecast, ...],
    unknown: float,
    due: date,
) -> Visit:
    ranked = sorted(calls, key=lambda c: (c.verdict != "stop", -c.cost_of_waiting, c.question))
    worth = sum(c.cost_of_waiting for c in ranked)
    count = [c.question for c in ranked]
    if flight:
        worth += flight.worth
        ranked += flight.calls
        count += flight.count
    if unwalked:
        worth += sum(f.worth for f in unwalked)
        count += [f.question for f in unwalked]
    dates = [c.look_by for c in ranked if c.look_by] + [due] * bool(unwalked)
    latitude, longitude = position(place)
    guessed = worth <= 0
    return Visit(
        0,
        place,
        tuple(ranked),
        tuple(dict.fromkeys(count)),
        unknown if guessed else worth,
        guessed,
        min(dates, default=None),
        latitude,
        longitude,
        any(c.verdict == "stop" for c in ranked),
        unwalked,
    )


def _numbered(visit: Visit, number: int) -> Visit:
    return Visit(**{**visit.__dict__, "number": number})


def counting_lines(plans: Sequence[Mapping[str, Any]], places: Sequence[str]) -> Mapping[str, list[dict[str, Any]]]:
    """Place -> its counting plans (question, by stage the four numbers of the stop lines), for a field card."""
    wanted = set(places)
    out: dict[str, list[dict[str, Any]]] = {}
    for plan in plans:
        if plan["place"] in wanted:
            out.setdefault(plan["place"], []).append(dict(plan))
    return out
