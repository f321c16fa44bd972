"""Treat this sorghum for midge while it flowers? A case of treat by count."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sideoats.families.counted import count_draws, one_count
from sideoats.families.feeding import feeding_case, steadily
from sideoats.families.treat_by_count import problem_of
from sideoats.families.treated import most_lost, reference_of, treated_inputs, worth_of
from sideoats.problem import Line, Problem
from sideoats.question import Context, Places, Question, Table
from sideoats.vocabulary import see
from sideoats.words import Measured, Name, Share, Term, say

Floats = NDArray[np.float64]
NAME, FACTS, UNIT = "sorghum-midge", "insects/sorghum_midge.", "midges/flowering head"
FLOWERS, BEFORE, RIPE = "flowering", ("boot", "heading", ""), ("hard dough", "black layer")
INPUTS = (
    see("head_counts.midges", name="counts"),
    see("sorghum-midge.per_head"),
    see("treated.n"),
    see("head_counts.stage", also=("place.stage",)),
    see("head_counts.heads"),
    see("head_counts.flowering"),
    see("place.midge_resistant", name="resistant", default=False),
    see("sorghum-midge.table"),
    *treated_inputs(NAME, "bu/ac", "USD/bu", "grain sorghum", 300),
)


def pose(table: Table, context: Context) -> Problem:
    """Treating on day 0 to 14 against leaving it: a share of the crop (or pounds) a midge, over the days of flower."""
    facts, stage, n = context.facts, table.text("stage"), len(table)
    worth = worth_of(table, context, reference_of(facts, "insects/sorghum_aphid"), NAME, ("bu/ac", "USD/bu"))
    counted = count_draws(
        table,
        context,
        NAME,
        counts="counts",
        mean="per_head",
        units=facts.value("insects/counting.usual_units"),
        usual=np.full(n, facts.value("insects/counting.usual_share") * _middle(context)),
    )
    whose = np.where(table.text("table") == "", facts.choose("insects/sorghum_midge_loss")[0], table.text("table"))
    pounds = (whose == "knutson") & table.known("heads")
    told = table.number("flowering")
    weighed = facts.value(FACTS + "loss.knutson") / facts.value("insects/sorghum.bushel") * table.number("heads")
    one = np.where(pounds, weighed * worth.price, facts.value(FACTS + "loss.texas") * worth.crop)
    one = np.nan_to_num(one) / np.where(table.flag("resistant"), facts.value(FACTS + "resistant"), 1.0)
    # today's eggs are laid: a spray takes the midges of the next mornings, as many each as today, on all heads at most
    share = np.nan_to_num(told, nan=1.0)
    ahead = np.minimum(facts.value(FACTS + "mornings") * share, 1.0)
    before = np.where(np.isnan(told), np.isin(stage, BEFORE), (told == 0) & np.isin(stage, (*BEFORE, FLOWERS)))
    flowers = np.where(np.isnan(told), stage == FLOWERS, told > 0) & ~np.isin(stage, RIPE)
    known = ~counted.unknown & flowers
    printed = one * np.where(pounds, share, 1.0)  # pounds go by the heads in flower on the day
    level = np.where(printed > 0, worth.cost / np.where(printed > 0, printed, 1.0), np.nan)
    by = np.where(pounds, facts.by(FACTS + "loss.knutson"), facts.by(FACTS + "loss.texas")).astype(object)
    case = feeding_case(
        table,
        context,
        NAME,
        counted,
        slope=np.broadcast_to((one * ahead)[:, None], (n, context.outlook.draws)),
        most=most_lost(facts, "sorghum_midge") * ahead,
        worth=worth,
        crops=("sorghum", "grain sorghum"),
        unit=UNIT,
        sample="head",
        stage=Term(stage, of="head_counts.stage"),
        done=steadily(context, NAME, facts[FACTS + "bloom_days"]),
        over=~flowers & ~before,
        needs={"flowering": before, "stage": ~table.known("stage") & ~flowers},
        line=Line(counted.mean >= level, known, {"by": Name(by)}),
        own=("few.need",),
        soon=np.where(before | (flowers & known), 1.0, np.nan),
        heads=(
            (before & (stage != ""), f"{NAME}.early.need"),
            (stage == "", f"{NAME}.stageless.need"),
            (counted.unknown, f"{NAME}.uncounted.need"),
        ),
        reasons=(
            say(f"{NAME}.because.level", by=Name(by), level=Measured(np.round(level, 1), unit=UNIT)).where(known),
            say(f"{NAME}.because.flowering", share=Share(told)).where(known & (told < 1)),
            say(f"{NAME}.because.all-flower").where(known & np.isnan(told)),
            say(f"{NAME}.because.share").where((whose == "knutson") & ~pounds & known),
            say(f"{NAME}.because.resistant").where(table.flag("resistant") & known),
            say(f"{NAME}.because.daily").where(known),
        ),
        cautions=(say("sorghum-headworm.caution.flare"),),
        quantities={"injury_level_published": (level, UNIT)},
    )
    return problem_of(table, context, case)


def _middle(context: Context) -> float:
    """The middle of the printed table of injury levels [midges a flowering head]."""
    return float(np.median([row[1:] for row in context.facts[FACTS + "table"].rows]))


QUESTION = Question(
    name=NAME,
    room="insects",
    inputs=INPUTS,
    pose=pose,
    places=Places(kinds=("field",), crops=("grain sorghum",)),
    size="acres",
    in_season=lambda table, context: table.known("counts"),
    check=lambda values: one_count(values, question=NAME, ways=("counts", "per_head"), single="counts", sized=False),
)
