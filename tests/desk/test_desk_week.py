"""This week: groups, order, filters, pages, progress, staleness; and a district of two thousand places."""

from __future__ import annotations

import re
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from typing import Any

import pytest
from running_desk import DAY, FIELD, RunningDesk, running

from sideoats.call import VERDICTS, Call, OptionResult
from sideoats.desk.pages.week import Filter, days_ahead, groups
from sideoats.desk.weeks import Weeks
from sideoats.errors import LedgerError
from sideoats.ledger import NewEntry, Place

MANY = 2_000


@dataclass
class StubWeek:
    on: date
    calls: tuple[Call, ...]
    problems: tuple[Any, ...] = ()
    passes: tuple[Any, ...] = ()


def stub_call(number: int, verdict: str, **changes: Any) -> Call:
    return Call(
        question="sorghum-aphid", on=DAY, verdict=verdict,
        act_by=DAY + timedelta(days=number % 20) if verdict == "act" else None,
        look_by=DAY + timedelta(days=number % 9) if verdict == "look" else None,
        headline=f"{number} aphids a leaf: treating today is worth {number % 50} USD/ac over leaving it.",
        options=(OptionResult("treat", "Treat today", 10.0, 1.0, 20.0, "USD/ac", 0.7),), place=f"p{number}",
        place_name=f"sorghum {number}", farm=f"farm-{number % 40}", room="insects",
        cost_of_waiting=float(MANY * 2 - number),
        **changes,
    )  # fmt: skip


def stub_calls() -> tuple[Call, ...]:
    """Two calls a place: every verdict in its share."""
    kinds = ("act", "look", "wait", "wait", "look", "act", "wait", "stop", "wait", "wait")
    return tuple(stub_call(i, kinds[(i + j) % 10]) for j in (0, 3) for i in range(MANY))


@pytest.fixture(scope="module")
def big(tmp_path_factory: pytest.TempPathFactory) -> Iterator[RunningDesk]:
    """Two thousand places on file, and their calls."""
    from sideoats.ledger import open_ledger

    folder = tmp_path_factory.mktemp("big")
    seen = datetime.combine(DAY, time(6), tzinfo=UTC)
    with open_ledger(folder / "ledger.sqlite") as ledger:
        ledger.append(NewEntry("farm", {"name": f"Farm {i}"}, farm=f"farm-{i}", seen_at=seen) for i in range(40))
        ledger.append(
            NewEntry(
                "place", {"name": f"sorghum {i}", "kind": "field"}, place=f"p{i}", farm=f"farm-{i % 40}", seen_at=seen
            )
            for i in range(MANY)
        )
    with running(folder, run=lambda on, progress: StubWeek(on, stub_calls())) as found:
        found.wait_for_week()
        yield found


def test_two_thousand_places_stay_under_300_kb(big: RunningDesk) -> None:
    with big.launched() as client:
        answer = client.get("/")
        assert answer.status_code == 200 and len(answer.content) < 300_000
        assert "4,000 calls" in answer.text
        assert answer.text.count('class="line"') == 75  # 25 each of stop, act and look; what waits is folded away
        more = client.get("/?act=300&look=300&stop=300&wait=300")
        assert len(more.content) < 1_200_000 and more.text.count('class="line"') == 1_200


def test_every_call_can_be_reached_page_by_page_of_one_farm(big: RunningDesk) -> None:
    with big.launched() as client:
        text = client.get("/?farm=farm-7&act=300&look=300&stop=300&wait=300").text
    wanted = {f"/call/sorghum-aphid/p{i}" for i in range(7, MANY, 40)}
    assert set(re.findall(r'href="(/call/sorghum-aphid/p\d+)\?', text)) == wanted


def test_groups_come_in_the_order_of_the_verdicts_and_by_money_or_day() -> None:
    calls = stub_calls()
    places = {f"p{i}": Place(f"p{i}", f"farm-{i % 40}", "", "field") for i in range(MANY)}
    by_money = groups(calls, Filter(shown=dict.fromkeys(VERDICTS, 10)), places)
    assert [g.verdict for g in by_money] == list(VERDICTS)
    assert sum(len(g.calls) for g in by_money) == len(calls)
    assert all(len(g.shown) == 10 and g.more == len(g.calls) - 10 for g in by_money)
    act = groups(calls, Filter(order="date", shown=dict.fromkeys(VERDICTS, 10)), places)[1]
    days = [c.act_by for c in act.calls]
    assert days == sorted(days)  # type: ignore[type-var]
    assert act.first == min(d for d in days if d)
    assert not any(g.calls for g in groups(calls, Filter(room="cattle"), places))


def test_the_days_ahead_count_what_is_due_and_put_what_is_late_on_today() -> None:
    calls = [
        stub_call(0, "act"), stub_call(3, "act"), stub_call(19, "act"), stub_call(2, "look"), stub_call(4, "wait"),
    ]  # fmt: skip
    late = Call("q", DAY, "act", DAY - timedelta(days=3), None, "late", place="p1")
    due = days_ahead([*calls, late], DAY)
    assert [d.day for d in due] == [DAY + timedelta(days=i) for i in range(14)]
    assert [d.act for d in due][:5] == [2, 0, 0, 1, 0] and sum(d.act for d in due) == 3
    assert [d.look for d in due][:5] == [0, 0, 1, 0, 0]


@pytest.mark.parametrize(
    "query", ["act=-5", "act=abc", "act=999999999999", "order=drop", "farm=none", "on=2026-09-14", "room=<b>"]
)
def test_odd_filters_are_harmless(big: RunningDesk, query: str) -> None:
    with big.launched() as client:
        answer = client.get("/?" + query)
    assert answer.status_code == 200 and "<b>" not in answer.text.replace("<b>now", "").replace("<b><time", "").replace(
        "<b>Mon", ""
    ).replace("<b>Tue", "").replace("<b>Wed", "").replace("<b>Thu", "").replace("<b>Fri", "").replace(
        "<b>Sat", ""
    ).replace("<b>Sun", "")


@pytest.mark.parametrize("day", ["2026-02-30", "yesterday", "1492-01-01", "2026-9-1", "'; DROP TABLE"])
def test_a_day_that_is_none_gets_one_line(big: RunningDesk, day: str) -> None:
    with big.launched() as client:
        for path in ("/", "/places", "/week.csv", "/done", "/weather"):
            answer = client.get(path, params={"on": day})
            assert answer.status_code == 422 and "date" in answer.text


def test_the_real_week_of_the_invented_district(desk: RunningDesk) -> None:
    week = desk.wait_for_week()
    with desk.launched() as client:
        text = client.get("/?act=300&look=300&stop=300&wait=300").text
        assert f"{len(week.calls)} calls" in text
        shown = set(re.findall(r'href="/call/([^"?]+)\?', text))
    assert shown == {f"{c.question}/{c.place}" for c in week.calls}


def test_an_empty_ledger_says_what_to_do(empty_desk: RunningDesk) -> None:
    with empty_desk.launched() as client:
        answer = client.get("/")
    assert answer.status_code == 200 and "Nothing on file" in answer.text


def slow_weeks(started: threading.Event, go: threading.Event, head: Callable[[], int]) -> Weeks:
    def run(on: date, progress: Callable[[int, int], None]) -> Any:
        progress(3, 10)
        started.set()
        go.wait(20)
        return StubWeek(on, ())

    return Weeks(head, run)


def test_an_older_week_is_shown_until_the_new_one_is_there() -> None:
    started, go, head = threading.Event(), threading.Event(), [1]
    weeks = slow_weeks(started, go, lambda: head[0])
    asked, fresh = weeks.on(DAY)
    assert fresh and not asked.ready
    started.wait(20)
    assert (asked.done, asked.total) == (3, 10)
    go.set()
    assert weeks.on(DAY, wait=20)[0].ready
    go.clear()
    head[0] = 2
    older, fresh = weeks.on(DAY)
    assert older.ready and not fresh and older.head == 1
    go.set()
    newer, fresh = weeks.on(DAY, wait=20)
    assert newer.ready and fresh and newer.head == 2
    assert weeks.on(DAY)[0] is newer  # asked once for each state of the ledger
    weeks.close()


def test_a_week_that_fails_says_so_in_one_line() -> None:
    def run(on: date, progress: Callable[[int, int], None]) -> Any:
        raise LedgerError("the disk is full; nothing was stored")

    weeks = Weeks(lambda: 1, run)
    asked, _ = weeks.on(DAY, wait=20)
    assert asked.failed == "the disk is full; nothing was stored" and not asked.ready
    weeks.close()


def test_the_progress_page_and_its_end(demo_ledger: Path, tmp_path: Path) -> None:
    go = threading.Event()

    def run(on: date, progress: Callable[[int, int], None]) -> Any:
        progress(37, 200)
        go.wait(30)
        return StubWeek(on, ())

    with running(tmp_path, demo_ledger, run=run) as found, found.launched() as client:
        waiting = client.get("/")
        assert (
            "37 of 200 done" in waiting.text and "<progress" in waiting.text and 'http-equiv="refresh"' in waiting.text
        )
        polled = client.get(f"/week/progress?for=page&on={DAY}")
        assert "hx-refresh" not in polled.headers
        go.set()
        found.wait_for_week()
        assert client.get(f"/week/progress?for=page&on={DAY}").headers["hx-refresh"] == "true"


def test_what_is_recorded_makes_the_week_old_and_new_again(demo_ledger: Path, tmp_path: Path) -> None:
    with running(tmp_path, demo_ledger) as found, found.launched() as client:
        before = found.wait_for_week()
        body = {"counts": [150] * 40, "stage": "boot"}
        seen = datetime.combine(DAY, time(14), tzinfo=UTC)
        found.desk.ledger.append([NewEntry("leaf_counts", body, place=FIELD, seen_at=seen)])
        text = client.get("/").text
        assert "being worked out" in text or "150 aphids" in text
        after = found.wait_for_week()
        was = {(c.place, c.question): c for c in before.calls}
        now = {(c.place, c.question): c for c in after.calls}
        assert was[(FIELD, "sorghum-aphid")].headline != now[(FIELD, "sorghum-aphid")].headline
