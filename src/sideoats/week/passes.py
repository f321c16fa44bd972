"""The field, not the pest: all that asks to be sprayed in a field on one day is one pass, and its way is paid once.

Each call says what treating its pest gains day by day after its own cost. A pass takes the pests that together gain
most on one day: a material that takes several pests is paid once, a further material without its application. So a pest
that would not pay alone goes along where the sprayer goes anyway, and two that pay only together are told. Days that
one label's interval closes are closed for the pass. Nothing here knows a pest: which share a material, and which a
spray lets rise, are facts.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from itertools import combinations
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from sideoats.call import Call
from sideoats.facts import Facts
from sideoats.week.done import ACTIONS
from sideoats.words import Count, Measured, Money, Name, Said, Terms, say

if TYPE_CHECKING:
    from sideoats.ledger import Entry, Place

Floats = NDArray[np.float64]
_P, _C, _UNIT = "insects/passes.", "insects/counting.", "USD/ac"
_TREAT, _COUNT = "treat-day-", "count_mean"
_MOST = 6  # pests weighed together; a field with more has the best of them


@dataclass(frozen=True)
class Pass:
    """One pass over one field.

    Attributes
    ----------
    place, place_name, farm, size : of the field, size in acres
    on : the best day; by : the last that costs little
    pests : questions whose pests it is for; riders : those of them that would not pay for a pass alone
    gain : expected, over leaving all of them, costs once; apart : of the passes that pay, each for itself [USD/ac]
    cost : of the pass [USD/ac]; materials : how many
    said : the card's further sentences
    """

    place: str
    place_name: str
    farm: str
    size: float
    on: date
    by: date
    pests: tuple[str, ...]
    riders: tuple[str, ...]
    gain: float
    apart: float
    cost: float
    materials: int
    said: tuple[Said, ...] = ()

    def line(self) -> Said:
        """The pass in one sentence."""
        return say(
            "pass.line",
            place=Name(self.place),
            day=self.by,
            pests=Terms(self.pests, of="pest"),
            gain=Money(self.gain, unit=_UNIT),
            cost=Money(self.cost, unit=_UNIT),
        )

    def full(self) -> dict[str, Any]:
        """JSON of the pass; its sentences are put into words by whoever shows it."""
        return {
            "place": self.place,
            "farm": self.farm,
            "on": self.on.isoformat(),
            "act_by": self.by.isoformat(),
            "pests": list(self.pests),
            "riders": list(self.riders),
            "gain": {"value": round(self.gain, 2), "unit": _UNIT},
            "gain_apart": {"value": round(self.apart, 2), "unit": _UNIT},
            "cost": {"value": round(self.cost, 2), "unit": _UNIT},
            "materials": self.materials,
        }


def passes(
    calls: Iterable[Call], sizes: Mapping[str, float], sprayed: Mapping[str, Sequence[str]], facts: Facts
) -> tuple[Pass, ...]:
    """The passes of a week, the most money first.

    Parameters
    ----------
    calls : of the week
    sizes : place -> acres
    sprayed : place -> mode-of-action groups of what was sprayed there within a year, oldest first
    """
    materials = {str(q): str(kind) for q, kind in facts[_P + "treats"].rows}
    by_place: dict[str, list[Call]] = {}
    for call in calls:
        if call.question in materials and not call.done:
            by_place.setdefault(call.place, []).append(call)
    found = []
    for place, own in by_place.items():
        made = _pass(own, materials, sizes.get(place, np.nan), facts)
        if made:
            told = _said(made, own, sprayed.get(place, ()), facts)
            found.append(replace(made, said=told))
    return tuple(sorted(found, key=lambda p: (-p.gain * (p.size if np.isfinite(p.size) else 1.0), p.place)))


def cost_of(costs: Sequence[float], materials: Sequence[str], application: float) -> float:
    """What one pass costs: each material at its dearest treatment, all but the first without the application [USD/ac].

    Parameters
    ----------
    costs, materials : of each pest's own treatment, application included, and the kind of its material
    """
    dearest: dict[str, float] = {}
    for cost, material in zip(costs, materials, strict=True):
        dearest[material] = max(dearest.get(material, 0.0), cost)
    first, *others = sorted(dearest.values(), reverse=True)
    return first + sum(max(cost - application, 0.0) for cost in others)


def _pass(calls: Sequence[Call], materials: Mapping[str, str], size: float, facts: Facts) -> Pass | None:
    """The best pass over one field, without pests that add next to nothing; None where no pass pays."""
    asked = [(call, kept) for call in _ready(calls) if (kept := _kept(call)) is not None]
    own = sorted(asked, key=lambda pair: (-float(pair[1].max()), pair[0].question))[:_MOST]
    application = facts.value(_P + "application")
    least = {(kind, unit): low for kind, unit, low in facts["decide/trouble.least"].rows}["pass", _UNIT]
    best: tuple[float, int, tuple[tuple[Call, Floats], ...], Floats, float] | None = None
    for count in range(1, len(own) + 1):
        for some in combinations(own, count):
            cost = cost_of([_cost(c) for c, _ in some], [materials[c.question] for c, _ in some], application)
            gains = np.sum([kept for _, kept in some], axis=0) - cost
            day = int(np.argmax(gains))
            if best is None or gains[day] - least * count > best[0] - least * len(best[2]):
                best = float(gains[day]), day, some, gains, cost
    if best is None or best[0] < least:
        return None
    gain, day, some, gains, cost = best
    if all(c.verdict != "act" for c, _ in some) and gain < facts.value(_C + "even_part") * cost:
        return None  # nothing but expectations, each under the worth of a pass, stands behind it
    first, tolerance = some[0][0], least
    late = day
    while late + 1 < len(gains) and gains[late + 1] >= gain - tolerance:
        late += 1
    alone = {c.question: float(kept.max()) - _cost(c) for c, kept in some}
    return Pass(
        first.place,
        first.place_name,
        first.farm,
        size,
        first.on + timedelta(days=day),
        first.on + timedelta(days=late),
        tuple(alone),
        tuple(name for name, value in alone.items() if value < least),
        gain,
        sum(value for value in alone.values() if value >= least),
        cost,
        len({materials[name] for name in alone}),
    )


def _ready(calls: Sequence[Call]) -> list[Call]:
    """Those whose count is settled: where a pest asks to be counted on, that comes first."""
    return [c for c in calls if c.verdict in ("act", "wait") and not c.missing]


def _kept(call: Call) -> Floats | None:
    """(day,) what treating on each day keeps of the injury, before its cost; -inf where it is closed."""
    days = [o for o in call.options if o.key.startswith(_TREAT)]
    if not days or not np.isfinite(_cost(call)):
        return None
    kept = np.array([-np.inf if o.barred else max(o.expected + _cost(call), 0.0) for o in days])
    return kept if np.isfinite(kept).any() else None


def _cost(call: Call) -> float:
    told = call.quantities.get("treatment_cost")
    return float(told.value) if told else float("nan")


def _said(made: Pass, calls: Sequence[Call], sprayed: Sequence[str], facts: Facts) -> tuple[Said, ...]:
    """What else the card of a field says: what is saved, what goes along, what comes first, and what to mind."""
    counted = {c.question: c for c in calls}
    flared = [
        str(other)
        for treated, other in facts[_P + "flares"].rows
        if treated in made.pests and other not in made.pests and _holds(counted.get(str(other)))
    ]
    first = tuple(q for q, c in sorted(counted.items()) if c.verdict == "look" and q not in made.pests)
    interval = max((_interval(counted[q]) for q in made.pests), default=0.0)
    several, rows = len(made.pests) > 1, []
    saved = made.gain - made.apart
    if several and made.apart > 0:
        rows.append(say("pass.saves", saved=Money(saved, unit=_UNIT)))
    if several and not made.apart > 0:
        rows.append(say("pass.together"))
    elif made.riders:
        rows.append(say("pass.rider", pests=Terms(made.riders, of="pest")))
    if made.materials > 1:
        rows.append(say("pass.two", n=Count(made.materials)))
    if flared:
        rows.append(say("pass.flare", pests=Terms(tuple(dict.fromkeys(flared)), of="pest")))
    if first:
        rows.append(say("pass.first", pests=Terms(first, of="pest")))
    if interval > 0:
        rows.append(say("pass.interval", days=Measured(interval, unit="day")))
    if sprayed:
        rows.append(say("pass.groups", groups=Name(", ".join(dict.fromkeys(sprayed)))))
    else:
        rows.append(say("pass.no-groups"))
    return (*rows, say("pass.hours"), say("treat.caution.bees"))


def _holds(call: Call | None) -> bool:
    """Whether any of the pest were counted."""
    if call is None:
        return False
    seen = [q.value for name, q in call.quantities.items() if name == _COUNT or name.startswith("mean_")]
    return any(isinstance(v, float | int) and v > 0 for v in seen)


def _interval(call: Call) -> float:
    told = call.quantities.get("pre_harvest_interval")
    days = float(told.value) if told else 0.0
    return days if np.isfinite(days) else 0.0


def acres_of(places: Iterable[Place]) -> dict[str, float]:
    """Place -> acres, of those whose size is on file."""
    sizes = {p.id: p.attributes.get("acres") for p in places}
    return {place: float(size) for place, size in sizes.items() if isinstance(size, int | float)}


def sprayed(evidence: Mapping[str, Mapping[str, Entry]], on: date) -> dict[str, tuple[str, ...]]:
    """Place -> mode-of-action groups recorded with what was done there within a year, oldest first."""
    since, out = (on - timedelta(days=365)).isoformat(), {}
    for place, entry in evidence.get(ACTIONS, {}).items():
        groups = [str(row["group"]) for row in entry.body["rows"] if row.get("group") and row["on"] >= since]
        if groups:
            out[place] = tuple(groups)
    return out
