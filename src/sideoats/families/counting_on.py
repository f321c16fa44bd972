"""Counting further: the look worth offering, what is told of it, and the totals at which counting may stop."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.facts import Facts
from sideoats.families.counted import stop_lines
from sideoats.families.stopping import Stopping, stopping_of
from sideoats.families.treating import UNIT, Case
from sideoats.problem import Look
from sideoats.question import Context, Table
from sideoats.ruling import known_size

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
_COUNTING = "insects/counting."


def counting_on(
    table: Table,
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
    if case.look is not None or case.counted.scores is None:
        return (() if case.look is None else (case.look,)), None, None
    if stopping is None:
        lower, upper, more = _stop_lines(case, context, hidden)
        told = (np.where(hidden, np.nan, more), lower, upper)
        return (_look(table, context, case, more, recheck),), lambda ruling: _lines_told(case, *told), None

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

    None where no line can be drawn from the posterior: where the loss is not straight in the mean, or nothing counted.
    """
    if case.pays is None or case.look is not None or case.counted.scores is None:
        return None
    facts, counted = context.facts, case.counted
    kinds = {name: rest for name, *rest in facts[_COUNTING + "looks"].rows}
    told = np.broadcast_to(np.asarray(case.sample, dtype=object), counted.mean.shape)
    minutes, *sizes = np.array([kinds[str(sample)] for sample in told], dtype=float).reshape(-1, 4).T
    units = np.array(sizes)
    hours = (facts.value(_COUNTING + "visit_minutes") + units * minutes) / 60
    costs = hours * facts.value("decide/look.hour") / known_size(UNIT, table.number("acres"), facts)
    least = least_of(facts)
    tomorrow = np.broadcast_to(case.done[1].mean(axis=-1), counted.mean.shape)
    roof = np.full(len(table), np.inf) if case.roof is None else case.roof
    fewest = facts.value(_COUNTING + "fewest")
    sure, part, few = (facts.value(_COUNTING + name) for name in ("even_odds", "even_part", "too_few"))
    return stopping_of(
        counted, case.pays, roof, case.cost, (units, costs), tomorrow, least, fewest, _scatter(case), (sure, part, few)
    )


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


def _stop_lines(case: Case, context: Context, missing: Bools) -> tuple[Floats, Floats, Floats]:
    """Running totals at which counting may stop, and about how many more units that takes."""
    counted, hidden = case.counted, missing | ~np.isfinite(case.lines[1])
    lower, upper = stop_lines(*case.lines, context, counted, hidden)
    following = replace(counted, units=counted.units + 1)
    slope = stop_lines(*case.lines, context, following, hidden)[1] - upper
    total = np.nan_to_num(counted.mean * counted.sample) * np.nan_to_num(counted.units)
    pace = np.nan_to_num(counted.mean * counted.sample) - slope
    gap = np.where(pace >= 0, upper - total, total - lower)
    with np.errstate(divide="ignore", invalid="ignore"):
        more = np.where((total >= upper) | (total <= lower), 0.0, np.ceil(gap / np.abs(pace)))
    return lower, upper, np.minimum(more, _sizes(case, context)[2])


def _sizes(case: Case, context: Context) -> tuple[Floats, Floats, Floats]:
    """(place,) minutes for one unit, and the fewest and most units that one further look takes."""
    kinds = {name: rest for name, *rest in context.facts[_COUNTING + "looks"].rows}
    told = np.broadcast_to(np.asarray(case.sample, dtype=object), case.counted.mean.shape)
    minutes, few, _, many = np.array([kinds[str(sample)] for sample in told], dtype=float).reshape(-1, 4).T
    return minutes, few, many


def few_units(case: Case, context: Context) -> Bools:
    """(place,) so few units, or pests so clumped on them, that their mean hardly tells of the field."""
    return np.asarray(case.counted.units * case.counted.k <= context.facts.value(_COUNTING + "too_few"))


def _look(table: Table, context: Context, case: Case, more: Floats, recheck: NDArray[np.int64]) -> Look:
    """One more count: as many units as would reach a stop line, at the minutes that they take."""
    facts, counted = context.facts, case.counted
    each, few, many = _sizes(case, context)
    units = np.clip(np.nan_to_num(more), few, many)
    today = counted.density if case.density is None else case.density
    one = np.nan_to_num(today, nan=1.0) * counted.sample[:, None]
    mean = one * units[:, None]
    # the total that would be counted, by its own mean and variance: empty fields then look empty
    spread = np.sqrt(mean * (1 + one / counted.k[:, None]))
    total = mean + spread * context.outlook.normal(f"{case.words} next look", table.keys)
    signal = np.log1p(np.maximum(total, 0.0))
    minutes = facts.value(_COUNTING + "visit_minutes") + units * each
    size = known_size(UNIT, table.number("acres"), facts)
    within = np.where(few_units(case, context), 1, int(facts[_COUNTING + "next_look"].low))
    soon = np.minimum(np.where(recheck < 0, 7, recheck), within)
    return Look(
        signal,
        cost=minutes / 60 * facts.value("decide/look.hour") / size,
        within=soon.astype(np.int64),
        delay=1,
        units=units,
    )
