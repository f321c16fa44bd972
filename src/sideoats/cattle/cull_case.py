"""Cull cows as a case of own and sell: sold today, or fed for some days or to mid winter and sold then."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.cattle import answering, budget, condition, growth
from sideoats.cattle.usual_season import usual_span
from sideoats.families.own_and_sell import SALE, Quantities, sensitivity, turning_points
from sideoats.outlook import seasonal
from sideoats.problem import Barred, Choice, Hazard, labelled
from sideoats.question import Context, Table
from sideoats.words import Day, Measured, say

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]

UNIT = "USD/head"
COMMODITY = "cull cow"
LONGEST_DAYS = 200  # a winter's feeding; a month further off belongs to another year's question
WEEK, AT_ONCE = 7, 2  # days in which a call is acted on; ailing cows go with the next truck
LEAST_SEASON = 28  # days: sooner than that a season moves no price
MOST_RISE = 1.6  # times the price while they are fed: in the best trial on file it rose by 41 %, in a season by 19 %
USUAL_DAYS = 90  # period for which the death share is stated where no days are given
OPTIONS = (
    Choice("sell_now", labelled("cows-sell"), trouble=SALE, kind="sell"),
    Choice("feed", labelled("cows-feed"), trouble=SALE, kind="feed"),
    *(
        Choice(f"feed_to_{month}", labelled(f"cows-feed-{month}"), trouble=SALE, kind="feed")
        for month in ("january", "february", "march")
    ),
)
FEEDING = np.array([option.kind == "feed" for option in OPTIONS])
FED_TO = ("cull-cow-january", "cull-cow-february", "cull-cow-march")  # days of the region
CHANGES = {
    "later_price_10_percent_lower": ("end_price", 0.9),
    "later_price_10_percent_higher": ("end_price", 1.1),
    "gain_25_percent_lower": ("gain", 0.75),
    "gain_25_percent_higher": ("gain", 1.25),
    "feed_25_percent_dearer": ("running_cost_per_day", 1.25),
    "death_loss_doubled": ("death_share", 2.0),
}
TURNS = {"end_price": "USD/cwt", "gain": "lb/day", "running_cost_per_day": "USD/day"}


@dataclass(frozen=True)
class Plan:
    """Inputs of every option, (place, option) unless said; option 0 is selling now.

    `gain_days` are the days of full gain that the days fed are worth; `step` is what a change of class adds [USD/cwt];
    `span` how far the published seasons let the price move to winter; `priced` (place,) a later price is known.
    """

    days: Floats
    gain_days: Floats
    step: Floats
    span: tuple[float, float]
    priced: Bools
    price: Floats
    death: Floats
    gain_low: Floats
    gain_high: Floats
    class_now: Ints
    class_later: Ints
    class_names: tuple[str, ...]
    class_source: str
    common: dict[str, Any]
    season: seasonal.SeasonMove | None

    def at(self, option: Ints) -> dict[str, Any]:
        """Inputs of `hold` at the expected price and the middle of the gain range, for one option a place."""
        rows = np.arange(len(option))
        return {
            **self.common,
            "gain": (self.gain_low + self.gain_high) / 2,
            "days": self.days[rows, option],
            "gain_days": self.gain_days[rows, option],
            "end_price": self.price[rows, option],
            "death_share": self.death[rows, option],
        }


def plan_of(table: Table, context: Context) -> Plan:
    """What each row's cows would be fed, gain and bring."""
    facts = context.facts
    days, price = _days(table, context), table.number("price")
    gains = facts["cattle/cow.gain"].column("gain lb/d")
    low, high = answering.span(table, "gain", (min(gains), max(gains)))
    weight, score = table.number("weight"), table.number("bcs")
    body = facts["cattle/cow.weight_by_condition"]
    scores, ratios = body.column("score"), body.column("ratio to score 5")
    followed, classes = facts.choose("cattle/cow_class")
    lows = classes.column("lowest score")
    gain_days = _full_gain_days(context, days)
    gained = (low + high)[:, None] / 2 * gain_days
    after = condition.condition_after_gain(weight[:, None], score[:, None], gained, scores, ratios)
    now = condition.class_of_condition(score, lows)
    later = condition.class_of_condition(np.where(np.isnan(days), score[:, None], after), lows)

    asked = table.number("days")
    to_february = float((context.region.next(FED_TO[1], context.on) - context.on).days)
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
    return Plan(
        days=days,
        gain_days=gain_days,
        step=steps,
        span=usual_span(context, "cattle/season.cull_cows.to_winter"),
        priced=table.known("later_price") | (seasons[1] is not None),
        price=mean,
        death=np.minimum(lost * days / stated_for, 1.0),
        gain_low=low,
        gain_high=high,
        class_now=now,
        class_later=later,
        class_names=tuple(classes.column("class")),
        class_source=followed,
        common=common,
        season=seasons[1],
    )


def _days(table: Table, context: Context) -> Floats:
    """(place, option) days fed, NaN for an option that is not offered."""
    ahead = [(context.region.next(day, context.on) - context.on).days for day in FED_TO]
    fixed = [float(d) if 0 < d <= LONGEST_DAYS else np.nan for d in ahead]
    n = len(table)
    return np.column_stack([np.zeros(n), table.number("days"), *(np.full(n, d) for d in fixed)])


def _full_gain_days(context: Context, days: Floats) -> Floats:
    """Days of full gain that `days` of feeding are worth: past the days of the trials cows fatten and gain less."""
    longest = context.facts["cattle/cow.feeding_trials"].high
    kept = context.facts.value("cattle/cow.gain_kept")
    return np.asarray(np.minimum(days, longest) + kept * np.maximum(days - longest, 0.0))


def hold(
    *,
    start_weight: Any,
    running_cost_per_day: Any,
    gain: Any,
    days: Any,
    gain_days: Any = None,
    feed_ratio: Any = 1.0,
    **rest: Any,
) -> budget.Holding:
    """Budget of feeding cows for `days` [d] at `gain` [lb/d]; interest on the cow, none on the running costs.

    `gain_days` are the days of full gain in them; all where None. Remaining keywords as
    `sideoats.cattle.budget.hold_and_sell`; `feed_ratio` scales the daily cost.
    """
    return budget.hold_and_sell(
        start_weight=start_weight,
        days=days,
        end_weight=growth.weight_after(start_weight, gain, days if gain_days is None else gain_days),
        running_cost=np.asarray(running_cost_per_day, float) * np.asarray(days, float) * np.asarray(feed_ratio, float),
        running_interest_share=0.0,
        **rest,
    )


def net(**inputs: Any) -> Floats:
    """Net of `hold` [USD/head]."""
    return hold(**inputs).net


def gain_of(table: Table, context: Context, plan: Plan) -> Floats:
    """(place, draw, option) money over selling now, USD/head."""
    n, draws = len(table), context.outlook.draws
    out = np.zeros((n, draws, len(OPTIONS)))
    gain = answering.spread(context, table, "cull cow gain", plan.gain_low, plan.gain_high)
    columns = {name: value[:, None] for name, value in plan.common.items()}
    bought = table.flag("feed_bought")
    for at in range(1, len(OPTIONS)):
        days = plan.days[:, at]
        if np.isnan(days).all():
            out[:, :, at] = np.nan
            continue
        ratio = answering.price_ratio(context, COMMODITY, days)
        hay = answering.bought_ratio(context, "grass hay", days / 2, bought)
        feed = hay * (1.0 + answering.cold_share(context, table, days))
        out[:, :, at] = net(
            **columns,
            gain=gain,
            days=days[:, None],
            gain_days=plan.gain_days[:, at, None],
            feed_ratio=feed,
            end_price=plan.price[:, at, None] * ratio,
            death_share=plan.death[:, at, None],
        )
    return out


def bars(table: Table, context: Context, plan: Plan, held: answering.Withdrawal) -> tuple[Barred, ...]:
    """What may not be hauled or sold yet, what is not held, and what is not offered."""
    inside = held.inside(plan.days)
    return (
        Barred(~table.flag("fit_to_travel", True)[:, None], say("bar.unfit")),
        Barred(table.flag("ailing")[:, None] & FEEDING, say("bar.ailing")),
        Barred(inside, held.said),
        Barred(np.isnan(plan.days) & FEEDING, say("bar.not_this_winter")),
    )


def hazards(table: Table, context: Context, held: answering.Withdrawal, plan: Plan) -> tuple[Hazard, ...]:
    """A cow that cannot travel, very thin cows of which nobody says that they can, and a sale inside a withdrawal."""
    weak = table.number("bcs") <= context.facts.value("cattle/cow.weak_score")
    unsaid = {"cull_weighing.fit_to_travel": weak & ~table.known("fit_to_travel")}
    score = Measured(np.nan_to_num(table.number("bcs")))
    return (
        Hazard("cull-cows.unfit", ~table.flag("fit_to_travel", True)),
        Hazard("cull-cows.weak", np.zeros(len(table), bool), unsaid, values={"score": score}),
        Hazard("cull-cows.withdrawal", held.inside(plan.days)[:, 0], values={"held": held.said}),
        held.misdated("cow_treatment.on"),
    )


def reference(plan: Plan, gain: Floats, barred: Bools) -> Ints:
    """(place,) the option that plain figures are given for: the days asked about, else the best winter month."""
    mean = gain.mean(axis=1)[:, 2:]
    months = np.where(barred[:, 2:] | np.isnan(mean), -np.inf, mean)
    return np.where(np.isnan(plan.days[:, 1]), 2 + months.argmax(axis=1), 1).astype(np.int64)


def needed_price(plan: Plan, barred: Bools) -> Floats:
    """(place, option) later price at which feeding breaks even, over today's, before any change of class.

    Infinite where an option is closed, or so short that no season passes.
    """
    n = len(plan.class_now)
    even = [hold(**plan.at(np.full(n, at))).break_even_sale for at in range(len(OPTIONS))]
    ratio = (np.column_stack(even) - plan.step) / plan.common["start_price"][:, None]
    return np.where(barred | ~(plan.days >= LEAST_SEASON), np.inf, ratio)


def price_decides(plan: Plan, needed: Floats) -> Bools:
    """(place,) True where nobody gave a later price and the choice turns inside what the published seasons allow."""
    least, most = plan.span
    turn = needed[:, 1:].min(axis=1)
    return np.asarray((turn > least) & (turn <= most) & ~plan.priced & (least < most))


def gain_decides(table: Table, context: Context, gain: Floats, barred: Bools) -> Bools:
    """(place,) cows too fat for the gains of the trials, no gain of their own given, and feeding is what pays."""
    fat = table.number("bcs") >= context.facts.value("cattle/cow.fat_score")
    unsaid = np.array([not rows for rows in table.rows("gain")], dtype=bool)
    fed = np.where(barred | np.isnan(gain).any(axis=1), -np.inf, gain.mean(axis=1))[:, 1:].max(axis=1)
    return np.asarray(fat & unsaid & (fed > 0))


def delay(plan: Plan, at: Ints, ailing: Bools) -> Floats:
    """(place, option) what another week costs, USD/head; NaN, pressing at no cost that is known, for ailing cows.

    Selling: the net of feeding for seven days, turned round. Feeding: cows that are kept but not yet fed lose a week's
    gain at the later price less its feed; the rise of the price they keep.
    """
    given = plan.at(at)
    closed = np.isnan(given["days"])  # no day to feed to is left: another week then ends at today's price
    given |= {
        "days": np.where(closed, WEEK, given["days"]),
        "end_price": np.where(closed, given["start_price"], given["end_price"]),
        "death_share": np.where(closed, 0.0, given["death_share"]),
    }
    share = np.minimum(WEEK / np.maximum(given["days"], WEEK), 1.0)
    week = given | {
        "days": np.full(len(share), float(WEEK)),
        "gain_days": np.full(len(share), float(WEEK)),
        "death_share": given["death_share"] * share,
        "end_price": given["start_price"] + (given["end_price"] - given["start_price"]) * share,
    }
    sold = (1 - given["end_shrink"]) * (1 - given["death_share"])
    feeding = WEEK * (budget.value(given["gain"] * sold, given["end_price"]) - given["running_cost_per_day"])
    out = np.repeat(feeding[:, None], len(OPTIONS), axis=1)
    out[:, 0] = -net(**week)
    return np.where(ailing[:, None] & ~(out > 0), np.nan, out)


def quantities(plan: Plan, gain: Floats, at: Ints) -> Quantities:
    """Figures of the reference option, and of what would change them."""
    rows, given = np.arange(len(at)), plan.at(at)
    held = hold(**given)
    end_weight = growth.weight_after(given["start_weight"], given["gain"], given["gain_days"])
    ends = (given["start_weight"], given["start_price"], end_weight, given["end_price"])
    classes = np.array(["", *plan.class_names])
    turns = turning_points(net, given, tuple(TURNS))
    return {
        "days_fed": (given["days"], "day"),
        "end_weight": (end_weight, "lb"),
        "later_price": (given["end_price"], "USD/cwt"),
        "net_at_given_price": (held.net, UNIT),
        "break_even_price": (held.break_even_sale, "USD/cwt"),
        "value_of_gain": (budget.value_of_gain(*ends), "USD/lb"),
        "cost_of_gain": (budget.cost_of_gain(held.running_cost, given["gain"] * given["gain_days"]), "USD/lb"),
        "chance_feeding_pays": ((gain[rows, :, at] > 0).mean(axis=1), "1"),
        "class_now": (classes[plan.class_now + 1], ""),
        "class_later": (classes[plan.class_later[rows, at] + 1], ""),
        **{f"turns_at_{name}": (turn, TURNS[name]) for name, turn in turns.items()},
        **sensitivity(net, given, CHANGES, UNIT),
    }


def due(table: Table) -> Ints:
    """(place,) days in which the call is acted on."""
    return np.where(table.flag("ailing"), AT_ONCE, WEEK)


def until(context: Context, days: float) -> Day:
    """The last day of so many days of feeding."""
    return Day(np.datetime64(context.on) + int(days))
