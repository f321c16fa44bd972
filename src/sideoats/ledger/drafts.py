"""From a new entry to a chained row: everything that can be refused is refused here, before anything is written."""

from __future__ import annotations

import difflib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from typing import Any

from sqlalchemy.engine import Connection

from sideoats.errors import InputError, LedgerError, SideoatsError
from sideoats.ledger import canon, plausible, queries
from sideoats.ledger.canon import Row
from sideoats.ledger.entry import NewEntry, Receipt
from sideoats.ledger.evidence import EvidenceKind, kind_now
from sideoats.ledger.seals import FORGOTTEN, Seals
from sideoats.schema import refuse_contradictions

_FIRST_YEAR, _LAST_YEAR = 1850, 2200
_WITHDRAWAL = "withdrawal"
_NEIGHBOURS = 50
_SEALING = "sealing"
_NAMED = ("station", "market")  # attributes of a place that name another place of that kind


@dataclass(frozen=True, slots=True)
class Draft:
    """A new entry whose own content has been checked; what it points to has not been looked up yet."""

    where: str
    id: str
    kind: EvidenceKind
    topic: str
    place: str
    farm: str
    seen_at: datetime | None
    seen_zone: str
    seen_on: date | None
    observer: str
    corrects: str | None
    body: str
    place_kind: str
    on: bool
    names: Mapping[str, str] = field(default_factory=dict)  # attribute -> id of the station or market that it names
    position: plausible.Position | None = None  # of a described place, where it is to be compared with the others


def draft(new: NewEntry, kinds: Mapping[str, EvidenceKind], where: str = "", *, forgetting: bool = False) -> Draft:
    """`new` with its body in canonical units and its id settled. Raises InputError; `where` leads its line.

    That a farm is forgotten is not recorded like other things, but by `forgetting` alone.
    """
    try:
        if new.kind == FORGOTTEN and not forgetting:
            raise InputError("is not recorded", where=FORGOTTEN, todo="use `sideoats forget-client FARM`")
        return _draft(new, kinds, where)
    except InputError as error:
        if not where:
            raise
        raise type(error)(error.what, where=f"{where}{error.where}", expected=error.expected, todo=error.todo) from None


def _draft(new: NewEntry, kinds: Mapping[str, EvidenceKind], where: str) -> Draft:
    kind = kinds.get(kind_now(new.kind)) if isinstance(new.kind, str) else None
    if kind is None:
        near = difflib.get_close_matches(str(new.kind), kinds, 1)
        raise InputError(
            f"{str(new.kind)[:60]!r} is not a kind of evidence",
            where="kind",
            expected=f"did you mean {near[0]}?" if near else "one of " + ", ".join(sorted(kinds)),
        )
    place = canon.name(new.place, "place") if new.place else ""
    farm = canon.name(new.farm, "farm") if new.farm else ""
    if kind.name == "farm" and (place or not farm):
        raise InputError("describes a farm", where="farm", expected="farm=ID and no place")
    if kind.name == "place" and not place:
        raise InputError("describes a place", where="place", expected="place=ID, and farm=ID where it has one")
    if kind.places and not place:
        raise InputError("has no place", where=kind.name, expected="the id of a " + " or ".join(kind.places))
    if kind.name == _WITHDRAWAL and not new.corrects:
        raise InputError("withdraws nothing", where=kind.name, expected="corrects=ID of the entry to withdraw")
    body = kind.read(new.body)
    plausible.require_likely_prices(kind.name, body)
    if kind.name == _SEALING and (place or (farm and not body["on"])):
        raise InputError(
            "is not about one place" if place else f"the entries of {farm} go on being sealed once they are",
            where=kind.name,
            expected="on=yes with farm=ID, or on=yes or on=no without farm, for farms yet to come",
        )
    seen_zone, seen_on = "", None
    if new.seen_at is not None:
        if not isinstance(new.seen_at, datetime):
            raise InputError(f"{new.seen_at!r} is not a time", where="seen_at", expected="a time with its zone")
        seen_zone, seen_on = canon.zone_text(new.seen_at), new.seen_at.date()
        if not _FIRST_YEAR <= seen_on.year <= _LAST_YEAR:
            raise InputError(
                f"{seen_on} is out of the calendar used here",
                where="seen_at",
                expected=f"a year {_FIRST_YEAR} to {_LAST_YEAR}",
            )
        refuse_contradictions(tuple(kind.fields.values()), body, seen_on, kind.name)
    observer = " ".join(str(new.observer or "").split())
    if len(observer) > 200 or not observer.isprintable():
        raise InputError("is too long or has unprintable characters", where="observer", expected="a name")
    return Draft(
        where,
        canon.mint() if new.id is None else canon.entry_id(new.id),
        kind,
        kind.topic_of(body),
        place,
        farm,
        new.seen_at.astimezone(UTC) if new.seen_at else None,
        seen_zone,
        seen_on,
        observer,
        canon.entry_id(new.corrects) if new.corrects else None,
        canon.body_text(body),
        str(body.get("kind", "")),
        body.get("on") is True,
        {key: str(body[key]) for key in _NAMED if body.get(key)} if kind.name == "place" else {},
        None if body.get("sure") or kind.name != "place" else plausible.position(body),
    )


@dataclass(slots=True)
class _Surroundings:
    """What the drafts of one batch point to, kept up while the batch is chained."""

    connection: Connection
    entries: dict[str, Row]
    corrected: dict[str, str]
    seals: Seals
    places: dict[str, tuple[str, str | None]] = field(default_factory=dict)  # id -> (farm, kind; None if withheld)
    farms: set[str] = field(default_factory=set)
    gone: set[str] = field(default_factory=set)  # farms that were forgotten
    sealed: dict[str, str] = field(default_factory=dict)  # farm -> the seal that its entries get
    seal_new: bool = False  # whether farms not on file yet are sealed
    positions: dict[str, plausible.Position] | None = None  # of some places on file, once they are asked for
    stood: dict[str, plausible.Position | None] = field(default_factory=dict)  # where the described places stood so far


def settle(
    connection: Connection, drafts: Sequence[Draft], seals: Seals, now: datetime
) -> tuple[list[Receipt], list[Row]]:
    """Receipts for all drafts, and the rows that are new, sealed where they are to be, chained behind the head.

    The caller holds the write lock. Raises InputError or LedgerError, and then nothing has been written but perhaps a
    key that nothing is sealed with.
    """
    try:
        receipts, rows = _settle(connection, drafts, seals, now)
        seals.keep()  # on disk before anything that is sealed with it
        return receipts, rows
    finally:
        seals.discard()


def _settle(
    connection: Connection, drafts: Sequence[Draft], seals: Seals, now: datetime
) -> tuple[list[Receipt], list[Row]]:
    seq, last_hash, last_recorded = queries.head(connection, seals.ledger_id)
    around = _look_up(connection, drafts, seals)
    recorded = now  # the true time, although a clock that was wrong may have dated an entry in front of it later
    behind = max(round(((last_recorded or now) - now).total_seconds() * 1e6), 0)
    here = recorded.astimezone()  # an entry without a time was seen now, on the calendar of this machine
    here_zone = canon.zone_text(here)
    receipts, rows = [], []
    described = {d.place: d.place_kind for d in drafts if d.kind.name == "place"}  # a batch may name what comes later
    for item in drafts:
        known = around.entries.get(item.id)
        if known is not None:
            _same_or_refuse(item, known, around)
            receipts.append(Receipt(known.id, known.seq, False, known.hash))
            continue
        farm = _farm_of(item, around)
        _names_known(item, around, described)
        if item.position:
            _require_near(item, item.position, around)
        if item.corrects:
            _may_correct(item, around)
        seal = _seal_of(item, farm, around)
        body = seals.seal(seal, item.id, item.body) if seal else item.body
        seq += 1
        row = Row(
            seq,
            item.id,
            item.kind.name,
            item.topic,
            item.place,
            farm,
            item.seen_at or recorded,
            item.seen_zone or here_zone,
            item.seen_on or here.date(),
            recorded,
            behind,
            item.observer,
            item.corrects,
            seal,
            body,
            "",
        )
        last_hash = canon.chained(last_hash, row)
        row = row._replace(hash=last_hash)
        rows.append(row)
        receipts.append(Receipt(row.id, row.seq, True, row.hash))
        around.entries[row.id] = row
        if item.corrects:
            around.corrected[item.corrects] = row.id
        if row.kind == "place":
            around.places[row.place] = (row.farm, item.place_kind)
        elif row.kind == "farm":
            around.farms.add(row.farm)
        elif row.kind == _SEALING and not row.farm:
            around.seal_new = item.on
    return receipts, rows


def _require_near(item: Draft, at: plausible.Position, around: _Surroundings) -> None:
    """Refuse a place far from all others; a few of those on file are enough to tell."""
    if around.positions is None:
        ids = queries.subjects(around.connection, "place", _NEIGHBOURS)
        found = around.seals.entries(around.connection, queries.latest(around.connection, ["place"], None, ids))
        known = {e.place or "": None if e.withheld else plausible.position(e.body) for e in found}
        around.positions = {place: there for place, there in known.items() if there}
    if around.stood.get(item.place) == at:
        return
    others = [there for place, there in around.positions.items() if place != item.place]
    plausible.require_near(item.place_kind, at, others)
    if len(around.positions) < _NEIGHBOURS:
        around.positions[item.place] = at


def _look_up(connection: Connection, drafts: Sequence[Draft], seals: Seals) -> _Surroundings:
    targets = dict.fromkeys(d.corrects for d in drafts if d.corrects)
    places = dict.fromkeys(name for d in drafts for name in (d.place, *d.names.values()) if name)
    farms = dict.fromkeys(d.farm for d in drafts if d.farm)
    around = _Surroundings(
        connection,
        queries.by_ids(connection, dict.fromkeys([d.id for d in drafts] + list(targets))),
        queries.corrections_of(connection, targets),
        seals,
    )
    for entry in seals.entries(connection, queries.latest(connection, ["place"], None, list(places))):
        around.places[entry.place or ""] = (entry.farm or "", None if entry.withheld else str(entry.body["kind"]))
        around.stood[entry.place or ""] = None if entry.withheld else plausible.position(entry.body)
    around.farms = {row.farm for row in queries.latest(connection, ["farm"], None, list(farms))}
    if farms.keys() - around.farms:
        switch = seals.entries(connection, queries.latest(connection, [_SEALING], None, [""]))
        around.seal_new = any(entry.body["on"] for entry in switch)
    farms.update((farm, None) for farm, _ in around.places.values() if farm)
    around.gone = set(queries.forgotten(connection, FORGOTTEN))
    around.sealed = {farm: seal for seal, farm in queries.seals_of(connection, farms).items()}
    return around


def _seal_of(item: Draft, farm: str, around: _Surroundings) -> str:
    """The seal that the body of a new entry gets, "" for none."""
    if item.kind.name == _SEALING:
        store = around.seals.require_store()
        if item.on:
            store.make()
    if not farm or item.kind.name == FORGOTTEN:
        return ""
    begins = item.kind.name == "farm" and around.seal_new and farm not in around.farms and farm not in around.sealed
    if begins or item.kind.name == _SEALING:  # sealing again is a new key for what comes
        around.sealed[farm] = around.seals.mint()
    return around.sealed.get(farm, "")


def _same_or_refuse(item: Draft, known: Row, around: _Surroundings) -> None:
    """A resent entry must say the same; what the sender left out was filled in here and is not compared.

    Nor is a body that is withheld: a phone that sends again what was stored before its farm was forgotten is told
    that it was.
    """
    text = around.seals.texts(around.connection, [known])[0]
    told: list[tuple[str, Any, Any]] = [
        ("kind", item.kind.name, kind_now(known.kind)),
        ("place", item.place, known.place),
        ("farm", item.farm or known.farm, known.farm),
        ("seen_at", item.seen_at or known.seen_at, known.seen_at),
        ("observer", item.observer, known.observer),
        ("corrects", item.corrects, known.corrects),
        ("body", item.body, item.body if text is None else text),
    ]
    other = [name for name, new, old in told if new != old]
    if other:
        raise LedgerError(
            f"{item.where}id {item.id} is already entry {known.seq} with another {' and '.join(other)}; "
            "a correction needs an id of its own and corrects=" + known.id
        )


def _farm_of(item: Draft, around: _Surroundings) -> str:
    """The farm the entry belongs to; checks that its place and farm are known and fit its kind."""
    if item.farm in around.gone:
        raise _gone(item, item.farm)
    if item.kind.name in ("farm", _SEALING):
        return item.farm
    if item.farm and item.farm not in around.farms:
        raise _unknown(item, "farm", item.farm, around)
    if not item.place or item.kind.name == "place":
        return item.farm
    if item.place not in around.places:
        raise _unknown(item, "place", item.place, around)
    farm, place_kind = around.places[item.place]
    if farm in around.gone:
        raise _gone(item, farm)
    if place_kind is None:
        raise LedgerError(
            f"{item.where}{item.place} is sealed and its key is not in {around.seals.shown()}; nothing was stored"
        )
    if item.kind.places and place_kind not in item.kind.places:
        raise InputError(
            f"{item.place} is a {place_kind}",
            where=f"{item.where}{item.kind.name}",
            expected="a " + " or ".join(item.kind.places),
        )
    if item.farm and item.farm != farm:
        raise InputError(f"{item.place} belongs to farm {farm or 'none'}, not {item.farm}", where=f"{item.where}farm")
    return farm


def _names_known(item: Draft, around: _Surroundings, described: Mapping[str, str]) -> None:
    """Refuse a place that names a station or a market which is not on file: none of its weather or prices would be."""
    for what, given in item.names.items():
        kind = described.get(given) or around.places.get(given, ("", ""))[1]
        if kind == what:
            continue
        if kind:
            raise InputError(f"{given} is a {kind}", where=f"{item.where}place {what}", expected=f"the id of a {what}")
        if kind == "":
            every = [
                e.place or ""
                for e in around.seals.entries(around.connection, queries.latest(around.connection, ["place"], None))
                if e.body.get("kind") == what
            ]
            near = difflib.get_close_matches(given, every, 1)
            raise InputError(
                f"no {what} {given!r} in the ledger",
                where=f"{item.where}place {what}",
                expected=f"did you mean {near[0]}?" if near else f"one of {', '.join(sorted(every)[:6]) or 'none yet'}",
                todo=f"record the {what} first (place=ID kind={what}), or leave it out",
            )


def _gone(item: Draft, farm: str) -> SideoatsError:
    return InputError(
        f"farm {farm} was forgotten at the client's wish",
        where=f"{item.where}farm",
        todo="a client who comes back gets a new id",
    )


def _unknown(item: Draft, what: str, given: str, around: _Surroundings) -> SideoatsError:
    near = difflib.get_close_matches(given, queries.subjects(around.connection, what), 1)
    return InputError(
        f"no {what} {given!r} in the ledger",
        where=f"{item.where}{what}",
        expected=f"did you mean {near[0]}?" if near else f"the id of a {what} on file",
        todo=f"record the {what} first",
    )


def _may_correct(item: Draft, around: _Surroundings) -> None:
    target = str(item.corrects)
    old = around.entries.get(target)
    if old is None:
        raise LedgerError(f"{item.where}corrects {target}, which is not in the ledger; give the id of an entry on file")
    if target in around.corrected:
        raise LedgerError(
            f"{item.where}entry {old.seq} ({target}) was already corrected; correct {around.corrected[target]}"
        )
    if old.kind == FORGOTTEN:
        raise LedgerError(f"{item.where}entry {old.seq} says that a farm was forgotten; that cannot be taken back")
    if item.kind.name != _WITHDRAWAL and kind_now(old.kind) != item.kind.name:
        raise LedgerError(f"{item.where}a {item.kind.name} cannot correct entry {old.seq}, a {old.kind}")
    if (item.place or item.farm) != (old.place or old.farm) and not (item.place and item.place == old.place):
        raise LedgerError(
            f"{item.where}place {item.place or item.farm or 'none'} cannot correct entry {old.seq} at "
            f"{old.place or old.farm or 'no place'}; withdraw it there and record it anew"
        )
