"""What the ledger knew on a day, read once for all questions: places, newest evidence, quotes, settings, weather."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, timedelta
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np

from sideoats import units
from sideoats.crops import market_word
from sideoats.errors import LedgerError
from sideoats.ledger.evidence import evidence_kinds
from sideoats.outlook.stations import Sites, Stand
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
    quote_series : (market id, commodity in lower case) -> ((day, price text), ...), oldest first
    first_market : commodity in lower case -> the market that was first to quote it in this ledger, for places that
        name no market or one that does not quote it: what is quoted elsewhere later changes nothing for them
    settings : name -> text
    stations : station id -> daily record up to the day before `on`
    sites : where those stations stand
    """

    on: date
    places: tuple[Place, ...]
    evidence: Mapping[str, Mapping[str, Entry]]
    quotes: Mapping[tuple[str, str], Entry]
    quote_series: Mapping[tuple[str, str], tuple[tuple[date, str], ...]]
    first_market: Mapping[str, str]
    settings: Mapping[str, str]
    stations: Mapping[str, StationDays]
    farm_names: Mapping[str, str] = field(default_factory=dict)
    sites: Sites = field(default_factory=Sites)

    @cached_property
    def stood(self) -> dict[str, Stand]:
        """Place id -> the station that stands for it, of the places that were asked about so far."""
        return {}

    def market_of(self, market: str, commodity: str) -> str:
        """The market whose quotes of a commodity hold where `market` is named ("" for none)."""
        return market if (market, commodity) in self.quote_series else self.first_market.get(commodity, "")


HISTORY = "history:"
HISTORY_DAYS = 120  # of entries that a question may want one after another (trap catches)
COMMON_KINDS = frozenset({"quote", "setting", "station_days"})  # about the district; all else is about one place


def take_snapshot(ledger: Ledger, on: date, kinds: Iterable[str], *, places: bool = True) -> Snapshot:
    """Read everything that the questions may need, in a handful of queries however many places there are.

    Without `places` only what all places share is read; `places_of` then reads some places at a time.
    """
    found, evidence = places_of(ledger, on, kinds) if places else ((), {})
    settings = {topic: str(e.body["value"]) for (_, topic), e in ledger.latest_topics("setting", on).items()}
    series: dict[tuple[str, str], list[Entry]] = {}
    first: dict[str, tuple[int, str]] = {}
    for entry in ledger.history(kind="quote", until=on):
        commodity, market = market_word(str(entry.body["commodity"])), entry.place or ""
        series.setdefault((market, commodity), []).append(entry)
        first[commodity] = min(first.get(commodity, (entry.seq, market)), (entry.seq, market))
    series = {key: _of_one_unit(entries) for key, entries in series.items()}
    return Snapshot(
        on=on,
        places=found,
        evidence=evidence,
        quotes={key: entries[-1] for key, entries in series.items()},
        quote_series={k: tuple((e.seen_on, str(e.body["price"])) for e in v) for k, v in series.items()},
        first_market={commodity: market for commodity, (_, market) in first.items()},
        settings=settings,
        stations=station_records(ledger, on),
        farm_names={f.id: f.name for f in ledger.farms()} if places else {},
    )


def _of_one_unit(entries: list[Entry]) -> list[Entry]:
    """Quotes that can stand beside each other: in units like the newest, or the one before where that stands alone.

    A single lot sold by the head must not hide a year of prices a hundredweight.
    """
    quoted = [units.split(str(entry.body["price"]))[1] for entry in entries]
    alone = len(quoted) > 2 and not any(units.fits(unit, quoted[-1]) for unit in quoted[:-1])
    kept = quoted[-2] if alone else quoted[-1]
    return [entry for entry, unit in zip(entries, quoted, strict=True) if units.fits(unit, kept)]


def places_of(
    ledger: Ledger, on: date, kinds: Iterable[str], ids: Sequence[str] | None = None
) -> tuple[tuple[Place, ...], Mapping[str, Mapping[str, Entry]]]:
    """Places not closed (those of `ids`, or all), and kind -> place id -> newest entry of `kinds` at them.

    A kind written ``history:KIND`` gives one entry a place that holds all of that kind of the last `HISTORY_DAYS`, or
    of as many days as the kind states.
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
    since = recent(on, evidence_kinds()[kind].history_days or HISTORY_DAYS)
    if places is None:
        by_place: dict[str, list[Entry]] = {}
        for entry in ledger.history(kind=kind, since=since, until=on):
            by_place.setdefault(entry.place or "", []).append(entry)
    else:
        allowed = evidence_kinds()[kind].places
        own = [p.id for p in places if not allowed or p.kind in allowed]
        by_place = ledger.histories(kind, own, since, on)
    out = {}
    for place, entries in by_place.items():
        found = [e for e in entries if was_done(e)]
        if not found:
            continue
        rows = [{"on": e.seen_on.isoformat(), **e.body, **_about_entry(e)} for e in found]
        mark = hashlib.sha256("".join(e.hash for e in found).encode()).hexdigest()
        out[place] = replace(found[-1], body={"rows": rows}, hash=mark)
    return out


def was_done(entry: Entry) -> bool:
    """Whether an action was done; answers to a call that say "not done" or "later" are kept as actions too."""
    return entry.kind != "action" or entry.body.get("answer", "done") == "done"


def _about_entry(entry: Entry) -> dict[str, Any]:
    """Of an action: who did it, and when it was seen and stored. Rows of other kinds are read by their fields alone."""
    if entry.kind != "action":
        return {}
    return {"by": entry.observer, "entry": entry.id, "seen": (entry.seen_at.astimezone(UTC).isoformat(), entry.seq)}


def station_records(ledger: Ledger, on: date) -> dict[str, StationDays]:
    """Daily records of every station, up to the day before `on`, with every doubted value flagged.

    A block is cut at `on`, whenever it was seen: a calendar year is filed as one block that is seen at its end, and a
    week asked of a past September knew that year's summer. Where blocks overlap, the later entry wins. Flags only
    mark: the value stays, and `usable` leaves it out.
    """
    from sideoats.weather.quality import check_days, check_neighbours

    blocks: dict[str, list[Entry]] = {}
    for entry in ledger.history(kind="station_days"):
        if entry.place and date.fromisoformat(entry.body["start"]) < on:
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


def price_history(snapshot: Snapshot) -> tuple[dict[str, Any], dict[str, dict[str, Any]]]:
    """Quotes as dated prices: commodity -> (dates, prices) of its first market, and market -> commodity -> the same.

    In the unit of the newest quote; the snapshot holds those of one kind of unit.
    """
    markets: dict[str, dict[str, Any]] = {}
    for (market, commodity), rows in snapshot.quote_series.items():
        unit = units.split(rows[-1][1])[1]
        days = np.array([day for day, _ in rows], dtype="datetime64[D]")
        prices = np.array([units.parse(text, unit) for _, text in rows])
        markets.setdefault(market, {})[commodity] = (days, prices)
    first = {c: markets[m][c] for c, m in snapshot.first_market.items() if c in markets.get(m, {})}
    return first, markets


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
