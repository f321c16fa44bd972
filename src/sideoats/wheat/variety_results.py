"""What variety trials say for one kind of field: files and records analysed once, the rest read from what is kept."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.errors import InputError
from sideoats.question import Table

Floats = NDArray[np.float64]
RESTS_ON = ("trials", "unit", "level", "means", "management", "site", "purpose")


@dataclass(frozen=True)
class Result:
    """What one trial table says for one kind of field.

    Attributes
    ----------
    names, season : varieties, and their joint deviations from the trial mean next year (`compare.NextSeason`)
    made : of each variety over the mean of all, as the trials estimate it [bu/ac]
    mean : of all varieties and trials [bu/ac]
    spread : standard deviation of what any one variety of these trials makes next year, beside their mean [bu/ac]
    lsd, heritability : of the comparison [bu/ac], [1]
    trials, years : site-years, and years
    new_site : the field is like no site of the trials
    """

    names: tuple[str, ...]
    season: Any
    made: tuple[float, ...]
    mean: float
    spread: float
    lsd: float
    heritability: float
    trials: int
    years: int
    new_site: bool

    def lead(self, variety: str, over: str) -> float:
        """Bushels by which a variety led another, or all of them where that one is not in the trials [bu/ac]."""
        made = dict(zip(self.names, self.made, strict=True))
        return made[variety] - made.get(over, 0.0)

    def least_lead(self, over: str) -> float:
        """Lead that is not chance: the least significant difference, or that of a variety from the mean of all."""
        return self.lsd if over in self.names else self.lsd / np.sqrt(2.0)


def table_of_row(row: Mapping[str, Any]) -> Any:
    """The trial table of one row, from its file or its records. Raises InputError."""
    from sideoats.wheat.trials.table import from_columns, from_records

    if row["trials"]:
        from sideoats.intake.trials import wheat_trial

        return from_columns(wheat_trial(row["trials"], unit=row["unit"] or "", level=row["level"] or "").columns)
    return from_records(row["means"])


def management_of(row: Mapping[str, Any], table: Any) -> str:
    """Which trials speak for the row: those asked for, else grazed ones for grazed wheat, never both."""
    kinds = {str(m) for m in np.unique(table.management)}
    if row["management"]:
        return "" if row["management"] == "unnamed" else str(row["management"])
    if len(kinds) == 1:
        return kinds.pop()
    return "grazed" if row["purpose"] in ("dual", "graze-out") else ("ungrazed" if "ungrazed" in kinds else "")


def _studied(row: Mapping[str, Any]) -> tuple[int, Result | str]:
    """How many trials there are, and what they say; or why they cannot be compared."""
    from sideoats.wheat.trials.analyse import analyse
    from sideoats.wheat.trials.compare import next_season

    whole = table_of_row(row)
    table = whole.managed(management_of(row, whole)).ordered()
    trials = len(np.unique(table.environment))
    try:
        estimates = analyse(table)
        season = next_season(estimates, row["site"] or "")
    except InputError as error:
        return trials, str(error)
    return trials, Result(
        estimates.varieties,
        season,
        tuple((estimates.blue - np.mean(estimates.blue)).tolist()),
        float(np.mean(estimates.blue)),
        float(np.sqrt((estimates.variance("variety") + season.season) * season.widened)),
        estimates.lsd(),
        estimates.heritability()["cullis"],
        trials,
        len(np.unique(table.year)),
        season.new_site,
    )


@lru_cache(maxsize=256)
def _kept(frozen: tuple[tuple[str, Any], ...]) -> tuple[int, Result | str]:
    """`_studied` of records on file, kept: a region's fields rest on the same trials. (A named file may change.)"""
    row = dict(frozen)
    return _studied({**row, "means": tuple(dict(mean) for mean in row["means"])})


def results_of(table: Table) -> tuple[list[Result | None], list[str], Floats]:
    """One result for each row, None where there is none; what is wrong with trials that cannot be used, or ""; and how
    many trials there are (place,), NaN where none is on file.
    """
    known: dict[str, tuple[float, Result | str]] = {}
    out: list[Result | None] = []
    faults, trials = [], np.full(len(table), np.nan)
    for i in range(len(table)):
        row = {name: table.columns[name][i] for name in RESTS_ON}
        if not row["trials"] and row["means"] is None:
            out.append(None)
            faults.append("")
            continue
        key = repr({**row, "trials": row["trials"] and (row["trials"].name, row["trials"].content)})
        if key not in known:
            try:
                frozen = {**row, "means": tuple(tuple(mean.items()) for mean in row["means"] or ())}
                known[key] = _studied(row) if row["trials"] else _kept(tuple(frozen.items()))
            except InputError as error:
                known[key] = (np.nan, str(error))
        trials[i], found = known[key]
        out.append(found if isinstance(found, Result) else None)
        faults.append(found if isinstance(found, str) else "")
    return out, faults, trials


def offered(text: str | None) -> tuple[str, ...]:
    """Names of the varieties that can be had; empty where nobody said."""
    return tuple(part.strip() for part in (text or "").split(",") if part.strip())
