"""What of a station's days that were just read will be doubted when they are used: the same checks, told at the door.

The checks only mark (`sideoats.weather.quality`); a doubted value is kept and left out by every question.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date
from typing import Any

import numpy as np

from sideoats.intake.taken import Draft, Taken
from sideoats.station import SUSPECT, Flag, StationDays
from sideoats.weather.quality import check_days
from sideoats.words import Count, LongDay, Parts, Phrase, Said, say


def doubts(taken: Taken) -> tuple[Said, ...]:
    """One sentence for each variable of each station of a file with how many days are doubted, the first, and why."""
    said: list[Said] = []
    for station in dict.fromkeys(d.place for d in taken.drafts if d.kind == "station_days"):
        record = _record(d for d in taken.drafts if d.place == station)
        checked = check_days(record)
        for variable, flags in checked.flags.items():
            bad = (flags & np.uint16(SUSPECT)) != 0
            bad &= ~np.isnan(checked.values[variable])
            if bad.any():
                first = int(np.flatnonzero(bad)[0])
                why = Parts(tuple(say(f"take.why.{flag.name.lower()}") for flag in _named(int(flags[first]))))
                said.append(
                    say("take.doubted", what=Phrase(say(f"label.{variable}")), n=Count(int(bad.sum())),
                        day=LongDay(checked.times[first]), reason=why)
                )  # fmt: skip
    return tuple(said)


def _named(flags: int) -> list[Any]:
    return [flag for flag in Flag if flag & SUSPECT and flags & flag and flag.name]


def _record(drafts: Iterable[Draft]) -> StationDays:
    """The blocks of one station as one record, with the position of its place."""
    about: Mapping[str, Any] = {}
    blocks = []
    for draft in drafts:
        if draft.kind == "place":
            about = draft.body
        elif draft.kind == "station_days":
            blocks.append((date.fromisoformat(draft.body["start"]), draft.body))
    known = StationDays._UNITS
    first = min(start for start, _ in blocks)
    ends = [(start - first).days + max(len(v) for k, v in body.items() if k in known) for start, body in blocks]
    values: dict[str, Any] = {}
    for start, body in blocks:
        at = (start - first).days
        for variable in known:
            if variable in body:
                column = np.array([np.nan if v is None else v for v in body[variable]], np.float64)
                values.setdefault(variable, np.full(max(ends), np.nan))[at : at + len(column)] = column
    return StationDays(
        station="",
        start=first,
        values=values,
        latitude=float(about.get("latitude", np.nan)),
        longitude=float(about.get("longitude", np.nan)),
        elevation_m=float(about.get("elevation", np.nan)),
    )
