"""Market reports of the USDA's market news, pasted as text or saved as CSV or JSON, as quotes.

United States government works, in the public domain; cite the report's number and date. Text: `report_text`. CSV and
JSON: `report_records`; JSON is a list of rows, an object with ``results``, or a list of such objects, one a section.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from datetime import date, datetime
from pathlib import Path
from typing import Any

from sideoats.errors import InputError
from sideoats.intake.laid import too_many_rejected
from sideoats.intake.monthly import monthly_means
from sideoats.intake.quotes import market_drafts, place_id
from sideoats.intake.report_records import Records, read_records
from sideoats.intake.report_rows import quotes_of
from sideoats.intake.report_text import RECEIPTS, receipts, report_date, text_rows
from sideoats.intake.rows import json_value, read_text, whole_table
from sideoats.intake.taken import Format, Head, Taken
from sideoats.schema import Field
from sideoats.words import Count, say

THIN_HEAD = 10  # a class that rests on fewer head is named in the remarks


def read_market_news(
    path: str | Path, *, market: str = "", on: date | None = None, cow_class: str = "boner", monthly: bool = False
) -> Taken:
    """A saved report (text, CSV or JSON, told by its content) as drafts of quotes.

    Parameters
    ----------
    path : the file
    market : id of the market; needed for text, which names its market only in prose
    on : day of the report, where the text carries none
    cow_class : lean, boner or breaker: the class of slaughter cows kept as plain "cull cow"
    monthly : also the mean of each whole month that the file covers, see `sideoats.intake.monthly`

    Raises
    ------
    InputError : unreadable, no date, no market, or no usable row
    """
    return market_news(read_text(path), Path(path).name, market=market, on=on, cow_class=cow_class,
                       monthly=monthly)  # fmt: skip


def market_news(
    text: str,
    name: str = "report",
    *,
    market: str = "",
    on: date | None = None,
    cow_class: str = "boner",
    monthly: bool = False,
) -> Taken:
    """As `read_market_news`, from text that was pasted."""
    lead, first_line = text.lstrip()[:1], text.lstrip()[:2000].split("\n", 1)[0].lower().replace(" ", "_")
    if lead == "<":
        raise InputError("is a page or XML", where=name, expected="the report as text, CSV or JSON")
    if lead in ("[", "{"):
        found = read_records(_json_records(text, name), market=place_id(market))
    elif "avg_price" in first_line and "," in first_line:
        found = read_records(_csv_records(text, name), market=place_id(market))
    else:
        found = _pasted(text, name, market, on)
    rows = found.rows if on is None else [replace(row, on=on) for row in found.rows]
    grain = found.grain if on is None else [replace(quote, on=on) for quote in found.grain]
    too_many_rejected(found.rejected, name)
    cattle = quotes_of(rows, cow_class)
    quotes = cattle + grain
    means = monthly_means(quotes) if monthly else []
    if not quotes:
        first = f"; {found.rejected[0]}" if found.rejected else ""
        raise InputError(f"holds no usable row{first}", where=name, expected="a cattle or grain report of market news")
    notes: list[Any] = [f"{len(rows) + len(grain)} rows make {len(quotes)} quotes"]
    for line in filter(RECEIPTS.search, text.splitlines()):
        came = receipts(line)
        told = (f"{kind} {'not given' if math.isnan(head) else f'{head:,.0f}'}" for kind, head in came.items())
        notes.append("head received: " + ", ".join(told))
    if found.turned:
        notes.append(f"{found.turned} rows priced by the head, turned into USD/cwt by their average weight")
    thin = [q.commodity for q in cattle if float(q.volume.split()[0]) < THIN_HEAD]
    if thin:
        notes.append(f"fewer than {THIN_HEAD} head behind: {', '.join(thin)}; a thin row is not a price")
    quotes = quotes + means
    drafts = market_drafts(quotes, "a market news report") + [q.draft() for q in quotes]
    if monthly:
        notes.append(say("take.monthly", n=Count(len(means))))
    return Taken(tuple(drafts), tuple(found.rejected), tuple(notes))


def _pasted(text: str, name: str, market: str, on: date | None) -> Records:
    day = on or report_date(text)
    if day is None:
        raise InputError("the report has no date", where=name, todo="give on=YYYY-MM-DD")
    if not market:
        raise InputError("no market given", where=name, todo="give market=ID")
    rows, rejected = text_rows(text, on=day, market=place_id(market))
    return Records(rows, [], rejected, 0)


def _json_records(text: str, name: str) -> list[tuple[int, Mapping[str, Any]]]:
    data = json_value(text, name)
    if isinstance(data, dict):
        data = data.get("results")
    if not isinstance(data, list):
        raise InputError("holds no list of rows", where=name, expected="a list, or an object with 'results'")
    rows: list[Any] = []
    for part in data:  # all sections of a report saved at once: a list of objects, each with its own results
        inner = part.get("results") if isinstance(part, dict) else None
        if not isinstance(inner, list):
            rows.append(part)
        elif any(isinstance(row, dict) and _has_price(row) for row in inner):  # the head of a report has no prices
            rows += inner
    return [(i, row if isinstance(row, dict) else {}) for i, row in enumerate(rows, 1)]


def _has_price(row: Mapping[str, Any]) -> bool:
    return any(str(key).lower() in ("avg_price", "wtd_avg_price") for key in row)


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
        monthly=bool(options.get("monthly")),
    )


def _is_market_news(head: Head) -> bool:
    """A table or JSON of the service; a pasted report is named by who takes it."""
    told = head.text[:6000].lower()
    keyed = any(key in told for key in ("slug_id", "market_location", "report_begin_date"))
    if head.json:
        return keyed
    return bool({"avgprice", "wtdavgprice", "weightedavgprice"} & head.names) and bool(
        {"reportdate", "reportbegindate", "slugid", "marketlocationname", "publisheddate"} & head.names
    )


FORMATS = (
    Format(
        "market-news",
        "a USDA market news report of cattle or grain: text, CSV or JSON",
        _read,
        (
            Field("market", "text", "id of the market (needed for text)"),
            Field("on", "date", "day of the report, where its text has none"),
            Field("cow_class", "choice", "class kept as plain cull cow", choices=("lean", "boner", "breaker")),
            Field("monthly", "flag", "also the mean of each whole month, as a market of its own"),
        ),
        _is_market_news,
    ),
)
