"""What will this wheat make? Heads and kernels counted before harvest."""

from __future__ import annotations

from typing import Any

import numpy as np

from sideoats.decide.laws import quantile
from sideoats.errors import InputError
from sideoats.problem import Choice, Problem, labelled
from sideoats.question import Context, Question, Table
from sideoats.vocabulary import see
from sideoats.wheat import harvest
from sideoats.words import Between, Measured, say

INPUTS = (
    see("wheat-yield.heads", needed=True),
    see("wheat-yield.row_length", needed=True),
    see("wheat-yield.kernels", needed=True),
    see("place.row_spacing"),
    see("wheat-yield.kernel_weight"),
    see("wheat-yield.shortcut"),
    see("asked.wheat_price", name="price"),
    see("place.acres"),
)
READ = Choice("read", labelled("estimate"), passive=True)  # nothing is decided here
MOST, PLUMP = 200.0, 30.0  # bu/ac that a field of wheat may be said to make; g a thousand kernels where none is told
TAIL = 1.28  # standard deviations from the middle to the 10th and the 90th percentile


def check(values: dict[str, Any]) -> None:
    """Refuse a count without its row spacing, one no wheat makes, and a shortcut at another length of row."""
    if values["row_spacing"] is None:
        raise InputError("is missing", where="wheat-yield row_spacing", expected="such as 7.5 in")
    mean, weight = float(np.mean(values["heads"])), values["kernel_weight"] or PLUMP
    size = float(harvest.kernels_per_pound(weight))
    point = float(harvest.head_yield(mean / values["row_length"], values["kernels"], values["row_spacing"], size))
    if point > MOST:
        expected = "heads and kernels of the length of row given: check both for a slip of ten"
        raise InputError(f"{point:.0f} bu/ac is more than wheat makes", where="wheat-yield heads", expected=expected)
    if values["shortcut"]:
        method = _method(values["shortcut"])
        harvest.shortcut_yield(mean, values["row_length"], values["kernels"], values["row_spacing"], method=method)


def _method(shortcut: str) -> str:
    return str(shortcut).replace("-", "_")


def pose(table: Table, context: Context) -> Problem:
    """Yield with the error of kernel weight and of counting a few spots."""
    facts, out = context.facts, context.outlook
    heads = np.array([np.nan if r is None else float(np.mean(r)) for r in table.rows("heads")])
    per_foot, weight = heads / table.number("row_length"), table.number("kernel_weight").copy()
    for i, name in enumerate(table.text("shortcut")):
        if name:
            weight[i] = harvest.kernels_per_pound(harvest.implied_kernels_per_pound(_method(name)))
    if np.isnan(weight).any():
        weight = np.where(np.isnan(weight), facts["wheat/harvest.kernel_weight"].mid, weight)
    per_pound = harvest.kernels_per_pound(weight)
    point = harvest.head_yield(per_foot, table.number("kernels"), table.number("row_spacing"), per_pound)
    low, high = facts.span("wheat/harvest.estimate_error")  # the printed error as 1 in 10 either way
    error = 1 + out.normal("yield estimate", table.keys) * (low + high) / 2 / TAIL
    drawn = np.maximum(point[:, None] * error, 0.0)
    lower, upper = quantile(drawn, [0.1, 0.9], axis=1) if len(table) else (point, point)
    worth_cutting = facts["wheat/usual.yield"].high * facts.value("wheat/freeze.lost")
    return Problem(
        "wheat-yield",
        (READ,),
        READ.key,
        "USD/ac",
        np.zeros((len(table), out.draws, 1)),
        needs={"wheat-yield.heads": np.isnan(point)},
        heads=((point < worth_cutting, "wheat-yield.thin.wait"),),
        values={
            "point": Measured(point.round(), unit="bu/ac"),
            "ends": Between((lower.round(), upper.round()), unit="bu/ac"),
        },
        reasons=(
            say("wheat-yield.because.count", heads=Measured(per_foot), size=Measured(np.round(per_pound, -2))),
            say("wheat-yield.because.weight"),
        ),
        cautions=(say("wheat-yield.care"),),
        quantities={
            "yield": (point, "bu/ac"),
            "yield_low": (lower, "bu/ac"),
            "yield_high": (upper, "bu/ac"),
            "kernel_weight": (weight, "g"),
            "value": (point * table.number("price"), "USD/ac"),
            "bushels": (point * table.number("acres"), "bu"),
        },
    )


QUESTION = Question(name="wheat-yield", room="wheat", inputs=INPUTS, pose=pose, check=check)
