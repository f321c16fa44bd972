"""A made-up state office: the invented district cloned until it holds so many places. For benchmarks only."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import islice
from pathlib import Path

from sideoats.demo.district import all_entries
from sideoats.ledger import NewEntry, open_ledger

_SHARED = {"quote", "setting", "station_days"}


def clones(places: int) -> Iterator[list[NewEntry]]:
    """Batches of entries that add up to about `places` places: shared things once, farms and places copied."""
    base = all_entries()
    stations = {e.place for e in base if e.kind == "station_days"} | {e.place for e in base if e.kind == "quote"}
    common = [e for e in base if e.kind in _SHARED or (e.kind == "place" and e.place in stations)]
    markets = [e for e in common if e.kind == "place"]
    yield [*markets, *(e for e in common if e.kind != "place")]
    own = [e for e in base if e.kind not in _SHARED and e.place not in stations]
    per_district = sum(e.kind == "place" for e in own)
    for number in range(-(-places // per_district)):
        mark = f"d{number}-"
        yield [
            replace(e, id=None, place=mark + e.place if e.place else None, farm=mark + e.farm if e.farm else None)
            for e in own
        ]


def build(path: Path, places: int, batch: int = 50) -> None:
    """Fill a new ledger at `path`, fifty districts a transaction."""
    source = clones(places)
    with open_ledger(path) as ledger:
        while group := list(islice(source, batch)):
            ledger.append([e for entries in group for e in entries])
