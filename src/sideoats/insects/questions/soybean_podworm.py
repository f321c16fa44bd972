"""Treat these soybeans for podworms (corn earworm)? A case of treat by count."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sideoats.families.beaten import beaten, beaten_case, check_beaten, printed
from sideoats.families.coming_days import alike, degree_days_ahead, spread_to
from sideoats.families.feeding import by_stage, drawn
from sideoats.families.treat_by_count import problem_of
from sideoats.families.treated import reference_of, treated_inputs, worth_of
from sideoats.families.treating import DAYS
from sideoats.problem import Problem
from sideoats.question import Context, Places, Question, Table
from sideoats.vocabulary import see
from sideoats.words import say

NAME, FACTS = "soybean-podworm", "insects/soybean_podworm"
LINES = "insects/soybean_podworm_threshold"
INPUTS = (
    see("canopy_counts.podworms", name="counts"),
    see("treated.mean"),
    see("treated.n"),
    see("canopy_counts.method", absent="cloth, or the net where sweeps are told"),
    see("canopy_counts.row_feet", absent="1"),
    see("canopy_counts.sweeps", absent="25"),
    see("canopy_counts.stage", needed=True, also=("place.stage",)),
    *treated_inputs(NAME, "bu/ac", "USD/bu", "soybean", 150),
    see("treated.publisher"),
)


def pose(table: Table, context: Context) -> Problem:
    """Treating on day 0 to 14 against leaving it: bushels a larva by stage, eaten by degree-days."""
    facts, reference = context.facts, reference_of(context.facts, FACTS)
    worth = worth_of(table, context, reference, NAME, ("bu/ac", "USD/bu"))
    foot, stages = facts.value(f"{FACTS}.foot"), facts[f"{FACTS}.stage_loss"]
    seen = beaten(table, context, NAME, "podworms", choice=LINES, foot=foot)
    bushels = drawn(context, f"{NAME} loss", facts[f"{FACTS}.loss"]) * foot
    case = beaten_case(
        table,
        context,
        NAME,
        seen,
        bushels=by_stage(table, stages, "weight")[:, None] * bushels,
        worth=worth,
        reference=reference,
        line=printed(table, facts, LINES, seen.swept),
        done=_eaten(table, context),
        reasons=(say(f"{NAME}.because.flower").where(np.isin(table.text("stage"), ("R1", "R2"))),),
        weather=~seen.counted.unknown & table.known("stage"),
        cautions=(say(f"{NAME}.caution.resistance"), say(f"{NAME}.caution.flare")),
    )
    return problem_of(table, context, case)


def _eaten(table: Table, context: Context) -> NDArray[np.float64]:
    """Share of the feeding of larvae of half an inch done by each morning: until their large instars have run."""
    facts = context.facts
    lower, upper = facts.value(f"{FACTS}.lower"), facts.value(f"{FACTS}.upper")
    first, at = alike(table.text("station"))
    ahead = degree_days_ahead(table.take(first), context, lower, upper, DAYS, cutoff="intermediate")
    return spread_to(np.minimum(ahead / facts.value(f"{FACTS}.large_days"), 1.0), at)


QUESTION = Question(
    name=NAME,
    room="insects",
    inputs=INPUTS,
    pose=pose,
    places=Places(kinds=("field",), crops=("soybean",)),
    size="acres",
    in_season=lambda table, context: table.known("counts"),
    check=lambda values: check_beaten(values, NAME),
)
