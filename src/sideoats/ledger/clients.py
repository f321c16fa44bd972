"""A client's own records, to hand over: everything that stands under one farm, as JSON Lines."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sideoats.errors import InputError, LedgerError
from sideoats.ledger import canon, queries
from sideoats.ledger.entry import Entry
from sideoats.ledger.seals import FORGOTTEN

if TYPE_CHECKING:
    from sideoats.ledger.book import Book


def records(ledger: Book, farm: str) -> Iterator[dict[str, Any]]:
    """Every entry of a farm, corrected ones too, with the units of its fields; the farm and its places among them.

    Raises InputError for a farm that is not on file, LedgerError for one that was forgotten or whose key is not here:
    part of a client's records is never given out as if it were all.
    """
    with ledger.reading() as connection:
        known = farm in queries.subjects(connection, "farm", None)
        forgotten = queries.latest(connection, [FORGOTTEN], None, [farm])
    if forgotten:
        day = forgotten[0].recorded_at.date()
        raise LedgerError(f"farm {farm} was forgotten on {day}: its entries can no longer be read or handed over")
    if not known:
        raise InputError(f"no farm {farm!r} in the ledger", where="farm", expected="the id of a farm on file")
    for entry in ledger.history(farm=farm, corrected=True, withheld=True):
        if entry.withheld:
            raise LedgerError(
                f"farm {farm} is sealed and its key is not in {ledger.seals.shown()}; nothing was written"
            )
        yield _record(ledger, entry)


def stored(ledger: Book, farm: str) -> tuple[int, int]:
    """How many entries stand under a farm: sealed, and in the clear. Raises InputError where there is none."""
    with ledger.reading() as connection:
        sealed, clear = queries.stored_of(connection, farm)
    if not sealed + clear:
        raise InputError(f"no farm {farm!r} in the ledger", where="farm", expected="the id of a farm on file")
    return sealed, clear


def _record(ledger: Book, entry: Entry) -> dict[str, Any]:
    kind = ledger.kinds.get(entry.kind)
    units = {
        name: kind.fields[name].unit
        for name in entry.body
        if kind and name in kind.fields and kind.fields[name].unit not in ("", "1")
    }
    return {
        "id": entry.id,
        "seq": entry.seq,
        "kind": entry.kind,
        "title": kind.title if kind else "",
        "place": entry.place,
        "farm": entry.farm,
        "seen_at": entry.seen_at.isoformat(),
        "recorded_at": canon.instant_text(entry.recorded_at),
        "observer": entry.observer,
        "corrects": entry.corrects,
        "body": entry.body,
        "units": units,
        "hash": entry.hash,
    }


def export_client(ledger: Book, farm: str, path: Path) -> int:
    """Write `records` to a new file; the number of entries. Raises LedgerError where the file exists already."""
    found = list(records(ledger, farm))
    try:
        with path.open("x", encoding="utf-8", newline="\n") as handle:
            for record in found:
                handle.write(json.dumps(record, ensure_ascii=False) + "\n")
    except FileExistsError:
        raise LedgerError(f"{path} exists and is not overwritten; give another name") from None
    except OSError as error:
        raise LedgerError(f"{path} cannot be written ({error.strerror})") from None
    return len(found)
