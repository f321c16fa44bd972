"""The plain records that go into and come out of a ledger."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any


@dataclass(frozen=True)
class NewEntry:
    """Something seen, as handed to `Ledger.append`.

    Attributes
    ----------
    kind : an evidence kind (see `evidence_kinds`)
    body : field name -> value; text is read with its unit ("80 bu/ac"), a Python number is in the kind's own unit
    place : id of the place it was seen at; for kind ``place`` the id of the place described
    farm : id of the farm; may be left out at a place, whose farm it then takes
    seen_at : when it was seen, with its zone; None means now
    observer : who saw it
    id : UUID chosen by the sender, so that sending twice stores once; None mints a UUIDv7
    corrects : id of the entry that this one replaces; same kind, same place
    """

    kind: str
    body: Mapping[str, Any]
    place: str | None = None
    farm: str | None = None
    seen_at: datetime | None = None
    observer: str = ""
    id: str | None = None
    corrects: str | None = None


@dataclass(frozen=True, slots=True)
class Receipt:
    """What became of one new entry: `stored` is False where the same entry was already there."""

    id: str
    seq: int
    stored: bool
    hash: str


@dataclass(frozen=True, slots=True)
class Entry:
    """One entry as kept.

    Attributes
    ----------
    seq : position in the ledger from 1; the order of the ledger
    topic : what within its kind the entry is about (a quote's commodity, a call's question), else ""
    seen_at : the instant it was seen, in the zone it was given in
    seen_on : the calendar day of `seen_at` in that zone
    recorded_at : when the ledger took it (UTC); before the entry in front of it only where a clock was wrong
    clock_behind : seconds by which the machine's clock stood behind the entry in front when this one was taken
    body : field name -> JSON value in the kind's own units; dates are YYYY-MM-DD text, absent means not known
    withheld : the farm was forgotten, or the body is sealed with a key that is not here; `body` is then empty
    """

    id: str
    seq: int
    kind: str
    topic: str
    place: str | None
    farm: str | None
    seen_at: datetime
    seen_on: date
    recorded_at: datetime
    clock_behind: float
    observer: str
    corrects: str | None
    hash: str
    body: dict[str, Any] = field(hash=False)
    withheld: bool = False


@dataclass(frozen=True)
class Farm:
    """A client's farm as last described."""

    id: str
    name: str
    attributes: dict[str, Any] = field(default_factory=dict, hash=False)


@dataclass(frozen=True)
class Place:
    """A field, pasture, pen, hay lot, bin, herd, trap, station or market as last described.

    `attributes` holds JSON values in the units that the evidence kind ``place`` states; `farm` is "" where the place
    belongs to no farm (a market, a public station).
    """

    id: str
    farm: str
    name: str
    kind: str
    attributes: dict[str, Any] = field(default_factory=dict, hash=False)


@dataclass(frozen=True)
class Forgotten:
    """What forgetting a farm came to.

    Attributes
    ----------
    entry : id of the entry that says so in the chain
    sealed : entries whose key is destroyed: nobody can read them any more
    clear : entries stored before sealing began: no longer shown, but not unreadable to who holds the database or a copy
    """

    farm: str
    entry: str
    sealed: int
    clear: int


@dataclass(frozen=True)
class CheckReport:
    """Outcome of `Ledger.check`: `problems` name the damaged entries, `notes` tell what is odd but not wrong."""

    ok: bool
    problems: tuple[str, ...]
    entries: int
    head: tuple[int, str]
    notes: tuple[str, ...] = ()
