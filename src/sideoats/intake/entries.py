"""What a file gave as entries of the ledger, the same for every door that a file comes by.

A quote that the ledger would refuse, or that stands far off its neighbors, is set aside with its line: it neither keeps
the rest of the file out nor hides the good quotes before it. With them goes a record of the file itself.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from sideoats.crops import market_word
from sideoats.errors import InputError
from sideoats.intake.taken import Draft, Taken
from sideoats.ledger import NewEntry, evidence_kinds
from sideoats.ledger.drafts import draft
from sideoats.ledger.plausible import require_steady
from sideoats.station import Rejected

if TYPE_CHECKING:
    from sideoats.ledger import Ledger, Receipt

Topic = tuple[str, str]  # market, commodity
Quoted = Mapping[Topic, Sequence[tuple[date, str]]]
FILE = "file_taken"
# Kinds of which one bad entry does not keep the rest of a file out.
CHECKED = ("quote", "forecast", "forecast_hours", "weather_alert")


@dataclass(frozen=True)
class Entries:
    """Entries to append in one transaction, and every row of the file that was set aside."""

    entries: tuple[NewEntry, ...]
    rejected: tuple[Rejected, ...]

    @property
    def kept(self) -> int:
        """How many entries come from the rows of the file."""
        return sum(entry.kind != FILE for entry in self.entries)

    def stored(self, receipts: Sequence[Receipt]) -> int:
        """How many of them the ledger had not before."""
        return sum(r.stored for entry, r in zip(self.entries, receipts, strict=True) if entry.kind != FILE)


def quotes_on_file(ledger: Ledger) -> Quoted:
    """The newest quote of every commodity and market."""
    found = ledger.latest_topics("quote", None).items()
    return {(place, market_word(topic)): [(e.seen_on, str(e.body["price"]))] for (place, topic), e in found}


def entries_of(taken: Taken, format_name: str, on_file: Quoted) -> Entries:
    """Entries of a file that was read; see the module.

    Parameters
    ----------
    on_file : what is quoted already, from `quotes_on_file`
    """
    rejected = list(taken.rejected)
    good = []
    for item in taken.drafts:
        try:
            if item.kind in CHECKED:
                draft(_entry(item, format_name), evidence_kinds())
            good.append(item)
        except InputError as error:
            rejected.append(Rejected(item.line, str(error)))
    quoted = _quoted(good, on_file)
    kept = []
    for item in good:
        try:
            if item.kind == "quote" and not item.body.get("sure"):
                day, price = item.seen_at.date(), str(item.body["price"])
                others = [pair for pair in quoted[_topic(item)] if pair[0] != day]
                require_steady(day, price, others)
            kept.append(_entry(item, format_name))
        except InputError as error:
            rejected.append(Rejected(item.line, str(error)))
    if taken.whole and rejected:
        kept = []
    markets = {entry.place for entry in kept if entry.kind == "quote"}
    unused = {item.place for item in taken.drafts if item.kind == "quote"} - markets
    kept = [entry for entry in kept if entry.kind != "place" or entry.place not in unused]
    return Entries((*kept, *_file(taken, format_name, len(kept), len(rejected))), tuple(rejected))


def _entry(item: Draft, format_name: str) -> NewEntry:
    return NewEntry(
        item.kind, item.body, place=item.place, farm=item.farm, seen_at=item.seen_at, observer=format_name, id=item.id
    )


def _topic(item: Draft) -> Topic:
    return item.place or "", market_word(str(item.body["commodity"]))


def _quoted(drafts: Sequence[Draft], on_file: Quoted) -> Quoted:
    """What is on file and what the file brings, by market and commodity."""
    found: dict[Topic, list[tuple[date, str]]] = defaultdict(list)
    for topic, pairs in on_file.items():
        found[topic].extend(pairs)
    for item in drafts:
        if item.kind == "quote":
            found[_topic(item)].append((item.seen_at.date(), str(item.body["price"])))
    return found


def _file(taken: Taken, format_name: str, kept: int, aside: int) -> list[NewEntry]:
    """The record of the file, dated by the newest of its entries; none where it gave none or was not read from disk."""
    if not kept or not taken.sha256:
        return []
    body = {"name": taken.name, "read_as": format_name, "sha256": taken.sha256, "entries": kept, "set_aside": aside}
    when = max(item.seen_at for item in taken.drafts)
    return [_entry(Draft(FILE, body, when), format_name)]
