"""Variety-trial REML against statsmodels on the same model, a large trial network, and wheat questions by the batch.

python -m benchmarks.bench_wheat

statsmodels' MixedLM takes crossed effects as dense variance components of one group, so it cannot be run on the large
network (72,000 plots would need a 41 GB matrix): the ratio is measured where it finishes in well under a minute, and
how its time grows is printed beside it.
"""

from __future__ import annotations

import resource
import time
import warnings
from collections.abc import Callable
from datetime import date
from typing import Any

import numpy as np

from sideoats.asking import table_of
from sideoats.facts import load
from sideoats.outlook import make_outlook
from sideoats.question import Context, find
from sideoats.schema import read_all
from sideoats.week.blocks import chunks
from sideoats.wheat.trials import reml
from sideoats.wheat.trials.analyse import analyse
from sideoats.wheat.trials.table import TrialTable, simulate
from sideoats.wheat.trials.terms import Term, factor, intercept

DEVIATIONS = {
    "variety": 3.0, "site": 8.0, "year": 5.0, "site_year": 6.0, "variety_site": 1.5, "variety_year": 2.0,
    "variety_site_year": 2.5, "rep": 1.0, "error": 4.0,
}  # fmt: skip
PEER_SIZES = ((4, 3, 10, 2), (5, 4, 12, 2), (6, 4, 16, 2))
NETWORK = (40, 10, 60, 3)
FIELDS = 1000
ON = date(2026, 9, 14)
MONEY = {"yield": "45 bu/ac", "price": "5.60 USD/bu"}
ASKED = {
    "wheat-planting": MONEY,
    "graze-pull-off": MONEY | {"stocking": "0.6 head/ac", "value_of_gain": "1.1 USD/lb", "hollow_stem": "0.8 cm"},
    "topdress-nitrogen": MONEY | {"nitrogen_price": "0.6 USD/lb", "organic_matter": "1.8 %"},
}


def peak_mib() -> float:
    """Largest resident size of this process so far."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def timed(work: Callable[[], Any]) -> tuple[float, Any]:
    """Seconds and result."""
    started = time.perf_counter()
    result = work()
    return time.perf_counter() - started, result


def trial(size: tuple[int, int, int, int], seed: int = 1) -> TrialTable:
    """An invented network of sites, years, varieties and blocks."""
    sites, years, varieties, reps = size
    rng = np.random.default_rng(seed)
    return simulate(rng, sites=sites, years=years, varieties=varieties, reps=reps, deviations=DEVIATIONS)


def terms(table: TrialTable) -> list[Term]:
    """The eight random terms of the network model."""
    t = table
    return [
        factor("variety", t.variety), factor("site", t.site), factor("year", t.year),
        factor("site_year", t.site, t.year), factor("variety_site", t.variety, t.site),
        factor("variety_year", t.variety, t.year), factor("variety_site_year", t.variety, t.site, t.year),
        factor("rep", t.environment, t.rep),
    ]  # fmt: skip


def peer(table: TrialTable, random: list[Term]) -> float:
    """Restricted log-likelihood by statsmodels MixedLM: one group, each term a variance component."""
    import pandas as pd
    import statsmodels.api as sm

    frame = pd.DataFrame({t.name: t.codes for t in random})
    frame["y"], frame["one"] = table.yields, 1
    parts = {t.name: f"0 + C({t.name})" for t in random}
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        found = sm.MixedLM.from_formula("y ~ 1", frame, groups="one", vc_formula=parts).fit(reml=True)
    return float(found.llf)


def against_peer(size: tuple[int, int, int, int]) -> None:
    """The same model on the same plots, both programs."""
    table = trial(size)
    random = terms(table)
    mean = [intercept(len(table))]
    own, fitted = timed(lambda: reml.fit(table.yields, mean, random))
    theirs, likelihood = timed(lambda: peer(table, random))
    print(
        f"trials against statsmodels: {len(table)} plots, {theirs:.2f} s against {own:.3f} s, "
        f"ratio {theirs / own:.0f}; log-likelihood {fitted.log_likelihood:.4f} against {likelihood:.4f}"
    )


def network() -> None:
    """Forty sites, ten years, sixty entries, three blocks: one fit, then both fits with comparisons."""
    table = trial(NETWORK)
    random = terms(table)
    busy = time.process_time()
    seconds, fitted = timed(lambda: reml.fit(table.yields, [intercept(len(table))], random))
    busy = time.process_time() - busy
    levels = sum(len(t) for t in random)
    print(
        f"trial network: {len(table)} plots, {levels} random effects, {fitted.steps} steps, {seconds:.1f} s "
        f"({busy:.1f} s of processor), peak {peak_mib():.0f} MiB"
    )
    seconds, _ = timed(lambda: analyse(table))
    print(f"trial network, varieties fixed and random with standard errors: {seconds:.1f} s, peak {peak_mib():.0f} MiB")


def batch(name: str, values: dict[str, str]) -> None:
    """A thousand fields in the week's chunks against the same fields one by one (fifty of them, scaled up)."""
    context = Context(ON, load(), make_outlook(ON))
    question = find(name)
    row = read_all(question.inputs, values)
    whole = table_of(question, [row] * FIELDS, [f"field {i}" for i in range(FIELDS)])
    question.ask(whole.take(np.arange(2)), context)
    parts = list(chunks(whole, question, context.outlook.draws))
    together, _ = timed(lambda: [question.ask(part, context) for part in parts])
    some = [whole.take(np.array([i])) for i in range(50)]
    single, _ = timed(lambda: [question.ask(one, context) for one in some])
    alone = single * FIELDS / len(some)
    print(
        f"{name}: {FIELDS} fields x 500 futures in {together:.2f} s, one by one {alone / together:.1f} times as long, "
        f"peak {peak_mib():.0f} MiB"
    )


def main() -> None:
    """One line a measurement."""
    timed(lambda: analyse(trial((2, 2, 4, 2))))  # imports
    for size in PEER_SIZES:
        against_peer(size)
    network()
    for name, values in ASKED.items():
        batch(name, values)


if __name__ == "__main__":
    main()
