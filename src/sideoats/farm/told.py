"""A farm's plan in words: sentences by their codes, for the terminal, the desk and the letter."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date, timedelta

import numpy as np

from sideoats.farm.cash import CASH
from sideoats.farm.futures import Future
from sideoats.farm.plan import FarmPlan, Shadow
from sideoats.farm.stake import LABOR, PASTURE, PENS, SPRAY, STORAGE, TREAT, Stake
from sideoats.farm.ways import Block, Way
from sideoats.words import Count, Day, Measured, Money, Name, Phrase, Said, Share, Terms, say

UNITS = {LABOR: "hour", SPRAY: "hour", STORAGE: "bu", PENS: "head"}
_LEAST = 0.5  # USD: less is not told
_FEATURES = {"feeder steer": "cattle", "grass hay": "hay"}


def place_of(stake: Stake) -> Name:
    """The place's name as people say it."""
    return Name(stake.call.place_name or stake.call.place)


def _usd(amount: float) -> Money:
    return Money(amount, unit="USD")


def what(way: Way, on: date) -> Said:
    """What is done in one way of a block."""
    if len(way.taken) == 1:
        stake, at = way.taken[0]
        return stake.labels[at]
    stake, at = way.taken[0]
    day = int(stake.keys[at].removeprefix(TREAT))
    then = say("farm.pass.on", day=Day(on + timedelta(days=day))) if day else say("farm.pass.today")
    pests = tuple(s.call.question for s, _ in way.taken)
    return say("farm.pass", on=Phrase(then), pests=Terms(pests, of="pest"))


def _due(stake: Stake, at: int, on: date) -> date:
    """The day that an option names; today for one that names none. A call's own day before it is of another act."""
    return on + timedelta(days=int(np.nan_to_num(stake.days[at])))


def acts(plan: FarmPlan) -> list[Said]:
    """What is done, the most money first."""
    out = []
    for _, way in plan.taken():
        days = [
            s.call.act_by for s, at in way.taken if s.call.act_by is not None and s.call.act_by >= _due(s, at, plan.on)
        ]
        by = Phrase(say("farm.act.by", day=Day(min(days))) if days else None)
        out.append(
            say(
                "farm.act",
                place=place_of(way.taken[0][0]),
                what=Phrase(what(way, plan.on)),
                money=_usd(float(way.money.mean())),
                by=by,
            )
        )
    return out


def worth(plan: FarmPlan) -> Said:
    """What the plan is worth over doing nothing."""
    gain = plan.plan.expected - plan.nothing.expected
    return say("farm.worth", gain=_usd(gain)) if plan.taken() else say("farm.nothing_pays")


def risk(plan: FarmPlan) -> list[Said]:
    """The spread, the chance under the floor, and what the calls' own tenths would make of it."""
    p, n = plan.plan, plan.nothing
    out = [
        say(
            "farm.range",
            **{name: _usd(getattr(p, name)) for name in ("low", "median", "high")},
            **{f"{name}0": _usd(getattr(n, name)) for name in ("low", "median", "high")},
        ),
        say("farm.counted"),
    ]
    chances = {"chance": Share(p.below), "chance0": Share(n.below)}
    out.append(say("farm.below", floor=_usd(plan.floor), **chances) if plan.floor else say("farm.worse", **chances))
    if plan.apart < p.low - _LEAST:
        out.append(say("farm.apart", apart=_usd(plan.apart), low=_usd(p.low)))
    return out


def counted_once(plan: FarmPlan) -> list[Said]:
    """Money that calls would have counted twice, each for itself, and hay that is promised twice."""
    out = []
    for block, way in zip(plan.blocks, plan.ways(), strict=True):
        place = place_of(block.stakes[0])
        if len(way.taken) > 1 and block.saved(way) > _LEAST:
            pests = tuple(s.call.question for s, _ in way.taken)
            out.append(say("farm.twice.pass", place=place, pests=Terms(pests, of="pest"), money=_usd(block.saved(way))))
        elif block.twice > _LEAST:
            one, other = block.rivals()
            titles = (Phrase(say(f"name.{s.call.question}")) for s in (one, other))
            out.append(
                say(
                    "farm.twice.same",
                    place=place,
                    **dict(zip(("one", "other"), titles, strict=True)),
                    money=_usd(block.twice),
                )
            )
    if np.isfinite(plan.hay_twice) and plan.hay_twice > _LEAST:
        out.append(say("farm.hay_twice", tons=Measured(plan.hay_twice, unit="ton")))
    return out


def limit_name(limit: str) -> Said:
    """A limit as people say it."""
    return say(f"farm.limit.{'cash' if limit.startswith(CASH) else limit}")


def given_up(plan: FarmPlan) -> list[Said]:
    """What would be done if nothing were limited, and is not."""
    out = []
    for block, free, own in plan.given_up():
        lost = float(free.money.mean() - own.money.mean())
        then = what(free, plan.on) if free.taken else say("farm.given_up.none")
        done = what(own, plan.on) if own.taken else say("farm.given_up.none")
        told = say("farm.given_up.instead", own=Phrase(done), free=Phrase(then))
        out.append(say("farm.given_up", place=place_of(block.stakes[0]), what=Phrase(told), money=_usd(-lost)))
    return out


def shadows(plan: FarmPlan) -> list[Said]:
    """What more of each limit that binds would be worth; of all together where no single one frees an act."""
    alone = [_shadow(s) for s in plan.shadows if s.gain > _LEAST]
    together = plan.free.certain - plan.best.certain
    if not alone and len(plan.shadows) > 1 and together > _LEAST:
        return [say("farm.shadow.together", gain=_usd(together))]
    return alone


def _shadow(s: Shadow) -> Said:
    gain = _usd(s.gain)
    if s.limit.startswith(CASH):
        month = date.fromisoformat(s.limit.removeprefix(CASH) + "-01")
        return say("farm.shadow.cash", more=_usd(s.more), month=Name(f"{month:%Y-%m}"), gain=gain)
    if s.limit in (LABOR, SPRAY):
        return say(f"farm.shadow.{s.limit}", gain=gain)
    more = Count(round(s.more)) if s.limit == PASTURE else Measured(float(round(s.more)), unit=UNITS[s.limit])
    return say(f"farm.shadow.{s.limit}", more=more, gain=gain)


def left_out(plan: FarmPlan) -> list[Said]:
    """Calls whose money is not in the sum, and why."""
    return [
        say(f"farm.left.{why}", place=Name(c.place_name or c.place), question=Phrase(say(f"name.{c.question}")))
        for c, why in plan.left_out
    ]


def future(f: Future, at: int) -> tuple[Said, list[Said]]:
    """One future, and what the calls that move most do in it."""
    named = [say(f"farm.feature.{_FEATURES.get(n, n)}.{'high' if x > 0 else 'low'}") for n, x in f.named]
    head = say(
        "farm.future",
        level=Phrase(say(f"farm.future.{at}")),
        named=Phrase(_listed(named)),
        plan=_usd(f.plan),
        nothing=_usd(f.nothing),
    )
    by = [
        say("farm.future.by", place=Name(place), question=Phrase(say(f"name.{question}")), money=_usd(money))
        for place, question, money in f.by
        if abs(money) > _LEAST
    ]
    return head, by


def _listed(parts: Sequence[Said]) -> Said:
    if not parts:
        return say("farm.future.usual")
    names = ("a", "b", "c")[: len(parts)]
    return say(f"farm.listed.{len(parts)}", **{n: Phrase(p) for n, p in zip(names, parts, strict=True)})


def months(plan: FarmPlan) -> Iterator[tuple[date, float, float | None]]:
    """Month, what moves, and what is on hand at its end where the farm says what it has; quiet months are left out."""
    m = plan.months
    for at, day in enumerate(m.first):
        if abs(m.moved[at]) > _LEAST:
            yield day, m.moved[at], m.left[at] if m.left else None


def first_lines(plan: FarmPlan, most: int = 3) -> list[Said]:
    """The first lines of a farm's letter: what to do, what it is worth, and the risk."""
    done = acts(plan)
    out = [worth(plan), *done[:most]]
    if len(done) > most:
        out.append(say("farm.letter.more", n=len(done) - most))
    return [*out, say("farm.letter.risk", low=_usd(plan.plan.low), low0=_usd(plan.nothing.low))]


__all__ = [
    "Block", "acts", "counted_once", "first_lines", "future", "given_up", "left_out", "limit_name", "months", "risk",
    "shadows", "what", "worth",
]  # fmt: skip
