"""sorghum-aphid over many fields, against a plain NumPy loop over places doing the same work.

The plain loop is what one would write from the question's walk-through: for each field, a day-by-day density of every
draw, trapezes, losses, payoffs of each treatment day, then means and percentiles.
"""

from __future__ import annotations

import resource
import time
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import date

import numpy as np

from sideoats import facts
from sideoats.asking import table_of
from sideoats.insects.questions.sorghum_aphid import QUESTION
from sideoats.outlook import make_outlook
from sideoats.question import Context
from sideoats.schema import read_all
from sideoats.station import StationDays
from sideoats.week.blocks import chunks

FIELDS, DRAWS = 10_000, 1_000
ON = date(2026, 8, 10)


def station(rng: np.random.Generator) -> StationDays:
    """Thirty years of made-up warm weather."""
    days = 30 * 366
    season = 12 - 13 * np.cos(2 * np.pi * (np.arange(days) - 20) / 365.25)
    mean = season + rng.normal(0, 3, days)
    values = {"tmax": mean + 7, "tmin": mean - 7, "rain": np.maximum(rng.normal(-4, 6, days), 0)}
    return StationDays(station="s", start=date(1996, 1, 1), values=values)


def rows(rng: np.random.Generator) -> list[dict[str, object]]:
    """Fields of every stage, density and value."""
    stages = ("pre-boot", "boot", "flowering", "milk", "soft dough")
    out = []
    for mean in rng.gamma(0.8, 60, FIELDS):
        out.append(
            read_all(
                QUESTION.inputs,
                {"mean": round(float(mean), 1), "n": int(rng.integers(20, 80)), "stage": stages[rng.integers(5)],
                 "yield": f"{rng.integers(40, 120)} bu/ac", "price": "4.5 USD/bu", "cost": "14 USD/ac"},
            )
        )  # fmt: skip
    return out


def plain_loop(
    density: np.ndarray, rate: np.ndarray, slope: np.ndarray, worth: np.ndarray, injury_days: np.ndarray
) -> np.ndarray:
    """Expected payoff of each option, one field after another: (field, option)."""
    out = np.empty((len(density), 16))
    for i in range(len(density)):
        ceiling, cost, kept, cap = 350.0, 14.0, 0.1, 0.3
        now, gathered, by_day = density[i].copy(), np.zeros(DRAWS), np.zeros((16, DRAWS))
        for day in range(35):
            if day < 15:
                by_day[day] = gathered
            following = ceiling / (1 + (ceiling / now - 1) * np.exp(-rate[:, day]))
            gathered = gathered + 0.5 * (now + following) * (day < injury_days[i])
            now = following
        never = np.minimum(slope * gathered, cap)
        payoff = np.empty((DRAWS, 16))
        for day in range(15):
            done = np.minimum(slope * by_day[day], cap)
            payoff[:, day] = worth[i] * (1 - done - kept * (never - done)) - cost
        payoff[:, 15] = worth[i] * (1 - never)
        out[i] = payoff.mean(axis=0)
        np.percentile(payoff, [10, 90], axis=0)
        np.sort(payoff, axis=0)[: DRAWS // 10].mean(axis=0)
        np.bincount(payoff.argmax(axis=1), minlength=16)
        order = np.argsort(density[i])
        payoff[order].reshape(10, -1, 16).mean(axis=1).max(axis=1).mean()
    return out


def main() -> None:
    """Print seconds of both on the same work, their ratio and peak memory."""
    rng = np.random.default_rng(5)
    table = table_of(QUESTION, rows(rng), keys=[f"field {i}" for i in range(FIELDS)])
    known = facts.load()
    outlook = make_outlook(ON, stations={"s": station(rng)}, facts=known, draws=DRAWS)
    context = Context(ON, known, outlook)
    QUESTION.ask(table.take(np.arange(50)), context)
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    started = time.perf_counter()
    with ThreadPoolExecutor(2) as pool:
        verdicts = pool.map(lambda piece: QUESTION.ask(piece, context).verdict, chunks(table, QUESTION, DRAWS))
        acts = sum(int((np.asarray(v) == 1).sum()) for v in verdicts)
    ours = time.perf_counter() - started
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    part = 500
    started = time.perf_counter()
    for i in range(part):
        fresh = Context(ON, known, replace(outlook, kept={}))  # a loop keeps nothing from one field to the next
        QUESTION.ask(table.take(np.array([i])), fresh)
    one_by_one = (time.perf_counter() - started) * FIELDS / part
    density = rng.gamma(0.8, 60, (part, DRAWS)) + 0.1
    rate = rng.uniform(0.08, 0.23, (DRAWS, 1)) * rng.uniform(0.7, 1.1, (DRAWS, 35))
    started = time.perf_counter()
    plain_loop(density, rate, rng.uniform(5e-6, 2e-5, DRAWS), rng.uniform(200, 500, part), rng.uniform(5, 35, part))
    plain = (time.perf_counter() - started) * FIELDS / part
    print(
        f"sorghum-aphid, {FIELDS:,} fields x {DRAWS:,} draws x 16 options on 2 threads: {ours:.2f} s, {acts} act; peak "
        f"{peak:.0f} MiB ({before:.0f} MiB before). The same code one field at a time: {one_by_one:.1f} s (timed on "
        f"{part}), ratio {one_by_one / ours:.1f}. A loop over fields by hand: {plain:.1f} s, ratio {plain / ours:.1f}"
    )


if __name__ == "__main__":
    main()
