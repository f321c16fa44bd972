"""Calls kept as given, and scored when the outcome is in."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from sideoats.call import Call, OptionResult, Quantity, call_from
from sideoats.cli import main
from sideoats.demo.district import TODAY
from sideoats.ledger import Ledger, NewEntry, open_ledger
from sideoats.week.kept import call_id, held_up, keep_calls


@pytest.fixture
def ledger(tmp_path: Path) -> Ledger:
    opened = open_ledger(tmp_path / "ledger.sqlite")
    opened.append([NewEntry("farm", {"name": "F"}, farm="f")])
    opened.append([NewEntry("place", {"name": "p", "kind": "field"}, place="f.p", farm="f")])
    return opened


def call(number: int, chance: float) -> Call:
    options = (
        OptionResult("go", "Go", 50.0, 10.0, 90.0, "USD/ac", chance),
        OptionResult("stay", "Stay", 0, 0, 0, "USD/ac", 1 - chance),
    )
    quantities = {"chance_it_pays": Quantity(chance, "1"), "number": Quantity(float(number), "1")}
    return Call("made-up", TODAY, "act", TODAY, None, "Go.", options, quantities, place="f.p")


def outcome(c: Call, what: str, **body: object) -> NewEntry:
    return NewEntry(
        "outcome", {"what": what, "call": call_id(c), **body}, place="f.p", seen_at=datetime(2026, 12, 1, tzinfo=UTC)
    )


def test_keeping_twice_stores_once_and_gives_the_call_back(ledger: Ledger) -> None:
    given = call(1, 0.7)
    assert [r.stored for r in keep_calls(ledger, [given])] == [True]
    assert [r.stored for r in keep_calls(ledger, [given])] == [False]
    entry = ledger.get(call_id(given))
    assert entry is not None and call_from(entry.body["call"]).full() == given.full()


def test_scores_equal_figures_worked_by_hand(ledger: Ledger) -> None:
    """Ten calls at .9, .7 (2), .3 (3), .1 (2), .5 (2); Brier score and parts worked from the definition (0.178)."""
    chances = [0.9, 0.7, 0.7, 0.3, 0.3, 0.3, 0.1, 0.1, 0.5, 0.5]
    came = [1, 1, 0, 0, 1, 0, 0, 0, 1, 0]
    calls = [call(i, c) for i, c in enumerate(chances)]
    keep_calls(ledger, calls)
    ledger.append([outcome(c, "chance_it_pays", happened=bool(o)) for c, o in zip(calls, came, strict=True)])
    found = held_up(ledger)
    assert found.brier.score == pytest.approx(0.178)
    assert found.brier.uncertainty == pytest.approx(0.24)
    assert found.chances is not None and found.chances.count.sum() == 10
    assert found.verdicts == {"act": 10} and found.outcomes == 10 and found.unused == ()


def test_values_score_the_range_and_the_money(ledger: Ledger) -> None:
    calls = [call(i, 0.5) for i in range(4)]
    keep_calls(ledger, calls)
    values = ["20 USD/ac", "95 USD/ac", "60 USD/ac", "-5 USD/ac"]
    ledger.append([outcome(c, "go", value=v) for c, v in zip(calls, values, strict=True)])
    found = held_up(ledger)
    assert found.ranges is not None and found.ranges.share == 0.5 and found.ranges.count == 4
    assert found.money_lines() == [
        "Options taken came to 42.50 USD/ac on the mean of 4; 50.00 was expected of them and 50.00 of the best."
    ]  # 170 / 4; USD/ac of four fields is not added up
    # pinball of 10 at .1 and 90 at .9 by hand: (1+7)/2, (8.5+4.5)/2, (5+3)/2, (13.5+9.5)/2
    assert found.pinball["USD/ac"] == pytest.approx((4 + 6.5 + 4 + 11.5) / 4)


def test_where_all_came_out_alike_no_skill_is_told(ledger: Ledger, capsys: pytest.CaptureFixture[str]) -> None:
    calls = [call(i, 0.8) for i in range(2)]
    keep_calls(ledger, calls)
    ledger.append([outcome(c, "chance_it_pays", happened=True) for c in calls])
    with pytest.raises(SystemExit, match="0"):
        main(["--ledger", ledger.address, "score"])
    said = capsys.readouterr().out
    assert "all came out alike: no skill to say" in said and "nan" not in said and "Brier score 0.040 over 2" in said


def test_an_outcome_that_scores_nothing_is_named(ledger: Ledger) -> None:
    c = call(1, 0.5)
    keep_calls(ledger, [c])
    ledger.append([outcome(c, "number", happened=True), outcome(c, "nothing", value="3 USD/ac")])
    found = held_up(ledger)
    assert len(found.unused) == 2 and found.ranges is None and found.chances is None


def test_money_by_the_bushel_is_an_outcome_and_scores_the_range(
    ledger: Ledger, capsys: pytest.CaptureFixture[str]
) -> None:
    held = OptionResult("hold-3", "Hold 3 months, then sell", 5.40, 4.60, 6.30, "USD/bu", 0.6)
    sold = OptionResult("sell-now", "Sell now", 5.20, 5.20, 5.20, "USD/bu", 0.4)
    c = Call("bin-hold", TODAY, "wait", None, None, "Hold.", (held, sold), place="f.p")
    keep_calls(ledger, [c])
    words = ["place=f.p", f"call={call_id(c)}", "what=hold-3", "value=5.10 USD/bu"]
    with pytest.raises(SystemExit, match="0"):
        main(["--ledger", ledger.address, "record", "outcome", *words])
    capsys.readouterr()
    found = held_up(ledger)
    assert found.unused == () and found.ranges is not None and found.ranges.share == 1.0
    assert found.money["USD/bu"].came == pytest.approx(5.10)


def test_an_outcome_of_a_place_and_a_question_scores_the_newest_call_by_that_day(ledger: Ledger) -> None:
    """It was stored and never scored: only an outcome that gave the id of its call counted."""
    days = [TODAY - timedelta(days=7), TODAY, TODAY + timedelta(days=7)]
    keep_calls(
        ledger, [replace(call(i, c), on=day) for i, (c, day) in enumerate(zip((0.2, 0.9, 0.4), days, strict=True))]
    )
    midweek = datetime(TODAY.year, TODAY.month, TODAY.day, tzinfo=UTC) + timedelta(days=3)
    told = {"what": "chance_it_pays", "question": "made-up", "happened": True}
    ledger.append([NewEntry("outcome", told, place="f.p", seen_at=midweek)])
    found = held_up(ledger)
    assert found.outcomes == 1 and found.brier.score == pytest.approx(0.01)  # (0.9 - 1) squared
    ledger.append([NewEntry("outcome", {**told, "happened": False}, place="f.p", seen_at=midweek + timedelta(days=1))])
    found = held_up(ledger)
    assert found.outcomes == 1 and found.brier.score == pytest.approx(0.81)  # told again: the newest word counts
    early = NewEntry("outcome", told, place="f.p", seen_at=midweek - timedelta(days=30))
    ledger.append([early])
    assert held_up(ledger).outcomes == 1 and "no call of made-up was kept there" in held_up(ledger).unused[0]
