"""The publishers' tables as this district uses them: which is followed, which bind, what a blend is aimed at."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import numpy as np

from sideoats.facts import Facts
from sideoats.forage.nitrate import PPM_OF_PERCENT, ClassTable, ion_factor, rule


def publisher_name(facts: Facts, key: object) -> str:
    """How the publisher of a table or target is called: by his fact, so by the district's own source once it is his
    no more."""
    named = (facts.by_id.get(i) for i in (f"forage/nitrate_class.{key}", f"forage/{key}"))
    return next((fact.publisher for fact in named if fact is not None), str(key))


def tables(facts: Facts, followed: str | None = None) -> tuple[ClassTable, dict[str, ClassTable]]:
    """The table followed for animals not at special risk, and every table on file by publisher."""
    _, chosen = facts.choose("forage/nitrate_class", followed)
    held = {fact.id.rpartition(".")[2]: ClassTable.of(fact) for fact in facts.under("forage/nitrate_class").values()}
    return held[chosen.id.rpartition(".")[2]], held


def lowest_edge(every: Iterable[ClassTable]) -> float:
    """Level [ppm NO3-N dry] under which every table that binds puts a feed in its lowest class."""
    return min((float(t.edges[1]) for t in every if t.binds and len(t.bounds) > 1), default=0.0)


def sole_feed_line(facts: Facts, at_risk: int, followed: str | None = None) -> float:
    """Level [ppm NO3-N dry] of feed and water together from which a feed is no longer the only one for these animals;
    infinite where no table says so."""
    table, every = tables(facts, followed)
    edges = np.array(sorted({float(edge) for t in every.values() for edge in t.edges}))
    barred = edges[~rule(edges, at_risk, table, every.values(), dilution_targets(facts)).alone]
    return float(barred.min()) if barred.size else float("inf")


def dilution_targets(facts: Facts) -> dict[str, float]:
    """Level to dilute to [ppm NO3-N dry] by publisher; the district's own choice under the key ""."""
    out: dict[str, float] = {}
    _, chosen = facts.choose("forage/nitrate_dilution_target")
    for fact in [chosen, *facts.under("forage/nitrate_dilution").values()]:
        unit, ion, _ = fact.unit.split()
        level = fact.value * (PPM_OF_PERCENT if unit == "%" else 1.0) * ion_factor(ion, "NO3-N")
        out["" if not out else fact.id.removeprefix("forage/")] = level
    return out


def water_lines(facts: Facts) -> tuple[float, float]:
    """Levels [ppm NO3-N] of water from which a ladder that was read cautions, and from which it stands in its top
    class."""
    rows = [
        f.column("from")
        for f in facts.under("forage/water_nitrate_class").values()
        if f.overridden or f.provenance in ("read", "derived")
    ]
    return min(float(r[1]) for r in rows), min(float(r[-1]) for r in rows)


def allowing_less(
    every: Mapping[str, ClassTable], level: float, at_risk: int, share: float, alone: bool
) -> list[ClassTable]:
    """Tables that would allow these animals less of a feed of this level [ppm NO3-N dry] than is allowed here."""
    out = []
    for table in every.values():
        limit, may = table.largest_share([level], at_risk)
        if limit[0] < share - 1e-9 or (alone and not may[0]):
            out.append(table)
    return out
