"""Cattle reports of the USDA's market news, pasted as text or saved as CSV or JSON.

United States government works, in the public domain; cite the report's number and date. Text rows look like ::

    Feeder Steers Medium and Large 1 (Per Cwt)
    Head   Wt Range   Avg Wt    Price Range   Avg Price
      20    505-545      521   160.00-171.00     165.45
      13      560        560         158.00      158.00   Unweaned

or, in direct-trade reports, ``band  head  weight range  price range  average weight  average price``; either order is
read, since weights are whole numbers and prices have cents. " - -" and "NA" mean no value. CSV and JSON use the fields
of the public service (from memory): report_date, slug_id, slug_name, market_location_name, class, frame, muscle_grade,
quality_grade_name, lot_desc, head_count, avg_weight_min, avg_weight_max, avg_weight, avg_price_min, avg_price_max,
avg_price, price_unit. JSON is a list of rows, an object with ``results``, or a list of such objects, one a section
(from memory).

Rows of one class and one weight step of 50 lb become one quote, weighted by head and weight. Rows that carry a note
(fleshy, thin, unweaned, replacement, value added) are never averaged with the plain ones.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from sideoats.errors import InputError
from sideoats.intake.quotes import Quote, day_of, is_empty, market_drafts, place_id, price_text
from sideoats.intake.rows import read_text, too_many_rejected, whole_table
from sideoats.intake.taken import Format, Taken
from sideoats.schema import Field
from sideoats.station import Rejected

WEIGHT_STEP = 50
SLAUGHTER_WEIGHT = 1050  # lb
THIN_HEAD = 10  # a class that rests on fewer head is named in the remarks
NOTES = (
    "dressed",
    "unweaned",
    "fleshy",
    "thin fleshed",
    "thin",
    "replacement",
    "value added",
    "full",
    "gaunt",
    "calves",
)
_CLASSES = {
    "feeder steer": "feeder steer", "feeder heifer": "feeder heifer", "feeder bull": "feeder bull",
    "slaughter cow": "cull cow", "slaughter bull": "cull bull", "bred heifer": "bred heifer", "bred cow": "bred cow",
    "slaughter steer": "slaughter steer", "slaughter heifer": "slaughter heifer", "stock cow": "bred cow",
    "steer": "feeder steer", "heifer": "feeder heifer", "cow": "cull cow", "bull": "cull bull",
}  # fmt: skip
_COW_CLASSES = ("lean", "boner", "breaker", "cutter", "canner")
_NUMBER = r"\d{1,3}(?:,\d{3})+(?:\.\d+)?|\d+(?:\.\d+)?"
_VALUE = re.compile(rf"(?<![\w.,-])({_NUMBER})(?:\s?-\s?({_NUMBER}))?(?![\w.,%/])")
_GRADE = re.compile(r"(small|medium|large)(?:\s+and\s+(large))?\s+#?([1-4](?:\s*-\s*[2-4])?)", re.IGNORECASE)
_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_LONG_DATE = re.compile(rf"({'|'.join(_MONTHS)})[a-z]*\.?\s+(\d{{1,2}}),?\s+(\d{{4}})", re.IGNORECASE)
_PERCENT = re.compile(r"(?:over\s+)?\d+(?:\s*-\s*\d+)?\s*%", re.IGNORECASE)
_RECEIPTS = re.compile(r"\bauctions?\b.*\bdirect\b", re.IGNORECASE)
_OTHER_DATE = re.compile(r"\b(\d{4}-\d{2}-\d{2}|\d{1,2}/\d{1,2}/\d{4})\b")


@dataclass(frozen=True)
class ReportRow:
    """One row of a report; weights in lb, prices in `unit`, NaN where not printed."""

    on: date
    market: str
    animal: str
    grade: str
    note: str
    head: float
    weight: float
    price: float
    low: float
    high: float
    unit: str
    source: str = ""

    def commodity(self, cow_class: str) -> str:
        """The name under which its quote is kept."""
        if self.animal == "cull cow":
            plain = not self.grade or self.grade == cow_class
            words = ["cull cow" if plain else f"cull cow, {self.grade}"]
        elif self.animal.startswith("feeder"):
            words = [f"{self.animal} {WEIGHT_STEP * math.floor(self.weight / WEIGHT_STEP + 0.5):d} lb"]
            words += [self.grade] if self.grade not in ("", "medium and large 1", "medium and large 1-2") else []
        else:
            words = [self.animal]
        return ", ".join([*words, self.note] if self.note else words)


def combined(head: ArrayLike, weight: ArrayLike, price: ArrayLike) -> tuple[float, float, float, float]:
    """Total head, total pounds, average weight and average price of several rows.

    The price is weighted by head x average weight, as the public feeder index is; the weight by head.

    Parameters
    ----------
    head, weight, price : (n,) head, lb, USD/cwt
    """
    h, w, p = (np.asarray(x, dtype=np.float64) for x in (head, weight, price))
    total, pounds = float(h.sum()), float((h * w).sum())
    return total, pounds, pounds / total, float((h * w * p).sum() / pounds)


def receipts(text: str) -> dict[str, float]:
    """Head received by kind of sale from a receipts line, with their sum under ``total``.

    Parameters
    ----------
    text : such as ``"Auctions 134,500 Direct 73,000 Video/Internet NA"``; NA is missing and counts as 0 in the total

    Raises
    ------
    InputError : no kind of sale is named, or a printed total is not the sum
    """
    found: dict[str, float] = {}
    for kind, spelled in (("auction", "auction"), ("direct", "direct"), ("video", "video"), ("total", "total")):
        match = re.search(rf"{spelled}[a-z/]*(?:\s+receipts)?[\s:.]*({_NUMBER}|NA\b|N/A)", text, re.IGNORECASE)
        if match:
            printed = match.group(1)
            found[kind] = float("nan") if printed.upper().startswith("N") else float(printed.replace(",", ""))
    kinds = [v for k, v in found.items() if k != "total"]
    if not kinds:
        raise InputError("no receipts in the text", expected="Auctions 201,200 Direct 46,700 Video/Internet 39,800")
    total = float(np.nansum(kinds))
    if found.get("total", total) != total:
        raise InputError(
            f"receipts add to {total:,.0f}, the report prints {found['total']:,.0f}", todo="check the report"
        )
    return {**found, "total": total}


# --- pasted text ------------------------------------------------------------------------------------------------------


def report_date(text: str) -> date | None:
    """The first date in a report's head, or None."""
    head = text[:4000]
    long = _LONG_DATE.search(head)
    other = _OTHER_DATE.search(head)
    if long and (not other or long.start() < other.start()):
        month = 1 + _MONTHS.index(long.group(1).lower())
        try:
            return date(int(long.group(3)), month, int(long.group(2)))
        except ValueError:
            return None
    try:
        return day_of(other.group(1)) if other else None
    except ValueError:
        return None


def text_rows(text: str, *, on: date, market: str, source: str = "") -> tuple[list[ReportRow], list[Rejected]]:
    """Rows of a pasted report; lines that look like a row and cannot be used are given with the reason."""
    rows: list[ReportRow] = []
    rejected: list[Rejected] = []
    animal, grade, unit, dressed = "", "", "USD/cwt", ""
    for number, line in enumerate(text.splitlines(), 1):
        values = list(_VALUE.finditer(_GRADE.sub(" ", _PERCENT.sub(" ", line))))
        named = _animal(line)
        if len(values) < 4 and re.search(r"\b(dressed|live)\b", line, re.IGNORECASE):
            dressed = "dressed" if re.search(r"\bdressed\b", line, re.IGNORECASE) else ""
        if named and len(values) < 4:
            animal, grade = named, _grade(line)
            unit = "USD/head" if re.search(r"per (head|unit)", line, re.IGNORECASE) else "USD/cwt"
            continue
        if len(values) < 4 or _RECEIPTS.search(line):
            continue
        if not animal:
            rejected.append(Rejected(number, "a row of figures before any class of cattle is named"))
            continue
        try:
            row = _figures(values, line)
        except ValueError as error:
            rejected.append(Rejected(number, str(error)))
            continue
        kind = animal.replace("feeder", "slaughter") if dressed else _by_weight(animal, row["weight"])
        rows.append(
            ReportRow(on, market, kind, _grade(line) or grade, _note(line) or dressed, **row, unit=unit, source=source)
        )
    return rows, rejected


def _figures(values: Sequence[re.Match[str]], line: str) -> dict[str, float]:
    """head, weight, price, low and high of a row: whole numbers are head and weights, numbers with cents are prices."""
    whole = [m for m in values if "." not in m.group(0)]
    cents = [m for m in values if "." in m.group(0)]
    if len(whole) < 2 or not cents:
        raise ValueError("not a row of head, weight and price")
    head, weights = whole[0], whole[1:3]
    if head.group(2):
        raise ValueError(f"head {head.group(0)!r} is a range")
    low = _plain(cents[0].group(1))
    high = _plain(cents[0].group(2) or cents[0].group(1))
    price = _plain(cents[1].group(1)) if len(cents) > 1 else (low + high) / 2
    average = next((m for m in reversed(weights) if not m.group(2)), None)
    ends = weights[0]
    weight = _plain(average.group(1)) if average else (_plain(ends.group(1)) + _plain(ends.group(2))) / 2
    return _checked(_plain(head.group(1)), weight, price, low, high)


_MOST = 1e9  # beyond any head, price or weight: sums of what a report prints must stay finite


def _checked(head: float, weight: float, price: float, low: float, high: float) -> dict[str, float]:
    if not 0 < head <= _MOST:
        raise ValueError(f"{head:g} head")
    if not 0 < price <= _MOST:
        raise ValueError(f"price {price:g}")
    if weight <= 0 or weight > _MOST:  # not known is no weight at all
        raise ValueError(f"weight {weight:g}")
    if not low - 0.005 <= price <= high + 0.005:
        raise ValueError(f"average price {price:g} is outside its range {low:g} to {high:g}")
    return {"head": head, "weight": weight, "price": price, "low": low, "high": high}


def _plain(text: str) -> float:
    return float(text.replace(",", ""))


def _animal(text: str) -> str:
    lowered = " ".join(text.lower().split())
    for word, animal in _CLASSES.items():
        if re.search(rf"\b{word}s?\b", lowered):
            return animal
    return ""


def _by_weight(animal: str, weight: float) -> str:
    """Direct reports say only "steers": at these weights they go to slaughter."""
    return animal.replace("feeder", "slaughter") if weight >= SLAUGHTER_WEIGHT else animal


def _grade(text: str) -> str:
    lowered = text.lower()
    for cow in _COW_CLASSES:
        if re.search(rf"\b{cow}s?\b", lowered):
            return cow
    match = _GRADE.search(text)
    if not match:
        return ""
    frame = match.group(1).lower() + (" and large" if match.group(2) else "")
    return f"{frame} {match.group(3).replace(' ', '')}"


def _note(text: str) -> str:
    lowered = text.lower()
    return next((note for note in NOTES if re.search(rf"\b{note}\b", lowered)), "")


# --- CSV and JSON -----------------------------------------------------------------------------------------------------


def record_rows(
    records: Iterable[tuple[int, Mapping[str, Any]]], *, market: str = ""
) -> tuple[list[ReportRow], list[Rejected]]:
    """Rows of a CSV or JSON report; each record with the line or place it stands at."""
    rows: list[ReportRow] = []
    rejected: list[Rejected] = []
    for number, record in records:
        cells = {
            str(k).strip().lower().replace(" ", "_"): "" if v is None else str(v).strip() for k, v in record.items()
        }
        try:
            rows.append(_record(cells, market))
        except (InputError, ValueError) as error:
            rejected.append(Rejected(number, str(error)))
    return rows, rejected


def _cell(cells: Mapping[str, str], name: str) -> float:
    text = cells.get(name, "")
    return float("nan") if is_empty(text) else float(text.replace(",", ""))


def _record(cells: Mapping[str, str], market: str) -> ReportRow:
    animal = _animal(f"{cells.get('commodity', '')} {cells.get('class', '')}") or _animal(cells.get("class", ""))
    if not animal:
        raise ValueError(f"class {cells.get('class', '')[:40]!r} is not one of cattle")
    place = market or place_id(cells.get("market_location_name", ""))
    if not place:
        raise ValueError("no market_location_name")
    low, high = _cell(cells, "avg_price_min"), _cell(cells, "avg_price_max")
    price = _cell(cells, "avg_price")
    if np.isnan(price):
        price = (low + high) / 2
    weight = _cell(cells, "avg_weight")
    if np.isnan(weight):
        weight = (_cell(cells, "avg_weight_min") + _cell(cells, "avg_weight_max")) / 2
    figures = _checked(
        _cell(cells, "head_count"), weight, price, price if np.isnan(low) else low, price if np.isnan(high) else high
    )
    if animal.startswith("feeder") and np.isnan(weight):
        raise ValueError("feeder cattle without a weight")
    unit = price_text("1", cells.get("price_unit") or "Per Cwt").split(" ", 1)[1]
    frame = f"{cells.get('frame', '')} {cells.get('muscle_grade', '')}"
    grade = _grade(cells.get("quality_grade_name", "")) or _grade(frame)
    note = _note(f"{cells.get('lot_desc', '')} {cells.get('quality_grade_name', '')}")
    source = " ".join(x for x in (cells.get("slug_id", ""), cells.get("slug_name", "")) if x)
    return ReportRow(
        day_of(cells.get("report_date", "")), place, _by_weight(animal, weight), grade, note, **figures, unit=unit,
        source=source,
    )  # fmt: skip


# --- the whole report -------------------------------------------------------------------------------------------------


def quotes_of(rows: Sequence[ReportRow], cow_class: str = "boner") -> list[Quote]:
    """One quote a day, market and commodity, in order of first appearance."""
    groups: dict[tuple[date, str, str, str], list[ReportRow]] = {}
    for row in rows:
        groups.setdefault((row.on, row.market, row.commodity(cow_class), row.unit), []).append(row)
    out = []
    for (on, market, commodity, unit), members in groups.items():
        weights = [m.weight if np.isfinite(m.weight) else 1.0 for m in members]
        head, _, _, price = combined([m.head for m in members], weights, [m.price for m in members])
        low, high = min(m.low for m in members), max(m.high for m in members)
        out.append(
            Quote(on, commodity, f"{price:.2f} {unit}", market, f"{low:.2f} {unit}", f"{high:.2f} {unit}",
                  f"{head:g} head", source=members[0].source or "USDA market news")
        )  # fmt: skip
    return out


def read_market_news(path: str | Path, *, market: str = "", on: date | None = None, cow_class: str = "boner") -> Taken:
    """A saved report (text, CSV or JSON, told by its content) as drafts of quotes.

    Parameters
    ----------
    path : the file
    market : id of the market; needed for text, which names its market only in prose
    on : day of the report, where the text carries none
    cow_class : lean, boner or breaker: the class of slaughter cows kept as plain "cull cow"

    Raises
    ------
    InputError : unreadable, no date, no market, or no usable row
    """
    return market_news(read_text(path), Path(path).name, market=market, on=on, cow_class=cow_class)


def market_news(
    text: str, name: str = "report", *, market: str = "", on: date | None = None, cow_class: str = "boner"
) -> Taken:
    """As `read_market_news`, from text that was pasted."""
    lead, first_line = text.lstrip()[:1], text.lstrip()[:2000].split("\n", 1)[0].lower().replace(" ", "_")
    if lead in ("[", "{"):
        rows, rejected = record_rows(_json_records(text, name), market=place_id(market))
    elif "avg_price" in first_line and "," in first_line:
        rows, rejected = record_rows(_csv_records(text, name), market=place_id(market))
    else:
        day = on or report_date(text)
        if day is None:
            raise InputError("the report has no date", where=name, todo="give on=YYYY-MM-DD")
        if not market:
            raise InputError("no market given", where=name, todo="give market=ID")
        rows, rejected = text_rows(text, on=day, market=place_id(market))
    if on is not None:
        rows = [replace(row, on=on) for row in rows]
    too_many_rejected(rejected, name)
    quotes = quotes_of(rows, cow_class)
    if not quotes:
        first = f"; {rejected[0]}" if rejected else ""
        raise InputError(f"holds no usable row{first}", where=name, expected="a cattle report of the market news")
    thin = [q.commodity for q in quotes if float(q.volume.split()[0]) < THIN_HEAD]
    notes = [f"{len(rows)} rows make {len(quotes)} quotes"]
    for line in filter(_RECEIPTS.search, text.splitlines()):
        came = receipts(line)
        told = (f"{kind} {'not given' if math.isnan(head) else f'{head:,.0f}'}" for kind, head in came.items())
        notes.append("head received: " + ", ".join(told))
    if thin:
        notes.append(f"fewer than {THIN_HEAD} head behind: {', '.join(thin)}; a thin row is not a price")
    drafts = market_drafts(quotes, "a market news report") + [q.draft() for q in quotes]
    return Taken(tuple(drafts), tuple(rejected), tuple(notes))


def _json_records(text: str, name: str) -> list[tuple[int, Mapping[str, Any]]]:
    try:
        data = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise InputError(f"is not JSON ({error})", where=name) from None
    if isinstance(data, dict):
        data = data.get("results")
    if not isinstance(data, list):
        raise InputError("holds no list of rows", where=name, expected="a list, or an object with 'results'")
    rows: list[Any] = []
    for part in data:  # all sections of a report saved at once: a list of objects, each with its own results
        inner = part.get("results") if isinstance(part, dict) else None
        if not isinstance(inner, list):
            rows.append(part)
        elif any(isinstance(row, dict) and "avg_price" in row for row in inner):  # the head of a report has no prices
            rows += inner
    return [(i, row if isinstance(row, dict) else {}) for i, row in enumerate(rows, 1)]


def _csv_records(text: str, name: str) -> list[tuple[int, Mapping[str, Any]]]:
    rows = whole_table(text, name)
    header = rows[0][1]
    return [(line, dict(zip(header, cells, strict=False))) for line, cells in rows[1:]]


def _read(path: Path, options: dict[str, Any]) -> Taken:
    on = options.get("on")
    return read_market_news(
        path,
        market=options.get("market") or "",
        on=on.date() if isinstance(on, datetime) else on,
        cow_class=options.get("cow_class") or "boner",
    )


FORMATS = (
    Format(
        "market-news",
        "a USDA market news cattle report: text, CSV or JSON",
        _read,
        (
            Field("market", "text", "id of the market (needed for text)"),
            Field("on", "date", "day of the report, where its text has none"),
            Field("cow_class", "choice", "class kept as plain cull cow", choices=("lean", "boner", "breaker")),
        ),
    ),
)
