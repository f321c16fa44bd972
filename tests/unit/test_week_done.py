"""Recording what was done closes a call until something newer is seen; a hazard stands whatever was done."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from pathlib import Path

import pytest

from sideoats.call import Call
from sideoats.cli import main
from sideoats.demo.district import TODAY, ZONE, all_entries
from sideoats.ledger import Ledger, NewEntry, open_ledger
from sideoats.week import run_week
from sideoats.week.store import WeekStore
from sideoats.week.stored_run import run_stored

DRAWS = 60
FIELD, APHID = "two-elms.sorghum-1", "sorghum-aphid"


@pytest.fixture
def district(tmp_path: Path) -> Ledger:
    opened = open_ledger(tmp_path / "ledger.sqlite")
    opened.append(all_entries())
    return opened


def week(ledger: Ledger, on: date, question: str, place: str) -> Call:
    found = [c for c in run_week(ledger, on, questions=[question], draws=DRAWS).calls if c.place == place]
    return found[0]


def seen(day: date, hour: int = 12) -> datetime:
    return datetime(day.year, day.month, day.day, hour, tzinfo=ZONE)


def act(ledger: Ledger, place: str, question: str, day: date, **body: object) -> None:
    told = {"what": "Sprayed the whole field", "question": question, **body}
    ledger.append([NewEntry("action", told, place=place, seen_at=seen(day), observer="Ada")])


def test_a_treatment_closes_its_call_and_books_the_recount(district: Ledger) -> None:
    """The desk went on saying 'treat today' and priced the wait: it invited a second spray."""
    assert week(district, TODAY, APHID, FIELD).verdict == "act"
    act(district, FIELD, APHID, TODAY)
    for later in (0, 1, 2):
        call = week(district, TODAY + timedelta(days=later), APHID, FIELD)
        assert call.verdict == "look" and call.act_by is None and call.cost_of_waiting == 0 and not call.options
        assert call.look_by == TODAY + timedelta(days=4)
        for word in ("Sprayed the whole field", "Ada", "14 Sep", "18 Sep"):
            assert word in call.headline
    late = week(district, TODAY + timedelta(days=6), APHID, FIELD)
    assert late.verdict == "look" and late.look_by == TODAY + timedelta(days=6)  # overdue: today
    assert week(district, TODAY - timedelta(days=1), APHID, FIELD).verdict == "act"  # not known the day before


@pytest.mark.parametrize("answer", ["not done", "later"])
def test_an_answer_that_it_was_not_done_leaves_the_call_open(district: Ledger, answer: str) -> None:
    act(district, FIELD, APHID, TODAY, answer=answer)
    call = week(district, TODAY, APHID, FIELD)
    assert call.verdict == "act" and not call.done
    act(district, FIELD, APHID, TODAY, answer="done")
    assert week(district, TODAY, APHID, FIELD).done


def test_a_newer_count_opens_it_again(district: Ledger) -> None:
    act(district, FIELD, APHID, TODAY)
    count = {"counts": [300] * 20, "stage": "boot"}
    again = seen(TODAY + timedelta(days=4), 9)
    district.append([NewEntry("leaf_counts", count, place=FIELD, seen_at=again, observer="scout")])
    call = week(district, TODAY + timedelta(days=4), APHID, FIELD)
    assert call.verdict == "act" and not call.done and call.options


def test_only_the_question_it_names_is_closed_and_a_later_day_is_not_yet(district: Ledger) -> None:
    others = ("sorghum-headworm", "rain-deficit", "spray-hours")
    before = [c.full() for c in run_week(district, TODAY, questions=others, draws=DRAWS).calls if c.place == FIELD]
    act(district, FIELD, APHID, TODAY, on=(TODAY + timedelta(days=2)).isoformat())
    assert week(district, TODAY, APHID, FIELD).verdict == "act"  # planned for Wednesday
    act(district, FIELD, APHID, TODAY)
    after = [c.full() for c in run_week(district, TODAY, questions=others, draws=DRAWS).calls if c.place == FIELD]
    assert after == before
    taken_back = [e for e in district.history(place=FIELD, kind="action")][-1]
    district.append([NewEntry("withdrawal", {"reason": "wrong field"}, place=FIELD, corrects=taken_back.id)])
    assert week(district, TODAY, APHID, FIELD).verdict == "act"


def test_what_is_not_counted_is_done_and_shown_as_done(district: Ledger, capsys: pytest.CaptureFixture[str]) -> None:
    acting = next(c for c in run_week(district, TODAY, draws=DRAWS).calls if c.verdict == "act" and c.room == "cattle")
    act(district, acting.place, acting.question, TODAY, what="Sold at the sale barn")
    call = week(district, TODAY, acting.question, acting.place)
    assert call.verdict == "wait" and call.cost_of_waiting == 0
    assert call.headline == "Done: Sold at the sale barn (Mon 14 Sep by Ada)."
    words = ["--ledger", district.address, "week", "--on", str(TODAY), "--draws", "20"]
    with pytest.raises(SystemExit, match="0"):
        main([*words, "--question", acting.question])
    shown = capsys.readouterr().out
    assert "done" in shown and "Sold at" in shown


def test_a_hazard_stands_whatever_was_done(district: Ledger) -> None:
    """Nitrate does not leave hay because a load was moved: only a newer test or look clears it."""
    for stop in run_week(district, TODAY, draws=DRAWS).of("stop"):
        act(district, stop.place, stop.question, TODAY, what="Moved it")
        call = week(district, TODAY, stop.question, stop.place)
        assert call.verdict == "stop" and call.headline == stop.headline
        assert "Moved it" in call.because[0] and "Ada" in call.because[0]


def test_a_stored_run_asks_again_where_something_was_done(district: Ledger, tmp_path: Path) -> None:
    path = tmp_path / "w.week"
    run_stored(district, TODAY, path, questions=[APHID], draws=DRAWS)
    act(district, FIELD, APHID, TODAY)
    assert run_stored(district, TODAY, path, questions=[APHID], draws=DRAWS).asked == 1
    store = WeekStore(path)
    call = next(c for c in store.calls() if c.place == FIELD)
    store.close()
    assert call.verdict == "look" and call.done["by"] == "Ada"


def test_the_command_line_refuses_a_question_that_is_none(district: Ledger, capsys: pytest.CaptureFixture[str]) -> None:
    words = ["--ledger", district.address, "record", "action", f"place={FIELD}", "what=sprayed", "seen=2026-09-14"]
    with pytest.raises(SystemExit, match="2"):
        main([*words, "question=sorghum-aphids"])
    assert "did you mean sorghum-aphid" in capsys.readouterr().err
    with pytest.raises(SystemExit, match="0"):
        main(words)
    assert "no call is closed" in capsys.readouterr().err
    with pytest.raises(SystemExit, match="0"):
        main([*words, f"question={APHID}"])
    assert week(district, TODAY, APHID, FIELD).done["what"] == "sprayed"
