"""Is there hay enough to grass, and if not: buy now, buy later, or sell cows?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.decide import Decision, decide
from sideoats.errors import InputError
from sideoats.forage import cautions, hay
from sideoats.question import Answers, Context, Option, Places, Question, Table
from sideoats.schema import Field

Floats = NDArray[np.float64]
_FEEDERS = ("cone", "ring", "trailer", "cradle", "open-ring", "sheeted-ring", "none")
_STORES = ("ground-bare", "ground-covered", "raised-bare", "wrapped", "covered-raised", "inside")
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
    Field("dry_matter", "share", "dry matter of the hay", low=0.05, found_in=("evidence:hay_count.dry_matter",)),
    Field("grass_date", "date", "day on which grass will carry them", found_in=("place:grass_date",)),
    Field("days", "number", "days to grass, instead of the date", unit="day", bare=True, low=0, high=400),
    Field("start_date", "date", "day on which feeding begins; today if absent", found_in=("place:feeding_date",)),
    Field("intake", "share", "dry matter eaten a day as a share of body weight", low=0.002),
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
    """Need, stack and shortage; (place, draw) in tons as fed, (place,) planned."""

    need: Floats
    have: Floats
    short: Floats
    planned_need: Floats
    planned_have: Floats
    days: Floats
    daily: Floats
    known: NDArray[np.bool_]


def _days(table: Table, context: Context) -> Floats:
    start = np.fmax(np.nan_to_num(table.days_until("start_date", context.on)), 0.0)
    days = np.where(
        np.isnan(table.number("days")), table.days_until("grass_date", context.on) - start, table.number("days")
    )
    return np.maximum(days, 0.0)


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
    days = _days(table, context)
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
    return _Stack(need, kept, np.maximum(need - kept, 0.0), planned, have * (1 - stored), days, daily, known)


def answer(table: Table, context: Context) -> Answers:
    """Shortage over the draws, and what each way of meeting it costs a head."""
    facts, out = context.facts, context.outlook
    s = _stack(table, context)
    price = np.where(table.known("price"), table.number("price"), facts.value("forage/hay.price"))[:, None]
    spring = facts["forage/hay.spring_price"]
    told = table.number("later")[:, None]
    ratio = np.where(np.isnan(told), out.between("late hay", spring.low, spring.high), told)
    later = price * ratio * out.price_ratio("grass hay", [60])[:, 0]
    likely = np.nan_to_num(np.median(s.short, axis=1))[:, None]
    head = np.maximum(np.nan_to_num(table.number("head")), 1.0)[:, None]
    surplus = np.maximum(likely - s.short, 0.0) * price * (1 - facts.value("forage/hay.other_class_discount"))
    now = -(likely * price + np.maximum(s.short - likely, 0.0) * later - surplus) / head
    wait = -s.short * later / head
    cow = np.where(table.known("cow_price"), table.number("cow_price"), np.nan)[:, None]
    penalty = facts["forage/hay.cow_penalty"]
    lost = cow * out.between("cow penalty", penalty.low, penalty.high)
    each = np.median(s.need, axis=1)[:, None] / head
    cows = np.minimum(np.ceil(likely / np.maximum(each, 1e-9)), head)
    sell = -(cows * lost + np.maximum(s.short - cows * s.need / head, 0.0) * later) / head
    no_price = ~table.known("cow_price")
    barred = np.stack([np.zeros(len(table), bool), np.zeros(len(table), bool), no_price], axis=1)
    decision = decide(np.stack([wait, now, sell], axis=2), barred=barred, risk_aversion=context.risk_aversion)
    waiting = np.max(np.where(barred, -np.inf, decision.expected), axis=1) - decision.expected[:, 0]  # 0: buy later
    words = _Words(table, context, s, decision, likely[:, 0], cows[:, 0])
    return Answers(
        table, context, headline=words.headline, because=words.because, options=OPTIONS, decision=decision,
        unit="USD/head",
        bars=words.bars(barred), quantities=_quantities(s, likely[:, 0], cows[:, 0], no_price),
        cost_of_waiting=np.where(s.known, waiting, 0.0), missing=~s.known, missing_headline="Count the bales, weigh "
        "a few, and say until when they must last.",
        look_by=np.where(s.known, np.where(np.median(s.short, axis=1) > 0, -1, 30), -1),
        cautions=cautions.emergency(
            "Hay bought in a drought may be hot: ask for its nitrate test with form and basis before it is unloaded.",
            "Hot hay can burn: do not open a smoking stack, call the fire service.",
        ),
    )  # fmt: skip


def _quantities(s: _Stack, likely: Floats, cows: Floats, no_price: NDArray[np.bool_]) -> dict[str, tuple[Any, str]]:
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
        when = "buying now" if best.key == "buy-now" else "waiting to buy"
        return f"{short}: {when} costs least, {each:.0f} USD/head."

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
                f"Need {s.planned_need[i]:.0f} tons as fed for {s.days[i]:.0f} days, feeding loss"
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
            "What late hay costs, and what selling cows early gives up, have no source: put in your own.",
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
