"""A farm on one day: its calls summed on the shared draws, and the best set of acts within what it has.

What the farm has is what its entry says (`sideoats amend farm=...`); what is not said limits nothing.
"""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from sideoats.call import Answered, Call
from sideoats.decide.laws import quantile
from sideoats.errors import InputError
from sideoats.facts import Facts
from sideoats.farm.cash import Months, months_of, within_floor
from sideoats.farm.futures import Future, futures_of
from sideoats.farm.programme import Best, Stakes, best, best_of, certain
from sideoats.farm.stake import LABOR, PASTURE, PENS, SPRAY, STORAGE, Stake, stake_of
from sideoats.farm.ways import Block, Way, blocks_of, stakes_of
from sideoats.outlook import DEFAULT_DRAWS, DEFAULT_SEED
from sideoats.ruling import WAIT_DAYS, attitude_of
from sideoats.week.blocks import Common, blocks, common_of, shaped_block
from sideoats.week.district import district_of
from sideoats.week.run import evidence_needed, weekly_questions
from sideoats.week.snapshot import require_places

if TYPE_CHECKING:
    from sideoats.ledger import Farm, Ledger, Place

Floats = NDArray[np.float64]
STATED = {  # limit -> the farm's field that says how much there is
    LABOR: "labor_hours", SPRAY: "spray_hours", STORAGE: "bin_room", PASTURE: "grazing_days", PENS: "pen_room",
}  # fmt: skip
AT_ONCE = 40  # farms asked together: their draws are held until they are planned
BY_DAY = (LABOR, SPRAY)  # limits of which one more day is told


@dataclass(frozen=True)
class Shadow:
    """What more of a limit would be worth: `gain` [USD] for `more` of it."""

    limit: str
    have: float
    used: float
    more: float
    gain: float


@dataclass(frozen=True)
class Spread:
    """The farm's money [USD]: expected, 10th, 50th and 90th percentile, and how often it is under the floor."""

    expected: float
    low: float
    median: float
    high: float
    below: float

    def full(self) -> dict[str, float]:
        """JSON, to the dollar."""
        money = {name: round(getattr(self, name)) for name in ("expected", "low", "median", "high")}
        return {**money, "chance_below_floor": round(self.below, 3)}


def spread_of(money: Floats, floor: float) -> Spread:
    """Of (draw,) money."""
    low, median, high = quantile(money, (0.1, 0.5, 0.9), axis=0).tolist()
    return Spread(float(money.mean()), low, median, high, float((money < floor).mean()))


@dataclass(frozen=True, eq=False)
class FarmPlan:
    """The farm's answer.

    Attributes
    ----------
    blocks, best : what was chosen among, and the ways taken
    free : the ways that would be taken if nothing were limited
    plan, nothing : the farm's money with the acts, and if nothing is done
    apart : the 10th percentiles of the calls' leads added up call by call, as nobody should [USD]
    floor : the money that `below` is counted from [USD over today]
    shadows : limits that bind
    twice : (questions, place, USD) money that calls, each for itself, would have counted twice
    first : calls that come before any plan: hazards, and what is missing
    left_out : (call, code) calls without money to sum
    hay_twice : tons of hay that the herds together count on beyond what the farm has; NaN where it does not say
    months : cash by month
    futures : named futures
    """

    farm: str
    name: str
    on: date
    blocks: tuple[Block, ...]
    best: Best
    free: Best
    plan: Spread
    nothing: Spread
    apart: float
    floor: float
    limits: Mapping[str, float]
    shadows: tuple[Shadow, ...]
    twice: tuple[tuple[tuple[str, ...], str, float], ...]
    first: tuple[Call, ...]
    left_out: tuple[tuple[Call, str], ...]
    hay_twice: float
    months: Months
    futures: tuple[Future, ...]
    seed: int
    money: Floats = field(repr=False, default_factory=lambda: np.empty(0))

    def ways(self) -> list[Way]:
        """(block,) the way taken."""
        return _ways(self.blocks, self.best)

    def taken(self) -> list[tuple[Block, Way]]:
        """Blocks that are not left alone, with the way taken, the most money first."""
        found = [(b, w) for b, w in zip(self.blocks, self.ways(), strict=True) if w.taken]
        return sorted(found, key=lambda pair: -float(pair[1].money.mean()))

    def given_up(self) -> list[tuple[Block, Way, Way]]:
        """Blocks whose way would be another if nothing were limited: with that way, and the one taken."""
        both = zip(self.blocks, _ways(self.blocks, self.free), _ways(self.blocks, self.best), strict=True)
        return [(b, free, own) for b, free, own in both if free is not own]


def _ways(blocks: Sequence[Block], chosen: Best) -> list[Way]:
    flat = [way for block in blocks for way in block.ways]
    return [flat[at] for at in chosen.ways.tolist()]


def run_farm(
    ledger: Ledger | str | os.PathLike[str],
    farm: str,
    on: date,
    *,
    draws: int = DEFAULT_DRAWS,
    seed: int = DEFAULT_SEED,
    risk_aversion: float | None = None,
) -> FarmPlan:
    """Ask every question of every place of a farm, sum the money and plan it.

    Parameters
    ----------
    ledger : open, or its location
    farm : its id or its name

    Raises
    ------
    InputError : no such farm
    """
    return run_farms(ledger, on, (farm,), draws=draws, seed=seed, risk_aversion=risk_aversion)[0]


def run_farms(
    ledger: Ledger | str | os.PathLike[str],
    on: date,
    farms: Sequence[str] | None = None,
    *,
    draws: int = DEFAULT_DRAWS,
    seed: int = DEFAULT_SEED,
    risk_aversion: float | None = None,
) -> list[FarmPlan]:
    """`run_farm` for several farms (all with a place on file where None), the district read once."""
    from sideoats.ledger import Ledger as LedgerClass
    from sideoats.ledger import open_ledger

    if not isinstance(ledger, LedgerClass):
        with open_ledger(ledger, create=False) as opened:
            return run_farms(opened, on, farms, draws=draws, seed=seed, risk_aversion=risk_aversion)
    known = {f.id: f for f in ledger.farms(on)}
    chosen = weekly_questions()
    district = district_of(ledger, on, kinds=evidence_needed(chosen), draws=draws, seed=seed, pool=True)
    require_places(district.snapshot)
    places: dict[str, list[Place]] = {}
    for place in district.snapshot.places:
        if place.farm:
            places.setdefault(place.farm, []).append(place)
    common = common_of(district, [q.name for q in chosen], risk_aversion)
    names = [_named(farm, known, places) for farm in farms] if farms is not None else sorted(places)
    out: list[FarmPlan] = []
    for start in range(0, len(names), AT_ONCE):
        some = names[start : start + AT_ONCE]
        asked = _asked([p for name in some for p in places[name]], common, district.snapshot.evidence)
        out += [_planned(known.get(name), name, asked.get(name, []), common) for name in some]
    return out


def _named(text: str, known: Mapping[str, Farm], places: Mapping[str, Any]) -> str:
    """The id of a farm by its id or name."""
    low = text.strip().lower()
    found = [f for f in places if low in (f.lower(), (known[f].name if f in known else f).lower())]
    if not found:
        raise InputError(f"no farm {text!r} with a place on file", where="farm", expected=", ".join(sorted(places)[:8]))
    return found[0]


def _asked(places: Sequence[Place], common: Common, evidence: Any) -> dict[str, list[tuple[Call, Stake | str]]]:
    """Farm -> its calls with their stakes, or why they have none; the places of many farms are asked together."""

    def made(call: Call, answered: Answered, row: int) -> tuple[Call, Stake | str]:
        return call, "done" if call.done else stake_of(call, answered, row, common.facts)

    home = {p.id: p.farm for p in places}
    found: dict[str, list[tuple[Call, Stake | str]]] = {}
    for block in blocks(evidence, places):
        for pair in shaped_block(common, block, made).calls:
            found.setdefault(home[pair[0].place], []).append(pair)
    for own in found.values():
        own.sort(key=lambda pair: (pair[0].place, pair[0].question))
    return found


def _fit_hours(found: Sequence[tuple[Call, Stake | str]]) -> float:
    """Hours of the week that are fit to spray, where the forecast of a field says; NaN elsewhere."""
    named = [f"fit_hours_day_{day}" for day in range(WAIT_DAYS)]
    told = [[float(c.quantities[n].value) for n in named if n in c.quantities] for c, _ in found]
    return max((sum(hours) for hours in told if hours), default=float("nan"))


def _limits(attributes: Mapping[str, Any], fit: float) -> dict[str, float]:
    """What the farm has, as far as it says so; the sprayer has no more hours than the week is fit for."""
    out = {limit: float(attributes[of]) for limit, of in STATED.items() if of in attributes}
    return out if np.isnan(fit) else {**out, SPRAY: min(out.get(SPRAY, fit), fit)}


def _planned(farm: Farm | None, name: str, found: Sequence[tuple[Call, Stake | str]], common: Common) -> FarmPlan:
    stakes = [s for _, s in found if isinstance(s, Stake)]
    left = tuple((c, s) for c, s in found if isinstance(s, str) and s not in ("done", "read", "missing"))
    first = tuple(c for c, _ in found if c.verdict == "stop" or (c.verdict == "look" and (c.hazard or c.missing)))
    attributes = dict(farm.attributes) if farm is not None else {}
    return plan_of(
        stakes,
        _limits(attributes, _fit_hours(found)),
        common.facts,
        on=common.on,
        farm=name,
        name=farm.name if farm is not None else name,
        cash=(attributes.get("cash_on_hand"), attributes.get("cash_floor")),
        hay=attributes.get("hay_on_hand"),
        first=first,
        left_out=left,
        outlook=common.outlook,
        relative=common.risk_aversion,
    )


def plan_of(
    stakes: Sequence[Stake],
    limits: Mapping[str, float],
    facts: Facts,
    *,
    on: date,
    farm: str = "",
    name: str = "",
    cash: tuple[float | None, float | None] = (None, None),
    hay: float | None = None,
    first: tuple[Call, ...] = (),
    left_out: tuple[tuple[Call, str], ...] = (),
    outlook: Any = None,
    relative: float | None = None,
) -> FarmPlan:
    """Plan a farm from its stakes.

    Parameters
    ----------
    limits : what the farm has of each limit that it states
    cash : on hand, and what it must never fall under [USD]; None where the farm does not say
    hay : all hay of the farm [ton]; None where it does not say
    """
    attitude = attitude_of(facts, relative)
    aversion = float(attitude.relative) / float(attitude.net_worth)
    made = blocks_of(stakes, facts)
    draws = stakes[0].money.shape[1] if stakes else 1
    bare = stakes_of(made, {}, draws)
    paying, room = within_floor(made, on, *cash)
    held = {**limits, **room}
    whole = stakes_of(paying, held, draws)
    free, chosen = best_of([bare], aversion)[0], best_of([whole], aversion)[0]
    money = bare.luck + bare.money[chosen.ways].sum(axis=0) if stakes else np.zeros(1)
    floor = (cash[1] or 0.0) - (cash[0] or 0.0) if cash[0] is not None else 0.0
    ways = _ways(made, chosen)
    return FarmPlan(
        farm=farm,
        name=name,
        on=on,
        blocks=tuple(made),
        best=chosen,
        free=free,
        plan=spread_of(money, floor),
        nothing=spread_of(bare.luck, floor),
        apart=_apart(stakes),
        floor=floor,
        limits=dict(limits),
        shadows=_shadows(whole, held, chosen, free, aversion, facts),
        twice=tuple(
            (tuple(s.call.question for s in b.stakes), b.stakes[0].call.place, b.twice)
            for b in made
            if abs(b.twice) >= 1
        ),
        first=first,
        left_out=left_out,
        hay_twice=_hay_twice(stakes, hay),
        months=months_of(made, ways, on, cash[0]),
        futures=futures_of(made, ways, bare.luck, outlook, facts) if outlook is not None else (),
        seed=outlook.seed if outlook is not None else 0,
        money=money,
    )


def _apart(stakes: Sequence[Stake]) -> float:
    """The 10th percentiles of each call's lead and luck, added up: what a farm's bad tenth is not."""
    tenths = [float(quantile(s.luck + s.money[s.lead if s.ready else s.base], 0.1, axis=0)) for s in stakes]
    return float(np.nansum(tenths))


def _hay_twice(stakes: Sequence[Stake], hay: float | None) -> float:
    """Tons that the herds together count on beyond the farm's hay."""
    counted = [q.value for s in stakes if (q := s.call.quantities.get("hay_counted")) is not None]
    if hay is None or not counted:
        return float("nan")
    return max(float(sum(float(c) for c in counted)) - hay, 0.0)


def _shadows(
    whole: Stakes, held: Mapping[str, float], chosen: Best, free: Best, aversion: float, facts: Facts
) -> tuple[Shadow, ...]:
    """What one more day (or a tenth more) of each limit that keeps something from being done would be worth."""
    used = whole.uses[chosen.ways].sum(axis=0) if len(held) else np.empty(0)
    wanted = whole.uses[free.ways].sum(axis=0) if len(held) else np.empty(0)
    out, day = [], facts.value("farm/day.hours")
    for at, (name, have) in enumerate(held.items()):
        if wanted[at] <= have:
            continue
        more = day if name in BY_DAY else max(0.1 * abs(have), wanted[at] - have)
        limits = whole.limits.copy()
        limits[at] += more
        gain = best(replace(whole, limits=limits), aversion).certain - chosen.certain
        out.append(Shadow(name, have, float(used[at]), more, max(gain, 0.0)))
    return tuple(out)


def district_sum(plans: Sequence[FarmPlan]) -> tuple[Spread, Spread]:
    """The plans' money and that of doing nothing, added up draw by draw over the farms of a district."""
    money = np.sum([p.money for p in plans if p.money.size > 1], axis=0)
    luck = np.sum([np.sum([b.luck for b in p.blocks], axis=0) for p in plans if p.blocks], axis=0)
    return spread_of(money, 0.0), spread_of(luck, 0.0)


__all__ = ["FarmPlan", "Shadow", "Spread", "certain", "district_sum", "plan_of", "run_farm", "run_farms"]
