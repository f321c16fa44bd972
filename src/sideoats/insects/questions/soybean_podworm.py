"""Treat these soybeans for podworms (corn earworm)?"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from sideoats.insects.questions._ahead import degree_days_ahead
from sideoats.insects.questions._count import DAYS
from sideoats.insects.questions._tables import (
    Sampled,
    TablePest,
    canopy_inputs,
    counted_by,
    needs_count,
    table_question,
)
from sideoats.question import Context, Table

_F = "insects/soybean_podworm"


def _sampled(table: Table, context: Context, units: Sequence[str]) -> Sampled:
    return counted_by(table, context, "soybean podworm", "counts")


def _progress(table: Table, context: Context) -> NDArray[np.float64]:
    """Larvae of half an inch eat until the degree-days of the large instars have run."""
    facts = context.facts
    ahead = degree_days_ahead(
        table, context, facts.value(f"{_F}.lower"), facts.value(f"{_F}.upper"), DAYS, cutoff="intermediate"
    )
    return np.minimum(ahead / facts.value(f"{_F}.large_days"), 1.0)


def _flowering(table: Table, context: Context) -> tuple[NDArray[np.float64], Callable[[int], list[str]]]:
    """No loss was shown from podworms in flower: the pod threshold is raised there (it is printed from R3 on)."""
    times = context.facts.value(f"{_F}.flowering")
    bloom = np.isin(table.text("stage"), ("R1", "R2"))
    words = f"In flower the pod threshold is taken {times:g} times (North Carolina); loss was not shown there."
    return np.where(bloom, times, 1.0), lambda i: [words] if bloom[i] else []


QUESTION = table_question(
    TablePest(
        name="soybean-podworm", facts=_F, title="Treat these soybeans for podworms?",
        about="Whether treating podworms of half an inch or more pays, from a drop cloth or a sweep net.",
        crop="soybean", yield_unit="bu/ac", price_unit="USD/bu", commodity="soybean", what="podworms",
        inputs=canopy_inputs("podworms", "podworms of half an inch or more", 7),
        choice="insects/soybean_podworm_threshold", sampled=_sampled, progress=_progress, adjust=_flowering,
        over_stages=("R7", "R8"),
        check=needs_count("soybean-podworm", "beat or sweep at ten places or more, inside the field"),
        missing="No podworms counted lately: beat or sweep at ten places or more.",
        limits="R1 to R6. A Mid-South table by crop value and cost exists (J. Econ. Entomol. 109:1161, 2016) but was "
        "not in what was read, so the thresholds are nominal.",
        cautions=("Some earworms survive pyrethroids (39 % of Virginia moths in 2017): ask what works locally.",),
    )
)  # fmt: skip
