"""What fields hold that nobody has walked lately: a forecast with its width, and what a first look there is worth.

The forecast is that of the district's own counts (`sideoats.week.pooled`). What a look is worth the question of the
pest says itself, so that nothing here knows a pest; it feeds the scouting round.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import timedelta
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from sideoats.decide.laws import normal_score
from sideoats.errors import SideoatsError
from sideoats.question import Context, Question, Table, column, find
from sideoats.ruling import known_size
from sideoats.threads import one_thread
from sideoats.week.district import District
from sideoats.week.done import ACTIONS
from sideoats.week.gather import as_field, gather
from sideoats.week.pooled import Learned, field_of
from sideoats.week.spots import position, standing

if TYPE_CHECKING:
    from sideoats.ledger import Place

Floats = NDArray[np.float64]
_POINTS = (np.arange(9) + 0.5) / 9  # parts of a forecast at which a first look is weighed
_SURE = 200  # units at which a count leaves hardly any doubt


@dataclass(frozen=True)
class Forecast:
    """What a field holds that nobody has walked lately: median and 80 % range a unit, and the worth of a look [USD]."""

    place: str
    question: str
    likely: float
    low: float
    high: float
    unit: str
    fields: int
    worth: float


def forecasts(district: District, farm: str | None = None) -> tuple[Forecast, ...]:
    """Of every field that nobody has walked lately what it holds, with its width, and what a first look is worth.

    A field counts as walked where it was looked at for the pest within `insects/planner.looked_within` days.
    """
    out: list[Forecast] = []
    facts = district.facts.reader()
    lately, places = facts.value("insects/planner.looked_within"), {p.id: p for p in district.snapshot.places}
    best: dict[str, Learned] = {}
    for found in district.learned:  # of several ways of counting the one most used
        if found.question not in best or len(found.places) > len(best[found.question].places):
            best[found.question] = found
    for found in best.values():
        question = find(found.question)
        table, _ = gather(question, district.snapshot, farm)
        seen = district.snapshot.evidence.get(found.kind, {})
        walked = {place for place, entry in seen.items() if (district.on - entry.seen_on).days <= lately}
        rows = [i for i, key in enumerate(table.keys) if key not in walked and standing(places[key], district.on)]
        rows = [i for i in rows if not _acted(places[table.keys[i]], question, district)]
        if rows:
            out += _forecast(found, question, table.take(np.array(rows)), places, district)
    return tuple(out)


def _acted(place: Place, question: Question, district: District) -> bool:
    entry = district.snapshot.evidence.get(ACTIONS, {}).get(place.id)
    rows = entry.body["rows"] if entry else ()
    since = (district.on - timedelta(days=int(district.facts.value("insects/pooling.window")))).isoformat()
    return any(str(r.get("question", "")).replace("_", "-") == question.name and r["on"] >= since for r in rows)


def _forecast(
    found: Learned, question: Question, table: Table, places: Mapping[str, Place], district: District
) -> Iterator[Forecast]:
    where = np.array([position(places[key]) for key in table.keys])
    number = np.array([found.places.get(key, -1 - i) for i, key in enumerate(table.keys)])
    with one_thread():
        mean, variance = found.model.forecast(number, where[:, 0], where[:, 1])
    sd = np.sqrt(variance)
    worth, unit = _worth(question, found, table, mean, sd, district)
    for i, key in enumerate(table.keys):
        low, likely, high = np.exp(mean[i] + sd[i] * np.array([-1.2816, 0.0, 1.2816])).tolist()
        yield Forecast(key, question.name, likely, low, high, unit, len(found.places), float(worth[i]))


def _worth(
    question: Question, found: Learned, table: Table, mean: Floats, sd: Floats, district: District
) -> tuple[Floats, str]:
    """(place,) what a first look is worth [USD]; NaN where the question cannot tell; and the unit of the count.

    The question itself is asked at nine points of the forecast, as if so much had been counted on very many units.
    Without a look nobody treats, so a look is worth what the best choice at each point brings over leaving the field.
    """
    counted = next(f for f in question.inputs if f.kind == "counts")
    gains, unit = np.full((len(table), len(_POINTS)), np.nan), ""
    # No neighbor pulls a count that stands for the truth.
    context = Context(district.on, replace(district.facts, nearby={}), district.outlook)
    table = _as_counted(question, found, table)
    with one_thread():
        for at, score in enumerate(normal_score(_POINTS).tolist()):
            density = np.exp(mean + sd * score)
            columns = {**table.columns, counted.name: column(counted, [(d,) * _SURE for d in density.tolist()])}
            ages = {**table.ages, counted.name: np.zeros(len(table))}
            try:
                calls = list(question.ask(replace(table, columns=columns, ages=ages), context).calls())
            except SideoatsError:
                break
            for row, call in enumerate(calls):
                acts = [o.expected for o in call.options if not o.passive and not o.barred]
                if call.options and not call.missing:
                    gains[row, at] = max(acts, default=0.0)
                shown = call.quantities.get("count_mean") or call.quantities.get("mean_aphids_per_leaf")
                unit = shown.unit if shown else unit
    size = known_size("USD/ac", table.size if table.size.size else np.full(len(table), np.nan), district.facts)
    return np.asarray(np.maximum(gains, 0.0).mean(axis=1) * size), unit


def _as_counted(question: Question, found: Learned, table: Table) -> Table:
    """The table as if its fields had been counted as the others were, and stood at the stage of most of them."""
    columns, ages = dict(table.columns), dict(table.ages)
    for name, value in found.alike:
        f = field_of(question, found.kind, name)
        columns[f.name] = column(f, [None if value is None else as_field(f, value, None)] * len(table))
    if "stage" in columns and found.stage:
        own = table.text("stage")
        columns["stage"] = np.where(own == "", found.stage, own).astype(object)
    return replace(table, columns=columns, ages=ages)
