"""How the mixes of many herds are made: as sure as is worth its cost, weighable, under the ceiling of their kind."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from sideoats.cattle import ration_herds as herds
from sideoats.cattle.nutrition_book import Book
from sideoats.cattle.nutrition_feeds import OneFeed, Screened
from sideoats.cattle.ration import Feeds, Needs, Rations
from sideoats.cattle.ration_account import Account, account
from sideoats.cattle.ration_sure import Spread, affordable, sure, weighable
from sideoats.facts import Facts
from sideoats.question import Context

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
A_CENT = 0.01  # USD/head/day: a mix that saves less is no reason to change what they eat
A_TRACE = 1e-9  # the same mix summed in another order


def spread_of(context: Context, held: Sequence[Sequence[OneFeed]], s: Screened) -> Spread:
    """How the feeds of every herd vary: half of the published variation either way, less of what was tested; feeds of
    one row of the table err together, so that a second lot of the same hay makes nothing surer."""
    facts, shape = context.facts, s.feeds.price.shape
    rows, left = dict(facts["cattle/feeds.variation"].rows), facts.value("cattle/feeds.variation_tested")
    out = {}
    for part, row in (("tdn", "energy"), ("protein", "protein and fibre")):
        of = np.full(shape, float(rows[row]) / 2)
        for i, feeds in enumerate(held):
            of[i, : len(feeds)] *= [left if part in feed.measured else 1.0 for feed in feeds]
        out[part] = of
    group = np.tile(np.arange(shape[1]), (shape[0], 1))
    for i, feeds in enumerate(held):
        first: dict[str, int] = {}
        group[i, : len(feeds)] = [first.setdefault(f.row, k) for k, f in enumerate(feeds)]
    return Spread(out["tdn"], out["protein"], np.full(shape[0], 0.5), group)


Listed = tuple[Feeds, Sequence[Sequence[OneFeed]], Spread]


@dataclass(frozen=True, eq=False)
class Made:
    """Mixes of n herds: of what is on hand and with what could be bought, the chance that the floors of each are made
    to hold, and the needs that were used."""

    found: Rations
    assured: Floats
    bought: Rations
    assured_bought: Floats
    needs: Needs

    def where(self, rows: NDArray[np.int64], use: Bools, other: Made) -> Made:
        """The other's, made for these rows only, where `use` of them, else these."""
        n = len(self.needs)
        at, there = np.zeros(n, np.int64), np.zeros(n, bool)
        at[rows], there[rows[use]] = np.arange(rows.size), True
        sulfur, forage = (np.where(there, getattr(other.needs, k)[at], getattr(self.needs, k)) for k in
                          ("sulfur", "forage"))  # fmt: skip
        return Made(
            self.found.where(there, other.found.take(at)),
            np.where(there, other.assured[at], self.assured),
            self.bought.where(there, other.bought.take(at)),
            np.where(there, other.assured_bought[at], self.assured_bought),
            replace(self.needs, sulfur=sulfur, forage=forage),
        )

    @property
    def cost(self) -> Floats:
        """(n,) of what is on hand, or far over it with what is bought; infinite where there is neither."""
        with_bought = np.where(self.bought.feasible, 1e3 + self.bought.cost, np.inf)
        return np.where(self.found.feasible, self.found.cost, with_bought)


def solved(context: Context, needs: Needs, here: Listed, more: Listed) -> Made:
    """The cheapest mixes of what is on hand and with what could be bought.

    The ceiling of sulfur goes by the ration: one that is mostly forage may hold more. Where that decides anything, both
    kinds are made, and the cheaper is told.
    """
    usable = replace(needs, tdn=np.where(np.isnan(needs.tdn), needs.intake, needs.tdn))
    little, mostly = herds.by_ration(context, usable)
    out = made_of(context, usable, here, more)
    enough = mostly.forage * (1 - herds.UNDER)
    told = out.found.where(~out.found.feasible, narrowed(out.bought, out.found.pounds.shape[1]))
    # the ceiling that is told is that of the kind of ration; of a herd without a mix the higher one
    kind = np.where(told.feasible & (told.level["forage"] < enough), little.sulfur, usable.sulfur)
    out = replace(out, needs=replace(out.needs, sulfur=kind))
    over = np.zeros(len(needs), bool)
    for mix in (out.found, out.bought):
        rich = mix.level["sulfur"] > little.sulfur + A_TRACE
        over |= mix.feasible & rich & (mix.level["forage"] < enough)
    decides = np.flatnonzero(over)
    if not decides.size:
        return out
    lists = [rows_of(listed, decides) for listed in (here, more)]
    low, high = (made_of(context, kind.take(decides), *lists) for kind in (little, mostly))
    second = high.cost < low.cost
    return out.where(decides, ~second, low).where(decides, second, high)


def narrowed(found: Rations, width: int) -> Rations:
    """The same with the first feeds only: costs and levels stay those of all."""
    return replace(found, pounds=found.pounds[:, :width], worth=found.worth[:, :width])


def made_of(context: Context, needs: Needs, here: Listed, more: Listed) -> Made:
    """Mixes of what is on hand, and as sure ones with what could be bought."""
    found, assured = mixed(context, here, needs)
    return Made(found, assured, *buying(context, more, needs, np.where(found.feasible, assured, np.nan)), needs)


def buying(context: Context, more: Listed, needs: Needs, assured: Floats) -> tuple[Rations, Floats]:
    """The cheapest mixes with what could be bought; hay, last of a herd's feeds, only where it saves enough of it."""
    feeds, grown, spread = more
    found, assured = as_sure(context, more, needs, assured)
    hay = np.array([len(row) - 1 for row in grown])
    rows = np.flatnonzero(np.nan_to_num(found.pounds)[np.arange(len(hay)), hay] > 0)
    most = feeds.most_lb.copy()
    if rows.size:
        most[rows, hay[rows]] = 0.0
        listed = rows_of((replace(feeds, most_lb=most), grown, spread), rows)
        without, _ = as_sure(context, listed, needs.take(rows), assured[rows])
        least = np.maximum(context.facts.value("cattle/ration.worth_buying") * without.cost, A_CENT)
        plain = without.feasible & (without.cost - found.cost[rows] < least)
        at, use = np.zeros(len(hay), np.int64), np.zeros(len(hay), bool)
        at[rows], use[rows[plain]] = np.arange(rows.size), True
        found = found.where(use, without.take(at))
        most = np.where(use[:, None], most, feeds.most_lb)
    listed = replace(feeds, most_lb=most), grown, spread
    return weighed(context, listed, needs, found, assured), assured


def rows_of(listed: Listed, rows: NDArray[np.int64]) -> Listed:
    """The feeds of some herds."""
    feeds, held, spread = listed
    return feeds.take(rows), [held[i] for i in rows], spread.take(rows)


def mixed(context: Context, listed: Listed, needs: Needs) -> tuple[Rations, Floats]:
    """The cheapest mixes of amounts that can be weighed, and the chance that their floors are made to hold."""
    found, assured = as_sure(context, listed, needs, np.full(len(needs), np.nan))
    return weighed(context, listed, needs, found, assured), assured


def surety(facts: Facts) -> tuple[list[float], float]:
    """Chances with which floors are to hold, the greatest first, and what share of the cost that may take."""
    rows = facts["cattle/ration.surety"].rows
    ladder = sorted((float(share) for what, share in rows if what == "chance"), reverse=True)
    return ladder, next(float(share) for what, share in rows if what == "worth")


def as_sure(context: Context, listed: Listed, needs: Needs, assured: Floats) -> tuple[Rations, Floats]:
    """The cheapest mixes whose floors hold with that chance, (herd,); where it is NaN, with the greatest that costs
    little enough."""
    facts = context.facts
    feeds, _, spread = listed
    chance = assured.copy()
    free, set_ = np.flatnonzero(np.isnan(chance)), np.flatnonzero(~np.isnan(chance))
    ladder, worth = surety(facts)
    found, chance[free] = affordable(feeds.take(free), needs.take(free), spread.take(free), ladder, worth)
    if not set_.size:
        return found, chance
    spread = replace(spread, assurance=chance)
    second, held = sure(feeds.take(set_), needs.take(set_), spread.take(set_))
    chance[set_] = np.where(held, chance[set_], 0.5)
    at = np.empty(len(needs), np.int64)
    at[free], at[set_] = np.arange(free.size), free.size + np.arange(set_.size)
    return found.joined(second).take(at), chance


def weighed(context: Context, listed: Listed, needs: Needs, found: Rations, assured: Floats) -> Rations:
    """The same mixes in amounts that can be weighed."""
    feeds, held, spread = listed
    kinds = {str(k): float(v) for k, v in context.facts["cattle/ration.little"].rows}
    least = np.zeros(feeds.price.shape)
    for i, row in enumerate(held):
        least[i, : len(row)] = [kinds.get(f.kind, kinds["other"]) for f in row]
    return weighable(feeds, needs, replace(spread, assurance=assured), least, found)


def explained(context: Context, feeds: Feeds, needs: Needs, feasible: Bools) -> Account:
    """Why herds have no ration; nothing is looked for where there is one."""
    n = len(needs)
    out = Account(
        np.zeros(n, bool), np.zeros(n, bool), np.full(n, "", object), np.full(n, np.nan), np.full(n, np.nan),
        np.zeros(n), [[] for _ in range(n)],
    )  # fmt: skip
    rows = np.flatnonzero(~feasible)
    if not rows.size:
        return out
    book = [row for row in Book.of(context.facts).rows.values() if row["kind"] != "mineral" and row["tdn"] > 0]
    cleanest = {name: float(np.nanmin([row[name] for row in book])) for name in ("nitrate", "sulfur")}
    why = account(feeds.take(rows), needs.take(rows), cleanest=cleanest)
    for part in ("unsafe", "water", "hazard", "added_level", "added_lb", "unfilled"):
        getattr(out, part)[rows] = getattr(why, part)
    for at, i in enumerate(rows):
        out.short[i] = why.short[at]
    return out
