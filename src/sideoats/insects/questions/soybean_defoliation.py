"""Treat these soybeans for leaf feeders? A case of treat by count."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.errors import InputError
from sideoats.families.beaten import RIPE, printed, rivals
from sideoats.families.counted import Counted
from sideoats.families.feeding import drawn, steadily
from sideoats.families.treat_by_count import problem_of
from sideoats.families.treated import (
    Printed,
    injury_days,
    price_moves,
    published,
    reference_of,
    treated_case,
    treated_inputs,
    worth_of,
)
from sideoats.families.treating import UNIT
from sideoats.problem import Look, Problem
from sideoats.question import Context, Places, Question, Table
from sideoats.replies import READER
from sideoats.ruling import known_size
from sideoats.vocabulary import see
from sideoats.words import Name, Term, say, sentence

Floats = NDArray[np.float64]
LINES = "insects/soybean_defoliation_threshold"
NAME, FACTS, LEAF = "soybean-defoliation", "insects/soybean_defoliation", "% of leaf area"
INPUTS = (
    see("canopy_counts.defoliation"),
    see("treated.feeding"),
    see("canopy_counts.stage", needed=True, also=("place.stage",)),
    *treated_inputs(NAME, "bu/ac", "USD/bu", "soybean", 150),
    see("treated.publisher"),
)
STRIPPED = 40.0  # per cent of leaf left, under which it is read ever more surely
_GONE = np.array([0.0, 20.0, 40.0, 60.0, 100.0])  # per cent of leaf, the columns of the table of losses


def pose(table: Table, context: Context) -> Problem:
    """Treating on day 0 to 14 against leaving it: what the leaf still to be eaten costs; that already gone is gone."""
    facts, reference, n = context.facts, reference_of(context.facts, FACTS), len(table)
    worth = worth_of(table, context, reference, NAME, ("bu/ac", "USD/bu"))
    gone, feeding = 100.0 * table.number("defoliation"), table.flag("feeding", default=True)
    error = facts.value(f"{FACTS}.reading_error")
    noise = context.outlook.normal(NAME, table.keys)
    seen = np.nan_to_num(gone)[:, None]
    sd = error * np.clip((100.0 - seen) / STRIPPED, 0.0, 1.0)  # nobody misreads a bare plant, and none has leaf to save
    true = np.minimum(seen * np.exp(sd * noise - sd**2 / 2), 100.0)
    ahead = drawn(context, f"{NAME} ahead", facts[f"{FACTS}.ahead"])
    crop = worth.crop * feeding
    stake = crop[:, None] * _lost(table, context, true, ahead) * price_moves(table, context, "soybean")
    by, low, high = (100.0 * v if i else v for i, v in enumerate(_line(table, context)))
    known, judged = ~np.isnan(gone) & table.known("stage"), np.full(n, LEAF, dtype=object)
    case = treated_case(
        table,
        context,
        NAME,
        Counted(gone, np.full(n, np.nan), true, np.full(n, 1 / error**2), 1 / error**2, np.ones(n)),
        worth,
        "soybean",
        unit=LEAF,
        printed=Printed(Name(by), low, high),
        known=known & feeding,
        sample="place",
        stake=stake,
        done=steadily(context, NAME, injury_days(facts, "soybean_defoliation")),
        pays=_pays(table, context, worth.crop * worth.prevented.mean(axis=1), worth.cost, ahead),
        stage=Term(table.text("stage"), of="canopy_counts.stage"),
        needs={"defoliation": np.isnan(gone), "stage": ~table.known("stage")},
        over=known & np.isin(table.text("stage"), RIPE),
        look=_second(table, context, true, error),
        own=("look",),
        heads=((np.isnan(gone), f"{NAME}.unjudged.need"), (~feeding & known, f"{NAME}.gone.wait")),
        reasons=(
            say(f"{NAME}.because.ahead").where(known & feeding),
            *published(reference, by, low, high, judged, money=False),
            *rivals(table, facts, LINES, np.zeros(n, bool), by, judged, times=100.0),
        ),
        cautions=(say(f"{NAME}.caution.canopy"),),
    )
    return problem_of(table, context, case)


def _line(table: Table, context: Context) -> tuple[Any, Floats, Floats]:
    swept = np.zeros(len(table), bool)
    return printed(table, context.facts, LINES, swept)


def _lost(table: Table, context: Context, gone: Floats, ahead: Floats) -> Floats:
    """(place, draw) share of the yield that the leaf still to be eaten takes, beyond what is lost already."""
    fact = context.facts[f"{FACTS}.loss"]
    rows = {str(stage): np.array(values, float) for stage, *values in fact.rows}
    out = np.zeros((len(gone), len(ahead)))
    for stage in set(table.text("stage").tolist()) & set(rows):
        at = table.text("stage") == stage
        end = np.minimum(gone[at] * (1 + ahead), 100.0)
        out[at] = np.interp(end, _GONE, rows[stage]) - np.interp(gone[at], _GONE, rows[stage])
    return out


def _pays(table: Table, context: Context, saved: Floats, cost: Floats, ahead: Floats) -> Floats:
    """(place,) per cent of leaf gone from which treating pays; NaN where no share does."""
    steps = np.arange(1.0, 101.0)
    gain = np.stack([_lost(table, context, np.full((len(table), 1), s), ahead).mean(axis=1) * saved for s in steps])
    pays = gain >= cost
    return np.where(pays.any(axis=0), steps[pays.argmax(axis=0)], np.nan)


def _second(table: Table, context: Context, true: Floats, error: float) -> Look:
    """Leaves pulled at ten places: half the error of a look from the road."""
    facts = context.facts
    signal = np.log(np.maximum(true, 0.1)) + error / 2 * context.outlook.normal(f"{NAME} second look", table.keys)
    size = known_size(UNIT, table.number("acres"), facts)
    cost = facts.value("insects/counting.visit_minutes") / 60 * facts.value("decide/look.hour") / size
    return Look(signal, cost=cost, within=np.full(len(table), 2, dtype=np.int64), delay=1)


def _check(values: dict[str, Any]) -> None:
    if values["defoliation"] is None:
        raise InputError(
            "leaf loss was not judged",
            where=f"{NAME} defoliation",
            expected="defoliation=20%, over the whole canopy",
            todo=sentence(say(f"{NAME}.how"), READER),
        )


QUESTION = Question(
    name=NAME,
    room="insects",
    inputs=INPUTS,
    pose=pose,
    places=Places(kinds=("field",), crops=("soybean",)),
    size="acres",
    in_season=lambda table, context: table.known("defoliation"),
    check=_check,
)
