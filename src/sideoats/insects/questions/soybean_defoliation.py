"""Treat these soybeans for leaf feeders?"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from sideoats.errors import InputError
from sideoats.insects.questions._count import Counted
from sideoats.insects.questions._tables import SOYBEAN_STAGE, Sampled, TablePest, table_question
from sideoats.question import Context, Table
from sideoats.schema import Field

_F = "insects/soybean_defoliation"
_FRESH = 7


def _sampled(table: Table, context: Context, units: Sequence[str]) -> Sampled:
    """Leaf loss judged by eye, with the error of judging; feeders that have left cost nothing more."""
    share = table.number("defoliation")
    error = context.facts.value(f"{_F}.reading_error")
    noise = context.outlook.normal("soybean defoliation", table.keys)
    drawn = np.clip(share[:, None] * np.exp(error * noise - error**2 / 2), 0.0, 1.0)
    drawn = np.where(table.flag("feeding", default=True)[:, None], drawn, 0.0)
    n = len(table)
    k = np.full(n, 1 / error**2)
    counted = Counted(share, np.full(n, np.nan), drawn, k, 1 / error**2, np.ones(n))
    return Sampled(np.full(n, "canopy", dtype=object), counted)


def _check(values: dict[str, Any]) -> None:
    if values["defoliation"] is None:
        raise InputError("leaf loss was not judged", where="soybean-defoliation defoliation",
                         expected="defoliation=20%, over the whole canopy",
                         todo="pull leaves from top, middle and bottom at ten places; eyes judge too high")  # fmt: skip


QUESTION = table_question(
    TablePest(
        name="soybean-defoliation", facts=_F, title="Treat these soybeans for leaf feeders?",
        about="Whether treating leaf feeders pays, from leaf area eaten over the whole canopy and the stage.",
        crop="soybean", yield_unit="bu/ac", price_unit="USD/bu", commodity="soybean", what="share",
        inputs=(
            Field("defoliation", "share", "leaf area eaten, over the whole canopy", example="20%", fresh_days=_FRESH,
                  found_in=("evidence:canopy_counts.defoliation",)),
            Field("feeding", "flag", "insects are still there and feeding", default=True),
            SOYBEAN_STAGE,
        ),
        choice="insects/soybean_defoliation_threshold", sampled=_sampled, over_stages=("R7", "R8"), check=_check,
        missing="Leaf loss not judged lately: look at the whole canopy.", seen=("defoliation",),
        limits="Nominal shares by stage; leaf loss by hail or disease is another matter.",
        cautions=("Judge the whole canopy: the top leaves show the worst of it.",),
    )
)  # fmt: skip
