"""The ledger as everything else uses it: its entries, and checking, copying and forgetting them."""

from __future__ import annotations

import os
from pathlib import Path

from sideoats.ledger.book import Book
from sideoats.ledger.entry import CheckReport, Forgotten


def open_ledger(
    location: str | os.PathLike[str] | None = None, *, create: bool = True, keys: str | os.PathLike[str] | None = None
) -> Ledger:
    """Open a ledger, making it where there is none.

    Parameters
    ----------
    location : path of a SQLite file or a ``postgresql://`` URL; None takes ``SIDEOATS_LEDGER``, else the platform's
        data folder
    create : make the ledger where it does not exist
    keys : where the keys of sealed farms are; None takes ``SIDEOATS_KEYS``, else the ledger's file with ``.keys``

    Raises
    ------
    LedgerError : it cannot be reached, is another program's database, or was made by a newer Sideoats
    """
    return Ledger.open(location, create=create, keys=keys)


class Ledger(Book):
    """An open ledger; see `sideoats.ledger.book.Book` for its entries."""

    def check(self, anchor: tuple[int, str] | None = None) -> CheckReport:
        """Verify every entry, the chain and the database; `anchor` is a head noted earlier."""
        from sideoats.ledger.audit import check

        return check(self, anchor)

    def backup(self, path: str | os.PathLike[str], keys: str | os.PathLike[str] | None = None) -> Path:
        """A verified copy of the ledger, put in place in one step; with `keys`, a copy of its keys there.

        See `sideoats.ledger.copies.backup`.
        """
        from sideoats.ledger.copies import backup

        return backup(self, Path(path), Path(keys) if keys else None)

    def forget(self, farm: str, observer: str = "") -> Forgotten:
        """Destroy the keys of a farm and withhold its entries for ever. See `sideoats.ledger.forgetting.forget`."""
        from sideoats.ledger.forgetting import forget

        return forget(self, farm, observer)
