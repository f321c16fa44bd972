"""Counting further: the look worth offering, what is told of it, and the totals at which counting may stop."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.facts import Facts
from sideoats.families.stopping import Stopping, stopping_of
from sideoats.families.treating import UNIT, Case
from sideoats.problem import Look
from sideoats.question import Context, Table
from sideoats.ruling import known_size

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
_COUNTING = "insects/counting."


def counting_on(
    context: Context,
    case: Case,
    recheck: NDArray[np.int64],
    out: tuple[Bools, Bools],
    stopping: Stopping | None,
) -> tuple[tuple[Look, ...], Any, Any]:
    """The look worth offering, the quantities about further counting, and the stop lines for a phone.

    `out` has the places without an answer, and those where no day is open after a look; `stopping` is as of
    `stopping_here`.
    """
    hidden, shut = out
    if stopping is None:
        return (() if case.look is None else (case.look,)), None, None

    def ruled(ruling: Any) -> Mapping[str, tuple[Any, Any]]:
        below, above = (np.where(hidden, np.nan, line) for line in stopping.lines(case.counted.units))
        more = stopping.more(*case.counted.stood)
        return _lines_told(case, np.where(hidden, np.nan, more), below, above)

    return (_look_by(case, context, stopping, recheck, hidden | shut),), ruled, stopping.every


def _lines_told(case: Case, more: Floats, below: Floats, above: Floats) -> dict[str, tuple[Any, Any]]:
    found = {
        "units_to_count_more": (more, case.sample),
        "stop_line_below": (below, "counted in all"),
        "stop_line_treat": (above, "counted in all"),
    }
    return {case.named.get(name, name): value for name, value in found.items()}


def stopping_here(table: Table, context: Context, case: Case) -> Stopping | None:
    """What the end of counting rests on here: this farm's price and cost, the field's own k, the minutes of a look.

    None where nothing is counted unit by unit.
    """
    if case.saving is None:
        return None
    facts, counted = context.facts, case.counted
    kinds = {name: rest for name, *rest in facts[_COUNTING + "looks"].rows}
    told = np.broadcast_to(np.asarray(case.sample, dtype=object), counted.mean.shape)
    minutes, *sizes = np.array([kinds[str(sample)] for sample in told], dtype=float).reshape(-1, 4).T
    units = np.array(sizes)
    hours = (facts.value(_COUNTING + "visit_minutes") + units * minutes) / 60
    costs = hours * facts.value("decide/look.hour") / known_size(UNIT, table.number("acres"), facts)
    least = least_of(facts)
    done = case.done[1].mean(axis=-1) if case.tomorrow is None else case.tomorrow
    tomorrow = np.broadcast_to(done, counted.mean.shape)
    fewest = least_units(case, facts, "fewest")
    sure, part, few = (facts.value(_COUNTING + name) for name in ("even_odds", "even_part", "too_few"))
    return stopping_of(
        counted,
        case.saving,
        case.cost - case.spared,
        (units, costs),
        tomorrow,
        least,
        fewest,
        _scatter(case),
        (sure, part, few),
    )


def least_units(case: Case, facts: Facts, column: str) -> Floats:
    """(place,) units of the kind looked at under which no count is weighed, or that a count asks for."""
    fact = facts[_COUNTING + "least"]
    units = dict(zip(fact.column("sample"), fact.column(column), strict=True))
    told = np.broadcast_to(np.asarray(case.sample, dtype=object), case.cost.shape)
    return np.array([float(units[str(sample)]) for sample in told])


def least_of(facts: Facts) -> float:
    """The least gain for which a pass is made [USD/ac]."""
    return float({(kind, unit): low for kind, unit, low in facts["decide/trouble.least"].rows}["pass", UNIT])


def _scatter(case: Case) -> Floats:
    """(node, place) the mean at which treating pays over its middle, for equally likely fifths of a pest's cost."""
    if case.uneven is None:
        return np.ones((1, len(case.cost)))
    draws = case.uneven.shape[-1]
    middles = [int(q * draws) for q in (0.1, 0.3, 0.5, 0.7, 0.9)]
    fifths = np.partition(case.uneven, middles, axis=-1)[:, middles].T
    return np.broadcast_to(1.0 / np.maximum(fifths, 1e-3), (5, len(case.cost)))


def _look_by(case: Case, context: Context, stopping: Stopping, recheck: NDArray[np.int64], nothing: Bools) -> Look:
    """One more count, of the size that nets most; its worth by the posterior that the stop lines are drawn from."""
    counted = case.counted
    worth = stopping.looks(*counted.stood)
    at = (worth - stopping.costs).argmax(axis=0)[None]
    units, cost, best = (np.take_along_axis(of, at, 0)[0] for of in (stopping.sizes, stopping.costs, worth))
    within = np.where(few_units(case, context), 1, int(context.facts[_COUNTING + "next_look"].low))
    soon = np.minimum(np.where(recheck < 0, 7, recheck), within)
    lost = stopping.delayed(*counted.stood)
    known = np.where(nothing | np.isnan(counted.units), 0.0, np.maximum(best - lost, 0.0))
    return Look(known[:, None], cost=cost, within=soon.astype(np.int64), delay=1, units=units, worth=known)


def few_units(case: Case, context: Context) -> Bools:
    """(place,) so few units, or pests so clumped on them, that their mean hardly tells of the field."""
    return np.asarray(case.counted.units * case.counted.k <= context.facts.value(_COUNTING + "too_few"))
