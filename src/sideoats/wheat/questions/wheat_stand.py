"""Is this stand of wheat thick enough?"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from sideoats.call import LOOK, WAIT
from sideoats.question import Answers, Context, Places, Question, Table
from sideoats.schema import Field
from sideoats.wheat import seed
from sideoats.wheat.questions import _common as w

Floats = NDArray[np.float64]
_S = "evidence:stand_check."
INPUTS = (
    Field("plants", "counts", "plants in each length of row looked at", high=2000, required=True,
          example="18,22,15,20,19", fresh_days=45, found_in=(_S + "plants",)),
    Field("row_length", "number", "length of each count", unit="ft", low=0.5, high=100, required=True, example="1 ft",
          fresh_days=45, found_in=(_S + "row_length",)),
    Field("row_spacing", "number", "row spacing", unit="inch", low=2, high=60, example="7.5 in",
          found_in=(_S + "row_spacing", "place:row_spacing")),
    Field("dropped", "number", "seeds dropped an acre", unit="1/ac", low=50_000, high=5_000_000, example="1000000 /ac"),
    w.PLANTING, w.ACRES,
)  # fmt: skip


def answer(table: Table, context: Context) -> Answers:
    """Plants a square foot with the error of the spots counted, against the published least stand."""
    least = context.facts.value("wheat/seeding.kentucky_least")
    spacing, length = table.number("row_spacing"), table.number("row_length")
    found = [
        (np.nan, np.nan, 0) if r is None else seed.stand_summary(r, float(length[i]), float(spacing[i]))
        for i, r in enumerate(table.rows("plants"))
    ]
    stand, error, spots = np.array(found, dtype=np.float64).reshape(len(table), 3).T
    missing = np.isnan(stand)
    thin = stand < least
    unsure = (spots < 5) | (np.abs(stand - least) < 2 * np.nan_to_num(error, nan=np.inf))
    come_up = stand * seed.SQUARE_FEET_PER_ACRE / table.number("dropped")
    return Answers(
        table, context, unit="USD/ac", verdict=np.where(missing | thin | unsure, LOOK, WAIT).astype(np.int8),
        look_by=np.where(thin | unsure, 7, -1), missing=missing,
        missing_headline="Count plants along the row in five spots or more, and give the row spacing.",
        headline=_headline(stand, error, least, thin, unsure), because=_because(spots, least, come_up),
        quantities={
            "stand": (stand, "1/ft**2"), "standard_error": (error, "1/ft**2"),
            "plants_an_acre": (stand * seed.SQUARE_FEET_PER_ACRE, "1/ac"), "share_of_seeds_up": (come_up, "1"),
        },
        cautions=("A thin stand in fall can tiller back: look again before anything is torn up, and ask the insurer "
            "first.",),
    )  # fmt: skip


def _headline(
    stand: Floats, error: Floats, least: float, thin: NDArray[np.bool_], unsure: NDArray[np.bool_]
) -> Callable[[int], str]:
    def text(i: int) -> str:
        shown = f"{stand[i]:.0f} plants/ft2" + (f" (give or take {2 * error[i]:.0f})" if np.isfinite(error[i]) else "")
        if unsure[i]:
            return f"{shown}: too near {least:.0f}, or too few spots, to say; count five more within a week."
        return f"{shown}: " + (f"thin, below {least:.0f}; look again in a week." if thin[i] else "thick enough.")

    return text


def _because(spots: Floats, least: float, come_up: Floats) -> Callable[[int], list[str]]:
    def text(i: int) -> list[str]:
        out = [f"{spots[i]:.0f} spots counted; Kentucky's least stand for a full yield is {least:.0f} plants/ft2."]
        if np.isfinite(come_up[i]):
            out.append(f"{100 * come_up[i]:.0f} % of the seeds dropped are up.")
        return out

    return text


QUESTION = Question(
    name="wheat-stand", room="wheat", title="Is this stand thick enough?",
    about="Plants a square foot from counts along the row, with their error, against the least stand for a full yield.",
    inputs=INPUTS, answer=answer, places=Places(kinds=("field",), crops=w.CROPS), size="acres",
    in_season=lambda table, context: table.known("plants"),
    limits="The least stand is Kentucky's, in more rain than the plains have; dryland stands that yield fully can be "
    "thinner.",
)  # fmt: skip
