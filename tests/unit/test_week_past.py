"""A week asked of a past day reads what was known by then: all of it, and nothing after."""

from __future__ import annotations

from datetime import UTC, date, datetime
from pathlib import Path

import numpy as np

from sideoats.intake.station_files import drafts_of
from sideoats.ledger import Ledger, NewEntry, open_ledger
from sideoats.station import StationDays
from sideoats.week import run_week
from sideoats.week.snapshot import station_records

PAST = date(2012, 9, 17)
LONG_AGO = datetime(1999, 1, 1, tzinfo=UTC)


def record(until: date, *, name: str = "north", first: date = date(1990, 1, 1)) -> StationDays:
    """A plain climate: a warm season, rain on a third of the days."""
    days = (until - first).days + 1
    at = np.arange(days)
    rng = np.random.default_rng(5)
    season = 14 - 13 * np.cos(2 * np.pi * (at - 20) / 365.25)
    swing = 3 * np.sin(at * 1.7)
    values = {
        "tmax": season + 7 + swing,
        "tmin": season - 6 + swing,
        "rain": np.where(rng.random(days) < 0.3, rng.gamma(0.8, 7.0, days), 0.0),
    }
    return StationDays(station=name, start=first, values=values, latitude=38.0, longitude=-99.0)


def taken(ledger: Ledger, held: StationDays) -> None:
    """A record as a station file is taken: the station, and a block a calendar year, seen at its end."""
    ledger.append([NewEntry(d.kind, d.body, place=d.place, seen_at=d.seen_at, id=d.id) for d in drafts_of(held)])


def a_pasture(ledger: Ledger, **attributes: object) -> None:
    body = {"name": "p", "kind": "pasture", "crop": "native grass", **attributes}
    ledger.append([NewEntry("farm", {"name": "F"}, farm="f", seen_at=LONG_AGO)])
    ledger.append([NewEntry("place", body, place="f.p", farm="f", seen_at=LONG_AGO)])


def test_the_current_year_of_a_record_counts_on_a_past_day(tmp_path: Path) -> None:
    """A calendar year is one block, seen at its end: asked in September, the year's summer was missing."""
    with open_ledger(tmp_path / "l.sqlite") as ledger:
        taken(ledger, record(date(2012, 12, 9)))
        a_pasture(ledger, station="north")
        week = run_week(ledger, PAST, questions=["rain-deficit"], draws=40)
        assert week.problems == () and len(week.calls) == 1
        call = week.calls[0]
        said = " ".join([call.headline, *call.because])
        assert "lacks" not in said
        held = station_records(ledger, PAST)["north"]
        assert held.lacking(("tmax", "tmin", "rain"), PAST, 90) == 0
        assert held.end == date(2012, 9, 16)  # and nothing of the day asked or after


def test_what_came_after_the_day_asked_changes_nothing(tmp_path: Path) -> None:
    """The same week out of a record that ends the evening before, and out of one that goes on (and gets wet)."""
    calls = []
    for name, until in (("short", date(2012, 9, 16)), ("long", date(2014, 12, 31))):
        with open_ledger(tmp_path / f"{name}.sqlite") as ledger:
            whole = record(date(2014, 12, 31))
            whole.values["rain"][whole.index(PAST) :] = 60.0  # a flood, in what came after
            held = whole.window(whole.start, until)
            taken(ledger, held)
            a_pasture(ledger, station="north")
            calls.append([c.contract() for c in run_week(ledger, PAST, draws=40).calls])
    assert calls[0] == calls[1] and calls[0]
