"""May this hay be fed, to whom, and how? A case of may it be fed."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sideoats.crops import crop_of
from sideoats.families.may_it_be_fed import Case, problem_of
from sideoats.forage import drought, hay_case
from sideoats.forage.clearing import clearing
from sideoats.forage.drought import drought_broke_by_place
from sideoats.forage.hay_asked import check
from sideoats.forage.hay_said import Told
from sideoats.forage.judge import judge
from sideoats.problem import Problem
from sideoats.question import Context, Places, Question, Table
from sideoats.vocabulary import see

NAME = "hay-nitrate"
INPUTS = (
    see("hay_nitrate.result"),
    see("hay_nitrate.single_bales"),
    see("hay_nitrate.form", needed=True),
    see("hay_nitrate.basis", needed=True),
    see("hay_nitrate.moisture"),
    see("hay_nitrate.class", also=("place.class",), default="unknown"),
    see("hay-nitrate.weakened"),
    see("hay_nitrate.cores"),
    see("hay_nitrate.bales", also=("place.bales",)),
    see("hay-nitrate.tested"),
    see("place.baled"),
    see("hay-nitrate.tests"),
    see("hay-nitrate.only_test", absent="asked where the sample is later than the baling"),
    see("hay_nitrate.feeds"),
    see("hay_nitrate.share"),
    see("hay_nitrate.water"),
    see("hay_nitrate.water_form"),
    see("hay-nitrate.air"),
    see("place.weight", example="1200 lb"),
    see("place.feeding_date", name="fed_from"),
    see("hay_nitrate.state", default="baled"),
    *(see(f"hay-nitrate.{name}") for name in ("hay", "price", "grinding", "table")),
    see("place.station"),
)


def pose(table: Table, context: Context) -> Problem:
    """Every lot's ways of being fed, with the dangers that close them."""
    facts = context.facts
    picked = [t for t in table.text("table") if t]
    followed = picked[0].replace("-", "_") if picked and len(table) == 1 else None
    known, pooled = hay_case.lots_of(table, context)
    j = judge(known, facts, followed)
    c = clearing(table, known, pooled, j, context)
    look_back = drought.look_back(facts)
    broke = drought_broke_by_place(table.text("station"), context.outlook.records, context.on, facts, look_back)
    told = Told(table, context, known, pooled, j, c, broke, followed)
    within = dict(facts["forage/look_within"].rows)
    begins = table.days_until("fed_from", context.on)
    fed = ~c.must_grind
    case = Case(
        NAME,
        "USD/ton",
        hay_case.ways(told),
        "hold",
        hay_case.dangers(told),
        begins=begins,
        look_within=np.where(np.isnan(broke), int(within["usual"]), int(within["drought broke"])),
        clears=np.where(j.unsettled, np.nan_to_num(j.clear_chance), 0.0),
        recheck=np.where(begins > 0, begins, int(within["in store"])).astype(np.int64),
        needs=hay_case.needs(told),
        heads=(
            (c.must_grind & j.tested_bale, f"{NAME}.tested.act"),
            (c.standing & fed, f"{NAME}.grazed.wait"),
            (j.at_risk & fed, f"{NAME}.at_risk.wait"),
        ),
        values=told.values(),
        reasons=told.reasons(),
        cautions=told.cautions(),
        quantities=hay_case.quantities(table, known, j, facts, followed),
    )
    return problem_of(case)


def _in_season(table: Table, context: Context) -> NDArray[np.bool_]:
    """Lots with a result, and untested lots of crops that are known to accumulate nitrate."""
    words = context.facts["forage/accumulator_words"].text.split()
    hot = np.array([any(w in f"{h} {crop_of(str(h))}".lower() for w in words) for h in table.text("hay")], dtype=bool)
    return np.asarray(table.known("result") | table.known("single_bales") | hot)


QUESTION = Question(
    name=NAME,
    room="forage",
    inputs=INPUTS,
    pose=pose,
    places=Places(kinds=("hay lot",)),
    size="amount",
    size_unit="ton",
    in_season=_in_season,
    check=check,
    options_count=7,
    stake="hay lot",
)
