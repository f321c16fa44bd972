"""Rations of herds as a problem: the cheapest safe mix of the feeds on hand, with bought hay, or what they are fed now.

Money is counted over the mix of what is on hand, a head and day; where that cannot be made, over the mix with hay.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.cattle import ration_herds as herds
from sideoats.cattle.nutrition_book import Book
from sideoats.cattle.nutrition_feeds import OneFeed, Screened, read_feed, screen
from sideoats.cattle.ration import FLOORS, Feeds, Needs, Rations, in_turn
from sideoats.cattle.ration_account import Account, most_energy
from sideoats.cattle.ration_made import A_CENT, A_TRACE, explained, mixed, solved, spread_of
from sideoats.cattle.ration_sure import PARTS, Spread, chance, sure, worth_each
from sideoats.forage import stock
from sideoats.problem import Choice, labelled
from sideoats.question import Context, Table

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Days = NDArray[np.int64]
UNIT = "USD/head/day"
WEEK, AT_ONCE = 7, 2  # days: the week is the product; a herd that its feeds do not hold is seen to within two days
WEIGHED = 5e-4  # lb: less is not in a mix
POUNDS_OF_TON = 2000.0
OPTIONS = (
    Choice("mix", labelled("ration-mix"), trouble="feeding", kind="mix"),
    Choice("buy", labelled("ration-buy"), trouble="feeding", kind="buy"),
    Choice("keep", labelled("ration-keep"), passive=True, kind="keep"),
)


@dataclass(frozen=True, eq=False)
class Plan:
    """Rations of n herds and what they rest on.

    Attributes
    ----------
    risk : (herd,) nitrate risk of the class, as `stock.risk_of`
    herd, held, grown, bad : who is fed; the feeds on hand; the same with hay to buy, last; records that cannot be used
    s, more : the feeds screened, and with the hay
    needs, tdn_percent : what they need; the TDN that it takes [%], NaN where no feed carries it
    found, with_hay : the cheapest mix of what is on hand, and with hay bought
    spread, spread_more : how the feeds vary, and the chance with which each herd's floors are made to hold
    why : why there is no mix of what is on hand
    no_feed, unsafe, short : nothing is listed; no mix can be safe; a safe mix can be made, but none that holds them
    uncored : every feed is kept out, and each of them only until it is tested
    tonight : (herd, feed) lb of the mix of most energy of what is on hand, where none meets the cold; else NaN
    buys : bought hay makes the mix enough cheaper to say so, or is what makes one at all
    """

    risk: NDArray[np.int8]
    herd: herds.Herd
    held: list[list[OneFeed]]
    grown: list[list[OneFeed]]
    bad: list[dict[str, str]]
    s: Screened
    more: Screened
    needs: Needs
    tdn_percent: Floats
    found: Rations
    with_hay: Rations
    spread: Spread
    spread_more: Spread
    why: Account
    no_feed: Bools
    unsafe: Bools
    uncored: Bools
    short: Bools
    tonight: Floats
    buys: Bools

    def chosen(self, i: int) -> tuple[Rations, list[OneFeed]]:
        """The mix that is told: of what is on hand, or with bought hay where that is cheaper."""
        return (self.with_hay, self.grown[i]) if self.buys[i] else (self.found, self.held[i])

    def made(self) -> Iterator[tuple[Days, Feeds, Needs, Spread, Rations]]:
        """The mixes that are told, in one batch of what is on hand and one with hay bought: which herds, their feeds
        and needs, how the feeds vary, and the mixes."""
        lists = ((self.found, self.s, self.spread), (self.with_hay, self.more, self.spread_more))
        for buys, (found, s, spread) in enumerate(lists):
            rows = np.flatnonzero(found.feasible & (self.buys == bool(buys)))
            if rows.size:
                yield rows, s.feeds.take(rows), self.needs.take(rows), spread.take(rows), found.take(rows)

    def chosen_pounds(self) -> Floats:
        """(n, feed) lb of dry matter of the mix that is told, over the feeds with hay and minerals to buy."""
        out = np.zeros(self.with_hay.pounds.shape)
        out[:, : self.found.pounds.shape[1]] = self.found.pounds
        return np.where(self.buys[:, None], self.with_hay.pounds, out)

    @cached_property
    def cost(self) -> Floats:
        """(n,) of the mix that is told [USD a head and day], NaN where there is none."""
        return np.where(self.buys, self.with_hay.cost, self.found.cost)

    @cached_property
    def chances(self) -> Floats:
        """(n, 2) chances that the floors of TDN and protein of the mix that is told hold, feeds differing from their
        tables; NaN where there is none."""
        out = np.full((len(self.needs), len(PARTS)), np.nan)
        for rows, feeds, needs, spread, mix in self.made():
            for at, part in enumerate(PARTS):
                out[rows, at] = chance(mix.pounds, getattr(feeds, part), part, spread, getattr(needs, part))
        return out

    def priced_at(self, assurance: Floats) -> Floats:
        """(n,) cost a head and day of mixes of the same feeds whose floors hold with that chance, (n,) [USD]; NaN for
        none."""
        out = np.full(len(self.needs), np.nan)
        for rows, feeds, needs, spread, _ in self.made():
            mix, held = sure(feeds, needs, replace(spread, assurance=assurance[rows]))
            out[rows] = np.where(held, mix.cost, np.nan)
        return out

    @cached_property
    def worth(self) -> list[Floats]:
        """Of each herd that has a mix (feed,) the price at which a feed comes into it or goes out of it [USD/lb of dry
        matter]; empty for the others, and NaN for a feed that is kept out."""
        out = [np.zeros(0)] * len(self.needs)
        for rows, feeds, needs, spread, mix in self.made():
            found = np.where(feeds.most_lb > 0, worth_each(feeds, needs, spread, mix), np.nan)
            for row, own in zip(rows.tolist(), found, strict=True):
                out[row] = own
        return out


def plan_of(table: Table, context: Context) -> Plan:
    """Screen the feeds, set the floors, solve, and account for herds that have no safe ration."""
    facts = context.facts
    for told in ("ration.first_grain", "ration.days_a_step", "ration.step_up", "feeds.variation", "feeds.much_grain"):
        facts[f"cattle/{told}"]  # sentences rest on these: every call cites the same, whoever is told first
    facts.choose("forage/hay_feeder", None)
    herd = herds.herd_of(table, context)
    held, bad = herds.feeds_of(table, context)
    grown = herds.with_hay(table, context, held)
    risk = stock.risk_of(list(herd.words), table.flag("weakened"))
    risk = np.where(table.number("days_pregnant") > 0, stock.PREGNANT, risk).astype(np.int8)
    s, more = screen(held, herd.words, risk, facts), screen(grown, herd.words, risk, facts)
    grain = Book.of(facts).largest_share["grain"]
    s, more = (replace(one, feeds=without_share(one.feeds, herd.limited & herd.grown, grain)) for one in (s, more))
    needs, tdn_percent = herds.needs_in(table, context, herd, s)
    spread, spread_more = spread_of(context, held, s), spread_of(context, grown, more)
    one = solved(context, needs, (s.feeds, held, spread), (more.feeds, grown, spread_more))
    found, bought, used = one.found, one.bought, one.needs
    why = explained(context, s.feeds, used, found.feasible)
    no_feed = np.array([not feeds and not refused for feeds, refused in zip(held, bad, strict=True)], dtype=bool)
    kept_out = np.array([bool(f) and len(out) >= len(f) for f, out in zip(held, s.out, strict=True)], dtype=bool)
    untested = np.array([len(out) > 0 and len(out) == len(names) for out, names in zip(s.out, s.untested, strict=True)])
    unsafe = ~found.feasible & (why.unsafe | kept_out) & ~herd.beasts
    uncored = unsafe & kept_out & untested & ~why.water
    least = np.maximum(facts.value("cattle/ration.worth_buying") * found.cost, A_CENT)
    buys = np.where(found.feasible, found.cost - bought.cost >= least, bought.feasible & ~unsafe)
    forage = np.where(buys, bought.level["forage"], found.level["forage"])
    used = replace(used, sulfur=herds.sulfur_of(context, used, forage))
    tonight = np.full(found.pounds.shape, np.nan)
    cold = np.flatnonzero((herd.cold > 0) & ~found.feasible & ~unsafe & ~no_feed)
    if cold.size:
        # hay alone: no new meal on such a night, and nobody grinds hot hay into clean hay
        clean = (s.feeds.nitrate < used.nitrate[:, None]) & (s.feeds.forage > 0)
        mild = replace(s.feeds, most_lb=np.where(clean, s.feeds.most_lb, 0.0))
        tonight[cold] = most_energy(mild.take(cold), used.take(cold))
    return Plan(
        risk=risk,
        herd=herd,
        held=held,
        grown=grown,
        bad=bad,
        s=s,
        more=more,
        needs=replace(used, tdn=np.where(np.isnan(needs.tdn), np.nan, used.tdn)),
        tdn_percent=tdn_percent,
        found=found,
        with_hay=bought,
        spread=replace(spread, assurance=one.assured),
        spread_more=replace(spread_more, assurance=one.assured_bought),
        why=why,
        no_feed=no_feed,
        unsafe=unsafe & ~uncored,
        uncored=uncored,
        short=~found.feasible & ~unsafe & ~herd.beasts & ~no_feed,
        tonight=tonight,
        buys=np.asarray(buys, bool),
    )


def without_share(feeds: Feeds, limited: Bools, share: float) -> Feeds:
    """Grain of cows that are limit-fed has its own most in pounds: its share of a full ration is none of theirs."""
    own = limited[:, None] & (feeds.grain > 0) & (feeds.most_share >= share)
    return replace(feeds, most_share=np.where(own, 1.0, feeds.most_share))


def gain_of(table: Table, context: Context, plan: Plan) -> Floats:
    """(place, draw, option) money over the mix of what is on hand, in the coming month; NaN for what cannot be made."""
    mix, buy = spent(context, plan.found, plan.s, plan.held), spent(context, plan.with_hay, plan.more, plan.grown)
    base = np.where(plan.found.feasible[:, None], mix, buy)
    fed = table.number("fed_now")[:, None] * context.outlook.price_ratio("grass hay", [30])[:, 0]
    gain = np.stack([np.zeros_like(base), base - buy, base - fed], axis=2)
    return np.where(np.abs(gain) < A_TRACE, 0.0, gain)


def spent(context: Context, found: Rations, s: Screened, held: list[list[OneFeed]]) -> Floats:
    """(herd, draw) the cost a head and day over the coming month, roughage and grain moving apart."""
    by_feed = np.where(found.feasible[:, None], found.pounds, np.nan) * s.feeds.price
    rough = np.zeros(by_feed.shape, dtype=bool)
    for i, feeds in enumerate(held):
        rough[i, : len(feeds)] = [f.kind == "roughage" for f in feeds]
    hay = context.outlook.price_ratio("grass hay", [30])[:, 0]
    grain = context.outlook.price_ratio("corn", [30])[:, 0]
    hay_part, other = in_turn(np.where(rough, by_feed, 0.0)), in_turn(np.where(rough, 0.0, by_feed))
    return np.asarray(hay_part[:, None] * hay + other[:, None] * grain, dtype=np.float64)


def days_to_act(table: Table, context: Context, plan: Plan) -> tuple[Days, Floats]:
    """Days within which to act, -1 where nothing is lost by waiting; and what a week of waiting loses [USD/head].

    A mix is due when feeding begins within the week; for a herd that is fed already, where it is cheaper than what they
    are fed now, or (that cost not known) where the list of feeds is new: a list of last month was answered then.
    """
    begins, fed = table.days_until("fed_from", context.on), table.number("fed_now")
    ahead, age = begins >= 0, np.nan_to_num(table.age_days("feeds"))
    saving = np.where(~ahead, np.nan_to_num(fed - plan.cost), 0.0)
    new = np.isnan(fed) & (age < WEEK)
    week = np.where(plan.herd.cold > 0, 0, WEEK)  # what is fed for the cold is fed while it is cold
    running = np.where(saving >= A_CENT, week, np.where(new, np.minimum(week, WEEK - age), -1))
    soon = np.where(ahead, np.where(begins <= WEEK, begins, -1), running)
    only_bought = ~plan.found.feasible & plan.buys  # hay has to be found before feeding begins, however far off that is
    soon = np.where(only_bought, np.where(ahead, begins, week), soon)
    due = np.floor(soon).astype(np.int64)
    return due, np.where(saving >= A_CENT, WEEK * saving, 0.0)


def delay(due: Days, lost: Floats) -> Floats:
    """(place, option) what a week's wait costs: NaN, pressing at no cost that is known, where it is due."""
    week = np.where(lost > 0, lost, np.where(due >= 0, np.nan, 0.0))
    return np.stack([week, week, np.zeros_like(week)], axis=1)


def recheck(table: Table, context: Context, plan: Plan) -> Days:
    """(place,) days until one looks again: a week before feeding begins, a month for a herd that is fed; feeds that do
    not hold a herd are mended before feeding begins, at once where they are fed already.
    """
    begins = table.days_until("fed_from", context.on)
    month = context.facts.value("cattle/ration.ask_again")
    waits = np.where(begins > WEEK, begins - WEEK, month)
    at_once = np.where(plan.herd.cold > 0, 0, AT_ONCE)
    mended = np.where(begins >= 0, begins, at_once)
    return np.where(plan.short, mended, waits).astype(np.int64)


def quantities(table: Table, context: Context, plan: Plan, band: tuple[float, float]) -> dict[str, tuple[Any, Any]]:
    """Figures of the mix of what is on hand; of what is told the tons and the steps."""
    found, needs = plan.found, plan.needs
    bought = [plan.with_hay.pounds[i, len(f) - 1] / f[-1].dry_matter for i, f in enumerate(plan.grown)]
    free = ~table.known("intake")
    out: dict[str, tuple[Any, Any]] = {
        "cost": (found.cost, UNIT),
        "cost_with_bought_hay": (plan.with_hay.cost, UNIT),
        "bought_hay_as_fed": (np.array(bought, np.float64), "lb/day"),
        "intake": (needs.intake, "lb/day"),
        "intake_low": (np.where(free, needs.intake * band[0], np.nan), "lb/day"),
        "intake_high": (np.where(free, needs.intake * band[1], np.nan), "lb/day"),
        "tdn_density_needed": (plan.tdn_percent, "percent"),
        "nitrate_ceiling": (needs.nitrate, "ppm"),
        "nitrate_from_water": (needs.water_nitrate, "ppm"),
        "sulfur_ceiling": (100 * needs.sulfur, "percent"),
        "ration_nitrate": (found.level["nitrate"], "ppm"),
        "ration_sulfur": (100 * found.level["sulfur"], "percent"),
        "ration_aflatoxin": (found.level["aflatoxin"], "ppb"),
        "ration_starch": (100 * found.level["starch"] / needs.intake, "percent"),
        "ration_fat": (100 * found.level["fat"] / needs.intake, "percent"),
        "calcium_to_phosphorus": (found.level["calcium_to_phosphorus"], "1"),
    }
    for name in FLOORS:
        out[f"{name}_floor"] = (getattr(needs, name), "lb/day")
        out[f"ration_{name}"] = (found.level[name], "lb/day")
        out[f"price_of_{name}"] = (np.where(found.feasible, found.shadow[name], np.nan), "USD/lb")
    out["price_of_100_ppm_less_nitrate"] = (np.where(found.feasible, found.shadow["nitrate"], np.nan), UNIT)
    out["price_of_a_tenth_percent_less_sulfur"] = (np.where(found.feasible, found.shadow["sulfur"], np.nan), UNIT)
    return out | _by_feed(table, context, plan)


def left_in_herd(table: Table, plan: Plan) -> Floats:
    """(n,) head that eat the mix that is told: without the thin and young cows that have a pen of their own."""
    head = table.number("head")
    apart = np.nan_to_num(table.number("thin_head")) + np.nan_to_num(table.number("young_head"))
    return np.where(plan.herd.grown & (apart > 0) & (apart < head), head - apart, head)


def wasted(table: Table, context: Context, i: int, feed: OneFeed) -> float:
    """Share of a feed that is lost at the feeder: of hay and straw, by how it is fed."""
    if not feed.baled:
        return 0.0
    word = str(table.text("feeder")[i] or "").replace("-", "_")
    return float(context.facts.choose("forage/hay_feeder", word or None)[1].mid)


def _by_feed(table: Table, context: Context, plan: Plan) -> dict[str, tuple[Any, Any]]:
    """Dry and as-fed pounds of each feed on hand, and the tons of it that go out for the days asked about, what the
    feeder wastes with them."""
    n, found, out = len(table), plan.found, {}
    over = left_in_herd(table, plan) * table.number("days") / POUNDS_OF_TON
    for name in sorted({f.name for feeds in plan.held for f in feeds}):
        dry, fed, lost = np.full(n, np.nan), np.full(n, np.nan), np.zeros(n)
        for i, feeds in enumerate(plan.held):
            at = [k for k, f in enumerate(feeds) if f.name == name]
            if at and found.feasible[i]:
                dry[i] = found.pounds[i, at[0]]
                fed[i] = dry[i] / feeds[at[0]].dry_matter
                lost[i] = wasted(table, context, i, feeds[at[0]])
        key = "_".join(name.lower().replace("-", " ").split())
        out[f"dry_matter_{key}"], out[f"as_fed_{key}"] = (dry, "lb/day"), (fed, "lb/day")
        out[f"tons_{key}"] = (fed * over / (1 - lost), "ton")
    return out


def steps_of(context: Context, plan: Plan, i: int, grain_now: float = 0.0) -> float:
    """Days over which the grain of the mix that is told is brought in, 0 where there is little of it.

    Three days on hay, then 2 lb, and a pound more every two to three days; finishing cattle by the published steps,
    cows that are limit-fed by theirs. What they get already is not brought in.
    """
    facts = context.facts
    found, feeds = plan.chosen(i)
    if plan.herd.limited[i] and not plan.herd.growing[i]:
        return float(facts.value("cattle/limit_feeding.steps"))
    grain = sum(p / f.dry_matter for p, f in zip(found.pounds[i], feeds, strict=False) if f.kind == "grain" and p > 0)
    first = max(facts.value("cattle/ration.first_grain"), float(np.nan_to_num(grain_now)))
    if not (found.feasible[i] and grain > first):
        return 0.0
    least = {str(k): float(v) for k, v in facts["cattle/ration.step_up"].rows}
    by_pound = 3 + np.ceil((grain - first) * facts.value("cattle/ration.days_a_step"))
    return least.get(plan.herd.words[i], float(by_pound))


def would_do(context: Context, plan: Plan, i: int) -> list[tuple[float, OneFeed]]:
    """Pounds as fed and feed of what is to be bought so that one herd's feeds hold it: the one feed, with a mineral,
    that does it at least cost; of several where no one does."""
    facts, book = context.facts, Book.of(context.facts)
    needs = plan.needs.take(np.array([i]))
    if np.isnan(needs.tdn[0]):
        return []
    held, minerals, hay = plan.held[i], plan.grown[i][len(plan.held[i]) : -1], plan.grown[i][-1]
    listed = [book.find(f.name) for f in held]  # what is kept out is not advised under the same name
    names = [str(name) for (name,) in facts["cattle/feeds.would_do"].rows]
    sold = [read_feed({"name": name}, book) for name in names if book.find(name) not in listed]
    sold = [f for f in sold if f.kind != "mineral"]
    tried = [[*held, *minerals, one] for one in (*sold, hay)] + [[*held, *minerals, *sold, hay]]
    herd = [plan.herd.words[i]] * len(tried)
    s = screen(tried, herd, np.repeat(plan.risk[i], len(tried)), facts)
    listing = (s.feeds, tried, spread_of(context, tried, s))
    found, _ = mixed(context, listing, needs.take(np.zeros(len(tried), np.int64)))
    alone = np.where(found.feasible[:-1], found.cost[:-1], np.inf)
    at = int(alone.argmin()) if np.isfinite(alone).any() else len(tried) - 1
    if not found.feasible[at]:
        return []
    added = zip(found.pounds[at, len(held) :], tried[at][len(held) :], strict=False)
    bought = [(float(p) / f.dry_matter, f) for p, f in added if p > WEIGHED]
    return sorted(bought, key=lambda one: (-one[0], one[1].name))


def break_evens(plan: Plan, i: int) -> list[tuple[float, bool, OneFeed]]:
    """Price of each feed at which the mix that is told changes [USD/ton as fed], and whether it is in the mix now.

    Feeds that are kept out and minerals are not told; those in it first.
    """
    found, listed = plan.chosen(i)
    if not found.feasible[i]:
        return []
    out = []
    for price, pounds, feed in zip(plan.worth[i], found.pounds[i], listed, strict=False):
        if feed.kind != "mineral" and not np.isnan(price):
            out.append((float(price) * POUNDS_OF_TON * feed.dry_matter, bool(pounds > WEIGHED), feed))
    return sorted(out, key=lambda one: (not one[1], one[2].name))
