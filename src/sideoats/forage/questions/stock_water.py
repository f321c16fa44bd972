"""May they drink this water? A case of may it be fed: nitrate, sulfate, salts and algae, by class and the month."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sideoats.families.may_it_be_fed import Case, Way, problem_of
from sideoats.forage.water import stock_water
from sideoats.forage.water_dangers import Told, check
from sideoats.problem import Problem
from sideoats.question import Context, Places, Question, Table
from sideoats.vocabulary import see

NAME = "stock-water"
TESTED = ("nitrate", "sulfate", "salts")
INPUTS = (
    see("place.class", also=("water_test.class",), default="unknown"),
    *(see(f"water_test.{name}") for name in ("source", "nitrate", "nitrate_form", "sulfate", "salts", "tested")),
    see("water_test.algae", absent="looked for first, but in winter"),
    see("stock-water.feed_sulfur", absent="hay as tabled"),
    see("stock-water.grain_fed"),
    see("stock-water.air"),
    see("place.weight"),
    see("stock-water.hauling"),
    see("place.station"),
)


def pose(table: Table, context: Context) -> Problem:
    """Drinking it, or other water, counted over a week of hauling; and the dangers that close the first."""
    facts = context.facts
    water = stock_water(table, context)
    told = Told(table, context, water)
    within = dict(facts["forage/look_within"].rows)
    cost = table.number("hauling")[:, None]
    cost = np.where(np.isnan(cost), context.outlook.between("hauled water", *facts.span("forage/water.hauling")), cost)
    shown = {
        "drunk": (water.gallons, "gal/day"),
        "nitrate_nitrogen_of_water": (water.nitrogen, "ppm"),
        "as_much_as_in_feed": (np.where(np.isnan(water.nitrogen), np.nan, water.as_feed), "ppm"),
        "sulfur_from_water": (np.where(np.isnan(water.sulfate), np.nan, water.added), "percent"),
        "sulfur_in_all": (np.where(np.isnan(water.sulfate), np.nan, water.total), "percent"),
        "sulfur_ceiling": (water.ceiling, "percent"),
    }
    saved = 7 * water.gallons[:, None] * cost
    case = Case(
        NAME,
        "USD/head",
        (Way("drink", saved, passive=True), Way("other-water", np.zeros_like(saved), passive=True)),
        "other-water",
        told.dangers(),
        begins=np.full(len(table), np.nan),
        look_within=np.where(told.algae_unseen, int(within["signs"]), int(within["on wheat"])),
        recheck=np.full(len(table), int(within["in store"])),
        values=told.values(),
        reasons=told.reasons(),
        cautions=told.cautions(),
        quantities={name: (np.where(told.others, np.nan, level), unit) for name, (level, unit) in shown.items()}
        | {"salts_class": (np.where(told.others, "", water.label), "")},
    )
    return problem_of(case)


def _in_season(table: Table, context: Context) -> NDArray[np.bool_]:
    return np.asarray(np.logical_or.reduce([table.known(name) for name in (*TESTED, "algae")]))


QUESTION = Question(
    name=NAME,
    room="forage",
    inputs=INPUTS,
    pose=pose,
    check=check,
    places=Places(kinds=("pasture", "herd", "pen")),
    size="head",
    in_season=_in_season,
    options_count=2,
)
