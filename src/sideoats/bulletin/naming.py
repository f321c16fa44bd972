"""Whether a text names a farm or a place of one: what is put out for everyone may not."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from sideoats.station import StationDays
    from sideoats.week.snapshot import Snapshot


def private_names(snapshot: Snapshot) -> tuple[str, ...]:
    """Names and ids of the farms, then those of their places; the longest of each first."""
    farms = {*snapshot.farm_names, *snapshot.farm_names.values()}
    places = {name for p in snapshot.places if p.farm for name in (p.farm, p.id, p.name)} - farms
    ordered = [name.strip() for group in (farms, places) for name in sorted(group, key=lambda n: (-len(n), n))]
    return tuple(name for name in ordered if name)


def named_in(text: str, names: Iterable[str]) -> str:
    """The first of `names` that `text` holds, "" where it holds none.

    Blanks, dashes, dots and underscores are taken as one ("two-elms" for Two Elms), letter case as none. A name of one
    short lower-case word ("north") names nobody by itself and is let pass.
    """
    for name in names:
        parts = [re.escape(part) for part in re.split(r"[\s._-]+", name) if part]
        if not parts or (len(parts) == 1 and name.islower() and len(name) < 8):
            continue
        if re.search(r"(?<!\w)" + r"[\s._-]+".join(parts) + r"(?!\w)", text, re.IGNORECASE):
            return name
    return ""


def public_stations(snapshot: Snapshot) -> dict[str, StationDays]:
    """Records of stations that belong to no farm and whose name names none; a farm's own gauge stays private."""
    names = private_names(snapshot)
    open_ids = {p.id: p.name for p in snapshot.places if not p.farm}
    return {
        key: record
        for key, record in snapshot.stations.items()
        if key in open_ids and not named_in(f"{record.name} | {open_ids[key]} | {key}", names)
    }


def unnamed(snapshot: Snapshot, written: Mapping[str, str]) -> tuple[dict[str, str], dict[str, str]]:
    """Paragraphs that may be put out, and for each other one the name that it holds."""
    names = private_names(snapshot)
    found = {slot: name for slot, text in written.items() if (name := named_in(text, names))}
    return {slot: text for slot, text in written.items() if slot not in found}, found
