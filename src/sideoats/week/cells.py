"""Places of a ledger joined to the cells of a weather grid, so that each has the weather of where it lies."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import TYPE_CHECKING

import numpy as np

from sideoats.week.spots import position

if TYPE_CHECKING:
    import xarray as xr

    from sideoats.ledger import Ledger, NewEntry, Place


@dataclass(frozen=True)
class Joined:
    """Place id -> id of its cell's station; how many places have no position, and how many lie off the grid."""

    station: dict[str, str]
    without_position: int
    off_grid: int


def join_places(
    grid: xr.Dataset, places: Sequence[Place], *, prefix: str = "cell", within_km: float | None = None
) -> Joined:
    """The nearest cell of every place, as the id ``prefix-row-column``.

    Parameters
    ----------
    grid : from `sideoats.intake.grid.read_grid`
    within_km : see `sideoats.intake.grid.nearest_cells`
    """
    from sideoats.intake.grid import nearest_cells

    at = np.array([position(p) for p in places], dtype=np.float64).reshape(-1, 2)
    cells = nearest_cells(grid, at[:, 0], at[:, 1], within_km=within_km)
    station = {
        p.id: f"{prefix}-{row}-{column}"
        for p, row, column in zip(places, cells.row.tolist(), cells.column.tolist(), strict=True)
        if row >= 0
    }
    nowhere = int(np.isnan(at).any(axis=1).sum())
    return Joined(station, nowhere, len(places) - nowhere - len(station))


def cell_entries(
    ledger: Ledger, grid: xr.Dataset, on: date, *, prefix: str = "cell", within_km: float | None = None
) -> list[NewEntry]:
    """Entries that give every place with a position the weather of its cell: the cells, their days, the places anew.

    A place keeps all else that is known of it; one that has its cell already is not described again. Stations and
    markets are left as they are. Nothing is written here: hand the entries to `Ledger.append`.
    """
    from sideoats.intake.grid import Cells, stations_of
    from sideoats.intake.station_files import drafts_of
    from sideoats.ledger import NewEntry

    places = [p for p in ledger.places(on) if p.kind not in ("station", "market")]
    joined = join_places(grid, places, prefix=prefix, within_km=within_km)
    used = sorted(set(joined.station.values()))
    row, column = (np.array([int(key.rsplit("-", 2)[part]) for key in used], dtype=np.int64) for part in (1, 2))
    records = stations_of(grid, Cells(row, column, np.zeros(len(used))), used) if used else {}
    entries = [
        NewEntry(d.kind, d.body, place=d.place, seen_at=d.seen_at, id=d.id, observer="grid")
        for key, record in records.items()
        for d in drafts_of(record, key)
    ]
    seen = datetime.combine(on, datetime.min.time()).astimezone()
    for p in places:
        station = joined.station.get(p.id)
        if station is not None and p.attributes.get("station") != station:
            body = {"name": p.name, "kind": p.kind, **p.attributes, "station": station}
            entries.append(NewEntry("place", body, place=p.id, farm=p.farm or None, seen_at=seen, observer="grid"))
    return entries
