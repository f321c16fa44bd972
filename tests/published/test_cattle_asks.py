"""The room's phone-in examples, whose figures were worked outside this program."""

from __future__ import annotations

from datetime import date

import pytest

from sideoats import ask

CULL = {
    "weight": "1150 lb", "price": "70 USD/cwt", "later_price": "82 USD/cwt", "days": "90", "gain": "1.8 lb/day",
    "cost_per_day": "2.35 USD/day", "interest": "8 %", "death": "1 %",
}  # fmt: skip
PROGRAM = {
    "weight": "525 lb", "price": "250 USD/cwt", "later_price": "236 USD/cwt", "premium": "8 USD/cwt", "days": "45",
    "gain": "1.75 lb/day", "feed_per_day": "1.90 USD/day", "labor_per_day": "0.40 USD/day", "health": "22 USD/head",
    "interest": "8 %", "death": "1 %", "shrink_now": "3 %", "shrink_later": "2 %",
}  # fmt: skip
STOCKER = {
    "weight": "500 lb", "price": "250 USD/cwt", "later_price": "215 USD/cwt", "pasture_end": "2027-03-15",
    "pasture_gain": "1.6666666666667 lb/day", "pasture_per_gain": "0.85 USD/lb", "health": "22 USD/head",
    "freight": "12 USD/head", "selling": "20 USD/head", "interest": "8 %", "death": "1.5 %",
    "spring_price": "150 USD/cwt",
}  # fmt: skip


def _values(answer):
    return {name: q["value"] for name, q in answer["quantities"].items()}


def _option(answer, key):
    return next(o for o in answer["options"] if o["key"] == key)


def test_wean_date_counts_back_45_days():
    """Program rule of 45 days weaned (Washington State and Kentucky extension): 20 October less 45 days is 5 September;
    first round two to three weeks before (Kentucky)."""
    got = _values(ask("wean-date", {"sale": "2026-10-20", "program_days": "45"}, on=date(2026, 8, 1)))
    assert got["wean_by"] == "2026-09-05"
    assert (got["first_round_from"], got["first_round_to"]) == ("2026-08-15", "2026-08-22")
    assert (got["booster_from"], got["booster_to"]) == ("2026-08-29", "2026-09-19")
    assert "too_late_or_wrong" not in got


def test_cull_cows_at_the_given_price():
    """Constructed cull cow budget of the reference page: net +32.70, break-even 79.48, split 138.00 and 132.84."""
    answer = ask("cull-cows", CULL, on=date(2026, 11, 24))
    got = _values(answer)
    assert got["net_at_given_price"] == pytest.approx(32.70, abs=0.005)
    assert got["break_even_price"] == pytest.approx(79.48, abs=0.005)
    assert any("price brings +138.00 and the gain +132.84" in line for line in answer["because"])
    assert got["end_weight"] == 1312


def test_cull_cows_with_price_as_draws():
    """The same mean under draws (their mean is the given price), now with a range about it."""
    fed = _option(ask("cull-cows", CULL, on=date(2026, 11, 24), draws=1000), "feed")
    assert fed["expected"] == pytest.approx(32.70, abs=0.005)
    assert fed["low"] < -50 < 100 < fed["high"]
    assert 0 < fed["chance_best"] < 1


def test_preconditioning_budget_through_the_question():
    """Constructed program budget of the reference page: net +18.07 USD a head, break-even premium 4.92 USD/cwt."""
    answer = ask("precondition", PROGRAM, on=date(2026, 9, 25))
    got = _values(answer)
    assert got["net_at_given_price"] == pytest.approx(18.07, abs=0.005)
    assert got["break_even_premium"] == pytest.approx(4.92, abs=0.005)
    assert got["value_now"] == pytest.approx(1273.13, abs=0.0101)  # six digits are printed
    assert got["value_later"] == pytest.approx(1429.25, abs=0.0101)
    assert (got["cash_cost"], got["interest"]) == (pytest.approx(125.50), pytest.approx(12.56, abs=0.005))
    assert _option(answer, "precondition")["expected"] == pytest.approx(18.07, abs=0.005)


def test_stocker_budget_through_the_question():
    """Constructed stocker S13 asked 150 days before 15 March: net, break-evens and value of gain."""
    got = _values(ask("retain-calves", STOCKER, on=date(2026, 10, 16)))
    assert (got["best_way_of_keeping"], got["days"]) == ("wheat_to_march", 150)  # the spring price keeps graze-out out
    assert got["net_at_given_price"] == pytest.approx(27.2235, abs=1e-4)
    assert got["break_even_price_wheat_to_march"] == pytest.approx(211.3149, abs=6e-4)  # six digits are printed
    assert got["break_even_purchase_price"] == pytest.approx(255.2714, abs=6e-4)
    assert got["value_of_gain"] == pytest.approx(1.45, abs=1e-9)


def test_kansas_stocking_rates():
    """Kansas State FORA23: 250 to 500 lb of live animal an acre in winter: 160 acres carry 80 to 160 of 500 lb."""
    got = _values(ask("retain-calves", {**STOCKER, "acres": "160 ac", "head": "60"}, on=date(2026, 10, 16)))
    assert (got["head_carried_light"], got["head_carried_heavy"]) == (80, 160)
    assert got["acres_needed"] == 60
