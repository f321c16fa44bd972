"""Is the combine leaving too much on the ground?"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sideoats.problem import Choice, Problem, labelled
from sideoats.question import Context, Places, Question, Table
from sideoats.vocabulary import see
from sideoats.wheat import harvest
from sideoats.wheat.asked import CROPS
from sideoats.words import Measured, say

Floats = NDArray[np.float64]
OPTIONS = (
    Choice("carry-on", labelled("combine-carry-on"), passive=True, kind="carry_on"),
    Choice("reset", labelled("combine-reset"), day=0, kind="reset"),
    Choice("header", labelled("combine-header"), day=0, kind="header"),
)
COUNTED = ("behind", "ahead", "header", "windrow")
INPUTS = (
    *(see(f"combine_check.{name}", needed=True) for name in COUNTED),
    see("wheat-yield.kernel_weight"),
    see("asked.wheat_yield", name="yield"),
    see("asked.wheat_price", name="price"),
    see("harvest-loss.cost"),
    see("place.acres"),
)
MOST_LOST = 0.6  # of the crop: more on the ground is a slip in the counts or in the yield


def pose(table: Table, context: Context) -> Problem:
    """Loss through the machine and ahead of it, and whether a stop to reset pays on the acres left."""
    facts, price, yields = context.facts, table.number("price"), table.number("yield")
    loss = _loss(table, context)
    reasonable = facts.value("wheat/harvest.reasonable_loss") * yields
    usual_header = facts.value("wheat/harvest.header_share")
    over = loss.total - reasonable
    through = np.maximum(np.minimum(loss.machine, over), 0.0)
    at_header = np.maximum(np.minimum(loss.ahead - usual_header * reasonable, over), 0.0)
    share = context.outlook.between("combine loss saved", *facts.span("wheat/harvest.recoverable"))
    cost = np.nan_to_num(table.number("cost"))
    saved = [(worth * price)[:, None] * share - cost[:, None] for worth in (through, at_header)]
    header_led = loss.ahead > usual_header * loss.total
    behind, ahead = (_mean(table, name) for name in ("behind", "ahead"))
    header, windrow = table.number("header"), table.number("windrow")
    swapped, absurd = behind < ahead, loss.total > MOST_LOST * yields
    wide = windrow > header  # straw falls within the cut
    needs = {f"combine_check.{name}": ~table.known(name) for name in COUNTED}
    needs |= {"place.expected_yield": ~table.known("yield"), "quote:wheat": ~table.known("price")}
    unknown = np.logical_or.reduce(list(needs.values()))
    uncounted = np.logical_or.reduce([~table.known(name) for name in COUNTED])
    needs["combine_check.behind"] = needs["combine_check.behind"] | (swapped | absurd) & ~unknown
    needs["combine_check.header"] = needs["combine_check.header"] | wide
    part = Measured(100 * loss.total / yields, unit="percent")
    return Problem(
        "harvest-loss",
        OPTIONS,
        "carry-on",
        "USD/ac",
        np.stack([np.zeros_like(saved[0]), *saved], axis=2),
        needs=needs,
        recheck=np.where(wide | swapped | absurd, 0, -1),  # the machine is running
        heads=(
            (uncounted, "harvest-loss.count.need"),
            (wide, "harvest-loss.wide.need"),
            (swapped, "harvest-loss.swapped.need"),
            (~unknown & absurd, "harvest-loss.absurd.need"),
            (unknown, "harvest-loss.priced.need"),
            (over <= 0, "harvest-loss.usual.wait"),
        ),
        values={
            "loss": Measured(np.round(loss.total, 1), unit="bu/ac"),
            "part": part,
            "through": Measured(np.round(loss.machine, 1), unit="bu/ac"),
            "usual": Measured(reasonable, unit="bu/ac"),
            "behind": Measured(behind),
            "ahead": Measured(ahead),
            "header": Measured(header, unit="ft"),
            "windrow": Measured(windrow, unit="ft"),
        },
        reasons=(
            say(
                "harvest-loss.because.parts",
                machine=Measured(loss.machine, unit="bu/ac"),
                ahead=Measured(loss.ahead, unit="bu/ac"),
            ),
            say(
                "harvest-loss.because.usual",
                by=facts.by("wheat/harvest.reasonable_loss"),
                least=Measured(100 * facts.value("wheat/harvest.reasonable_loss"), unit="percent"),
                header=Measured(100 * usual_header, unit="percent"),
            ),
            say("harvest-loss.because.sieve").where(header_led),
            say("harvest-loss.because.cost").where(cost <= 0),
        ),
        cautions=(say("harvest-loss.care.stop"), say("harvest-loss.care.slow")),
        quantities={
            "loss": (loss.total, "bu/ac"),
            "machine_loss": (loss.machine, "bu/ac"),
            "ahead_loss": (loss.ahead, "bu/ac"),
            "reasonable_loss": (reasonable, "bu/ac"),
            "share_of_crop": (loss.total / yields, "1"),
            "worth_saving": ((through + at_header) * price, "USD/ac"),
        },
    )


def _mean(table: Table, name: str) -> Floats:
    return np.array([np.nan if r is None else float(np.mean(r)) for r in table.rows(name)])


def _loss(table: Table, context: Context) -> harvest.Loss:
    """Losses (place,) [bu/ac] from the counts, by kernel weight or by the published count for wheat."""
    weight = table.number("kernel_weight")
    per = harvest.kernels_per_bushel_lost(harvest.kernels_per_pound(weight))
    if np.isnan(weight).any():
        table_rows = dict(context.facts["wheat/harvest.kernels_per_bushel"].rows)
        per = np.where(np.isnan(weight), float(table_rows["hard red spring wheat"]), per)
    behind, ahead = (_mean(table, name) for name in ("behind", "ahead"))
    return harvest.combine_loss(behind, ahead, table.number("header"), table.number("windrow"), per)


QUESTION = Question(
    name="harvest-loss",
    room="wheat",
    inputs=INPUTS,
    pose=pose,
    places=Places(kinds=("field",), crops=CROPS),
    size="acres",
    in_season=lambda table, context: table.known("behind"),
    options_count=len(OPTIONS),
)
