"""Cattle reports of the market news pasted as text. Rows look like ::

    Feeder Steers Medium and Large 1 (Per Cwt)
    Head   Wt Range   Avg Wt    Price Range   Avg Price
      20    505-545      521   160.00-171.00     165.45
      13      560        560         158.00      158.00   Unweaned

or, in direct-trade reports, ``band  head  weight range  price range  average weight  average price``; either order is
read, since weights are whole numbers and prices have cents. " - -" and "NA" mean no value.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date

import numpy as np

from sideoats.errors import InputError
from sideoats.intake.quotes import day_of
from sideoats.intake.report_rows import GRADE, ReportRow, animal_of, by_weight, checked, grade_of, note_of
from sideoats.station import Rejected

_NUMBER = r"\d{1,3}(?:,\d{3})+(?:\.\d+)?|\d+(?:\.\d+)?"
_VALUE = re.compile(rf"(?<![\w.,-])({_NUMBER})(?:\s?-\s?({_NUMBER}))?(?![\w.,%/])")
_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_LONG_DATE = re.compile(rf"({'|'.join(_MONTHS)})[a-z]*\.?\s+(\d{{1,2}}),?\s+(\d{{4}})", re.IGNORECASE)
_PERCENT = re.compile(r"(?:over\s+)?\d+(?:\s*-\s*\d+)?\s*%", re.IGNORECASE)
RECEIPTS = re.compile(r"\bauctions?\b.*\bdirect\b", re.IGNORECASE)
_OTHER_DATE = re.compile(r"\b(\d{4}-\d{2}-\d{2}|\d{1,2}/\d{1,2}/\d{4})\b")


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
        values = list(_VALUE.finditer(GRADE.sub(" ", _PERCENT.sub(" ", line))))
        named = animal_of(line)
        if len(values) < 4 and re.search(r"\b(dressed|live)\b", line, re.IGNORECASE):
            dressed = "dressed" if re.search(r"\bdressed\b", line, re.IGNORECASE) else ""
        if named and len(values) < 4:
            animal, grade = named, grade_of(line)
            unit = "USD/head" if re.search(r"per (head|unit)", line, re.IGNORECASE) else "USD/cwt"
            continue
        if len(values) < 4 or RECEIPTS.search(line):
            continue
        if not animal:
            rejected.append(Rejected(number, "a row of figures before any class of cattle is named"))
            continue
        try:
            row = _figures(values, line)
        except ValueError as error:
            rejected.append(Rejected(number, str(error)))
            continue
        kind = animal.replace("feeder", "slaughter") if dressed else by_weight(animal, row["weight"])
        rows.append(
            ReportRow(
                on, market, kind, grade_of(line) or grade, note_of(line) or dressed, **row, unit=unit, source=source
            )
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
    low = plain(cents[0].group(1))
    high = plain(cents[0].group(2) or cents[0].group(1))
    price = plain(cents[1].group(1)) if len(cents) > 1 else (low + high) / 2
    average = next((m for m in reversed(weights) if not m.group(2)), None)
    ends = weights[0]
    weight = plain(average.group(1)) if average else (plain(ends.group(1)) + plain(ends.group(2))) / 2
    return checked(plain(head.group(1)), weight, price, low, high)


def plain(text: str) -> float:
    return float(text.replace(",", ""))
