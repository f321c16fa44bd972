"""Treat this cotton for fleahoppers or bollworms? A case of treat by count."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.errors import InputError
from sideoats.families.coming_days import heat_units
from sideoats.families.counted import Counted, count_means, one_count, share_draws, spread
from sideoats.families.feeding import Fed, fed
from sideoats.families.treat_by_count import problem_of
from sideoats.families.treated import (
    Printed,
    Worth,
    injury_days,
    most_lost,
    published,
    reference_of,
    treated_case,
    treated_inputs,
    worth_of,
)
from sideoats.families.treating import DAYS
from sideoats.insects.harm import steady_progress
from sideoats.insects.treatment import triangular
from sideoats.problem import Problem
from sideoats.question import Context, Places, Question, Table
from sideoats.replies import READER
from sideoats.vocabulary import see
from sideoats.words import Measured, Name, Said, Share, Term, say, sentence

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
NAME = "cotton-fleahopper-bollworm"
FLEA, WORM = "insects/cotton_fleahopper", "insects/cotton_bollworm"
PLANTS, GRAMS, BASE = 100.0, 453.6, 60.0
LONGEST = 120  # days since cutout that a date can mean
MOST = 5.0  # fleahoppers a terminal; more is a number per 100 terminals
INPUTS = (
    see("cotton_counts.fleahoppers", name="counts"),
    see("cotton_counts.mean"),
    see("cotton_counts.n"),
    see("cotton_counts.stage", needed=True, also=("place.stage",)),
    see("cotton_counts.cutout_date"),
    see("cotton_counts.square_set"),
    see("cotton_counts.damaged_squares"),
    see("cotton_counts.fruit"),
    see("cotton_counts.larvae_per_100"),
    *treated_inputs(NAME, "lb/ac", "USD/lb", "cotton", 4000),
)


def pose(table: Table, context: Context) -> Problem:
    """Treating on day 0 to 14 against leaving it: for both pests; lines and words go by the one further over its."""
    facts = context.facts
    reference = reference_of(facts, FLEA)
    worth = worth_of(table, context, reference, NAME, ("lb/ac", "USD/lb"))
    (flea_low, flea_high), (worm_low, _) = (_printed(table, context, prefix) for prefix in (FLEA, WORM))
    fleas, fruit = _fleahoppers(table, context, flea_low), _damage(table, context, worm_low)
    worms = _by_worms(table, fleas, flea_low, worm_low)
    counted, squares = fleas.but(worms, fruit), _squares(table, context)
    level = spread(context, f"{NAME} threshold", flea_low, flea_high)
    worm_most = most_lost(facts, "cotton_bollworm")
    flea_one = (reference.line(worth.price, worth.yields) * squares)[:, None] / level
    worm_one = _worm_slope(table, context, worth, reference.yields)[:, None]
    pests = (
        (fleas, flea_one, reference.most, PLANTS * MOST),
        (fruit, worm_one * _live(table, context), worm_most, 100.0),
    )
    still = np.ones((1, context.outlook.draws))

    def each(cost: Floats) -> list[Fed]:
        return [fed(seen.density, one, most * worth.crop, still, cost, worth.prevented, top)
                for seen, one, most, top in pests]  # fmt: skip

    hopping, boring = each(worth.cost)
    # one treatment is paid once: what it saves of the other pest, the pest that decides need not save
    other = (np.where(worms[:, None], hopping.stake, boring.stake) * worth.prevented).mean(axis=1)
    rest = np.maximum(worth.cost - other, 0.0)
    hopped, bored = (money.saving for money in each(rest))
    even = np.nan_to_num(hopped.pays, nan=np.inf)
    heat = _heat_since_cutout(table, context)
    needs = _needs(table, context, counted, worms, (flea_low, worm_low), even) | {
        "cutout_date": _undated(table, worms, worm_low, heat)
    }
    known = ~np.any(list(needs.values()), axis=0)
    ended = {
        "units": Measured(facts.value(f"{WORM}.safe_after"), fact=f"{WORM}.safe_after"),
        "total": Measured(np.round(heat)),
    }
    safe = worms & (heat >= facts.value(f"{WORM}.safe_after")) & known
    past = (~worms & np.isnan(flea_low) & known) | safe
    young = past & (table.text("stage") == "seedling")
    unseen = past & np.isin(table.text("stage"), ("bloom", "boll")) & np.isnan(table.number("damaged_squares"))
    unharmed = worms & (fruit.mean >= 100 * worm_low) & (table.number("larvae_per_100") == 0) & known & ~safe
    hatched = (np.nan_to_num(table.number("larvae_per_100")) > 0) & known & ~past
    both = (
        (fleas.mean >= flea_low) & (fruit.mean >= 100 * worm_low) & (np.nan_to_num(table.number("larvae_per_100")) > 0)
    )
    unit = _by(worms, np.where(table.text("stage") == "squaring", "% of squares", "% of fruit"), "/100 terminals")
    by = _by(worms, facts.by(f"{WORM}.threshold"), facts.by(f"{FLEA}.threshold"))
    line = np.where(worms, 100 * worm_low, flea_low), np.where(worms, 100 * worm_low, flea_high)
    case = treated_case(
        table,
        context,
        NAME,
        counted,
        worth,
        "cotton",
        unit=unit,
        printed=Printed(Name(by), *line, ~worms | (table.number("larvae_per_100") > 0)),
        known=known,
        sample=_by(worms, "fruit", "terminal"),
        stake=np.where(past[:, None], 0.0, hopping.stake + boring.stake),
        done=_feeding(context),
        saving=hopped.but(worms, bored),
        spared=other,
        uneven=np.where(worms[:, None], np.broadcast_to(boring.uneven, hopping.uneven.shape), hopping.uneven),
        stage=Term(table.text("stage"), of="cotton_counts.stage"),
        needs=needs,
        over=past,
        soon=_soon(context, needs, young, unharmed | hatched | unseen),
        heads=(
            (needs["square_loss"] & (fleas.mean >= flea_low), f"{NAME}.square_loss-over.need"),
            *((rows, f"{NAME}.{what}.need") for what, rows in needs.items() if what != "stage"),
            (young, f"{NAME}.young.wait"),
            (unseen, f"{NAME}.unseen.wait"),
            (safe, f"{NAME}.safe.wait"),
            (unharmed, f"{NAME}.no-worms.wait"),
            (both, f"{NAME}.both.act"),
            (hatched, f"{NAME}.hatched.wait"),
        ),
        reasons=(
            *_other(table, worms, fleas, fruit, (flea_low, worm_low)),
            *published(reference, by, *line, unit, money=~worms),
            *_reasons(table, context, worms & ~safe),
            say(f"{NAME}.because.safe", by=Name("Texas coast 2018"), **ended).where(worms & ~np.isnan(heat)),
        ),
        cautions=_cautions(table),
        values={
            "fleas": Measured(np.round(fleas.mean), unit="/100 terminals"),
            "damage": Measured(np.round(fruit.mean), unit="% of fruit"),
        }
        | ended,
    )
    return problem_of(table, context, case)


def _by(worms: Bools, worm: Any, flea: Any) -> NDArray[np.object_]:
    return np.asarray(np.where(worms, worm, flea), dtype=object)


def _feeding(context: Context) -> Floats:
    span = injury_days(context.facts, "cotton_fleahopper")
    window = triangular(context.outlook.uniform(f"{NAME} days"), span.low, span.mid, span.high)
    return steady_progress(window[None, :], DAYS)


def _soon(context: Context, needs: Mapping[str, Bools], young: Bools, near: Bools) -> Floats:
    """Tomorrow where treating may be due, soon where worms are about, at first square where none are set yet."""
    days = context.facts["insects/counting.next_look"]
    squares = (context.region.opens("cotton-squares", context.on) - context.on).days
    soon = np.where(needs["damaged_squares"] | near, days.low, np.where(young, max(float(squares), days.high), np.nan))
    return np.where(needs["live_worms"] | needs["square_loss"] | needs["cutout_date"], 1.0, soon)


def _other(
    table: Table, worms: Bools, fleas: Counted, fruit: Counted, lines: tuple[Floats, Floats]
) -> tuple[Said, ...]:
    """The pest that does not decide, where it was looked for: its count against its own line."""
    larvae = table.number("larvae_per_100")
    hopping, damage = Measured(np.round(fleas.mean), unit="/100 terminals"), Share(fruit.mean / 100)
    return (
        say(f"{NAME}.because.fleas-too", seen=hopping, line=Measured(lines[0])).where(worms & ~fleas.unknown),
        say(f"{NAME}.because.worms-too", damage=damage, line=Share(lines[1]), larvae=Measured(larvae)).where(
            ~worms & ~fruit.unknown & ~np.isnan(larvae)
        ),
        say(f"{NAME}.because.damage-too", damage=damage, line=Share(lines[1])).where(
            ~worms & ~fruit.unknown & np.isnan(larvae)
        ),
        say(f"{NAME}.because.larvae-too", larvae=Measured(larvae)).where(~worms & fruit.unknown & (larvae > 0)),
    )


def _printed(table: Table, context: Context, prefix: str) -> tuple[Floats, Floats]:
    """(place,) low and high of the printed threshold at the stage; NaN where none is printed."""
    rows = {str(stage): (low, high) for stage, _, low, high in context.facts[f"{prefix}.threshold"].rows}
    found = np.array([rows.get(str(stage), (np.nan, np.nan)) for stage in table.text("stage")], float).reshape(-1, 2)
    return found[:, 0], found[:, 1]


def _fleahoppers(table: Table, context: Context, low: Floats) -> Counted:
    """Fleahoppers per 100 terminals."""
    units = context.facts.value("insects/counting.usual_units")
    counted = count_means(table, context, counts="counts", mean="mean", units=units)
    return (
        counted.scored(context, NAME, table.keys)
        .per(1 / PLANTS)
        .against(context.facts.value("insects/counting.usual_share") * low, context.facts)
    )


def _damage(table: Table, context: Context, line: Floats) -> Counted:
    """Share of fruit damaged by bollworms, in per cent."""
    facts = context.facts
    usual = facts.value("insects/counting.usual_share") * np.nan_to_num(line, nan=0.1)
    units = facts.value("insects/counting.usual_fruit")
    return share_draws(context, NAME, table.keys, table.number("damaged_squares"), table.number("fruit"), usual, units)


def _by_worms(table: Table, fleas: Counted, flea_low: Floats, worm_low: Floats) -> Bools:
    """(place,) True where bollworm damage decides: looked for, and further over its line than fleahoppers."""
    damage = table.number("damaged_squares")
    with np.errstate(invalid="ignore"):
        further = damage / worm_low > np.where(np.isnan(fleas.mean), 0.0, fleas.mean / flea_low)
    return np.asarray(~np.isnan(damage) & np.isfinite(worm_low) & (further | fleas.unknown | np.isnan(flea_low)))


def _heat_since_cutout(table: Table, context: Context) -> Floats:
    """(place,) heat units since five nodes above white flower, base 60 degF [degF day]; NaN where no day is told."""
    since = -table.days_until("cutout_date", context.on)
    found = np.full(len(table), np.nan)
    for at in np.flatnonzero((since >= 0) & (since <= LONGEST)):
        found[at] = heat_units(context, str(table.text("station")[at]), int(since[at]), BASE)
    return found


def _undated(table: Table, worms: Bools, line: Floats, heat: Floats) -> Bools:
    """(place,) True where bolls may be past harm from the worms that are there: cut out, and nobody says when."""
    damage, larvae = table.number("damaged_squares"), np.nan_to_num(table.number("larvae_per_100"))
    return np.asarray(worms & (table.text("stage") == "cutout") & np.isnan(heat) & (larvae > 0) & (damage >= line))


def _squares(table: Table, context: Context) -> Floats:
    """(place,) loss by fleahoppers by the squares that hold, as a part of that at the printed threshold."""
    fact = context.facts[f"{FLEA}.by_square_set"]
    held = table.number("square_set")
    return np.where(np.isnan(held), 1.0, np.interp(held, fact.column("held"), fact.column("weight")))


def _worm_slope(table: Table, context: Context, worth: Worth, yields: float) -> Floats:
    """(place,) money that one per cent of fruit damaged costs, live worms being there [USD/ac]."""
    facts = context.facts
    weights = dict(facts[f"{WORM}.weight"].rows)
    weight = np.array([float(weights.get(str(stage), 0.0)) for stage in table.text("stage")])
    lint = facts.value(f"{WORM}.lint_lost") / GRAMS * facts.value(f"{WORM}.turnout")
    fruit = facts.value(f"{WORM}.fruit") * worth.yields / yields
    return np.asarray(fruit * lint * weight * worth.price / 100)


def _live(table: Table, context: Context) -> Floats:
    """(place, 1) part of the damage seen that goes on, by the live worms there: none without them."""
    worms = np.nan_to_num(table.number("larvae_per_100"))[:, None]
    return np.asarray(worms / (worms + context.facts.value(f"{WORM}.live")))


def _needs(
    table: Table, context: Context, counted: Counted, worms: Bools, lines: tuple[Floats, Floats], even: Floats
) -> dict[str, Bools]:
    """What is missing: a count, damage by worms seen, live worms, what takes squares, the stage.

    `lines` are the printed ones; from `even` fleahoppers on a spray pays, and nobody need ask what takes the squares.
    """
    flea_low, worm_low = lines
    damage, larvae = table.number("damaged_squares"), table.number("larvae_per_100")
    held = table.number("square_set")
    lowest = context.facts[f"{FLEA}.square_set"].rows[-1][1]
    over = worms & (damage >= worm_low) & np.isnan(larvae)
    hopping = np.isfinite(flea_low) & ~worms & ~counted.unknown
    only_worms = np.isnan(damage) & (np.nan_to_num(larvae) > 0) & ~(hopping & (counted.mean >= flea_low))
    falling = hopping & (held < lowest) & (counted.mean < np.maximum(flea_low, even)) & np.isnan(damage) & ~only_worms
    return {
        "damaged_squares": only_worms,
        "counts": counted.unknown & ~only_worms,
        "live_worms": over,
        "square_loss": falling,
        "stage": ~table.known("stage") & ~worms,
    }


def _reasons(table: Table, context: Context, worms: Bools) -> tuple[Said, ...]:
    facts, held = context.facts, table.number("square_set")
    weeks, by = facts[f"{FLEA}.square_set"].rows, Name(facts.by(f"{WORM}.threshold"), fact=f"{WORM}.threshold")
    lost = Measured(facts.value(f"{WORM}.lint_lost"), fact=f"{WORM}.lint_lost")

    def because(code: str, **values: Any) -> Said:
        return say(f"{NAME}.because.{code}", **values)

    return (
        because("worms", by=by).where(worms),
        because("lint", lost=lost).where(worms),
        because("no-all-clear").where(np.isnan(table.number("damaged_squares"))),
        because("squares", held=Share(held), first=Share(weeks[0][1]), second=Share(weeks[1][1])).where(~worms),
    )


def _cautions(table: Table) -> tuple[Said, ...]:
    return (
        say(f"{NAME}.caution.flare"),
        say(f"{NAME}.caution.end").where(np.isin(table.text("stage"), ("boll", "cutout"))),
    )


def _check(values: dict[str, Any]) -> None:
    one_count(
        values,
        question=NAME,
        ways=("counts", "mean"),
        single="counts",
        instead=("damaged_squares", "larvae_per_100"),
        sized=False,
    )
    mean = values["mean"] or 0.0
    if mean > MOST:
        raise InputError(
            f"{mean:g} on every terminal",
            where=f"{NAME} mean",
            expected=f"0 to {MOST:g}",
            todo=sentence(say(f"{NAME}.per-100", told=mean, meant=mean / PLANTS), READER),
        )


QUESTION = Question(
    name=NAME,
    room="insects",
    inputs=INPUTS,
    pose=pose,
    places=Places(kinds=("field",), crops=("cotton",)),
    size="acres",
    in_season=lambda table, context: table.known("counts") | table.known("damaged_squares"),
    check=_check,
    stake="bolls",
)
