"""Treat this sorghum for midge while it flowers?"""

from __future__ import annotations

from typing import Any

import numpy as np

from sideoats.errors import InputError
from sideoats.insects.harm import steady_progress
from sideoats.insects.injury import economic_injury_level, injury_level_from_share
from sideoats.insects.questions._count import (
    DAYS,
    Case,
    common_inputs,
    cost_of,
    count_draws,
    crop_value,
    price_moves,
    weigh,
)
from sideoats.insects.treatment import triangular
from sideoats.question import Answers, Context, Places, Question, Table
from sideoats.schema import Field

_F = "insects/sorghum_midge."
_FRESH = 4
STAGES = ("boot", "heading", "flowering", "milk", "soft dough", "hard dough", "black layer")
INPUTS = (
    Field("counts", "counts", "adult midges on each flowering head looked at, in mid-morning", high=10_000,
          example="0,2,1", fresh_days=_FRESH, found_in=("evidence:head_counts.midges",)),
    Field("per_head", "number", "mean adult midges per flowering head", low=0, high=1000),
    Field("n", "number", "flowering heads looked at, with per_head", low=1, high=10_000),
    Field("stage", "choice", "growth stage of most heads", choices=STAGES, fresh_days=_FRESH,
          aliases={"bloom": "flowering", "dough": "soft dough"}, found_in=("evidence:head_counts.stage",)),
    Field("heads", "number", "flowering heads per acre", unit="1/ac", bare=True, low=1000, high=400_000,
          fresh_days=60, found_in=("evidence:head_counts.heads",)),
    Field("resistant", "flag", "hybrid resistant to midge", default=False, found_in=("place:midge_resistant",)),
    Field("table", "choice", "whose loss: texas (share of crop value) or knutson (pounds; needs heads and price)",
          choices=("texas", "knutson")),
    *common_inputs("sorghum-midge", "bu/ac", "USD/bu", "grain sorghum"),
)  # fmt: skip


def _check(values: dict[str, Any]) -> None:
    if (values["counts"] is None) == (values["per_head"] is None):
        raise InputError("exactly one of counts and per_head is needed", where="sorghum-midge",
                         expected="per_head=1.2 with n=20, or counts=0,2,1,...",
                         todo="look at 20 or more heads in flower, in mid-morning")  # fmt: skip
    if values["crop_value"] is None and (values["yield"] is None or values["price"] is None):
        raise InputError("the crop's value is not known", where="sorghum-midge crop_value",
                         expected="crop_value='300 USD/ac', or yield= and price=")  # fmt: skip


def answer(table: Table, context: Context) -> Answers:
    """Midges that cost a share of the crop (or pounds) each, evenly over the days of flowering that are left."""
    facts, n = context.facts, len(table)
    counted = count_draws(table, context, "sorghum midge", counts="counts", mean="per_head")
    value, cost = crop_value(table), cost_of(table, context)
    district, _ = facts.choose("insects/sorghum_midge_loss")
    whose = np.where(table.text("table") == "", district, table.text("table"))
    by_pound = (whose == "knutson") & table.known("heads") & table.known("price")
    pounds, bushel = facts.value(_F + "loss.knutson"), facts.value("insects/sorghum.bushel")
    per_midge = pounds * table.number("heads") * table.number("price") / bushel
    share = facts.value(_F + "loss.texas")
    tougher = np.where(table.flag("resistant"), facts.value(_F + "resistant"), 1.0)
    level = np.where(by_pound, economic_injury_level(cost, 1.0, per_midge), injury_level_from_share(cost, value, share))
    level = level * tougher
    loss = np.where(by_pound, per_midge, value * share) / tougher
    at_stake = counted.density * loss[:, None] * price_moves(table, context, "grain sorghum")
    bloom = facts[_F + "bloom_days"]
    window = triangular(context.outlook.uniform("midge bloom"), bloom.low, bloom.mid, bloom.high)
    stage = table.text("stage")
    before, past = np.isin(stage, ("boot", "heading")), np.isin(stage, STAGES[3:])
    missing = counted.unknown | np.isnan(value)
    most = facts.value(_F + "most_lost")
    side_effects = facts["insects/treatment.side_effects"]
    printed = np.where(by_pound, "Knutson & Cronholm 2007", "Texas A&M 1999")

    def reasons(i: int) -> list[str]:
        lines = [f"Loss by {printed[i]}: {loss[i]:.2f} USD/ac for each midge per flowering head."]
        if whose[i] == "knutson" and not by_pound[i]:
            lines.append("Pounds per midge need heads per acre and price: the share of crop value is used instead.")
        if before[i]:
            lines.append("Midges lay in flowering heads only: look each morning from first yellow bloom.")
        lines.append("Adults live about a day and come anew each morning: one count does not hold for tomorrow.")
        return lines

    case = Case(
        counted=counted, low=level, high=level, unit=np.full(n, "midges per flowering head", dtype=object),
        publisher=printed, at_stake=at_stake, progress=steady_progress(window[None, :], DAYS),
        cap=value * most, missing=missing, nominal=np.zeros(n, bool), over=past, next_look=np.where(past, 0.0, 1.0),
        missing_headline=lambda i: "No midge count and crop value on file: look at flowering heads in mid-morning.",
        missing_look=np.ones(n), reasons=reasons, cautions=lambda i: [side_effects.text],
        quantities={
            "injury_level_published": (level, "midges/flowering head"),
            "crop_value": (value, "USD/ac"),
        },
    )  # fmt: skip
    return weigh(table, context, "sorghum midge", case)


def _in_season(table: Table, context: Context) -> Any:
    return table.known("counts")


QUESTION = Question(
    name="sorghum-midge", room="insects", title="Treat this flowering sorghum for midge?",
    about="Whether treating adult midges pays while heads flower, from midges per flowering head, crop value and cost.",
    inputs=INPUTS, answer=answer, places=Places(kinds=("field",), crops=("grain sorghum",)), size="acres",
    in_season=_in_season, check=_check,
    limits="Flowering heads of grain sorghum only; the level is for one inspection, with control taken as complete.",
)  # fmt: skip
