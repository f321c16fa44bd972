"""Treat these soybeans for stink bugs? A case of treat by count."""

from __future__ import annotations

import numpy as np

from sideoats.families.beaten import beaten, beaten_case, check_beaten, printed
from sideoats.families.feeding import by_stage, drawn, steadily
from sideoats.families.treat_by_count import problem_of
from sideoats.families.treated import injury_days, reference_of, treated_inputs, worth_of
from sideoats.problem import Problem
from sideoats.question import Context, Places, Question, Table
from sideoats.vocabulary import see
from sideoats.words import Measured, say

NAME, FACTS = "soybean-stinkbug", "insects/soybean_stinkbug"
LINES = "insects/soybean_stinkbug_threshold"
INPUTS = (
    see("canopy_counts.stink_bugs", name="counts"),
    see("treated.mean"),
    see("treated.n"),
    see("canopy_counts.method", absent="cloth, or the net where sweeps are told"),
    see("canopy_counts.row_feet", absent="1"),
    see("canopy_counts.sweeps", absent="25"),
    see("canopy_counts.stage", needed=True, also=("place.stage",)),
    see("place.seed_beans", name="seed", default=False),
    *treated_inputs(NAME, "bu/ac", "USD/bu", "soybean", 150),
    see("treated.publisher"),
)


def pose(table: Table, context: Context) -> Problem:
    """Treating on day 0 to 14 against leaving it: bushels a bug by stage, more for beans grown as seed."""
    facts, reference = context.facts, reference_of(context.facts, FACTS)
    worth = worth_of(table, context, reference, NAME, ("bu/ac", "USD/bu"))
    foot, stages, seed = facts.value(f"{FACTS}.foot"), facts[f"{FACTS}.stage_loss"], table.flag("seed")
    seen = beaten(table, context, NAME, "stink bugs", choice=LINES, foot=foot)
    weight = np.where(seed, by_stage(table, stages, "seed"), by_stage(table, stages, "weight"))
    bushels = drawn(context, f"{NAME} loss", facts[f"{FACTS}.loss"])
    by, low, high = printed(table, facts, LINES, seen.swept)
    held, seeds = facts.value(f"{FACTS}.seed_beans") / seen.feet, f"{FACTS}.seed_beans"
    strict = seed & ~np.isnan(low)
    by, low, high = np.where(strict, facts.by(seeds), by), np.where(strict, held, low), np.where(strict, held, high)
    case = beaten_case(
        table,
        context,
        NAME,
        seen,
        bushels=weight[:, None] * bushels,
        worth=worth,
        reference=reference,
        line=(by, low, high),
        done=steadily(context, NAME, injury_days(facts, "soybean_stinkbug")),
        reasons=(
            say(f"{NAME}.because.seed", held=Measured(held, unit=seen.unit, fact=seeds)).where(seed),
            say(f"{NAME}.because.cages").where(~seen.counted.unknown & table.known("stage")),
            say(f"{NAME}.because.elongation").where(~seen.counted.unknown & np.isin(table.text("stage"), ("R3", "R4"))),
        ),
        cautions=(say(f"{NAME}.caution.edges"), say(f"{NAME}.caution.flare")),
    )
    return problem_of(table, context, case)


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
