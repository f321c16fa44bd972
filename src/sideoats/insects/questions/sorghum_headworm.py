"""Treat this sorghum for headworms (corn earworm and fall armyworm in the head)? A case of treat by count."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.errors import InputError
from sideoats.families.coming_days import alike, degree_days_ahead, spread_to
from sideoats.families.counted import Counted, count_means
from sideoats.families.feeding import drawn, feeding_case
from sideoats.families.treat_by_count import figures, problem_of
from sideoats.families.treated import Worth, most_lost, reference_of, treated_inputs, worth_of
from sideoats.families.treating import DAYS
from sideoats.insects.harm import Larva
from sideoats.problem import Line, Problem
from sideoats.question import Context, Places, Question, Table
from sideoats.replies import READER
from sideoats.vocabulary import see
from sideoats.words import Measured, Money, Name, Parts, Said, Share, Term, say, sentence

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
NAME, FACTS, UNIT = "sorghum-headworm", "insects/sorghum_headworm.", "large larvae/head"
INPUTS = (
    see("head_counts.large", name="large_counts"),
    see("head_counts.medium", name="medium_counts"),
    see("sorghum-headworm.large"),
    see("sorghum-headworm.medium"),
    see("head_counts.small", name="small_counts"),
    see("treated.n"),
    see("head_counts.stage", also=("place.stage",)),
    see("head_counts.heads", also=("place.heads",)),
    see("sorghum-headworm.table"),
    *treated_inputs(NAME, "bu/ac", "USD/bu", "grain sorghum", 300),
)


def pose(table: Table, context: Context) -> Problem:
    """Treating on day 0 to 14 against leaving it: pounds (or a share of the crop) a larva, eaten by degree-days."""
    facts, stage = context.facts, table.text("stage")
    worth = worth_of(table, context, reference_of(facts, "insects/sorghum_aphid"), NAME, ("bu/ac", "USD/bu"))
    counted, large, medium = _counted(table, context)
    whose = np.where(table.text("table") == "", facts.choose("insects/sorghum_headworm_loss")[0], table.text("table"))
    slope = np.where((whose == "knutson")[:, None], _by_pounds(table, context, worth), _by_share(context, worth))
    known = ~counted.unknown & table.known("stage")
    early, ripe = known & (stage == "boot"), np.isin(stage, ("hard dough", "black layer"))
    rule = {name: low for name, low, _ in facts[FACTS + "field_rule"].rows}
    over = (np.nan_to_num(large) >= rule["large"]) | (np.nan_to_num(medium) > rule["medium"])
    by, near = facts.by(FACTS + "field_rule"), facts.value("insects/counting.usual_share") * rule["medium"]
    case = feeding_case(
        table,
        context,
        NAME,
        counted,
        slope=slope,
        most=np.full(len(table), most_lost(facts, "sorghum_headworm")),
        worth=worth,
        crops=("sorghum", "grain sorghum"),
        unit=UNIT,
        sample="head",
        stage=Term(stage, of="head_counts.stage"),
        done=_eaten(table, context),
        over=ripe & known,
        needs={"heads_out": early},
        line=Line(over, known & ~early & ~ripe, {"by": Name(by, fact=FACTS + "field_rule")}),
        own=("few.need",),
        # medium larvae are large, and do most of the harm, within days
        soon=np.where(_small(table) | (np.nan_to_num(medium) >= near), facts["insects/counting.next_look"].low, np.nan),
        heads=(
            (counted.unknown, f"{NAME}.uncounted.need"),
            (early, f"{NAME}.early.need"),
            (~table.known("stage"), f"{NAME}.stageless.need"),
        ),
        reasons=_reasons(table, context, slope, whose == "knutson", known & ~ripe & ~early, (counted.mean, medium)),
        weather=known & ~ripe & ~early,
        seen=_seen(large, medium),
        cautions=(say(f"{NAME}.caution.flare"),),
        quantities={"injury_level_published": (_level(slope, worth.cost), UNIT)},
    )
    return problem_of(table, context, case)


def _seen(large: Floats, medium: Floats) -> Parts:
    """The larvae as they were counted: those of both sizes, or of the one that was sorted out."""
    sizes = {"large": Measured(figures(large)), "medium": Measured(figures(medium))}
    both = ~np.isnan(large + medium)
    alone = {"large": np.isnan(medium), "medium": np.isnan(large)}
    one = (say(f"{NAME}.seen.{size}", **{size: seen}).where(alone[size] & ~both) for size, seen in sizes.items())
    return Parts((say(f"{NAME}.seen.both", **sizes).where(both), *one))


def _level(slope: Floats, cost: Floats) -> Floats:
    """(place,) larvae a head that cost as much as control, which is taken as complete: the printed formula."""
    mean = slope.mean(axis=1)
    return np.where(mean > 0, cost / np.where(mean > 0, mean, 1.0), np.nan)


def _counted(table: Table, context: Context) -> tuple[Counted, Floats, Floats]:
    """Large larvae a head that will feed: large ones and the share of medium ones that live to be large; both means."""
    facts = context.facts
    part = facts.value("insects/counting.usual_share")
    usual = {str(size): part * float(low) for size, low, _ in facts[FACTS + "field_rule"].rows}
    units = facts.value("insects/counting.usual_units")
    large, medium = (
        count_means(table, context, counts=f"{size}_counts", mean=size, units=units) for size in ("large", "medium")
    )
    share, none = facts.value(FACTS + "medium_survival"), large.unknown & medium.unknown
    mean = np.nan_to_num(large.mean) + share * np.nan_to_num(medium.mean)
    before = np.where(large.unknown, 0.0, usual["large"]) + np.where(medium.unknown, 0.0, share * usual["medium"])
    seen = np.where(large.unknown, medium.units, large.units)
    counted = replace(
        large, mean=np.where(none, np.nan, mean), units=seen, k=np.where(large.unknown, medium.k, large.k)
    )
    scored = counted.scored(context, "headworm large", table.keys)
    return scored.against(before, facts), large.mean, medium.mean


def _by_pounds(table: Table, context: Context, worth: Worth) -> Floats:
    """(place, draw) money that one large larva a head costs by pounds a larva and heads an acre."""
    facts = context.facts
    heads = table.number("heads")[:, None]
    usual = drawn(context, f"{NAME} heads", facts[FACTS + "usual_heads"])
    pounds = facts.value(FACTS + "loss.per_larva") * np.where(np.isnan(heads), usual, heads)
    return np.asarray(pounds / facts.value("insects/sorghum.bushel") * worth.price[:, None])


def _by_share(context: Context, worth: Worth) -> Floats:
    whole = context.facts.value(FACTS + "loss.share") * worth.crop[:, None]
    return np.broadcast_to(whole, (len(whole), context.outlook.draws))


def _eaten(table: Table, context: Context) -> Floats:
    """Share of the feeding ahead that is done by each morning: the last instars do most of it.

    Counted larvae stand anywhere from the end of the small instars to half-way through the large ones.
    """
    facts = context.facts
    small, large = facts.value(FACTS + "small_days"), facts.value(FACTS + "large_days")
    late = facts.value(FACTS + "late_feeding")
    larva = Larva(np.array([0.0, small, small + large]), np.array([0.0, 1.0, 2.0]), np.array([0.0, 1 - late, 1.0]))
    first, at = alike(table.text("station"))
    lower, upper = facts.value(FACTS + "lower"), facts.value(FACTS + "upper")
    ahead = degree_days_ahead(table.take(first), context, lower, upper, DAYS, cutoff="intermediate")
    start = larva.degree_days[1] + context.outlook.uniform("headworm age") * 0.5 * large
    return spread_to(larva.progress(start, ahead), at)


def _small(table: Table) -> Bools:
    return np.array([bool(c) and sum(c) > 0 for c in table.rows("small_counts")], bool)


def _reasons(
    table: Table, context: Context, slope: Floats, pounds: Bools, known: Bools, seen: tuple[Floats, Floats]
) -> tuple[Said, ...]:
    facts = context.facts
    rule = {name: Measured(low, fact=FACTS + "field_rule") for name, low, _ in facts[FACTS + "field_rule"].rows}
    heads, survive = facts[FACTS + "usual_heads"], FACTS + "medium_survival"
    one = {
        "loss": Money(np.where(known, slope.mean(axis=1), np.nan), unit="USD/ac"),
        "share": Share(facts.value(survive), fact=survive),
    }
    by = {key: Name(facts.by(FACTS + key), fact=FACTS + key) for key in ("loss.per_larva", "loss.share", "field_rule")}
    return (
        say(f"{NAME}.because.slope", by=by["loss.per_larva"], **one).where(pounds),
        say(f"{NAME}.because.slope", by=by["loss.share"], **one).where(~pounds),
        say(f"{NAME}.because.equal", share=one["share"], mean=Measured(figures(seen[0]), unit=UNIT)).where(
            known & (seen[1] > 0)
        ),
        say(f"{NAME}.because.heading").where(known & (table.text("stage") == "heading")),
        say(f"{NAME}.because.rule", by=by["field_rule"], **rule).where(known),
        say(f"{NAME}.because.heads", low=Measured(heads.low), high=Measured(heads.high, fact=heads.id)).where(
            known & pounds & ~table.known("heads")
        ),
        say(f"{NAME}.because.small").where(_small(table)),
    )


def _check(values: dict[str, Any]) -> None:
    def refuse(wrong: str) -> None:
        raise InputError(
            wrong,
            where=NAME,
            expected="large= and medium= per head with n=, or large_counts= and medium_counts=, of the same heads",
            todo=sentence(say(f"{NAME}.how"), READER),
        )

    ways = ("large_counts", "medium_counts", "large", "medium")
    if all(values[k] is None for k in ways):
        refuse("no larvae counted")
    for size in ("large", "medium"):
        if values[size] is not None and values[f"{size}_counts"] is not None:
            refuse(f"{size} and {size}_counts given")
    lengths = [len(values[k]) for k in ("large_counts", "medium_counts") if values[k]]
    if len(set(lengths)) > 1:
        refuse(f"large_counts has {lengths[0]} heads and medium_counts {lengths[1]}")


QUESTION = Question(
    name=NAME,
    room="insects",
    inputs=INPUTS,
    pose=pose,
    places=Places(kinds=("field",), crops=("grain sorghum",)),
    size="acres",
    in_season=lambda table, context: table.known("large_counts") | table.known("medium_counts"),
    check=_check,
)
