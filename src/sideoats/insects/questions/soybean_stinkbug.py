"""Treat these soybeans for stink bugs?"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from sideoats.insects.questions._tables import (
    Sampled,
    TablePest,
    canopy_inputs,
    counted_by,
    needs_count,
    table_question,
)
from sideoats.question import Context, Table
from sideoats.schema import Field

_F = "insects/soybean_stinkbug"


def _sampled(table: Table, context: Context, units: Sequence[str]) -> Sampled:
    return counted_by(table, context, "soybean stinkbug", "counts", k_fact=f"{_F}.k")


def _seed(table: Table, context: Context) -> tuple[NDArray[np.float64], Callable[[int], list[str]]]:
    """Beans for seed are held to a lower figure: a sixth of one per row-foot against the third of early pod fill."""
    seed = table.flag("seed")
    times = context.facts.value(f"{_F}.seed_beans")
    usual = 0.0
    for stage, per, low, _ in context.facts[f"{_F}.threshold.georgia"].rows:
        if (stage, per) == ("R2", "row-ft"):
            usual = low
    factor = np.where(seed, times / usual, 1.0)
    words = f"Grown for seed: {times:.2g} per row-foot (1 per 6 row-feet, Georgia)."
    return factor, lambda i: [words] if seed[i] else []


QUESTION = table_question(
    TablePest(
        name="soybean-stinkbug", facts=_F, title="Treat these soybeans for stink bugs?",
        about="Whether treating stink bugs pays, by stage, from a drop cloth or a sweep net.", crop="soybean",
        yield_unit="bu/ac", price_unit="USD/bu", commodity="soybean", what="stink bugs",
        inputs=(
            *canopy_inputs("stink_bugs", "stink bugs (adults and large nymphs)", 10),
            Field("seed", "flag", "grown for seed", default=False, found_in=("place:seed_beans",)),
        ),
        choice="insects/soybean_stinkbug_threshold", sampled=_sampled, adjust=_seed, over_stages=("R7", "R8"),
        check=needs_count("soybean-stinkbug", "beat or sweep at ten places or more, inside the field"),
        missing="No stink bugs counted lately: beat or sweep at ten places or more.",
        limits="Bloom to R6. No loss slope was found, so the thresholds are nominal; at R7 the published level accepts "
        "a loss too small to measure and is not used.",
        cautions=("Broad sprays in soybean can bring on podworms and loopers: look again after a week.",),
    )
)  # fmt: skip
