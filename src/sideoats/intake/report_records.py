"""Market reports saved as CSV or JSON from the public market-news service: cattle by lot, grain by bid.

Columns are named differently from report to report (``avg_price``, ``wtd_Avg_Price``; ``avg_weight``, ``wtd_avg_wt``),
so each is looked for under all its spellings. Cattle priced by the head ("Per Unit") are told by that unit, never by
the size of the figure, and feeder cattle are turned into USD/cwt by their own average weight. Layout: rows of the
service as public clients and their tests show them (read); `../shared/data/markets` holds two of cattle.
"""

from __future__ import annotations

from calendar import month_abbr
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from sideoats.crops import market_word
from sideoats.errors import InputError
from sideoats.intake.quotes import Quote, day_of, is_empty, place_id, price_text
from sideoats.intake.report_rows import ReportRow, animal_of, by_weight, checked, grade_of, note_of
from sideoats.station import Rejected
from sideoats.units import parse

GRAINS = ("wheat", "grain sorghum", "corn", "soybean")
_SPELLINGS = {
    "price": ("avg_price", "wtd_avg_price", "weighted_avg_price"),
    "low": ("avg_price_min", "price_min", "price_range_low"),
    "high": ("avg_price_max", "price_max", "price_range_high"),
    "weight": ("avg_weight", "wtd_avg_wt", "wtd_avg_weight"),
    "weight_low": ("avg_weight_min", "weight_break_low", "weight_range_low"),
    "weight_high": ("avg_weight_max", "weight_break_high", "weight_range_high"),
    "day": ("report_date", "report_end_date", "report_begin_date", "published_date"),
}
_BY_THE_HEAD = "USD/head"


@dataclass(frozen=True)
class Records:
    """What the records of a file gave: cattle rows, quotes of grain, and the records that cannot be used.

    `turned` counts cattle rows priced by the head that were turned into USD/cwt.
    """

    rows: list[ReportRow]
    grain: list[Quote]
    rejected: list[Rejected]
    turned: int


def read_records(records: Iterable[tuple[int, Mapping[str, Any]]], *, market: str = "") -> Records:
    """Cattle and grain of a CSV or JSON report; each record comes with the line or place it stands at."""
    found = Records([], [], [], 0)
    cells = [(number, _cells(record)) for number, record in records]
    final = {_report(row) for _, row in cells if row.get("final_ind", "").lower() == "final"}
    turned = 0
    for number, row in cells:
        try:
            if row.get("final_ind", "").lower() == "preliminary" and _report(row) in final:
                raise ValueError("preliminary, and the final report is in the file")
            if market_word(row.get("commodity", "")) in GRAINS:
                found.grain.append(replace(_grain(row, market), line=number))
            else:
                cattle, by_head = _cattle(row, market)
                found.rows.append(cattle)
                turned += by_head
        except (InputError, ValueError) as error:
            found.rejected.append(Rejected(number, str(error)))
    return Records(found.rows, found.grain, found.rejected, turned)


def _cells(record: Mapping[str, Any]) -> dict[str, str]:
    return {str(k).strip().lower().replace(" ", "_"): "" if v is None else str(v).strip() for k, v in record.items()}


def _report(row: Mapping[str, str]) -> tuple[str, str, str]:
    return row.get("slug_id", ""), _text(row, "day"), row.get("market_location_city", "")


def _text(row: Mapping[str, str], name: str) -> str:
    """The first of the spellings that holds something."""
    return next((row[s] for s in _SPELLINGS[name] if not is_empty(row.get(s, ""))), "")


def _number(row: Mapping[str, str], name: str) -> float:
    text = _text(row, name) if name in _SPELLINGS else row.get(name, "")
    return float("nan") if is_empty(text) else float(text.replace(",", ""))


def _middle(row: Mapping[str, str], of: str, low: str, high: str) -> float:
    """The average stated, else the middle of the range, else its one end."""
    stated, ends = _number(row, of), [_number(row, low), _number(row, high)]
    known = [end for end in ends if not np.isnan(end)]
    return stated if not np.isnan(stated) else float(np.mean(known)) if known else float("nan")


def _place(row: Mapping[str, str], market: str) -> str:
    """Market as asked for, as named, or city and state."""
    where = market or place_id(
        row.get("market_location_name")
        or " ".join(row.get(f"market_location_{part}", "") for part in ("city", "state")).strip()
    )
    if not where:
        raise ValueError("no market_location_name")
    return where


def _source(row: Mapping[str, str]) -> str:
    return " ".join(x for x in (row.get("slug_id", ""), row.get("slug_name", "")) if x) or "USDA market news"


def _cattle(row: Mapping[str, str], market: str) -> tuple[ReportRow, bool]:
    """A row of cattle, and whether its price by the head was turned into USD/cwt."""
    animal = animal_of(f"{row.get('commodity', '')} {row.get('class', '')}") or animal_of(row.get("class", ""))
    if not animal:
        what = row.get("class") or row.get("commodity", "")
        raise ValueError(f"class {what[:40]!r} is not one of cattle")
    place = _place(row, market)
    price, weight = _middle(row, "price", "low", "high"), _middle(row, "weight", "weight_low", "weight_high")
    if animal.startswith("feeder") and np.isnan(weight):
        raise ValueError("feeder cattle without a weight")
    ends = [price if np.isnan(end) else end for end in (_number(row, "low"), _number(row, "high"))]
    unit = price_text("1", row.get("price_unit") or "Per Cwt").split(" ", 1)[1]
    by_head = unit == _BY_THE_HEAD and animal.startswith("feeder")
    if by_head:
        price, *ends = (100 * each / weight for each in (price, *ends))
    figures = checked(_number(row, "head_count"), weight, price, *ends)
    frame = f"{row.get('frame', '')} {row.get('muscle_grade', '')}"
    grade = grade_of(row.get("quality_grade_name", "")) or grade_of(frame)
    note = note_of(f"{row.get('lot_desc', '')} {row.get('quality_grade_name', '')}")
    return ReportRow(
        day_of(_text(row, "day")),
        place,
        by_weight(animal, weight),
        grade,
        note,
        **figures,
        unit="USD/cwt" if by_head else unit,
        source=_source(row),
    ), by_head


def _grain(row: Mapping[str, str], market: str) -> Quote:
    """A bid for grain. Bids for later months are quoted apart from the cash bid, and so are classes and proteins."""
    if row.get("sale_type", "bid").lower() not in ("", "bid"):
        raise ValueError(f"sale type {row['sale_type'][:20]!r} is no bid")
    price = _middle(row, "price", "low", "high")
    if np.isnan(price):
        raise ValueError("nothing is bid")
    unit, on = row.get("price_unit", ""), day_of(_text(row, "day"))
    position = " ".join(x for x in (row.get("trade_loc", ""), row.get("delivery_point", "")) if x)
    later = "" if is_empty(row.get("delivery_start", "")) else row["delivery_start"]
    grade = row.get("class", "").lower()
    words = [market_word(row["commodity"])]
    words += [grade] if words[0] == "wheat" and grade not in ("", "hard red winter", "winter") else []
    words += [f"{row['protein']} protein"] if row.get("protein", "").replace(".", "").isdigit() else []
    if later and (starts := day_of(later)) > on:
        words.append(f"for {month_abbr[starts.month]} {starts.year}")
    ends = (_number(row, "low"), _number(row, "high"))
    low, high = ("" if np.isnan(end) else price_text(f"{end:.10g}", unit) for end in ends)
    basis = _middle(row, "", "basis_min", "basis_max")
    return Quote(
        on,
        ", ".join(words),
        price_text(f"{price:.10g}", unit),
        market or place_id(position) or _place(row, market),
        low,
        high,
        delivery=row.get("basis_min_futures_month", ""),
        basis="" if np.isnan(basis) else _basis(basis, row.get("basis_unit", "")),
        source=_source(row),
    )


def _basis(value: float, unit: str) -> str:
    """A basis in USD/bu; quoted in cents where the report does not say."""
    plain = unit.lower().replace("$", "USD") or "cent/bu"
    return f"{parse(f'{value:.10g} {plain}', 'USD/bu'):.10g} USD/bu"
