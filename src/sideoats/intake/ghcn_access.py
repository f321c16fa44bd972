"""Daily summaries with one column an element, CSV or JSON, as the access service sends them. Units are not in the file.

They may be tenths (the archive's own), metric or US customary, and a guess from one column is wrong when the season or
the station is unusual. Four tests are made of all columns together; each rules out the systems it cannot be:

* **decimals**: temperatures with decimals are neither tenths nor whole degF; rain to a hundredth is inches, rain to a
  tenth millimetres; whole numbers throughout are no metric temperatures;
* **steps**: from one day to the next temperatures change by some degC, not by tens and not by tenths;
* **level**: the mean temperature is what the latitude and the time of the year allow;
* **rain**: the wettest day of a year brings 10 to 300 mm.

One system must be left, and two tests at least must have spoken for it; else the file is refused with the option named.
The bounds are common practice; the climate behind `level` is a rough curve over latitude and season, from memory.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from sideoats.errors import InputError
from sideoats.intake.ghcn_elements import ELEMENTS, put_values, usable_elements
from sideoats.intake.laid import Layout
from sideoats.intake.rows import NEVER, Steps, Table, days_of, json_value, numbers, one_station, position_in
from sideoats.station import Values
from sideoats.words import Parts, Phrase, say

SYSTEMS = {"tenths": "native", "metric": "metric", "imperial": "imperial"}
ALSO = {"us": "imperial", "standard": "imperial"}
_MISSING = ("", "-9999", "9999", "99999", "-9999.0", "-9999.9")
_LEAST_DAYS = 10
_MM = {"tenths": 0.1, "metric": 1.0, "imperial": 25.4}
_Texts = dict[str, list[str]]


def is_access(table: Table) -> bool:
    """Whether there is a column a day and one an element."""
    return table.has("DATE") and not table.has("ELEMENT", "DATATYPE") and any(table.has(e) for e in ELEMENTS)


def records_of(text: str, name: str) -> list[Any]:
    """Rows of a JSON answer: a list, or ``results`` or ``data`` of an object."""
    data = json_value(text, name)
    if isinstance(data, dict):
        data = data.get("results") or data.get("data")
    if not isinstance(data, list):
        raise InputError("holds no list of rows", where=name, expected="a list, or an object with 'results'")
    return data


def read_access(
    table: Table, station: str | None, units: str | None, latitude: float, layout: Layout
) -> tuple[str, dict[str, Any], tuple[Any, ...]]:
    """The station, what the file says of it, and how its units were told; values go to `layout`."""
    layout.rejected.extend(table.rejected)
    chosen = station or table.name.split(".")[0]
    if table.has("STATION", "ID"):
        ids = table.column("STATION", "ID")
        chosen = one_station(ids, station, table.name) if ids else chosen
        table = table.where([cell == chosen for cell in ids])
    elements = usable_elements([e for e in ELEMENTS if table.has(e)])
    if not table.rows or not elements:
        raise InputError(
            "has no element column or no row", where=table.name, expected="columns such as TMAX, TMIN, PRCP"
        )
    dates = table.column("DATE")
    days, wrong = days_of(dates)
    layout.reject_cells(table, dates, wrong)
    layout.see_many(days)
    texts = {e: table.column(e) for e in elements}
    values: dict[str, Values] = {}
    for element in elements:
        values[element], bad = numbers([c.rstrip("sS") for c in texts[element]], (*_MISSING, "M", "T"))
        values[element][[c == "T" for c in texts[element]]] = 0.0
        layout.reject_cells(table, texts[element], bad, element)
    told: dict[str, Any] = {"name": table.column("NAME")[0]} if table.has("NAME") else {}
    told |= position_in(table)
    north = latitude if not math.isnan(latitude) else told.get("latitude", math.nan)
    system, note = _units_of(texts, values, days, north, units, table.name)
    for element in elements:
        attributes = table.column(f"{element}_ATTRIBUTES")
        split = [[*cell.split(","), "", ""] for cell in attributes]
        measured = ["T" if t == "T" else s[0].strip() for t, s in zip(texts[element], split, strict=True)]
        put_values(layout, element, days, values[element], measured, [s[1].strip() for s in split], SYSTEMS[system])
    return chosen, told, (note,)


def _units_of(
    texts: _Texts, values: dict[str, Values], days: Steps, latitude: float, given: str | None, name: str
) -> tuple[str, Any]:
    if given:
        system = ALSO.get(given, given)
        if system not in SYSTEMS:
            raise InputError(f"{given!r} is not a unit system", where="units", expected="one of " + ", ".join(SYSTEMS))
        return system, say("take.units.told", units=Phrase(say(f"take.system.{system}")))
    tests = {
        "decimals": _by_decimals(texts),
        "steps": _by_steps(values, days),
        "level": _by_level(values, days, latitude),
        "rain": _by_rain(values, days),
    }
    left = set(SYSTEMS)
    spoke = []
    for test, allowed in tests.items():
        if allowed != set(SYSTEMS):
            spoke.append(test)
        left &= allowed
    if len(left) != 1 or len(spoke) < 2:
        seen = ", ".join(sorted(left)) or "none fits"
        what = f"does not say its units, and its columns do not tell them for sure (left: {seen})"
        raise InputError(what, where=name, todo=f"give units={'|'.join(SYSTEMS)}")
    system = left.pop()
    return system, say(
        "take.units.found",
        units=Phrase(say(f"take.system.{system}")),
        by=Parts(tuple(say(f"take.units.by.{test}") for test in spoke)),
    )


def _by_decimals(texts: _Texts) -> set[str]:
    warm = [t for e in ("TMAX", "TMIN", "TAVG") for t in texts.get(e, []) if t.strip("-") and t not in _MISSING]
    rain = [t for t in texts.get("PRCP", []) if t and t not in _MISSING]
    printed = {len(t.partition(".")[2]) for t in rain}
    allowed = set(SYSTEMS)
    if len(warm) >= _LEAST_DAYS:
        allowed &= {"metric"} if any(_places(t) for t in warm) else {"tenths", "imperial"}
    if 2 in printed:
        allowed &= {"imperial"}
    elif 1 in printed:
        allowed &= {"metric"} if len(rain) >= _LEAST_DAYS else {"metric", "imperial"}
    return allowed


def _places(text: str) -> int:
    """Digits behind the point that are not just a zero."""
    return len(text.partition(".")[2].rstrip("0"))


def _in_celsius(values: Values, system: str) -> Values:
    divisor, offset = ELEMENTS["TMAX"].scale(SYSTEMS[system])
    return np.asarray(values / divisor + offset)


def _by_steps(values: dict[str, Values], days: Steps) -> set[str]:
    """The median change from a day to the next must be 0.6 to 7 degC."""
    allowed = set(SYSTEMS)
    for element in ("TMAX", "TMIN"):
        if element not in values:
            continue
        order = np.argsort(days, kind="stable")
        x, d = values[element][order], days[order]
        change = np.abs(np.diff(x))[(np.diff(d) == 1)]
        change = change[~np.isnan(change)]
        if change.size >= _LEAST_DAYS:
            typical = float(np.median(change))
            size = {"tenths": typical / 10, "metric": typical, "imperial": typical / 1.8}
            allowed &= {s for s, step in size.items() if 0.6 <= step <= 7}
    return allowed


def _by_level(values: dict[str, Values], days: Steps, latitude: float) -> set[str]:
    """The mean of the record must lie within 14 degC of what latitude and season bring; nothing is warmer than 57."""
    parts = [values[e] for e in ("TMAX", "TMIN", "TAVG") if e in values]
    if not parts:
        return set(SYSTEMS)
    middle = np.mean(np.array(parts[:2]), axis=0)  # NaN where one is missing
    known = ~np.isnan(middle) & (days != NEVER)
    if known.sum() < _LEAST_DAYS:
        return set(SYSTEMS)
    season = (days[known] % 365.25) / 365.25
    norths = (latitude,) if not math.isnan(latitude) else (25.0, 50.0)
    expected = [float(np.mean(_usual(north, season))) for north in norths]
    top = max(float(np.nanmax(part)) for part in parts)
    out = set()
    for system in SYSTEMS:
        mean = float(np.mean(_in_celsius(middle[known], system)))
        hottest = float(_in_celsius(np.array([top]), system)[0])
        if min(expected) - 14 <= mean <= max(expected) + 14 and hottest <= 57:
            out.add(system)
    return out


def _usual(latitude: float, season: Values) -> Values:
    """A rough mean temperature [degC] by latitude and part of the year."""
    off = abs(latitude)
    swing = min(0.4 * off, 20.0) * math.copysign(1.0, latitude)
    return np.asarray(28.0 - 0.6 * max(off - 12.0, 0.0) + swing * np.cos(2 * np.pi * (season - 0.55)))


def _by_rain(values: dict[str, Values], days: Steps) -> set[str]:
    """The wettest day of each whole year must bring 10 to 300 mm; of less than a year, not more than 300."""
    rain = values.get("PRCP")
    if rain is None or not (rain > 0).any():
        return set(SYSTEMS)
    years = (days[days != NEVER] // 365.25).astype(np.int64)
    whole = (np.bincount(years - years.min()) >= 330).any() if years.size else False
    top = float(np.nanmax(rain))
    least = 10.0 if whole else 0.0
    return {s for s, mm in _MM.items() if least <= top * mm <= 300.0}
