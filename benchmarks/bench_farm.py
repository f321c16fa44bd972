"""Ten thousand farms summed and planned on shared draws, against farm by farm and against a solver for every farm.

The loop is what one would write farm by farm: sum the draws of the leads, then the integer programme for each.
"""

from __future__ import annotations

import resource
import time

import numpy as np

from sideoats.farm import programme
from sideoats.farm.programme import Stakes, best, best_of

FARMS, DRAWS, LOOPED, PART = 10_000, 500, 400, 500
AVERSION = 2.0 / 500_000.0
LIMITED = 0.1  # share of the farms that state hours


def farms(first: int, count: int) -> list[Stakes]:
    """Farms of four to eight calls of two to five ways, with prices in common; a tenth of them with hours that bind."""
    common = np.random.default_rng(1).standard_normal(DRAWS)
    out = []
    for number in range(first, first + count):
        rng = np.random.default_rng([2, number])
        ways = rng.integers(2, 6, rng.integers(4, 9))
        block = np.repeat(np.arange(len(ways)), ways)
        base = np.diff(block, prepend=-1) > 0
        shape = (len(block), 1)
        own = rng.standard_normal((len(block), DRAWS))
        money = rng.normal(300, 900, shape) + 1500 * rng.normal(size=shape) * common + 1200 * own
        uses = rng.uniform(1, 8, shape)
        limited = rng.random() < LIMITED
        out.append(
            Stakes(
                np.where(base[:, None], 0.0, money),
                block,
                4000 * common + 2000 * rng.standard_normal(DRAWS),
                np.where(base[:, None], 0.0, uses) if limited else np.zeros((len(block), 0)),
                np.full(1, 8.0) if limited else np.zeros(0),
            )
        )
    return out


def main() -> None:
    """Two lines."""
    some = farms(0, LOOPED)
    best(some[0], AVERSION)  # the solver is imported
    programme._solved(some[0], AVERSION)
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
    taken, solved, worth = 0.0, 0, []
    for first in range(0, FARMS, PART):
        part = farms(first, PART)
        started = time.perf_counter()
        found = best_of(part, AVERSION)
        taken += time.perf_counter() - started
        solved += sum(b.solved for b in found)
        worth += [b.certain for b in found]
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
    started = time.perf_counter()
    alone = [best(f, AVERSION).certain for f in some]
    loop = (time.perf_counter() - started) / LOOPED * FARMS
    started = time.perf_counter()
    whole = [programme._solved(f, AVERSION).certain for f in some]
    every = (time.perf_counter() - started) / LOOPED * FARMS
    off = float(np.abs(np.array(worth[:LOOPED]) - np.array(whole)).max())
    assert alone == worth[:LOOPED]
    print(
        f"{FARMS:,} farms x {DRAWS} draws x 4 to 8 calls summed and planned in {taken:.1f} s, {solved:,} of them "
        f"searched; peak {peak} MiB ({before} MiB before)"
    )
    print(
        f"farm by farm {loop:.0f} s, ratio {loop / taken:.1f}; the solver for every farm {every:.0f} s, ratio "
        f"{every / taken:.1f} (both timed on {LOOPED}; certainty equivalents within {off:.1g} USD)"
    )


if __name__ == "__main__":
    main()
