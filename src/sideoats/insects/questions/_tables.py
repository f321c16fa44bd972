"""Questions whose thresholds are nominal tables by stage and sample unit, under several publishers.

A new pest of this kind is a fact file and a `TablePest`: whose tables, how the count is written, how long it feeds.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.errors import InputError
from sideoats.facts import Facts
from sideoats.insects.harm import steady_progress
from sideoats.insects.questions._count import (
    DAYS,
    Case,
    Counted,
    common_inputs,
    cost_of,
    count_draws,
    crop_value,
    range_words,
    spread,
    weigh,
)
from sideoats.insects.thresholds import at_stake_by_threshold, first_known, look_up, rows_by_key
from sideoats.insects.treatment import triangular
from sideoats.question import Answers, Context, Places, Question, Table
from sideoats.schema import Field

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True)
class Sampled:
    """A count and its unit: a table's `per` of each place ("sweep" for one sweep), and the count scaled to it."""

    per: NDArray[np.object_]
    counted: Counted


@dataclass(frozen=True)
class TablePest:
    """A pest whose thresholds are printed tables with columns stage, per, low and high.

    Attributes
    ----------
    name : of the question; `facts` : prefix of its facts ("insects/soybean_stinkbug")
    title, about, limits : words of the question
    crop, yield_unit, price_unit, commodity : of the crop
    inputs : the fields of the count, with `stage`
    choice : rival tables as a choice, or "" with `table` naming the only one
    sampled : the count in the unit of a publisher's table, given its sample units
    what : the animal in words, plural
    over_stages : stages past which no yield is left to save
    progress : share of the injury done by each day; steady over the fact `injury_days` where None
    adjust : multiple of the threshold by row, with the reason, where a stage or use calls for one
    """

    name: str
    facts: str
    title: str
    about: str
    limits: str
    crop: str
    yield_unit: str
    price_unit: str
    commodity: str
    inputs: tuple[Field, ...]
    sampled: Callable[[Table, Context, Sequence[str]], Sampled]
    what: str
    choice: str = ""
    table: str = ""
    over_stages: tuple[str, ...] = ()
    progress: Callable[[Table, Context], Floats] | None = None
    adjust: Callable[[Table, Context], tuple[Floats, Callable[[int], list[str]]]] | None = None
    missing: str = "Not counted lately: go and count."
    cautions: tuple[str, ...] = ()
    check: Callable[[dict[str, Any]], None] | None = None
    seen: tuple[str, ...] = field(default=("counts",))

    def publishers(self, facts: Facts, first: str) -> list[tuple[str, dict[tuple[str, ...], tuple[float, float]]]]:
        """Every publisher's table, the chosen one first."""
        if not self.choice:
            fact = facts[self.table]
            return [(fact.citation.split(",")[0], rows_by_key(fact.columns, fact.rows, ("stage", "per")))]
        order = [first, *(key for key in facts.choices[self.choice].among if key != first)]
        found = []
        for key in order:
            fact = facts.by_id[facts.choices[self.choice].among[key]]
            found.append((key, rows_by_key(fact.columns, fact.rows, ("stage", "per"))))
        return found


def table_question(pest: TablePest) -> Question:
    """The question of a pest with nominal tables."""
    shared = common_inputs(pest.name, pest.yield_unit, pest.price_unit, pest.commodity)
    own = pest.inputs
    if pest.choice:
        own = (*own, Field("publisher", "text", "whose threshold to follow; the district's choice if absent"))

    def answer(table: Table, context: Context) -> Answers:
        return weigh(table, context, pest.name.replace("-", " "), _case(pest, table, context))

    def check(values: dict[str, Any]) -> None:
        if pest.choice and values["publisher"] is not None:
            _known_publisher(pest, values["publisher"])
        if pest.check:
            pest.check(values)

    def in_season(table: Table, context: Context) -> Bools:
        return np.asarray(np.any([table.known(name) for name in pest.seen], axis=0))

    return Question(
        name=pest.name, room="insects", title=pest.title, about=pest.about, inputs=(*own, *shared), answer=answer,
        places=Places(kinds=("field",), crops=(pest.crop,)), size="acres", in_season=in_season, check=check,
        limits=pest.limits,
    )  # fmt: skip


def _known_publisher(pest: TablePest, name: str) -> None:
    from sideoats.facts import load

    among = load().choices[pest.choice].among
    if name not in among:
        raise InputError(f"{name[:60]!r} has no table on file", where=f"{pest.name} publisher",
                         expected="one of " + ", ".join(among))  # fmt: skip


def _thresholds(pest: TablePest, table: Table, context: Context) -> tuple[NDArray[np.object_], Floats, Floats, Sampled]:
    """Publisher, low and high of each place (its own choice first, then whoever has a figure), and the count.

    Count and figures are in the publisher's own sample unit, so that a printed figure is shown as printed.
    """
    facts, n = context.facts, len(table)
    district = facts.choose(pest.choice)[0] if pest.choice else ""
    asked = table.text("publisher") if pest.choice else np.full(n, "", dtype=object)
    chosen = np.where(asked == "", district, asked)
    who = np.full(n, "", dtype=object)
    low, high = np.full(n, np.nan), np.full(n, np.nan)
    sampled: Sampled | None = None
    sweeps: dict[str, float] = {}
    for first in dict.fromkeys(chosen.tolist() or [district]):
        tables = pest.publishers(facts, first)
        units = list(dict.fromkeys(per for _, rows in tables for _, per in rows))
        sampled = sampled or pest.sampled(table, context, units)
        candidates = []
        for name, rows in tables:
            keys, sweeps[name] = _in_sample_unit(rows, table, sampled)
            candidates.append((name, *look_up(keys, rows)))
        names, lows, highs = first_known(candidates)
        mine = chosen == first
        who, low, high = np.where(mine, names, who), np.where(mine, lows, low), np.where(mine, highs, high)
    assert sampled is not None
    swept = sampled.per == "sweep"
    number = np.array([sweeps.get(str(w), 25.0) for w in who])
    per = np.where(swept, [f"{x:g} sweeps" for x in number], sampled.per).astype(object)
    sampled = Sampled(per, sampled.counted.per(np.where(swept, 1 / number, 1.0)))
    if pest.choice:
        for name in set(who.tolist()) - {""}:
            facts[facts.choices[pest.choice].among[name]]
    return who, low, high, sampled


def _in_sample_unit(
    rows: dict[tuple[str, ...], tuple[float, float]], table: Table, sampled: Sampled
) -> tuple[list[tuple[str, ...]], float]:
    """Keys of the places into one publisher's table, and the number of sweeps (10, 15, 25) it is printed for."""
    printed = next((per for _, per in rows if per.endswith(" sweeps")), "")
    per = [printed if p == "sweep" else str(p) for p in sampled.per]
    return list(zip(table.text("stage").tolist(), per)), float(printed.split()[0]) if printed else 25.0


def _case(pest: TablePest, table: Table, context: Context) -> Case:
    facts, n = context.facts, len(table)
    who, low, high, sampled = _thresholds(pest, table, context)
    times, why = pest.adjust(table, context) if pest.adjust else (np.ones(n), lambda i: [])
    low, high = low * times, high * times
    counted = sampled.counted
    over = np.isin(table.text("stage"), pest.over_stages)
    level = spread(context, f"{pest.name} threshold", low, high)
    cost, value = cost_of(table, context), crop_value(table)
    stake = at_stake_by_threshold(counted.density, level, cost, facts["insects/treatment.efficacy"].mid)
    none = np.isnan(low) & ~over
    most = facts.value(f"{pest.facts}.most_lost")
    words = {"row-ft": "per row-foot", "canopy": "of leaf area eaten", "100 plants": "per 100 plants"}
    unit = np.array([f"{pest.what} {words.get(str(p), f'per {p}')}" for p in sampled.per], dtype=object)

    def missing_headline(i: int) -> str:
        if none[i] and not counted.unknown[i]:
            return f"No published threshold on file for {pest.what} at {table.text('stage')[i] or 'an unknown stage'}."
        return pest.missing

    def reasons(i: int) -> list[str]:
        return [*why(i), *_others(pest, facts, table, sampled, who, i)]

    return Case(
        counted=counted, low=low, high=high, unit=unit, publisher=np.array([_title(str(w)) for w in who], dtype=object),
        at_stake=stake, progress=pest.progress(table, context) if pest.progress else _steady(pest, context),
        cap=np.where(np.isnan(value), np.inf, value * most), missing=counted.unknown | none, nominal=np.ones(n, bool),
        missing_headline=missing_headline, over=over, reasons=reasons, cautions=lambda i: list(pest.cautions),
        quantities={"crop_value": (value, "USD/ac")},
    )  # fmt: skip


def _steady(pest: TablePest, context: Context) -> Floats:
    span = context.facts[f"{pest.facts}.injury_days"]
    window = triangular(context.outlook.uniform(f"{pest.name} days"), span.low, span.mid, span.high)
    return steady_progress(window[None, :], DAYS)


def _others(
    pest: TablePest, facts: Facts, table: Table, sampled: Sampled, who: NDArray[np.object_], i: int
) -> list[str]:
    """What the other publishers print for this place's stage and sample unit."""
    if not pest.choice:
        return []
    lines = []
    stage, per = table.text("stage")[i], str(sampled.per[i])
    for name, rows in pest.publishers(facts, str(who[i]) or next(iter(facts.choices[pest.choice].among))):
        if name == who[i]:
            continue
        for (at, unit), (low, high) in rows.items():
            if at == stage and (unit == per or (per.endswith(" sweeps") and unit.endswith(" sweeps"))):
                span = range_words(low, high, "share of leaf area eaten" if unit == "canopy" else f"per {unit}")
                lines.append(f"{_title(name)} prints {span} at {stage}.")
    return lines


def _title(key: str) -> str:
    return key.replace("_", " ").title() if key.islower() else key


def counted_by(
    table: Table, context: Context, pest: str, counts: str, *, k_fact: str = "", usual_sweeps: float = 25.0
) -> Sampled:
    """Cloth or sweep counts per row-foot or per sweep, from `method`, `row_feet` and `sweeps`."""
    counted = count_draws(table, context, pest, counts=counts, mean="mean", k_fact=k_fact)
    swept = table.text("method") == "sweep"
    feet, sweeps = table.number("row_feet"), table.number("sweeps")
    divisor = np.where(swept, np.where(np.isnan(sweeps), usual_sweeps, sweeps), np.where(np.isnan(feet), 1.0, feet))
    per = np.where(swept, "sweep", "row-ft").astype(object)
    return Sampled(per, counted.per(divisor))


def canopy_inputs(counts: str, animals: str, fresh: float) -> tuple[Field, ...]:
    """Fields of a soybean count by drop cloth or sweep net."""
    return (
        Field("counts", "counts", f"{animals} in each sample", high=1000, example="2,0,1", fresh_days=fresh,
              found_in=(f"evidence:canopy_counts.{counts}",)),
        Field("mean", "number", f"mean {animals} per sample, with n", low=0, high=1000),
        Field("n", "number", "samples taken, with mean", low=1, high=10_000),
        Field("method", "choice", "cloth (row-feet) or sweep (sets of sweeps)", choices=("cloth", "sweep"),
              default="cloth", fresh_days=fresh, found_in=("evidence:canopy_counts.method",)),
        Field("row_feet", "number", "feet of row beaten on to each cloth; 1 if absent", unit="ft", low=0.5, high=50,
              fresh_days=fresh, found_in=("evidence:canopy_counts.row_feet",)),
        Field("sweeps", "number", "sweeps in each set; 25 if absent", low=1, high=200, fresh_days=fresh,
              found_in=("evidence:canopy_counts.sweeps",)),
        SOYBEAN_STAGE,
    )  # fmt: skip


SOYBEAN_STAGE = Field(
    "stage", "choice", "growth stage of most plants", required=True, fresh_days=14, example="R5",
    choices=("vegetative", "R1", "R2", "R3", "R4", "R5", "R6", "R7", "R8"),
    aliases={"bloom": "r2", "flowering": "r2", "pod fill": "r5", "mature": "r8"},
    found_in=("evidence:canopy_counts.stage", "place:stage"),
)  # fmt: skip


def needs_count(question: str, how: str) -> Callable[[dict[str, Any]], None]:
    """A check that refuses a phone-in without counts or a mean."""

    def check(values: dict[str, Any]) -> None:
        if (values["counts"] is None) == (values["mean"] is None):
            raise InputError("exactly one of counts and mean is needed", where=question,
                             expected="counts=2,0,1,... or mean= with n=", todo=how)  # fmt: skip

    return check
