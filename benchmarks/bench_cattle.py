"""cull-cows and retain-calves over many herds, against plain loops that do the same money.

Two peers in the same run: a NumPy loop over herds (one array of draws at a time), and a loop in plain Python over
herds, draws and options, as a spreadsheet macro would do it. Both are timed on a part of the herds and scaled up.
"""

from __future__ import annotations

import resource
import time
from concurrent.futures import ThreadPoolExecutor
from datetime import date

import numpy as np

from sideoats import facts
from sideoats.asking import table_of
from sideoats.cattle.questions import cull_cows, retain_calves
from sideoats.outlook import make_outlook
from sideoats.question import Context, Question
from sideoats.schema import read_all
from sideoats.week.blocks import chunks

HERDS, DRAWS = 5_000, 2_000
ON = date(2026, 11, 2)
LOOPED, IN_PYTHON = 250, 4


def cull_rows(rng: np.random.Generator) -> list[dict[str, object]]:
    """Cull cows of every weight and gain, some with a later price."""
    return [
        read_all(
            cull_cows.INPUTS,
            {"weight": f"{rng.integers(900, 1500)} lb", "price": f"{rng.integers(60, 140)} USD/cwt",
             "later_price": f"{rng.integers(60, 160)} USD/cwt", "days": str(rng.integers(45, 150)),
             "gain": f"{rng.uniform(0.8, 1.6):.2f}, {rng.uniform(1.7, 3.2):.2f} lb/day",
             "cost_per_day": f"{rng.uniform(1.5, 3.5):.2f} USD/day", "death": "1 %", "interest": "8 %"},
        )
        for _ in range(HERDS)
    ]  # fmt: skip


def calf_rows(rng: np.random.Generator) -> list[dict[str, object]]:
    """Calves of every weight, with pasture that may fail."""
    return [
        read_all(
            retain_calves.INPUTS,
            {"weight": f"{rng.integers(420, 640)} lb", "quote_500": "260 USD/cwt", "quote_750": "228 USD/cwt",
             "pasture_per_gain": f"{rng.uniform(0.5, 0.9):.2f} USD/lb", "lot_per_day": "2.7 USD/day",
             "pasture_chance": f"{rng.integers(30, 95)} %", "turnout": "2026-11-20"},
        )
        for _ in range(HERDS)
    ]  # fmt: skip


def numpy_loop(ratio: np.ndarray, herds: int, rng: np.random.Generator) -> float:
    """Seconds of the cull cow budget, one herd after another, NumPy over the draws; `ratio` (option, draw)."""
    started = time.perf_counter()
    for _ in range(herds):
        weight, price, later = rng.uniform(900, 1500), rng.uniform(60, 140), rng.uniform(60, 160)
        gain = rng.uniform(1, 3, DRAWS)
        payoff = np.zeros((DRAWS, 5))
        for at, days in enumerate((90, 74, 105, 133), 1):
            mean = price + (later - price) * min(days / 90, 1)
            sold = (weight + gain * days) * mean * ratio[at - 1] / 100 * (1 - 0.01 * days / 90)
            payoff[:, at] = sold - weight * price / 100 * (1 + 0.08 * days / 365) - 2.3 * days
        payoff.mean(axis=0)
        np.percentile(payoff, [10, 90], axis=0)
        np.sort(payoff, axis=0)[: DRAWS // 10].mean(axis=0)
        np.bincount(payoff.argmax(axis=1), minlength=5)
    return time.perf_counter() - started


def python_loop(ratio: np.ndarray, herds: int, rng: np.random.Generator) -> float:
    """Seconds of the same in plain Python."""
    paths = ratio.tolist()
    started = time.perf_counter()
    for _ in range(herds):
        weight, price, later = rng.uniform(900, 1500), rng.uniform(60, 140), rng.uniform(60, 160)
        payoff: list[list[float]] = [[] for _ in range(5)]
        best = [0] * 5
        for draw, gain in enumerate(rng.uniform(1, 3, DRAWS).tolist()):
            values = [0.0]
            for at, days in enumerate((90, 74, 105, 133)):
                mean = price + (later - price) * min(days / 90, 1)
                sold = (weight + gain * days) * mean * paths[at][draw] / 100 * (1 - 0.01 * days / 90)
                values.append(sold - weight * price / 100 * (1 + 0.08 * days / 365) - 2.3 * days)
            for kept, value in zip(payoff, values, strict=True):
                kept.append(value)
            best[values.index(max(values))] += 1
        for kept in payoff:
            kept.sort()
            _ = sum(kept) / DRAWS, kept[DRAWS // 10], kept[-DRAWS // 10], sum(kept[: DRAWS // 10])
    return time.perf_counter() - started


def measure(question: Question, rows: list[dict[str, object]], context: Context) -> tuple[float, float, int]:
    """Seconds over all herds on two threads, seconds one at a time (scaled), and rows whose verdict is act."""
    table = table_of(question, rows, keys=[f"herd {i}" for i in range(HERDS)])
    question.ask(table.take(np.arange(20)), context)
    started = time.perf_counter()
    with ThreadPoolExecutor(2) as pool:
        verdicts = pool.map(lambda piece: question.ask(piece, context).verdict, chunks(table, question, DRAWS))
        acts = sum(int((np.asarray(v) == 1).sum()) for v in verdicts)
    together = time.perf_counter() - started
    started = time.perf_counter()
    for i in range(LOOPED):
        question.ask(table.take(np.array([i])), context)  # the price paths made once are kept: the loop gains by them
    return together, (time.perf_counter() - started) * HERDS / LOOPED, acts


def main() -> None:
    """Print one line a question: seconds, ratios to the loops, peak memory."""
    rng = np.random.default_rng(7)
    known = facts.load()
    context = Context(ON, known, make_outlook(ON, facts=known, draws=DRAWS))
    ratio = context.outlook.price_ratio("cull cow", [90, 74, 105, 133]).T.copy()
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    for question, rows in ((cull_cows.QUESTION, cull_rows(rng)), (retain_calves.QUESTION, calf_rows(rng))):
        together, alone, acts = measure(question, rows, context)
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        line = (
            f"{question.name}, {HERDS:,} herds x {DRAWS:,} draws x {question.options_count} options on 2 threads: "
            f"{together:.2f} s, {acts} act; peak {peak:.0f} MiB ({before:.0f} MiB before). The same code one herd at a "
            f"time: {alone:.1f} s, ratio {alone / together:.1f}"
        )
        if question is cull_cows.QUESTION:
            by_numpy = numpy_loop(ratio, LOOPED, rng) * HERDS / LOOPED
            by_python = python_loop(ratio, IN_PYTHON, rng) * HERDS / IN_PYTHON
            line += (
                f". The money alone written out by hand: NumPy loop over herds {by_numpy:.1f} s, ratio "
                f"{by_numpy / together:.1f}; plain Python {by_python:.0f} s, ratio {by_python / together:.0f}"
            )
        print(line)


if __name__ == "__main__":
    main()
