"""The cheapest ration that is safe: which feeds, how much, at what cost, and what the ceilings cost."""

from __future__ import annotations

from sideoats.cattle import ration_case as case
from sideoats.cattle import ration_herds as herds
from sideoats.cattle.ration_reasons import Reasons
from sideoats.cattle.ration_words import Told
from sideoats.problem import Problem
from sideoats.question import Context, Places, Question, Table
from sideoats.vocabulary import see

INPUTS = (
    see("place.class", needed=True, also=("feeds_on_hand.class",)),
    see("feeds_on_hand.feeds", needed=True),
    see("place.weight", absent="usual"),
    see("feeds_on_hand.gain"),
    see("feeds_on_hand.days_pregnant"),
    *(
        see(f"ration.{name}")
        for name in (
            "milk_week", "milk_peak", "condition", "effective_temperature", "coat", "intake", "tdn", "protein",
            "calcium", "phosphorus", "grain_now", "weakened", "water", "water_form", "water_sulfate", "air", "head",
            "days", "hay_price", "limit_fed", "mixer", "bunk", "thin_head", "thin_condition", "young_head",
        )
    ),
    see("place.feeding_date", name="fed_from", absent="already fed"),
    see("place.feeder", absent="the district's choice"),
    see("feeds_on_hand.fed_now"),
)  # fmt: skip


def pose(table: Table, context: Context) -> Problem:
    """See `QUESTION`."""
    plan = case.plan_of(table, context)
    due, lost = case.days_to_act(table, context, plan)
    told = Told(table, context, plan)
    return Problem(
        herds.NAME,
        case.OPTIONS,
        "mix",
        case.UNIT,
        case.gain_of(table, context, plan),
        bars=told.bars(),
        hazards=told.hazards(),
        needs=told.needs(),
        due=due,
        delay=case.delay(due, lost),
        recheck=case.recheck(table, context, plan),
        heads=told.heads(),
        values=told.values(),
        reasons=Reasons(told).said(),
        cautions=told.cautions(),
        quantities=case.quantities(table, context, plan, context.facts.span("cattle/nutrition.intake_band")),
    )


QUESTION = Question(
    name=herds.NAME,
    room="cattle",
    inputs=INPUTS,
    pose=pose,
    places=Places(kinds=("herd", "pen")),
    size="head",
    check=herds.check,
    in_season=lambda table, context: table.known("feeds"),
    options_count=len(case.OPTIONS),
)
