"""Prices received by farmers from the statistics service's Quick Stats, saved as JSON, CSV or XML; other statistics.

Both headings are read: those of the service (``statisticcat_desc``, ``unit_desc``, ``reference_period_desc``) and those
of a table downloaded by hand (``Data Item``, ``Period``, ``Geo Level``). Values are text: "12,500" has a comma, "(D)"
is withheld, "(NA)" not there, "(Z)" under half a unit. What is not a price received, the average of a season or a year,
and a census figure are set aside: none is the price of a day. A monthly price is an average and is dated at the end of
its month, a weekly one at that of its week; a state is its own market. A file without any price of a month or week (a
query of yields or acres) gives its figures as statistics, each with its own words and unit. United States government
works, in the public domain. Layout: `../shared/data/markets` (a query of yields) and public clients (read); (S) and (X)
from memory.
"""

from __future__ import annotations

import math
import re
from calendar import monthrange
from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import UTC, date, datetime, time
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

from sideoats.crops import market_word
from sideoats.errors import InputError
from sideoats.intake.laid import too_many_rejected
from sideoats.intake.quotes import Quote, day_of, market_drafts, place_id, price_text
from sideoats.intake.rows import json_value, read_text, whole_table
from sideoats.intake.taken import Draft, Format, Head, Taken
from sideoats.schema import Field
from sideoats.station import Rejected
from sideoats.words import Count, say

PRICE = "PRICE RECEIVED"
CODES = {
    "(D)": "withheld", "(NA)": "not available", "(Z)": "under half a unit", "(S)": "too few reports",
    "(X)": "not applicable",
}  # fmt: skip
_MONTHS = ("JAN", "FEB", "MAR", "APR", "MAY", "JUN", "JUL", "AUG", "SEP", "OCT", "NOV", "DEC")
_SPELLINGS = {
    "source": ("source_desc", "program"),
    "item": ("short_desc", "data_item"),
    "commodity": ("commodity_desc", "commodity"),
    "class": ("class_desc",),
    "category": ("statisticcat_desc",),
    "unit": ("unit_desc",),
    "where": ("location_desc", "state_name", "state", "geo_level"),
    "period": ("reference_period_desc", "period"),
    "week": ("week_ending",),
    "year": ("year",),
    "value": ("value",),
}
_CATTLE = {"COWS": "cull cow", "CALVES": "calf", "STEERS & HEIFERS": "steer and heifer"}  # as farmers' cattle are sold


def quick_stats(text: str, name: str = "statistics", *, market: str = "") -> Taken:
    """Monthly and weekly prices of a saved query as drafts of quotes.

    Parameters
    ----------
    text : JSON with ``data``, a JSON list, or CSV with a header row
    market : id of the market; the state's own name where left out

    Raises
    ------
    InputError : not such a file, an answer that is an error, or no price of a month or week in it
    """
    quotes: list[Quote] = []
    rejected: list[Rejected] = []
    for number, record in _records(text, name):
        row = {str(k).strip().lower().replace(" ", "_"): str(v or "").strip() for k, v in record.items()}
        cells = {key: next((row[s] for s in names if row.get(s)), "") for key, names in _SPELLINGS.items()}
        try:
            quotes.append(replace(_quote(cells, place_id(market)), line=number))
        except (InputError, ValueError) as error:
            rejected.append(Rejected(number, str(error)))
    if not quotes:
        figures = _statistics(text, name)
        if figures:
            return figures
        why = f"; {rejected[0]}" if rejected else ""
        raise InputError(f"holds no price of a month or week{why}", where=name, expected=f"rows of {PRICE}")
    too_many_rejected(rejected, name)
    notes = (f"{len(quotes)} prices received of {len({q.commodity for q in quotes})} commodities",)
    drafts = market_drafts(quotes, "a table of statistics") + [q.draft() for q in quotes]
    return Taken(tuple(drafts), tuple(rejected), notes)


def _records(text: str, name: str) -> Iterable[tuple[int, Mapping[str, Any]]]:
    lead = text.lstrip()[:1]
    if lead == "<":
        return _xml_records(text, name)
    if lead in ("[", "{"):
        data = json_value(text, name)
        rows = data.get("data") if isinstance(data, dict) else data
        if not isinstance(rows, list):
            raise InputError("holds no list of rows", where=name, expected="an object with 'data'")
        return [(at, row if isinstance(row, dict) else {}) for at, row in enumerate(rows, 1)]
    (_, header), *lines = whole_table(text, name)
    if "value" not in [cell.strip().lower() for cell in header]:
        raise InputError("has no column 'Value'", where=name, expected="a table of Quick Stats")
    return [(line, dict(zip(header, cells, strict=False))) for line, cells in lines]


def _xml_records(text: str, name: str) -> list[tuple[int, Mapping[str, Any]]]:
    """Rows of the XML answer: a ``hashref`` of ``item`` each. Its own entities are refused, as no answer has any."""
    if "<!ENTITY" in text:
        raise InputError("defines entities of its own", where=name, expected="the answer of the service")
    try:
        root = ElementTree.fromstring(text.lstrip())  # noqa: S314 - without entities nothing can grow
    except ElementTree.ParseError as error:
        raise InputError(f"is not XML ({error})", where=name) from None
    refused = [item.text or "" for item in root.iter("item") if item.get("key") == "error"] or [
        error.text or "" for error in root.iter("error")
    ]
    if refused:
        raise InputError(f"the service refused: {'; '.join(refused)[:200]}", where=name,
                         todo="ask it for fewer rows, or correct the query")  # fmt: skip
    rows: list[Mapping[str, Any]] = [
        {str(item.get("key")): item.text or "" for item in row.findall("item")} for row in root.iter("hashref")
    ]
    found = [(at, row) for at, row in enumerate((r for r in rows if "Value" in r), 1)]
    if not found:
        raise InputError(
            "is a page or XML without statistics", where=name, expected="a query saved as JSON, CSV or XML"
        )
    return found


def _statistics(text: str, name: str) -> Taken | None:
    """Every figure of a file that holds no price of a month or week; None where it holds none."""
    drafts: list[Draft] = []
    rejected: list[Rejected] = []
    for number, record in _records(text, name):
        row = {str(k).strip().lower().replace(" ", "_"): str(v or "").strip() for k, v in record.items()}
        cells = {key: next((row[s] for s in names if row.get(s)), "") for key, names in _SPELLINGS.items()}
        try:
            drafts.append(_figure(cells, number))
        except ValueError as error:
            rejected.append(Rejected(number, str(error)))
    too_many_rejected(rejected, name)
    if not drafts:
        return None
    areas = len({d.body["area"] for d in drafts})
    return Taken(tuple(drafts), tuple(rejected), (say("take.statistics", n=Count(len(drafts)), areas=Count(areas)),))


def _figure(cells: Mapping[str, str], number: int) -> Draft:
    value = cells["value"].upper()
    if value in CODES:
        raise ValueError(f"{cells['value']} means {CODES[value]}")
    figure = float(cells["value"].replace(",", ""))
    if not math.isfinite(figure):
        raise ValueError(f"{cells['value'][:40]!r} is not a number")
    if not cells["year"].isdigit() or not 1850 <= int(cells["year"]) <= 2200:
        raise ValueError(f"{cells['year'][:40]!r} is no year")
    period = cells["period"].upper()
    month = next((m for m, word in enumerate(_MONTHS, 1) if period.startswith(word) or f"- {word}" in period), 12)
    year = int(cells["year"])
    day = day_of(cells["week"]) if cells["week"] else date(year, month, monthrange(year, month)[1])
    body = {
        "item": cells["item"] or f"{cells['commodity']} {cells['category']}",
        "area": cells["where"] or "area",
        "period": f"{cells['year']} {cells['period']}".strip(),
        "figure": figure,
        "in_unit": cells["unit"] or "1",
        "source": f"statistics service, {cells['source'].lower()}" if cells["source"] else "statistics service",
    }
    return Draft("statistic", body, datetime.combine(day, time(12), tzinfo=UTC), line=number)


def _quote(cells: Mapping[str, str], market: str) -> Quote:
    item, value = cells["item"].upper(), cells["value"]
    if PRICE not in (cells["category"].upper() or item):
        raise ValueError(f"{(cells['category'] or item or 'a row')[:40].lower()} is no {PRICE.lower()}")
    if cells["source"].upper() == "CENSUS":
        raise ValueError("of a census, not of a month")
    if value.upper() in CODES:
        raise ValueError(f"{value} means {CODES[value.upper()]}")
    unit = cells["unit"] or item.rpartition("MEASURED IN ")[2]
    return Quote(
        _day(cells),
        _commodity(cells, item),
        price_text(value, unit),
        market or place_id(cells["where"]),
        source="NASS price received, " + ("week" if cells["week"] else "mean of the month"),
    )


def _day(cells: Mapping[str, str]) -> date:
    if cells["week"]:
        return day_of(cells["week"])
    period = cells["period"].upper()
    if period not in _MONTHS or not cells["year"].isdigit():
        raise ValueError(f"{period[:30].lower() or 'no period'} is no month or week")
    if len(cells["year"]) > 4:
        raise ValueError(f"{cells['year'][:30]} is no year")
    year, month = int(cells["year"]), _MONTHS.index(period) + 1
    return date(year, month, monthrange(year, month)[1])


def _commodity(cells: Mapping[str, str], item: str) -> str:
    """The name under which its quotes are kept: a crop's market word, a class of cattle, a kind of hay."""
    named = item.partition(" - ")[0] or cells["commodity"].upper()
    what, *rest = (part.strip() for part in named.split(","))
    kind = ", ".join(rest) or (cells["class"].upper() if what == "CATTLE" else "")
    if what == "CATTLE":
        return next(
            (word for key, word in _CATTLE.items() if kind.startswith(key)), f"cattle, {kind.lower()}".strip(", ")
        )
    if what == "HAY":
        return {"ALFALFA": "alfalfa", "(EXCL ALFALFA)": "grass hay"}.get(kind, "hay")
    plain = market_word("grain sorghum" if what == "SORGHUM" else what.lower())
    wheat_class = kind.lower() if what == "WHEAT" and kind and kind != "WINTER" else ""
    return f"{plain}, {wheat_class}" if wheat_class else plain


def _read(path: Path, options: dict[str, Any]) -> Taken:
    return quick_stats(read_text(path), path.name, market=options.get("market") or "")


def _is_quick_stats(head: Head) -> bool:
    told = head.text[:6000].lower()
    refused = head.json and bool(re.match(r'\s*\{\s*"error"\s*:', head.text))
    return refused or ("statisticcat_desc" in told and "value" in told) or {"dataitem", "value"} <= head.names


FORMATS = (
    Format(
        "quick-stats",
        "monthly and weekly prices received, else other figures of the statistics service: JSON, CSV or XML",
        _read,
        (Field("market", "text", "id of the market; the state's own name if left out"),),
        _is_quick_stats,
    ),
)
