"""Is the combine leaving too much on the ground?"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from sideoats.decide import Decision, decide
from sideoats.question import Answers, Context, Option, Places, Question, Table
from sideoats.schema import Field
from sideoats.wheat import harvest
from sideoats.wheat.questions._common import ACRES, CROPS, PRICE, YIELD, absent, told

Floats = NDArray[np.float64]
_C = "evidence:combine_check."
_FRESH = 3
OPTIONS = (
    Option("carry-on", "Carry on as it is", passive=True),
    Option("reset", "Stop and reset the combine", day=0),
)
INPUTS = (
    Field("behind", "counts", "kernels on each square foot in the windrow behind the machine", high=20_000,
          required=True, example="60,55,70", fresh_days=_FRESH, found_in=(_C + "behind",)),
    Field("ahead", "counts", "kernels on each square foot that the header has passed and the discharge has not",
          high=20_000, required=True, example="10,12,8", fresh_days=_FRESH, found_in=(_C + "ahead",)),
    Field("header", "number", "header width", unit="ft", low=4, high=80, required=True, example="30 ft",
          fresh_days=_FRESH, found_in=(_C + "header",)),
    Field("windrow", "number", "windrow or spread width", unit="ft", low=1, high=80, required=True, example="6 ft",
          fresh_days=_FRESH, found_in=(_C + "windrow",)),
    Field("kernel_weight", "number", "weight of a thousand kernels; 20 kernels a square foot are a bushel if absent",
          unit="g", low=12, high=90),
    YIELD, PRICE,
    Field("cost", "number", "what stopping to reset costs", unit="USD/ac", low=0, high=100,
          found_in=("setting:cost.combine_reset",)),
    ACRES,
)  # fmt: skip


def answer(table: Table, context: Context) -> Answers:
    """Loss through the machine and ahead of it, and whether a stop to reset pays on the acres left."""
    facts = context.facts
    loss = _loss(table, context)
    reasonable = facts.value("wheat/harvest.reasonable_loss") * table.number("yield")
    low, high = facts.span("wheat/harvest.recoverable")
    saved = np.maximum(np.minimum(loss.machine, loss.total - reasonable), 0.0)
    worth = saved * table.number("price")
    share = context.outlook.between("combine loss saved", low, high)
    cost = np.nan_to_num(table.number("cost"))
    reset = worth[:, None] * share - cost[:, None]
    decision = decide(np.stack([np.zeros_like(reset), reset], axis=2), days=[-1, 0], wait_days=1)
    over = loss.total > reasonable
    header_led = loss.ahead > facts.value("wheat/harvest.header_share") * loss.total
    return Answers(
        table, context, options=OPTIONS, decision=decision, unit="USD/ac", act_by=decision.act_by,
        headline=_headline(table, loss, reasonable, over, header_led, decision),
        because=_because(table, context, loss, header_led),
        quantities={
            "loss": (loss.total, "bu/ac"), "machine_loss": (loss.machine, "bu/ac"), "ahead_loss": (loss.ahead, "bu/ac"),
            "reasonable_loss": (reasonable, "bu/ac"), "share_of_crop": (loss.total / table.number("yield"), "1"),
            "worth_saving": (worth, "USD/ac"),
        },
        missing=absent(table, ("behind", "ahead", "header", "windrow", "yield", "price")),
        missing_headline="Count kernels behind and ahead of the combine while it runs.", missing_look_within=0,
        cautions=(
            "Stop the engine and lock it before anyone goes near header or discharge; never count behind a moving "
            "machine.",
            "Slowing down comes first: an overloaded machine throws over far more than a wrong sieve does.",
        ),
    )  # fmt: skip


def _loss(table: Table, context: Context) -> harvest.Loss:
    """Losses (place,) [bu/ac] from the counts, by kernel weight or by the published count for wheat."""

    def mean(name: str) -> Floats:
        return np.array([np.nan if r is None else float(np.mean(r)) for r in table.rows(name)])

    weight = table.number("kernel_weight")
    per = harvest.kernels_per_bushel_lost(harvest.kernels_per_pound(weight))
    if np.isnan(weight).any():
        table_rows = dict(context.facts["wheat/harvest.kernels_per_bushel"].rows)
        per = np.where(np.isnan(weight), float(table_rows["hard red spring wheat"]), per)
    return harvest.combine_loss(mean("behind"), mean("ahead"), table.number("header"), table.number("windrow"), per)


def _headline(
    table: Table, loss: harvest.Loss, reasonable: Floats, over: NDArray[np.bool_], header_led: NDArray[np.bool_],
    decision: Decision,
) -> Callable[[int], str]:  # fmt: skip
    def text(i: int) -> str:
        share = 100 * loss.total[i] / table.number("yield")[i]
        total = f"{loss.total[i]:.2f} bu/ac on the ground ({share:.1f} % of the crop)"
        if not over[i]:
            return f"{total}: within the usual {reasonable[i]:.2f} bu/ac."
        if decision.best[i] == 1:
            return f"Reset the combine now: {total}, worth about {decision.expected[i, 1]:.2f} USD/ac to mend."
        if header_led[i]:
            return (
                f"{total}, most of it shattered or lost at the header: reel, cutting height, speed, or an earlier cut."
            )
        return f"{total}: more than usual, but resetting does not pay its stop."

    return text


def _because(
    table: Table, context: Context, loss: harvest.Loss, header_led: NDArray[np.bool_]
) -> Callable[[int], list[str]]:
    def text(i: int) -> list[str]:
        out = [
            f"Through the machine {loss.machine[i]:.2f} bu/ac; shattered or lost at the header {loss.ahead[i]:.2f} "
            "bu/ac.",
            f"Up to {told(context, 'wheat/harvest.reasonable_loss', 100)} % of the crop is a reasonable loss; usually "
            f"more than "
            f"{told(context, 'wheat/harvest.header_share', 100)} % of all loss is shatter and header.",
        ]
        if header_led[i]:
            out.append("No sieve or fan brings back what never went through the machine.")
        if not table.known("cost")[i]:
            out.append("The cost of the stop is not known and counts as nothing.")
        return out

    return text


QUESTION = Question(
    name="harvest-loss", room="wheat", title="Is the combine leaving too much on the ground?",
    about="Bushels lost through the machine and ahead of it from kernels counted on the ground, and whether a reset "
    "pays.",
    inputs=INPUTS, answer=answer, places=Places(kinds=("field",), crops=CROPS), size="acres",
    in_season=lambda table, context: table.known("behind"),
    limits="Counts are of one stretch: repeat them in three places. How much a reset saves is common practice, no "
    "source.",
)  # fmt: skip
