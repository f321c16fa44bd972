"""load-price: what one load brings at each buyer under that buyer's own dated schedule, freight included."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.call import ACT, LOOK
from sideoats.decide import decide
from sideoats.errors import InputError
from sideoats.grain.condition import wheat_grade
from sideoats.grain.load import load_value
from sideoats.grain.schedule import Priced, apply_schedule, holds_on
from sideoats.question import Answers, Bar, Context, Option, Question, Table
from sideoats.schema import Field

Floats = NDArray[np.float64]

BUYER = (
    Field("schedule", "text", "path of the buyer's schedule, a TOML file", required=True),
    Field("bid", "number", "the bid today, where the schedule does not hold it", unit="USD/bu", low=0.2, high=60),
    Field("freight", "number", "haul to this buyer", unit="USD/bu", low=0, high=5, default=0.0),
)
INPUTS = (
    Field("gross", "number", "scale weight of the grain", unit="lb", low=100, high=10_000_000, required=True,
          example="60000 lb"),
    Field("buyers", "records", "each buyer's schedule, bid and freight", required=True, fields=BUYER,
          example="schedule=ridge.toml, bid=5.60 USD/bu, freight=0.18 USD/bu; schedule=mill.toml"),
    Field("dockage", "share", "dockage, as a share of the load", high=0.4, required=True, example="1.5 %"),
    Field("moisture", "number", "moisture", unit="percent", low=4, high=45, example="12.8 %"),
    Field("test_weight", "number", "test weight", unit="lb/bu", low=30, high=75, example="58.5 lb/bu"),
    Field("protein", "number", "protein, on the schedule's moisture basis", unit="percent", low=4, high=25),
    Field("foreign_material", "number", "foreign material", unit="percent", low=0, high=50),
    Field("damage", "number", "damaged kernels, total", unit="percent", low=0, high=100),
    Field("heat_damage", "number", "heat-damaged kernels", unit="percent", low=0, high=100),
    Field("shrunken_broken", "number", "shrunken and broken kernels", unit="percent", low=0, high=100),
)  # fmt: skip
FACTORS = ("moisture", "test_weight", "protein", "foreign_material", "damage", "heat_damage", "shrunken_broken")
MOST_BUYERS = 12
CAUTIONS = (
    "A schedule is dated and differs by buyer: confirm it at the scale. The buyer's sample and grade decide.",
    "Grade 6 stands for U.S. Sample grade; only the factors given were looked at.",
)


@dataclass(frozen=True)
class Offer:
    """One buyer's terms for one row."""

    record: Mapping[str, Any]
    bid: float
    freight: float


def _record(path: str) -> dict[str, Any]:
    from sideoats.intake.buyer_schedule import read_buyer_schedule

    return read_buyer_schedule(Path(path))


def _offers(table: Table) -> list[dict[str, Offer]]:
    """For each row, buyer name -> terms. A schedule file is read once."""
    files: dict[str, dict[str, Any]] = {}
    rows = []
    for records in table.rows("buyers"):
        offers: dict[str, Offer] = {}
        for entry in records or ():
            path = entry["schedule"]
            if path not in files:
                files[path] = _record(path)
            record = files[path]
            bid = entry["bid"] if entry["bid"] is not None else record["bid"]
            if record["buyer"] in offers:
                raise InputError(f"buyer {record['buyer']!r} is given twice", where="load-price buyers")
            offers[record["buyer"]] = Offer(record, np.nan if bid is None else bid, entry["freight"] or 0.0)
        rows.append(offers)
    return rows


def _check(values: dict[str, Any]) -> None:
    if len(values["buyers"]) > MOST_BUYERS:
        raise InputError(
            f"{len(values['buyers'])} buyers are given", where="load-price buyers", expected=f"at most {MOST_BUYERS}"
        )
    commodities = set()
    for entry in values["buyers"]:
        record = _record(entry["schedule"])
        commodities.add(record["commodity"])
        if entry["bid"] is None and record["bid"] is None:
            raise InputError(
                f"neither the schedule {entry['schedule']!r} nor the entry holds a bid", where="load-price buyers",
                expected="bid=5.60 USD/bu",
            )  # fmt: skip
    if len(commodities) > 1:
        raise InputError(
            f"the schedules price {' and '.join(sorted(commodities))}", where="load-price buyers",
            expected="one commodity",
        )  # fmt: skip


@dataclass(frozen=True)
class Sums:
    """Arrays (place, buyer)."""

    net_bushels: Floats
    money: Floats
    adjustment: Floats
    shrink: Floats
    complete: NDArray[np.bool_]
    asked: NDArray[np.bool_]
    in_force: NDArray[np.bool_]
    unpriced: dict[tuple[int, int], str]  # (place, buyer) -> the factors that stand in the way, in words


def _sums(table: Table, context: Context, offers: list[dict[str, Offer]], names: list[str]) -> Sums:
    shape = (len(table), len(names))
    bushels, money, adjustment, shrink = (np.full(shape, np.nan) for _ in range(4))
    complete, asked, force = (np.zeros(shape, bool) for _ in range(3))
    unpriced: dict[tuple[int, int], str] = {}
    for at, name in enumerate(names):  # a loop over buyers; rows that share a schedule are priced together
        groups: dict[int, list[int]] = {}
        for row, own in enumerate(offers):
            if name in own:
                groups.setdefault(id(own[name].record), []).append(row)
        for members in groups.values():
            rows = np.array(members)
            record = offers[members[0]][name].record
            priced = apply_schedule(record, {factor: table.number(factor)[rows] for factor in FACTORS})
            pounds = record["pounds_per_bushel"] or context.facts.value(
                f"grain/bushel.{record['commodity'].split()[-1]}"
            )
            bushels[rows, at], money[rows, at] = load_value(
                table.number("gross")[rows], dockage=table.number("dockage")[rows], pounds_per_bushel=pounds,
                price=np.array([offers[r][name].bid for r in members]), shrink=priced.shrink,
                adjustment=priced.adjustment, freight=np.array([offers[r][name].freight for r in members]),
                assessment=record["assessment"],
            )  # fmt: skip
            adjustment[rows, at], shrink[rows, at] = priced.adjustment, priced.shrink
            complete[rows, at], asked[rows, at] = priced.complete, True
            force[rows, at] = holds_on(record, context.on)
            for k in np.flatnonzero(~priced.complete).tolist():
                unpriced[members[k], at] = _in_the_way(table, priced, members[k], k)
    return Sums(bushels, money, adjustment, shrink, complete, asked, force, unpriced)


def _in_the_way(table: Table, priced: Priced, row: int, member: int) -> str:
    """The factors that a schedule prices and this load cannot be priced by, with the reason."""
    lacking = [name for name, off in priced.by_factor.items() if np.isnan(off[member])]
    if np.isnan(priced.shrink[member]) and "moisture" not in lacking:
        lacking.append("moisture")
    words = []
    for name in lacking:
        known = np.isfinite(table.number(name)[row])
        words.append(f"{name.replace('_', ' ')} {'lies beyond its last band' if known else 'is not measured'}")
    return "; ".join(words)


def _unusual(offers: list[dict[str, Offer]], context: Context) -> list[list[str]]:
    """Moisture shrink of a schedule beyond what is in use, in words, by row."""
    factor_most, loss_most = context.facts.span("grain/pencil_factor")[1], context.facts.span("grain/handling_loss")[1]
    found = []
    for own in offers:
        lines = []
        for name, offer in own.items():
            moisture = offer.record.get("moisture") or {"shrink": "none"}
            if moisture["shrink"] == "pencil" and moisture["factor"] > factor_most:
                lines.append(f"{name} takes {moisture['factor']:g} % a point; factors in use go to {factor_most:g}.")
            if moisture["shrink"] == "water" and (moisture["handling"] or 0.0) > loss_most:
                taken = f"{name} takes {moisture['handling']:g} % for handling"
                lines.append(f"{taken}; the most that was measured is {loss_most:g} %.")
        found.append(lines)
    return found


def _grade(table: Table, context: Context, offers: list[dict[str, Offer]]) -> Floats:
    """(place,) U.S. grade number of wheat from the factors given; NaN for other crops or where none is given."""
    grade = wheat_grade(
        context.facts["grain/wheat_grade"], table.number("test_weight"), heat_damage=table.number("heat_damage"),
        damage=table.number("damage"), foreign=table.number("foreign_material"),
        shrunken=table.number("shrunken_broken"),
    )  # fmt: skip
    wheat = np.array([any(o.record["commodity"] == "wheat" for o in own.values()) for own in offers], bool)
    return np.where(wheat & (grade > 0), grade.astype(np.float64), np.nan)


def _because(offers: list[dict[str, Offer]], names: list[str], sums: Sums, i: int) -> list[str]:
    lines = []
    for at, name in enumerate(names):
        own = offers[i].get(name)
        if own is not None and sums.complete[i, at]:
            lines.append(
                f"{name}, schedule of {own.record['effective']}: bid {own.bid:.2f}, premiums less discounts "
                f"{sums.adjustment[i, at]:+.2f}, freight {own.freight:.2f} USD/bu; {sums.net_bushels[i, at]:,.1f} bu "
                f"after dockage and {sums.shrink[i, at]:.2f} % moisture shrink."
            )
    return lines


def _incomplete(sums: Sums, at: int) -> Bar:
    """The bar of one buyer whose schedule does not price a load."""
    mask = np.zeros_like(sums.asked)
    mask[:, at] = sums.asked[:, at] & ~sums.complete[:, at]
    return Bar(mask, lambda i: f"{sums.unpriced.get((i, at), '')}: ask the buyer")


def _unpriced(names: list[str], sums: Sums, i: int) -> str:
    """Why schedules do not price a load; each buyer is named where they differ."""
    found = {names[at]: words for (row, at), words in sums.unpriced.items() if row == i}
    if len(set(found.values())) == 1:
        return f"{next(iter(found.values()))}: ask the buyer"
    return "; ".join(f"{name}: {words}" for name, words in found.items()) + ": ask the buyers"


def _no_buyer(i: int) -> str:
    return "No buyer's schedule is given or on file: ask the buyers for theirs."


def answer(table: Table, context: Context) -> Answers:
    """See `QUESTION`."""
    offers = _offers(table)
    names = sorted({name for own in offers for name in own})
    if not names:
        return Answers(
            table, context, headline=_no_buyer, because=lambda i: [], missing=np.ones(len(table), bool),
            missing_headline=_no_buyer(0), cautions=CAUTIONS,
        )  # fmt: skip
    sums = _sums(table, context, offers, names)
    options = tuple(Option(f"buyer-{at + 1}", f"Sell to {name}", day=0) for at, name in enumerate(names))
    bars = (
        Bar(~sums.asked, "not asked"),
        Bar(sums.asked & ~sums.in_force, "the schedule is not in force today: ask for the current one"),
        *(_incomplete(sums, at) for at in range(len(names))),
    )
    barred = np.logical_or.reduce([bar.mask for bar in bars])
    decision = decide(sums.money[:, None, :], barred=barred, days=np.zeros(len(names)))
    sold = decision.best >= 0
    unusual = _unusual(offers, context)

    def at_best(values: Floats) -> Floats:
        return np.where(sold, values[np.arange(len(table)), np.maximum(decision.best, 0)], np.nan)

    grade = _grade(table, context, offers)
    open_money = np.where(barred, -np.inf, sums.money)
    second = np.sort(open_money, axis=1)[:, -2] if len(names) > 1 else np.full(len(table), -np.inf)
    lead = np.where(np.isfinite(second), at_best(sums.money) - second, np.nan)

    def headline(i: int) -> str:
        best = int(decision.best[i])
        if best < 0:
            why = _unpriced(names, sums, i) if any(row == i for row, _ in sums.unpriced) else "none is in force today"
            return f"No buyer's schedule prices this load as it stands: {why}."
        worth = f"{sums.money[i, best]:,.2f} USD on {sums.net_bushels[i, best]:,.1f} bu"
        ahead = f", {lead[i]:,.2f} USD more than the next buyer" if np.isfinite(lead[i]) else ""
        return f"{names[best]} nets {worth}{ahead}."

    return Answers(
        table, context, options=options, decision=decision, unit="USD", bars=bars, headline=headline,
        because=lambda i: _because(offers, names, sums, i),
        verdict=np.where(sold, ACT, LOOK).astype(np.int8), act_by=np.where(sold, 0, -1), look_by=np.where(sold, -1, 0),
        quantities={
            "net_bushels": (at_best(sums.net_bushels), "bu"), "adjustment": (at_best(sums.adjustment), "USD/bu"),
            "moisture_shrink": (at_best(sums.shrink), "percent"),
            "net_per_bushel": (at_best(sums.money / sums.net_bushels), "USD/bu"),
            "lead_over_next": (lead, "USD"),
            "grade": (grade, "1"),
        },
        cautions=lambda i: [*CAUTIONS, *unusual[i]],
        cost_of_waiting=np.zeros(len(table)),
    )  # fmt: skip


QUESTION = Question(
    name="load-price",
    room="grain",
    title="What does this load bring, and where?",
    about=(
        "A load's net weight and money at each buyer: dockage, moisture shrink, protein by steps, stepped discounts "
        "and freight, each by the buyer's own dated schedule."
    ),
    inputs=INPUTS,
    answer=answer,
    limits=(
        "Only what the schedules print: rejection, blending and contract terms are not in it. The grade is looked up "
        "for wheat other than hard red spring and white club, from the factors given."
    ),
    options_count=MOST_BUYERS,
    check=_check,
)
