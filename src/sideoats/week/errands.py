"""Errands: what the week's looks wait for, folded so that one thing is fetched once.

Eleven fields that wait for the same price, eight herds for the same forecast and eight places for the newest days of
one station are three errands. An errand names the places that wait for it and what is known of the money behind them,
and is ranked with the calls. A call that rests on a hazard is never folded out of sight.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import TYPE_CHECKING, Any

from sideoats.call import Call
from sideoats.vocabulary import entry, has_entry
from sideoats.words import Count, Day, Money, Name, Parts, Phrase, Reader, Said, Term, say, sentence

if TYPE_CHECKING:
    from sideoats.ledger import Place

NEWEST_DAYS = "station.days"  # a station's newest days: no kind of evidence, they come as files
LEAST_MONEY = 20.0  # USD: less is not told
_AT_STATION = (NEWEST_DAYS, "forecast.days", "spray_plan.hours", "spray_plan.forecast")
_BY_CROP = ("bin_bids", "quote")  # what a market says of a crop, it says for every field and bin of it
_SHARED = ("setting", "quote")  # what is found once for a district
_SIZES = {"acres": "ac", "head": "head", "calf_head": "head", "cull_head": "head", "amount": "bu"}


@dataclass(frozen=True)
class Errand:
    """One thing to be fetched, measured or asked.

    Attributes
    ----------
    what : the observables that are missing, of one kind of evidence
    where : what the places have in common: "station:ID", "crop:NAME", "district", or "" where each is visited
    places : ids of the places that wait for it
    calls : (question, place) of the looks that wait for it, in the week's order
    money : USD that a week's waiting may cost them, as far as it is known; each place's calls once
    hazard : one of them rests on a hazard that this would clear
    by : the first day by which one of them asks for it
    size : unit -> how much of it waits: acres, head, bushels
    """

    what: tuple[str, ...]
    where: str
    places: tuple[str, ...]
    calls: tuple[tuple[str, str], ...]
    money: float
    hazard: bool
    by: date | None
    size: Mapping[str, float] = field(default_factory=dict)

    @property
    def folds(self) -> bool:
        """More than one call waits for it, so that it stands for them on the list."""
        return len(self.calls) > 1

    def said(self) -> Said:
        """The errand as a sentence."""
        kind, _, of = self.where.partition(":")
        asked = {question for question, _ in self.calls}
        where = say(f"errand.at_{kind}", name=Term(of, of=kind)) if of else None
        if not self.where and len(asked) == 1:
            where = say("errand.for", question=Name(next(iter(asked)).replace("-", " ")))
        sizes = Parts(tuple(say(f"errand.size.{u}", n=Count(round(v))) for u, v in sorted(self.size.items()) if v >= 1))
        return say(
            "errand.line",
            what=Parts(tuple(_named(o) for o in self.what)),
            n=len(self.places),
            where=Phrase(where),
            size=Phrase(say("errand.size", of=sizes) if sizes.known else None),
            money=Phrase(say("errand.money", money=Money(self.money)) if self.money >= LEAST_MONEY else None),
            by=Phrase(say("errand.by", day=Day(self.by)) if self.by else None),
        )

    def full(self) -> dict[str, Any]:
        """As JSON."""
        return {
            "what": list(self.what),
            "where": self.where,
            "places": list(self.places),
            "calls": [{"question": q, "place": p} for q, p in self.calls],
            "money": {"value": round(self.money, 2), "unit": "USD"},
            "hazard": self.hazard,
            "by": self.by.isoformat() if self.by else None,
            "size": dict(self.size),
            "line": sentence(self.said(), Reader()),
        }


def _named(observable: str) -> Said:
    """The observable in the reader's words: its own term, or what the vocabulary says of it."""
    told = entry(observable).get("help", observable) if has_entry(observable) else observable
    return say("errand.what", x=Term(observable, of="observable"), told=Name(str(told)))


def errands(calls: Iterable[Call], places: Mapping[str, Place]) -> tuple[Errand, ...]:
    """The week's errands, hazards first, then by money, by how many wait, by day.

    Parameters
    ----------
    calls : of one day, in the week's order
    places : id -> place, for what the places have in common
    """
    groups: dict[tuple[str, str], dict[str, Any]] = {}
    for call in calls:
        if call.verdict != "look" or not call.missing:
            continue
        by_kind: dict[tuple[str, str], list[str]] = {}
        for observable in call.missing:
            where = _where(observable, call, places.get(call.place))
            by_kind.setdefault((_kind(observable), where), []).append(observable)
        visited = next((key for key in by_kind if key[1] == "" and key[0] != "place"), None)
        if visited and ("place", "") in by_kind:  # who goes there for a count also asks for the stage
            by_kind[visited] += by_kind.pop(("place", ""))
        for key, observables in by_kind.items():
            group = groups.setdefault(key, {"what": {}, "calls": []})
            group["what"] |= dict.fromkeys(observables)
            group["calls"].append(call)
    made = [_errand(where, tuple(g["what"]), g["calls"], places) for (_, where), g in groups.items()]
    return tuple(sorted(made, key=_rank))


def _kind(observable: str) -> str:
    """The kind of evidence of an observable; ``quote`` and ``setting`` for what is found there."""
    return observable.partition(".")[0].partition(":")[0]


def _rank(errand: Errand) -> tuple[Any, ...]:
    return (not errand.hazard, -errand.money, -len(errand.calls), errand.by or date.max, errand.what)


def _where(observable: str, call: Call, place: Place | None) -> str:
    """What shares it: the station behind the place, the crop of a market, the district; "" where each is visited."""
    kind = _kind(observable)
    attributes = place.attributes if place is not None else {}
    if observable in _AT_STATION:
        station = call.station or str(attributes.get("station") or "")
        return f"station:{station}" if station else "district"
    crop = str(attributes.get("crop") or "")
    if kind in _BY_CROP:
        return f"crop:{crop}" if crop else "district"
    return "district" if kind in _SHARED or _of_the_district(observable) else ""


def _of_the_district(observable: str) -> bool:
    """Found in a setting of the district, so that it is told once for all."""
    sources = entry(observable).get("found_in", ()) if has_entry(observable) else ()
    return any(str(s).startswith("setting:") for s in sources)


def _errand(where: str, what: tuple[str, ...], calls: Sequence[Call], places: Mapping[str, Place]) -> Errand:
    named = tuple(dict.fromkeys(call.place for call in calls))
    days = [call.look_by for call in calls if call.look_by]
    size: dict[str, float] = {}
    for key in named:
        place = places.get(key)
        for attribute, unit in _SIZES.items():
            held = place.attributes.get(attribute) if place is not None else None
            if isinstance(held, int | float):
                size[unit] = size.get(unit, 0.0) + float(held)
                break
    return Errand(
        what,
        where,
        named,
        tuple((c.question, c.place) for c in calls),
        sum(c.cost_of_waiting for c in calls if c.cost_of_waiting == c.cost_of_waiting),
        not where and any(c.hazard for c in calls),
        min(days, default=None),
        size,
    )


def folded(made: Iterable[Errand]) -> Callable[[Call], bool]:
    """Whether a call is stood for by an errand: all it waits for is folded, and no hazard rests on it."""
    stood: dict[tuple[str, str], set[str]] = {}
    for errand in made:
        if errand.folds:
            for key in errand.calls:
                stood.setdefault(key, set()).update(errand.what)

    def of(call: Call) -> bool:
        if call.verdict != "look" or call.hazard or not call.missing:
            return False
        return set(call.missing) <= stood.get((call.question, call.place), set())

    return of
