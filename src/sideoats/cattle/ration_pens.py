"""A ration as it is mixed and fed: the day's batch and its loads, hay wasted at the feeder, bunk, two pens, less feed.

Thin and young animals in a pen of their own are fed what they need; the herd in one pen would have to be fed as they
are, or leave them short. What sorting saves is the first of these against two pens.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from sideoats.cattle import ration_case as case
from sideoats.cattle import ration_herds as herds
from sideoats.cattle import ration_made as made
from sideoats.cattle.nutrition_feeds import OneFeed
from sideoats.cattle.ration import FLOORS, LIMITS, Needs, Rations, in_turn, solve
from sideoats.question import Context, Table

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
INCHES_OF_FOOT = 12.0


@dataclass(frozen=True, eq=False)
class Apart:
    """A pen of the thin and the young of each herd, (n,) each.

    Attributes
    ----------
    there : such a pen is told
    head, rest : in it, and left in the herd
    thin : some in it are thin
    found, bought : the cheapest mix for it, and whether what could be bought is in it
    one_pen, two_pens : cost of all of them a day, fed alike as the thin and young need, and sorted [USD]
    """

    there: Bools
    head: Floats
    rest: Floats
    thin: Floats
    young: Floats
    found: Rations
    bought: Bools
    one_pen: Floats
    two_pens: Floats

    @property
    def saves(self) -> Floats:
        """(n,) USD a day of the whole herd; NaN where either cannot be made."""
        return self.one_pen - self.two_pens


def apart_of(table: Table, context: Context, plan: case.Plan) -> Apart:
    """See `Apart`; growing cattle and bulls are not split so."""
    thin, young, head = (np.nan_to_num(table.number(k)) for k in ("thin_head", "young_head", "head"))
    there = (thin + young > 0) & (head > thin + young) & plan.herd.grown & ~np.isin(plan.herd.words, ["bull"])
    parts = []
    for count, kind in ((thin, {"thin": True}), (young, {"young": True})):
        if (there & (count > 0)).any():
            herd = herds.herd_of(table, context, **kind)
            parts.append((count, herds.needs_in(table, context, herd, plan.s)[0]))
    n = len(table)
    if not parts:
        none = np.full(n, np.nan)
        return Apart(there, thin + young, head, thin, young, plan.found, np.zeros(n, bool), none, none)
    needs = _together(parts)
    listed = ((plan.s.feeds, plan.held, plan.spread), (plan.more.feeds, plan.grown, plan.spread_more))
    both = made.solved(context, needs, *listed)
    found, bought = both.found, both.bought
    wide = bought.pounds.shape[1]
    grown = np.full((n, wide), np.nan)
    grown[:, : found.pounds.shape[1]] = found.pounds
    use = ~found.feasible & bought.feasible
    mix = replace(found, pounds=grown, worth=np.full((n, wide), np.nan)).where(use, bought)
    eaten_apart, eaten = in_turn(np.nan_to_num(mix.pounds)), in_turn(np.nan_to_num(plan.chosen_pounds()))
    with np.errstate(invalid="ignore", divide="ignore"):
        alike = mix.cost / eaten_apart * (eaten_apart * (thin + young) + eaten * (head - thin - young))
    sorted_ = mix.cost * (thin + young) + plan.cost * (head - thin - young)
    return Apart(there, thin + young, head - thin - young, thin, young, mix, use, alike, sorted_)


def _together(parts: list[tuple[Floats, Needs]]) -> Needs:
    """Needs of a pen in which several kinds eat one mix: the mean intake, and of every floor the densest."""
    counts = np.array([count for count, _ in parts])
    weights = counts / np.maximum(counts.sum(axis=0), 1.0)
    weights = np.where(counts.sum(axis=0) > 0, weights, 1.0 / len(parts))
    intake = sum(w * needs.intake for w, (_, needs) in zip(weights, parts, strict=True))
    used = [np.where(w > 0, 1.0, np.nan) for w in weights]
    first = parts[0][1]
    changes: dict[str, Floats] = {"intake": intake}
    for name in FLOORS:
        dense = [on * getattr(n, name) / n.intake for on, (_, n) in zip(used, parts, strict=True)]
        changes[name] = np.fmax.reduce(dense) * intake
    for name in LIMITS:
        loose = [on * getattr(n, name) / n.intake for on, (_, n) in zip(used, parts, strict=True)]
        changes[name] = np.fmin.reduce(loose) * intake
    return replace(first, **changes)


@dataclass(frozen=True, eq=False)
class Batch:
    """One day's feed of one herd as it is mixed.

    Attributes
    ----------
    parts : lb as fed of each feed a head, and the feed; the most first
    head : animals
    loads : of the mixer a day; 1 where its size is not known
    """

    parts: tuple[tuple[float, OneFeed], ...]
    head: float
    loads: int

    @property
    def pounds(self) -> float:
        """All that is mixed in a day [lb as fed]."""
        return self.head * sum(fed for fed, _ in self.parts)


def batch_of(table: Table, plan: case.Plan, i: int) -> Batch | None:
    """The day's batch, where it is known how many are fed; the thin and young in a pen of their own are not in it."""
    head = float(table.number("head")[i])
    found, feeds = plan.chosen(i)
    if not (found.feasible[i] and math.isfinite(head)):
        return None
    batch = Batch(parts_of(found, feeds, i), float(case.left_in_herd(table, plan)[i]), 1)
    mixer = float(table.number("mixer")[i])
    return replace(batch, loads=max(math.ceil(batch.pounds / mixer - 1e-9), 1)) if math.isfinite(mixer) else batch


def batch_apart(apart: Apart, plan: case.Plan, i: int) -> Batch | None:
    """The day's batch of the thin and young, where there is such a pen and a mix for it."""
    if not (apart.there[i] and apart.found.feasible[i]):
        return None
    feeds = plan.grown[i] if apart.bought[i] else plan.held[i]
    return Batch(parts_of(apart.found, feeds, i), float(apart.head[i]), 1)


def parts_of(found: Rations, feeds: list[OneFeed], i: int) -> tuple[tuple[float, OneFeed], ...]:
    """Pounds as fed of each feed in one herd's mix, and the feed; the most first."""
    parts = [(float(p) / f.dry_matter, f) for p, f in zip(found.pounds[i], feeds, strict=False) if p > case.WEIGHED]
    return tuple(sorted(parts, key=lambda one: (-one[0], one[1].name)))


def bunk_of(context: Context, plan: case.Plan, i: int) -> tuple[float, float]:
    """Inches of bunk a head, from and to: of limit-fed cows, of cattle that get grain or a supplement by hand, or of
    those with feed always before them."""
    rows = {str(k): (float(low), float(high)) for k, low, high in context.facts["cattle/limit_feeding.bunk"].rows}
    if plan.herd.limited[i] and not plan.herd.growing[i]:
        return rows["limit-fed cow"]
    found, feeds = plan.chosen(i)
    fed = [f for p, f in zip(found.pounds[i], feeds, strict=False) if p > case.WEIGHED]
    by_hand = any(f.kind in ("grain", "byproduct", "meal") for f in fed)
    mixed_in = any("silage" in f.name.lower() for f in fed)  # a mixed ration lies there all day
    return rows["calf fed by hand" if by_hand and not mixed_in else "feed always there"]


def crowded(table: Table, context: Context, plan: case.Plan) -> Bools:
    """(n,) limit-fed cattle that cannot all eat at once at the bunk there is."""
    bunk, head = table.number("bunk") * INCHES_OF_FOOT, table.number("head")
    least = np.array([bunk_of(context, plan, i)[0] for i in range(len(table))])
    return np.asarray(plan.herd.limited & plan.found.feasible & (bunk < head * least), dtype=bool)


def limit_fed(table: Table, context: Context, plan: case.Plan, least_saved: float) -> Floats:
    """(n,) what the same feeds would cost limit-fed [USD/head/day], for cows that are not and have grain; else NaN, as
    where it saves less than that share of the cost."""
    grain = np.array([any(f.kind == "grain" and f.name not in out for f in feeds)
                      for feeds, out in zip(plan.held, plan.s.out, strict=True)], dtype=bool)  # fmt: skip
    herd = plan.herd
    rows = np.flatnonzero(grain & herd.grown & ~herd.limited & ~herd.snap & ~table.flag("weakened") & ~herd.thin)
    out = np.full(len(table), np.nan)
    if not rows.size:
        return out
    needs, _ = herds.needs_in(table, context, replace(herd, limited=np.ones(len(table), bool)), plan.s)
    listed = made.rows_of((plan.s.feeds, plan.held, plan.spread), rows)
    little, _ = herds.by_ration(context, needs.take(rows))
    little = replace(little, tdn=np.where(np.isnan(little.tdn), little.intake, little.tdn))
    # no mix that is sure of its floors costs less than the one that meets them on paper
    worth = solve(listed[0], little).cost <= plan.cost[rows] * (1 - least_saved)
    listed = made.rows_of(listed, np.flatnonzero(worth))
    rows, little = rows[worth], little.take(np.flatnonzero(worth))
    if rows.size:
        out[rows] = made.mixed(context, listed, little)[0].cost
    return out
