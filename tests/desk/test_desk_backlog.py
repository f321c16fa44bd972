"""While entries stream in, the desk works out the newest week and not every one that was ever looked for."""

from __future__ import annotations

import itertools
import threading
import time
from datetime import date
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from running_desk import FIELD

from sideoats.desk.asked import Districts
from sideoats.desk.settings import Settings
from sideoats.desk.state import Desk
from sideoats.desk.weeks import Weeks
from sideoats.ledger import NewEntry

DAY = date(2026, 9, 14)


def test_weeks_that_were_overtaken_before_they_began_are_dropped() -> None:
    head, worked, gate, begun = [1], [], threading.Event(), threading.Event()

    def run(on: date, progress: Any) -> str:
        begun.set()
        assert gate.wait(30)
        worked.append(head[0])
        return f"week {head[0]}"

    weeks = Weeks(lambda: head[0], run)
    first, _ = weeks.on(DAY)
    assert begun.wait(30)
    for entry in range(2, 200):
        head[0] = entry
        weeks.on(DAY)
    assert len(weeks._kept) == 2, "one is being worked out, one waits"
    gate.set()
    newest, fresh = weeks.on(DAY, wait=30)
    assert fresh and newest.week == "week 199" and first.ready
    assert len(worked) == 2
    weeks.close()


def test_other_days_are_not_dropped() -> None:
    gate = threading.Event()

    def run(on: date, progress: Any) -> date:
        assert gate.wait(30)
        return on

    weeks = Weeks(lambda: 7, run)
    asked = [weeks.on(date(2026, 9, day))[0] for day in (14, 15, 16)]
    gate.set()
    assert all(a.finished.wait(30) for a in asked) and [a.week.day for a in asked] == [14, 15, 16]
    weeks.close()


def test_what_phones_send_does_not_make_the_desk_read_every_place_again(
    demo_ledger: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    import shutil

    shutil.copy(demo_ledger, tmp_path / "ledger.sqlite")
    desk = Desk(Settings(ledger=str(tmp_path / "ledger.sqlite"), data=tmp_path / "data", day=DAY))
    read: list[int] = []
    whole = desk.ledger.places
    monkeypatch.setattr(desk.ledger, "places", lambda *given: read.append(1) or whole(*given))
    before = desk.places(None)
    assert len(read) == 1 and FIELD in before
    desk.ledger.append([NewEntry("leaf_counts", {"counts": "3,4"}, place=FIELD) for _ in range(5)])
    assert desk.places(None) == before and len(read) == 1
    body = {"name": "new field", "kind": "field"}
    desk.ledger.append([NewEntry("place", body, place="two-elms.new", farm="two-elms")])
    assert set(desk.places(None)) - set(before) == {"two-elms.new"} and len(read) == 2
    desk.close()


def test_visitors_share_what_is_read_while_entries_stream_in(monkeypatch: pytest.MonkeyPatch) -> None:
    """Twelve visitors, a new entry before each: those who waited take the newer district, none gets an older one."""
    heads, read = itertools.count(1), []
    seen = threading.local()

    def head() -> int:
        seen.head = next(heads)
        return int(seen.head)

    def slow(ledger: object, day: object, **options: object) -> SimpleNamespace:
        read.append(seen.head)
        time.sleep(0.05)
        return SimpleNamespace(head=seen.head)

    monkeypatch.setattr("sideoats.week.district.district_of", slow)
    desk = SimpleNamespace(evidence_head=head, settings=SimpleNamespace(draws=20, seed=None), ledger=None)
    districts, got = Districts(desk), []  # type: ignore[arg-type]

    def visit() -> None:
        found = districts.on(DAY)
        got.append((seen.head, found.head))  # type: ignore[attr-defined]

    visitors = [threading.Thread(target=visit) for _ in range(12)]
    for one in visitors:
        one.start()
    for one in visitors:
        one.join()
    assert len(got) == 12 and all(given >= wanted for wanted, given in got)
    assert len(read) < 6, "each visitor read the ledger for a head of their own"
