"""Treat this sorghum for aphids, and by when? A case of treat by count."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.decide.laws import median, quantile
from sideoats.facts import Facts
from sideoats.families.counted import Counted, by_tally, count_draws, one_count
from sideoats.families.label import Interval
from sideoats.families.multiplying import ahead_of, growth_of, reasons_of, stake_of
from sideoats.families.treat_by_count import problem_of
from sideoats.families.treated import price_moves, reference_of
from sideoats.families.treating import Case
from sideoats.problem import Line, Problem
from sideoats.question import Context, Places, Question, Table
from sideoats.vocabulary import see
from sideoats.words import Measured, Name, Said, Share, Term, say

Bools = NDArray[np.bool_]
NAME, PEST = "sorghum-aphid", "sorghum aphid"
FACTS, COUNTING = "insects/sorghum_aphid.", "insects/counting."
INPUTS = (
    see("place.crop", choices=("grain sorghum", "forage sorghum"), default="grain sorghum"),
    see("leaf_counts.counts", example="12,40,7"),
    see("leaf_counts.mean"),
    see("leaf_counts.n"),
    see("leaf_counts.infested_over_50"),
    see("leaf_counts.stage", needed=True, also=("place.stage",)),
    see("sorghum-aphid.yield", needed=True),
    see("sorghum-aphid.price", needed=True),
    see("sorghum-aphid.cost", needed=True),
    see("sorghum-aphid.efficacy"),
    see("leaf_counts.honeydew"),
    see("leaf_counts.predators"),
    see("leaf_counts.parasitized"),
    see("place.harvest_date"),
    see("sorghum-aphid.phi_days"),
    see("sorghum-aphid.rain_forecast"),
    see("place.acres"),
    see("place.station"),
    see("place.planting_date"),
)


def pose(table: Table, context: Context) -> Problem:
    """Treating on day 0 to 14 against leaving it, for every field of the table."""
    facts, forage = context.facts, table.text("crop") == "forage sorghum"
    counted, floor = _count(table, context)
    growth = context.once(NAME, lambda here: growth_of(here, FACTS, PEST))
    ahead = ahead_of(table, context, counted, growth, FACTS, PEST)
    moves = price_moves(table, context, "grain sorghum")
    stake = stake_of(table, context, ahead, growth, reference_of(facts, FACTS.rstrip(".")), moves, FACTS)
    needs = {
        "threshold": forage,
        "counts": counted.unknown & ~forage,
        **{name: ~table.known(name) & ~forage for name in ("stage", "yield", "price", "cost")},
    }
    known = ~np.any(list(needs.values()), axis=0)
    share = np.divide(stake.loss.mean(axis=1), stake.worth, out=np.zeros(len(table)), where=stake.worth > 0)
    threshold = facts[FACTS + "threshold"]
    case = Case(
        NAME,
        counted,
        unit="aphids/leaf",
        sample="leaf",
        stake=stake.loss,
        done=ahead.done,
        prevented=stake.prevented[None],
        cost=table.number("cost"),
        saving=stake.saving,
        pays=stake.pays,
        tomorrow=stake.tomorrow,
        uneven=stake.uneven,
        crop="sorghum",
        interval=_interval(table, context),
        worth=stake.worth,
        stage=Term(table.text("stage"), of="leaf_counts.stage"),
        density=ahead.density,
        tally=np.where(table.known("counts") | table.known("mean"), np.nan, table.number("infested_over_50")),
        needs=needs,
        pace=float(quantile(growth.rate, 0.9)),
        over=stake.ripe & known,
        line=Line(counted.told >= threshold.mid, known, {"by": Name(facts.by(threshold.id), fact=threshold.id)}),
        values=_by_leaf(facts),
        heads=(
            (forage, f"{NAME}.forage.need"),
            (needs["counts"], f"{NAME}.uncounted.need"),
            *((floor, f"{NAME}.least.{verdict}") for verdict in ("act", "look")),
            (stake.ripe & (table.text("honeydew") == "heavy"), f"{NAME}.sticky.wait"),
        ),
        reasons=(
            *_signs(table, context, known, floor, stake.ripe),
            *reasons_of(table, context, NAME, FACTS, known & ~stake.ripe),
        ),
        cautions=_cautions(table, context),
        quantities={
            "expected_loss_untreated": (np.where(known, share, np.nan), "1"),
            "doubling_time": (np.where(known, np.log(2) / median(growth.rate), np.nan), "day"),
        },
        named={"count_mean": "mean_aphids_per_leaf", "units_to_count_more": "leaves_to_count_more"},
    )
    return problem_of(table, context, case)


def _count(table: Table, context: Context) -> tuple[Counted, Bools]:
    """The count, leaf by leaf or by the share of leaves over the tally line; and which of those are floors."""
    facts = context.facts
    usual = np.full(len(table), facts.value(COUNTING + "usual_share") * facts[FACTS + "threshold"].mid)
    ways = {"counts": "counts", "mean": "mean", "k_fact": FACTS + "dispersion"}
    units = facts.value(COUNTING + "usual_units")
    counted = count_draws(table, context, PEST, usual=usual, units=units, **ways)
    line, most = facts.value(FACTS + "tally_line"), facts.value(FACTS + "tally_most")
    return by_tally(counted, table.number("infested_over_50"), line, most)


def _by_leaf(facts: Facts) -> dict[str, Any]:
    """What stands in for a count in forage sorghum."""
    leaf = facts[FACTS + "forage_leaf"]
    return {"leaf": Share(leaf.mid, fact=leaf.id), "trials": Name(facts.by(leaf.id), fact=leaf.id)}


def _interval(table: Table, context: Context) -> Interval:
    phi, shortest = table.number("phi_days"), context.facts[FACTS + "pre_harvest_interval"].low
    harvest = table.days_until("harvest_date", context.on)
    on_file = context.facts["insects/treatment.interval.sorghum"]
    return Interval(harvest, np.where(np.isnan(phi), shortest, phi), ~np.isnan(phi), on_file)


def _signs(table: Table, context: Context, known: Bools, floor: Bools, ripe: Bools) -> tuple[Said, ...]:
    """What was seen beside the count, and the publisher's rule by stage, one sentence for each kind of sign."""
    fact = context.facts[FACTS + "stage_rules"]
    rules = {stage: (sign, plants) for stage, sign, plants in fact.rows}
    of_row = [rules.get(str(stage), ("", np.nan)) for stage in table.text("stage")]
    signs, plants = np.array([sign for sign, _ in of_row], dtype=object), np.array([share for _, share in of_row])
    by, stage = Name(context.facts.by(fact.id), fact=fact.id), Term(table.text("stage"), of="leaf_counts.stage")
    return (
        *(
            say(f"{NAME}.because.rule.{sign}", by=by, stage=stage, plants=Share(plants)).where(known & (signs == sign))
            for sign in dict.fromkeys(fact.column("sign"))
        ),
        say(f"{NAME}.because.floor").where(floor & known),
        say(f"{NAME}.because.honeydew").where((table.text("honeydew") == "heavy") & known & ~ripe),
    )


def _cautions(table: Table, context: Context) -> tuple[Said, ...]:
    selective = context.facts[FACTS + "pre_harvest_interval"]
    rain = table.number("rain_forecast")
    return (
        say(
            f"{NAME}.caution.selective",
            low=Measured(selective.low, fact=selective.id),
            high=Measured(selective.high, unit="day", fact=selective.id),
        ).where(~table.known("phi_days")),
        say(f"{NAME}.caution.rain", rain=Measured(np.where(rain > 0, rain, np.nan), unit="mm")),
        say(f"{NAME}.caution.predators").where(table.text("predators") == "many"),
    )


def _in_season(table: Table, context: Context) -> Bools:
    span = context.facts[FACTS + "days_after_planting"]
    since, until = -table.days_until("planting_date", context.on), table.days_until("harvest_date", context.on)
    return np.asarray((since >= span.low) & (since <= span.high) & ~(until < 0))


def _check(values: dict[str, Any]) -> None:
    if values["crop"] != "forage sorghum":
        ways = ("counts", "mean", "infested_over_50")
        one_count(values, question=NAME, ways=ways, single="counts", sized=values["mean"] is None)


QUESTION = Question(
    name=NAME,
    room="insects",
    inputs=INPUTS,
    pose=pose,
    places=Places(kinds=("field",), crops=("grain sorghum", "forage sorghum")),
    size="acres",
    in_season=_in_season,
    check=_check,
)
