"""Develop heifer calves into bred heifers, buy bred heifers, or neither: present value with draws."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sideoats.cattle import bred_case as case
from sideoats.cattle.bred_words import Told
from sideoats.families.own_and_sell import risk_figures
from sideoats.problem import Barred, Problem
from sideoats.question import Context, Places, Question, Table
from sideoats.vocabulary import see
from sideoats.words import say

PRICED = ("weight", "price", "develop_cost", "open_value", "bred_price")  # what the money cannot do without
INPUTS = (
    see("heifer_plan.weight", needed=True),
    see("heifer_plan.price", needed=True),
    see("heifer_plan.develop_cost", needed=True, also=("setting:cost.heifer_development",)),
    see("heifer_plan.develop_days"),
    see("heifer_plan.conception"),
    see("heifer_plan.open_value", needed=True),
    see("heifer_plan.bred_price", needed=True, also=("quote:bred heifer",)),
    see("bred-heifers.calf_difference"),
    see("heifer_plan.calf_weight"),
    see("bred-heifers.calf_price"),
    see("heifer_plan.cow_cost", also=("setting:cost.cow_year",)),
    see("heifer_plan.cull_value"),
    see("bred-heifers.years"),
    see("bred-heifers.calves_weaned"),
    see("sale_plan.sale", example="2026-10-20"),
    see("asked.interest"),
)


def pose(table: Table, context: Context) -> Problem:
    """See `QUESTION`."""
    given = case.given_of(table, context)
    worth = case.worth_of(table, context, given)
    cow_known = np.logical_and.reduce([table.known(name) for name in case.COW])
    barred = np.stack([np.zeros_like(cow_known), np.zeros_like(cow_known), ~cow_known], axis=1)
    to_sale = table.days_until("sale", context.on)
    soon = (to_sale >= 0) & (to_sale <= case.WEEK)
    past = to_sale + np.nan_to_num(table.age_days("sale")) < 0  # so when it was recorded: a slip, not a sale gone by
    needs = {f"heifer_plan.{name}": ~table.known(name) for name in PRICED} | {"sale_plan.sale": past}
    told = Told(table, context, given, worth, barred, np.logical_or.reduce(list(needs.values())))
    return Problem(
        "bred-heifers",
        case.OPTIONS,
        "neither",
        case.UNIT,
        worth.gain,
        bars=(Barred(barred, say("bar.no_cow_budget")),),
        needs=needs,
        due=np.where(soon, np.nan_to_num(to_sale), case.WEEK).astype(np.int64),
        delay=case.delay(worth.gain, barred, soon),
        heads=((past, "bred-heifers.past.need"),),
        values=told.values(),
        recheck=np.full(len(table), case.MONTH),
        reasons=told.reasons(),
        cautions=told.cautions(),
        quantities=case.quantities(table, given, worth, barred),
        ruled=risk_figures(case.OPTIONS, barred, case.UNIT, "neither"),
        drawn=told.drawn,
    )


def in_season(table: Table, context: Context) -> NDArray[np.bool_]:
    """Herds with a replacement plan on file, from weaning to the end of winter."""
    return table.known("develop_cost") & table.known("weight") & context.region.holds("bred-heifers", context.on)


QUESTION = Question(
    name="bred-heifers",
    room="cattle",
    inputs=INPUTS,
    pose=pose,
    places=Places(kinds=("herd",)),
    size="heifer_head",
    in_season=in_season,
    options_count=len(case.OPTIONS),
    check=case.check,
)
