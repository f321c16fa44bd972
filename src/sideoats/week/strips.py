"""Treated and untreated strips on file, against what each pest's question says a treatment should have saved."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING, Any

import numpy as np

from sideoats import units
from sideoats.errors import SideoatsError
from sideoats.facts import Facts
from sideoats.insects.strips import Refit, refit
from sideoats.outlook import make_outlook
from sideoats.question import Context, Table, column, find, registry
from sideoats.schema import read_all

if TYPE_CHECKING:
    from sideoats.ledger import Entry, Ledger

KIND = "spray_strips"
_S = "insects/strips."
_DRAWS, _SURE, _COST = 200, 200, 1.0


def strips_of(ledger: Ledger, on: date, facts: Facts) -> dict[str, Refit]:
    """Question -> the factor on its published loss, of all strips on file by that day; few strips give none."""
    found: dict[str, list[tuple[float, float]]] = {}
    for entry in ledger.history(kind=KIND, until=on):
        name = str(entry.body.get("question", "")).strip().replace("_", "-")
        pair = _pair(name, entry, facts) if name in registry() else None
        if pair:
            found.setdefault(name, []).append(pair)
    spread, fewest = facts.value(_S + "spread"), int(facts.value("insects/pooling.fewest"))
    fits = {name: refit(*np.array(pairs).T, spread=spread, fewest=fewest) for name, pairs in sorted(found.items())}
    return {name: fit for name, fit in fits.items() if fit is not None}


def _pair(name: str, entry: Entry, facts: Facts) -> tuple[float, float] | None:
    """What a treatment should have saved and did save, in the unit of the yield; None where it cannot be told."""
    question, body = find(name), entry.body
    counted = next((f for f in question.inputs if f.kind == "counts"), None)
    if counted is None:
        return None
    try:
        day = date.fromisoformat(str(body["sprayed_on"]))
        treated, unit = units.split(str(body["treated"]))
        untreated = units.parse(str(body["untreated"]), unit)
        price = units.parse(str(body["price"]), f"USD/{unit.partition('/')[0]}")
        told = dict(part.split("=", 1) for part in str(body.get("given") or "").split(";") if "=" in part)
        values = {key.strip(): value.strip() for key, value in told.items()} | {
            "stage": str(body["stage"]),
            "yield": str(body["treated"]),
            "price": str(body["price"]),
            "cost": f"{_COST} USD/ac",
        }
        row: dict[str, Any] = read_all(question.inputs, values, where="spray_strips ", on=day)
        row[counted.name] = (float(body["mean"]),) * _SURE
        columns = {f.name: column(f, [row[f.name]]) for f in question.inputs}
        table = Table(("strip",), columns, ages={name: np.zeros(1) for name in columns})
        plain = replace(facts.reader(), nearby={}, strips={})
        outlook = make_outlook(day, facts=plain, draws=_DRAWS)
        call = question.ask(table, Context(day, plain, outlook)).call(0)
        saved = call.quantities["expected_gain_of_treating_today"].value
    except (SideoatsError, KeyError, ValueError):
        return None
    if not isinstance(saved, float) or not np.isfinite(saved) or not price > 0:
        return None
    return (saved + _COST) / price, treated - untreated
