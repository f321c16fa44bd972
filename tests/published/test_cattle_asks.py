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
    "weight": "500 lb", "price": "250 USD/cwt", "later_price": "215 USD/cwt", "turnout": "2026-10-16",
    "pasture_end": "2027-03-15", "pasture_gain": "1.6666666666667 lb/day", "pasture_per_gain": "0.85 USD/lb",
    "health": "54 USD/head", "interest": "8 %", "death": "1.5 %", "spring_price": "150 USD/cwt",
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
    assert any("price brings $138.00 and the gain $132.84" in line for line in answer["because"])
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
    """Constructed stocker S13 asked 150 days before 15 March: net, break-evens and value of gain.

    S13 is a calf bought: its 12 of freight and 20 of selling fall on owning it, and stand here beside the 22 of health.
    """
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


def test_show_animal_as_washington_state_counts_it():
    """Hudson, Washington State extension: 180 lb in 80 days are 2.25 lb a day; 190 lb and 80 days of 1.7 are 326 lb."""
    pig = {"animal": "pig", "fair": "2026-08-31"}
    light = _values(ask("show-animal", pig | {"weight": "50 lb", "target": "230 lb"}, on=date(2026, 6, 12)))
    heavy = {"weight": "190 lb", "target": "230, 300 lb", "gain": "1.7 lb/day"}
    assert light["gain_needed"] == pytest.approx(2.25, abs=0.0005)
    assert _values(ask("show-animal", pig | heavy, on=date(2026, 6, 12)))["weight_expected"] == pytest.approx(326)


def test_early_weaning_saves_what_the_pair_would_have_eaten():
    """30 to 40 % (South Dakota State) of 39 lb a day (Kansas State) over 66 days, as hay of 90 % dry matter at 120."""
    cows = {"cow_condition": "6", "short_grass": "yes", "hay_price": "120 USD/ton"}
    got = _values(ask("wean-date", cows, on=date(2026, 8, 10), draws=4000))
    assert got["days_earlier"] == 66
    assert got["forage_saved"] == pytest.approx(0.35 * 39 * 66 / 0.874 * 120 / 2000, rel=0.01)
    assert got["condition_kept"] == pytest.approx(0, abs=0.01)  # 95 % are bred at 6 and above (Sprott 1985)


def test_early_weaning_keeps_the_condition_that_cows_are_bred_at():
    """From 4 to 5 is 27 points more bred (Sprott 1985): 0.625 of a score a month over 30 days, no feed puts it back."""
    from sideoats.cattle.wean_early import FACT
    from sideoats.facts import load

    body = load()[FACT + "pregnant"]
    points = dict(zip(body.column("score at breeding"), body.column("share pregnant"), strict=True))
    assert points[5] - points[4] == pytest.approx(0.27)
    got = _values(ask("wean-date", {"cow_condition": "4", "short_grass": "no"}, on=date(2026, 9, 15), draws=8000))
    low, high = 0.0, 0.375  # grass enough: half a score for 40 days is the most that was seen
    expected = (low + high) / 2 * 0.27 * (300 + 900) / 2 * 0.5
    assert got["days_earlier"] == 30 and got["condition_kept"] == pytest.approx(expected, rel=0.05)
