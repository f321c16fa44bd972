"""Rations stacked for HiGHS against one call a herd; hay lots judged as a table against one by one.

Ratios are taken in the same run on the same work; memory is the peak of the process.
"""

from __future__ import annotations

import resource
import time
from collections.abc import Callable
from datetime import date
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.asking import table_of
from sideoats.cattle.nutrition_coefficients import Coefficients
from sideoats.cattle.nutrition_needs import Animal, floors
from sideoats.cattle.ration import ROWS, Feeds, Needs, blocks, most_of, price_of_dry_matter, solve, wide_of
from sideoats.cattle.ration_sure import Spread, sure
from sideoats.facts import load
from sideoats.outlook.draws import make_outlook
from sideoats.question import Context, find

HERDS, ALONE = 5000, 300
LOTS, LOTS_ALONE = 5000, 100
ON = date(2026, 9, 14)


def timed(work: Callable[[], Any]) -> tuple[float, Any]:
    """Seconds and result."""
    start = time.perf_counter()
    found = work()
    return time.perf_counter() - start, found


def peak_mib() -> float:
    """Peak resident memory of this process."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def herds(count: int, rng: np.random.Generator) -> tuple[Feeds, Needs]:
    """Herds of cows in late gestation that differ in weight, cold, prices, water and hay test; ten feeds each."""
    floor = floors(
        Animal(
            rng.uniform(420, 640, count), days_pregnant=rng.uniform(150, 275, count), cold=rng.uniform(0, 0.3, count)
        ),
        Coefficients.read(load()),
    )
    price = price_of_dry_matter([90, 110, 200, 190, 260, 150, 60, 120, 330, 175], 0.9) * rng.uniform(
        0.7, 1.4, (count, 10)
    )
    hot = rng.uniform(400, 3500, count)
    nitrate = np.tile([0.0, 150, 400, 20, 20, 0, 300, 300, 20, 20], (count, 1))
    nitrate[:, 0] = hot
    wide = (count, 10)
    feeds = Feeds.of(
        price, tdn=np.broadcast_to([0.56, 0.50, 0.60, 0.82, 0.88, 0, 0.42, 0.54, 0.75, 0.89], wide),
        protein=np.broadcast_to([0.095, 0.055, 0.18, 0.11, 0.30, 0, 0.035, 0.10, 0.45, 0.095], wide),
        calcium=np.broadcast_to(np.array([0.45, 0.35, 1.4, 0.04, 0.10, 34, 0.17, 0.40, 0.20, 0.03]) / 100, wide),
        phosphorus=np.broadcast_to(np.array([0.22, 0.10, 0.24, 0.32, 0.85, 0.02, 0.06, 0.2, 1.1, 0.31]) / 100, wide),
        sulfur=np.broadcast_to(np.array([0.1, 0.1, 0.28, 0.14, 0.69, 0.04, 0.1, 0.25, 0.4, 0.14]) / 100, wide),
        nitrate=nitrate,
    )  # fmt: skip
    needs = Needs.of(
        floor.intake, tdn=np.nan_to_num(floor.tdn, nan=20.0), protein=floor.protein, calcium=floor.calcium,
        phosphorus=floor.phosphorus, nitrate=rng.uniform(300, 2100, count), water_nitrate=rng.uniform(0, 400, count),
        sulfur=0.003, calcium_least=1.0, calcium_most=7.0,
    )  # fmt: skip
    return feeds, needs


def one_by_one(feeds: Feeds, needs: Needs, count: int) -> NDArray[np.float64]:
    """The same programme, one `linprog` call a herd with dense matrices: the plain reference."""
    from scipy.optimize import linprog

    a, b = blocks(wide_of(feeds, len(needs)), needs)
    top = most_of(wide_of(feeds, len(needs)), needs)
    cost = np.full(count, np.nan)
    for i in range(count):
        found = linprog(
            feeds.price[i], A_ub=a[i], b_ub=b[i], A_eq=np.ones((1, a.shape[2])), b_eq=needs.intake[i : i + 1],
            bounds=np.stack([np.zeros(a.shape[2]), top[i]], axis=1), method="highs-ds",
        )  # fmt: skip
        cost[i] = found.fun if found.status == 0 else np.nan
    return cost


def rations() -> None:
    """Rations a second, stacked and alone, and whether they agree."""
    feeds, needs = herds(HERDS, np.random.default_rng(3))
    solve(feeds, needs.take(np.arange(HERDS)))  # import and warm up
    together, found = timed(lambda: solve(feeds, needs))
    alone, costs = timed(lambda: one_by_one(feeds, needs, ALONE))
    both = found.feasible[:ALONE] & np.isfinite(costs)
    worst = np.abs(found.cost[:ALONE][both] - costs[both]).max()
    disagree = int((found.feasible[:ALONE] != np.isfinite(costs)).sum())
    varies = Spread(
        np.full(feeds.price.shape, 0.05),
        np.full(feeds.price.shape, 0.075),
        np.full(HERDS, 0.85),
        np.tile(np.arange(feeds.price.shape[1]), (HERDS, 1)),
    )
    surely, (_, held) = timed(lambda: sure(feeds, needs, varies))
    rate, plain = HERDS / together, ALONE / alone
    print(
        f"rations: {HERDS} herds x {feeds.price.shape[1]} feeds x {len(ROWS)} rows in {together:.2f} s = {rate:,.0f} a"
        f" second, {100 * found.feasible.mean():.0f} % feasible; one linprog call a herd {plain:,.0f} a second; ratio"
        f" {rate / plain:.1f}; largest difference of cost {worst:.1e} USD, feasibility differs in {disagree} of "
        f"{ALONE}; floors held in 85 of 100 lots {HERDS / surely:,.0f} a second, in {100 * held.mean():.0f} % of herds;"
        f" peak {peak_mib():.0f} MiB"
    )


def lots() -> None:
    """Hay lots judged, with payoffs, bars and verdicts, as one table and row by row."""
    question, facts = find("hay-nitrate"), load()
    context = Context(ON, facts, make_outlook(ON, facts=facts, draws=200))
    rng = np.random.default_rng(5)
    blank = {f.name: f.default for f in question.inputs}
    low = ({"name": "hay", "nitrate": 150.0, "form": "NO3-N", "basis": "dry", "moisture": None, "part": 1.0},)
    rows = [
        {
            **blank, "result": float(rng.uniform(50, 9000)), "form": "NO3", "basis": "as-fed", "moisture": 0.12,
            "class": str(rng.choice(["pregnant-cow", "growing", "open-cow"])), "cores": float(rng.integers(1, 21)),
            "bales": float(rng.integers(20, 81)), "feeds": low,
        }
        for _ in range(LOTS)
    ]  # fmt: skip
    question.ask(table_of(question, rows[:1]), context)
    alone, _ = timed(lambda: [question.ask(table_of(question, [row]), context) for row in rows[:LOTS_ALONE]])
    together, answers = timed(lambda: question.ask(table_of(question, rows), context))
    rate, plain = LOTS / together, LOTS_ALONE / alone
    print(
        f"hay lots: {LOTS} lots x 200 draws x 6 options in {together:.2f} s = {rate:,.0f} a second, row by row"
        f" {plain:,.0f} a second; ratio {rate / plain:.1f}; {int((np.asarray(answers.verdict) == 0).sum())} stop;"
        f" peak {peak_mib():.0f} MiB"
    )


def main() -> None:
    """Print one line a measurement."""
    rations()
    lots()


if __name__ == "__main__":
    main()
