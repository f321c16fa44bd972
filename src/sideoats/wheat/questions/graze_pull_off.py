"""When do cattle come off this wheat?"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sideoats.call import ACT, LOOK, WAIT
from sideoats.decide import decide, value_of_information
from sideoats.question import Answers, Context, Option, Places, Question, Table
from sideoats.schema import Field
from sideoats.wheat import grazing
from sideoats.wheat.questions import _common as w

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
DAYS = tuple(range(22))
OPTIONS = tuple(
    Option(f"off-day-{d}", "Off today" if d == 0 else f"Off in {d} day{'s' * (d > 1)}", day=d) for d in DAYS
)
INPUTS = (
    Field("hollow_stem", "numbers", "hollow stem of each of about ten large tillers from an ungrazed corner", unit="cm",
          low=0, high=30, example="0.8,1.1,0.6 cm", fresh_days=14, found_in=("evidence:wheat_check.hollow_stem",)),
    Field("stem_growth", "number", "how fast the hollow stem lengthens, from two readings", unit="cm/day", low=0.01,
          high=1.5),
    Field("stage", "choice", "growth stage; from jointing on, first hollow stem is past", choices=w.STAGES,
          aliases=w.STAGE_WORDS, fresh_days=21, found_in=("evidence:wheat_check.stage",)),
    Field("hollow_stem_date", "date", "first hollow stem expected, where no stem was split",
          found_in=("place:hollow_stem_date",)),
    w.HEAD, w.STOCKING, w.GAIN, w.VALUE_OF_GAIN, w.YIELD, w.PRICE, w.HARVEST_COST,
    Field("loss_rate", "share", "yield lost a day past first hollow stem; the published range if absent"),
    Field("compound", "flag", "the daily loss compounds; else straight", default=False),
    Field("look_cost", "number", "a trip to split stems", unit="USD/ac", low=0, high=20,
          found_in=("setting:cost.stem_check",)),
    w.PURPOSE, w.STATION, w.ACRES,
)  # fmt: skip


@dataclass(frozen=True)
class _Stem:
    """Days from today to first hollow stem (place, draw), the mean length [cm] and the line [cm]."""

    days: Floats
    mean: Floats
    line: float


def _stem(table: Table, context: Context) -> _Stem:
    """First hollow stem: from stems split (carried forward by their age), else from the date expected, give or take."""
    facts, out = context.facts, context.outlook
    line = facts.value("wheat/grazing.first_hollow_stem")
    mean = np.array([np.nan if r is None else float(np.mean(r)) for r in table.rows("hollow_stem")])
    split = ~np.isnan(mean)
    expected = w.spring_days(table, context, "hollow_stem_date")[:, None] + np.zeros((1, out.draws))
    if not split.all():
        spread = facts.value("wheat/grazing.date_spread") * out.normal("first hollow stem", table.keys)
        expected = expected + spread
    growth = table.number("stem_growth")[:, None]
    if np.isnan(growth[split]).any():
        drawn = out.between("stem growth", *facts.span("wheat/grazing.stem_growth"))[None, :]
        growth = np.where(np.isnan(growth), drawn, growth)
    age = np.nan_to_num(table.age_days("hollow_stem"))[:, None]
    measured = grazing.days_to_hollow_stem(mean[:, None], growth, line) - age
    late = np.isin(table.text("stage").astype(str), w.STAGES[w.STAGES.index("jointing") :])
    days = np.where(split[:, None], measured, expected)
    return _Stem(np.where(late[:, None], np.minimum(np.nan_to_num(days, nan=0.0), 0.0), days), mean, line)


def _payoff(table: Table, context: Context, stem: _Stem) -> tuple[Floats, grazing.Day]:
    """Money of taking off on each day (place, draw, day) [USD/ac] against off today, and the marginal day."""
    facts, out = context.facts, context.outlook
    rate = table.number("loss_rate")[:, None]
    low, high = facts.value("wheat/grazing.late_loss.low"), facts.value("wheat/grazing.late_loss.kansas")
    daily = np.where(np.isnan(rate), out.between("loss past first hollow stem", low, high)[None, :], rate)
    net = w.wheat_price(table, context) - w.harvest_cost(table, context)[:, None]
    grain, worth = w.yield_draws(table, context), table.number("value_of_gain")[:, None]
    day = grazing.one_more_day(w.stocking(table)[:, None], w.gain_draws(table, context), worth, grain, daily, net)
    past = np.maximum(np.array(DAYS)[None, None, :] - np.maximum(stem.days, 0.0)[:, :, None], 0.0)
    lost = grazing.lost_after(past, daily[:, :, None])
    if table.flag("compound").any():
        compounded = grazing.lost_after(past, daily[:, :, None], compound=True)
        lost = np.where(table.flag("compound")[:, None, None], compounded, lost)
    return day.benefit[:, :, None] * np.array(DAYS) - (grain * net)[:, :, None] * lost, day


def answer(table: Table, context: Context) -> Answers:
    """Off on each of the next days: gain up to that day against grain lost after first hollow stem."""
    stem = _stem(table, context)
    payoff, day = _payoff(table, context, stem)
    lacking = w.unknown(table, value_of_gain="value of gain", price="wheat price")
    lacking |= {"expected yield": ~table.known("yield"), "head and acres": np.isnan(w.stocking(table))}
    lacking["hollow stem: split ten large tillers from an ungrazed corner"] = np.isnan(stem.days[:, 0])
    missing = w.any_of(lacking)
    payoff = np.where(np.isnan(payoff), 0.0, payoff)
    decision = decide(payoff, days=DAYS)
    best = np.maximum(decision.best, 0)
    worth = value_of_information(payoff, np.nan_to_num(stem.days))
    look_cost = np.nan_to_num(w.known_or(table.number("look_cost"), context, "wheat/grazing.look_cost"))
    reached = np.median(stem.days, axis=1) <= 0
    soon = best <= 7
    look = ~reached & (worth > look_cost)
    verdict = np.where(soon & ~(look & (best > 2)), ACT, np.where(look, LOOK, WAIT))
    return Answers(
        table, context, options=OPTIONS, decision=decision, unit="USD/ac",
        headline=_headline(context, stem, best, reached, day, worth), because=_because(table, context, stem, day),
        verdict=np.where(missing, LOOK, verdict).astype(np.int8),
        act_by=np.where(verdict == ACT, best, -1).astype(np.int64),
        look_by=np.where(look & (verdict == LOOK), np.clip(best - 3, 1, 7), -1).astype(np.int64),
        quantities={
            "days_to_hollow_stem": (np.median(stem.days, axis=1), "day"), "hollow_stem": (stem.mean, "cm"),
            "gain_a_day": (day.benefit.mean(axis=1), "USD/ac/day"),
            "grain_lost_a_day": (day.cost.mean(axis=1), "USD/ac/day"),
        },
        worth_of_a_look=worth, look_cost=float(np.median(look_cost)), missing=missing, missing_look_within=3,
        missing_headline=w.lacking_text(lacking),
        cautions=(
            w.INSURANCE, w.CATTLE,
            "Dig stems where cattle do not graze: grazed plants run late and hide the stage.",
            "Move cattle with feed and water ready; watch them for a week on the new place.",
        ),
    )  # fmt: skip


def _headline(
    context: Context, stem: _Stem, best: NDArray[np.int64], reached: Bools, day: grazing.Day, worth: Floats
) -> Callable[[int], str]:
    def text(i: int) -> str:
        benefit, cost = day.benefit[i].mean(), day.cost[i].mean()
        money = f"a day past first hollow stem brings {benefit:.2f} USD/ac of gain and costs {cost:.2f} of grain"
        if reached[i]:
            if cost <= benefit:
                return f"First hollow stem is past, but grazing still pays: {money}."
            ago = -np.median(stem.days[i])
            days = f"about {ago:.0f} days ago" if ago >= 1.5 else "within the last two days"
            return f"Take cattle off now: first hollow stem was passed {days}; {money}."
        if best[i] >= DAYS[-1]:
            return f"No date yet: {money}; first hollow stem in about {np.median(stem.days[i]):.0f} days."
        when = w.shown_day(context, float(best[i]))
        return f"Take cattle off by {when}: {money}. Splitting stems again is worth {worth[i]:.2f} USD/ac."

    return text


def _because(table: Table, context: Context, stem: _Stem, day: grazing.Day) -> Callable[[int], list[str]]:
    def text(i: int) -> list[str]:
        out = []
        if np.isfinite(stem.mean[i]):
            out.append(
                f"Hollow stem {stem.mean[i]:.2f} cm on average; first hollow stem is {stem.line:.1f} cm, about "
                f"{np.median(stem.days[i]):.0f} days off (rate of lengthening: common practice unless measured)."
            )
        else:
            out.append("No stems were split: the expected date is taken, give or take a week.")
        low, high = np.quantile(day.cost[i], [0.1, 0.9])
        out.append(
            f"Past it, {low:.2f} to {high:.2f} USD/ac of grain are lost a day; the published figure is an upper end "
            f"({w.told(context, 'wheat/grazing.late_loss.kansas', 100)} % a day), the lower end "
            f"({w.told(context, 'wheat/grazing.late_loss.low', 100)} %) is common practice."
        )
        out.append("The loss compounds." if table.flag("compound")[i] else "The loss is taken straight, day by day.")
        out.append(
            f"A Texas trial found late removal cost {w.told(context, 'wheat/grazing.late_loss.bushland', 100)} % of "
            f"grain, "
            "early removal none: the penalty depends on sowing date."
        )
        return out

    return text


def _in_season(table: Table, context: Context) -> Bools:
    spring = context.on.month in (2, 3) or (context.on.month == 1 and context.on.day >= 15) or (
        context.on.month == 4 and context.on.day <= 20)  # fmt: skip
    planned = (table.text("purpose") == "dual") & ~table.known("head")  # whether cattle are on is not on file
    ahead = w.spring_close(table, context, "hollow_stem_date") >= 0
    cattle = (table.number("head") > 0) | (planned & ahead)
    return np.asarray(cattle & spring)


QUESTION = Question(
    name="graze-pull-off", room="wheat", title="When do cattle come off this wheat?",
    about="The marginal day: gain on cattle against grain lost past first hollow stem, both as ranges, for each of "
    "the next "
    "three weeks.",
    inputs=INPUTS, answer=answer, places=Places(kinds=("field",), crops=w.CROPS), size="acres", in_season=_in_season,
    options_count=len(OPTIONS),
    limits="No published heat-unit threshold for first hollow stem is used: stems decide. Loss of gain on the next "
    "place is "
    "not counted. Grazing it out is wheat-purpose.",
)  # fmt: skip
