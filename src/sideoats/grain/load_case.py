"""One load priced by each buyer's dated schedule: what it nets there, and what keeps a schedule from pricing it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.crops import bushel_pounds
from sideoats.document import Document
from sideoats.errors import InputError
from sideoats.grain.condition import wheat_grade
from sideoats.grain.load import load_value
from sideoats.grain.schedule import Priced, apply_schedule, holds_on
from sideoats.question import Context, Table
from sideoats.words import Measured, Said, Term, say

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

FACTORS = ("moisture", "test_weight", "protein", "foreign_material", "damage", "heat_damage", "shrunken_broken")
UNITS = {"test_weight": "lb/bu"}  # the others are percent
CONDITIONS = ("odor", "heating", "insects")
MOST_BUYERS = 12
BIDS_APART = 1.5  # bids for one crop on one day differ by cents; half as much again is a slip


@dataclass(frozen=True)
class Offer:
    """One buyer's terms for one row."""

    record: Mapping[str, Any]
    bid: float
    freight: float


Reading = Callable[[Document], dict[str, Any]]  # a schedule file -> its checked record


def offers_of(table: Table, read: Reading) -> list[dict[str, Offer]]:
    """For each row, buyer name -> terms. A schedule file is read once.

    Raises InputError where a row names a buyer twice.
    """
    files: dict[Document, dict[str, Any]] = {}
    rows = []
    for records in table.rows("buyers"):
        offers: dict[str, Offer] = {}
        for entry in records or ():
            schedule = entry["schedule"]
            if schedule not in files:
                files[schedule] = read(schedule)
            record = files[schedule]
            bid = entry["bid"] if entry["bid"] is not None else record["bid"]
            if record["buyer"] in offers:
                raise InputError(f"buyer {record['buyer']!r} is given twice", where="load-price buyers")
            offers[record["buyer"]] = Offer(record, np.nan if bid is None else bid, entry["freight"] or 0.0)
        rows.append(offers)
    return rows


def check(values: dict[str, Any], read: Reading) -> None:
    """Refuse offers that cannot be weighed: too many, without a bid, of two commodities, or with a slipped decimal."""
    where = "load-price buyers"
    if len(values["buyers"]) > MOST_BUYERS:
        raise InputError(f"{len(values['buyers'])} buyers are given", where=where, expected=f"at most {MOST_BUYERS}")
    records = [read(entry["schedule"]) for entry in values["buyers"]]
    bids = []
    for entry, record in zip(values["buyers"], records, strict=True):
        bid = record["bid"] if entry["bid"] is None else entry["bid"]
        if bid is None:
            named = f"neither the schedule {entry['schedule'].name!r} nor the entry holds a bid"
            raise InputError(named, where=where, expected="bid=5.60 USD/bu")
        bids.append(bid)
    if bids and max(bids) > BIDS_APART * min(bids):
        apart = f"the bids run from {min(bids):.2f} to {max(bids):.2f} USD/bu"
        raise InputError(apart, where=where, expected="bids that differ by cents; is a decimal point misplaced?")
    commodities = sorted({record["commodity"] for record in records})
    if len(commodities) > 1:
        raise InputError(f"the schedules price {' and '.join(commodities)}", where=where, expected="one commodity")


@dataclass(frozen=True)
class Loads:
    """What each buyer pays; arrays (place, buyer), unless said.

    Attributes
    ----------
    names : the buyers, by name
    net_bushels [bu], money [USD], adjustment [USD/bu], shrink [percent]
    asked : the row names that buyer; in_force : his schedule holds today
    unpriced : (row, buyer) -> the factors that stand in the way, in words
    grade : (place,) U.S. grade number of wheat by the factors given; NaN for other crops or where none is given
    """

    names: list[str]
    net_bushels: Floats
    money: Floats
    adjustment: Floats
    shrink: Floats
    asked: Bools
    in_force: Bools
    unpriced: dict[tuple[int, int], tuple[Said, ...]]
    grade: Floats

    @property
    def complete(self) -> Bools:
        """(place, buyer) the schedule prices the load."""
        out = self.asked.copy()
        for row, at in self.unpriced:
            out[row, at] = False
        return out

    @property
    def open(self) -> Bools:
        """(place, buyer) one could sell there today."""
        return np.asarray(self.complete & self.in_force)

    def lead(self) -> Floats:
        """(place,) by how much the best buyer leads the next [USD]; NaN where there is no next."""
        money = np.where(self.open, self.money, np.nan)
        if len(self.names) < 2:
            return np.full(len(money), np.nan)
        ranked = np.sort(money, axis=1)  # NaN goes last
        count = (~np.isnan(ranked)).sum(axis=1)
        rows = np.arange(len(money))
        return np.where(count > 1, ranked[rows, count - 1] - ranked[rows, np.maximum(count - 2, 0)], np.nan)


def loads_of(table: Table, context: Context, offers: list[dict[str, Offer]]) -> Loads:
    """Every row at every buyer that it names."""
    names = sorted({name for own in offers for name in own})
    shape = (len(table), len(names))
    bushels, money, adjustment, shrink = (np.full(shape, np.nan) for _ in range(4))
    asked, force = (np.zeros(shape, bool) for _ in range(2))
    unpriced: dict[tuple[int, int], tuple[Said, ...]] = {}
    for at, name in enumerate(names):  # a loop over buyers; rows that share a schedule are priced together
        groups: dict[int, list[int]] = {}
        for row, own in enumerate(offers):
            if name in own:
                groups.setdefault(id(own[name].record), []).append(row)
        for members in groups.values():
            rows = np.array(members)
            record = offers[members[0]][name].record
            priced = apply_schedule(record, {factor: table.number(factor)[rows] for factor in FACTORS})
            pounds = record["pounds_per_bushel"] or bushel_pounds(record["commodity"])
            bushels[rows, at], money[rows, at] = load_value(
                table.number("gross")[rows],
                dockage=table.number("dockage")[rows],
                pounds_per_bushel=pounds,
                price=np.array([offers[r][name].bid for r in members]),
                shrink=priced.shrink,
                adjustment=priced.adjustment,
                freight=np.array([offers[r][name].freight for r in members]),
                assessment=record["assessment"],
            )
            adjustment[rows, at], shrink[rows, at] = priced.adjustment, priced.shrink
            force[rows, at], asked[rows, at] = holds_on(record, context.on), True
            for k, row in enumerate(members):
                found = (*_in_the_way(table, priced, row, k), *_unlisted(table, context, record, row))
                if found:
                    unpriced[row, at] = found
    return Loads(names, bushels, money, adjustment, shrink, asked, force, unpriced, _grade(table, context, offers))


def _unlisted(table: Table, context: Context, record: Mapping[str, Any], row: int) -> list[Said]:
    """What is off about a load and not in the schedule: no discount is printed for it, so it is asked."""
    sound = dict(context.facts[f"grain/sound_load.{record['commodity'].split()[-1]}"].rows)
    found = []
    for name in FACTORS:
        measured, line = float(table.number(name)[row]), sound.get(name)
        if record.get(name) or line is None or np.isnan(measured):
            continue
        if (measured < line) if name == "test_weight" else (measured > line):
            shown = Measured(measured, unit=UNITS.get(name, "percent"))
            found.append(say("load.why.unlisted", factor=Term(name, of="load"), x=shown))
    return [*found, *(say(f"load.why.{name}") for name in CONDITIONS if table.flag(name)[row])]


def _in_the_way(table: Table, priced: Priced, row: int, member: int) -> list[Said]:
    """The factors that a schedule prices and this load cannot be priced by."""
    lacking = [name for name, off in priced.by_factor.items() if np.isnan(off[member])]
    if np.isnan(priced.shrink[member]) and "moisture" not in lacking:
        lacking.append("moisture")
    why = {name: "beyond" if np.isfinite(table.number(name)[row]) else "unmeasured" for name in lacking}
    return [say(f"load.why.{what}", factor=Term(name, of="load")) for name, what in why.items()]


def _grade(table: Table, context: Context, offers: list[dict[str, Offer]]) -> Floats:
    grade = wheat_grade(
        context.facts["grain/wheat_grade"],
        table.number("test_weight"),
        heat_damage=table.number("heat_damage"),
        damage=table.number("damage"),
        foreign=table.number("foreign_material"),
        shrunken=table.number("shrunken_broken"),
    )
    wheat = np.array([any(o.record["commodity"] == "wheat" for o in own.values()) for own in offers], bool)
    return np.where(wheat & (grade > 0), grade.astype(np.float64), np.nan)


def strange_protein(table: Table, context: Context, offers: list[dict[str, Offer]]) -> Bools:
    """(place,) wheat whose protein hardly any wheat has: a price by steps would follow a slip out of all reason."""
    low, high = context.facts.span("grain/protein_asked")
    protein = table.number("protein")
    wheat = np.array([any(o.record["commodity"] == "wheat" for o in own.values()) for own in offers], bool)
    return np.asarray(wheat & ((protein < low) | (protein > high)))
