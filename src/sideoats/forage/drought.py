"""Rain that ends a drought, found in a daily record: after it, new growth is hot and so is what was cut just before.

Rule (common practice, no source; its figures are the fact ``forage/drought.rule``): a run of `dry_days` days with less
than `dry_rain` in all, then at least `breaking_rain` within `breaking_days` days.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from datetime import date
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sideoats.facts import Facts
from sideoats.station import StationDays

Floats = NDArray[np.float64]


def drought_breaking(
    rain_mm: ArrayLike, *, dry_days: int, dry_rain: float, breaking_rain: float, breaking_days: int
) -> NDArray[np.bool_]:
    """(..., day) True on every day on which rain of the last `breaking_days` ended a drought.

    Parameters
    ----------
    rain_mm : (..., day); NaN counts as no rain, and a dry run with a missing day still counts as dry, so that a gap
        never hides a drought
    """
    rain = np.nan_to_num(np.asarray(rain_mm, dtype=np.float64))
    total = np.concatenate([np.zeros((*rain.shape[:-1], 1)), np.cumsum(rain, axis=-1)], axis=-1)
    days = rain.shape[-1]
    out = np.zeros(rain.shape, dtype=bool)
    first = dry_days + breaking_days - 1
    if days <= first:
        return out
    ends = np.arange(first, days) + 1  # exclusive end of the wet spell
    wet = total[..., ends] - total[..., ends - breaking_days]
    dry = total[..., ends - breaking_days] - total[..., ends - breaking_days - dry_days]
    out[..., first:] = (wet >= breaking_rain) & (dry < dry_rain)
    return out


def days_since_drought_broke(record: StationDays | None, on: date, within: int, **rule: float) -> float:
    """Days from the latest drought-breaking rain up to `on`, NaN where there was none within `within` days.

    Parameters
    ----------
    record : the station's days, None where the place has no station on file
    on : today; later days of the record are not looked at
    within : how far back to look [day]
    rule : the keyword arguments of `drought_breaking`
    """
    if record is None:
        return float("nan")
    last = min(record.index(on), len(record) - 1)
    back = within + int(rule["dry_days"]) + int(rule["breaking_days"])
    first = max(0, last - back)
    if last < 0 or last <= first:
        return float("nan")
    rain = record.usable("rain")[first : last + 1]
    broke = drought_breaking(
        rain,
        dry_days=int(rule["dry_days"]),
        dry_rain=rule["dry_rain"],
        breaking_rain=rule["breaking_rain"],
        breaking_days=int(rule["breaking_days"]),
    )
    if not broke.any():
        return float("nan")
    # the latest day that starts a run of True: the rain itself, not the days that still see it
    starts = np.flatnonzero(broke & ~np.concatenate([[False], broke[:-1]]))
    age = record.index(on) - (first + int(starts[-1]))
    return float(age) if age <= within else float("nan")


def days_since_frost(record: StationDays | None, on: date, within: int, threshold_degc: float) -> float:
    """Days from the latest minimum at or under the threshold up to `on`; NaN where none within `within` days."""
    if record is None:
        return float("nan")
    last = min(record.index(on), len(record) - 1)
    first = max(0, last - within)
    if last < first:
        return float("nan")
    cold = np.flatnonzero(record.usable("tmin")[first : last + 1] <= threshold_degc)
    if not cold.size:
        return float("nan")
    age = record.index(on) - (first + int(cold[-1]))
    return float(age) if age <= within else float("nan")


def drought_rule(facts: Facts) -> dict[str, float]:
    """The keyword arguments of `drought_breaking`, from the facts."""
    return {str(name): float(amount) for name, amount in facts["forage/drought.rule"].rows if name != "look_back"}


def look_back(facts: Facts) -> int:
    """Days for which a rain that ended a drought, or a frost, still matters."""
    return int(dict(facts["forage/drought.rule"].rows)["look_back"])


def by_place(stations: Iterable[Any], found: Callable[[str], float]) -> Floats:
    """(n,) one number a place from one call a station; NaN where the place has no station."""
    held = {name: found(name) for name in {str(s) for s in stations if s}}
    return np.array([held.get(str(s), np.nan) for s in stations], dtype=np.float64)


def drought_broke_by_place(
    stations: Iterable[Any], records: Mapping[str, StationDays], on: date, facts: Facts, within: int
) -> Floats:
    """(n,) days since a drought broke at each place's station; NaN where none did or no station is on file."""
    rule = drought_rule(facts)
    return by_place(stations, lambda name: days_since_drought_broke(records.get(name), on, within, **rule))


def frost_by_place(
    stations: Iterable[Any], records: Mapping[str, StationDays], on: date, threshold_degc: float, within: int
) -> Floats:
    """(n,) days since the last minimum at or under the threshold at each place's station; NaN as above."""
    return by_place(stations, lambda name: days_since_frost(records.get(name), on, within, threshold_degc))


def dry_by_place(
    stations: Iterable[Any], records: Mapping[str, StationDays], on: date, facts: Facts
) -> NDArray[np.bool_]:
    """(n,) True where the place's station has every one of the last `dry_days` days, and under `dry_rain` in all."""
    rule = drought_rule(facts)
    days = int(rule["dry_days"])

    def dry(name: str) -> float:
        record = records.get(name)
        if record is None or record.lacking(("rain",), on, days) > 0:
            return float("nan")
        today = record.index(on)
        return float(record.usable("rain")[today - days : today].sum() < rule["dry_rain"])

    return np.asarray(by_place(stations, dry) == 1)
