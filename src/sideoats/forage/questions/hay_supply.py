"""Is there hay enough to grass, and if not: buy now, buy later, or sell cows?"""

from __future__ import annotations

import numpy as np

from sideoats.forage import supply_case as case
from sideoats.forage.supply_words import Told
from sideoats.problem import Problem
from sideoats.question import Context, Places, Question, Table
from sideoats.vocabulary import see

INPUTS = (
    see("hay-supply.head", needed=True),
    see("place.class", default="unknown"),
    see("place.weight", also=("hay_count.weight",), default=1200.0),
    *(see(f"hay_count.{name}") for name in ("bales", "bale_weight", "hay", "dry_matter")),
    see("place.grass_date"),
    see("hay-supply.days"),
    see("place.feeding_date", name="start_date", absent="today"),
    see("hay-supply.intake"),
    see("place.feeder", absent="the district's choice"),
    see("hay_count.storage", absent="the district's choice"),
    *(see(f"hay-supply.{name}") for name in ("price", "later", "cow_price", "given_up")),
    see("asked.interest", absent="a usual rate"),
)


def pose(table: Table, context: Context) -> Problem:
    """See `QUESTION`."""
    kept = case.storage_of(table, context)
    s = case.supply_of(table, context, kept)
    paid = case.paid_of(table, context, s)
    gain, even = case.gain_of(table, s, paid), case.even_of(table, s, paid)
    told = Told(table, context, s, gain, even)
    return Problem(
        case.NAME,
        case.OPTIONS,
        "buy-later",
        case.UNIT,
        gain,
        bars=case.bars(table, s, even),
        looks=(case.look_of(table, context, s),),
        needs=case.needs(table, s),
        due=np.where(s.known, case.due(s), -1),
        delay=case.delay(s, gain),
        recheck=case.recheck(table, s),
        heads=told.heads(),
        values=told.values(),
        reasons=told.reasons(),
        cautions=told.cautions(),
        quantities=case.quantities(table, s, even),
        flows=case.flows_of(table, context, s, gain),
    )


QUESTION = Question(
    name=case.NAME,
    room="forage",
    inputs=INPUTS,
    pose=pose,
    places=Places(kinds=("herd",)),
    size="head",
    check=case.check,
    options_count=len(case.OPTIONS),
    apart=("feeder", "storage"),
)
