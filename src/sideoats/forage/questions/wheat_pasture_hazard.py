"""Bloat, tetany and nitrate on wheat pasture: turn out, prepare first, or hold off? A case of may it be fed."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.families.may_it_be_fed import Case, Way, problem_of
from sideoats.forage import grazed_nitrate, minerals, stock
from sideoats.forage.graze_asked import check_wheat
from sideoats.forage.wheat_dangers import Told
from sideoats.forage.wheat_pasture import TESTED, WheatPasture, wheat_pasture
from sideoats.problem import Problem
from sideoats.question import Context, Places, Question, Table
from sideoats.vocabulary import see

NAME = "wheat-pasture-hazard"
INPUTS = (
    see("place.class", also=("pasture_test.class",), default="unknown"),
    see("pasture_test.signs", absent="looked for first"),
    *(see(f"pasture_test.{name}") for name in (*TESTED, "mineral", "mineral_magnesium", "mineral_eaten")),
    *(see(f"pasture_test.{name}", absent="asked first") for name in ("lush", "front", "hungry")),
    see("pasture_test.hay_first"),
    see("forage_look.stress"),
    see("forage_look.nitrogen"),
    *(see(f"forage_look.{name}") for name in grazed_nitrate.FIELDS),
    see("place.turnout"),
    see("place.weight"),
    see("wheat-pasture-hazard.price"),
    see("place.station"),
)


def pose(table: Table, context: Context) -> Problem:
    """The ways of using the wheat, counted over a week of hay fed off it, and the dangers that close some."""
    facts = context.facts
    known = wheat_pasture(table, context)
    told = Told(table, context, known)
    within = dict(facts["forage/look_within"].rows)
    soon = ~table.known("signs") | known.lines | known.bloats
    case = Case(
        NAME,
        "USD/head",
        _ways(table, context),
        "hold-off",
        told.dangers(),
        begins=np.full(len(table), np.nan),
        look_within=_look_within(table, context, np.where(soon, int(within["signs"]), int(within["before turnout"]))),
        recheck=np.full(len(table), int(within["on wheat"])),
        values=told.values(),
        reasons=told.reasons(),
        cautions=told.cautions(),
        quantities=_quantities(table, context, known),
    )
    return problem_of(case)


def _look_within(table: Table, context: Context, usual: NDArray[np.int64]) -> NDArray[np.int64]:
    """(place,) days: the day before cattle go on, where that is known and still to come."""
    goes = table.days_until("turnout", context.on)
    return np.where(goes > 0, np.clip(np.nan_to_num(goes) - 1, 0, 7), usual).astype(np.int64)


def _ways(table: Table, context: Context) -> tuple[Way, ...]:
    """Money a head over a week of hay fed off the wheat."""
    facts, out = context.facts, context.outlook
    usual = stock.by_class(facts["forage/body_weight"], list(table.text("class")), "weight")
    weight = np.where(table.known("weight"), table.number("weight"), usual)
    price = np.where(table.known("price"), table.number("price"), facts.value("forage/hay.price"))
    day = price * weight * facts.value("forage/hay.intake_share") / facts.value("forage/hay.dry_matter") / 2000
    week = 7 * day[:, None] * out.price_ratio("grass hay", [7])[:, 0]
    part = out.between("hay before turnout", *facts.span("forage/bloat.hay_share"))
    return (
        Way("turn-out", week, passive=True),
        Way("prepare", week * (1 - part)),
        Way("hold-off", np.zeros_like(week), passive=True),
    )


def _quantities(table: Table, context: Context, known: WheatPasture) -> dict[str, Any]:
    risk, magnesium = context.facts["forage/tetany.magnesium"], known.percent["magnesium"]
    return {
        "tetany_ratio": (known.ratio, "1"),
        "tetany_line": (np.full(len(table), context.facts.value("forage/tetany.ratio")), "1"),
        "magnesium": (magnesium, "percent"),
        "magnesium_risk": (minerals.step_label(magnesium, risk.column("from"), risk.column("label")), ""),
        "magnesium_eaten": (known.eaten, "g/day"),
        "magnesium_with_forage": (np.where(known.offered & ~known.unmeasured, known.all, np.nan), "g/day"),
        "nitrate_nitrogen_dry": (known.nitrate.level, "ppm"),
    }


def _in_season(table: Table, context: Context) -> NDArray[np.bool_]:
    """Where somebody tested or looked, and before cattle are to go on."""
    goes = table.days_until("turnout", context.on)
    near = (goes >= 0) & (goes <= dict(context.facts["forage/prussic.ahead"].rows)["days"])
    tested = [table.known(name) for name in ("potassium", "magnesium", "protein", "lush", "signs")]
    return np.asarray(np.logical_or.reduce([*tested, near]))


QUESTION = Question(
    name=NAME,
    room="forage",
    inputs=INPUTS,
    pose=pose,
    check=check_wheat,
    places=Places(kinds=("pasture", "herd", "pen")),
    in_season=_in_season,
    options_count=3,
    apart=("nitrate?",),
)
