"""Sell the cull cows now, or feed them and sell in winter."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from sideoats.call import ACT, STOP, WAIT
from sideoats.cattle import answering, budget, condition, growth
from sideoats.decide import Decision, decide
from sideoats.question import Answers, Bar, Context, Option, Places, Question, Table
from sideoats.schema import Field

if TYPE_CHECKING:
    from sideoats.pictures import Picture

UNIT = "USD/head"
COMMODITY = "cull cow"
LONGEST_DAYS = 200  # a winter's feeding; a month further off belongs to another year's question
WEEK, AT_ONCE = 7, 2  # days in which a call is acted on; ailing cows go with the next truck
USUAL_DAYS = 90  # period for which the death share is stated where no days are given
INPUTS = (
    Field("weight", "number", "weight of the cows today", unit="lb", low=500, high=2500, required=True,
          example="1150 lb", fresh_days=60, found_in=("evidence:cull_weighing.weight",)),
    Field("price", "number", "price today", unit="USD/cwt", low=5, high=500, required=True, example="70 USD/cwt",
          fresh_days=60, found_in=("evidence:cull_weighing.price", "quote:cull cow")),
    Field("later_price", "number", "price expected after the days given (in February where none are given)",
          unit="USD/cwt", low=5, high=500, example="82 USD/cwt",
          fresh_days=60, found_in=("evidence:cull_weighing.later_price",)),
    Field("days", "number", "days to feed", unit="day", bare=True, low=7, high=365, example="90",
          fresh_days=60, found_in=("evidence:cull_weighing.days",)),
    Field("gain", "numbers", "daily gain on feed, one number or the ends of a range", unit="lb/day", low=-2, high=6,
          example="1.5, 2.2 lb/day", fresh_days=60, found_in=("evidence:cull_weighing.gain",)),
    Field("cost_per_day", "number", "feed and yardage", unit="USD/day", low=0, high=20, required=True,
          example="2.35 USD/day",
          fresh_days=60, found_in=("evidence:cull_weighing.cost_per_day", "setting:cost.cull_cow_day")),
    Field("other_cost", "number", "veterinary, trucking and selling beyond selling now", unit=UNIT, low=0, high=500,
          default=0.0, example="8 USD/head"),
    Field("feed_bought", "flag", "feed is bought as you go, so its cost follows the hay price", default=False),
    Field("interest", "share", "interest a year", example="8 %", found_in=("setting:interest",)),
    Field("death", "share", "head lost over the days fed", low=0, high=0.5, example="1 %",
          fresh_days=60, found_in=("evidence:cull_weighing.death",)),
    Field("shrink_now", "share", "shrink at the sale today", high=0.5, default=0.0),
    Field("shrink_later", "share", "shrink at the later sale", high=0.5, default=0.0),
    Field("bcs", "number", "body condition score, 1 to 9", low=1, high=9, bare=True, example="4",
          fresh_days=60, found_in=("evidence:cull_weighing.bcs",)),
    Field("class_step", "number", "what one market class up adds to the price", unit="USD/cwt", low=0, high=60,
          default=0.0, example="4 USD/cwt", found_in=("setting:price.cow_class_step",)),
    Field("fit_to_travel", "flag", "every cow can rise, walk and bear weight", default=True,
          fresh_days=60, found_in=("evidence:cull_weighing.fit_to_travel",)),
    Field("ailing", "flag", "lame, cancer eye, lumpy jaw or bad lungs among them",
          default=False, fresh_days=60, found_in=("evidence:cull_weighing.ailing",)),
    *answering.treatment_fields("cow_treatment", "any of them"),
    Field("station", "text", "weather station that stands for the place", found_in=("place:station",)),
)  # fmt: skip
OPTIONS = (
    Option("sell_now", "Sell now"),
    Option("feed", "Feed for the days given"),
    Option("feed_to_january", "Feed to mid January"),
    Option("feed_to_february", "Feed to mid February"),
    Option("feed_to_march", "Feed to mid March"),
)
MONTHS = (1, 2, 3)


@dataclass(frozen=True)
class _Plan:
    """Inputs of every option, (place, option) unless said; option 0 is selling now."""

    days: NDArray[np.float64]
    price: NDArray[np.float64]
    death: NDArray[np.float64]
    gain_low: NDArray[np.float64]
    gain_high: NDArray[np.float64]
    class_now: NDArray[np.int64]
    class_later: NDArray[np.int64]
    class_names: tuple[str, ...]
    class_source: str
    common: dict[str, Any]
    season: answering.Season | None


def _days(table: Table, context: Context) -> NDArray[np.float64]:
    """(place, option) days fed, NaN for an option that is not offered."""
    ahead = [(answering.next_day(context.on, month, 15) - context.on).days for month in MONTHS]
    fixed = [float(d) if 0 < d <= LONGEST_DAYS else np.nan for d in ahead]
    n = len(table)
    return np.column_stack([np.zeros(n), table.number("days"), *(np.full(n, d) for d in fixed)])


def _plan(table: Table, context: Context) -> _Plan:
    facts = context.facts
    days, price = _days(table, context), table.number("price")
    gains = facts["cattle/cow.gain"].column("gain lb/d")
    low, high = answering.span(table, "gain", (min(gains), max(gains)))
    weight, score = table.number("weight"), table.number("bcs")
    body = facts["cattle/cow.weight_by_condition"]
    scores, ratios = body.column("score"), body.column("ratio to score 5")
    followed, classes = facts.choose("cattle/cow_class")
    lows = classes.column("lowest score")
    gained = (low + high)[:, None] / 2 * days
    after = condition.condition_after_gain(weight[:, None], score[:, None], gained, scores, ratios)
    now = condition.class_of_condition(score, lows)
    later = condition.class_of_condition(np.where(np.isnan(days), score[:, None], after), lows)

    asked = table.number("days")
    to_february = float((answering.next_day(context.on, 2, 15) - context.on).days)
    reference = np.maximum(answering.known_or(asked, to_february), 1.0)[:, None]
    given = table.number("later_price")[:, None]
    seasons = [answering.season_ratio(context, COMMODITY, d) for d in np.nan_to_num(days[0, 2:])]
    by_season = np.ones_like(days)
    for at, season in enumerate(seasons, 2):
        by_season[:, at] = season.ratio if season else 1.0
    steps = np.where((now < 0)[:, None], 0, later - now[:, None]) * table.number("class_step")[:, None]
    mean = np.where(
        np.isnan(given),
        price[:, None] * by_season + steps,
        price[:, None] + (given - price[:, None]) * np.minimum(days / reference, 1.0),
    )
    lost = answering.known_or(table.number("death"), facts.value("cattle/cow.death"))[:, None]
    stated_for = answering.known_or(asked, USUAL_DAYS)[:, None]
    common = {
        "start_weight": weight, "start_price": price, "running_cost_per_day": table.number("cost_per_day"),
        "other_cost": table.number("other_cost"), "start_shrink": table.number("shrink_now"),
        "interest_rate": answering.known_or(table.number("interest"), facts.value("cattle/interest")),
        "end_shrink": table.number("shrink_later"),
    }  # fmt: skip
    return _Plan(
        days=days, price=mean, death=np.minimum(lost * days / stated_for, 1.0), gain_low=low, gain_high=high,
        class_now=now, class_later=later, class_names=tuple(classes.column("class")),
        class_source=followed, common=common, season=seasons[1],
    )  # fmt: skip


def hold(
    *, start_weight: Any, running_cost_per_day: Any, gain: Any, days: Any, feed_ratio: Any = 1.0, **rest: Any
) -> budget.Holding:
    """Budget of feeding cows for `days` [d] at `gain` [lb/d]; interest on the cow, none on the running costs.

    Remaining keywords as `sideoats.cattle.budget.hold_and_sell`; `feed_ratio` scales the daily cost.
    """
    return budget.hold_and_sell(
        start_weight=start_weight, end_weight=growth.weight_after(start_weight, gain, days), days=days,
        running_cost=np.asarray(running_cost_per_day, float) * np.asarray(days, float) * np.asarray(feed_ratio, float),
        running_interest_share=0.0, **rest,
    )  # fmt: skip


def _payoff(table: Table, context: Context, plan: _Plan) -> NDArray[np.float64]:
    """(place, draw, option) money over selling now, USD/head."""
    n, draws = len(table), context.outlook.draws
    payoff = np.zeros((n, draws, len(OPTIONS)))
    gain = answering.spread(context, table, "cull cow gain", plan.gain_low, plan.gain_high)
    columns = {name: value[:, None] for name, value in plan.common.items()}
    bought = table.flag("feed_bought")
    for at in range(1, len(OPTIONS)):
        days = plan.days[:, at]
        if np.isnan(days).all():
            payoff[:, :, at] = np.nan
            continue
        ratio = answering.price_ratio(context, COMMODITY, days)
        hay = answering.bought_ratio(context, "grass hay", days / 2, bought)
        feed = hay * (1.0 + answering.cold_share(context, table, days))
        held = hold(
            **columns, gain=gain, days=days[:, None], feed_ratio=feed, end_price=plan.price[:, at, None] * ratio,
            death_share=plan.death[:, at, None],
        )  # fmt: skip
        payoff[:, :, at] = held.net
    return payoff


def answer(table: Table, context: Context) -> Answers:
    """Net of feeding to each date over selling today, with price and gain as draws."""
    plan = _plan(table, context)
    payoff = _payoff(table, context, plan)
    bars = _bars(table, context, plan)
    barred = np.logical_or.reduce([bar.mask for bar in bars])
    decision = decide(payoff, barred=barred, risk_aversion=context.risk_aversion)
    lost = _week_lost(plan, decision)
    ailing = table.flag("ailing")
    hazard = bars[0].mask[:, 0] | bars[2].mask[:, 0]
    verdict = np.where((lost > 0) | (ailing & (decision.best == 0)), ACT, WAIT)
    verdict = np.where(hazard | (decision.best < 0), STOP, verdict).astype(np.int8)
    return Answers(
        table, context, options=OPTIONS, decision=decision, unit=UNIT, bars=bars, verdict=verdict,
        act_by=np.where(verdict == ACT, np.where(ailing, AT_ONCE, WEEK), -1),
        headline=lambda i: _headline(plan, payoff, decision, bars, context, verdict, i),
        because=_because(table, context, plan, decision),
        quantities=_quantities(plan, payoff, decision),
        missing=~(table.known("weight") & table.known("price") & table.known("cost_per_day")),
        missing_headline=lambda i: (
            _headline(plan, payoff, decision, bars, context, verdict, i)
            if hazard[i]
            else "Weigh the cull cows and get today's price and the cost of feed."
        ),
        cautions=(
            context.facts["cattle/cow.fit_to_travel"].text,
            context.facts["cattle/care.records"].text,
            "A later price is a guess: the draws spread about it, they do not forecast it. Regions' seasons differ.",
        ),
        cost_of_waiting=lost,
        pictures=lambda i: _pictures(plan, payoff, decision, i),
    )  # fmt: skip


def _pictures(plan: _Plan, payoff: NDArray[np.float64], decision: Decision, i: int) -> Sequence[Picture]:
    """What feeding pays by day of sale, and its net by later price and cost of gain."""
    from sideoats.cattle.pictures import break_even_about, payoff_fan

    days = plan.days[i]
    open_ = np.flatnonzero(~decision.barred[i] & np.isfinite(payoff[i]).all(axis=0))
    _, first = np.unique(days[open_], return_index=True)
    at = open_[first]
    out = []
    if len(at) > 2:
        out.append(payoff_fan(days[at], payoff[i][:, at], what="Feeding the cull cows", unit=UNIT))
    given = _at_given(plan, _reference(plan, decision))
    even = break_even_about(
        i, what=f"Feeding the cull cows {given['days'][i]:.0f} days", running_interest_share=0.0,
        running_cost=given.pop("running_cost_per_day") * given["days"],
        end_weight=growth.weight_after(given["start_weight"], given.pop("gain"), given["days"]), **given,
    )  # fmt: skip
    return [*out, *([even] if even and at[-1] > 0 else [])]


def _bars(table: Table, context: Context, plan: _Plan) -> tuple[Bar, ...]:
    n, k = len(table), len(OPTIONS)
    unfit, ailing = ~table.flag("fit_to_travel", True), table.flag("ailing")
    feeding = np.arange(k) > 0
    held = answering.withdrawal(table, context)
    inside = held.inside(plan.days)
    sale_inside = np.where(np.arange(k) == 0, inside, False)
    return (
        Bar(
            np.broadcast_to(unfit[:, None], (n, k)),
            "not fit to travel: must not be hauled; call the veterinarian",
            True,
        ),
        Bar(ailing[:, None] & feeding, "ailing cows should go at once, while they are fit to travel"),
        Bar(sale_inside, held.text, True),
        Bar(inside & feeding, held.text),
        Bar(np.isnan(plan.days) & feeding, "not this winter, or no days given"),
    )


def _until(plan: _Plan, context: Context, i: int, at: int) -> str:
    """An option of feeding inside a sentence, with its last day."""
    days = int(plan.days[i, at])
    return f"fed {days} days, to {context.on + timedelta(days=days)},"


def _headline(
    plan: _Plan,
    payoff: NDArray[np.float64],
    decision: Decision,
    bars: tuple[Bar, ...],
    context: Context,
    verdict: NDArray[np.int8],
    i: int,
) -> str:
    best = int(decision.best[i])
    if bars[0].mask[i, 0]:
        return "Do not haul these cows: call the veterinarian."
    if bars[2].mask[i, 0]:
        return f"Do not sell now: {bars[2].text(i)}."
    if best == 0:
        rest = np.where(decision.barred[i, 1:], -np.inf, decision.expected[i, 1:])
        if bars[1].mask[i, 1]:
            return "Sell now, while every cow is fit to travel: ailing cows are not held for feeding."
        if not np.isfinite(rest).any():
            return "Sell now: feeding is not open to these cows."
        other = 1 + int(np.argmax(rest))
        return (
            f"Sell now: {_until(plan, context, i, other)} they would bring {decision.expected[i, other]:+,.2f} "
            "USD/head on average."
        )
    lead = "Start feeding this week" if verdict[i] == ACT else "Do not sell yet"
    return (
        f"{lead}: {_until(plan, context, i, best)} they bring {decision.expected[i, best]:+,.2f} USD/head over selling "
        f"now on average ({decision.low[i, best]:+,.0f} to {decision.high[i, best]:+,.0f}); it pays in "
        f"{(payoff[i, :, best] > 0).mean():.0%} of futures.{_longer(context, plan.days[i, best])}"
    )


def _longer(context: Context, days: float) -> str:
    """Said beside a figure that rests on more days of steady gain than the trial on file fed its cows."""
    trials = context.facts["cattle/cow.feeding_trials"]
    if days <= trials.high:
        return ""
    return f" The trial on file fed {trials.low:.0f} to {trials.high:.0f} days: at {days:.0f} it is the most it can be."


def _reference(plan: _Plan, decision: Decision) -> NDArray[np.int64]:
    """(place,) the option that plain figures are given for: the days asked about, else the best winter month."""
    months = np.where(decision.barred[:, 2:] | np.isnan(decision.expected[:, 2:]), -np.inf, decision.expected[:, 2:])
    return np.where(np.isnan(plan.days[:, 1]), 2 + months.argmax(axis=1), 1).astype(np.int64)


def _at_given(plan: _Plan, at: NDArray[np.int64]) -> dict[str, Any]:
    """Inputs of `hold` at the expected price and the middle of the gain range, for one option a place."""
    rows = np.arange(len(at))
    return {
        **plan.common, "gain": (plan.gain_low + plan.gain_high) / 2, "days": plan.days[rows, at],
        "end_price": plan.price[rows, at], "death_share": plan.death[rows, at],
    }  # fmt: skip


def _net(**inputs: Any) -> NDArray[np.float64]:
    return hold(**inputs).net


CHANGES = {
    "later_price_10_percent_lower": ("end_price", 0.9),
    "later_price_10_percent_higher": ("end_price", 1.1),
    "gain_25_percent_lower": ("gain", 0.75),
    "gain_25_percent_higher": ("gain", 1.25),
    "feed_25_percent_dearer": ("running_cost_per_day", 1.25),
    "death_loss_doubled": ("death_share", 2.0),
}
TURNS = {
    "end_price": ("a later price", "USD/cwt"),
    "gain": ("a gain", "lb/day"),
    "running_cost_per_day": ("feed and yardage", "USD/day"),
}


def _quantities(plan: _Plan, payoff: NDArray[np.float64], decision: Decision) -> answering.Quantities:
    at = _reference(plan, decision)
    rows = np.arange(len(at))
    given = _at_given(plan, at)
    held = hold(**given)
    end_weight = growth.weight_after(given["start_weight"], given["gain"], given["days"])
    ends = (given["start_weight"], given["start_price"], end_weight, given["end_price"])
    classes = np.array(["", *plan.class_names])
    return {
        "days_fed": (given["days"], "day"),
        "end_weight": (end_weight, "lb"),
        "later_price": (given["end_price"], "USD/cwt"),
        "net_at_given_price": (held.net, UNIT),
        "break_even_price": (held.break_even_sale, "USD/cwt"),
        "value_of_gain": (budget.value_of_gain(*ends), "USD/lb"),
        "cost_of_gain": (budget.cost_of_gain(held.running_cost, given["gain"] * given["days"]), "USD/lb"),
        "chance_feeding_pays": ((payoff[rows, :, at] > 0).mean(axis=1), "1"),
        "class_now": (classes[plan.class_now + 1], ""),
        "class_later": (classes[plan.class_later[rows, at] + 1], ""),
        **answering.risk_quantities(OPTIONS, decision, UNIT, "sell_now"),
        **answering.turning_quantities(_net, given, TURNS),
        **answering.sensitivity(_net, given, CHANGES, UNIT),
    }


def _because(table: Table, context: Context, plan: _Plan, decision: Decision) -> Callable[[int], list[str]]:
    facts = context.facts
    pays, feeding = facts["cattle/cow.feeding_pays"].text, facts["cattle/cow.feeding_days"]
    trials = facts["cattle/cow.feeding_trials"]
    at = _reference(plan, decision)
    given = _at_given(plan, at)
    held, turns = hold(**given), answering.turning_text(_net, given, TURNS)
    ends = (given["start_weight"], given["start_price"], held.gained + given["start_weight"], given["end_price"])
    by_price, by_gain = budget.split_of_change(*ends)
    cold = answering.cold_share(context, table, given["days"]).mean(axis=1)

    def lines(i: int) -> list[str]:
        out = []
        if not table.flag("fit_to_travel", True)[i]:
            return ["An animal that cannot rise, walk or bear weight must not be hauled."]
        if np.isfinite(held.net[i]):
            out.append(
                f"{given['days'][i]:.0f} days at {given['gain'][i]:.2f} lb/day and {given['end_price'][i]:.2f} USD/cwt "
                f"later: net {held.net[i]:+,.2f} USD/head; breaks even at {held.break_even_sale[i]:.2f} USD/cwt. The "
                f"price brings {by_price[i]:+,.2f} and the gain {by_gain[i]:+,.2f} before cost."
            )
            out += turns(i)
        if not table.rows("gain")[i]:
            out.append(f"No gain was given: {plan.gain_low[i]:g} to {plan.gain_high[i]:g} lb/day, by ration.")
        if plan.class_now[i] >= 0:
            now, later = (
                plan.class_names[k] if k >= 0 else "unknown" for k in (plan.class_now[i], plan.class_later[i, at[i]])
            )
            table_name = plan.class_source.capitalize()
            out.append(
                f"Class by condition ({table_name} table): {now} now, {later} later; feeding that lifts a lean cow "
                f"takes {feeding.low:.0f} to {feeding.high:.0f} days."
            )
        if plan.season and not table.known("later_price")[i]:
            s = plan.season
            out.append(
                f"No later price was given: the quotes on file of {s.years[0]} to {s.years[1]} put mid February at "
                f"{s.ratio:.3f} of this month ({s.low:.3f} to {s.high:.3f}); higher in {s.share_higher:.0%} of years."
            )
        elif not table.known("later_price")[i]:
            out.append("No later price was given and too few quotes are on file: today's price is carried forward.")
        if cold[i] > 0:
            out.append(
                f"Cold adds {cold[i]:.1%} to the cost of feed on average over the past years; it is in the draws."
            )
        if given["days"][i] > trials.high:
            out.append(
                f"The trial on file fed cull cows {trials.low:.0f} to {trials.high:.0f} days; over "
                f"{given['days'][i]:.0f} days cows fatten and gain less than the steady gain reckoned here."
            )
        return [*out, pays]

    return lines


def _week_lost(plan: _Plan, decision: Decision) -> NDArray[np.float64]:
    """What another week costs, USD/head.

    Where selling is best: the net of feeding for seven days, turned round. Where feeding is best, cows that are kept
    but not yet fed lose a week's gain at the later price less its feed; the rise of the price they keep.
    """
    given = _at_given(plan, _reference(plan, decision))
    closed = np.isnan(given["days"])  # no day to feed to is left: another week then ends at today's price
    given |= {
        "days": np.where(closed, WEEK, given["days"]),
        "end_price": np.where(closed, given["start_price"], given["end_price"]),
        "death_share": np.where(closed, 0.0, given["death_share"]),
    }
    share = np.minimum(WEEK / np.maximum(given["days"], WEEK), 1.0)
    week = given | {
        "days": np.full(len(share), float(WEEK)), "death_share": given["death_share"] * share,
        "end_price": given["start_price"] + (given["end_price"] - given["start_price"]) * share,
    }  # fmt: skip
    selling = -hold(**week).net
    sold = (1 - given["end_shrink"]) * (1 - given["death_share"])
    feeding = WEEK * (budget.value(given["gain"] * sold, given["end_price"]) - given["running_cost_per_day"])
    lost = np.where(decision.best == 0, selling, np.where(decision.best > 0, feeding, 0.0))
    return np.asarray(np.maximum(np.nan_to_num(lost), 0.0))


def check(values: dict[str, Any]) -> None:
    """Refuse half of a treatment."""
    answering.check_treatment(values, "cull-cows")


def in_season(table: Table, context: Context) -> NDArray[np.bool_]:
    """Pens with weighed cull cows, from weaning to the end of winter."""
    return table.known("weight") & (context.on.month in (8, 9, 10, 11, 12, 1, 2))


QUESTION = Question(
    name="cull-cows",
    room="cattle",
    title="Sell the cull cows now, or feed them into winter?",
    about="Compares selling today with feeding to a later date: price, gain and class change against feed, interest "
    "and death, with the price as draws.",
    inputs=INPUTS,
    answer=answer,
    places=Places(kinds=("herd", "pen")),
    size="cull_head",
    in_season=in_season,
    limits="Open cows fed in a pen; a bred cow may be worth more as a bred cow. Dressing percent and buyers' own "
    "grades are not modeled.",
    options_count=5,
    check=check,
)
