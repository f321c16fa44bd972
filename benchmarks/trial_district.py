"""What rules for treating lose against perfect knowledge, in a simulated district of 200 fields over ten seasons.

Densities lie about a season's own level, are alike among neighbors, differ between fields and grow day by day; counts
clump. A part of the fields is walked in each of three weekly rounds, and in the last one it is decided: treat or leave.
The truth is made of published figures and of nothing of this program: so many bushels an insect, drawn anew for every
season and field within the range in print, a treatment that keeps a drawn part of them, and a bound on the loss.
Perfect knowledge knows the density, the bushels and the part kept of every field, walked or not.

The rules: never; always; the published threshold on the mean that was counted; the tool; and the tool with the last
round sent where its forecasts from the district's other counts make a look worth most, of as many fields. Where the
tool asks to count on it counts on (at most twice), and that costs the minutes of it.

    python -m benchmarks.trial_district [FIELDS] [SEASONS]         # prints the table of docs/insects.md
"""

from __future__ import annotations

import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from types import SimpleNamespace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.asking import table_of
from sideoats.call import Call
from sideoats.facts import Facts, load
from sideoats.ledger import Place
from sideoats.outlook import make_outlook
from sideoats.question import Context, find
from sideoats.schema import read_all
from sideoats.station import km_between
from sideoats.week.pooled import Learned, learn

Floats = NDArray[np.float64]
ON, DRAWS, ACRES = date(2026, 8, 10), 200, 80.0
ROUNDS, WALKED = (-14, -7, 0), 0.6  # days, and the part of the fields that is walked in each
ON_WALKED = ("threshold", "tool")  # rules that stand on the same counts of the same fields
RULES = ("never", "always", "threshold", "tool", "tool, sent by forecast")


@dataclass(frozen=True)
class Pest:
    """One pest in its crop.

    Attributes
    ----------
    asked : the inputs of the question but price, yield and cost
    kind, counts, field : evidence kind and field of the counts; units looked at in one look
    level : log of the density of a usual field in a usual season, on the day of the decision; k of the counts
    bushels : low and high that one insect costs [bu/ac]; kept : share of the loss that a treatment keeps
    most : greatest share of the crop that can be lost; threshold : published, in the unit of the mean
    crop, price, yields, cost : ranges
    """

    question: str
    asked: Mapping[str, str]
    kind: str
    field: str
    units: int
    level: float
    k: float
    bushels: tuple[float, float]
    kept: tuple[float, float]
    most: float
    threshold: float
    crop: str
    price: tuple[float, float]
    yields: tuple[float, float]
    cost: tuple[float, float]
    growth: float


PESTS = (
    Pest(
        "sorghum-aphid",
        {"stage": "boot"},
        "leaf_counts",
        "counts",
        units=20,
        level=3.0,
        k=0.25,
        bushels=(4 / 102, 4 / 37),  # levels of slow and fast fields at 4 bu/ac (Gordy and others 2019, see the facts)
        kept=(0.8, 0.95),
        most=0.7,
        threshold=40.0,  # the same, in general
        crop="grain sorghum",
        price=(3.2, 5.2),
        yields=(50, 100),
        cost=(10, 20),
        growth=0.13,
    ),
    Pest(
        "soybean-podworm",
        {"stage": "R5", "method": "cloth", "row_feet": "1 ft"},
        "canopy_counts",
        "podworms",
        units=10,
        level=0.2,
        k=0.6,
        bushels=(0.54, 0.98),  # 0.145 to 0.262 a larva in 25 sweeps, 3.75 of which are one a foot (see the facts)
        kept=(0.7, 0.95),
        most=0.9,
        threshold=2.0,  # Kentucky and Georgia, a foot of row
        crop="soybean",
        price=(8, 13),
        yields=(25, 55),
        cost=(10, 20),
        growth=0.0,
    ),
)


@dataclass(frozen=True)
class Season:
    """One season's truth (field,), and who was walked in each round."""

    latitude: Floats
    longitude: Floats
    log_density: Floats  # (round, field)
    gain: Floats
    money: Floats  # (3, field): price, yield, cost
    walked: NDArray[np.bool_]  # (round, field)


def season_of(pest: Pest, fields: int, rng: np.random.Generator) -> Season:
    """Draw one season."""
    latitude, longitude = 38 + 0.7 * rng.random(fields), -99 + 0.9 * rng.random(fields)
    apart = km_between(latitude[:, None], longitude[:, None], latitude, longitude)
    places = np.linalg.cholesky(0.5 * np.exp(-apart / 15) + 0.5 * np.eye(fields))
    days = np.array(ROUNDS, float)
    weeks = np.linalg.cholesky(np.exp(-np.abs(days[:, None] - days) / 30))
    own = 1.1 * weeks @ rng.standard_normal((len(days), fields)) @ places.T
    level, growth = rng.normal(pest.level, 0.7), rng.normal(pest.growth, 0.04)
    log_density = level + growth * days[:, None] + own
    price, yields, cost = (rng.uniform(*span, fields) for span in (pest.price, pest.yields, pest.cost))
    low, high = np.log(pest.bushels)
    middle = rng.uniform(low, high)  # the season's own, and each field's about it
    bushels = np.exp(np.clip(middle + rng.normal(0, 0.25, fields), low, high))
    lost = np.minimum(bushels * np.exp(log_density[-1]), pest.most * yields)
    gain = price * lost * rng.uniform(*pest.kept, fields) - cost
    return Season(
        latitude, longitude, log_density, gain, np.stack([price, yields, cost]), rng.random(log_density.shape) < WALKED
    )


@dataclass
class Counting:
    """Counts as they come: of a field always the same, whoever asks for them."""

    pest: Pest
    season: Season
    seed: int

    def counts(self, turn: int, field: int, units: int) -> tuple[int, ...]:
        """The first so many counts of a field in a round."""
        rng = np.random.default_rng([self.seed, turn, field])
        mean, k = float(np.exp(self.season.log_density[turn, field])), self.pest.k
        own = k * float(np.exp(rng.normal(0, 0.3)))
        return tuple(np.minimum(rng.negative_binomial(own, own / (own + mean), units), 900).tolist())


def learned_of(counting: Counting, seen: NDArray[np.bool_], facts: Facts) -> tuple[Learned, ...]:
    """What the counts of the rounds (round, field) say together."""
    pest, season = counting.pest, counting.season
    entries: dict[str, list[Any]] = {}
    for turn, field in zip(*np.nonzero(seen), strict=True):
        body: dict[str, Any] = {pest.field: counting.counts(int(turn), int(field), pest.units), **pest.asked}
        body.pop("row_feet", None)
        entry = SimpleNamespace(seen_on=ON + timedelta(days=ROUNDS[turn]), body=body)
        entries.setdefault(f"f{field}", []).append(entry)
    places = {
        f"f{i}": Place(f"f{i}", "f", f"f{i}", "field", {"crop": pest.crop, "latitude": lat, "longitude": lon})
        for i, (lat, lon) in enumerate(zip(season.latitude.tolist(), season.longitude.tolist(), strict=True))
    }
    return learn({pest.kind: entries}, places, ON, facts)


def calls_of(
    counting: Counting, fields: Sequence[int], counts: Sequence[Sequence[float]], facts: Facts, outlook: Any
) -> list[Call]:
    """The tool's calls for some fields, counted so."""
    pest, question = counting.pest, find(counting.pest.question)
    counted = next(f.name for f in question.inputs if f.kind == "counts")
    rows = []
    for i in fields:
        price, yields, cost = counting.season.money[:, i].tolist()
        typed = {"price": f"{price:.2f} USD/bu", "yield": f"{yields:.1f} bu/ac", "cost": f"{cost:.2f} USD/ac"}
        rows.append(read_all(question.inputs, {**pest.asked, **typed, "acres": f"{ACRES:g} ac"}))
    rows = [{**row, counted: tuple(seen)} for row, seen in zip(rows, counts, strict=True)]
    table = table_of(question, rows, [f"f{i}" for i in fields])
    return list(question.ask(table, Context(ON, facts, outlook)).calls())


def best_act(call: Call) -> float:
    """What the best of the acts gains over leaving it [USD/ac]."""
    return max((o.expected for o in call.options if not o.passive and not o.barred), default=0.0)


def tool(counting: Counting, fields: Sequence[int], facts: Facts, outlook: Any) -> tuple[list[int], float]:
    """Which of the fields the tool treats, and what the further counts cost it [USD in all]."""
    hour, minutes = facts.value("decide/look.hour"), {r[0]: r[1] for r in facts["insects/counting.looks"].rows}
    units = dict.fromkeys(fields, counting.pest.units)
    left, treated, spent = list(fields), [], 0.0
    for turn in range(3):
        counts = [counting.counts(len(ROUNDS) - 1, i, units[i]) for i in left]
        calls, again = calls_of(counting, left, counts, facts, outlook) if left else [], []
        for i, call in zip(left, calls, strict=True):
            if call.verdict == "act" or (call.verdict == "look" and turn == 2 and best_act(call) > 0):
                treated.append(i)
            elif call.verdict == "look" and turn < 2:
                more = next((q.value for name, q in call.quantities.items() if name.endswith("_to_count_more")), 0.0)
                more = int(more) if isinstance(more, float) and more > 0 else counting.pest.units
                units[i] += more
                spent += more * minutes["leaf" if counting.pest.kind == "leaf_counts" else "cloth"] / 60 * hour
                again.append(i)
        left = again
    return treated, spent


def sent(counting: Counting, count: int, facts: Facts, outlook: Any) -> list[int]:
    """So many fields that the forecasts before the last round make a look worth most in."""
    season = counting.season
    before = season.walked.copy()
    before[-1] = False
    (model,) = learned_of(counting, before, facts)
    n = len(season.latitude)
    number = np.array([model.places.get(f"f{i}", -1 - i) for i in range(n)])
    mean, variance = model.model.forecast(number, season.latitude, season.longitude)
    worth = np.zeros(n)
    for score in (-1.4, -0.6, 0.0, 0.6, 1.4):  # the middles of fifths of the forecast
        density = np.exp(mean + score * np.sqrt(variance))
        found = calls_of(counting, range(n), [(d,) * 200 for d in density.tolist()], facts, outlook)
        worth += [max(best_act(call), 0.0) for call in found]
    return np.argsort(-worth, kind="stable")[:count].tolist()


def trial(pest: Pest, fields: int, seasons: int, seed: int = 20261201) -> dict[str, Floats]:
    """Money lost against perfect knowledge [USD/ac] by rule (season,), over all fields or those walked; and what there
    was to gain.
    """
    facts = load()
    outlook = make_outlook(ON, facts=facts, draws=DRAWS)
    lost: dict[str, list[float]] = {rule: [] for rule in ("to gain", *RULES, *(f"walked: {r}" for r in ON_WALKED))}
    for number in range(seasons):
        rng = np.random.default_rng([seed, number])
        counting = Counting(pest, season_of(pest, fields, rng), seed + number)
        season = counting.season
        perfect = np.maximum(season.gain, 0.0).sum()
        walked = np.flatnonzero(season.walked[-1]).tolist()
        means = {i: np.mean(counting.counts(len(ROUNDS) - 1, i, pest.units)) for i in walked}
        there = sent(counting, len(walked), facts, outlook)
        treated: dict[str, tuple[list[int], float]] = {
            "never": ([], 0.0),
            "always": (list(range(fields)), 0.0),
            "threshold": ([i for i in walked if means[i] >= pest.threshold], 0.0),
            "tool": tool(counting, walked, facts, outlook),
            "tool, sent by forecast": tool(counting, there, facts, outlook),
        }
        lost["to gain"].append(perfect / fields)
        for rule, (fielded, spent) in treated.items():
            got = season.gain[fielded].sum() - spent / ACRES
            lost[rule].append((perfect - got) / fields)
            if rule in ON_WALKED:
                best = np.maximum(season.gain[walked], 0.0).sum()
                lost[f"walked: {rule}"].append((best - got) / len(walked))
    return {rule: np.array(values) for rule, values in lost.items()}


def main() -> None:
    """Print the table."""
    fields, seasons = (int(sys.argv[i]) if len(sys.argv) > i else default for i, default in ((1, 200), (2, 10)))
    columns = ["to gain", *RULES, *(f"walked: {rule}" for rule in ON_WALKED), "seasons tool loses to threshold"]
    print("| question, units | " + " | ".join(columns) + " |")
    print("|---|" + "---|" * len(columns))
    for pest in (each for one in PESTS for each in (one, replace(one, units=one.units // 2))):
        found = trial(pest, fields, seasons)
        told = [f"{values.mean():.2f}" for values in found.values()]
        told.append(f"{int((found['tool'] > found['threshold']).sum())} of {seasons}")
        print(f"| `{pest.question}`, {pest.units} | " + " | ".join(told) + " |", flush=True)


if __name__ == "__main__":
    main()
