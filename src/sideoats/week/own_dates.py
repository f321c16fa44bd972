"""A district's own dates of its wheat as facts: belief begins at the figure on file and follows the ledger's looks.

Read from `wheat_check`: stems split before and after first hollow stem, leaves counted, headed and ripe. The
degree-days of a look are those kept with it, else worked out from the station that stands for the field. The learned
figure stands in the place of the one on file, which it names; a figure that the district file sets is left alone.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

import numpy as np

from sideoats.crops import crop_of
from sideoats.decide.learning import Belief, believe
from sideoats.errors import InputError
from sideoats.facts import Fact, Facts
from sideoats.ledger.evidence import evidence_kinds
from sideoats.week.gather import as_field, stands_of
from sideoats.wheat import own_dates as heat
from sideoats.wheat.stages import STAGES

if TYPE_CHECKING:
    from sideoats.ledger import Entry, Ledger
    from sideoats.week.snapshot import Snapshot

LEAF, PHASES = "wheat/stages.phyllochron", "wheat/stages.phases"
STRAYS, LEAST = "wheat/own_dates.strays", "wheat/own_dates.least"
_TENTH = 1.2816  # standard deviations from the middle to one in ten
_SOWN_BEFORE = 150  # days before a leaf count that sowing may lie
_TOLD = (
    "{mean:.0f} {unit}, known to {sd:.0f}, by {count} of the district's own {what} in {seasons} season(s); "
    "on file {old}"
)


@dataclass(frozen=True)
class Look:
    """One look at a field's wheat. `since` gives the heat from a day to it [degC day], NaN where not known."""

    place: str
    day: date
    body: Mapping[str, Any]
    since: Callable[[date], float]
    sown: date | None

    @property
    def season(self) -> int:
        """The year of harvest."""
        return self.day.year + (self.day.month >= 8)

    @property
    def spring_heat(self) -> float:
        """Since 1 January: as kept with the look, else by the station."""
        told = self.body.get("heat")
        return self.since(date(self.season, 1, 1)) if told is None else told / 1.8


def with_own_dates(facts: Facts, ledger: Ledger, snapshot: Snapshot) -> Facts:
    """The facts with what the ledger's own dates of wheat teach in the place of what is on file."""
    by_field: dict[tuple[str, int], list[Look]] = {}
    for look in _looks(ledger, snapshot):
        by_field.setdefault((look.place, look.season), []).append(look)
    if not by_field:
        return facts
    line = facts.reader().value("wheat/grazing.first_hollow_stem")
    emergence = facts.by_id["wheat/stages.emergence"].rows[0]
    found: dict[str, dict[int, list[float]]] = {"hollow stem": {}, "leaf": {}, "ripening": {}}
    for (_, season), looks in by_field.items():
        told = {"hollow stem": _stem(looks, line), "leaf": _leaf(looks, emergence), "ripening": _ripening(looks)}
        for what, value in told.items():
            if np.isfinite(value):
                found[what].setdefault(season, []).append(value)
    own: dict[str, Fact] = {}
    for what, fact_id in (("hollow stem", heat.STEM), ("leaf", LEAF), ("ripening", PHASES)):
        old = facts.by_id[fact_id]
        if old.overridden or sum(map(len, found[what].values())) < facts.by_id[LEAST].value:
            continue
        own[fact_id] = _fact(old, what, _belief(facts, old, what, found[what]))
    return replace(facts, by_id=facts.by_id.set(own)) if own else facts  # type: ignore[attr-defined]


def _belief(facts: Facts, old: Fact, what: str, values: dict[int, list[float]]) -> Belief:
    strays = {row[0]: tuple(float(v) for v in row[1:]) for row in facts.by_id[STRAYS].rows}
    prior, between, within = strays[what]
    usual = _ripe_heat(old) if what == "ripening" else old.mid
    return believe(usual, prior, [values[season] for season in sorted(values)], between, within)


def _ripe_heat(phases: Fact) -> float:
    """Heat from headed to ripe by the table of phases [degC day]; those phases are not counted in leaves."""
    names = [row[0] for row in phases.rows]
    return float(sum(row[3] for row in phases.rows[names.index("headed") + 1 :]))


def _fact(old: Fact, what: str, known: Belief) -> Fact:
    """The learned figure in the shape of the one on file; its citation tells both."""
    shown = f"{_ripe_heat(old):.0f}" if old.rows else f"{old.low:.0f} to {old.high:.0f}"
    told = _TOLD.format(
        unit=old.unit,
        count=known.count,
        what=_NAMES[what],
        seasons=known.seasons,
        mean=known.mean,
        sd=known.sd,
        old=shown,
    )
    citation = f"{told} ({old.citation})"
    new = replace(old, citation=citation, address="", provenance="derived", publisher=_WHO, shipped=old, reason=told)
    if old.rows:
        *before, (name, code, leaves, last) = old.rows
        return replace(new, rows=(*before, (name, code, leaves, last + known.mean - _ripe_heat(old))))
    width = _TENTH * known.spread
    return replace(new, low=max(known.mean - width, 0.0), mid=known.mean, high=known.mean + width)


_WHO = "the district's own dates"
_NAMES = {"hollow stem": "springs of stems split", "leaf": "leaf counts", "ripening": "fields seen headed and ripe"}


def _looks(ledger: Ledger, snapshot: Snapshot) -> Iterator[Look]:
    """Looks at wheat that tell a date, oldest first, each with the station that stands for its field."""
    fields = evidence_kinds()["wheat_check"].fields
    told = ("hollow_stem", "leaves", "stage", "heat")
    entries = [e for e in ledger.history(kind="wheat_check", until=snapshot.on) if any(k in e.body for k in told)]
    if not any(k in e.body for e in entries for k in ("hollow_stem", "leaves")) and not any(
        e.body.get("stage") == "ripe" for e in entries
    ):
        return
    ids = sorted({e.place for e in entries if e.place})
    places = {
        p.id: p for p in ledger.places(snapshot.on, ids) if crop_of(str(p.attributes.get("crop", ""))) == "winter wheat"
    }
    stations = dict(zip(places, stands_of(list(places.values()), snapshot), strict=True))
    sown = _sowings(ledger, list(places))
    for entry in entries:
        if entry.place not in places:
            continue
        body = _read(entry, {name: fields[name] for name in told})
        record = snapshot.stations.get(stations[entry.place].station)
        until = entry.seen_on

        def since(first: date, record: Any = record, until: date = until) -> float:
            return float("nan") if record is None else heat.heat_between(record, first, until)

        before = [d for d in sown.get(entry.place, ()) if timedelta(0) < until - d < timedelta(_SOWN_BEFORE)]
        yield Look(entry.place, until, body, since, max(before, default=None))


def _read(entry: Entry, fields: Mapping[str, Any]) -> dict[str, Any]:
    """Values that can be read; what cannot is left out, as it is of the week."""
    out = {}
    for name, f in fields.items():
        if entry.body.get(name) is None:
            continue
        try:
            out[name] = as_field(f, entry.body[name], f.unit)
        except InputError:
            continue
    return out


def _sowings(ledger: Ledger, places: list[str]) -> dict[str, set[date]]:
    """Every sowing date that a field was ever described with."""
    found: dict[str, set[date]] = {}
    for place, entries in ledger.histories("place", places).items():
        for entry in entries:
            try:
                found.setdefault(place, set()).add(date.fromisoformat(str(entry.body.get("planting_date", ""))))
            except ValueError:
                continue
    return found


def _stem(looks: list[Look], line: float) -> float:
    split = [look for look in looks if "hollow_stem" in look.body and np.isfinite(look.spring_heat)]
    lengths = [float(np.mean(look.body["hollow_stem"])) for look in split]
    return heat.stem_heat([x.day for x in split], [x.spring_heat for x in split], lengths, line)


def _leaf(looks: list[Look], emergence: tuple[Any, ...], depth_cm: float = 4.0) -> float:
    """Heat a leaf: since sowing less that of emergence, over the leaves, by the last count of the fall."""
    up = float(emergence[0]) + float(emergence[1]) * depth_cm
    for look in reversed(looks):
        if "leaves" in look.body and look.sown is not None and look.body["leaves"] >= 1:
            return (look.since(look.sown) - up) / float(look.body["leaves"])
    return float("nan")


def _ripening(looks: list[Look]) -> float:
    """Heat from headed to ripe."""
    seen = [look for look in looks if look.body.get("stage") in STAGES and look.day.month < 8]
    days, stages = [x.day for x in seen], [str(x.body["stage"]) for x in seen]
    heats = [x.since(date(x.season, 1, 1)) for x in seen]
    return heat.stage_heat(days, heats, stages, "ripe") - heat.stage_heat(days, heats, stages, "heading")
