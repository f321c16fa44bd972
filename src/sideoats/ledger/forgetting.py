"""Forgetting a client: the keys of a farm are destroyed, and the chain says that they were.

The entry of kind ``forgotten`` is stored first, the keys are destroyed after it. From that entry on every reader
withholds the farm whether keys are still there or not, and whoever next reads keys destroys them: killed in between,
the ledger has forgotten the farm all the same.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from sideoats.errors import InputError
from sideoats.ledger import queries
from sideoats.ledger.drafts import draft, settle
from sideoats.ledger.entry import Forgotten, NewEntry
from sideoats.ledger.seals import FORGOTTEN

if TYPE_CHECKING:
    from sideoats.ledger.book import Book


def forget(ledger: Book, farm: str, observer: str = "") -> Forgotten:
    """Destroy the keys of `farm` and withhold all its entries. Doing it again changes nothing.

    Raises InputError for a farm that is not on file, LedgerError where the ledger or its keys cannot be changed.
    """
    with ledger.writing() as connection:
        known = queries.latest(connection, [FORGOTTEN], None, [farm])
        if known:
            body = json.loads(known[0].body)
            done = Forgotten(farm, known[0].id, int(body["sealed"]), int(body["clear"]))
        else:
            sealed, clear = queries.stored_of(connection, farm)
            if not sealed + clear:
                raise InputError(f"no farm {farm!r} in the ledger", where="farm", expected="the id of a farm on file")
            if sealed:
                ledger.seals.require_store()
            body = {"sealed": float(sealed), "clear": float(clear)}
            new = draft(NewEntry(FORGOTTEN, body, farm=farm, observer=observer), ledger.kinds, forgetting=True)
            receipts, rows = settle(connection, [new], ledger.seals, queries.clock(connection))
            queries.insert(connection, rows)
            done = Forgotten(farm, receipts[0].id, sealed, clear)
        destroy = ledger.seals.finish(connection)
    destroy()
    return done


def finish(ledger: Book) -> int:
    """Destroy keys of forgotten farms that an interrupted forgetting, or a store put back, has left; how many."""
    with ledger.reading() as connection:
        destroy = ledger.seals.finish(connection)
    return destroy()
