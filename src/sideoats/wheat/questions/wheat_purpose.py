"""Grain, dual purpose, graze-out or hay for this wheat?"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sideoats.call import ACT, LOOK, WAIT
from sideoats.decide import Decision, decide
from sideoats.question import Answers, Bar, Context, Option, Places, Question, Table
from sideoats.schema import Field
from sideoats.wheat import grazing
from sideoats.wheat.questions import _common as w

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
GRAIN, DUAL, OUT, HAY = range(4)
OPTIONS = (
    Option("grain", "Grain, no more grazing"), Option("dual", "Graze to first hollow stem, then grain"),
    Option("graze-out", "Graze it out"), Option("hay", "Cut it for hay"),
)  # fmt: skip
INPUTS = (
    w.YIELD, w.PRICE, w.HARVEST_COST,
    Field("harvest_acre", "number", "harvest cost by the acre", unit="USD/ac", low=0, high=150,
          found_in=("setting:cost.wheat_harvest_acre",)),
    w.HEAD, w.STOCKING, w.GAIN, w.VALUE_OF_GAIN,
    Field("hollow_stem_date", "date", "first hollow stem expected; mid March if absent",
          found_in=("place:hollow_stem_date",)),
    w.PURPOSE, *w.HAY,
    Field("grazed_already", "flag", "cattle have been on it this season; taken so where the week finds them there"),
    Field("insured", "flag", "insured for grain", found_in=("place:insured",)),
    Field("agent_asked", "flag", "the insurance agent has agreed to other uses", default=False),
    w.STATION, w.ACRES,
)  # fmt: skip


@dataclass(frozen=True)
class _Budget:
    """Money of each use (place, draw) [USD/ac], and its parts for the text."""

    payoff: Floats  # (place, draw, option)
    grain: Floats
    graze_day: Floats  # USD/ac a day of grazing before first hollow stem
    stem: Floats  # (place,) days to first hollow stem


def _grazed(table: Table) -> Bools:
    """(place,) cattle have been on: as told, else cattle on file on wheat that is meant to be grazed."""
    standing = np.isin(table.text("purpose").astype(str), ["dual", "graze-out"]) & (table.number("head") > 0)
    return np.asarray(np.where(table.known("grazed_already"), table.flag("grazed_already"), standing))


def _budget(table: Table, context: Context) -> _Budget:
    facts, out = context.facts, context.outlook
    stem = w.spring_close(table, context, "hollow_stem_date")
    yields, price = w.yield_draws(table, context), w.wheat_price(table, context)
    net = (
        yields * (price - w.harvest_cost(table, context)[:, None])
        - np.nan_to_num(table.number("harvest_acre"))[:, None]
    )
    _, penalty = facts.choose("wheat/grazing_penalty")
    lost = out.between("grazing penalty", penalty.low, penalty.high)[None, :]
    grazed = net * (1 - lost)
    head, gain = np.nan_to_num(w.stocking(table))[:, None], w.gain_draws(table, context)
    worth = np.nan_to_num(table.number("value_of_gain"))[:, None] * out.price_ratio("feeder steer 750 lb", [90])[:, 0]
    a_day = grazing.forage_revenue(head, 1.0, gain, worth)
    until = np.maximum(stem, 0.0)[:, None]
    more = out.between("graze-out stocking", *facts.span("wheat/grazing.graze_out_stocking"))
    days = out.between("graze-out days", *facts.span("wheat/grazing.graze_out_days"))
    payoff = np.stack(
        [np.where(_grazed(table)[:, None], grazed, net), grazed + a_day * until,
         a_day * (until + days * more), w.hay_money(table, context, 90)], axis=2,
    )  # fmt: skip
    return _Budget(payoff, net, a_day, stem)


def answer(table: Table, context: Context) -> Answers:
    """The four uses weighed over the same futures; to be settled before first hollow stem."""
    budget = _budget(table, context)
    n, past = len(table), budget.stem < 0
    no_cattle = ~(w.stocking(table) > 0)
    unpriced = np.isnan(table.number("hay_price"))
    insured = table.flag("insured") & ~table.flag("agent_asked")
    masks = {name: np.zeros((n, 4), bool) for name in ("cattle", "hay", "policy", "past")}
    masks["cattle"][:, [DUAL, OUT]] = (no_cattle | ~table.known("value_of_gain"))[:, None]
    masks["hay"][:, HAY] = unpriced
    masks["policy"][:, [OUT, HAY]] = insured[:, None]
    masks["past"][:, DUAL] = past
    barred = np.logical_or.reduce(list(masks.values()))
    decision = decide(np.nan_to_num(budget.payoff), barred=barred)
    lacking = w.unknown(table, price="wheat price") | {"expected yield": ~table.known("yield")}
    missing = w.any_of(lacking)
    lead = context.facts.value("wheat/grazing.decide_lead")
    near = budget.stem <= lead
    plan = np.array([w.PURPOSES.index(p) if p else -1 for p in table.text("purpose")])
    kept = (plan == decision.best) | ((plan == DUAL) & (decision.best == GRAIN))  # grain follows when cattle come off
    verdict = np.where(near & ~kept, ACT, WAIT)
    second = np.sort(np.where(barred, -np.inf, decision.expected), axis=1)[:, -2]
    best = decision.expected[np.arange(n), np.maximum(decision.best, 0)]
    margin = best - second
    planned = best - decision.expected[np.arange(n), np.maximum(plan, 0)]  # what keeping to the plan gives away
    lost = np.where(plan < 0, margin, np.where(barred[np.arange(n), np.maximum(plan, 0)], margin, planned))
    return Answers(
        table, context, options=OPTIONS, decision=decision, unit="USD/ac",
        bars=(
            Bar(masks["cattle"], "no cattle, or no value of gain, on file"),
            Bar(masks["hay"], "no hay price on file"),
            Bar(masks["policy"], "insured for grain: ask the agent before grazing it out or cutting it"),
            Bar(masks["past"], "first hollow stem is past: see graze-pull-off"),
        ),
        headline=_headline(context, decision, budget, plan, kept, near), because=_because(table, context, budget),
        verdict=np.where(missing, LOOK, verdict).astype(np.int8),
        act_by=np.where(verdict == ACT, np.maximum(budget.stem, 0), -1).astype(np.int64),
        quantities={
            "days_to_hollow_stem": (budget.stem, "day"), "grain_net": (budget.grain.mean(axis=1), "USD/ac"),
            "grazing_a_day": (budget.graze_day.mean(axis=1), "USD/ac/day"),
            "lead_over_the_next": (np.where(np.isfinite(margin), margin, np.nan), "USD/ac"),
        },
        cost_of_waiting=np.where((verdict == ACT) & (budget.stem <= w.DUE_DAYS), np.nan_to_num(lost, posinf=0.0), 0.0),
        missing=missing,
        missing_headline=w.lacking_text(lacking),
        cautions=(
            w.INSURANCE, w.CATTLE,
            "Drought-stressed wheat can hold nitrate: test hay and standing forage before it is fed.",
            "Put the lease in writing: who pays nitrogen, fence and water, the day cattle leave, death loss.",
        ),
    )  # fmt: skip


def _headline(
    context: Context, decision: Decision, budget: _Budget, plan: NDArray[np.int64], kept: Bools, near: Bools
) -> Callable[[int], str]:
    def text(i: int) -> str:
        at = int(decision.best[i])
        if at < 0:
            return "No use of this wheat is open: see the reasons."
        sure = 100 * decision.chance_best[i, at]
        if kept[i] and plan[i] == DUAL and at == GRAIN:
            grain = f"{decision.expected[i, at]:.0f} USD/ac"
            return f"Keep to dual purpose: cattle off at first hollow stem, then grain, {grain}."
        if kept[i]:
            money, label = decision.expected[i, at], OPTIONS[at].label.lower()
            return f"Keep to the plan ({label}): {money:.0f} USD/ac, best in {sure:.0f} % of futures."
        lead = f"{OPTIONS[at].label}: {decision.expected[i, at]:.0f} USD/ac, best in {sure:.0f} % of futures"
        if not near[i]:
            return f"{lead}; settle it by {w.shown_day(context, budget.stem[i])}, first hollow stem."
        if budget.stem[i] < 0:
            return f"{lead}. First hollow stem is past."
        return f"{lead}. Decide by {w.shown_day(context, budget.stem[i])}: first hollow stem."

    return text


def _because(table: Table, context: Context, budget: _Budget) -> Callable[[int], list[str]]:
    def text(i: int) -> list[str]:
        out = [
            f"Grain nets {budget.grain[i].mean():.0f} USD/ac after harvest; "
            f"{w.OUTLOOK_NOTE[0].lower()}{w.OUTLOOK_NOTE[1:]}"
        ]
        if w.stocking(table)[i] > 0:
            out.append(
                f"{w.stocking(table)[i]:.2f} head/ac bring {budget.graze_day[i].mean():.2f} USD/ac a day; grazing out "
                f"adds {w.told(context, 'wheat/grazing.graze_out_days')} days at "
                f"{w.told(context, 'wheat/grazing.graze_out_stocking', 1, '.1f')} times the stocking (common practice)."
            )
        _, penalty = context.facts.choose("wheat/grazing_penalty")
        out.append(
            f"Grain after timely grazing is drawn {100 * penalty.low:.0f} to {100 * penalty.high:.0f} % lower; a "
            "Texas trial found "
            "early-sown wheat gained from moderate grazing, so the sign itself is disputed."
        )
        if not table.known("hollow_stem_date")[i]:
            out.append("First hollow stem is taken as mid March: measure it, it differs by variety and field.")
        out.append("Costs already spent (seed, fall nitrogen, land) are the same for every use and are left out.")
        return out

    return text


def _in_season(table: Table, context: Context) -> Bools:
    return np.full(len(table), context.on.month in (1, 2) or (context.on.month == 3 and context.on.day <= 25))


QUESTION = Question(
    name="wheat-purpose", room="wheat", title="Grain, dual purpose, graze-out or hay?",
    about="The four uses of standing wheat over the same yields and prices, settled before first hollow stem.",
    inputs=INPUTS, answer=answer, places=Places(kinds=("field",), crops=w.CROPS), size="acres", in_season=_in_season,
    limits="Cattle margin beyond the value of gain (death loss, interest, marketing) belongs in that value. Days and "
    "stocking "
    "of graze-out and hay yields are common practice.",
)  # fmt: skip
