"""The entries of a ledger: append, and read what is current on a day."""

from __future__ import annotations

import os
import threading
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import date, datetime
from types import TracebackType
from typing import Any, Self

from sqlalchemy.engine import Connection, Engine

from sideoats.errors import LedgerDamaged
from sideoats.ledger import engine as engines
from sideoats.ledger import plausible, queries
from sideoats.ledger.address import address_of
from sideoats.ledger.drafts import Draft, draft, settle
from sideoats.ledger.entry import Entry, Farm, NewEntry, Place, Receipt
from sideoats.ledger.evidence import EvidenceKind, evidence_kinds, kinds_ever
from sideoats.ledger.keys import keys_address
from sideoats.ledger.seals import Seals


class Book:
    """The entries of an open ledger; a context manager. Safe to share between threads.

    Attributes
    ----------
    address : its file or URL
    kinds : the evidence kinds that it accepts
    """

    def __init__(
        self, engine: Engine, address: str, kinds: Mapping[str, EvidenceKind] | None = None, keys: str | None = None
    ) -> None:
        self.engine = engine
        self.address = address
        self.kinds = evidence_kinds() if kinds is None else kinds
        self._lock = threading.Lock()  # one writer a process; others wait here and not in the database
        with self.reading() as connection:
            self.id = queries.ledger_id(connection)
        self.seals = Seals(self.id, keys or keys_address(address))

    @classmethod
    def open(
        cls,
        location: str | os.PathLike[str] | None = None,
        *,
        create: bool = True,
        keys: str | os.PathLike[str] | None = None,
    ) -> Self:
        """See `sideoats.ledger.open_ledger`."""
        address = address_of(location)
        return cls(engines.connect(address, create=create), address, keys=os.fspath(keys) if keys else None)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def __repr__(self) -> str:
        return f"{type(self).__name__}({engines.shown(self.address)!r})"

    def close(self) -> None:
        """Close every connection."""
        self.engine.dispose()

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """A read transaction, for this package."""
        with engines.reading(self.engine, self.address) as connection:
            yield connection

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """The write transaction, for this package."""
        with self._lock, engines.writing(self.engine, self.address) as connection:
            yield connection

    def append(self, new: Iterable[NewEntry]) -> list[Receipt]:
        """Store entries in the order given, all of them or none.

        An entry whose id is already there with the same content is not stored again (``stored=False``). When the
        call returns, the entries are on disk.

        Raises
        ------
        InputError : an entry cannot be used (unknown kind, place or field, wrong unit, not finite, impossible date)
        LedgerError : an id is there with other content, a correction points to nothing, or the database refused
        """
        items = list(new)
        drafts: list[Draft] = []
        for at, item in enumerate(items, 1):
            drafts.append(draft(item, self.kinds, f"entry {at}, " if len(items) > 1 else ""))
        if not drafts:
            return []
        self._require_steady(items)
        with self.writing() as connection:
            receipts, rows = settle(connection, drafts, self.seals, queries.clock(connection))
            queries.insert(connection, rows)
            if rows and queries.head(connection, self.id)[:2] != (rows[-1].seq, rows[-1].hash):
                raise LedgerDamaged(
                    "the database did not keep what was stored (a foreign trigger?); nothing was stored: run `check`"
                )
        return receipts

    def _require_steady(self, items: Sequence[NewEntry]) -> None:
        """Ask a quote back that is far off the one before; of a series, its reader has looked (`intake.entries`)."""
        new: dict[tuple[str, str], list[NewEntry]] = {}
        for item in items:
            if item.kind == "quote" and not item.corrects:
                new.setdefault((item.place or "", str(item.body.get("commodity", "")).lower()), []).append(item)
        alone = {topic: found[0] for topic, found in new.items() if len(found) == 1 and not found[0].body.get("sure")}
        if not alone:
            return
        for (place, topic), entry in self.latest_topics("quote", None).items():
            one = alone.get((place, topic.lower()))
            if one is not None and one.id != entry.id:
                day = one.seen_at.date() if one.seen_at else entry.seen_on
                plausible.require_steady(day, str(one.body["price"]), [(entry.seen_on, str(entry.body["price"]))])

    def farms(self, on: date | None = None) -> list[Farm]:
        """Every farm as last described on or before `on` (None: as described by now), by name."""
        with self.reading() as connection:
            found = self.seals.entries(connection, queries.latest(connection, ["farm"], on))
        farms = [_farm(entry) for entry in found]
        return sorted((f for f in farms if f is not None), key=lambda f: (f.name, f.id))

    def places(self, on: date | None = None, ids: Sequence[str] | None = None) -> list[Place]:
        """Every place as last described on or before `on` (None: as described by now), by farm and name.

        `ids` gives those places only.
        """
        with self.reading() as connection:
            found = self.seals.entries(connection, queries.latest(connection, ["place"], on, ids))
        places = [_place(entry) for entry in found]
        return sorted((p for p in places if p is not None), key=lambda p: (p.farm, p.name, p.id))

    def place_ids(self) -> list[str]:
        """Ids of all places ever described, sorted; far cheaper than `places` where there are very many."""
        with self.reading() as connection:
            return sorted(queries.subjects(connection, "place", None))

    def latest(
        self, kinds: Iterable[str], on: date | None, places: Sequence[str] | None = None
    ) -> dict[str, dict[str, Entry]]:
        """Kind to place to the newest entry that no correction has replaced, seen on or before `on`.

        `places` gives what is known of those only.
        Entries at no place stand under their farm's id, or "" where they have none. Where a kind keeps topics apart
        (quotes of several commodities), the newest of any topic is given: see `latest_topics`.
        """
        out: dict[str, dict[str, Entry]] = {kind: {} for kind in kinds}
        for kind, subject, _topic, entry in self._latest(list(out), on, places):
            before = out[kind].get(subject)
            if before is None or (before.seen_at, before.seq) < (entry.seen_at, entry.seq):
                out[kind][subject] = entry
        return out

    def latest_topics(self, kind: str, on: date | None) -> dict[tuple[str, str], Entry]:
        """As `latest` for one kind, by (place, topic): each commodity's quote, each question's call."""
        return {(subject, topic): entry for _kind, subject, topic, entry in self._latest([kind], on)}

    def _latest(
        self, kinds: Sequence[str], on: date | None, subjects: Sequence[str] | None = None
    ) -> Iterator[tuple[str, str, str, Entry]]:
        with self.reading() as connection:
            ever = [name for kind in kinds for name in kinds_ever(kind)]
            found = self.seals.entries(connection, queries.latest(connection, ever, on, subjects))
        for entry in found:
            if not entry.withheld:
                yield entry.kind, entry.place or entry.farm or "", entry.topic, entry

    def history(
        self,
        place: str | None = None,
        farm: str | None = None,
        kind: str | None = None,
        since: date | None = None,
        until: date | None = None,
        corrected: bool = False,
        withheld: bool = False,
    ) -> Iterator[Entry]:
        """Entries in the order in which they were seen, both days included.

        `corrected` also gives the entries that a correction has replaced, `withheld` those that cannot be read (their
        body is empty). No transaction stays open between entries, so a slow reader does not hold up the ledger.
        """
        after: tuple[datetime, int] | None = None
        while True:
            with self.reading() as connection:
                found = queries.history(connection, place, farm, kind, since, until, corrected, after)
                read = self.seals.entries(connection, found)
            yield from (entry for entry in read if withheld or not entry.withheld)
            if len(found) < queries.PAGE:
                return
            after = (found[-1].seen_at, found[-1].seq)

    def histories(
        self, kind: str, places: Sequence[str], since: date | None = None, until: date | None = None
    ) -> dict[str, list[Entry]]:
        """Place to its entries of one kind as `history` gives them, for many places at once; all are held in memory."""
        out: dict[str, list[Entry]] = {}
        with self.reading() as connection:
            read = self.seals.entries(connection, queries.histories(connection, kind, places, since, until))
        for entry in read:
            if not entry.withheld:
                out.setdefault(entry.place or entry.farm or "", []).append(entry)
        return out

    def added(self, after: int) -> Iterator[Entry]:
        """Entries behind seq `after`, in the order of the ledger, withheld too: what came since a head was noted."""
        while True:
            with self.reading() as connection:
                found = self.seals.entries(connection, queries.page(connection, after, queries.PAGE))
            yield from found
            if len(found) < queries.PAGE:
                return
            after = found[-1].seq

    def get(self, entry_id: str) -> Entry | None:
        """The entry with that id, withheld or not; None where there is none."""
        with self.reading() as connection:
            found = self.seals.entries(connection, list(queries.by_ids(connection, [entry_id]).values()))
        return found[0] if found else None

    def head(self) -> tuple[int, str]:
        """Number of entries and the hash of the last: print it somewhere else, and `check` can be held against it."""
        with self.reading() as connection:
            seq, last, _recorded = queries.head(connection, self.id)
        return seq, last


def _farm(entry: Entry) -> Farm | None:
    if entry.withheld:
        return None
    attributes = {key: value for key, value in entry.body.items() if key != "name"}
    return Farm(entry.farm or "", entry.body["name"], attributes)


def _place(entry: Entry) -> Place | None:
    if entry.withheld:
        return None
    attributes: dict[str, Any] = {key: value for key, value in entry.body.items() if key not in ("name", "kind")}
    return Place(entry.place or "", entry.farm or "", entry.body["name"], entry.body["kind"], attributes)
