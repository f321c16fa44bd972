"""A call as plain text: what is said of each option, and nothing that says nothing."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import pytest

from sideoats.call import Call, OptionResult, Quantity
from sideoats.printed import call_text, plain_number, sheet
from sideoats.words import METRIC, Reader

CALL = Call(
    "cull-cows", date(2026, 9, 14), "act", date(2026, 9, 16), None, "Sell the open cows.",
    options=(
        OptionResult("feed", "Feed on", math.nan, math.nan, math.nan, "USD/head", 0.0),
        OptionResult("haul", "Haul them", 0.0, 0.0, 0.0, "USD/head", 0.0, barred="a lame cow may not travel"),
        OptionResult("sell", "Sell now", 0.0, 0.0, 0.0, "USD/head", 0.4),
        OptionResult("keep", "Keep to spring", 12.5, -30.0, 1250.0, "USD/head", 0.6, certainty_equivalent=4.0),
    ),
    quantities={"weight": Quantity(1150.0, "lb"), "share": Quantity(0.25, "1"), "class": Quantity("boner", "")},
    worth_of_a_look=Quantity(3.0, "USD/head"), because=("Grass is short.",), place_name="Cows", farm="two-elms",
)  # fmt: skip


def test_each_option_says_what_it_has_to_say() -> None:
    lines = call_text(CALL).splitlines()
    assert lines[0] == "▶ ACT  act by Wed 16 Sep 2026"
    assert [line for line in lines if line.startswith("  ")][:4] == [
        "  Keep to spring: $12/head (1 time in 10 under -$30/head, 1 in 10 over $1,250/head); to a farm that minds "
        "risk, its ups and downs cost $8/head of that; comes out best 60 times in 100",
        "  Feed on",
        "  Sell now: $0/head; comes out best 40 times in 100",
        "  Haul them: ruled out, a lame cow may not travel",
    ]
    assert {"  weight: 1,150 lb", "  share: 0.2500", "  class: boner"} <= set(lines)
    assert "  another look is worth up to $3/head" in lines and "  - Grass is short." in lines
    assert "  ... and 2 more options (--json shows all)" in call_text(CALL, options=2)


def test_figures_told_by_the_month_stand_in_one_line() -> None:
    months = {f"break_even_month_{m}": Quantity(5.0 + m / 10, "USD/bu") for m in (1, 2, 3)}
    others = {"line_30": Quantity(30.0, "1"), "bushels": Quantity(9.0, "bu")}
    lines = call_text(replace(CALL, quantities=months | others))
    shown = [line for line in lines.splitlines() if line.startswith(("  break", "  line", "  bushels"))]
    assert shown == ["  break even month 1-3: 5.100, 5.200, 5.300 USD/bu", "  line 30: 30", "  bushels: 9 bu"]


def test_a_publication_is_named_once_and_common_practice_in_one_line() -> None:
    facts = [("a/one", "Smith 1990", "read"), ("a/p", "common practice", "practice"), ("b/two", "Smith 1990", "read"),
             ("b/q", "common practice, a round figure", "practice"), ("c/m", "Jones 2001", "memory")]  # fmt: skip
    sources = tuple({"id": i, "citation": c, "provenance": p} for i, c, p in facts)
    assert call_text(replace(CALL, sources=sources)).split("Sources:\n")[1].splitlines() == [
        "  Read in the source:", "  - Smith 1990: a/one, b/two", "  From memory, source not read:",
        "  - Jones 2001: c/m", "  Common practice, no source:", "  - a/p, b/q",
    ]  # fmt: skip


def test_a_sheet_says_what_was_asked_where_and_when() -> None:
    assert sheet(CALL).splitlines()[0] == "cull-cows: Cows, 14 September 2026"
    assert sheet(CALL, farm="Two Elms").splitlines()[0] == "cull-cows: Cows, Two Elms, 14 September 2026"


@pytest.mark.parametrize(
    ("value", "text"),
    [(12000.0, "12,000"), (0.0832, "0.0832"), (141.84, "141.8"), (14.851, "14.85"), (1.6724, "1.672")],
)
def test_numbers_keep_four_digits(value: float, text: str) -> None:
    assert plain_number(value) == text


def treated(*barred: int, by: int | None = 2, sure: float = 0.14) -> Call:
    """Treating on one of eight days, worth two dollars less each day, against leaving it."""
    label = ("Treat today", *(f"Treat in {d} days" for d in range(1, 8)))
    worth, chance = [21.0 - 2 * d for d in range(8)], (0.9, *(0.01,) * 7)
    shut = ["inside the interval" if d in barred else None for d in range(8)]
    days = tuple(
        OptionResult(f"treat-day-{d}", label[d], worth[d], 2.0, 44.0, "USD/ac", chance[d], shut[d],
                     certainty_equivalent=worth[d] + sure)
        for d in range(8)
    )  # fmt: skip
    never = OptionResult("never", "Do not treat", 0.0, 0.0, 0.0, "USD/ac", 0.03, passive=True)
    on = CALL.on
    act_by = None if by is None else on + timedelta(days=by)
    return replace(CALL, on=on, act_by=act_by, verdict="wait" if by is None else "act", options=(*days, never))


def listed(call: Call, **reading: Any) -> list[str]:
    text = call_text(call, **reading).splitlines()
    return text[3 : text.index("", 3)]


def test_the_days_of_one_act_are_today_the_last_good_day_the_last_and_leaving_it() -> None:
    assert listed(treated()) == [
        "  Treat today: $21/ac (1 time in 10 under $2/ac, 1 in 10 over $44/ac); comes out best 97 times in 100",
        "  Treat in 2 days (Wed 16 Sep, the last good day): $17/ac (1 time in 10 under $2/ac, 1 in 10 over $44/ac)",
        "  Treat in 7 days (Mon 21 Sep, the last day): $7/ac (1 time in 10 under $2/ac, 1 in 10 over $44/ac)",
        "  Do not treat: $0/ac; comes out best 3 times in 100",
    ]
    assert len(treated().contract()["options"]) == 9  # the JSON keeps every day
    assert "last good day" not in call_text(treated(by=None))
    assert listed(treated(), reader=Reader("es", METRIC))[0].startswith("  Treat today: $52/ha (1 vez de cada 10")


def test_days_that_are_ruled_out_are_one_line_a_stretch() -> None:
    lines = listed(treated(5, 6, 7))
    assert lines[-1] == "  Treat in 5 days or the 2 days after: ruled out, inside the interval"
    assert any("Treat in 4 days (Fri 18 Sep, the last day)" in line for line in lines) and len(lines) == 5
    assert listed(treated(*range(8), by=None))[-1].startswith("  Treat today or the 7 days after: ruled out")


def test_risk_is_told_only_where_it_moves_the_sum() -> None:
    assert "minds risk" not in call_text(treated(sure=0.19)) and "minds risk" not in call_text(treated(sure=math.nan))
    assert "its ups and downs cost $5/ac of that" in call_text(treated(sure=-5.0))
    assert "it is worth $5/ac more, for it steadies the rest" in call_text(treated(sure=5.0))
