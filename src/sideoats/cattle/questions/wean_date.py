"""When to work and wean calves for a sale that asks for days weaned, and whether thin cows want it sooner."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sideoats.cattle import answering
from sideoats.cattle import wean_case as case
from sideoats.cattle.wean_early import early_of
from sideoats.cattle.wean_words import Told
from sideoats.families.own_and_sell import risk_figures
from sideoats.problem import Flow, Hazard, Problem
from sideoats.question import Context, Places, Question, Table
from sideoats.vocabulary import see

INPUTS = (
    see("sale_plan.sale", also=("place.sale_date",), example="2026-10-20"),
    see("sale_plan.other_sale"),
    see("sale_plan.program_days"),
    *(see(f"calf_work.{name}") for name in ("weaned", "first_round", "booster", "bulls", "castrated")),
    see("wean-date.healing_days"),
    *answering.treatment_fields("calf_treatment", "any calf"),
    see("sale_plan.weight"),
    see("sale_plan.premium", also=("setting:premium.weaned_45",), example="8 USD/cwt"),
    *(see(f"wean-date.{name}") for name in ("premium_chance", "program_cost", "price")),
    *(see(f"cow_scores.{name}") for name in ("cow_condition", "short_grass", "calf_age")),
    see("calf_weighing.weight", name="calf_weight"),
    see("calf_weighing.feed_per_day", also=("setting:cost.calf_feed_day",)),
    see("wean-date.hay_price"),
    see("place.station"),
)


def pose(table: Table, context: Context) -> Problem:
    """See `QUESTION`."""
    plan = case.plan_of(table, context)
    early = early_of(table, context, plan.dates.wean_by, plan.weaned)
    given, gain = case.given_of(table), case.gain_of(table, context, plan, early)
    told = Told(table, context, plan, early, given, gain)
    bars = case.bars(plan, early, context)
    barred = np.logical_or.reduce([bar.mask for bar in bars])
    unset, steps = np.isnat(plan.sale), plan.soon & ~plan.late & ~plan.past
    return Problem(
        "wean-date",
        case.OPTIONS,
        "plain",
        case.UNIT,
        gain,
        bars=bars,
        hazards=(
            Hazard("wean-date.withdrawal", plan.is_("withdrawal"), values={"held": plan.held.said}),
            plan.held.misdated("calf_treatment.on"),
        ),
        looks=case.looks(plan, gain),
        aims=case.aims(plan, early),
        needs={
            "sale_plan.sale": (unset | plan.past) & ~early.asked,
            "cow_scores.cow_condition": early.unscored & ~steps,
            "cow_scores.short_grass": early.ungrazed & ~steps,
        },
        due=case.due(plan, gain, early),
        delay=case.delay(table, context, plan, gain, early),
        recheck=case.recheck(plan, early, np.datetime64(context.on, "D")),
        heads=(
            (early.unscored, "wean-date.score.need"),
            (early.ungrazed, "wean-date.grass.need"),
            (unset, "wean-date.unset.need"),
            (plan.past, "wean-date.past.need"),
            (plan.past, "wean-date.past.wait"),
            (plan.late, "wean-date.late.look"),
            (case.wrong_first(plan), "wean-date.wrong.look"),
            (unset & early.young, "wean-date.young.wait"),
            (unset, "wean-date.keep.wait"),
        ),
        values=told.values(),
        reasons=told.reasons(),
        cautions=told.cautions(),
        quantities=case.quantities(table, plan, early, given),
        ruled=risk_figures(case.OPTIONS, barred, case.UNIT, "plain"),
        flows=(Flow(np.maximum(plan.to_sale(np.datetime64(context.on, "D")), 0.0)[:, None], gain.mean(axis=1)),),
    )


def in_season(table: Table, context: Context) -> NDArray[np.bool_]:
    """Herds with a sale ahead (or without a date, which asks for one in the half year of weaning)."""
    days = table.days_until("sale", context.on)
    return np.where(np.isnan(days), context.region.holds("wean-date-unknown", context.on), (days >= 0) & (days <= 180))


QUESTION = Question(
    name="wean-date",
    room="cattle",
    inputs=INPUTS,
    pose=pose,
    places=Places(kinds=("herd",)),
    size="calf_head",
    in_season=in_season,
    options_count=len(case.OPTIONS),
    apart=("cow_condition?", "short_grass?"),
    check=case.check,
    desk_look=True,  # a sale of another day is asked for by telephone
    stake="calves",
)
