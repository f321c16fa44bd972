"""What will this wheat make? Heads and kernels counted before harvest."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.call import LOOK, WAIT
from sideoats.question import Answers, Context, Question, Table
from sideoats.schema import Field
from sideoats.wheat import harvest
from sideoats.wheat.questions import _common as w

Floats = NDArray[np.float64]
SHORTCUTS = tuple(name.replace("_", "-") for name in harvest.SHORTCUTS)
INPUTS = (
    Field("heads", "counts", "heads in each length of row counted", high=20_000, required=True, example="38,41,35"),
    Field("row_length", "number", "length of row of each count", unit="ft", low=0.5, high=100, required=True,
          example="1 ft"),
    Field("kernels", "number", "kernels a head, mean", bare=True, low=1, high=120, required=True, example="22"),
    w.ROW_SPACING,
    Field("kernel_weight", "number", "weight of a thousand kernels; the common range if absent", unit="g", low=12,
          high=90),
    Field("shortcut", "choice", "a printed shortcut instead of a kernel weight", choices=SHORTCUTS),
    w.PRICE, w.ACRES,
)  # fmt: skip


def _check(values: dict[str, Any]) -> None:
    from sideoats.errors import InputError

    if values["row_spacing"] is None:
        raise InputError("is missing", where="wheat-yield row_spacing", expected="such as 7.5 in")
    if values["shortcut"]:
        mean = float(np.mean(values["heads"]))
        harvest.shortcut_yield(
            mean, values["row_length"], values["kernels"], values["row_spacing"], method=_method(values["shortcut"])
        )


def _method(shortcut: str) -> str:
    return shortcut.replace("-", "_")


def answer(table: Table, context: Context) -> Answers:
    """Yield with the error of kernel weight and of counting a few spots."""
    facts, out = context.facts, context.outlook
    heads = np.array([np.nan if r is None else float(np.mean(r)) for r in table.rows("heads")])
    per_foot = heads / table.number("row_length")
    weight = table.number("kernel_weight")[:, None] + np.zeros((1, out.draws))
    for i, name in enumerate(table.text("shortcut")):
        if name:
            weight[i] = harvest.kernels_per_pound(harvest.implied_kernels_per_pound(_method(str(name))))
    low, high = facts.span("wheat/harvest.estimate_error")
    error = (
        1 + out.normal("yield estimate", table.keys) * (low + high) / 2 / 1.28
    )  # the printed error as 1 in 10 either way
    if np.isnan(weight).any():
        fact = facts["wheat/harvest.kernel_weight"]
        weight = np.where(np.isnan(weight), fact.mid, weight)
    point = harvest.head_yield(per_foot, table.number("kernels"), table.number("row_spacing"),
                               harvest.kernels_per_pound(weight[:, 0]))  # fmt: skip
    drawn = np.maximum(point[:, None] * error, 0.0)
    lower, upper = np.quantile(drawn, [0.1, 0.9], axis=1) if len(table) else (point, point)
    missing = np.isnan(point)
    return Answers(
        table, context, unit="USD/ac", headline=_headline(point, lower, upper), because=_because(weight, per_foot),
        verdict=np.where(missing, LOOK, WAIT).astype(np.int8), missing=missing,
        missing_headline="Count heads along the row and kernels a head.",
        quantities={
            "yield": (point, "bu/ac"), "yield_low": (lower, "bu/ac"), "yield_high": (upper, "bu/ac"),
            "kernel_weight": (weight[:, 0], "g"), "value": (point * table.number("price"), "USD/ac"),
            "bushels": (point * table.number("acres"), "bu"),
        },
        cautions=("Any yield counted before harvest is off by a fifth or more: do not sell it all on this figure.",),
    )  # fmt: skip


def _headline(point: Floats, lower: Floats, upper: Floats) -> Callable[[int], str]:
    return lambda i: f"About {point[i]:.0f} bu/ac ({lower[i]:.0f} to {upper[i]:.0f})."


def _because(weight: Floats, per_foot: Floats) -> Callable[[int], list[str]]:
    return lambda i: [
        f"{per_foot[i]:.1f} heads a foot of row; a thousand kernels of {weight[i, 0]:.1f} g.",
        "The kernel weight assumed drives the figure: 10 % heavier kernels are 10 % more yield.",
    ]


QUESTION = Question(
    name="wheat-yield", room="wheat", title="What will this wheat make?",
    about="Yield from heads a foot of row, kernels a head and kernel weight, by the full formula or a printed "
    "shortcut at the "
    "length of row it was made for.",
    inputs=INPUTS, answer=answer, check=_check,
    limits="Counting in the best spots is the usual mistake. Hail, lodging and harvest loss come after the count.",
)  # fmt: skip
