"""A call as plain text: what is said of each option, and nothing that says nothing."""

from __future__ import annotations

import math
from datetime import date

import pytest

from sideoats.call import Call, OptionResult, Quantity
from sideoats.printed import call_text, money, plain_number, sheet

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
        "  Keep to spring: 12.50 USD/head, as good as 4.00 USD/head for certain (1 in 10 below -30.00 USD/head, "
        "1 in 10 above 1,250 USD/head); best in 60 % of futures",
        "  Feed on",
        "  Sell now: 0.00 USD/head; best in 40 % of futures",
        "  Haul them: ruled out, a lame cow may not travel",
    ]
    assert {"  weight: 1,150 lb", "  share: 0.2500", "  class: boner"} <= set(lines)
    assert "  another look is worth up to 3.00 USD/head" in lines and "  - Grass is short." in lines
    assert "  ... and 2 more options (--json shows all)" in call_text(CALL, options=2)


def test_a_sheet_says_what_was_asked_where_and_when() -> None:
    assert sheet(CALL).splitlines()[0] == "cull-cows: Cows, 14 September 2026"
    assert sheet(CALL, farm="Two Elms").splitlines()[0] == "cull-cows: Cows, Two Elms, 14 September 2026"


@pytest.mark.parametrize(
    ("value", "text"),
    [(12000.0, "12,000"), (0.0832, "0.0832"), (141.84, "141.8"), (14.851, "14.85"), (1.6724, "1.672")],
)
def test_numbers_keep_four_digits(value: float, text: str) -> None:
    assert plain_number(value) == text


def test_money_has_cents_below_a_thousand() -> None:
    assert [money(v, "USD") for v in (999.994, 1000.4, math.nan)] == ["999.99 USD", "1,000 USD", "-"]
