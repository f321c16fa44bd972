"""A trial table in memory: plots or means with their variety, site, year, management and blocks."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.decide.laws import median
from sideoats.errors import InputError
from sideoats.wheat.trials.terms import Floats, Ints

Labels = NDArray[np.str_]
_FEWEST = 2
_SLIP = 5.0  # times the middle of a trial, over or under: no two varieties of one field lie so far apart


@dataclass(frozen=True)
class TrialTable:
    """Measured plots or means only; all arrays (n,).

    Attributes
    ----------
    variety, site, year, management : labels; one common label where the source has none
    rep, block : labels within the trial, "" where there are none
    yields : [the source's unit]
    plots : plots behind each value, 1 for single plots; from standard errors, relative, where only those are given
    """

    variety: Labels
    site: Labels
    year: Labels
    management: Labels
    rep: Labels
    block: Labels
    yields: Floats
    plots: Floats

    def __len__(self) -> int:
        return len(self.yields)

    @property
    def environment(self) -> Labels:
        """Site and year."""
        return np.char.add(np.char.add(self.site, " "), self.year)

    @property
    def varieties(self) -> list[str]:
        """Names of the varieties, sorted."""
        return [str(v) for v in np.unique(self.variety)]

    def where(self, mask: NDArray[np.bool_] | Ints) -> TrialTable:
        """The rows of a mask, or those numbered."""
        return TrialTable(
            self.variety[mask],
            self.site[mask],
            self.year[mask],
            self.management[mask],
            self.rep[mask],
            self.block[mask],
            self.yields[mask],
            self.plots[mask],
        )

    def ordered(self) -> TrialTable:
        """The rows in one order, whatever order they came in: sums are then the same to the last bit."""
        keys = (self.plots, self.yields, self.block, self.rep, self.management, self.year, self.site, self.variety)
        return self.where(np.lexsort(keys))

    def managed(self, management: str) -> TrialTable:
        """Trials of one management only. Raises InputError where there are none: grazed and ungrazed never mix."""
        mask = self.management == management
        if not mask.any():
            found = ", ".join(str(m) or "(unnamed)" for m in np.unique(self.management))
            raise InputError(f"no trial under management {management!r}", where="trial table", expected=found)
        return self.where(mask)

    def means(self) -> tuple[Floats, Floats, list[str], list[str]]:
        """Means (NaN where not grown) and plots, both (variety, environment), and the labels of both."""
        v_names, v = np.unique(self.variety, return_inverse=True)
        e_names, e = np.unique(self.environment, return_inverse=True)
        cell: Ints = (v * len(e_names) + e).astype(np.int64)
        size = len(v_names) * len(e_names)
        weight: Floats = np.bincount(cell, self.plots, minlength=size).astype(np.float64)
        total = np.bincount(cell, self.plots * self.yields, minlength=size)
        mean = np.full(size, np.nan)
        np.divide(total, weight, out=mean, where=weight > 0)
        shape = (len(v_names), len(e_names))
        return mean.reshape(shape), weight.reshape(shape), [str(x) for x in v_names], [str(x) for x in e_names]


def from_columns(columns: Mapping[str, Sequence[Any]]) -> TrialTable:
    """A table from named columns (variety, yield; site, year, environment, management, rep, block, n where known).

    Rows without a yield are left out.

    Raises
    ------
    InputError : fewer than two varieties or yields, columns of different lengths, or a count of plots that is none
    """
    for key in ("variety", "yield"):
        if key not in columns:
            raise InputError(f"no {key} column", where="trial table", expected="variety and yield")
    count = len(columns["variety"])
    if any(len(column) != count for column in columns.values()):
        raise InputError("columns differ in length", where="trial table")
    yields = np.array([np.nan if v is None else float(v) for v in columns["yield"]], np.float64)
    plots = np.array([1.0 if v is None or np.isnan(v) else float(v) for v in columns.get("n", [1.0] * count)])
    if "se" in columns and "n" not in columns:
        errors = np.array([np.nan if v is None else float(v) for v in columns["se"]], np.float64)
        plots = np.where(errors > 0, (np.nanmedian(errors) / errors) ** 2, 1.0)
    if (plots <= 0).any():
        raise InputError("a mean rests on no plots", where="trial table n", expected="1 or more")

    def labels(key: str) -> Labels:
        return np.array(["" if v is None else str(v) for v in columns.get(key, [""] * count)], dtype=np.str_)

    site = labels("site") if "site" in columns else labels("environment")
    keep = np.isfinite(yields)
    table = TrialTable(
        labels("variety"), site, labels("year"), labels("management"), labels("rep"), labels("block"), yields, plots
    ).where(keep)
    _refuse_slips(table)
    if len(table.varieties) < _FEWEST:
        raise InputError(f"{len(table.varieties)} variety with a yield", where="trial table", expected="two or more")
    return table


def _refuse_slips(table: TrialTable) -> None:
    """Refuse a variety so far from the middle of its own trial that a decimal point or a unit has slipped."""
    means, _, varieties, trials = table.means()
    for column, trial in zip(means.T, trials, strict=True):
        middle = float(median(column[np.isfinite(column)]))
        with np.errstate(invalid="ignore"):
            far = np.flatnonzero((column > _SLIP * middle) | (column * _SLIP < middle))
        if middle > 0 and far.size:
            raise InputError(
                f"{varieties[far[0]]} made {column[far[0]]:.3g} where the trial {trial.strip()} made {middle:.3g}",
                where="trial table yield",
                expected="yields of one unit; check the decimal point",
            )


def from_records(records: Iterable[Mapping[str, Any]]) -> TrialTable:
    """A table from rows with variety, yield, and site, year, management, plots where known."""
    rows = list(records)
    keys = {"variety": "variety", "yield": "yield", "site": "site", "year": "year", "management": "management"}
    columns: dict[str, list[Any]] = {to: [row.get(key) for row in rows] for key, to in keys.items()}
    columns["n"] = [row.get("plots") or 1.0 for row in rows]
    return from_columns(columns)


def simulate(
    rng: np.random.Generator,
    *,
    sites: int,
    years: int,
    varieties: int,
    reps: int,
    deviations: Mapping[str, float],
    blocks_per_rep: int = 1,
    missing: float = 0.0,
    mean: float = 50.0,
) -> TrialTable:
    """An invented multi-site trial with known variance components, for tests, benchmarks and the demo.

    `deviations` are standard deviations by effect: variety, site, year, site_year, variety_site, variety_year,
    variety_site_year, rep, block, error. Blocks are drawn at random within each replicate.
    """
    shape = (sites, years, reps, varieties)
    s, y, r, v = (a.ravel() for a in np.meshgrid(*(np.arange(k) for k in shape), indexing="ij"))
    order = np.argsort(rng.random((sites * years * reps, varieties)), axis=1).ravel()
    b = order * blocks_per_rep // varieties
    codes = {
        "variety": v, "site": s, "year": y, "site_year": s * years + y, "variety_site": v * sites + s,
        "variety_year": v * years + y, "variety_site_year": (v * sites + s) * years + y,
        "rep": (s * years + y) * reps + r, "block": ((s * years + y) * reps + r) * blocks_per_rep + b,
    }  # fmt: skip
    value = mean + deviations.get("error", 1.0) * rng.standard_normal(len(v))
    for name, code in codes.items():
        if deviations.get(name):
            value += deviations[name] * rng.standard_normal(int(code.max()) + 1)[code]
    keep = rng.random(len(v)) >= missing
    width = len(str(max(varieties, sites) - 1))
    named = {k: np.char.zfill(c.astype(str), width) for k, c in (("v", v), ("s", s), ("r", r), ("b", b))}
    table = TrialTable(
        np.char.add("V", named["v"]),
        np.char.add("S", named["s"]),
        (2000 + y).astype(str),
        np.full(len(v), ""),
        named["r"],
        named["b"] if blocks_per_rep > 1 else np.full(len(v), ""),
        value,
        np.ones(len(v)),
    )
    return table.where(keep)
