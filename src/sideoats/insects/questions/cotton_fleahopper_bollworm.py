"""Treat this cotton for fleahoppers; and what is known of bollworms?"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.errors import InputError
from sideoats.insects.questions._count import count_draws
from sideoats.insects.questions._tables import Sampled, TablePest, table_question
from sideoats.question import Context, Table
from sideoats.schema import Field

_F = "insects/cotton_fleahopper"
_FRESH = 7
_PLANTS = 100.0
STAGES = ("seedling", "squaring", "first bloom", "bloom", "boll", "cutout")


def _sampled(table: Table, context: Context, units: Sequence[str]) -> Sampled:
    counted = count_draws(table, context, "cotton fleahopper", counts="counts", mean="mean", k_fact=f"{_F}.k")
    return Sampled(np.full(len(table), "100 plants", dtype=object), counted.per(1 / _PLANTS))


def _bollworm_words(table: Table, context: Context) -> Callable[[int], list[str]]:
    """Bollworm figures are from memory only: shown beside the call, nothing is decided by them."""
    squares = context.facts["insects/cotton_bollworm.damaged_squares"]
    larvae = context.facts["insects/cotton_bollworm.larvae"]
    seen = table.known("damaged_squares") | table.known("larvae_per_100")

    def words(i: int) -> list[str]:
        if not seen[i]:
            return []
        return [
            f"Bollworm: no sourced threshold is on file. From memory, Bt cotton at {100 * squares.mid:.0f} % damaged "
            f"squares with live larvae, other cotton at {larvae.low:g} to {larvae.high:g} small larvae per 100 plants: "
            "ask locally."
        ]

    return words


def _adjust(table: Table, context: Context) -> tuple[NDArray[np.float64], Callable[[int], list[str]]]:
    return np.ones(len(table)), _bollworm_words(table, context)


def _check(values: dict[str, Any]) -> None:
    if values["counts"] is None and values["mean"] is None:
        raise InputError("no fleahoppers counted", where="cotton-fleahopper-bollworm counts",
                         expected="counts=0,1,0,... terminal by terminal, or mean=0.2 (per terminal) with n=",
                         todo="look at 100 terminals or more, 25 at each of four places")  # fmt: skip


QUESTION = table_question(
    TablePest(
        name="cotton-fleahopper-bollworm", facts=_F, title="Treat this cotton for fleahoppers?",
        about="Whether treating fleahoppers pays from squaring to the first week of bloom, per 100 terminals; "
        "bollworm figures are shown only.",
        crop="cotton", yield_unit="lb/ac", price_unit="USD/lb", commodity="cotton", what="fleahoppers",
        inputs=(
            Field("counts", "counts", "fleahoppers (adults and nymphs) on each terminal looked at", high=100,
                  example="0,1,0", fresh_days=_FRESH, found_in=("evidence:cotton_counts.fleahoppers",)),
            Field("mean", "number", "mean fleahoppers per terminal, with n", low=0, high=100),
            Field("n", "number", "terminals looked at, with mean", low=1, high=10_000),
            Field("stage", "choice", "growth stage of most plants", choices=STAGES, required=True, fresh_days=14,
                  aliases={"square": "squaring", "early bloom": "first bloom"},
                  found_in=("evidence:cotton_counts.stage", "place:stage")),
            Field("square_set", "share", "share of first positions holding a square", fresh_days=_FRESH,
                  found_in=("evidence:cotton_counts.square_set",)),
            Field("damaged_squares", "share", "share of squares damaged by bollworm", fresh_days=_FRESH,
                  found_in=("evidence:cotton_counts.damaged_squares",)),
            Field("larvae_per_100", "number", "live bollworm larvae per 100 plants", low=0, high=10_000),
        ),
        table="insects/cotton_fleahopper.threshold", sampled=_sampled, adjust=_adjust,
        over_stages=("bloom", "boll", "cutout"), check=_check,
        missing="No fleahoppers counted lately: look at 100 terminals.",
        limits="Fleahoppers from squaring to the first week of bloom. Bollworm thresholds are from memory "
        "and decide nothing.",
        cautions=(
            "Sprays for fleahoppers remove predators and can bring on aphids and bollworms.",
            "Square-set cut-offs by week go with the count in some places; those on file are from memory.",
        ),
    )
)  # fmt: skip
