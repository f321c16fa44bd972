"""Do the card, the phone and the desk say the same of a field? Ten thousand simulated fields, counted unit by unit.

Every field has its own price, yield and cost of a spray, a true mean about the count from which treating pays there,
and counts that clump as fields do. The desk is the question's ruling; the phone is the page's own script
(``desk/static/tally.js``, run by Node) on the plan that the desk sent it; the card has the plan's line for the usual
scatter. A contradiction is one that says treat where another says leave it; "early" is stopping where the desk would
count on, "late" counting on where the desk has decided.

    python -m benchmarks.trial_agreement [FIELDS]         # needs Node; prints the table of docs/insects.md
"""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from collections import Counter
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np

import sideoats
from sideoats.asking import table_of
from sideoats.call import VERDICTS
from sideoats.facts import load
from sideoats.outlook import make_outlook
from sideoats.question import Context, Question, Table, find
from sideoats.schema import read_all
from sideoats.week.stop_lines import UNITS, counted_fields, plans_of

ON = date(2026, 8, 10)
DRAWS, BATCH = 400, 250
STATIC = Path(sideoats.__file__).parent / "desk" / "static"
# the question, its inputs but price, yield and cost; ranges of those three; the mean about which the fields lie, and k
SORGHUM, BEANS, WHEAT = ((40, 110), (3, 6), (6, 20)), ((20, 60), (8, 13), (8, 20)), ((25, 60), (4, 7), (6, 16))
ASKED: dict[str, tuple[dict[str, str], tuple[tuple[float, float], ...], float, float]] = {
    "sorghum-aphid": ({"stage": "boot"}, (*SORGHUM[:2], (8, 24)), 40.0, 0.12),
    "sorghum-midge": ({"stage": "flowering"}, SORGHUM, 1.0, 0.6),
    "sorghum-headworm": ({"stage": "milk", "heads": "50000"}, SORGHUM, 0.5, 0.4),
    "soybean-podworm": ({"stage": "R5", "row_feet": "3 ft"}, BEANS, 4.0, 0.6),
    "soybean-stinkbug": ({"stage": "R5", "row_feet": "3 ft"}, BEANS, 3.0, 0.6),
    "wheat-aphid": ({"stage": "boot", "species": "greenbug"}, WHEAT, 25.0, 0.5),
    "wheat-fall-armyworm": ({"stage": "seedling", "size": "0.3 in"}, WHEAT, 2.5, 0.5),
    "alfalfa-weevil": ({"height": "14 in"}, ((1.0, 2.5), (120, 250), (10, 20)), 2.0, 0.6),
    "cotton-fleahopper-bollworm": ({"stage": "squaring"}, ((400, 1000), (0.6, 0.9), (8, 18)), 0.25, 0.5),
}
DAYS = {"wheat-aphid": date(2026, 4, 20), "wheat-fall-armyworm": date(2026, 10, 5), "alfalfa-weevil": date(2026, 4, 10),
        "cotton-fleahopper-bollworm": date(2026, 7, 5)}  # fmt: skip
UNITS_OF = {"alfalfa-weevil": ("ton/ac", "USD/ton"), "cotton-fleahopper-bollworm": ("lb/ac", "USD/lb")}
JUDGE = """
const { readFileSync } = await import("node:fs");
const { judge } = await import("data:text/javascript," + encodeURIComponent(readFileSync(process.argv[1], "utf8")));
const asked = JSON.parse(readFileSync(0, "utf8"));
console.log(JSON.stringify(asked.map(({ counts, plan }) => [
  judge(counts, plan).side, judge(counts, plan && { ...plan, k: [] }).side,
])));
"""


def fields(name: str, count: int, rng: np.random.Generator) -> Iterator[tuple[Table, list[list[int]]]]:
    """Batches of simulated fields: their table, and their counts."""
    question, (common, ranges, mean, k) = find(name), ASKED[name]
    counted = next(f.name for f, *_ in counted_fields(question))
    for first in range(0, count, BATCH):
        rows, counts = [], []
        for _ in range(min(BATCH, count - first)):
            yields, price, cost = (float(rng.uniform(*span)) for span in ranges)
            true, own = mean * np.exp(rng.normal(0.0, 1.2)), k * np.exp(rng.normal(0.0, 0.3))
            units = int(np.exp(rng.uniform(np.log(5), np.log(200))))
            most = next(f.high for f in question.inputs if f.name == counted)
            seen = np.minimum(rng.negative_binomial(own, own / (own + true), units), min(most or 400, 400)).tolist()
            of, per = UNITS_OF.get(name, ("bu/ac", "USD/bu"))
            typed = {"yield": f"{yields:.1f} {of}", "price": f"{price:.2f} {per}", "cost": f"{cost:.1f} USD/ac"}
            rows.append(read_all(question.inputs, {**common, **typed, counted: ", ".join(map(str, seen))}))
            counts.append(seen)
        keys = [f"{name} {first + i}" for i in range(len(rows))]
        yield table_of(question, rows, keys), counts


def phone_and_card(question: Question, table: Table, counts: list[list[int]], context: Context) -> list[list[str]]:
    """For each field what the phone says and what the card says: treat, leave, or nothing yet."""
    counted = next(f for f, *_ in counted_fields(question))
    plans = plans_of(question, table, counted, "", context)
    own = {"units": list(UNITS), "own_from": context.facts.value("insects/counting.own_k_from"),
           "bounds": list(context.facts.span("insects/counting.k_unknown"))}  # fmt: skip
    asked = [{"counts": c, "plan": None if p is None else {**p, **own}} for c, p in zip(counts, plans, strict=True)]
    node = shutil.which("node")
    if node is None:
        raise SystemExit("Node runs the phone's script; install it to try it here")
    command = [node, "--input-type=module", "-e", JUDGE, str(STATIC / "tally.js")]
    ran = subprocess.run(command, input=json.dumps(asked), stdout=subprocess.PIPE, text=True, check=True)
    found: list[list[str]] = json.loads(ran.stdout)
    return found


def trial(name: str, count: int) -> Counter[str]:
    """How often desk, phone and card agree on so many fields of one question."""
    facts, question, rng = load(), find(name), np.random.default_rng(20261201)
    on = DAYS.get(name, ON)
    context = Context(on, facts, make_outlook(on, facts=facts, draws=DRAWS))
    tally: Counter[str] = Counter()
    for table, counts in fields(name, count, rng):
        answers: Any = question.ask(table, context)
        verdicts = [VERDICTS[int(v)] for v in answers.verdict]
        told = phone_and_card(question, table, counts, context)
        for verdict, sides in zip(verdicts, told, strict=True):
            tally["fields"] += 1
            tally[verdict] += 1
            for who, side in zip(("phone", "card"), sides, strict=True):
                decided = {"act": "treat", "wait": "leave"}.get(verdict, "")
                kind = "same" if side == decided else "contradicts" if side and decided else "early" if side else "late"
                tally[f"{who} {kind}"] += 1
    return tally


def main() -> None:
    """Print the table."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 10_000
    kinds = [f"{who} {kind}" for who in ("phone", "card") for kind in ("same", "early", "late", "contradicts")]
    columns = ["fields", "act", "look", "wait", *kinds]
    print("| question | " + " | ".join(columns) + " |")
    print("|---|" + "---|" * len(columns))
    for name in ASKED:
        found = trial(name, count // len(ASKED))
        print(f"| `{name}` | " + " | ".join(f"{found[c]:,}" for c in columns) + " |", flush=True)


if __name__ == "__main__":
    main()
