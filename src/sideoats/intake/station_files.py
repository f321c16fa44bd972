"""Station files as ledger entries: the station itself, then its days in blocks of one calendar year."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime, time
from pathlib import Path
from typing import Any

import numpy as np

from sideoats.errors import InputError
from sideoats.intake.ghcn_daily import AS_FILED, is_fixed, read_ghcn_daily
from sideoats.intake.ghcn_elements import ELEMENTS
from sideoats.intake.ghcnh import is_ghcnh, read_ghcnh
from sideoats.intake.gsod import is_gsod, read_gsod
from sideoats.intake.isd import is_isd, read_isd_days
from sideoats.intake.isd_lite import read_isd_lite
from sideoats.intake.laid import local_offset
from sideoats.intake.lcd import is_lcd, read_lcd_days
from sideoats.intake.pixel import is_pixel, read_pixel
from sideoats.intake.station_csv import read_station_csv
from sideoats.intake.taken import Draft, Format, Head, Taken
from sideoats.intake.uscrn import read_uscrn_daily, read_uscrn_hourly
from sideoats.schema import Field
from sideoats.station import SetAside, StationDays, StationHours
from sideoats.vocabulary import evidence
from sideoats.words import Count, LongDay, Name, Phrase, has, say

_PLACE = Field("place", "text", "id under which the station is kept; the file's own station id if absent")
_STATION = Field("station", "text", "which station, where the file holds several")
_WHERE = (
    Field("name", "text", "name of the station, to show"),
    Field("latitude", "number", "degrees north, where the file does not say", unit="degree", bare=True,
          low=-90, high=90),
    Field("longitude", "number", "degrees east, negative in the west, where the file does not say", unit="degree",
          bare=True, low=-180, high=180),
    Field("elevation", "number", "height of the station, where the file does not say", unit="m", low=-500, high=9000),
)  # fmt: skip
_UNITS = Field("units", "choice", "units of the file, where it does not say them", 
               choices=("tenths", "metric", "imperial"),
               aliases={"us": "imperial", "standard": "imperial", "native": "tenths"})  # fmt: skip
_OBSERVED = Field("observed", "choice", "when the observer reads: a morning reading is yesterday's maximum and rain",
                  choices=("morning", "midnight", AS_FILED))  # fmt: skip
_OFFSET = Field("utc_offset", "number", "hours of standard time from UTC, such as -6; by the longitude if absent",
                unit="hour", bare=True, low=-12, high=14)  # fmt: skip


def drafts_of(record: StationDays, place: str | None = None) -> tuple[Draft, ...]:
    """The station as a place (only if it is new to the ledger does that count), then one block a year."""
    key = place or record.station
    about: dict[str, Any] = {"name": record.name or key, "kind": "station"}
    if math.isfinite(record.latitude) and math.isfinite(record.longitude):
        about |= {"latitude": record.latitude, "longitude": record.longitude}
    if math.isfinite(record.elevation_m):
        about["elevation"] = record.elevation_m
    if record.wind_height_m != 10.0 and "wind" in record.values:
        about["wind_height"] = record.wind_height_m
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


def possible(record: StationDays) -> StationDays:
    """The record without values that no weather has: they are set aside with their day, and the rest is kept."""
    bounds = evidence()["station_days"].fields
    values, aside = dict(record.values), []
    for variable, x in record.values.items():
        low, high = float(bounds[variable]["low"]), float(bounds[variable]["high"])
        bad = (x < low) | (x > high)
        if bad.any():
            reason = f"no {variable} is outside {low:g} to {high:g} {bounds[variable].get('unit', '')}".rstrip()
            aside += [SetAside(variable, str(record.times[i]), f"{x[i]:g}", reason) for i in np.flatnonzero(bad)]
            values[variable] = np.where(bad, np.nan, x)
    if not aside:
        return record
    if all(np.isnan(x).all() for x in values.values()):
        first = aside[0]
        raise InputError(f"holds no usable value; {first.variable} of {first.when} is {first.text}: {first.reason}",
                         where=record.source)  # fmt: skip
    return replace(record, values=values, flags={}, set_aside=(*record.set_aside, *aside))


def taken_of(record: StationDays, options: dict[str, Any]) -> Taken:
    """A daily record as entries, its position as the file or the person says, with remarks on what was found."""
    where = {k: options[k] for k in ("name", "latitude", "longitude") if options.get(k) is not None}
    if options.get("elevation") is not None:
        where["elevation_m"] = options["elevation"]
    record = possible(replace(record, **where))
    key = options.get("place") or record.station
    notes = [say("take.station", place=Name(key), first=LongDay(record.start), last=LongDay(record.end))]
    for row in record.coverage():
        notes.append(
            say("take.coverage", what=Phrase(say(f"label.{row.variable}")), present=Count(row.present),
                n=Count(row.steps), missing=Count(row.missing))
        )  # fmt: skip
    if record.set_aside:
        notes.append(
            say(
                "take.set_aside",
                n=Count(len(record.set_aside)),
                what=_label(record.set_aside[0].variable),
                when=Name(record.set_aside[0].when),
            )
        )
    if not (math.isfinite(record.latitude) and math.isfinite(record.longitude)):
        notes.append(say("take.no_position"))
    rejected = tuple(sorted(dict.fromkeys(record.rejected), key=lambda row: row.line))
    return Taken(drafts_of(record, key), rejected, (*record.notes, *notes))


def _label(variable: str) -> Phrase:
    return Phrase(say(f"label.{variable}" if has(f"label.{variable}", "en") else "label.temperature"))


# --- formats ----------------------------------------------------------------------------------------------------------


def _ghcn(path: Path, options: dict[str, Any]) -> StationDays:
    given = {k: options[k] for k in ("station", "units", "observed") if options.get(k)}
    return read_ghcn_daily(path, latitude=_or_nan(options.get("latitude")), **given)


def _or_nan(value: float | None) -> float:
    return math.nan if value is None else value


def _csv(path: Path, options: dict[str, Any]) -> StationDays:
    record = read_station_csv(path, options["mapping"])
    return record.to_days() if isinstance(record, StationHours) else record


def _uscrn_daily(path: Path, options: dict[str, Any]) -> StationDays:
    return read_uscrn_daily(path, station=options.get("station"))


def _uscrn_hourly(path: Path, options: dict[str, Any]) -> StationDays:
    return read_uscrn_hourly(path, station=options.get("station")).to_days()


def _in_utc(hours: StationHours, options: dict[str, Any], path: Path) -> StationDays:
    east, north = (getattr(hours, k) if options.get(k) is None else options[k] for k in ("longitude", "latitude"))
    offset, note = local_offset(options.get("utc_offset"), east, north, path.name)
    return replace(hours, notes=(*hours.notes, note, say("take.hours"))).to_days(offset)


def _isd_lite(path: Path, options: dict[str, Any]) -> StationDays:
    return _in_utc(read_isd_lite(path), options, path)


def _ghcnh(path: Path, options: dict[str, Any]) -> StationDays:
    return _in_utc(read_ghcnh(path, station=options.get("station")), options, path)


def _isd(path: Path, options: dict[str, Any]) -> StationDays:
    return read_isd_days(path, options.get("utc_offset"), station=options.get("station"))


def _lcd(path: Path, options: dict[str, Any]) -> StationDays:
    metric = {"metric": True, "imperial": False}.get(options.get("units") or "")
    return read_lcd_days(path, station=options.get("station"), metric=metric)


def _gsod(path: Path, options: dict[str, Any]) -> StationDays:
    return read_gsod(path, station=options.get("station"))


def _pixel(path: Path, options: dict[str, Any]) -> StationDays:
    return read_pixel(path, given=options.get("units"))


def _format(
    name: str,
    about: str,
    read: Callable[[Path, dict[str, Any]], StationDays],
    more: tuple[Field, ...],
    knows: Callable[[Head], bool] | None,
) -> Format:
    def take(path: Path, options: dict[str, Any]) -> Taken:
        return taken_of(read(path, options), options)

    return Format(name, about, take, (_PLACE, *more, *_WHERE), knows)


def _is_ghcn(head: Head) -> bool:
    if head.json:
        keys = head.text[:3000].upper()
        daily = any(f'"{element}"' in keys for element in ELEMENTS)
        return daily and '"DATE"' in keys and "-NORMAL" not in keys
    if is_fixed(head.text.encode()):
        return bool(re.match(r"[A-Z]{2}[A-Z0-9_\- ]{9}\d{6}[A-Z0-9]{4}", head.first)) and len(head.first) >= 260
    bare = len(head.cells) >= 4 and head.cells[2] in ELEMENTS and head.cells[1].replace("-", "").isdigit()
    upper = {cell.upper() for cell in head.cells}
    wide = "date" in head.names and bool(upper & {*ELEMENTS}) and not is_gsod(head.first)
    long = "element" in head.names and bool({"datavalue", "value"} & head.names)
    return bare or long or (wide and not is_pixel(head.text) and not is_lcd(head.cells))


def _fields(head: Head) -> list[str]:
    lines = [line for line in head.lines[:3] if not line.startswith("#") and not line.upper().startswith("WBANNO")]
    return lines[0].split() if lines and "," not in lines[0] else []


def _is_uscrn(head: Head, widths: tuple[int, ...]) -> bool:
    cells = _fields(head)
    return len(cells) in widths and cells[0].isdigit() and bool(re.fullmatch(r"\d{8}", cells[1]))


def _is_isd_lite(head: Head) -> bool:
    cells = _fields(head)
    return len(cells) == 12 and bool(re.fullmatch(r"\d{4} \d\d \d\d \d\d", " ".join(cells[:4])))


FORMATS = (
    _format("ghcn-daily",
            "GHCN-Daily: .dly, by-station and by-year CSV, daily summaries of the access service (CSV, JSON)",
            _ghcn, (_STATION, _UNITS, _OBSERVED), _is_ghcn),
    _format("uscrn-daily", "U.S. Climate Reference Network daily file", _uscrn_daily, (_STATION,),
            lambda head: _is_uscrn(head, (28,))),
    _format("uscrn-hourly", "U.S. Climate Reference Network hourly file, made into days", _uscrn_hourly, (_STATION,),
            lambda head: _is_uscrn(head, (37, 38))),
    _format("isd", "full ISD hourly file, made into days of local standard time", _isd, (_STATION, _OFFSET),
            lambda head: is_isd(head.first)),
    _format("isd-lite", "ISD-Lite hourly file, made into days of local standard time", _isd_lite, (_OFFSET,),
            _is_isd_lite),
    _format("lcd", "Local Climatological Data CSV: its official days, and what they lack made of its hours", _lcd,
            (_STATION, _UNITS), lambda head: is_lcd(head.cells)),
    _format("gsod", "GSOD daily summaries, the old .op file or CSV", _gsod, (_STATION,), lambda head: is_gsod(
            head.first.replace('"', ""))),
    _format("ghcn-hourly", "GHCN-Hourly .psv file, made into days of local standard time", _ghcnh, (_STATION, _OFFSET),
            lambda head: is_ghcnh(head.cells)),
    _format("point-csv", "one point of a gridded record as CSV, such as Daymet, gridMET and PRISM give it", _pixel,
            (_UNITS,), lambda head: is_pixel(head.text) and not is_lcd(head.cells)),
    _format("station-csv", "any CSV of daily or hourly station weather, through a mapping file", _csv,
            (Field("mapping", "text", "path of the mapping TOML", required=True),), None),
)  # fmt: skip
