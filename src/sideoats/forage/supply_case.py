"""Hay against a herd's need until grass, and what buying now, buying later or selling cows is worth.

One arithmetic: what is needed less what is left of the stack is what is short, each from the middle figures; the draws
move every one of them, and tell the chance and the worst tenth. Late grass, appetite and waste move further up than
down: what the middle of the draws takes over that plan is told, so that chance and plan add up. Hay loses a little
wherever it lies, and outdoors with every inch of rain; only rain still to come counts, because what is lost already was
not counted in the stack.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.decide.laws import quantile
from sideoats.errors import InputError
from sideoats.families.hold_or_sell import sold_later
from sideoats.forage import hay, stock
from sideoats.problem import Barred, Choice, Flow, Look, labelled
from sideoats.question import Context, Table
from sideoats.words import Money, Said, Share, say

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Days = NDArray[np.int64]
NAME, UNIT = "hay-supply", "USD/head"
AT_ONCE, WEEK, MONTH, YEAR = 2, 7, 30, 365.0  # days
LONGEST = 800  # days of rain that are laid out: no stack is fed for longer
OPTIONS = (
    Choice("buy-later", labelled("buy-later"), passive=True, kind="later"),
    Choice("buy-now", labelled("buy-now"), trouble="sale", kind="buy"),
    Choice("sell-cows", labelled("sell-cows"), trouble="sale", kind="sell"),
)


def check(values: dict[str, Any]) -> None:
    """Refuse a phone-in without hay, with hay told twice, or without the day until which it must last."""
    stock.check_weight(values, NAME)
    if values["hay"] is None and values["bales"] is None:
        told = ("no hay given", "bales=120 with bale_weight='1150 lb', or hay='70 ton'", "count and weigh a few")
    elif values["hay"] is not None and values["bales"] is not None:
        told = ("both hay and bales given", "one of them", "")
    elif values["days"] is None and values["grass_date"] is None:
        told = ("days is missing", "days=150 or grass_date=YYYY-MM-DD", "say until when it must last")
    else:
        return
    raise InputError(told[0], where=NAME, expected=told[1], todo=told[2])


@dataclass(frozen=True)
class Storage:
    """How hay of a row loses dry matter: shares a year indoors and an inch of rain, middle and drawn, and the rain."""

    indoors: float
    indoors_drawn: Floats  # (draw,)
    an_inch: Floats  # (place,)
    an_inch_drawn: Floats  # (place, draw)
    rain: Floats  # (day,) inches from today to the end of each day

    def fallen(self, day: Floats) -> Floats:
        """Inches of rain that are usual from today to `day`, of any shape."""
        return np.interp(np.nan_to_num(day), np.arange(len(self.rain)), self.rain)

    def lost(self, day: Floats) -> Floats:
        """(place,) share of hay lying there today that is lost by `day`, in the middle."""
        return np.minimum(self.indoors * day / YEAR + self.an_inch * self.fallen(day), 0.9)

    def lost_drawn(self, day: Floats) -> Floats:
        """(place, draw) the same, in every future."""
        time, rain = day[:, None] / YEAR, self.fallen(day)[:, None]
        return np.minimum(self.indoors_drawn * time + self.an_inch_drawn * rain, 0.9)


@dataclass(frozen=True)
class Supply:
    """Need, stack and what is short [ton as fed]: (place,) in the middle, (place, draw) where drawn.

    Attributes
    ----------
    counted, need, have, short : hay in the stack, hay needed, what is left of the stack when fed, need less that
    over_plan : what the middle of the draws needs more than that, or has less
    need_drawn, have_drawn, short_drawn : the same in every future
    daily : need of a day; start, days : days to the first feeding, and of feeding; until : days until the stack is fed
    late : share of the time to grass that is over then
    stack_lost, now_lost, later_lost : (place,) share lost of the stack, of hay bought today, of hay bought then
    now_lost_drawn, later_lost_drawn : (place, draw) the same
    rain : usual rain until the stack is fed, or until grass where it lasts [in]
    bale : (place, draw) weight of a bale over the book's, 1 where it was weighed
    known : (place,) whether all of it can be reckoned
    lead : days that finding, testing and hauling hay takes
    """

    counted: Floats
    need: Floats
    have: Floats
    short: Floats
    over_plan: Floats
    need_drawn: Floats
    have_drawn: Floats
    short_drawn: Floats
    daily: Floats
    start: Floats
    days: Floats
    until: Floats
    late: Floats
    stack_lost: Floats
    now_lost: Floats
    later_lost: Floats
    now_lost_drawn: Floats
    later_lost_drawn: Floats
    rain: Floats
    bale: Floats
    known: Bools
    lead: float

    @cached_property
    def to_buy(self) -> Floats:
        """(place,) tons to buy today, so that what is left of them is what is short."""
        return np.nan_to_num(self.short / (1 - self.now_lost))

    @cached_property
    def out(self) -> Bools:
        """(place,) the stack is fed before hay can be found, tested and hauled a week from now: later is now."""
        return np.asarray(self.known & (self.short > 0) & (self.until < self.lead + WEEK + 1))

    @cached_property
    def risk(self) -> Floats:
        """(place,) chance that hay runs short."""
        return np.asarray((self.short_drawn > 0).mean(axis=1))


def spread(u: Floats, low: float, mid: float, high: float) -> Floats:
    """Draws between low and high, as often under the middle as over it."""
    return np.where(u < 0.5, low + 2 * u * (mid - low), mid + 2 * (u - 0.5) * (high - mid))


def by_word(table: Table, context: Context, name: str, choice: str) -> tuple[Floats, Floats]:
    """(place,) middle and (place, draw) of a loss by the word in the table, else by the district's choice."""
    u, words = context.outlook.uniform(f"hay {name}"), [str(w) for w in table.text(name)]
    middle, drawn = np.empty(len(words)), np.empty((len(words), context.outlook.draws))
    for word in set(words):
        _, fact = context.facts.choose(choice, word.replace("-", "_") or None)
        rows = np.array([w == word for w in words], dtype=bool)
        middle[rows], drawn[rows] = fact.mid, spread(u, fact.low, fact.mid, fact.high)
    return middle, drawn


def storage_of(table: Table, context: Context) -> Storage:
    """How the stored hay of every row loses."""
    facts = context.facts
    an_inch, drawn = by_word(table, context, "storage", "forage/hay_storage")
    inside = facts["forage/hay.indoors"]
    rain = context.region.rain_by_day(context.on, LONGEST, facts.value("forage/hay.rain_unknown"))
    indoors = spread(context.outlook.uniform("hay storage"), inside.low, inside.mid, inside.high)
    return Storage(inside.mid, indoors, an_inch, drawn, np.array(rain))


def days_of(table: Table, context: Context) -> tuple[Floats, Floats]:
    """Days to the start of feeding, and days to feed; NaN where grass is past or comes before feeding begins."""
    start = np.fmax(np.nan_to_num(table.days_until("start_date", context.on)), 0.0)
    by_date = table.days_until("grass_date", context.on) - start
    days = np.where(table.known("days"), table.number("days"), by_date)
    return start, np.where(days > 0, days, np.nan)


def cattle(table: Table) -> Bools:
    """(place,) False for animals that are no cattle."""
    return np.array([c not in stock.NOT_CATTLE for c in table.text("class")], dtype=bool)


def supply_of(table: Table, context: Context, kept: Storage) -> Supply:
    """See `Supply`."""
    facts, out = context.facts, context.outlook
    weighed = table.known("bale_weight") | table.known("hay")
    book = np.where(table.known("bale_weight"), table.number("bale_weight"), facts.value("forage/hay.bale_weight"))
    counted = np.where(table.known("hay"), table.number("hay"), hay.hay_tons(table.number("bales"), book))
    dry = np.where(table.known("dry_matter"), table.number("dry_matter"), facts.value("forage/hay.dry_matter"))
    start, days = days_of(table, context)
    fed, fed_drawn = by_word(table, context, "feeder", "forage/hay_feeder")
    eaten, told, stretch = facts["forage/hay.intake_share"], table.number("intake"), facts["forage/hay.days_to_grass"]
    intake = np.where(np.isnan(told), eaten.mid, told)
    usual = spread(out.uniform("hay intake"), eaten.low, eaten.mid, eaten.high)
    intakes = np.where(np.isnan(told)[:, None], usual, told[:, None])
    moved = spread(out.uniform("days to grass"), stretch.low, stretch.mid, stretch.high)
    head, weight = table.number("head"), table.number("weight")
    daily = hay.hay_need_tons(head, weight, 1.0, intake, dry, fed)
    need = daily * days
    need_drawn = hay.hay_need_tons(
        head[:, None], weight[:, None], days[:, None] * moved, intakes, dry[:, None], fed_drawn
    )
    known = np.isfinite(counted) & np.isfinite(days) & np.isfinite(head) & cattle(table)
    until = start + np.nan_to_num(days)
    for _ in range(5):  # the stack loses until it is fed, and is fed the sooner the more it loses
        stack_lost = kept.lost((start + until) / 2)
        until = start + np.nan_to_num(np.minimum(hay.days_of_hay(counted * (1 - stack_lost), daily), days))
    end, span = start + np.nan_to_num(days), facts["forage/hay.bale_weight_spread"]
    bale = np.where(
        weighed[:, None], 1.0, spread(out.uniform("bale weight", table.keys), span.low, span.mid, span.high)
    )
    have = counted * (1 - stack_lost)
    have_drawn = counted[:, None] * bale * (1 - kept.lost_drawn((start + until) / 2))
    middle = (until + end) / 2
    return Supply(
        counted=counted,
        need=need,
        have=have,
        short=np.maximum(need - have, 0.0),
        over_plan=np.median(need_drawn - have_drawn, axis=1) - (need - have),
        need_drawn=need_drawn,
        have_drawn=have_drawn,
        short_drawn=np.nan_to_num(np.maximum(need_drawn - have_drawn, 0.0)),
        daily=daily,
        start=start,
        days=days,
        until=until,
        late=until / np.maximum(end, 1.0),
        stack_lost=stack_lost,
        now_lost=kept.lost(middle),
        later_lost=kept.lost(middle) - kept.lost(until),
        now_lost_drawn=kept.lost_drawn(middle),
        later_lost_drawn=kept.lost_drawn(middle) - kept.lost_drawn(until),
        rain=kept.fallen(until),
        bale=bale,
        known=known,
        lead=facts.value("forage/hay.lead_days"),
    )


def cows_of(table: Table, s: Supply) -> Floats:
    """(place,) cows that the hay does not carry: what is short over what one of them needs, no more than there are."""
    head = np.maximum(np.nan_to_num(table.number("head")), 1.0)
    each = np.nan_to_num(s.need) / head
    return np.minimum(np.ceil(np.nan_to_num(s.short) / np.maximum(each, 1e-9) - 1e-9), head)


def price_of(table: Table, context: Context) -> Floats:
    """(place,) of a ton today, the round figure where none is given."""
    return np.where(table.known("price"), table.number("price"), context.facts.value("forage/hay.price"))


@dataclass(frozen=True)
class Paid:
    """Money of the herd (place, draw) [USD]: hay bought then, hay bought now with what is still short or left over, and
    what is bought where the cows are sold, before what selling them gives up."""

    later: Floats
    now: Floats
    sold: Floats


def paid_of(table: Table, context: Context, s: Supply) -> Paid:
    """What each way costs. What late hay costs more rises evenly to the end of the winter; money laid out today bears
    interest until the hay would have been bought."""
    facts, out = context.facts, context.outlook
    price, spring, told = price_of(table, context)[:, None], facts["forage/hay.spring_price"], table.number("later")
    season = spread(out.uniform("late hay"), spring.low, spring.mid, spring.high)
    ratio = np.where(np.isnan(told)[:, None], 1 + s.late[:, None] * (season - 1), told[:, None])
    then = price * ratio * out.price_ratio("grass hay", [60])[:, 0] / (1 - s.later_lost_drawn)
    rate = np.where(table.known("interest"), table.number("interest"), facts.value("cattle/interest"))[:, None]
    left = s.to_buy[:, None] * (1 - s.now_lost_drawn)
    resold = price * (1 - facts.value("forage/hay.other_class_discount"))
    bought = s.to_buy[:, None] * price * (1 + rate * s.until[:, None] / YEAR)
    now = bought + np.maximum(s.short_drawn - left, 0.0) * then - np.maximum(left - s.short_drawn, 0.0) * resold
    head = np.maximum(np.nan_to_num(table.number("head")), 1.0)[:, None]
    fewer = cows_of(table, s)[:, None] * np.nan_to_num(s.need_drawn) / head
    return Paid(s.short_drawn * then, now, np.maximum(s.short_drawn - fewer, 0.0) * then)


def gain_of(table: Table, s: Supply, paid: Paid) -> Floats:
    """(place, draw, option) over buying what is short when it runs out, USD/head."""
    head = np.maximum(np.nan_to_num(table.number("head")), 1.0)[:, None]
    lost = (cows_of(table, s) * table.number("cow_price") * table.number("given_up"))[:, None]  # NaN where not named
    ways = (np.zeros_like(paid.later), paid.later - paid.now, paid.later - paid.sold - lost)
    return np.where(s.known[:, None, None], np.stack(ways, axis=2) / head[:, :, None], 0.0)


def even_of(table: Table, s: Supply, paid: Paid) -> Floats:
    """(place,) share of her price under which selling early is cheaper than buying hay; NaN if unknown."""
    worth = np.maximum(np.minimum(paid.later.mean(axis=1), paid.now.mean(axis=1)) - paid.sold.mean(axis=1), 0.0)
    cows = cows_of(table, s) * table.number("cow_price")
    return np.where(s.known & (cows > 0), worth / np.where(cows > 0, cows, 1.0), np.nan)


def bars(table: Table, s: Supply, even: Floats) -> tuple[Barred, ...]:
    """Later is now where the stack is fed; no cow is sold for a price, or a loss, that nobody named."""
    at = np.arange(len(OPTIONS))
    unpriced, unsaid = ~table.known("cow_price"), ~table.known("given_up")

    def why(i: int) -> Said:
        share = float(even[i])
        return say("bar.given_up", even=Share(min(share, 1.0))) if share > 0 else say("bar.given_up_unknown")

    return (
        Barred(s.out[:, None] & (at == 0), say("bar.hay_is_out")),
        Barred(unpriced[:, None] & (at == 2), say("bar.no_cow_price")),
        Barred((~unpriced & unsaid)[:, None] & (at == 2), why),
    )


def delay(s: Supply, gain: Floats) -> Floats:
    """(place, option) what a week's wait gives up of what is saved over buying then; NaN where hay is needed now."""
    share = np.minimum(WEEK / np.maximum(np.floor(np.nan_to_num(s.until)), 1.0), 1.0)
    out = np.maximum(gain.mean(axis=1), 0.0) * share[:, None]
    return np.where(s.out[:, None], np.nan, out)


def due(s: Supply) -> Days:
    """(place,) days until what is chosen is done: within the week, or while there is time to haul before the stack is
    fed."""
    until = np.floor(np.nan_to_num(s.until))
    return np.minimum(until, np.clip(until - s.lead, AT_ONCE, WEEK)).astype(np.int64)


def recheck(table: Table, s: Supply) -> Days:
    """(place,) days until the stack is counted again: a month after the last count, and well before it is fed."""
    seen = np.nan_to_num(np.fmin(table.age_days("bales"), table.age_days("hay")))
    left = np.where(s.short > 0, np.floor(np.nan_to_num(s.until) - s.lead), MONTH)
    return np.asarray(np.clip(np.minimum(left, MONTH - seen), 0, MONTH), np.int64)


def look_of(table: Table, context: Context, s: Supply) -> Look:
    """A few bales weighed, where nobody has."""
    facts = context.facts
    weighing = dict(facts["forage/hay.weighing"].rows)
    cost = facts.value("decide/look.hour") * weighing["hours"]
    head = np.maximum(np.nan_to_num(table.number("head")), 1.0)
    units = np.full(len(table), float(weighing["bales"]))
    return Look(s.bale, cost / head, due(s), units=units)


def needs(table: Table, s: Supply) -> dict[str, Bools]:
    """What is missing, by observable."""
    wrong = np.isnan(s.days) & cattle(table)
    return {
        "place.class": ~cattle(table),
        "hay_count.bales": ~(table.known("bales") | table.known("hay")) & cattle(table),
        "place.grass_date": wrong,
        "hay-supply.head": ~table.known("head") & cattle(table),
    }


def quantities(table: Table, s: Supply, even: Floats) -> dict[str, tuple[Any, str]]:
    """The figures of the call; none of a row that cannot be reckoned."""

    def shown(values: Any) -> Floats:
        return np.where(s.known, values, np.nan)

    return {
        "hay_needed": (shown(s.need), "ton"),
        "hay_counted": (shown(s.counted), "ton"),
        "storage_loss": (shown(s.stack_lost), "1"),
        "hay_after_storage": (shown(s.have), "ton"),
        "usually_over_plan": (shown(s.over_plan), "ton"),
        "days_of_hay": (shown(hay.days_of_hay(s.have, s.daily)), "day"),
        "days_to_feed": (shown(s.days), "day"),
        "likely_shortage": (shown(s.short), "ton"),
        "to_buy_if_now": (shown(s.to_buy), "ton"),
        "shortage_high": (shown(quantile(s.short_drawn, 0.9, axis=1)), "ton"),
        "chance_of_shortage": (shown(s.risk), "1"),
        "rain_until_fed": (shown(s.rain), "in"),
        "cows_not_carried": (np.where(s.known & table.known("cow_price"), cows_of(table, s), np.nan), "head"),
        "turns_at_given_up": (shown(even), "1"),
    }


def saved(gain: Floats) -> Money:
    """What buying now saves on average, or loses, as it is told."""
    return Money(gain[:, :, 1].mean(axis=1), unit=UNIT)


def flows_of(table: Table, context: Context, s: Supply, gain: Floats) -> tuple[Flow, ...]:
    """What hay is short is paid when it is bought: today, or when it would be needed."""
    head = np.maximum(np.nan_to_num(table.number("head")), 1.0)
    then = np.full((len(head), len(OPTIONS)), np.nan)
    then[:, 1] = 0.0
    return sold_later(-s.to_buy * price_of(table, context) / head, then, gain, s.until)
