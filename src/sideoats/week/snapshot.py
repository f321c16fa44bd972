"""What the ledger knew on a day, read once for all questions: places, newest evidence, quotes, settings, weather."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

import numpy as np

from sideoats import units
from sideoats.errors import InputError, LedgerError
from sideoats.ledger.evidence import evidence_kinds
from sideoats.station import Flag, StationDays

if TYPE_CHECKING:
    from sideoats.ledger import Entry, Ledger, Place

MARKET_ANYWHERE = ""


@dataclass(frozen=True)
class Snapshot:
    """The ledger on one day.

    Attributes
    ----------
    places : every place not closed, as last described
    evidence : kind -> place id -> newest entry
    quotes : (market id, commodity in lower case) -> newest entry
    quote_series : commodity in lower case -> ((day, price text), ...), oldest first, of every market
    settings : name -> text
    stations : station id -> daily record up to the day before `on`
    """

    on: date
    places: tuple[Place, ...]
    evidence: Mapping[str, Mapping[str, Entry]]
    quotes: Mapping[tuple[str, str], Entry]
    quote_series: Mapping[str, tuple[tuple[date, str], ...]]
    settings: Mapping[str, str]
    stations: Mapping[str, StationDays]
    farm_names: Mapping[str, str] = field(default_factory=dict)


HISTORY = "history:"
HISTORY_DAYS = 120  # of entries that a question may want one after another (trap catches)
COMMON_KINDS = frozenset({"quote", "setting", "station_days"})  # about the district; all else is about one place


def take_snapshot(ledger: Ledger, on: date, kinds: Iterable[str], *, places: bool = True) -> Snapshot:
    """Read everything that the questions may need, in a handful of queries however many places there are.

    Without `places` only what all places share is read; `places_of` then reads some places at a time.
    """
    found, evidence = places_of(ledger, on, kinds) if places else ((), {})
    quotes = {(place, topic.lower()): entry for (place, topic), entry in ledger.latest_topics("quote", on).items()}
    settings = {topic: str(e.body["value"]) for (_, topic), e in ledger.latest_topics("setting", on).items()}
    series: dict[str, list[tuple[date, str]]] = {}
    for entry in ledger.history(kind="quote", until=on):
        series.setdefault(str(entry.body["commodity"]).lower(), []).append((entry.seen_on, str(entry.body["price"])))
    return Snapshot(
        on=on,
        places=found,
        evidence=evidence,
        quotes=quotes,
        quote_series={k: tuple(v) for k, v in series.items()},
        settings=settings,
        stations=station_records(ledger, on),
        farm_names={f.id: f.name for f in ledger.farms()} if places else {},
    )


def places_of(
    ledger: Ledger, on: date, kinds: Iterable[str], ids: Sequence[str] | None = None
) -> tuple[tuple[Place, ...], Mapping[str, Mapping[str, Entry]]]:
    """Places not closed (those of `ids`, or all), and kind -> place id -> newest entry of `kinds` at them.

    A kind written ``history:KIND`` gives one entry a place that holds all of that kind of the last `HISTORY_DAYS`.
    """
    found = tuple(p for p in ledger.places(on, ids) if not p.attributes.get("closed"))
    wanted = set(kinds) - COMMON_KINDS
    folded = {kind for kind in wanted if kind.startswith(HISTORY)}
    evidence = dict(ledger.latest(sorted(wanted - folded), on, ids))
    for kind in sorted(folded):
        evidence[kind] = _folded(ledger, on, kind.removeprefix(HISTORY), found if ids is not None else None)
    return found, evidence


def _folded(ledger: Ledger, on: date, kind: str, places: Sequence[Place] | None) -> dict[str, Entry]:
    """Place -> its newest entry of the kind, with ``rows`` of all of them, oldest first, as its body."""
    since = recent(on, HISTORY_DAYS)
    if places is None:
        by_place: dict[str, list[Entry]] = {}
        for entry in ledger.history(kind=kind, since=since, until=on):
            by_place.setdefault(entry.place or "", []).append(entry)
    else:
        allowed = evidence_kinds()[kind].places
        own = [p.id for p in places if not allowed or p.kind in allowed]
        by_place = ledger.histories(kind, own, since, on)
    out = {}
    for place, found in by_place.items():
        rows = [{"on": e.seen_on.isoformat(), **e.body} for e in found]
        mark = hashlib.sha256("".join(e.hash for e in found).encode()).hexdigest()
        out[place] = replace(found[-1], body={"rows": rows}, hash=mark)
    return out


def station_records(ledger: Ledger, on: date) -> dict[str, StationDays]:
    """Daily records of every station, up to the day before `on`, with every doubted value flagged.

    Where blocks overlap, the later entry wins. Flags only mark: the value stays, and `usable` leaves it out.
    """
    from sideoats.weather.quality import check_days, check_neighbours

    blocks: dict[str, list[Entry]] = {}
    for entry in ledger.history(kind="station_days", until=on):
        if entry.place:
            blocks.setdefault(entry.place, []).append(entry)
    records = {}
    about = {p.id: p for p in ledger.places(on, sorted(blocks)) if p.kind == "station"}
    for station, entries in blocks.items():
        record = _join(station, entries, on)
        if record is not None:
            place = about.get(station)
            where = place.attributes if place else {}
            records[station] = replace(
                record,
                name=place.name if place else station,
                latitude=float(where.get("latitude", np.nan)),
                longitude=float(where.get("longitude", np.nan)),
                elevation_m=float(where.get("elevation", np.nan)),
                wind_height_m=float(where.get("wind_height", 10.0)),
            )
    checked = check_neighbours([check_days(record) for record in records.values()])
    return {record.station: record for record in checked}


def _join(station: str, entries: list[Entry], on: date) -> StationDays | None:
    known = StationDays._UNITS
    starts = [date.fromisoformat(e.body["start"]) for e in entries]
    lengths = [max((len(v) for k, v in e.body.items() if k in known), default=0) for e in entries]
    first = min(starts)
    days = min(max((s - first).days + n for s, n in zip(starts, lengths, strict=True)), (on - first).days)
    if days <= 0:
        return None
    values: dict[str, Any] = {}
    flags: dict[str, Any] = {}
    for entry, start in zip(entries, starts, strict=True):
        at = (start - first).days
        for variable, column in entry.body.items():
            if variable not in known or at >= days:
                continue
            block = np.array([np.nan if v is None else v for v in column], dtype=np.float64)[: days - at]
            values.setdefault(variable, np.full(days, np.nan))[at : at + len(block)] = block
            marks = (entry.body.get("flags") or {}).get(variable)
            if marks:
                kept = flags.setdefault(variable, np.zeros(days, dtype=np.uint16))
                kept[at : at + len(block)] = np.array(marks, dtype=np.uint16)[: len(block)]
    for variable, kept in flags.items():
        kept[np.isnan(values[variable])] |= np.uint16(Flag.ABSENT)
    return StationDays(station=station, start=first, values=values, flags=flags, source="ledger")


def price_history(snapshot: Snapshot) -> dict[str, tuple[Any, Any]]:
    """Commodity -> (dates, prices) in the unit of its newest quote; quotes in units of another kind are left out."""
    out = {}
    for commodity, rows in snapshot.quote_series.items():
        unit = units.split(rows[-1][1])[1]
        days, prices = [], []
        for day, text in rows:
            try:
                price = units.parse(text, unit)
            except InputError:
                continue
            days.append(day)
            prices.append(price)
        if prices:
            out[commodity] = (np.array(days, dtype="datetime64[D]"), np.array(prices))
    return out


def recent(day: date, days: int) -> date:
    """The day so many days before."""
    return day - timedelta(days=days)


def no_places() -> LedgerError:
    """What to say of a ledger that no week can be made of, with the way out of it."""
    return LedgerError(
        "the ledger holds no places by that day; record some (`sideoats record place ...`) or run `sideoats demo`"
    )


def require_places(snapshot: Snapshot) -> None:
    """Refuse to make a week out of an empty ledger."""
    if not snapshot.places:
        raise no_places()
