"""The blocks of a farm: decisions that exclude one another, each with its ways, money counted once.

Calls that are about the same money (`Question.stake`, at one place) are one block: at most one of their acts is taken.
All that asks to be sprayed in a field is one block: its ways are the days and the pests that one pass takes, and the
way over the field is paid once (`sideoats.week.passes`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from sideoats.facts import Facts
from sideoats.farm.programme import Stakes
from sideoats.farm.stake import LABOR, SPRAY, TREAT, Stake
from sideoats.week.passes import cost_of

Floats = NDArray[np.float64]
_P = "insects/passes."
_MOST = 6  # pests weighed together in one field


@dataclass(frozen=True, eq=False)
class Way:
    """One way of a block.

    Attributes
    ----------
    taken : which option of which stake; stakes not named are left at their baseline
    money : (draw,) over leaving the block alone [USD]
    uses : limit -> how much it takes
    """

    taken: tuple[tuple[Stake, int], ...]
    money: Floats
    uses: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class Block:
    """Stakes of which one way is taken together; the first way leaves them alone.

    Attributes
    ----------
    luck : (draw,) of its baselines, counted once [USD]
    twice : what calls about the same money, each for itself, promise beyond what one of them brings [USD, expected]
    """

    stakes: tuple[Stake, ...]
    ways: tuple[Way, ...]
    luck: Floats
    twice: float = 0.0

    def saved(self, way: Way) -> float:
        """What one pass saves over a pass for each pest [USD]."""
        return float(way.money.mean()) - sum(float(s.money[at].mean()) for s, at in way.taken)

    def rivals(self) -> tuple[Stake, Stake]:
        """The two of its stakes that promise most of the same money."""
        first, second, *_ = sorted(self.stakes, key=lambda s: -float(s.money[s.lead].mean()))
        return first, second


def blocks_of(stakes: Sequence[Stake], facts: Facts) -> list[Block]:
    """The blocks of one farm's stakes, in the order of their first stakes."""
    materials = {str(q): str(kind) for q, kind in facts[_P + "treats"].rows}
    application = facts.value(_P + "application")
    out = []
    for group in _groups(stakes, materials):
        sprayed = [s for s in group if s.call.question in materials and s.ready and np.isfinite(s.cost)]
        passes = _passes(sprayed, materials, application, facts) if len(sprayed) > 1 else []
        alone = [way for s in group if s not in sprayed or not passes for way in _own(s)]
        none = Way((), np.zeros(group[0].money.shape[1]))
        ways = (none, *alone, *passes)
        out.append(Block(tuple(group), ways, _luck(group, sprayed), _twice(group)))
    return out


def _groups(stakes: Sequence[Stake], materials: Mapping[str, str]) -> list[list[Stake]]:
    """Stakes of one place that share what their money comes out of, or a pass."""
    groups: list[list[Stake]] = []
    marks: dict[tuple[str, str], int] = {}
    for at, s in enumerate(stakes):
        own = {(s.call.place, s.stake)} if s.stake else set()
        own |= {(s.call.place, "a pass")} if s.call.question in materials else set()
        known = sorted({marks[m] for m in own if m in marks})
        home = known[0] if known else len(groups)
        if not known:
            groups.append([])
        for other in known[1:]:
            groups[home] += groups[other]
            groups[other] = []
            marks = {m: home if g == other else g for m, g in marks.items()}
        groups[home].append(s)
        marks |= dict.fromkeys(own or {(s.call.place, f"call {at}")}, home)
    return [g for g in groups if g]


def _own(s: Stake) -> list[Way]:
    """The ways of one stake alone; none where a hazard or something missing stands before them."""
    return [
        Way(((s, at),), s.money[at], {name: float(taken[at]) for name, taken in s.uses.items() if taken[at]})
        for at in np.flatnonzero(s.offered).tolist()
        if at != s.base
    ]


def _passes(sprayed: Sequence[Stake], materials: Mapping[str, str], application: float, facts: Facts) -> list[Way]:
    """Every day and set of pests of one field whose pass is worth setting out for, its way paid once."""
    least = {(kind, unit): low for kind, unit, low in facts["decide/trouble.least"].rows}["pass", "USD/ac"]
    own = sorted(sprayed, key=lambda s: (-float(np.nanmax(s.money.mean(axis=1))), s.call.question))[:_MOST]
    days = sorted({k for s in own for k in s.keys if k.startswith(TREAT)}, key=lambda k: int(k.removeprefix(TREAT)))
    even, mean, out = facts.value("insects/counting.even_part"), dict[tuple[frozenset[int], str], float](), []
    for count in range(1, len(own) + 1):
        for some in combinations(own, count):
            costs, kinds = [s.cost for s in some], [materials[s.call.question] for s in some]
            saved = sum(costs) - cost_of(costs, kinds, application)
            acres = min(s.size for s in some)
            for key in days:
                at = [s.keys.index(key) if key in s.keys else -1 for s in some]
                if any(a < 0 or s.barred[a] for s, a in zip(some, at, strict=True)):
                    continue
                if count == 1 and not some[0].offered[at[0]]:
                    continue
                money = np.sum([s.money[a] for s, a in zip(some, at, strict=True)], axis=0) + saved * acres
                who = frozenset(map(id, some))
                mean[who, key] = float(money.mean())
                without = [mean.get((who - {one}, key), 0.0) for one in who]
                if min(mean[who, key] - other for other in without) < least * acres:
                    continue  # a pest for whose sake nobody would set out
                if all(s.call.verdict != "act" for s in some) and mean[who, key] < even * (sum(costs) - saved) * acres:
                    continue  # nothing but expectations, each under the worth of a pass
                uses = {
                    name: max(
                        (float(s.uses[name][a]) for s, a in zip(some, at, strict=True) if name in s.uses), default=0
                    )
                    for name in (LABOR, SPRAY)
                }
                out.append(Way(tuple(zip(some, at, strict=True)), money, {n: x for n, x in uses.items() if x}))
    return out


def _luck(group: Sequence[Stake], sprayed: Sequence[Stake]) -> Floats:
    """(draw,) the luck of the baselines: of the pests of a field each its own, of calls about the same money one."""
    out = np.sum([s.luck for s in sprayed], axis=0) if sprayed else np.zeros(group[0].luck.shape)
    rest = [s.luck for s in group if s not in sprayed and s.luck.any()]
    return np.asarray(out + rest[0] if rest else out)


def _twice(group: Sequence[Stake]) -> float:
    """What calls about the same money promise together over the best that one of them brings [USD]."""
    shared = [s for s in group if s.stake and sum(o.stake == s.stake for o in group) > 1 and s.ready]
    gains = [float(s.money[s.lead].mean()) for s in shared if not s.barred[s.lead]]
    return sum(gains) - max(gains) if len(gains) > 1 and min(gains) > 0 else 0.0


def stakes_of(blocks: Sequence[Block], limits: Mapping[str, float], draws: int) -> Stakes:
    """The blocks as arrays, with the limits that the farm states."""
    names = list(limits)
    ways = [(at, way) for at, block in enumerate(blocks) for way in block.ways]
    return Stakes(
        np.array([way.money for _, way in ways]).reshape(len(ways), draws),
        np.array([at for at, _ in ways], dtype=np.int64),
        np.sum([b.luck for b in blocks], axis=0) if blocks else np.zeros(draws),
        np.array([[way.uses.get(name, 0.0) for name in names] for _, way in ways]).reshape(len(ways), len(names)),
        np.array([limits[name] for name in names], dtype=np.float64),
    )
