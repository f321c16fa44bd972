"""What the laboratory's slips of one lot say together: on file and by telephone, over the years, in every state."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest

from sideoats import replies
from sideoats.asking import ask, call_for
from sideoats.errors import InputError
from sideoats.ledger import Ledger, NewEntry, evidence_kinds, open_ledger
from sideoats.question import find
from sideoats.week import run_week
from sideoats.words import Reader

ON = date(2026, 11, 10)
DRY = {"form": "NO3-N", "basis": "dry"}
COWS = {**DRY, "class": "pregnant-cow"}
WELL = {"cores": "20", "bales": "80"}


def told(on: date = ON, **values: str) -> dict[str, Any]:
    return ask("hay-nitrate", {k.removeprefix("_"): v for k, v in values.items()}, on=on, draws=20)


@pytest.fixture
def lot(tmp_path: Path) -> Iterator[Ledger]:
    with open_ledger(tmp_path / "lot.db") as ledger:
        ledger.append([NewEntry("farm", {"name": "F"}, farm="f")])
        _record(ledger, "place", date(2026, 6, 20), {"name": "stack", "kind": "hay lot", "bales": 80})
        yield ledger


def _record(ledger: Ledger, kind: str, day: date, body: dict[str, Any], corrects: str | None = None) -> str:
    seen = datetime(day.year, day.month, day.day, 12, tzinfo=UTC)
    farm = "f" if kind == "place" else None
    entry = NewEntry(kind, body, place="stack", farm=farm, seen_at=seen, corrects=corrects)
    return str(next(iter(ledger.append([entry]))).id)


def _week(ledger: Ledger, on: date) -> Any:
    week = run_week(ledger, on, questions=["hay-nitrate"], draws=20)
    assert not week.problems
    return week.calls[0]


def test_a_lower_retest_does_not_erase_the_first_until_a_correction_withdraws_it(lot: Ledger) -> None:
    first = _record(lot, "hay_nitrate", date(2026, 7, 1), {**COWS, "result": "2575 ppm", "cores": 12})
    _record(lot, "hay_nitrate", date(2026, 11, 2), {**COWS, "result": "300 ppm", "cores": 20})
    call = _week(lot, ON)  # the first is 132 days old: longer than what other kinds of history go back
    assert call.verdict == "stop"
    assert "300 ppm of 2 Nov 2026 does not undo the 2,575 ppm of 1 Jul 2026" in call.headline
    _record(lot, "hay_nitrate", date(2026, 7, 1), {**COWS, "result": "257 ppm", "cores": 12}, corrects=first)
    assert _week(lot, ON).verdict == "wait"


def test_tests_are_told_by_their_days_in_whatever_order_they_are_given() -> None:
    one, other = (
        "on=2026-10-01, result=900 ppm, form=NO3-N, basis=dry",
        "on=2026-08-01, result=2600 ppm, form=NO3-N, basis=dry",
    )
    for tests in (f"{one}; {other}", f"{other}; {one}"):
        call = told(result="300 ppm", **COWS, **WELL, tests=tests)
        text = " ".join(call["because"])
        assert call["verdict"] == "stop" and "2,600 ppm on 1 Aug 2026; 900 ppm on 1 Oct 2026; 300 ppm." in text
        assert "The later 300 ppm does not undo the 2,600 ppm of 1 Aug 2026" in call["headline"]


def test_bales_tested_later_are_pooled_with_the_first(lot: Ledger) -> None:
    body = {**DRY, "class": "open-cow"}
    _record(lot, "hay_nitrate", date(2026, 9, 1), {**body, "single_bales": [200.0, 200.0, 2200.0]})
    assert _week(lot, ON).verdict == "look"
    _record(lot, "hay_nitrate", date(2026, 10, 1), {**body, "single_bales": [210.0] * 17})
    call = _week(lot, ON)
    assert call.quantities["nitrate_nitrogen_dry"].value == pytest.approx((2600 + 17 * 210) / 20)
    assert call.verdict in ("look", "act") and "2,200" in call.headline


def test_a_test_of_another_year_asks_whether_it_is_the_same_hay(lot: Ledger) -> None:
    _record(lot, "hay_nitrate", date(2026, 9, 1), {**COWS, "result": "120 ppm", "cores": 20})
    stack = {"name": "stack", "kind": "hay lot", "bales": 80}
    soon, silent, later = (_week(lot, day) for day in (date(2026, 9, 30), ON, date(2029, 12, 5)))
    assert soon.verdict == "wait" and "29 days old" in soon.because[0]
    for call in (silent, later):  # October's cutting may lie there by now: nobody says when this hay was put up
        assert call.verdict == "look" and call.look_by and "same hay" in call.headline
    _record(lot, "place", date(2026, 10, 30), {**stack, "baled": "2026-08-20"})
    assert _week(lot, ON).verdict == "wait" and "70 days old" in _week(lot, ON).because[0]
    _record(lot, "place", date(2026, 11, 1), {**stack, "baled": "2026-10-20"})
    assert "same hay" in _week(lot, ON).headline  # put up after the test


def test_a_slip_on_file_that_cannot_be_right_clears_nothing(lot: Ledger) -> None:
    wet = {**COWS, "basis": "as-fed", "moisture": "35 %", "result": "180 ppm", "state": "silage", "cores": 10}
    _record(lot, "hay_nitrate", date(2026, 10, 1), wet)
    call = _week(lot, ON)
    assert call.verdict == "look" and "moisture of 35 %" in call.headline and not call.options
    _record(lot, "hay_nitrate", date(2026, 11, 1), {**COWS, "result": "120 ppm", "cores": 20, "state": "silage"})
    assert _week(lot, ON).verdict == "look"  # the other one still cannot be read


@pytest.mark.parametrize(
    ("given", "why"),
    [
        ({"result": "180 ppm", "basis": "as-fed", "moisture": "35%", "state": "silage"}, "40 % to 80 %"),
        ({"result": "180 ppm", "basis": "as-fed", "moisture": "10%", "state": "standing"}, "60 % to 90 %"),
        ({"result": "180 ppm", "basis": "as-fed", "moisture": "25%", "state": "green chop"}, "60 % to 90 %"),
        ({"result": "180 ppm", "basis": "as-fed", "moisture": "88%"}, "3 % to 25 %"),
        ({"result": "24 %"}, "pure nitrate"),
        ({"result": "4.800 ppm"}, "thousand"),
        ({"result": "4.8 ppm"}, "thousands"),
        ({"single_bales": "2,300 ppm"}, "comma"),
        ({"single_bales": [4.0, 500.0, 6.0, 250.0]}, "unit"),
        ({"single_bales": "11, 400, 9500 ppm"}, "two bales"),
    ],
)
def test_a_slip_that_cannot_be_right_is_asked_back(given: dict[str, Any], why: str) -> None:
    with pytest.raises(InputError, match=why) as caught:
        ask("hay-nitrate", {**COWS, **WELL, **given}, on=ON, draws=20)
    assert "\n" not in str(caught.value)


def test_a_feed_to_mix_with_is_held_to_the_same() -> None:
    feed = "name=corn silage, nitrate=90 ppm, form=NO3-N, basis=as-fed, moisture=35%"
    with pytest.raises(InputError, match="corn silage"):
        told(result="1700 ppm", **DRY, _class="growing", feeds=feed)


def test_one_core_or_an_unknown_number_is_a_look_and_nothing_jumps_at_a_class() -> None:
    for cores in ({}, {"cores": "1"}, {"cores": "20"}):
        lot = {**DRY, "_class": "open-cow", "bales": "80", **cores}
        one, other = told(result="999 ppm", **lot), told(result="1000 ppm", **lot)
        assert one["verdict"] == other["verdict"] == "look"
    assert told(result="200 ppm", **COWS)["verdict"] == "look"
    assert told(result="200 ppm", **COWS, **WELL)["verdict"] == "wait"


@pytest.mark.parametrize("animals", ["pregnant-cow", "open-cow", "growing"])
def test_left_out_evidence_never_clears_a_lot(animals: str) -> None:
    full = {**DRY, "class": animals, **WELL, "cores": "16"}
    for level in ("90 ppm", "640 ppm", "690 ppm", "850 ppm", "950 ppm", "1200 ppm", "1900 ppm", "4200 ppm"):
        whole = told(result=level, **full)["verdict"]
        for left in ("cores", "bales", "class"):
            less = told(result=level, **{k: v for k, v in full.items() if k != left})["verdict"]
            assert less != "wait" or whole == "wait", (level, left)


@pytest.mark.parametrize("state", ["standing", "silage"])
def test_what_is_not_baled_is_not_told_of_bales(state: str) -> None:
    for level in ("90 ppm", "600 ppm", "900 ppm", "1300 ppm", "2300 ppm", "6000 ppm"):
        for cores in ("1", "10"):
            for animals in ("dry-cow", "open-cow"):
                call = told(result=level, **DRY, _class=animals, state=state, cores=cores)
                assert "bale" not in call["headline"] and "rind" not in call["headline"]
                if state == "standing":
                    assert "may be fed" not in call["headline"] and "grazing" in " ".join(call["because"])


def test_water_is_in_the_headline_from_the_line_of_caution_on() -> None:
    dry = {**DRY, "_class": "open-cow", **WELL, "result": "100 ppm"}
    for water, verdict in (("250 ppm", "look"), ("300 ppm", "stop")):  # South Dakota: caution from 100, toxic from 300
        call = told(**dry, water=water, water_form="NO3-N")
        assert call["verdict"] == verdict and "water" in call["headline"]
    assert told(**dry, water="60 ppm", water_form="NO3-N")["verdict"] == "wait"
    january = {"result": "300 ppm", **COWS, **WELL, "water": "10 ppm", "water_form": "NO3-N"}
    cold = told(date(2027, 1, 10), **january, air="50 degF")
    colder = told(date(2027, 1, 10), **january, air="10 degF")
    # by hand at 50 degF, between 40 and 60 degF: K-State's nursing cow drinks 11.4, 14.5 and
    # 17.9 gal at 40, 60 and 80, this one 12.4 at 80: (0.637 + 10 / 20 x (0.810 - 0.637)) x 12.4 = 9.0 gal
    gallons = (0.637 + 10 / 20 * (0.810 - 0.637)) * 12.4
    by_hand = gallons * 3.785412 * 10 / (1200 * 0.0225 * 0.45359237)
    assert cold["verdict"] == told(date(2027, 1, 10), **january)["verdict"] == "wait"
    assert cold["quantities"]["nitrate_nitrogen_from_water"]["value"] == pytest.approx(by_hand, rel=1e-4)
    # one cold hour makes no month of water milder
    assert colder["quantities"] == told(date(2027, 1, 10), **january)["quantities"]


@pytest.mark.parametrize("animal", ["horse", "mares", "sheep", "ewes", "goat", "nanny"])
def test_animals_that_no_table_is_for_are_never_cleared(animal: str) -> None:
    for level in ("50 ppm", "400 ppm", "900 ppm", "2500 ppm"):
        call = told(result=level, **DRY, **WELL, _class=animal)
        assert call["verdict"] in ("look", "stop")
        assert any("for cattle only" in line for line in call["cautions"])
    sorghum = told(result="50 ppm", **DRY, **WELL, _class=animal, hay="sorghum-sudan hay")
    assert (sorghum["verdict"] == "stop") == (animal in ("horse", "mares"))
    colour = ask("hay-spot-test", {"colour": "none", "class": animal}, on=ON, draws=20)
    assert colour["verdict"] == "look" and any("for cattle only" in line for line in colour["cautions"])


def test_a_memory_table_cautions_with_a_count_and_does_not_bind() -> None:
    call = told(result="600 ppm", **COWS, cores="20", bales="60")
    assert call["verdict"] == "wait"
    assert any(line.startswith("1 of 12 tables says less") and "from memory" in line for line in call["cautions"])
    stop = told(result="700 ppm", **COWS, cores="20", bales="60")  # ServiTech, read: pregnant at most 50 %
    assert stop["verdict"] == "stop" and "50 %" in " ".join(stop["because"])


@pytest.mark.parametrize(("kind", "question"), [("hay_nitrate", "hay-nitrate"), ("spot_test", "hay-spot-test")])
def test_a_word_that_the_phone_understands_is_understood_by_the_ledger(kind: str, question: str) -> None:
    """Record, form and file read by the kind's own list of words, the phone by the question's: they must not part."""
    held = evidence_kinds()[kind].fields
    walked = 0
    for asked in find(question).inputs:
        for source in asked.found_in:
            if asked.kind == "choice" and source.startswith(f"evidence:{kind}."):
                kept = held[source.rpartition(".")[2]]
                for word, meant in (asked.aliases or {}).items():
                    assert kept.read(word) == asked.read(word) == meant, word
                    walked += 1
    assert walked > 5


def test_next_to_nothing_is_asked_back_by_the_ledger_too(lot: Ledger) -> None:
    with pytest.raises(InputError, match="less than laboratories print"):
        _record(lot, "hay_nitrate", date(2026, 9, 1), {**COWS, "result": "0.3 ppm"})
    _record(lot, "hay_nitrate", date(2026, 9, 1), {**COWS, "result": "0.3 %"})


def test_a_word_that_may_be_two_forms_is_told_as_both() -> None:
    with pytest.raises(InputError, match="mostly means NO3") as caught:
        told(result="3000 ppm", form="nitrate", basis="dry")
    assert "did you mean" not in str(caught.value)


@pytest.mark.parametrize(("fed_from", "act_by"), [({}, "2026-11-10"), ({"fed_from": "2026-11-20"}, "2026-11-20")])
@pytest.mark.parametrize(
    "lot_of", [{"result": "2900 ppm"}, {"single_bales": "100; 4100 ppm"}, {"result": "1700 ppm", "state": "standing"},
               {"result": "100 ppm", "water": "400 ppm", "water_form": "NO3-N"}, {"result": "100 ppm", "_class": "mare",
               "hay": "sudan hay"}],
)  # fmt: skip
def test_a_stop_says_what_to_do_and_by_when(lot_of: dict[str, str], fed_from: dict[str, str], act_by: str) -> None:
    call = told(**{**COWS, **lot_of, **fed_from})
    day = f"{int(act_by[-2:])} Nov"
    assert call["verdict"] == "stop" and call["act_by"] == act_by and day in call["headline"]


def test_the_same_lot_in_spanish_and_in_kilograms() -> None:
    low = "name=prairie hay, nitrate=150 ppm, form=NO3-N, basis=dry"
    given = {**DRY, "class": "growing", **WELL, "result": "1700 ppm", "feeds": low}
    call = call_for("hay-nitrate", given, on=ON, draws=20)
    spanish = replies.told(call, Reader("es", "metric"))
    assert "lb of it a head" in call.headline and spanish.headline.startswith("No lo dé solo a ganado en crecimiento")
    assert "kg por cabeza" in spanish.headline and "1,700 ppm" in spanish.headline
    english = {word for line in (*spanish.because, *spanish.cautions) for word in line.split()}
    assert not english & {"the", "of", "and", "bales", "feed"}


def test_an_old_test_lends_a_fresh_one_neither_its_cores_nor_its_bales() -> None:
    """A fresh slip of one core makes no old hay known; what the old one found still counts where it is higher."""
    fresh = "on=2026-10-12, result=20 ppm, form=NO3-N, basis=dry"
    old = {**DRY, "_class": "open-cow", **WELL, "tested": "2024-05-24"}
    for slip in ({"result": "260 ppm"}, {"single_bales": "260; 240 ppm", "cores": "2", "bales": "2"}):
        assert told(**{**old, **slip})["verdict"] == told(**{**old, **slip}, tests=fresh)["verdict"] == "look"
    hot = told(**{**old, "result": "2300 ppm"}, tests=fresh)
    assert hot["verdict"] == "stop" and "does not undo the 2,300 ppm" in hot["headline"]
    assert told(**{**old, "result": "260 ppm"}, tests=f"{fresh}, cores=20")["verdict"] == "wait"
