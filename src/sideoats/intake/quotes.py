"""Dated price quotes from a plain CSV file.

The first row names the columns; letter case and order are free::

    date,commodity,price,unit,low,high,head,market,delivery,basis,source
    2026-09-14,cull cow,128.50,USD/cwt,,,42,marrow-flats-market,,,sale barn slip

Only a date and a price are needed; an unusual price that was checked says so in a column ``sure`` ("yes"). A column
that the file lacks can be given once for all rows (``commodity=``, ``unit=``, ``market=``). A price may carry its own
unit ("128.50 USD/cwt"). Rows that cannot be used are set aside with the reason; nothing is guessed.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from pathlib import Path
from typing import Any

from sideoats import units
from sideoats.errors import InputError, UnitError
from sideoats.intake.laid import too_many_rejected
from sideoats.intake.rows import calendar_day, read_text, table_rows
from sideoats.intake.taken import Draft, Format, Taken
from sideoats.schema import Field
from sideoats.station import Rejected

PRICE_UNITS = ("USD/cwt", "USD/bu", "USD/ton", "USD/lb", "USD/bale", "USD/head", "USD/ac")
COLUMNS = {
    "date": ("date", "day", "report_date", "week_ending"),
    "commodity": ("commodity", "item", "class"),
    "price": ("price", "value", "avg_price", "average", "close"),
    "unit": ("unit", "price_unit"),
    "low": ("low", "avg_price_min"),
    "high": ("high", "avg_price_max"),
    "head": ("head", "head_count"),
    "volume": ("volume",),
    "market": ("market", "market_location_name"),
    "delivery": ("delivery", "contract"),
    "basis": ("basis",),
    "source": ("source", "slug_name"),
    "sure": ("sure",),
}
_EMPTY = ("", "-", "- -", "na", "n/a", "nan", "none", "null", ".")


@dataclass(frozen=True)
class Quote:
    """One price of one day, ready for the evidence kind ``quote``; money as text with its unit."""

    on: date
    commodity: str
    price: str
    market: str
    low: str = ""
    high: str = ""
    volume: str = ""
    delivery: str = ""
    basis: str = ""
    source: str = ""
    sure: bool = False
    line: int = 0

    def draft(self) -> Draft:
        """As a ledger entry, seen at noon (UTC) of its day."""
        body = {
            name: getattr(self, name)
            for name in ("commodity", "price", "low", "high", "volume", "delivery", "basis", "source")
        }
        seen = datetime.combine(self.on, time(12, 0), tzinfo=UTC)
        told = {k: v for k, v in body.items() if v} | ({"sure": True} if self.sure else {})
        return Draft("quote", told, seen, place=self.market, line=self.line)


def price_text(text: str, unit: str = "") -> str:
    """A price with its unit in the ledger's spelling, such as ``"128.5 USD/cwt"``.

    Parameters
    ----------
    text : such as ``"128.50"``, ``"$1,285.00 / head"``, ``"128.50 USD/cwt"``
    unit : taken where the text has none; ``"Per Cwt"``, ``"Per Unit"`` (market news) and ``"$ / BU"`` are understood

    Raises
    ------
    UnitError : no unit, or one that is no price
    InputError : not a price above zero
    """
    value, given = units.split(text)
    wanted = (given or unit).strip()
    plain = " ".join(wanted.lower().replace("/", " / ").split()).replace(" / ", "/")
    spoken = {"per cwt": "USD/cwt", "per unit": "USD/head", "per head": "USD/head", "per family": "USD/head"}
    wanted = spoken.get(plain.removeprefix("$ "), plain.replace("$", "USD").replace("usd", "USD"))
    if wanted.startswith("/"):
        wanted = "USD" + wanted
    if not wanted:
        raise UnitError(f"{text!r} has no unit", expected="one of " + ", ".join(PRICE_UNITS))
    for known in sorted(PRICE_UNITS, key=lambda unit: unit != wanted):  # as it was quoted, where that is a unit of ours
        try:
            factor, _ = units.conversion(wanted, known)
        except UnitError:
            continue
        if value <= 0:
            raise InputError(f"{text!r} is not a price above zero")
        return f"{value * factor:.10g} {known}"
    raise UnitError(f"{wanted!r} is no unit of a price", expected="one of " + ", ".join(PRICE_UNITS))


def day_of(text: str) -> date:
    """A date written YYYY-MM-DD, YYYYMMDD or month/day/year. Raises ValueError with a sentence."""
    plain = text.strip().split("T")[0].split(" ")[0]
    parts = plain.split("/")
    if len(parts) == 3 and all(p.isdigit() for p in parts) and len(parts[2]) == 4:
        try:
            return calendar_day(date(int(parts[2]), int(parts[0]), int(parts[1])).isoformat())
        except (ValueError, OverflowError):
            raise ValueError(f"{text[:40]!r} is not a calendar date") from None
    return calendar_day(plain)


def is_empty(cell: str) -> bool:
    """True for a cell that means "no value"."""
    return cell.strip().lower() in _EMPTY


def market_drafts(quotes: Sequence[Quote], told_by: str) -> list[Draft]:
    """A place for each market of the quotes, dated so far back that any real description of it is newer.

    `told_by` names the format in the place's note: two formats that name one market are two entries, each with its own
    observer, and not one entry that the ledger must refuse.
    """
    long_ago = datetime(1970, 1, 1, tzinfo=UTC)
    return [
        Draft("place", {"name": m, "kind": "market", "note": f"named by {told_by}"}, long_ago, place=m)
        for m in sorted({q.market for q in quotes})
    ]


def read_quotes(path: str | Path, *, commodity: str = "", unit: str = "", market: str = "") -> Taken:
    """Quotes of a CSV file as drafts of ledger entries.

    Parameters
    ----------
    path : UTF-8 CSV with a header row, see the module
    commodity, unit, market : for rows that have none

    Raises
    ------
    InputError : the file cannot be read, or has no column for the date or the price
    """
    name = Path(path).name
    rows = list(table_rows(read_text(path), name))
    at = _columns(rows[0][1], name) if rows else {}
    for needed in ("date", "price"):
        if needed not in at:
            raise InputError(
                f"has no column {needed!r}", where=name, expected="a header row such as date,commodity,price"
            )
    quotes: list[Quote] = []
    rejected: list[Rejected] = []
    given = {"commodity": commodity, "unit": unit, "market": market}
    for line, cells in rows[1:]:
        row = {key: cells[i] if i < len(cells) and not is_empty(cells[i]) else "" for key, i in at.items()}
        try:
            quotes.append(_quote({k: row.get(k) or given.get(k, "") for k in COLUMNS}, line))
        except (InputError, ValueError) as error:
            rejected.append(Rejected(line, str(error)))
    too_many_rejected(rejected, name)
    if not quotes:
        raise InputError(
            f"holds no usable quote{f'; {rejected[0]}' if rejected else ''}", where=name, expected="dated prices"
        )
    notes = (f"{len(quotes)} quotes of {len({q.commodity for q in quotes})} commodities",)
    return Taken(tuple(market_drafts(quotes, "a file of quotes") + [q.draft() for q in quotes]), tuple(rejected), notes)


def _columns(header: Sequence[str], name: str) -> dict[str, int]:
    lowered = [cell.strip().lower().replace(" ", "_") for cell in header]
    found = {}
    for key, spellings in COLUMNS.items():
        for spelling in spellings:
            if lowered.count(spelling) > 1:
                raise InputError(f"has the column {spelling!r} twice", where=name)
            if spelling in lowered:
                found[key] = lowered.index(spelling)
                break
    return found


def _quote(row: Mapping[str, str], line: int) -> Quote:
    if not row["commodity"]:
        raise InputError("no commodity", todo="give commodity=... for the file")
    if not row["market"]:
        raise InputError("no market", todo="give market=... for the file")
    if not row["price"]:
        raise InputError("no price")
    unit = row["unit"]
    volume = f"{float(row['head'].replace(',', '')):g} head" if row["head"] else row["volume"]
    return Quote(
        on=day_of(row["date"]),
        commodity=" ".join(row["commodity"].lower().split()),
        price=price_text(row["price"], unit),
        market=place_id(row["market"]),
        low=price_text(row["low"], unit) if row["low"] else "",
        high=price_text(row["high"], unit) if row["high"] else "",
        volume=volume,
        delivery=row["delivery"],
        basis=_basis(row["basis"], unit),
        source=row["source"],
        sure=row["sure"].lower() in ("yes", "true", "1"),
        line=line,
    )


def _basis(text: str, unit: str) -> str:
    """A basis may be negative, so it is a price's size with its sign kept."""
    if not text:
        return ""
    sign = "-" if text.lstrip().startswith("-") else ""
    value, _ = units.split(text)
    return f"0 {unit}" if value == 0 and unit in PRICE_UNITS else sign + price_text(text.lstrip(" -+"), unit)


def place_id(name: str) -> str:
    """A market's name as an id of the ledger: lower case, words joined by hyphens."""
    words = "".join(c if c.isalnum() else " " for c in name.lower()).split()
    return "-".join(words)[:100]


def _read(path: Path, options: dict[str, Any]) -> Taken:
    return read_quotes(path, **{k: options.get(k) or "" for k in ("commodity", "unit", "market")})


FORMATS = (
    Format(
        "quotes-csv",
        "dated price quotes, one a row",
        _read,
        (
            Field("market", "text", "market of rows that name none"),
            Field("commodity", "text", "commodity of rows that name none"),
            Field("unit", "text", "unit of prices that have none, such as USD/cwt"),
        ),
    ),
)
