"""balance-sheet: supply, use, ending stocks and stocks-to-use, with the prices that went with such sheets before."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sideoats.call import WAIT
from sideoats.grain.balance import BalanceSheet, PriceRange, balance_sheet, price_range
from sideoats.question import Answers, Context, Question, Table
from sideoats.schema import Field

Floats = NDArray[np.float64]

ROW_UNITS = {"million-bushels": "million bu", "million-tonnes": "million t", "thousand-bales": "thousand bales"}
INPUTS = (
    Field("commodity", "text", "what the sheet is about", default="wheat"),
    Field("rows_in", "choice", "unit of the rows", choices=tuple(ROW_UNITS), default="million-bushels"),
    Field("beginning", "number", "beginning stocks, in the rows' unit", low=0, high=1e6, required=True, example="598"),
    Field("production", "number", "production", low=0, high=1e6, required=True, example="2310"),
    Field("imports", "number", "imports", low=0, high=1e6, default=0.0),
    Field("domestic", "number", "domestic use: food, seed, feed, industry", low=0, high=1e6, required=True,
          example="1270"),
    Field("exports", "number", "exports", low=0, high=1e6, required=True, example="950"),
    Field("past_ratios", "series", "past years' stocks-to-use as shares: a CSV file with date and share", low=1e-4,
          high=5),
    Field("past_prices", "series", "past years' season prices: a CSV file with date and price", unit="USD/bu", low=0.01,
          high=1000),
)  # fmt: skip
LEAST_YEARS = 8


def _joined(row: int, table: Table) -> tuple[list[int], Floats, Floats]:
    """Years that both histories hold, with the ratio and the price of each."""
    ratios, prices = table.rows("past_ratios")[row], table.rows("past_prices")[row]
    if ratios is None or prices is None:
        return [], np.zeros(0), np.zeros(0)
    by_year = {when.year: value for when, value in prices}
    years = sorted({when.year for when, _ in ratios} & set(by_year))
    ratio = {when.year: value for when, value in ratios}
    return years, np.array([ratio[y] for y in years]), np.array([by_year[y] for y in years])


def _nearest(ratio: float, years: list[int], ratios: Floats, prices: Floats, count: int = 3) -> str:
    near = np.argsort(np.abs(np.log(ratios / ratio)))[:count]
    return ", ".join(f"{years[k]} ({ratios[k]:.1%}, {prices[k]:.2f})" for k in near)


def _totals(sheet: BalanceSheet, unit: list[str]) -> dict[str, tuple[Floats, str]]:
    """Totals under their unit; where rows differ in it, each unit has names of its own."""
    found = {}
    kinds = sorted(set(unit))
    for kind in kinds:
        own = np.array([u == kind for u in unit], bool)
        suffix = "" if len(kinds) == 1 else "_" + kind.replace(" ", "_")
        for name in ("supply", "use", "ending_stocks"):
            found[name + suffix] = (np.where(own, getattr(sheet, name), np.nan), kind)
    return found


@dataclass(frozen=True)
class Sums:
    """The sheet, and by row its unit, the joined history (years, ratios, prices) and the range drawn from it."""

    sheet: BalanceSheet
    unit: list[str]
    histories: list[tuple[list[int], Floats, Floats]]
    ranges: list[PriceRange | None]

    def shown(self, attribute: str) -> Floats:
        """(place,) one figure of the ranges, NaN where there is none."""
        return np.array([np.nan if r is None else float(getattr(r, attribute)) for r in self.ranges])


def _sums(table: Table) -> Sums:
    sheet = balance_sheet(
        table.number("beginning"), table.number("production"), table.number("imports"), table.number("domestic"),
        table.number("exports"),
    )  # fmt: skip
    histories = [_joined(row, table) for row in range(len(table))]  # each row brings its own history
    ranges: list[PriceRange | None] = []
    for ratio, (years, ratios, prices) in zip(sheet.stocks_to_use.tolist(), histories, strict=True):
        found = price_range(ratio, ratios, prices) if len(years) >= LEAST_YEARS and ratio > 0 else None
        ranges.append(found if found is not None and np.isfinite(found.middle) else None)
    return Sums(sheet, [ROW_UNITS[name or "million-bushels"] for name in table.text("rows_in")], histories, ranges)


def _headline(commodity: str, sums: Sums, i: int) -> str:
    left = sums.sheet.ending_stocks[i]
    if left < 0:
        return f"The rows do not balance: use is {-left:,.0f} {sums.unit[i]} more than supply."
    part = sums.sheet.stocks_to_use[i]
    share = f", {part:.2%} of use" if np.isfinite(part) else ""
    text = f"{commodity}: ending stocks {left:,.0f} {sums.unit[i]}{share}."
    found = sums.ranges[i]
    if found is not None:
        text += f" Years like it had {found.low:.2f} to {found.high:.2f} USD/bu (a range, not a forecast)."
    return text


def _because(sums: Sums, i: int) -> list[str]:
    sheet, (years, ratios, prices), found = sums.sheet, sums.histories[i], sums.ranges[i]
    left = f"{sheet.ending_stocks[i]:,.0f} {sums.unit[i]}"
    lines = [f"Supply {sheet.supply[i]:,.0f} less use {sheet.use[i]:,.0f} leaves {left}."]
    if found is None:
        if 0 < len(years) < LEAST_YEARS:
            lines.append(f"{len(years)} years of history: fewer than {LEAST_YEARS}, so no range is drawn.")
        return lines
    lines.append(
        f"Line through {found.years} years, {years[0]} to {years[-1]}: price moves {found.slope:.2f} % for each "
        f"1 % of stocks-to-use; the years scatter {found.residual_sd:.0%} about it."
    )
    near = _nearest(float(sheet.stocks_to_use[i]), years, ratios, prices)
    lines.append(f"Nearest years (share, USD/bu): {near}.")
    if not found.inside:
        lines.append("This ratio lies outside every year on file: the range is an extension of the line.")
    return lines


def answer(table: Table, context: Context) -> Answers:
    """See `QUESTION`."""
    sums, commodity = _sums(table), table.text("commodity")
    shifted = context.facts["grain/stocks_lines_shift"].text
    return Answers(
        table, context, headline=lambda i: _headline(commodity[i], sums, i), because=lambda i: _because(sums, i),
        unit="USD/bu", verdict=np.full(len(table), WAIT, np.int8),
        quantities={
            **_totals(sums.sheet, sums.unit), "stocks_to_use": (sums.sheet.stocks_to_use, "1"),
            "past_price_low": (sums.shown("low"), "USD/bu"), "past_price_middle": (sums.shown("middle"), "USD/bu"),
            "past_price_high": (sums.shown("high"), "USD/bu"), "past_years": (sums.shown("years"), "year"),
        },
        cautions=(
            f"A range of past prices at such stocks, not a forecast and not investment advice. {shifted}",
            "Rounded published rows need not add up; the published ending stocks may differ by a unit or two.",
        ),
    )  # fmt: skip


QUESTION = Question(
    name="balance-sheet",
    room="grain",
    title="What do these supply and use rows mean for price?",
    about=(
        "Adds up a marketing year's rows to ending stocks and stocks-to-use, and sets beside them the range of prices "
        "that went with such a ratio in the history you give."
    ),
    inputs=INPUTS,
    answer=answer,
    limits="No price without your own history of eight years or more; no coefficient is shipped.",
)
