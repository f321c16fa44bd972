"""bin-hold over many bins against a plain loop over places, and CRPS of draws against its definition.

The plain loop is what one would write bin by bin: quotes on a line, drawn prices, carry, thirds, then means,
percentiles, worst tenth and the chance of being best.
"""

from __future__ import annotations

import resource
import time
from datetime import date

import numpy as np

from sideoats import facts
from sideoats.asking import table_of
from sideoats.grain.holding import month_days
from sideoats.grain.questions.bin_hold import OPTIONS, QUESTION
from sideoats.outlook import make_outlook
from sideoats.question import Context
from sideoats.schema import read_all
from sideoats.week.blocks import chunks
from sideoats.week.scoring import crps_ensemble

BINS, DRAWS, PART = 10_000, 1_000, 500
ON = date(2026, 9, 14)


def rows(rng: np.random.Generator) -> list[dict[str, object]]:
    """Bins of every moisture, price and curve."""
    crops = ("wheat", "grain sorghum", "corn", "soybean")
    out = []
    for number in range(BINS):
        price = rng.uniform(3.5, 7)
        rises = price + np.cumsum(rng.normal(0.12, 0.2, 3))
        curve = "; ".join(f"2027-{m:02d}-14 {v:.2f}" for m, v in zip((1, 5, 9), rises, strict=True))
        out.append(
            read_all(
                QUESTION.inputs,
                {"bushels": f"{rng.integers(2000, 30000)}", "price": f"{price:.2f} USD/bu", "crop": crops[number % 4],
                 "storage": "0.04 USD/bu/month", "interest": "8 %", "quotes": curve,
                 "moisture": f"{rng.uniform(10, 16):.1f} %", "temperature": f"{rng.uniform(40, 85):.0f} degF"},
            )
        )  # fmt: skip
    return out


def plain_loop(given: list[dict[str, object]], ratio: np.ndarray) -> np.ndarray:
    """Expected payoff of each option, one bin after another: (bin, option)."""
    days = month_days(ON)
    months = np.arange(1, 13)
    out = np.empty((len(given), len(OPTIONS)))
    for i, row in enumerate(given):
        price = row["price"]
        at = [0.0, *((when - ON).days for when, _ in row["quotes"])]
        curve = np.interp(days, at, [price, *(v for _, v in row["quotes"])])
        cost = row["storage"] * months + price * row["interest"] * months / 12
        payoff = np.empty((DRAWS, len(OPTIONS)))
        payoff[:, 0] = price
        payoff[:, 1:13] = curve * ratio - cost
        payoff[:, 13] = (price + payoff[:, 3] + payoff[:, 6]) / 3
        payoff[:, 14] = (curve - cost).max() - 0.02
        out[i] = payoff.mean(axis=0)
        np.percentile(payoff, [10, 90], axis=0)
        np.sort(payoff, axis=0)[: DRAWS // 10].mean(axis=0)
        np.bincount(payoff.argmax(axis=1), minlength=len(OPTIONS))
        (payoff[:, 1:13] > price).mean(axis=0)
    return out


def bins() -> str:
    """Seconds of both on the same work, their ratio and peak memory."""
    rng = np.random.default_rng(8)
    given = rows(rng)
    table = table_of(QUESTION, given, keys=[f"bin {i}" for i in range(BINS)])
    known = facts.load()
    context = Context(ON, known, make_outlook(ON, facts=known, draws=DRAWS))
    QUESTION.ask(table.take(np.arange(50)), context)
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    started = time.perf_counter()
    stops = 0
    for piece in chunks(table, QUESTION, DRAWS):
        stops += int((np.asarray(QUESTION.ask(piece, context).verdict) == 0).sum())
    ours = time.perf_counter() - started
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    ratio = context.outlook.price_ratio("wheat", month_days(ON))
    started = time.perf_counter()
    plain_loop(given[:PART], ratio / ratio.mean(axis=0))
    plain = (time.perf_counter() - started) * BINS / PART
    return (
        f"bin-hold, {BINS:,} bins x {DRAWS:,} draws x {len(OPTIONS)} options: {ours:.2f} s, {stops} stop; peak "
        f"{peak:.0f} MiB ({before:.0f} MiB before); plain loop over places {plain:.1f} s (timed on {PART}); ratio "
        f"{plain / ours:.1f}"
    )


def crps() -> str:
    """CRPS of 1,000 draws for 2,000 outcomes, by sorting and by every pair."""
    rng = np.random.default_rng(9)
    draws, came = rng.normal(size=(2000, 1000)), rng.normal(size=2000)
    started = time.perf_counter()
    ours = crps_ensemble(draws, came)
    sorted_time = time.perf_counter() - started
    started = time.perf_counter()
    part = 40
    for i in range(part):
        pairs = np.abs(draws[i][:, None] - draws[i][None, :]).mean() / 2
        assert abs(np.abs(draws[i] - came[i]).mean() - pairs - ours[i]) < 1e-9
    paired_time = (time.perf_counter() - started) * len(came) / part
    return (
        f"CRPS, 2,000 outcomes x 1,000 draws: {sorted_time:.3f} s by sorting; every pair {paired_time:.1f} s (timed on "
        f"{part}, equal to 1e-9); ratio {paired_time / sorted_time:.0f}"
    )


def main() -> None:
    """Print one line a measurement."""
    print(bins())
    print(crps())


if __name__ == "__main__":
    main()
