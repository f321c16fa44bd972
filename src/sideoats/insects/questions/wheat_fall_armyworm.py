"""Treat this seedling wheat for fall armyworm? A case of treat by count."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.families.coming_days import alike, degree_days_ahead, spread_to
from sideoats.families.counted import Counted, count_draws, one_count, spread
from sideoats.families.stopping import broken
from sideoats.families.treat_by_count import problem_of
from sideoats.families.treated import (
    Printed,
    published,
    reference_of,
    treated_case,
    treated_inputs,
    worth_of,
)
from sideoats.families.treating import DAYS
from sideoats.insects.harm import Larva, cut_short, larva_from_instars
from sideoats.insects.row_larvae import per_foot, per_foot_or_nan, stand_lost
from sideoats.insects.thresholds import bounded_loss
from sideoats.problem import Problem
from sideoats.question import Context, Places, Question, Table
from sideoats.vocabulary import see
from sideoats.words import Measured, Name, Said, Share, Term, say

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
NAME, FACTS, UNIT, SAMPLE = "wheat-fall-armyworm", "insects/wheat_fall_armyworm.", "larvae/ft", "foot of row"
SEASON, BEGINS, MM = "fall-armyworm-in-wheat", "fall-armyworm-begins", 25.4
ALL, FEW = slice(None), slice(None, None, 10)  # draws; a few for a mean
MEANS = np.geomspace(0.25, 64.0, 17)  # larvae a foot at which the loss is worked out: straight lines between
LONGEST = 120  # days of a season that are looked ahead
DONE = 0.05  # share of the feeding of small larvae under which they are as good as done
INPUTS = (
    see("row_larvae.counts"),
    see("row_larvae.larvae"),
    see("row_larvae.n"),
    see("row_larvae.rows", also=("place.row_spacing",)),
    see("row_larvae.size"),
    see("row_larvae.windowpane"),
    see("row_larvae.stand_at_risk", default=False),
    see("wheat_check.stage"),
    see("place.purpose", default="grain"),
    *treated_inputs(NAME, "bu/ac", "USD/bu", "wheat", 200),
    see("place.planting_date"),
)


def pose(table: Table, context: Context) -> Problem:
    """Treating on day 0 to 14 against leaving it, for every field of the table."""
    facts, n = context.facts, len(table)
    threshold, reference = facts[FACTS + "threshold"], reference_of(facts, FACTS.rstrip("."))
    worth = worth_of(table, context, reference, NAME, ("bu/ac", "USD/bu"))
    leaves = table.text("purpose") != "grain"
    low = np.full(n, threshold.low)
    high = np.where(leaves, low + facts.value(FACTS + "forage_part") * (threshold.high - low), threshold.high)
    counted, weight = _counted(table, context, low), _by_stage(table, context)
    level = spread(context, "wheat fall armyworm threshold", low, high)
    larva, length, left, progress, control, fed = _feeding(table, context)
    one = (reference.line(worth.price, worth.yields) * weight * left)[:, None] * fed * _stand(table, context) / level
    wants, leaf, sown = _stand_at_stake(table, context, larva, length, worth.crop)
    gone, alive = facts[FACTS + "stand_gone"], np.broadcast_to(fed, one.shape)

    def stake(density: Floats, some: slice = ALL) -> Floats:
        """(place, some draws) money that so many larvae a foot cost: leaves, or the stand where they eat that off."""
        leaves_lost = bounded_loss(np.nan_to_num(density * one[:, some]), reference.most * worth.crop[:, None])
        stand = stand_lost(density * alive[:, some] * wants[:, None], leaf[:, None], gone.low, gone.high)
        return np.maximum(leaves_lost, np.nan_to_num(stand * sown[:, some]))

    saved = (control[0] * worth.prevented)[:, FEW]
    knots = np.repeat(MEANS[:, None], n, axis=1)
    saving = broken(knots, np.stack([(stake(m[:, None], FEW) * saved).mean(axis=1) for m in knots]), worth.cost)
    per_larva = one * (control[0] * worth.prevented)
    middle = per_larva.mean(axis=1, keepdims=True)
    needs = {"species": _season_over(table, context), "counts": counted.unknown}
    known = ~(needs["species"] | needs["counts"])
    paned = np.nan_to_num(table.number("windowpane")) >= facts[FACTS + "windowpane"].low
    by = facts.by(threshold.id)
    case = treated_case(
        table,
        context,
        NAME,
        counted,
        worth,
        "wheat",
        unit=UNIT,
        printed=Printed(Name(by, fact=threshold.id), low, high),
        known=known,
        weather=known,
        sample=SAMPLE,
        stake=stake(counted.density),
        saving=saving,
        uneven=np.divide(per_larva, middle, out=np.ones_like(per_larva), where=middle > 0),
        done=progress,
        prevented=control * worth.prevented[None],
        stage=Term(table.text("stage"), of="wheat_check.stage"),
        needs=needs,
        soon=np.where(
            paned | table.flag("stand_at_risk") | _large(context, length, left),
            1.0,
            facts["insects/counting.next_look"].low,
        ),
        heads=(
            (needs["species"], f"{NAME}.species.need"),
            (paned & table.flag("stand_at_risk"), f"{NAME}.at-risk.need"),
            (table.known("windowpane"), f"{NAME}.paned.need"),
            (needs["counts"], f"{NAME}.counts.need"),
        ),
        reasons=(
            *published(reference, np.full(n, by, dtype=object), low, high, UNIT),
            *_reasons(table, context, length, left, leaves & known, known),
        ),
        cautions=tuple(say(f"{NAME}.caution.{which}") for which in ("species", "grazing", "edges")),
        values={"paned": Share(np.nan_to_num(table.number("windowpane")))},
        quantities={
            "windowpaned": (table.number("windowpane"), "1"),
            "larvae_per_square_foot": (counted.mean * 12.0 / table.number("rows"), "1/ft**2"),
        },
    )
    # plants that are cut today are gone: no day of grace, whatever the money of leaf loss allows
    return replace(problem_of(table, context, case), due=np.where(table.flag("stand_at_risk"), 0, -1))


def _counted(table: Table, context: Context, low: Floats) -> Counted:
    """Larvae per foot of row, from foot-by-foot counts or from a mean with its unit."""
    told = zip(table.text("larvae"), np.nan_to_num(table.number("rows"), nan=-1.0).tolist(), strict=True)
    keys = [(str(text), spacing) for text, spacing in told]
    read = {key: per_foot_or_nan(*key) for key in set(keys)}
    means = np.array([read[key] for key in keys])
    units = context.facts.value("insects/counting.usual_units")
    usual = context.facts.value("insects/counting.usual_share") * low
    return count_draws(table, context, NAME, counts="counts", told=means, units=units, usual=usual)


def _by_stage(table: Table, context: Context) -> Floats:
    """(place,) what a larva costs by the leaf that plants have, as a part of that in seedlings."""
    weights = dict(context.facts[FACTS + "by_stage"].rows)
    return np.array([float(weights.get(str(stage), 1.0)) for stage in table.text("stage")])


def _large(context: Context, length: Floats, left: Floats) -> Bools:
    """(place,) True for larvae past the size to spray by that still eat: done within days, so looked at tomorrow."""
    return np.asarray((length > context.facts.value(FACTS + "treat_before") * MM) & (left > DONE))


def _stand_at_stake(
    table: Table, context: Context, larva: Larva, length: Floats, crop: Floats
) -> tuple[Floats, Floats, Floats]:
    """(place,) leaf that a larva still wants and leaf that it meets, and (place, draw) money that the stand is worth.

    Large larvae meet the leaf of today, small ones what seedlings have grown to by their last instars; a stand that is
    eaten off is sown again, and late [USD/ac].
    """
    facts, draw = context.facts, context.outlook.between
    age = larva.age_at(length)
    areas, gain = dict(facts[FACTS + "leaf_area"].rows), facts.value(FACTS + "leaf_gain")
    now = np.array([float(areas.get(str(stage) or "seedling", np.inf)) for stage in table.text("stage")])
    leaf = facts.value(FACTS + "plants") * (now + gain * larva.until_half(age))
    wanted = facts.value(FACTS + "leaf_eaten") * (1.0 - larva.eaten_at(age))
    again, late = facts[FACTS + "replant"], facts[FACTS + "replant_late"]
    sown = draw("wheat sown again", again.low, again.high) + draw("wheat sown late", *late.span) * crop[:, None]
    return np.asarray(wanted), np.asarray(leaf), np.minimum(sown, crop[:, None])


def _stand(table: Table, context: Context) -> Floats:
    """(place, draw) how many times worse a larva is where plants are being cut."""
    span = context.facts[FACTS + "stand_loss"]
    worse = context.outlook.between("wheat stand", span.low, span.high)
    return np.where(table.flag("stand_at_risk")[:, None], worse, 1.0)


def _feeding(table: Table, context: Context) -> tuple[Larva, Floats, Floats, Floats, Floats, Floats]:
    """Larva, length [mm], feeding left over that of small ones, progress, control by size, share before a freeze."""
    facts = context.facts
    instars, limit = facts[FACTS + "instars"], facts.value(FACTS + "treat_before") * MM
    larva = larva_from_instars(facts.value(FACTS + "larva_days"), instars.column("length"), instars.column("eaten"))
    length = np.where(table.known("size"), table.number("size") * MM, limit / 2)
    first, at = alike(length, table.text("station"))
    ahead = degree_days_ahead(
        table.take(first), context, facts.value(FACTS + "lower"), facts.value(FACTS + "upper"), DAYS
    )
    age = larva.age_at(length)[:, None]
    left = np.minimum((1 - larva.eaten_at(age)) / (1 - larva.eaten_at(larva.age_at(limit))), 1.0)[:, 0]
    progress = larva.progress(age[first], ahead)
    if context.outlook.has_weather:
        progress, fed = cut_short(progress, _alive(table.take(first), context))
    else:  # they eat to the season's usual end
        long = degree_days_ahead(
            table.take(first),
            context,
            facts.value(FACTS + "lower"),
            facts.value(FACTS + "upper"),
            _season_left(context),
        )
        fed = larva.progress(age[first], long)[-1]
        progress = np.minimum(progress / np.maximum(fed, 1e-9), 1.0)
    control = _control(context, larva, age[first] + ahead)
    return larva, length, left, spread_to(progress, at), spread_to(control, at), np.take(fed, at, axis=0)


def _control(context: Context, larva: Larva, age: Floats) -> Floats:
    """(day, place, draw) control as larvae outgrow it, over that of small ones."""
    facts = context.facts
    outgrown, band = facts[FACTS + "large_efficacy"], facts[FACTS + "size_band"]
    weaker = context.outlook.between("wheat fall armyworm size", outgrown.low, outgrown.high)
    grown = np.clip((larva.length_at(age) / MM - band.low) / (band.high - band.low), 0.0, 1.0)
    return np.asarray(1.0 - grown * (1.0 - weaker))


def _season_left(context: Context) -> int:
    """Days to the end of the season, at least two: today and tomorrow."""
    days = 1
    while days < LONGEST and context.region.holds(SEASON, context.on + timedelta(days=days)):
        days += 1
    return max(days, 2)


def _alive(table: Table, context: Context) -> Floats:
    """(day, place, draw) larvae that the nights ahead leave alive, at the places' stations."""
    out, fact = context.outlook, context.facts[FACTS + "night_kill"]
    nights = np.nan_to_num(out.daily("tmin")[..., : DAYS - 1], nan=20.0)
    dead = np.interp(nights, fact.column("night"), fact.column("dead"))
    alive = np.concatenate([np.ones((*dead.shape[:2], 1)), np.cumprod(1 - dead, axis=2)], axis=2)[:, out.year_of_draw]
    return np.asarray(alive[out.station_rows(table.text("station"))].transpose(2, 0, 1))


def _season_over(table: Table, context: Context) -> Bools:
    """(place,) True outside the season, and after a killing night at the place's own station since it began."""
    if not context.region.holds(SEASON, context.on):
        return np.ones(len(table), bool)
    killing, begins = context.facts.value(FACTS + "killing_night"), context.region.last(BEGINS, context.on)
    ended = set()
    for name, record in context.outlook.records.items():
        lows = record.usable("tmin")[max(0, record.index(begins)) : max(0, record.index(context.on))]
        if lows.size and np.nanmin(lows, initial=np.inf) <= killing:
            ended.add(name)
    return np.array([str(name) in ended for name in table.text("station")], dtype=bool)


def _reasons(
    table: Table, context: Context, length: Floats, left: Floats, leaves: Bools, known: Bools
) -> tuple[Said, ...]:
    eaten = 1 - left
    pane, limit = context.facts[FACTS + "windowpane"], context.facts[FACTS + "treat_before"]

    def because(code: str, **values: Any) -> Said:
        return say(f"{NAME}.because.{code}", **values)

    share = {"low": Share(pane.low, fact=pane.id), "high": Share(pane.high)}
    size = Measured(np.round(length / MM, 2), unit="in")
    return (
        because("windowpane", **share).where(table.known("windowpane")),
        because("leaves").where(leaves),
        because("size", size=size, limit=Measured(limit.mid, unit="in", fact=limit.id)).where(known & (eaten <= 0.05)),
        because("grown", size=size, eaten=Share(eaten)).where(known & (eaten > 0.05)),
        because("large", size=size).where(known & _large(context, length, left)),
        because("no-size").where(known & ~table.known("size")),
        because("stand").where(known & table.flag("stand_at_risk")),
    )


def _in_season(table: Table, context: Context) -> Bools:
    """Seen lately, or seedlings in the season of the fall flights."""
    planted, age = -table.days_until("planting_date", context.on), context.facts[FACTS + "seedling_days"]
    seedlings = (planted >= age.low) & (planted <= age.high) & context.region.holds(SEASON, context.on)
    return np.asarray(table.known("counts") | table.known("larvae") | table.known("windowpane") | seedlings)


def _check(values: dict[str, Any]) -> None:
    one_count(values, question=NAME, ways=("counts", "larvae"), single="counts", instead=("windowpane",), sized=False)
    if values["larvae"] is not None:
        per_foot(values["larvae"], np.nan if values["rows"] is None else values["rows"], f"{NAME} larvae")


QUESTION = Question(
    name=NAME,
    room="insects",
    inputs=INPUTS,
    pose=pose,
    places=Places(kinds=("field", "pasture"), crops=("winter wheat",)),
    size="acres",
    in_season=_in_season,
    check=_check,
)
