"""Insect questions by the batch against a plain loop over fields, and simulated stop lines against counting one by one.

python -m benchmarks.bench_insects
"""

from __future__ import annotations

import resource
import time
from collections.abc import Callable
from datetime import date
from typing import Any

import numpy as np

from sideoats.asking import table_of
from sideoats.facts import load
from sideoats.insects import sampling
from sideoats.outlook import make_outlook
from sideoats.question import Context, find
from sideoats.schema import read_all
from sideoats.station import StationDays
from sideoats.week.blocks import chunks

ON = date(2026, 9, 14)
FIELDS, DRAWS, ALONE, WALKED = 2_000, 500, 40, 300
ASKED: dict[str, dict[str, str]] = {
    "wheat-fall-armyworm": {"counts": "2,0,4,1,3,0,2,5,1,2", "size": "0.3 in", "cost": "12 USD/ac", "station": "s"},
    "sorghum-headworm": {"large": "0.5", "n": "30", "heads": "50000", "price": "4.3 USD/bu", "station": "s"},
    "soybean-stinkbug": {"counts": "3,5,9,2,7,4", "method": "sweep", "stage": "R6", "cost": "12 USD/ac"},
    "alfalfa-weevil": {"mean": "1.8", "n": "50", "height": "18 in", "price": "180 USD/ton", "yield": "1.5 ton/ac"},
    "wheat-fungicide": {"stage": "heading", "lower": "5%", "yield": "45 bu/ac", "price": "5.6 USD/bu", "station": "s"},
}


def peak_mib() -> float:
    """Largest resident size of this process so far."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def timed(work: Callable[[], Any]) -> tuple[float, Any]:
    """Seconds and result."""
    started = time.perf_counter()
    result = work()
    return time.perf_counter() - started, result


def station() -> StationDays:
    """Thirty years of made-up weather."""
    rng, days = np.random.default_rng(1), 30 * 366
    mean = 13 - 13 * np.cos(2 * np.pi * (np.arange(days) - 20) / 365.25) + rng.normal(0, 3, days)
    values = {"tmax": mean + 7, "tmin": mean - 7, "rain": np.maximum(rng.normal(-4, 6, days), 0)}
    return StationDays(station="s", start=date(1996, 1, 1), values=values)


def batch(name: str, context: Context) -> None:
    """Fields in the week's chunks against the same fields asked one by one."""
    question = find(name)
    row = read_all(question.inputs, ASKED[name])
    whole = table_of(question, [row] * FIELDS, [f"field {i}" for i in range(FIELDS)])
    question.ask(whole.take(np.arange(2)), context)
    parts = list(chunks(whole, question, context.outlook.draws))
    together, _ = timed(lambda: [question.ask(part, context) for part in parts])
    single, _ = timed(lambda: [question.ask(whole.take(np.array([i])), context) for i in range(ALONE)])
    ratio = single * FIELDS / ALONE / together
    print(
        f"{name}: {FIELDS} fields x {DRAWS} futures in {together:.2f} s, one by one {ratio:.1f} times as long, "
        f"peak {peak_mib():.0f} MiB"
    )


def one_by_one(plan: sampling.WaldPlan, mean: float, rng: np.random.Generator, fields: int) -> float:
    """Units a field by counting one unit after the other."""
    used = 0
    for _ in range(fields):
        total, n = 0, 0
        while plan.verdict(total, n) == 0 or n == 0:
            total, n = total + rng.poisson(rng.gamma(plan.k, mean / plan.k)), n + 1
        used += n
    return used / fields


def stop_lines() -> None:
    """Sorghum aphid's stop lines on ten thousand fields: both errors, counts saved, and time against a plain loop."""
    facts = load()
    threshold, k = facts["insects/sorghum_aphid.threshold"], facts.value("insects/sorghum_aphid.dispersion")
    alpha, beta = (facts.value(f"insects/counting.{risk}") for risk in ("risk_needless", "risk_missed"))
    plan = sampling.wald_plan(
        "negative binomial", threshold.low, threshold.mid, alpha=alpha, beta=beta, k=k, bounded=True
    )
    rng = np.random.default_rng(3)
    seconds, safe = timed(lambda: sampling.simulate_plan(plan, plan.safe, rng, most=700))
    treat = sampling.simulate_plan(plan, plan.treat, rng, most=700)
    walked, units = timed(lambda: one_by_one(plan, plan.safe, rng, WALKED))
    fixed, _ = sampling.fixed_size(plan)
    print(
        f"stop lines, 10000 fields at {plan.safe:g} and at {plan.treat:g} aphids a leaf (k {k:g}): treated in vain "
        f"{1 - safe.no_treatment:.3f} (asked {alpha:g}), missed {treat.no_treatment:.3f} (asked {beta:g}); "
        f"{safe.mean_units:.0f} and {treat.mean_units:.0f} leaves against {fixed} of a fixed sample; "
        f"leaf by leaf {walked * 10_000 / WALKED / seconds:.1f} times as long ({units:.0f} leaves), "
        f"peak {peak_mib():.0f} MiB"
    )


def main() -> None:
    """One line a measurement."""
    known = load()
    context = Context(ON, known, make_outlook(ON, facts=known, draws=DRAWS, stations={"s": station()}))
    for name in ASKED:
        batch(name, context)
    stop_lines()


if __name__ == "__main__":
    main()
