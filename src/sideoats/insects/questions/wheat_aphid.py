"""Treat this wheat for aphids, by species and stage? A case of treat by count."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.errors import InputError
from sideoats.families.coming_days import growth_ahead
from sideoats.families.counted import Counted, by_tally, count_draws, one_count, share_draws, spread
from sideoats.families.feeding import Fed, fed
from sideoats.families.treat_by_count import problem_of
from sideoats.families.treated import (
    Printed,
    Worth,
    injury_days,
    price_moves,
    published,
    reference_of,
    treated_case,
    treated_inputs,
    worth_of,
)
from sideoats.families.treating import DAYS
from sideoats.insects.harm import multiplying_progress
from sideoats.insects.injury import injury_level_from_share
from sideoats.insects.thresholds import Reference, first_known, look_up, rows_by_key
from sideoats.insects.treatment import triangular
from sideoats.problem import Problem
from sideoats.question import Context, Places, Question, Table
from sideoats.replies import READER
from sideoats.vocabulary import see
from sideoats.words import Measured, Name, Said, Share, Term, say, sentence

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Names = NDArray[np.object_]
NAME, FACTS, RUSSIAN = "wheat-aphid", "insects/wheat_aphid.", "Russian wheat aphid"
WHOSE, AFTER = "insects/wheat_aphid_threshold", "insects/wheat_aphid_after_flowering"
PRINTED = {
    "seedling": "seedling", "tillering": "seedling", "jointing": "boot-heading", "boot": "boot-heading",
    "heading": "boot-heading", "flowering": "flowering", "milk": "milk", "dough": "dough",
}  # fmt: skip
FILLING, RIPE = ("milk", "dough", "ripe"), "ripe"
INPUTS = (
    see("stem_counts.species", needed=False),
    see("stem_counts.counts"),
    see("stem_counts.mean"),
    see("stem_counts.n"),
    see("stem_counts.infested"),
    see("stem_counts.per_foot"),
    see("stem_counts.stage", needed=True, also=("place.stage",)),
    see("wheat-aphid.season"),
    see("stem_counts.parasitized"),
    see("stem_counts.predators"),
    see("wheat-aphid.table"),
    *treated_inputs(NAME, "bu/ac", "USD/bu", "wheat", 200),
)


def pose(table: Table, context: Context) -> Problem:
    """Treating on day 0 to 14 against leaving it, for every field of the table."""
    facts = context.facts
    reference = reference_of(facts, FACTS.rstrip("."))
    worth = worth_of(table, context, reference, NAME, ("bu/ac", "USD/bu"))
    russian, feet = table.text("species") == RUSSIAN, table.known("per_foot")
    by, low, high = _printed(table, context, PRINTED)
    _, *level_low_high = _printed(table, context, _weighed_by(context))
    boot = (level_low_high[0], level_low_high[1])
    counted, floor = _counted(table, context, boot[0])
    progress, ratio = _growth(table, context)
    money = _fed(table, context, counted, worth, reference, boot, ratio)
    over = _over(table, context)
    unnamed = ~table.known("species") & ~over  # from milk on no aphid takes anything, whichever it is
    needs = {
        "stage": ~table.known("stage"),
        "species": unnamed,
        "counts": counted.unknown,
        "threshold": np.isnan(low) & ~russian & ~over & ~counted.unknown & ~unnamed,
        "crop_value": russian & ~(table.known("crop_value") | (table.known("yield") & table.known("price"))),
    }
    known = ~np.any(list(needs.values()), axis=0)
    level = _russian_level(table, context, worth)
    low, high = np.where(russian, level, low), np.where(russian, level, high)
    sample = np.where(russian, "tiller", np.where(feet, "foot of row", "stem")).astype(object)
    case = treated_case(
        table,
        context,
        NAME,
        counted,
        worth,
        "wheat",
        printed=Printed(Name(by), low, high),
        known=known & ~over,
        weather=known & ~over & ~russian,
        unit=np.where(russian, "% of tillers", np.where(feet, "aphids/ft", "aphids/stem")).astype(object),
        sample=sample,
        stake=money.stake,
        saving=money.saving,
        uneven=money.uneven,
        done=progress,
        stage=Term(table.text("stage"), of="stem_counts.stage"),
        tally=np.where(russian | table.known("counts") | table.known("mean"), np.nan, table.number("infested")),
        needs=needs,
        pace=facts[FACTS + "field_rate"].high,
        over=over & known,
        heads=(
            (needs["stage"], f"{NAME}.counts.need"),
            *((rows, f"{NAME}.{what}.need") for what, rows in needs.items() if what != "stage"),
            *((floor, f"treat.least.{verdict}") for verdict in ("act", "look")),
        ),
        reasons=(
            *_line_said(reference, by, low, high, russian, over, feet),
            *_reasons(table, context, russian, known, over),
        ),
        cautions=(say(f"{NAME}.caution.virus"), say(f"{NAME}.caution.crash")),
        quantities={"threshold_low": (low, "aphids"), "threshold_high": (high, "aphids")},
    )
    return problem_of(table, context, case)


def _weighed_by(context: Context) -> dict[str, str]:
    """Row of the printed table that the money of each stage rests on: in flower two experiments weigh that of boot."""
    followed, _ = context.facts.choose(AFTER)
    return PRINTED if followed == "nebraska" else PRINTED | {"flowering": "boot-heading"}


def _printed(table: Table, context: Context, printed: dict[str, str]) -> tuple[Names, Floats, Floats]:
    """Publisher, low and high: per foot where so counted, else the table asked for, then others.

    `printed` names the row of the table for each stage.
    """
    facts = context.facts
    choice, (district, _) = facts.choices[WHOSE], facts.choose(WHOSE)
    asked = np.where(table.text("table") == "", district, table.text("table"))
    species, stages = table.text("species").tolist(), [printed.get(str(s), "") for s in table.text("stage")]
    found = {}
    for name, fact_id in choice.among.items():
        fact = facts[fact_id]
        rows = rows_by_key(fact.columns, fact.rows, ("species", "stage"))
        found[name] = (fact.publisher, *look_up(list(zip(species, stages, strict=True)), rows))
    who, low, high = np.full(len(table), "", object), np.full(len(table), np.nan), np.full(len(table), np.nan)
    for first in dict.fromkeys(asked.tolist()):
        names, lows, highs = first_known([found[first], *(f for key, f in found.items() if key != first)])
        mine = asked == first
        who, low, high = np.where(mine, names, who), np.where(mine, lows, low), np.where(mine, highs, high)
    fact, feet = facts[FACTS + "per_foot"], table.known("per_foot")
    rows = rows_by_key(fact.columns, fact.rows, ("species", "stage"))
    lows, highs = look_up(list(zip(species, table.text("stage").tolist(), strict=True)), rows)
    by = np.where(feet, fact.publisher, who).astype(object)
    return by, np.where(feet, lows, low), np.where(feet, highs, high)


def _counted(table: Table, context: Context, low: Floats) -> tuple[Counted, Bools]:
    """Aphids a stem or a foot, or the share of tillers with Russian wheat aphid; and which tallies are floors."""
    facts = context.facts
    usual, units = facts.value("insects/counting.usual_share") * low, facts.value("insects/counting.usual_units")
    told = np.where(table.known("per_foot"), table.number("per_foot"), table.number("mean"))
    stems = count_draws(table, context, "wheat aphid", counts="counts", told=told, units=units, usual=usual)
    shared = np.where(np.isnan(table.number("n")), facts.value("insects/counting.usual_fruit"), table.number("n"))
    russian = table.text("species") == RUSSIAN
    infested, seen = table.number("infested"), shared
    sized = stems.but(stems.unknown, Counted(**{**vars(stems), "units": np.where(np.isnan(infested), np.nan, seen)}))
    tallied, floor = by_tally(sized, np.where(russian, np.nan, infested), 0.0, facts.value(FACTS + "tally_most"))
    level = facts.value("insects/counting.usual_share") * np.full(len(table), facts.value(FACTS + "russian.usual"))
    tillers = share_draws(context, "wheat aphid tillers", table.keys, infested, table.number("n"), level, 100.0)
    return tallied.but(russian, tillers), floor & ~russian


def _growth(table: Table, context: Context) -> tuple[Floats, Floats]:
    """Progress of the injury, and pest-days over those of the days' usual weather without enemies."""
    facts, out = context.facts, context.outlook
    days, fact = injury_days(facts, "wheat_aphid"), facts[FACTS + "field_rate"]
    window = triangular(out.uniform("wheat aphid days"), days.low, days.mid, days.high)
    rate = triangular(out.uniform("wheat aphid rate"), fact.low, fact.mid, fact.high)
    slow, enemies = facts["insects/treatment.enemies_slow"], table.text("predators")
    share = np.where(enemies == "many", 1.0, np.where(enemies == "few", 0.5, 0.0))
    taken = share[:, None] * out.between("wheat aphid enemies", slow.low, slow.high)
    cardinal, at = facts[FACTS + "cardinal"], facts.value(FACTS + "reference_temperature")
    running, later = growth_ahead(table, context, rate, (cardinal.low, cardinal.mid, cardinal.high), at, DAYS)
    # A nominal threshold was found in the weather usual at its stage, often a cool spring. Measured against a warm
    # reference day it would let several times the printed number stand.
    ordinary = rate * (running[..., -1] / rate).mean(axis=1, keepdims=True) / (DAYS - 1)
    running, later = running - taken[..., None] * np.arange(DAYS), later - taken
    return multiplying_progress(running, later, np.broadcast_to(window, later.shape), ordinary)


def _fed(
    table: Table,
    context: Context,
    counted: Counted,
    worth: Worth,
    reference: Reference,
    printed: tuple[Floats, Floats],
    ratio: Floats,
) -> Fed:
    """What the injury costs the untreated crop and from how many aphids on treating pays; `ratio` as of `_growth`."""
    facts, russian = context.facts, table.text("species") == RUSSIAN
    level = spread(context, "wheat aphid threshold", *printed)
    by_threshold = reference.line(worth.price, worth.yields)[:, None] / level * ratio
    by_tiller = _russian_slope(table, context) * worth.crop[:, None] / 100
    part = _left_by_mummies(table, context)[:, None] * _by_stage(table, context)
    one = np.where(_over(table, context)[:, None], 0.0, np.where(russian[:, None], by_tiller, by_threshold) * part)
    moves = np.where(russian[:, None], price_moves(table, context, "wheat"), 1.0)
    most = _most(table, context, reference) * worth.crop
    money = fed(counted.density, one, most, moves, worth.cost, worth.prevented)
    seen = np.where(russian, 100.0, facts.value(FACTS + "most_seen"))
    pays = np.where(money.saving.pays <= seen, money.saving.pays, np.nan)
    return replace(money, saving=replace(money.saving, pays=pays))


def _in_flower(table: Table) -> NDArray[np.bool_]:
    """(place,) True for English grain aphid in flower, of which sources say everything from nothing to a tenth."""
    return np.asarray((table.text("species") == "English grain aphid") & (table.text("stage") == "flowering"))


def _most(table: Table, context: Context, reference: Reference) -> Floats:
    """(place,) greatest share of the crop that can be lost."""
    return np.where(_in_flower(table), context.facts.value(FACTS + "flower_most"), reference.most)


def _russian_slope(table: Table, context: Context) -> Floats:
    """(place, draw) share of yield lost by one per cent of tillers, in per cent."""
    spring, fall = context.facts[FACTS + "russian.spring_range"], context.facts[FACTS + "russian.fall"]
    drawn = [
        context.outlook.between(f"russian {name}", *fact.span) for name, fact in (("spring", spring), ("fall", fall))
    ]
    return np.where(_spring(table)[:, None], *drawn)


def _spring(table: Table) -> Bools:
    """(place,) True for a spring infestation: as told, else by the stage."""
    told = table.text("season")
    return np.asarray(np.where(told == "", table.text("stage") != "seedling", told == "spring"), dtype=bool)


def _russian_level(table: Table, context: Context, worth: Worth) -> Floats:
    """(place,) per cent of tillers at which control just pays, taken as complete."""
    spring, fall = context.facts[FACTS + "russian.spring"], context.facts[FACTS + "russian.fall"]
    return injury_level_from_share(worth.cost, worth.crop, np.where(_spring(table), spring.mid, fall.mid) / 100)


def _left_by_mummies(table: Table, context: Context) -> Floats:
    """(place,) share of the injury ahead that is left where so many aphids are mummies: falls evenly, no cliff."""
    fact = context.facts["insects/treatment.mummies"]
    return np.asarray(
        np.interp(np.nan_to_num(table.number("parasitized")), fact.column("mummies"), fact.column("left"))
    )


def _by_stage(table: Table, context: Context) -> Floats:
    """(place, draw) what aphids cost from heading on as a part of what they cost at boot, by two rival experiments."""
    facts, n = context.facts, len(table)
    if facts.choose(AFTER)[0] == "nebraska":  # its own figures are used
        return np.ones((n, context.outlook.draws))
    rows = {
        (str(stage), str(species)): (first, second) for stage, species, first, second in facts[FACTS + "rivals"].rows
    }
    keys = zip(table.text("stage").tolist(), table.text("species").tolist(), strict=True)
    both = np.array([rows.get(key, (1.0, 1.0)) for key in keys], float).reshape(n, 2)
    return np.where(context.outlook.uniform("wheat aphid flowering")[None, :] < 0.5, both[:, :1], both[:, 1:])


def _over(table: Table, context: Context) -> Bools:
    stage = table.text("stage")
    return np.asarray((stage == RIPE) | (np.isin(stage, FILLING) & (context.facts.choose(AFTER)[1].value == 0)))


def _line_said(
    reference: Reference, by: Names, low: Floats, high: Floats, russian: Bools, over: Bools, feet: Bools
) -> tuple[Said, ...]:
    shown = np.where(russian | (over & ~np.isfinite(low)), np.nan, low)
    unit = np.where(feet, "aphids/ft", "aphids/stem").astype(object)
    return published(reference, by, shown, high, unit, money=~over)


def _reasons(table: Table, context: Context, russian: Bools, known: Bools, over: Bools) -> tuple[Said, ...]:
    facts, stage, enemies = context.facts, table.text("stage"), table.text("predators")
    rate, mummies, left = facts[FACTS + "field_rate"], table.number("parasitized"), _left_by_mummies(table, context)
    slopes = {True: facts[FACTS + "russian.spring_range"], False: facts[FACTS + "russian.fall"]}
    cages, table_ = (f"{FACTS}after_flowering.{key}" for key in ("voss", "nebraska"))
    open_, spring, flower = known & ~over, _spring(table), facts[FACTS + "flower_most"]

    def because(code: str, **values: Any) -> Said:
        return say(f"{NAME}.because.{code}", **values)

    def slope(at: bool) -> Said:
        fact = slopes[at]
        return because("spring" if at else "fall", low=Measured(fact.low, fact=fact.id), high=Measured(fact.high))

    followed = "table" if facts.choose(AFTER)[0] == "nebraska" else "rivals"
    return (
        *(slope(at).where(open_ & russian & (spring == at)) for at in (True, False)),
        because(
            "doubling",
            fast=Measured(np.round(np.log(2) / rate.high), fact=rate.id),
            slow=Measured(np.round(np.log(2) / rate.low), unit="day"),
        ).where(open_ & ~russian),
        because("jointing").where(open_ & ~russian & (stage == "jointing")),
        because(followed, cages=Name(facts.by(cages), fact=cages), table=Name(facts.by(table_), fact=table_)).where(
            known & np.isin(stage, ("heading", "flowering", *FILLING)) & ~russian & ~_in_flower(table)
        ),
        because("grain-aphid", cages=Name(facts.by(cages), fact=cages), most=Share(flower.mid, fact=flower.id)).where(
            known & _in_flower(table)
        ),
        because("mummies", share=Share(mummies), left=Share(left)).where(open_ & (mummies > 0)),
        because("enemies").where(open_ & np.isin(enemies, ("few", "many"))),
    )


def _check(values: dict[str, Any]) -> None:
    ways = ("counts", "mean", "infested", "per_foot")
    one_count(values, question=NAME, ways=ways, single="counts", sized=False)
    if values["species"] == RUSSIAN and values["infested"] is None:
        todo = sentence(say(f"{NAME}.by-tillers"), READER)
        raise InputError("no infested tillers given", where=f"{NAME} infested", expected="infested=20%", todo=todo)


QUESTION = Question(
    name=NAME,
    room="insects",
    inputs=INPUTS,
    pose=pose,
    places=Places(kinds=("field", "pasture"), crops=("winter wheat",)),
    size="acres",
    in_season=lambda table, context: table.known("counts") | table.known("infested"),
    check=_check,
)
