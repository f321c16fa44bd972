"""What a district's own counts say together: growth, k, and what a field holds by all other counts.

`learn` reads the counts of the last weeks once and fits one model for each pest (`sideoats.insects.pooling`). The count
of a field is weighed against what all others say of it (`nearby`, handed to the questions with the facts), in place of
a published usual. A field that was treated says nothing of others from that day on, and is told nothing by them. What a
field holds that nobody has walked stands in `sideoats.week.unwalked`.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from sideoats.errors import SideoatsError
from sideoats.facts import Facts
from sideoats.insects.dispersion import own_k, summarise
from sideoats.insects.pooling import District as Model
from sideoats.insects.pooling import Fading, Looks, fit_district
from sideoats.question import Question, find
from sideoats.schema import Field
from sideoats.threads import one_thread
from sideoats.week.gather import as_field
from sideoats.week.snapshot import was_done
from sideoats.week.spots import position

if TYPE_CHECKING:
    from sideoats.ledger import Entry, Ledger, Place

Floats = NDArray[np.float64]
Histories = Mapping[str, Mapping[str, Sequence["Entry"]]]  # kind -> place -> entries, oldest first
_P, _C = "insects/pooling.", "insects/counting."
_ACTION = "action"
_MOST = 500  # counts taken together: the time grows with the cube of it


@dataclass(frozen=True, eq=False)
class Learned:
    """What was learned of one pest, counted in one way.

    Attributes
    ----------
    pest : as its draws are named; question, kind : that ask and hold its counts
    alike : what its counts have in common (the method, a species), by field; stage : at which most fields were
    model : see there; places : place -> number of its field
    newest : place -> row of its newest look, where nothing newer of its kind is on file
    unit_k, published_k : k of the counts, the district's own (NaN where too few were counted) and as published
    published_growth : [1/day]; NaN where none is on file
    """

    pest: str
    question: str
    kind: str
    alike: tuple[tuple[str, Any], ...]
    stage: str
    model: Model
    places: Mapping[str, int]
    newest: Mapping[str, int]
    unit_k: float
    published_k: float
    published_growth: float


def learned_of(ledger: Ledger, on: date, facts: Facts) -> tuple[Learned, ...]:
    """What the counts of a ledger say together on a day."""
    seen = histories(ledger, on, facts)
    ids = sorted({place for kind, at in seen.items() if kind != _ACTION for place in at})
    return learn(seen, {p.id: p for p in ledger.places(on, ids)}, on, facts) if ids else ()


def histories(ledger: Ledger, on: date, facts: Facts) -> Histories:
    """The counts of the last weeks, and what was done, of every place."""
    since = on - timedelta(days=int(facts.value(_P + "window")))
    found: dict[str, dict[str, list[Entry]]] = {}
    for kind in {*facts[_P + "pests"].column("kind"), _ACTION}:
        for entry in filter(was_done, ledger.history(kind=str(kind), since=since, until=on)):
            found.setdefault(str(kind), {}).setdefault(entry.place or "", []).append(entry)
    return found


def learn(seen: Histories, places: Mapping[str, Place], on: date, facts: Facts) -> tuple[Learned, ...]:
    """What the counts of a district say together, pest by pest; none for a pest that few fields were looked at for."""
    fact, out = facts[_P + "pests"], []
    with one_thread():
        for row in fact.rows:
            pest = dict(zip(fact.columns, (str(cell) for cell in row), strict=True))
            for alike, looks in sorted(_counts(pest, seen, places, on).items(), key=repr):
                found = _learned(pest, alike, looks, places, facts)
                if found:
                    out.append(found)
    return tuple(out)


def nearby(learned: Sequence[Learned]) -> dict[tuple[str, str], tuple[float, float, int]]:
    """(pest, place) -> log mean and variance of what all other counts say a unit holds there, and of how many fields.

    Of the newest look of every place, on its day; rounded, so that it is the same on any machine.
    """
    out = {}
    for found in learned:
        mean, variance = found.model.without()
        for place, row in found.newest.items():
            told = float(f"{mean[row]:.4g}"), float(f"{variance[row]:.4g}")
            out[found.pest, place] = (*told, len(found.places) - 1)
    return out


@dataclass(frozen=True)
class _Look:
    place: str
    day: int
    counts: tuple[float, ...] | None
    mean: float
    units: float
    stage: str
    last: bool  # whether nothing newer of its kind is on file there


def _counts(
    pest: Mapping[str, str], seen: Histories, places: Mapping[str, Place], on: date
) -> dict[tuple[tuple[str, Any], ...], list[_Look]]:
    """The looks of one pest by what they have in common, oldest first at each place."""
    question = find(pest["question"])
    fields = {f"{pest['kind']}.{f}": field_of(question, pest["kind"], f) for f in (pest["counts"], pest["mean"]) if f}
    out: dict[tuple[tuple[str, Any], ...], list[_Look]] = {}
    for place, entries in seen.get(pest["kind"], {}).items():
        known = places.get(place)
        if known is None or question.places is None or not question.places.takes(str(known.attributes.get("crop", ""))):
            continue
        treated = _treated(seen.get(_ACTION, {}).get(place, ()), question.name)
        for entry in entries:
            if treated is not None and entry.seen_on >= treated:
                continue
            look = _look(place, entry, fields, pest, on, entry is entries[-1])
            if look:
                alike = tuple((name, entry.body.get(name)) for name in pest["alike"].split(", ") if name)
                out.setdefault(alike, []).append(look)
    return out


def _treated(entries: Sequence[Entry], question: str) -> date | None:
    """The first day on which something was done about the pest."""
    days = [e.seen_on for e in entries if str(e.body.get("question", "")).strip().replace("_", "-") == question]
    return min(days, default=None)


def field_of(question: Question, kind: str, name: str) -> Field:
    return next(f for f in question.inputs if f"evidence:{kind}.{name}" in f.found_in)


def _look(
    place: str, entry: Entry, fields: Mapping[str, Field], pest: Mapping[str, str], on: date, last: bool
) -> _Look | None:
    """One entry as a look; None where it holds no count."""

    def read(name: str) -> Any:
        raw = entry.body.get(name) if name else None
        return None if raw is None else as_field(fields[f"{pest['kind']}.{name}"], raw, None)

    try:
        counts, mean = read(pest["counts"]), read(pest["mean"])
    except (SideoatsError, TypeError, ValueError):
        return None  # the week itself tells of a value that cannot be used
    day, stage = (entry.seen_on - on).days, str(entry.body.get("stage") or "")
    if counts:
        return _Look(place, day, tuple(counts), float(np.mean(counts)), float(len(counts)), stage, last)
    units = entry.body.get("n")
    if mean is None or not isinstance(units, int | float):
        return None
    return _Look(place, day, None, float(mean), float(units), stage, last)


def _learned(
    pest: Mapping[str, str],
    alike: tuple[tuple[str, Any], ...],
    found: list[_Look],
    places: Mapping[str, Place],
    facts: Facts,
) -> Learned | None:
    looks = _newest_first(found, _MOST)
    numbers = {place: i for i, place in enumerate(sorted({look.place for look in looks}))}
    if len(numbers) < facts.value(_P + "fewest"):
        return None
    own, published = _own_k(looks, facts), facts.value(pest["k"])
    where = np.array([position(places[look.place]) for look in looks])
    growth = facts.value(pest["growth"]) if pest["growth"] else math.nan
    fading = Fading(
        facts.value("insects/planner.trap_reach"),
        facts.value(_P + "days"),
        0.0 if math.isnan(growth) else growth,
        facts.value(_P + "growth_spread"),
    )
    model = fit_district(
        Looks(
            np.array([numbers[look.place] for look in looks]),
            where[:, 0],
            where[:, 1],
            np.array([look.day for look in looks], float),
            np.array([look.mean for look in looks]),
            np.array([look.units for look in looks]),
            np.full(len(looks), published if math.isnan(own) else own),
        ),
        fading,
    )
    newest = {look.place: row for row, look in enumerate(looks) if look.last}
    stages = Counter(look.stage for look in looks if look.last) or Counter([""])
    stage = max(sorted(stages), key=stages.__getitem__)
    names = pest["pest"], pest["question"], pest["kind"]
    return Learned(*names, alike, stage, model, numbers, newest, own, published, growth)


def _newest_first(looks: list[_Look], most: int) -> list[_Look]:
    """The newest look of every place, then those before, up to so many."""
    turn: dict[str, int] = {}
    ranked = []
    for look in sorted(looks, key=lambda k: (-k.day, k.place)):
        turn[look.place] = turn.get(look.place, 0) + 1
        ranked.append((turn[look.place], look))
    return [look for _, look in sorted(ranked, key=lambda r: (r[0], -r[1].day, r[1].place))][:most]


def _own_k(looks: Sequence[_Look], facts: Facts) -> float:
    """The middle of the fields' own k, by moments; NaN where too few were counted unit by unit.

    The moment regression (`common_k`) rests on the one or two fields with most; the middle does not.
    """
    sizes, means, variances = summarise([look.counts for look in looks])
    fewest = facts.value(_C + "own_k_from")
    use = (sizes >= fewest) & (sizes * means >= fewest)
    if len({look.place for look, used in zip(looks, use, strict=True) if used}) < facts.value(_P + "fewest"):
        return math.nan
    return float(np.median(own_k(sizes[use], means[use], variances[use], facts.span(_C + "k_unknown"))))
