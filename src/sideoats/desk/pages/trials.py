"""Trials: variety trials on file, their varieties ranked with the room that chance alone leaves."""

from __future__ import annotations

import json
from collections.abc import Callable

import numpy as np
from starlette.responses import Response

from sideoats.desk import tongue
from sideoats.desk.grants import READ
from sideoats.desk.pages.weather import made, room_calls
from sideoats.desk.visit import Page, Visit
from sideoats.errors import InputError
from sideoats.ledger import Entry
from sideoats.pictures import Picture
from sideoats.wheat.pictures import varieties_next_year, varieties_ranked
from sideoats.wheat.trials.analyse import Estimates, analyse
from sideoats.wheat.trials.compare import next_season
from sideoats.wheat.trials.table import from_records

KIND = "variety_trial"


def trials_on_file(visit: Visit) -> dict[str, Entry]:
    """Trial tables by title, each once however many fields it speaks for; the newest of a title."""
    places = visit.desk.places(visit.person)
    out: dict[str, Entry] = {}
    seen: dict[str, str] = {}
    for entry in visit.desk.ledger.history(kind=KIND, until=visit.on):
        if entry.place and entry.place not in places:
            continue
        mark = json.dumps(entry.body, sort_keys=True)
        untitled = tongue.plain("trials.of", day=entry.seen_on.isoformat())
        title = seen.setdefault(mark, str(entry.body.get("title") or untitled))
        out[title] = entry
    return out


def managements(entry: Entry) -> list[str]:
    """Grazed and ungrazed are never mixed: each is a table of its own."""
    return sorted({str(row.get("management") or "") for row in entry.body.get("means", ())})


def estimates_of(entry: Entry, management: str) -> Estimates:
    """The varieties of one table under one management. Raises InputError where there is too little to go by."""
    rows = [row for row in entry.body["means"] if str(row.get("management") or "") == management]
    return analyse(from_records({"plots": 1.0, **row} for row in rows))


def trials_page(visit: Visit) -> Response:
    """One trial table's ranking, and the list."""
    tables = trials_on_file(visit)
    chosen = visit.query("trial") or next(iter(tables), "")
    entry = tables.get(chosen)
    makers: list[Callable[[], Picture | None]] = []
    found: list[tuple[str, Estimates]] = []
    for management in managements(entry) if entry else ():

        def make(management: str = management) -> Picture:
            assert entry is not None
            try:
                estimates = estimates_of(entry, management)
            except (ValueError, np.linalg.LinAlgError) as error:
                raise InputError(str(error), where=management or tongue.plain("trials.trial")) from None
            found.append((management, estimates))
            return varieties_ranked(f"{chosen}{', ' + management if management else ''}", estimates)

        def ahead(management: str = management) -> Picture | None:
            estimates = next((e for m, e in found if m == management), None)
            return varieties_next_year(next_season(estimates)) if estimates else None

        makers += [make, ahead]
    pictures, lines = made(makers)
    heads = [(m, f.heritability()["cullis"], len(f.varieties), f.notes) for m, f in found]
    return visit.page(
        "trials.html",
        on=visit.on,
        tables=tables,
        chosen=chosen,
        entry=entry,
        pictures=pictures,
        lines=lines,
        heads=heads,
        calls=[c for c in room_calls(visit, "wheat") if c.question == "variety-choice"],
        places=visit.desk.places(visit.person),
    )


PAGES = (Page("/trials", READ, trials_page),)
