"""Dates counted back, conflicts, withdrawals, condition classes, gains, slides by kind."""

from __future__ import annotations

import numpy as np
import pytest

from sideoats.cattle import condition, growth, program, shrink, slide
from sideoats.facts import load

SALE = "2026-10-20"


def _dates(**more):
    usual = {"program_days": 45, "first_before_weaning": (14, 21), "booster_after_first": (14, 28)}
    return program.program_dates([SALE], **(usual | more))


def test_booster_counts_from_the_round_that_was_given():
    dates = _dates(first_round=["2026-08-20"], withdrawal_days=21)
    assert (str(dates.booster_from[0]), str(dates.booster_to[0])) == ("2026-09-03", "2026-09-17")
    assert str(dates.treat_by[0]) == "2026-09-29"


def test_booster_never_after_the_last_day_for_treatments():
    dates = _dates(program_days=10, withdrawal_days=10)
    assert dates.booster_to[0] == dates.treat_by[0]
    found = program.program_conflicts(dates, sale=[SALE], on="2026-09-25", program_days=10, least_gap=14, most_gap=28)
    assert found["booster would be after the last day for treatments"].tolist() == [False]
    late = _dates(program_days=0, withdrawal_days=21, first_before_weaning=(0, 7))
    found = program.program_conflicts(late, sale=[SALE], on="2026-09-25", program_days=0, least_gap=14, most_gap=28)
    assert found["booster would be after the last day for treatments"].tolist() == [True]


def test_withdrawal_is_the_longest_of_all_products():
    treated = [["2026-09-01", "2026-09-20", "NaT"], ["NaT", "NaT", "NaT"]]
    clear = program.withdrawal_clear(treated, [[45, 10.5, 99], [1, 2, 3]])
    assert str(clear[0]) == "2026-10-16"  # 1 September + 45; the other ends on 1 October, its half day counted whole
    assert np.isnat(clear[1])


def test_unknown_dates_stay_unknown():
    dates = program.program_dates(
        ["NaT"], program_days=[np.nan], first_before_weaning=(14, 21), booster_after_first=(14, 28)
    )
    assert np.isnat(dates.wean_by[0]) and np.isnat(dates.first_from[0])
    assert np.isnan(program.days_between("NaT", SALE))
    found = program.program_conflicts(dates, sale=["NaT"], on=SALE, program_days=[45], least_gap=14, most_gap=28)
    assert not any(np.any(mask) for mask in found.values())


def test_first_sale_that_qualifies():
    got = program.first_qualifying_sale(["NaT", "2026-09-01"], "2026-09-20", [45, 45])
    assert got.astype(str).tolist() == ["2026-11-04", "2026-10-16"]


def test_condition_by_weight_and_back():
    fact = load()["cattle/cow.weight_by_condition"]
    table = fact.column("score"), fact.column("ratio to score 5")
    fatter = condition.weight_at_condition(1000, 4, 5, *table)
    assert fatter == pytest.approx(1000 / 0.93)
    assert condition.condition_after_gain(1000, 4, fatter - 1000, *table) == pytest.approx(5)
    assert np.isnan(condition.weight_at_condition(1000, 0.5, 5, *table))
    assert condition.condition_after_gain(1000, 8, 900, *table) == 9  # held at the table's end


@pytest.mark.parametrize(("publisher", "classes"), [("nebraska", "lean lean boner boner breaker"),
                                                    ("trade", "lean lean boner breaker breaker")])  # fmt: skip
def test_market_class_by_publisher(publisher, classes):
    _, fact = load().choose("cattle/cow_class", publisher)
    names = fact.column("class")
    found = condition.class_of_condition([2, 4.9, 5, 6, 7], fact.column("lowest score"))
    assert [names[i] for i in found] == classes.split()
    assert condition.class_of_condition([np.nan], fact.column("lowest score")).tolist() == [-1]


def test_gain_and_days():
    assert growth.gain_needed(880, 1300, 140) == pytest.approx(3.0)
    assert np.isnan(growth.gain_needed(880, 1300, 0))
    assert growth.days_to_reach([880, 1300, 880], [1300, 1200, 1000], [3, 3, 0]).tolist()[:2] == [140, 0]
    assert np.isnan(growth.days_to_reach(880, 1000, 0))
    assert growth.weight_after(500, 2, 100) == 700
    assert growth.feed_for_gain(100, 7) == 700


@pytest.mark.parametrize(
    ("kind", "window", "light", "heavy"),
    [("both", 0, 104, 96), ("over", 0, 100, 96), ("under", 0, 104, 100), ("both", 10, 103.2, 96.8)],
)
def test_slide_variants(kind, window, light, heavy):
    paid = slide.slide_price(100, 700, [650, 750], 8, kind=kind, window=window)
    assert paid.tolist() == pytest.approx([light, heavy])


def test_slide_refuses_what_it_does_not_know():
    with pytest.raises(ValueError, match="sideways"):
        slide.slide_price(100, 700, 750, 8, kind="sideways")
    with pytest.raises(ValueError, match="rising bounds"):
        slide.tiered_slide_price(100, 750, [700, 700], [5])
    with pytest.raises(ValueError, match="not one of"):
        shrink.standing_shrink(4, "other")


def test_shrinks_multiply():
    assert shrink.combined_shrink(0.03, 0.02) == pytest.approx(1 - 0.97 * 0.98)
    assert shrink.distance_shrink([0, 50, 100, 300], "trade_high").tolist() == pytest.approx([0, 0.03, 0.03, 0.05])
    assert shrink.distance_shrink(300, "trade_low") == pytest.approx(0.04)
    assert np.isnan(shrink.distance_shrink(-1))
    assert np.isnan(shrink.standing_shrink(-0.5))
