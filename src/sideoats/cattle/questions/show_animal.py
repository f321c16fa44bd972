"""A young exhibitor's steer, lamb or pig: the gain and the feed that bring it to its weight on fair day."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sideoats.cattle import answering
from sideoats.cattle import show_case as case
from sideoats.cattle.show_words import Told
from sideoats.families.own_and_sell import risk_figures, without
from sideoats.problem import Hazard, Problem
from sideoats.question import Context, Places, Question, Table
from sideoats.vocabulary import see

INPUTS = (
    see("show_weighing.animal", needed=True),
    see("show_weighing.weight", needed=True),
    see("show_weighing.weighed"),
    see("show_weighing.fair", needed=True),
    see("show_weighing.target", needed=True),
    see("show-animal.gain"),
    *(see(f"show_weighing.{name}") for name in ("last_weight", "last_weighed", "change_by")),
    *(see(f"show-animal.{name}") for name in ("feed_per_gain", "feed_price", "price", "fair_price", "paid")),
    see("show-animal.other_cost"),
    *answering.treatment_fields("show_weighing", "the animal", 90),
)


def pose(table: Table, context: Context) -> Problem:
    """See `QUESTION`."""
    a = case.animal_of(table, context)
    given = case.given_of(table, a)
    gain = case.gain_of(table, context, a, given)
    ahead = a.weighed > np.datetime64(context.on, "D")
    needs = {f"show_weighing.{name}": ~table.known(name) for name in case.ASKED}
    unknown = np.logical_or.reduce(list(needs.values()))
    odd, losing = a.odd & ~unknown, a.losing & ~unknown
    needs |= {"show_weighing.weighed": ahead & ~unknown, "show_weighing.last_weight": odd | losing}
    fast, stale = a.fast & ~unknown, a.stale & ~unknown & ~odd
    needs["show_weighing.weighed"] |= stale
    needs["show-animal.gain"] = fast
    needs["show_weighing.fair"] = needs["show_weighing.fair"] | (a.past & ~unknown)
    silent = unknown | ahead | odd | fast | stale
    told = Told(table, context, a, given, gain, silent)
    bars = case.bars(a)
    barred = np.logical_or.reduce([np.broadcast_to(bar.mask, (len(table), len(case.OPTIONS))) for bar in bars])
    return Problem(
        "show-animal",
        case.OPTIONS,
        "sell_now",
        case.UNIT,
        gain,
        bars=bars,
        hazards=(
            Hazard("show-animal.withdrawal", a.held.inside(a.days), values={"held": a.held.said}),
            a.held.misdated("show_weighing.treated"),
        ),
        looks=case.looks(a),
        aims=case.aims(a),
        needs=needs,
        due=case.due(a),
        delay=case.delay(a, gain),
        recheck=case.next_look(a),
        heads=(
            (ahead, "show-animal.ahead.need"),
            (stale, "show-animal.stale.need"),
            (fast, "show-animal.fast.need"),
            (odd, "show-animal.odd.need"),
            (losing, "show-animal.losing.need"),
            (a.past, "show-animal.past.need"),
            (a.days == 0, "show-animal.today.wait"),
            (a.days == 0, "show-animal.today.act"),
            (a.misses & ~a.closed, "show-animal.open.wait"),
            (a.misses, "show-animal.closed.wait"),
        ),
        values=told.values(),
        reasons=told.reasons(),
        cautions=told.cautions(),
        quantities=without(case.quantities(table, a, given), silent),
        ruled=risk_figures(case.OPTIONS, barred, case.UNIT, "sell_now"),
        drawn=told.drawn,
    )


def in_season(table: Table, context: Context) -> NDArray[np.bool_]:
    """Show animals whose fair is still ahead."""
    return table.days_until("fair", context.on) >= 0


QUESTION = Question(
    name="show-animal",
    room="cattle",
    inputs=INPUTS,
    pose=pose,
    places=Places(kinds=("pen", "herd")),
    in_season=in_season,
    options_count=len(case.OPTIONS),
    check=case.check,
)
