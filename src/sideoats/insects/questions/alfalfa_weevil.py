"""Treat this alfalfa for weevil, cut it early, or leave it? A case of treat by count."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.families.counted import Counted, count_draws, one_count
from sideoats.families.stopping import Saving, broken
from sideoats.families.treat_by_count import problem_of
from sideoats.families.treated import (
    Printed,
    Worth,
    injury_days,
    most_lost,
    price_moves,
    treated_case,
    treated_inputs,
    worth_of,
)
from sideoats.families.treating import DAYS, Way
from sideoats.insects.harm import cut_short, steady_progress
from sideoats.insects.thresholds import (
    Reference,
    bounded_loss,
    saved_by_scaled_table,
    scaled_table,
)
from sideoats.insects.treatment import triangular
from sideoats.problem import Choice, Problem, labelled
from sideoats.question import Context, Places, Question, Table
from sideoats.vocabulary import see
from sideoats.weather.degree_days import degree_days
from sideoats.words import Day, Measured, Name, Parts, Said, Share, Term, say

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
NAME, FACTS, UNIT, SAMPLE = "alfalfa-weevil", "insects/alfalfa_weevil.", "larvae/stem", "stem"
SEASON, CUTTING, HAY = "alfalfa-weevil-larvae", "alfalfa-first-cutting", "alfalfa hay"
CUT = Choice("cut-early", labelled("cut-early"), day=0, trouble="pass", kind="cut")
INPUTS = (
    see("weevil_counts.counts"),
    see("weevil_counts.mean"),
    see("weevil_counts.n"),
    see("weevil_counts.height", needed=True),
    see("weevil_counts.in_bud"),
    see("weevil_counts.tips_fed"),
    *treated_inputs(NAME, "ton/ac", "USD/ton", HAY, 8),
)


def pose(table: Table, context: Context) -> Problem:
    """Treating on day 0 to 14 and cutting today, against leaving it, for every field of the table."""
    facts = context.facts
    worth = worth_of(table, context, _usual(context), NAME, ("ton/ac", "USD/ton"))
    price, offset = np.where(worth.price > 0, worth.price, np.nan), _offset(table, context)
    counted, level = _counted(table, context), _level(worth, price, offset, context)
    saved = saved_by_scaled_table(
        counted.density,
        price[:, None],
        facts.value(FACTS + "coefficient"),
        offset[:, None],
        facts[FACTS + "domain"].low,
    )
    moves = price_moves(table, context, HAY)
    most = most_lost(facts, "alfalfa_weevil") * worth.crop
    whole = bounded_loss(np.nan_to_num(saved * moves), np.nan_to_num(most)[:, None])
    done, before = cut_short(_feeding(context), _after_cutting(table, context))
    stake, here = whole * before, np.broadcast_to(before, whole.shape).mean(axis=1)
    total = degree_days_this_year(table, context)
    needs = {
        "counts": counted.unknown,
        "price": np.isnan(price),
        "height": ~table.known("height"),
        "species": _out_of_season(context, total) & (counted.mean >= 0.5 * level),
    }
    known = ~np.any(list(needs.values()), axis=0)
    tips = np.nan_to_num(table.number("tips_fed")) >= facts.value(FACTS + "tip_feeding")
    case = treated_case(
        table,
        context,
        NAME,
        counted,
        worth,
        "alfalfa",
        unit=UNIT,
        season="",
        printed=Printed(Name(facts.by(FACTS + "table")), level, level),
        known=known,
        sample=SAMPLE,
        stake=stake,
        done=done,
        saving=_saving(worth, price, offset, here, np.nan_to_num(most), context),
        stage=Term(np.full(len(table), "", dtype=object)),
        needs=needs,
        # tips fed on with few larvae found: one of the two looks missed something
        # and the stubble is looked at once it is there
        soon=np.select(
            [(tips & ~_cut_soon(table, context)) | needs["species"], _cut_soon(table, context)],
            [
                np.ones(len(table)),
                table.days_until("harvest_date", context.on) + facts["insects/counting.next_look"].low,
            ],
            np.nan,
        ),
        ways=(_cutting(table, context, whole, stake, worth),),
        heads=(
            (needs["species"], f"{NAME}.species.need"),
            (tips & needs["counts"], f"{NAME}.tips.need"),
            (needs["counts"] | needs["height"], f"{NAME}.counts.need"),
            (needs["price"], f"{NAME}.price.need"),
            (_cut_soon(table, context), f"{NAME}.cut-soon.wait"),
        ),
        reasons=(*_reasons(table, context, worth, level, total, tips & known),),
        cautions=tuple(say(f"{NAME}.caution.{which}") for which in ("resistance", "bucket", "stubble")),
        values={"tips": Share(np.nan_to_num(table.number("tips_fed")))},
        quantities={
            "injury_level_published": (level, UNIT),
            "degree_days_this_year": (total, "degF day"),
        },
    )
    return problem_of(table, context, case)


def _usual(context: Context) -> Reference:
    """What stands in for a cost and a yield that nobody gave; for a price nothing does, the table goes by it."""
    facts = context.facts
    cost, yields = facts.value("insects/treatment.usual_cost"), facts.value(FACTS + "usual_yield")
    return Reference(cost, np.nan, yields, 1.0, "", most_lost(facts, "alfalfa_weevil"), True)


def _counted(table: Table, context: Context) -> Counted:
    usual = context.facts.value("insects/counting.usual_share") * np.full(
        len(table), context.facts.value(FACTS + "nebraska")
    )
    units = context.facts.value("insects/counting.usual_units")
    return count_draws(table, context, "alfalfa weevil", counts="counts", mean="mean", usual=usual, units=units)


def _offset(table: Table, context: Context) -> Floats:
    """(place,) the table's offset by stem height [larvae/stem]; stems shorter than its first row are put with it."""
    rows = context.facts[FACTS + "offset"].rows
    height = table.number("height")
    edges, offsets = np.array([row[1] for row in rows[1:]]), np.array([row[3] for row in rows])
    return np.asarray(offsets[np.searchsorted(edges, np.nan_to_num(height), side="right")], dtype=np.float64)


def _level(worth: Worth, price: Floats, offset: Floats, context: Context) -> Floats:
    """(place,) larvae a stem from which treating pays, by the printed table's own line."""
    level = scaled_table(worth.cost, price, context.facts.value(FACTS + "coefficient"), offset)
    context.facts[FACTS + "table"]
    return np.where(level < context.facts.value(FACTS + "most_seen"), np.maximum(level, 0.0), np.nan)


def _saving(worth: Worth, price: Floats, offset: Floats, here: Floats, most: Floats, context: Context) -> Saving:
    """What treating saves by larvae a stem: the table's line for what a treatment prevents here.

    The table takes control as complete and the cutting as far; `here` is the part of the loss that comes before it.
    """
    facts = context.facts
    coefficient, least = facts.value(FACTS + "coefficient"), facts[FACTS + "domain"].low
    part, n = worth.prevented.mean(axis=1) * here, len(price)
    first = np.maximum(coefficient * least - offset, 0.05)  # where the printed table begins, and the line bends
    means = first * np.array([1.0, 1.5, 2.2, 3.3, 5.0, 7.5, 11.0, 17.0, 26.0])[:, None]
    loss = saved_by_scaled_table(means, np.nan_to_num(price), coefficient, offset, least)
    saved = bounded_loss(loss, np.broadcast_to(most, (len(means), n))) * part
    saving = broken(means, saved, np.nan_to_num(worth.cost))
    pays = np.where(saving.pays < facts.value(FACTS + "most_seen"), saving.pays, np.nan)
    return replace(saving, pays=pays)


def _feeding(context: Context) -> Floats:
    span = injury_days(context.facts, "alfalfa_weevil")
    window = triangular(context.outlook.uniform("alfalfa weevil days"), span.low, span.mid, span.high)
    return steady_progress(window[None, :], DAYS)


def _stopped(context: Context) -> Floats:
    """(draw,) share of the feeding still ahead that a cutting ends."""
    kills = context.facts[FACTS + "cut_kills"]
    return triangular(context.outlook.uniform("alfalfa cutting"), kills.low, kills.mid, kills.high)


def _after_cutting(table: Table, context: Context) -> Floats:
    """(day, place, draw) share of the feeding that goes on: most of it ends with the planned cutting."""
    cut = np.nan_to_num(table.days_until("harvest_date", context.on), nan=np.inf)
    standing = np.arange(DAYS)[:, None] <= np.where(cut < 0, np.inf, cut)
    return np.where(standing[..., None], 1.0, 1.0 - _stopped(context))


def _cut_soon(table: Table, context: Context) -> Bools:
    """(place,) True where the cutting comes before the next usual look."""
    days = table.days_until("harvest_date", context.on)
    return np.asarray((days >= 0) & (days <= context.facts["insects/counting.next_look"].high))


def _cutting(table: Table, context: Context, whole: Floats, stake: Floats, worth: Worth) -> Way:
    """Cutting today: ends most of the feeding, gives up the growth until the planned cutting, moves other work.

    `whole` is what the larvae would cost if nothing were ever cut, `stake` what they cost until the planned cutting.

    That regrowth starts sooner is not counted, so an early cutting is not made to look better than it is.
    """
    facts, out = context.facts, context.outlook
    growth = facts[FACTS + "growth_days"]
    in_bud = np.nan_to_num(table.number("in_bud")) > facts.value(FACTS + "cut_in_bud")
    until = table.days_until("harvest_date", context.on)
    early = np.where(in_bud, 0.0, np.where(until < 0, np.nan, until))  # a date gone by says nothing of the next cutting
    days = triangular(out.uniform("alfalfa growth"), growth.low, growth.mid, growth.high)
    given_up = np.nan_to_num(np.minimum(early[:, None] / days, 1.0) * worth.crop[:, None])
    moved = out.between("alfalfa moved cutting", *facts.span(FACTS + "cut_moved"))
    spared = stake - whole * (1.0 - _stopped(context))
    undated, unweighed = np.isnan(early), ~(table.known("yield") | table.known("crop_value"))
    unknown = ~in_bud & (undated | unweighed)
    why = Parts((say(f"{NAME}.lacks.date").where(undated), say(f"{NAME}.lacks.yield").where(unweighed)))
    gain = np.where(unknown[:, None], 0.0, spared - given_up - moved)  # not known, and none is told
    return Way(CUT, gain, unknown, say(f"{NAME}.barred.no-date", lacks=why))


def degree_days_this_year(table: Table, context: Context) -> Floats:
    """(place,) degree-days from 1 January to today at the place's station [degF day].

    NaN without a record, or where it lacks too many of these days: a sum of the rest would be taken for a late season.
    """
    on, base = context.on, (context.facts.value(FACTS + "base") - 32.0) / 1.8
    known: dict[str, float] = {}
    begun = context.region.last("degree-day-year", on)
    days = (on - begun).days
    most = context.facts.value("weather/pace.most_missing") * days
    for station, record in context.outlook.records.items():
        if record.lacking(("tmax", "tmin"), on, days) > most:
            continue
        year = slice(max(0, record.index(begun)), max(0, record.index(on)))
        daily = degree_days(record.usable("tmax")[year], record.usable("tmin")[year], base)
        known[station] = float(np.nansum(daily)) * 1.8 if daily.size else np.nan
    return np.array([known.get(str(s), np.nan) for s in table.text("station")])


def _out_of_season(context: Context, total: Floats) -> Bools:
    """(place,) True where no larvae of the first cutting feed: by degree-days where they are known, else by the day."""
    days = context.facts[FACTS + "larvae_days"]
    by_day = not context.region.holds(SEASON, context.on)
    return np.asarray(np.where(np.isnan(total), by_day, (total < days.low) | (total > days.high)), dtype=bool)


def _reasons(
    table: Table, context: Context, worth: Worth, level: Floats, total: Floats, tips: Bools
) -> tuple[Said, ...]:
    facts = context.facts
    bud, domain, stages = facts[FACTS + "cut_in_bud"], facts[FACTS + "domain"], facts[FACTS + "stages"]
    height, ratio = table.number("height"), worth.cost / np.where(worth.price > 0, worth.price, np.nan)
    first = facts[FACTS + "offset"].rows[0][1]
    at = np.searchsorted([row[0] for row in stages.rows], np.nan_to_num(total), side="right") - 1
    of = np.where(np.isnan(total), "", np.array([row[2] for row in stages.rows], dtype=object)[at])

    def because(code: str, **values: Any) -> Said:
        return say(f"{NAME}.because.{code}", **values)

    return (
        because("table", level=Measured(np.round(level, 1), unit=UNIT), height=Measured(height, unit="in")),
        because("outside", low=Measured(domain.low, fact=domain.id), high=domain.high, ratio=Measured(ratio)).where(
            (ratio < domain.low) | (ratio > domain.high)
        ),
        because("short", height=Measured(height, unit="in"), first=Measured(float(first), unit="in")).where(
            height < first
        ),
        because("bud", share=Share(bud.mid, fact=bud.id)).where(table.number("in_bud") > bud.mid),
        because("cutting").where(~table.known("harvest_date") & ~(table.number("in_bud") > bud.mid)),
        because("tips", by=Name(facts.by(FACTS + "tip_feeding"), fact=FACTS + "tip_feeding")).where(tips),
        because(
            "degree-days",
            total=Measured(np.round(total)),
            stage=Term(of, of="weevil"),
            since=Day(np.datetime64(context.region.last("degree-day-year", context.on))),
            by=Name(facts.by(stages.id), fact=stages.id),
        ),
    )


def _in_season(table: Table, context: Context) -> Bools:
    """Counted lately, or a spring whose degree-days lie between the first look and pupation."""
    seen = table.known("counts") | table.known("tips_fed")
    if not context.region.holds(CUTTING, context.on):
        return np.asarray(seen)
    total, last = degree_days_this_year(table, context), context.facts[FACTS + "larvae_days"].high
    return np.asarray(seen | ((total >= context.facts.value(FACTS + "scout_from")) & (total <= last)))


def _check(values: dict[str, Any]) -> None:
    one_count(values, question=NAME, ways=("counts", "mean"), single="counts", instead=("tips_fed",), sized=False)


QUESTION = Question(
    name=NAME,
    room="insects",
    inputs=INPUTS,
    pose=pose,
    places=Places(kinds=("field",), crops=("alfalfa",)),
    size="acres",
    in_season=_in_season,
    check=_check,
)
