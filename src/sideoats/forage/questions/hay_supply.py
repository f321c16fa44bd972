"""Is there hay enough to grass, and if not: buy now, buy later, or sell cows?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.call import ACT, LOOK
from sideoats.decide import Decision, decide
from sideoats.errors import InputError
from sideoats.forage import cautions, hay
from sideoats.question import Answers, Context, Option, Places, Question, Table
from sideoats.schema import Field

Floats = NDArray[np.float64]
_FEEDERS = ("cone", "ring", "trailer", "cradle", "open-ring", "sheeted-ring", "none")
_STORES = ("ground-bare", "ground-covered", "raised-bare", "wrapped", "covered-raised", "inside")
_WEEK, _MONTH = 7, 30  # days
OPTIONS = (
    Option("buy-later", "Wait, and buy what is short when it runs out", passive=True),  # first: it wins a tie
    Option("buy-now", "Buy the likely shortage now"),
    Option("sell-cows", "Sell the cows that the hay will not carry"),
)
INPUTS = (
    Field("head", "number", "cattle to carry", unit="head", bare=True, low=1, high=100_000, required=True,
          found_in=("place:head",)),
    Field("weight", "number", "their average weight", unit="lb", low=50, high=3000, default=1200.0,
          found_in=("place:weight", "evidence:hay_count.weight")),
    Field("bales", "number", "bales on hand for them", bare=True, low=0, high=1_000_000,
          found_in=("evidence:hay_count.bales",), fresh_days=60),
    Field("bale_weight", "number", "weight of a bale, from a scale if it can be", unit="lb", low=20, high=3000,
          found_in=("evidence:hay_count.bale_weight",), fresh_days=60, example="1150 lb"),
    Field("hay", "number", "hay on hand in tons, instead of bales", unit="ton", low=0, high=1_000_000,
          found_in=("evidence:hay_count.hay",), fresh_days=60),
    Field("dry_matter", "share", "dry matter of the hay", low=0.3, found_in=("evidence:hay_count.dry_matter",)),
    Field("grass_date", "date", "day on which grass will carry them", found_in=("place:grass_date",)),
    Field("days", "number", "days to grass, instead of the date", unit="day", bare=True, low=1, high=400),
    Field("start_date", "date", "day on which feeding begins; today if absent", found_in=("place:feeding_date",)),
    Field("intake", "share", "dry matter eaten a day as a share of body weight", low=0.002, high=0.06, example="2.5%"),
    Field("feeder", "choice", "how it is fed; the district's choice if absent", choices=_FEEDERS,
          found_in=("place:feeder",)),
    Field("storage", "choice", "how it is stored; the district's choice if absent", choices=_STORES,
          found_in=("evidence:hay_count.storage",)),
    Field("price", "number", "hay delivered today", unit="USD/ton", low=0, high=2000, example="110 USD/ton",
          found_in=("quote:grass hay", "setting:price.hay")),
    Field("later", "number", "price then over price now that is reckoned with; a published-nowhere range if absent",
          low=0.1, high=10),
    Field("cow_price", "number", "what a cow brings today", unit="USD/head", low=0, high=20_000,
          example="1400 USD/head",
          found_in=("setting:price.cow", "quote:bred cow")),
    Field("given_up", "share", "what selling a sound cow early gives up of her price; a range without source if absent",
          example="15%"),
)  # fmt: skip


def _check(values: dict[str, Any]) -> None:
    if values["hay"] is None and values["bales"] is None:
        raise InputError("no hay given", where="hay-supply", expected="bales=120 with bale_weight='1150 lb', or "
            "hay='70 ton'",
                         todo="count the bales and weigh a few")  # fmt: skip
    if values["hay"] is not None and values["bales"] is not None:
        raise InputError("both hay and bales given", where="hay-supply", expected="one of them")
    if values["days"] is None and values["grass_date"] is None:
        raise InputError("is missing", where="hay-supply days", expected="days=150 or grass_date=YYYY-MM-DD",
                         todo="say until when hay must last")  # fmt: skip


@dataclass(frozen=True)
class _Stack:
    """Need, stack and shortage; (place, draw) in tons as fed, (place,) planned.

    `lost` is the share that storage takes over the whole time, (place, draw), `lost_planned` its middle; `until` the
    days from today until the stack is fed, `late` the same as a share of the days until grass.
    """

    need: Floats
    have: Floats
    short: Floats
    planned_need: Floats
    planned_have: Floats
    days: Floats
    daily: Floats
    lost: Floats
    lost_planned: Floats
    until: Floats
    late: Floats
    known: NDArray[np.bool_]


def _days(table: Table, context: Context) -> tuple[Floats, Floats]:
    """Days to the start of feeding, and days to feed; no days where grass is past or comes before feeding begins."""
    start = np.fmax(np.nan_to_num(table.days_until("start_date", context.on)), 0.0)
    days = np.where(
        np.isnan(table.number("days")), table.days_until("grass_date", context.on) - start, table.number("days")
    )
    return start, np.where(days > 0, days, np.nan)


def _losses(table: Table, context: Context, name: str, choice: str) -> tuple[Floats, Floats]:
    """(place,) middle and (place, draw) of one loss by the word in the table, else by the district's choice."""
    out, facts = context.outlook, context.facts
    u = out.uniform(f"hay {name}")
    words = [str(w) for w in table.text(name)]
    middle, drawn = np.empty(len(words)), np.empty((len(words), out.draws))
    for word in set(words):
        _, fact = facts.choose(choice, word.replace("-", "_") or None)
        rows = np.array([w == word for w in words], dtype=bool)
        middle[rows] = fact.mid
        below = fact.low + 2 * u * (fact.mid - fact.low)
        above = fact.mid + 2 * (u - 0.5) * (fact.high - fact.mid)
        drawn[rows] = np.where(u < 0.5, below, above)
    return middle, drawn


def _stack(table: Table, context: Context) -> _Stack:
    facts, out = context.facts, context.outlook
    bale = np.where(table.known("bale_weight"), table.number("bale_weight"), facts.value("forage/hay.bale_weight"))
    have = np.where(table.known("hay"), table.number("hay"), hay.hay_tons(table.number("bales"), bale))
    dry = np.where(table.known("dry_matter"), table.number("dry_matter"), facts.value("forage/hay.dry_matter"))
    start, days = _days(table, context)
    fed, fed_drawn = _losses(table, context, "feeder", "forage/hay_feeder")
    stored, stored_drawn = _losses(table, context, "storage", "forage/hay_storage")
    intake_fact = facts["forage/hay.intake_share"]
    told = table.number("intake")
    intake = np.where(np.isnan(told), intake_fact.mid, told)
    drawn_intake = np.where(
        np.isnan(told)[:, None], out.between("hay intake", intake_fact.low, intake_fact.high), told[:, None]
    )
    head, weight = table.number("head"), table.number("weight")
    late = facts["forage/hay.days_to_grass"]
    stretch = out.between("days to grass", late.low, late.high)
    need = hay.hay_need_tons(
        head[:, None], weight[:, None], days[:, None] * stretch, drawn_intake, dry[:, None], fed_drawn, 0.0
    )
    kept = have[:, None] * (1 - stored_drawn)
    planned = hay.hay_need_tons(head, weight, days, intake, dry, fed, 0.0)
    daily = hay.hay_need_tons(head, weight, 1.0, intake, dry, fed, 0.0)
    known = np.isfinite(have) & np.isfinite(days) & np.isfinite(head)
    until = start + np.minimum(hay.days_of_hay(have * (1 - stored), daily), days)
    return _Stack(
        need, kept, np.maximum(need - kept, 0.0), planned, have * (1 - stored), days, daily, stored_drawn, stored,
        until, until / (start + days), known,
    )  # fmt: skip


def _payoff(table: Table, context: Context, s: _Stack, likely: Floats, cows: Floats, tons: Floats) -> Floats:
    """(place, draw, option) minus what each way costs a head.

    Hay that is bought loses in storage too, evenly with the time it lies there: from today, or from the day on which
    the stack is fed, until it is fed itself. What late hay costs more rises evenly to the end of the winter.
    """
    facts, out = context.facts, context.outlook
    head = np.maximum(np.nan_to_num(table.number("head")), 1.0)[:, None]
    price = _price(table, context)[:, None]
    spring, late = facts["forage/hay.spring_price"], s.late[:, None]
    told = table.number("later")[:, None]
    ratio = np.where(np.isnan(told), 1 + late * (out.between("late hay", spring.low, spring.high) - 1), told)
    later = price * ratio * out.price_ratio("grass hay", [60])[:, 0] / (1 - s.lost * (1 - late) / 2)
    kept = tons[:, None] * (1 - s.lost * (1 + late) / 2)
    surplus = np.maximum(kept - s.short, 0.0) * price * (1 - facts.value("forage/hay.other_class_discount"))
    now = -(tons[:, None] * price + np.maximum(s.short - kept, 0.0) * later - surplus) / head
    wait = -s.short * later / head
    cow = np.where(table.known("cow_price"), table.number("cow_price"), np.nan)[:, None]
    penalty = facts["forage/hay.cow_penalty"]
    given_up = table.number("given_up")[:, None]
    given_up = np.where(np.isnan(given_up), out.between("cow penalty", penalty.low, penalty.high), given_up)
    lost = cow * given_up
    gone = cows[:, None]
    sell = -(gone * lost + np.maximum(s.short - gone * s.need / head, 0.0) * later) / head
    return np.stack([wait, now, sell], axis=2)


def _price(table: Table, context: Context) -> Floats:
    return np.where(table.known("price"), table.number("price"), context.facts.value("forage/hay.price"))


def answer(table: Table, context: Context) -> Answers:
    """Shortage over the draws, and what each way of meeting it costs a head."""
    s = _stack(table, context)
    likely = np.nan_to_num(np.median(s.short, axis=1))
    head = np.maximum(np.nan_to_num(table.number("head")), 1.0)
    each = np.median(s.need, axis=1) / head
    cows = np.minimum(np.ceil(likely / np.maximum(each, 1e-9)), head)
    tons = likely / (1 - s.lost_planned * (1 + np.nan_to_num(s.late)) / 2)
    no_price = ~table.known("cow_price")
    barred = np.stack([np.zeros(len(table), bool), np.zeros(len(table), bool), no_price], axis=1)
    decision = decide(
        _payoff(table, context, s, likely, cows, tons), barred=barred, risk_aversion=context.risk_aversion
    )
    saved = np.max(np.where(barred, -np.inf, decision.expected), axis=1) - decision.expected[:, 0]  # 0: buy later
    left = np.floor(np.nan_to_num(s.until))
    week = np.nan_to_num(saved) * np.minimum(_WEEK / np.maximum(left, 1.0), 1.0)
    acting = s.known & ((decision.best > 0) | ((likely > 0) & (left <= _WEEK)))  # or there is none to feed next week
    seen = np.fmin(table.age_days("bales"), table.age_days("hay"))
    words = _Words(table, context, s, decision, likely, cows, tons, week, acting)
    return Answers(
        table, context, headline=words.headline, because=words.because, options=OPTIONS, decision=decision,
        unit="USD/head",
        bars=words.bars(barred), quantities=_quantities(s, likely, cows, tons, no_price),
        cost_of_waiting=np.where(s.known, week, 0.0), missing=~s.known, missing_headline=words.missing,
        verdict=np.where(acting, ACT, LOOK).astype(np.int8), act_by=np.where(acting, np.minimum(left, _WEEK), -1),
        look_by=np.where(s.known & ~acting, np.clip(np.minimum(left, _MONTH - np.nan_to_num(seen)), 0, _MONTH), -1),
        cautions=cautions.emergency(
            "Hay bought in a drought may be hot: ask for its nitrate test with form and basis before it is unloaded.",
            "Hot hay can burn: do not open a smoking stack, call the fire service.",
        ),
    )  # fmt: skip


def _quantities(
    s: _Stack, likely: Floats, cows: Floats, tons: Floats, no_price: NDArray[np.bool_]
) -> dict[str, tuple[Any, str]]:
    hide = ~s.known
    lasts = hay.days_of_hay(s.planned_have, s.daily)

    def shown(values: Any) -> Floats:
        return np.where(hide, np.nan, values)

    return {
        "hay_needed": (shown(s.planned_need), "ton"),
        "hay_after_storage": (shown(s.planned_have), "ton"),
        "days_of_hay": (shown(lasts), "day"),
        "days_to_feed": (shown(s.days), "day"),
        "likely_shortage": (shown(likely), "ton"),
        "to_buy_if_now": (shown(tons), "ton"),
        "shortage_high": (shown(np.quantile(s.short, 0.9, axis=1)), "ton"),
        "chance_of_shortage": (shown((s.short > 0).mean(axis=1)), "1"),
        "cows_not_carried": (np.where(hide | no_price, np.nan, cows), "head"),
    }


@dataclass(frozen=True)
class _Words:
    """Sentences by row."""

    table: Table
    context: Context
    s: _Stack
    decision: Decision
    likely: Floats
    cows: Floats
    tons: Floats
    week: Floats
    acting: NDArray[np.bool_]

    def missing(self, i: int) -> str:
        if np.isnan(self.s.days[i]) and self.table.known("grass_date")[i]:
            return (
                f"Grass on {self.table.date('grass_date')[i]} is past, or before feeding begins: say until when the hay"
                " must last."
            )
        return "Count the bales, weigh a few, and say until when they must last."

    def bars(self, barred: NDArray[np.bool_]) -> tuple[Any, ...]:
        from sideoats.question import Bar

        return (Bar(barred, "no cow price is given, so selling cannot be weighed"),)

    def headline(self, i: int) -> str:
        s = self.s
        if self.likely[i] <= 0:
            spare = s.planned_have[i] - s.planned_need[i]
            return f"Hay enough for {s.days[i]:.0f} days, with {spare:.0f} tons to spare; count again in a month."
        best = OPTIONS[int(self.decision.best[i])]
        each = abs(self.decision.expected[i, self.decision.best[i]])
        short = f"{self.likely[i]:.0f} tons short of {s.days[i]:.0f} days"
        if best.key == "sell-cows":
            return f"{short}: selling {self.cows[i]:.0f} cows costs least, {each:.0f} USD/head of the herd."
        if best.key == "buy-now":
            return f"{short}: buying {self.tons[i]:.0f} tons now costs least, {each:.0f} USD/head."
        gone = np.datetime64(self.context.on, "D") + int(s.until[i])
        if self.acting[i]:
            return f"{short}: hay has to be there by {gone}, {each:.0f} USD/head."
        return f"{short}: buying when the stack is fed, about {gone}, costs least, {each:.0f} USD/head."

    def because(self, i: int) -> list[str]:
        s, facts = self.s, self.context.facts
        if not s.known[i]:
            return [
                "A stack that is not counted and weighed is a guess: bales of one size differ by hundreds of pounds."
            ]
        _, feeder = facts.choose("forage/hay_feeder", self._word("feeder", i))
        _, storage = facts.choose("forage/hay_storage", self._word("storage", i))
        chance = (s.short[i] > 0).mean()
        return [
            (
                f"Need {s.planned_need[i]:.0f} tons as fed for {self.table.number('head')[i]:.0f} head of"
                f" {self.table.number('weight')[i]:,.0f} lb over {s.days[i]:.0f} days, feeding loss"
                f" {100 * feeder.mid:.0f} % counted; on hand after storage {s.planned_have[i]:.0f} tons."
            ),
            f"Storage loses {100 * storage.low:.0f} to {100 * storage.high:.0f} % ({storage.conditions}).",
            f"Feeding loses {100 * feeder.low:.0f} to {100 * feeder.high:.0f} % ({feeder.conditions}).",
            (
                f"Chance of running short {100 * chance:.0f} %; in the worst tenth {np.quantile(s.short[i], 0.9):.0f}"
                " tons short."
            ),
            (
                f"Book bale weight {facts.value('forage/hay.bale_weight'):.0f} lb is used where none was weighed."
                if not self.table.known("bale_weight")[i] and not self.table.known("hay")[i]
                else "Weights are the grower's own."
            ),
            (
                f"Hay is reckoned at {_price(self.table, self.context)[i]:.0f} USD/ton"
                + ("." if self.table.known("price")[i] else ", a round figure where none is given.")
                + " Hay that is bought loses in storage too, the longer it lies the more; evenly with time (no source)."
            ),
            "What late hay costs (later) and selling cows early gives up (given_up) have no source: put in your own.",
            *self._when(i),
        ]

    def _when(self, i: int) -> list[str]:
        if self.decision.best[i] < 1:
            return ["The stack is fed within the week: hay has to be there by then."] if self.acting[i] else []
        return [
            f"The stack is fed in {self.s.until[i]:.0f} days. Each week's wait gives up about {self.week[i]:.2f}"
            " USD/head of what it saves over buying then, so the day is within the week."
        ]

    def _word(self, name: str, i: int) -> str | None:
        return str(self.table.text(name)[i]).replace("-", "_") or None


QUESTION = Question(
    name="hay-supply", room="forage", title="Is there hay enough to grass?",
    about="Bales, weights and losses against a herd's need until grass, with the chance of running short and the "
    "cost of buying "
    "now, buying later or selling cows.",
    inputs=INPUTS, answer=answer, places=Places(kinds=("herd",)), size="head", check=_check,
    limits="Hay only: other feeds come off the need by hand, or ask `ration`. No forecast of hay prices.",
    options_count=len(OPTIONS), apart=("feeder", "storage"),
)  # fmt: skip
