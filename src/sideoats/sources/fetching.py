"""What a district declares, fetched and taken in: each body through the same intake as a file taken by hand.

A body is kept before it is read, and marked as taken only once the ledger has stored all of it in one transaction. So a
fetch that breaks off is taken up where it was, what came twice is stored once, and what a reader refuses stays on disk
beside the line that says why; it is asked for anew the next time.
"""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sideoats.errors import InputError, SideoatsError
from sideoats.intake.entries import Entries, entries_of, quotes_on_file
from sideoats.intake.taken import find_format, read_file
from sideoats.schema import read_all
from sideoats.sources.client import Client, FetchError, Limits
from sideoats.sources.declared import Declared, Source
from sideoats.sources.kept import Kept, State

if TYPE_CHECKING:
    from sideoats.ledger import Ledger

SERVICE_FORMAT = "weather-service"
_XML = ("dwml",)


@dataclass(frozen=True)
class Item:
    """One address of a source, and how its body is read."""

    name: str
    address: str
    format: str
    options: dict[str, Any]


@dataclass(frozen=True)
class Told:
    """What came of one item.

    Attributes
    ----------
    name : of the item
    outcome : "new"; "same" (the service says unchanged, or all of it was there); "early" (fetched shortly before, or
        the service asked to wait); "failed" (could not be fetched); "refused" (fetched, and no reader can use it);
        "plan"
    stored, aside : entries that the ledger had not, rows set aside
    as_of : when what is on file was fetched; "" for never
    line : why it failed or was refused; the address for a plan
    """

    name: str
    outcome: str
    stored: int = 0
    aside: int = 0
    as_of: str = ""
    line: str = ""


def fetch(
    declared: Declared,
    ledger: Ledger,
    folder: Path,
    *,
    now: datetime,
    names: Sequence[str] = (),
    dry: bool = False,
    again: bool = False,
    limits: Limits | None = None,
    client: Callable[..., Client] = Client,
) -> Iterator[Told]:
    """Fetch every declared source, or those named, and take in what is new.

    Parameters
    ----------
    folder : of the cache
    now : the time, with its zone
    dry : say what would be asked, and ask nothing
    again : also what was fetched shortly before
    client : makes what asks; a stand-in in tests

    Raises InputError for a name that no source has.
    """
    unknown = [name for name in names if name not in {s.name for s in declared.sources}]
    if unknown:
        known = ", ".join(s.name for s in declared.sources) or "none is declared"
        raise InputError(f"no source {unknown[0][:60]!r} is declared", where="fetch", expected=known)
    chosen = [s for s in declared.sources if not names or s.name in names]
    kept = Kept(folder)
    if not chosen:
        return
    with client(declared.allows, declared.contact, limits) as http:
        for source in chosen:
            try:
                items = list(_items(source, declared, ledger, kept, http, now, dry))
            except (FetchError, InputError) as error:
                yield _late(source.name, kept.state(source.name), error)
                continue
            for item in items:
                yield _plan(item, kept) if dry else _fetched(item, source, kept, http, ledger, now, again)


def _items(
    source: Source, declared: Declared, ledger: Ledger, kept: Kept, http: Client, now: datetime, dry: bool
) -> Iterator[Item]:
    if source.kind == "file":
        today = now.date()
        address = source.address.format(today=today, since=today - timedelta(days=source.days))
        options = read_all(find_format(source.format).options, dict(source.options), where=f"{source.name} ")
        yield Item(source.name, address, source.format, options)
        return
    latitude, longitude = _position(source, ledger, now.date())
    point = f"{source.address.rstrip('/')}/points/{latitude:.4f},{longitude:.4f}"
    options = {"place": source.place, "zone": declared.zone or None}
    if dry:
        yield Item(f"{source.name}: point", point, SERVICE_FORMAT, options)
        return
    grid, zone = _grid(source, point, kept, http)
    options["zone"] = declared.zone or zone
    yield Item(source.name, grid, SERVICE_FORMAT, options)
    alerts = f"{source.address.rstrip('/')}/alerts/active?point={latitude:.4f},{longitude:.4f}"
    yield Item(f"{source.name}: warnings", alerts, SERVICE_FORMAT, options)


def _position(source: Source, ledger: Ledger, on: date) -> tuple[float, float]:
    places = [p for p in ledger.places(on, [source.place]) if p.id == source.place]
    if not places:
        raise InputError(f"no place {source.place[:60]!r} is on file", where=source.name)
    where = places[0].attributes
    try:
        return float(where["latitude"]), float(where["longitude"])
    except (KeyError, TypeError, ValueError):
        raise InputError(f"{source.place} has no position", where=source.name, todo="record it first") from None


def _grid(source: Source, point: str, kept: Kept, http: Client) -> tuple[str, str]:
    """The address of a point's forecast and its time zone; they change seldom, so they are asked for once."""
    name = f"{source.name}: point"
    state = kept.state(name)
    if not state.sha256:
        answer = http.get(point, kind="json")
        state = kept.put(name, replace(state, as_of=""), answer.body)
    try:
        about = json.loads(kept.path(name, state).read_text(encoding="utf-8"))["properties"]
        return str(about["forecastGridData"]), str(about.get("timeZone") or "")
    except (OSError, ValueError, KeyError, TypeError):
        kept.put(name, State())  # asked for anew the next time
        raise FetchError("the service does not say where the point's forecast lies") from None


def _plan(item: Item, kept: Kept) -> Told:
    return Told(item.name, "plan", as_of=kept.state(item.name).as_of, line=item.address)


def _late(name: str, state: State, error: SideoatsError) -> Told:
    return Told(name, "failed", as_of=state.as_of, line=str(error))


def _fetched(item: Item, source: Source, kept: Kept, http: Client, ledger: Ledger, now: datetime, again: bool) -> Told:
    state = kept.state(item.name)
    waiting = state.sha256 and state.taken != state.sha256  # fetched before, and not taken in
    if not again and not waiting and _early(state, source, now):
        return Told(item.name, "early", as_of=state.as_of)
    try:
        user = os.environ.get(source.key, "") if source.key else ""
        if source.key and not user:
            raise FetchError(f"the environment has no {source.key}")
        kind = "xml" if item.format in _XML else "json" if item.format == SERVICE_FORMAT else ""
        etag, since = ("", "") if waiting else (state.etag, state.last_modified)
        answer = http.get(item.address, etag=etag, last_modified=since, user=user, kind=kind)
    except FetchError as error:
        if error.not_before is not None:
            kept.put(item.name, replace(state, not_before=error.not_before.isoformat()))
        if source.kind == "forecast" and "status 404" in str(error):
            kept.put(f"{source.name}: point", State())  # the grid was moved: ask where the point lies now
        return _late(item.name, state, error)
    stamp = now.astimezone(UTC).isoformat(timespec="seconds")
    if answer.body is None and state.sha256:
        kept.put(item.name, replace(state, as_of=stamp, not_before=""))
        return Told(item.name, "same", as_of=stamp)
    if answer.body is None:
        return _late(item.name, state, FetchError("it says unchanged of what is not here"))
    before = state.taken
    state = kept.put(item.name, State(answer.etag, answer.last_modified, "", stamp, before), answer.body)
    if state.sha256 == before:
        return Told(item.name, "same", as_of=stamp)
    return _taken(item, kept, state, ledger)


def _early(state: State, source: Source, now: datetime) -> bool:
    wait = [datetime.fromisoformat(state.not_before)] if state.not_before else []
    if state.as_of:
        wait.append(datetime.fromisoformat(state.as_of) + timedelta(hours=source.hours))
    return any(now < until for until in wait)


def _taken(item: Item, kept: Kept, state: State, ledger: Ledger) -> Told:
    """Read what is kept, and store it in one transaction."""
    try:
        found = read_kept(item, kept.path(item.name, state), ledger)
        receipts = ledger.append(found.entries)
    except SideoatsError as error:
        # what cannot be used is asked for anew: its tag must not make the service say "unchanged"
        kept.put(item.name, replace(state, etag="", last_modified="", as_of=""))
        return Told(item.name, "refused", as_of=state.as_of, line=str(error))
    kept.put(item.name, replace(state, taken=state.sha256))
    stored = found.stored(receipts)
    return Told(item.name, "new" if stored else "same", stored, len(found.rejected), state.as_of)


def read_kept(item: Item, path: Path, ledger: Ledger) -> Entries:
    """A kept body as entries; readers name it as its source, not by its hash."""
    try:
        taken = read_file(item.format, path, item.options)
    except InputError as error:
        what, where = (text.replace(path.name, item.name) for text in (error.what, error.where))
        raise InputError(what, where=where, expected=error.expected, todo=error.todo) from None
    return entries_of(replace(taken, name=item.name), item.format, quotes_on_file(ledger))
