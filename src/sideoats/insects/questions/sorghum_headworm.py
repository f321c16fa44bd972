"""Treat this sorghum for headworms (corn earworm and fall armyworm in the head)?"""

from __future__ import annotations

from typing import Any

import numpy as np

from sideoats.errors import InputError
from sideoats.insects.harm import Larva
from sideoats.insects.injury import economic_injury_level
from sideoats.insects.questions._ahead import alike, degree_days_ahead
from sideoats.insects.questions._count import (
    DAYS,
    Case,
    Counted,
    common_inputs,
    cost_of,
    count_draws,
    crop_value,
    price_moves,
    weigh,
)
from sideoats.question import Answers, Context, Places, Question, Table
from sideoats.schema import Field

_F = "insects/sorghum_headworm."
_FRESH = 10
STAGES = ("boot", "heading", "flowering", "milk", "soft dough", "hard dough", "black layer")
INPUTS = (
    Field("large_counts", "counts",
          "larvae over 1/2 inch on each head beaten into a bucket (for stop lines a medium one is about a fifth)",
          high=10_000, example="0,1,0", fresh_days=_FRESH, found_in=("evidence:head_counts.large",)),
    Field("medium_counts", "counts", "larvae of 1/4 to 1/2 inch on each of the same heads", high=10_000,
          fresh_days=_FRESH, found_in=("evidence:head_counts.medium",)),
    Field("large", "number", "mean larvae over 1/2 inch per head", low=0, high=1000),
    Field("medium", "number", "mean larvae of 1/4 to 1/2 inch per head", low=0, high=1000),
    Field("small_counts", "counts", "larvae under 1/4 inch; looked at again, not counted as loss", high=10_000,
          fresh_days=_FRESH, found_in=("evidence:head_counts.small",)),
    Field("n", "number", "heads looked at, with large and medium", low=1, high=10_000),
    Field("stage", "choice", "growth stage of most heads", choices=STAGES, fresh_days=_FRESH,
          aliases={"bloom": "flowering", "dough": "soft dough"}, found_in=("evidence:head_counts.stage",)),
    Field("heads", "number", "heads per acre", unit="1/ac", bare=True, low=1000, high=400_000, fresh_days=60,
          found_in=("evidence:head_counts.heads", "place:heads")),
    Field("table", "choice", "whose loss: knutson (pounds per larva; needs heads) or kansas (5 % of a head per worm)",
          choices=("knutson", "kansas")),
    *common_inputs("sorghum-headworm", "bu/ac", "USD/bu", "grain sorghum"),
)  # fmt: skip


def _check(values: dict[str, Any]) -> None:
    if all(values[k] is None for k in ("large_counts", "medium_counts", "large", "medium")):
        raise InputError("no larvae counted", where="sorghum-headworm",
                         expected="large= and medium= per head with n=, or large_counts= and medium_counts=",
                         todo="beat 20 or more heads into a bucket and sort the larvae by length")  # fmt: skip
    if values["price"] is None or (values["heads"] is None and values["yield"] is None):
        raise InputError("the grain's value is not known", where="sorghum-headworm price",
                         expected="price= with heads= (heads per acre), or price= with yield=")  # fmt: skip


def _counted(table: Table, context: Context) -> Counted:
    """Large larvae a head that will feed: large ones, and the share of medium ones that live to be large."""
    large = count_draws(table, context, "headworm large", counts="large_counts", mean="large")
    medium = count_draws(table, context, "headworm medium", counts="medium_counts", mean="medium")
    none = large.unknown & medium.unknown
    share = context.facts.value(_F + "medium_survival")
    mean = np.nan_to_num(large.mean) + share * np.nan_to_num(medium.mean)
    density = np.nan_to_num(large.density) + share * np.nan_to_num(medium.density)
    units = np.where(large.unknown, medium.units, large.units)
    return Counted(np.where(none, np.nan, mean), units, density, large.k, large.plan_k, np.ones(len(table)))


def _larva(context: Context) -> Larva:
    """Feeding by degree-days: the last instars do most of it."""
    facts = context.facts
    small, large = facts.value(_F + "small_days"), facts.value(_F + "large_days")
    late = facts.value(_F + "late_feeding")
    return Larva(np.array([0.0, small, small + large]), np.array([0.0, 1.0, 2.0]), np.array([0.0, 1 - late, 1.0]))


def answer(table: Table, context: Context) -> Answers:
    """Larvae that cost pounds (or a share of a head) each, eaten as degree-days bring them to pupation."""
    facts, n = context.facts, len(table)
    counted, cost, value = _counted(table, context), cost_of(table, context), crop_value(table)
    per_pound = table.number("price") / facts.value("insects/sorghum.bushel")
    district, _ = facts.choose("insects/sorghum_headworm_loss")
    whose = np.where(table.text("table") == "", district, table.text("table"))
    by_pound = (whose == "knutson") & table.known("heads")
    loss = np.where(
        by_pound,
        facts.value(_F + "loss.per_larva") * table.number("heads") * per_pound,
        facts.value(_F + "loss.share") * value,
    )
    level = economic_injury_level(cost, 1.0, loss)
    larva = _larva(context)
    first, at = alike(table.text("station"))
    lower, upper = facts.value(_F + "lower"), facts.value(_F + "upper")
    ahead = degree_days_ahead(table.take(first), context, lower, upper, DAYS, cutoff="intermediate")
    # Counted larvae stand anywhere from the end of the small instars to half-way through the large ones.
    start = larva.degree_days[1] + context.outlook.uniform("headworm age") * 0.5 * facts.value(_F + "large_days")
    stage = table.text("stage")
    most = facts.value(_F + "most_lost")
    cap = np.where(np.isnan(value), np.inf, value * most)
    small = np.array([bool(c) and sum(c) > 0 for c in table.rows("small_counts")], bool)
    near = facts["insects/counting.next_look"].low
    printed = np.where(by_pound, "Knutson & Cronholm 2007", "Kansas State Univ., 5 % of a head per worm")
    side_effects = facts["insects/treatment.side_effects"]
    survive = facts.value(_F + "medium_survival")
    rule = {name: low for name, low, _ in facts[_F + "field_rule"].rows}

    def reasons(i: int) -> list[str]:
        lines = [
            f"Loss by {printed[i]}: {loss[i]:.2f} USD/ac for each large larva a head; "
            f"of medium ones {100 * survive:.0f} % get there."
        ]
        lines.append(
            f"Field rule beside it: more than {rule['medium']:g} medium a head, or {rule['large']:g} large (one on "
            "five heads); larvae under 1/4 inch are ignored."
        )
        if whose[i] == "knutson" and not by_pound[i]:
            lines.append("Heads per acre are not known: the share-of-a-head rule is used, which fits big heads only.")
        if small[i]:
            lines.append("Small larvae are there: most die, but look again in three to four days.")
        lines.append(context.outlook.notes[0])
        return lines

    case = Case(
        counted=counted, low=level, high=level, unit=np.full(n, "large larvae or their equal per head", object),
        publisher=printed, at_stake=counted.density * loss[:, None] * price_moves(table, context, "grain sorghum"),
        progress=np.take(larva.progress(start, ahead), at, axis=1), cap=cap, missing=counted.unknown | np.isnan(loss),
        nominal=np.zeros(n, bool), over=np.isin(stage, ("hard dough", "black layer")), reasons=reasons,
        missing_headline=lambda i: "No larvae counted, or price, heads or yield not known: beat heads into a bucket.",
        next_look=np.where(small, near, np.nan), cautions=lambda i: [side_effects.text],
        quantities={"injury_level_published": (level, "large larvae/head"), "crop_value": (value, "USD/ac")},
    )  # fmt: skip
    return weigh(table, context, "sorghum headworm", case)


def _in_season(table: Table, context: Context) -> Any:
    return table.known("large_counts") | table.known("medium_counts")


QUESTION = Question(
    name="sorghum-headworm", room="insects", title="Treat this sorghum for headworms?",
    about="Whether treating corn earworm and fall armyworm in sorghum heads pays, from larvae per head by size, heads "
    "per acre, price and cost.",
    inputs=INPUTS, answer=answer, places=Places(kinds=("field",), crops=("grain sorghum",)), size="acres",
    in_season=_in_season, check=_check,
    limits="Flowering to soft dough. Pounds per larva need heads per acre; the share-of-a-head rule fits big heads.",
)  # fmt: skip
