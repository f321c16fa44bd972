"""The casebook of farms: each is planned and held against what a specialist would do; and the plan's own laws."""

from __future__ import annotations

import itertools
import tomllib
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from sideoats import facts as fact_files
from sideoats.call import Call, Quantity
from sideoats.farm.plan import FarmPlan, plan_of, run_farm
from sideoats.farm.programme import Stakes, best, best_of, certain
from sideoats.farm.stake import Stake
from sideoats.words import say

ON = date(2026, 9, 14)
NET_WORTH = 500_000.0
FARMS = tomllib.loads((Path(__file__).parent / "farms.toml").read_text("utf-8"))["farm"]


def stake_from(given: dict[str, Any]) -> Stake:
    """One ``[[farm.call]]`` as the stake that a question would give."""
    keys, base = tuple(given["options"]), given.get("base", list(given["options"])[-1])
    money = np.array([given["options"][k] for k in keys], dtype=np.float64)
    verdict = given.get("verdict", "act")
    quantities = {"hay_counted": Quantity(given["counted"], "ton")} if "counted" in given else {}
    call = Call(given["question"], ON, verdict, None, None, "", quantities=quantities, place=given["place"],
                hazard=bool(given.get("hazard")))  # fmt: skip
    rest = np.array([k == base for k in keys])
    offered = rest | (money.mean(axis=1) > 0) if verdict == "act" else rest
    if "offered" in given:
        offered = np.full(len(keys), bool(given["offered"])) | (rest & bool(given["offered"]))
    days = np.array([float(k.rpartition("-")[2]) if k.startswith("treat-day-") else np.nan for k in keys])
    uses = {n: np.array([float(of.get(k, 0.0)) for k in keys]) for n, of in given.get("uses", {}).items()}
    moved = given.get("flows", {})
    flow = tuple(np.array([moved[k][i] if k in moved else np.nan for k in keys]) for i in (0, 1))
    return Stake(
        call, given.get("stake", ""), keys, tuple(say("farm.limit.cash") for _ in keys), keys.index(base),
        money, np.array(given.get("luck", [0.0] * money.shape[1]), dtype=np.float64), rest, np.zeros(len(keys), bool),
        offered, days, int(np.argmax(np.where(offered, money.mean(axis=1), -np.inf))), uses,
        ((flow[0], flow[1]),) if moved else (), float(given.get("size", 1.0)), float(given.get("cost", np.nan)),
    )  # fmt: skip


def planned(farm: dict[str, Any]) -> FarmPlan:
    return plan_of(
        [stake_from(c) for c in farm["call"]],
        farm.get("limits", {}),
        fact_files.load(),
        on=ON,
        cash=tuple(farm.get("cash", (None, None))),  # type: ignore[arg-type]
        hay=farm.get("hay"),
        relative=farm.get("aversion", 0.0) * NET_WORTH,
    )


def done(plan: FarmPlan) -> list[str]:
    ways = [w for _, w in plan.taken()]
    told = [
        f"{w.taken[0][0].call.place}: " + " + ".join(sorted(f"{s.call.question} {s.keys[at]}" for s, at in w.taken))
        for w in ways
    ]
    return sorted(told)


@pytest.mark.parametrize("farm", FARMS, ids=lambda farm: farm["id"])
def test_a_specialist_would_agree(farm: dict[str, Any]) -> None:
    plan, expect = planned(farm), farm["expect"]
    assert done(plan) == expect["does"]
    if "gain" in expect:
        assert plan.plan.expected - plan.nothing.expected == pytest.approx(expect["gain"])
    if "gives_up" in expect:
        assert sorted(b.stakes[0].call.place for b, _, _ in plan.given_up()) == expect["gives_up"]
    for limit, gain in expect.get("shadow", {}).items():
        assert [s.gain for s in plan.shadows if s.limit == limit] == [pytest.approx(gain)]
    if "twice" in expect:
        assert [x for _, _, x in plan.twice] == [pytest.approx(expect["twice"])]
    if "hay_twice" in expect:
        assert plan.hay_twice == pytest.approx(expect["hay_twice"])
    if expect.get("apart_below_low"):
        assert plan.apart < plan.plan.low - 1


def test_a_third_of_the_farms_are_calm_or_held_back() -> None:
    """The casebook asks for farms on which less is done than the calls ask for, not only for those that act."""
    held = [f for f in FARMS if not f["expect"]["does"] or f["expect"].get("gives_up")]
    assert 3 * len(held) >= len(FARMS)


def random_farm(rng: np.random.Generator, draws: int = 40) -> Stakes:
    """Two to five blocks of two to four ways each, two limits, money that hangs together."""
    common, money, block, uses = rng.standard_normal(draws), [], [], []
    for at in range(int(rng.integers(2, 6))):
        for way in range(int(rng.integers(2, 5))):
            block.append(at)
            own = (
                rng.normal(2000, 3000) + rng.normal(0, 9000) * common + rng.normal(0, 5000) * rng.standard_normal(draws)
            )
            money.append(own if way else np.zeros(draws))
            uses.append(rng.uniform(0, 5, 2).round(1) if way else np.zeros(2))
    luck = 20000 * common * rng.normal() + 5000 * rng.standard_normal(draws)
    return Stakes(np.array(money), np.array(block), luck, np.array(uses), rng.uniform(2, 14, 2))


def enumerated(farm: Stakes, aversion: float) -> float:
    """The best certainty equivalent of all sets of ways within the limits."""
    blocks = [np.flatnonzero(farm.block == b).tolist() for b in range(int(farm.block[-1]) + 1)]
    within = (list(w) for w in itertools.product(*blocks) if (farm.uses[list(w)].sum(axis=0) <= farm.limits).all())
    return max(float(certain(farm.luck + farm.money[w].sum(axis=0), aversion)) for w in within)


@pytest.mark.parametrize("aversion", [0.0, 4e-6, 2e-5, 1e-4])
def test_the_programme_finds_the_joint_optimum(aversion: float) -> None:
    """Fifty farms at each aversion, two hundred in all, against every set of ways."""
    rng = np.random.default_rng([21, int(aversion * 1e7)])
    for _ in range(50):
        farm = random_farm(rng)
        assert best(farm, aversion).certain == pytest.approx(enumerated(farm, aversion), rel=1e-6, abs=1e-3)


def test_a_farm_is_planned_alike_alone_and_among_others() -> None:
    rng = np.random.default_rng(5)
    farms = [random_farm(rng) for _ in range(30)]
    together = best_of(farms, 1e-5)
    assert [b.ways.tolist() for b in together] == [best(f, 1e-5).ways.tolist() for f in farms]


def test_more_of_a_limit_never_makes_a_farm_poorer() -> None:
    rng = np.random.default_rng(6)
    for _ in range(40):
        farm = random_farm(rng)
        more = Stakes(farm.money, farm.block, farm.luck, farm.uses, farm.limits + rng.uniform(0, 5, 2))
        assert best(more, 1e-5).certain >= best(farm, 1e-5).certain - 1e-3


def test_a_farm_of_the_demo_says_what_it_is_made_of(ledger: Path) -> None:
    plan = run_farm(ledger, "two-elms", ON, draws=100)
    assert plan.name == "Two Elms"
    assert plan.plan.low <= plan.plan.median <= plan.plan.high
    assert plan.plan.expected > plan.nothing.expected
    taken = [{s.call.question for s, _ in w.taken} for _, w in plan.taken()]
    assert {"sorghum-aphid", "sorghum-headworm"} in taken  # one pass for both
    assert len(plan.futures) == 3
    assert plan.futures[0].plan <= plan.futures[2].plan
    moved = sum(plan.months.moved) + plan.months.undated
    assert np.isfinite(moved)


def test_a_farm_by_its_name_is_the_farm_by_its_id(ledger: Path) -> None:
    one, other = run_farm(ledger, "Two Elms", ON, draws=40), run_farm(ledger, "two-elms", ON, draws=40)
    assert (one.plan, done(one)) == (other.plan, done(other))


def test_hours_stated_for_the_farm_hold_acts_back(ledger: Path) -> None:
    from sideoats.ledger import NewEntry, open_ledger

    free = run_farm(ledger, "stone-post", ON, draws=60)
    with open_ledger(ledger) as opened:
        opened.append([NewEntry("farm", {"name": "Stone Post", "labor_hours": 4.0}, farm="stone-post")])
    held = run_farm(ledger, "stone-post", date(2030, 1, 1), draws=20)  # what is described later is not known before
    assert run_farm(ledger, "stone-post", ON, draws=60).best.certain == free.best.certain
    assert held.limits == {"labor": 4.0}
