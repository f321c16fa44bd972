"""A balance sheet beside the years that had one like it: totals, the range of past prices, the nearest years."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sideoats.grain.balance import BalanceSheet, PriceRange, balance_sheet, price_range
from sideoats.question import Table

Floats = NDArray[np.float64]
ROW_UNITS = {"million-bushels": "million bu", "million-tonnes": "million t", "thousand-bales": "thousand bales"}
LEAST_YEARS = 8
NEAREST = 3  # years named beside the range
SLIP = 5.0  # times the middle price of the years given, or its fifth part: a decimal misplaced is tenfold


@dataclass(frozen=True)
class History:
    """Years that both histories of a row hold, with the stocks-to-use [1] and the price [USD/bu] of each."""

    years: list[int]
    ratios: Floats
    prices: Floats

    def slipped(self) -> tuple[int, float, float] | None:
        """The year whose price stands too far from the middle one, its price and that one; None where none does."""
        if not self.years:
            return None
        middle = float(np.median(self.prices))
        apart = np.abs(np.log(self.prices / middle))
        at = int(apart.argmax())
        return (self.years[at], float(self.prices[at]), middle) if apart[at] > np.log(SLIP) else None

    def nearest(self, ratio: float) -> list[tuple[int, float, float]]:
        """The years whose ratio was nearest, as (year, ratio, price)."""
        near = np.argsort(np.abs(np.log(self.ratios / ratio)))[:NEAREST]
        return [(self.years[k], float(self.ratios[k]), float(self.prices[k])) for k in near]


@dataclass(frozen=True)
class Sheets:
    """The sheets, and by row the unit, the history and the range drawn from it."""

    sheet: BalanceSheet
    unit: list[str]
    histories: list[History]
    ranges: list[PriceRange | None]

    def shown(self, attribute: str) -> Floats:
        """(place,) one figure of the ranges, NaN where there is none or where it lies beyond all years on file."""
        return np.array([np.nan if r is None or not r.inside else float(getattr(r, attribute)) for r in self.ranges])

    def totals(self) -> dict[str, tuple[Floats, str]]:
        """Totals under their unit; where rows differ in it, each unit has names of its own."""
        found = {}
        kinds = sorted(set(self.unit))
        for kind in kinds:
            own = np.array([u == kind for u in self.unit], bool)
            suffix = "" if len(kinds) == 1 else "_" + kind.replace(" ", "_")
            for name in ("supply", "use", "ending_stocks"):
                found[name + suffix] = (np.where(own, getattr(self.sheet, name), np.nan), kind)
        return found


def sheets_of(table: Table) -> Sheets:
    """Every row's sheet; a range of prices where its own history has `LEAST_YEARS` or more."""
    sheet = balance_sheet(
        table.number("beginning"),
        table.number("production"),
        table.number("imports"),
        table.number("domestic"),
        table.number("exports"),
    )
    histories = [_joined(row, table) for row in range(len(table))]  # each row brings its own history
    ranges: list[PriceRange | None] = []
    for ratio, past in zip(sheet.stocks_to_use.tolist(), histories, strict=True):
        enough = len(past.years) >= LEAST_YEARS and ratio > 0
        found = price_range(ratio, past.ratios, past.prices) if enough else None
        ranges.append(found if found is not None and np.isfinite(found.middle) else None)
    return Sheets(sheet, [ROW_UNITS[name or "million-bushels"] for name in table.text("rows_in")], histories, ranges)


def _joined(row: int, table: Table) -> History:
    ratios, prices = table.rows("past_ratios")[row], table.rows("past_prices")[row]
    if ratios is None or prices is None:
        return History([], np.zeros(0), np.zeros(0))
    by_year = {when.year: value for when, value in prices}
    years = sorted({when.year for when, _ in ratios} & set(by_year))
    ratio = {when.year: value for when, value in ratios}
    return History(years, np.array([ratio[y] for y in years]), np.array([by_year[y] for y in years]))
