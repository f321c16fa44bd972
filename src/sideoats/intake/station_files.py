"""Station files as ledger entries: the station itself, then its days in blocks of one calendar year."""

from __future__ import annotations

import math
from datetime import UTC, date, datetime, time
from pathlib import Path
from typing import Any

import numpy as np

from sideoats.errors import InputError
from sideoats.intake.ghcn_daily import read_ghcn_daily
from sideoats.intake.isd_lite import read_isd_lite
from sideoats.intake.lcd import read_lcd
from sideoats.intake.station_csv import read_station_csv
from sideoats.intake.taken import Draft, Format, Taken
from sideoats.intake.uscrn import read_uscrn_daily
from sideoats.schema import Field
from sideoats.station import StationDays

_PLACE = Field("place", "text", "id under which the station is kept; the file's own station id if absent")
_STATION = Field("station", "text", "which station, where the file holds several")


def drafts_of(record: StationDays, place: str | None = None) -> tuple[Draft, ...]:
    """The station as a place (only if it is new to the ledger does that count), then one block a year."""
    key = place or record.station
    about: dict[str, Any] = {"name": record.name or key, "kind": "station"}
    if math.isfinite(record.latitude) and math.isfinite(record.longitude):
        about |= {"latitude": record.latitude, "longitude": record.longitude}
    if math.isfinite(record.elevation_m):
        about["elevation"] = record.elevation_m
    drafts = [Draft("place", about, _evening(record.start), place=key)]
    for year in range(record.start.year, record.end.year + 1):
        part = record.window(date(year, 1, 1), date(year, 12, 31))
        body: dict[str, Any] = {"start": part.start.isoformat(), "source": record.source or "file"}
        for variable, values in part.values.items():
            if np.isnan(values).all():
                continue
            body[variable] = [None if math.isnan(v) else v for v in values.tolist()]
        marks = {v: f.tolist() for v, f in part.flags.items() if v in body and f.any()}
        if marks:
            body["flags"] = marks
        if len(body) > 2:
            drafts.append(Draft("station_days", body, _evening(part.end), place=key))
    return tuple(drafts)


def _evening(day: date) -> datetime:
    return datetime.combine(day, time(23, 59), tzinfo=UTC)


def _taken(record: StationDays, options: dict[str, Any]) -> Taken:
    notes = [str(row) for row in record.coverage()]
    failed = sum(1 for _ in record.set_aside)
    if failed:
        notes.append(f"{failed} values that the publisher marks as failed are set aside, not used")
    return Taken(drafts_of(record, options.get("place")), record.rejected, (*record.notes, *notes))


def _ghcn(path: Path, options: dict[str, Any]) -> Taken:
    return _taken(read_ghcn_daily(path, station=options.get("station")), options)


def _csv(path: Path, options: dict[str, Any]) -> Taken:
    record = read_station_csv(path, options["mapping"])
    if not isinstance(record, StationDays):
        raise InputError(f"{path.name} is hourly", expected='a mapping with step = "day"')
    return _taken(record, options)


def _uscrn(path: Path, options: dict[str, Any]) -> Taken:
    return _taken(read_uscrn_daily(path, station=options.get("station")), options)


def _isd(path: Path, options: dict[str, Any]) -> Taken:
    return _taken(read_isd_lite(path).to_days(options["utc_offset"]), options)


def _lcd(path: Path, options: dict[str, Any]) -> Taken:
    return _taken(read_lcd(path, station=options.get("station")).to_days(), options)


_OFFSET = Field(
    "utc_offset",
    "number",
    "hours of standard time from UTC, such as -6",
    unit="hour",
    bare=True,
    low=-12,
    high=14,
    required=True,
)
FORMATS = (
    Format("uscrn-daily", "U.S. Climate Reference Network daily file", _uscrn, (_PLACE, _STATION)),
    Format("isd-lite", "ISD-Lite hourly file, made into days of local standard time", _isd, (_PLACE, _OFFSET)),
    Format("lcd", "Local Climatological Data CSV, its hourly reports made into days", _lcd, (_PLACE, _STATION)),
    Format("ghcn-daily", "GHCN-Daily .dly or by-station CSV", _ghcn, (_PLACE, _STATION)),
    Format(
        "station-csv",
        "any CSV of daily station weather, through a mapping file",
        _csv,
        (_PLACE, Field("mapping", "text", "path of the mapping TOML", required=True)),
    ),
)
