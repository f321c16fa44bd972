"""Pictures of an answer: their numbers are the call's own, and none is drawn beside a hazard or a lack of evidence."""

from __future__ import annotations

from datetime import date
from typing import Any

import numpy as np
import pytest

from sideoats.asking import answers_for
from sideoats.wheat import response

CULLS = {
    "weight": "1150 lb", "price": "70 USD/cwt", "later_price": "82 USD/cwt", "days": "90", "gain": "1.8 lb/day",
    "cost_per_day": "2.35 USD/day", "interest": "8 %", "death": "1 %",
}  # fmt: skip
CALVES = {
    "weight": "500 lb", "price": "250 USD/cwt", "later_price": "215 USD/cwt", "pasture_per_gain": "0.65 USD/lb",
    "grain_given_up": "0 USD/head", "lot_per_day": "2.60 USD/day", "health": "22 USD/head", "shrink_later": "3 %",
}  # fmt: skip
PROGRAM = {
    "weight": "525 lb", "price": "250 USD/cwt", "later_price": "236 USD/cwt", "premium": "5, 8 USD/cwt",
    "feed_per_day": "1.10 USD/day", "health": "15 USD/head",
}  # fmt: skip
WHEAT = {"yield": "50 bu/ac", "price": "5.60 USD/bu"}
NITROGEN = WHEAT | {"nitrogen_price": "0.60 USD/lb", "organic_matter": "1.8 %", "profile_nitrogen": "30 lb/ac"}
FALL, WINTER = date(2026, 11, 5), date(2027, 2, 10)


def dollars(text: str) -> float:
    """The number of ``-$1,200/head``."""
    return float(text.partition("/")[0].replace("$", "").replace(",", ""))


def asked(name: str, values: dict[str, Any], on: date = FALL) -> Any:
    return answers_for(name, values, on=on)


@pytest.mark.parametrize(
    ("name", "values"), [("cull-cows", CULLS), ("retain-calves", CALVES), ("precondition", PROGRAM)]
)
def test_the_middle_of_the_grid_is_the_net_of_the_call(name: str, values: dict[str, Any]) -> None:
    answers = asked(name, values)
    call, grid = answers.call(0), answers.drawn(0)[-1]
    middle = grid.rows[2]
    assert middle[0].endswith("(taken)") and len(grid.rows) == 5 and len(middle) == 6
    assert dollars(middle[3]) == pytest.approx(call.quantities["net_at_given_price"].value, rel=0.02)
    if name == "precondition":  # its cost of gain counts health and selling too, so the columns have another name
        assert "feed and labor for each pound gained" in grid.columns[0] and "with premium" in grid.columns[0]
    else:
        assert dollars(grid.columns[3]) == pytest.approx(call.quantities["cost_of_gain"].value, abs=0.006)
    signs = {row[3].startswith("-") for row in grid.rows}
    assert signs == {True, False}, "the break-even price lies inside the grid"


def test_the_grid_of_the_worked_cull_cow() -> None:
    """Net +32.70 USD/head at 82 USD/cwt (the worked figure of the cull cow budget, by hand from its six numbers)."""
    grid = asked("cull-cows", CULLS).drawn(0)[-1]
    assert grid.rows[2][3] == "$33/head"
    assert grid.title == "Feeding the cull cows 90 days breaks even at $79.48/cwt, $2.52/cwt under the price taken"
    assert grid.columns[3] == "$1.31/lb"  # 2.35 USD a day over 1.8 lb a day


def test_ways_of_keeping_calves_are_those_that_are_open() -> None:
    answers = asked("retain-calves", CALVES)
    ways, decision = answers.drawn(0)[0], answers.ruling.figures
    assert [row[0].split(" to ")[0] for row in ways.rows] == ["Wheat pasture", "Graze-out", "The dry lot"]
    best = int(decision.expected[0, 1 : len(ways.rows) + 1].argmax())  # of the ways settled today
    assert ways.title.startswith(f"{ways.rows[best][0]} pays most")
    for at, row in enumerate(ways.rows, 1):
        assert dollars(row[2]) == pytest.approx(decision.expected[0, at], abs=0.6)
        assert dollars(row[1]) == pytest.approx(decision.low[0, at], abs=0.6)
    no_lot = {name: value for name, value in CALVES.items() if name != "lot_per_day"}
    assert len(asked("retain-calves", no_lot).drawn(0)[0].rows) == 2
    cheap = asked("retain-calves", CALVES | {"later_price": "120 USD/cwt"}).drawn(0)[0]
    assert cheap.title.startswith("No way of keeping them pays: ")


def test_heifers_are_drawn_about_the_price_at_which_buying_costs_the_same() -> None:
    heifers = {
        "weight": "520 lb", "price": "225 USD/cwt", "develop_cost": "620 USD/head", "open_value": "1500 USD/head",
        "bred_price": "2600 USD/head", "calf_difference": "15 USD/head",
    }  # fmt: skip
    answers = asked("bred-heifers", heifers)
    (grid,), quantities = answers.drawn(0), answers.call(0).quantities
    assert dollars(grid.rows[2][3]) == pytest.approx(quantities["saved_by_developing"].value, abs=0.6)
    assert dollars(grid.title.split("heifer is ")[1].split(",  ")[0].split("/")[0]) == pytest.approx(
        quantities["break_even_bred_price"].value, rel=0.005
    )
    assert dollars(grid.rows[2][4]) == pytest.approx(
        quantities["saved_if_development_10_percent_dearer"].value, abs=0.6
    )


def test_a_show_animal_is_drawn_only_where_its_gain_is_known() -> None:
    steer = {"animal": "steer", "weight": "905 lb", "fair": "2027-03-10", "target": "1280, 1380 lb"}
    assert asked("show-animal", steer).drawn(0) == ()
    answers = asked("show-animal", steer | {"gain": "2.6, 3.2 lb/day"})
    (picture,), quantities = answers.drawn(0), answers.call(0).quantities
    ends = [float(cell.replace(",", "")) for cell in picture.rows[-1][1:4]]
    told = [quantities[name].value for name in ("weight_expected", "weight_low", "weight_high")]
    assert ends == pytest.approx(told, abs=1)
    assert asked("show-animal", steer | {"gain": "3 lb/day", "fair": "2026-10-01"}).drawn(0) == ()


def test_the_fan_runs_over_the_open_days_of_sale() -> None:
    answers = asked("cull-cows", CULLS)
    fan = answers.drawn(0)[0]
    decision = answers.ruling.figures
    days = [float(row[0]) for row in fan.rows]
    assert days == sorted(days) and days[0] == 0 and 90 in days and len(days) == 5
    at_90 = fan.rows[days.index(90)]
    assert dollars(at_90[1]) == pytest.approx(decision.expected[0, 1], abs=0.6)
    assert dollars(at_90[2]) == pytest.approx(decision.low[0, 1], abs=0.6)
    assert dollars(at_90[4]) == pytest.approx(decision.worst_tenth[0, 1], abs=0.6)


def test_sowing_days_are_those_that_are_open() -> None:
    answers = asked("wheat-planting", WHEAT | {"volunteer": "yes"}, date(2026, 9, 14))
    (picture,) = answers.drawn(0)
    decision = answers.ruling.figures
    barred, days = decision.barred[0], slice(0, -1)  # the last option is not to sow
    assert barred.any() and len(picture.rows) == int((~barred & np.isfinite(decision.expected[0]))[days].sum())
    assert f"${decision.expected[0, int(decision.best[0])]:.0f}/ac" in picture.title
    assert "nan" not in picture.title + picture.summary


def test_no_sowing_picture_where_none_pays() -> None:
    answers = asked("wheat-planting", WHEAT, date(2026, 5, 20))
    assert "Too late" in answers.call(0).headline and answers.drawn(0) == ()


def test_nitrogen_optimum_is_the_rate_of_the_call() -> None:
    answers = asked("topdress-nitrogen", NITROGEN, WINTER)
    (picture,) = answers.drawn(0)
    rates = answers.call(0).quantities
    for name in ("rate_that_pays", "rate_linear_plateau"):
        assert f"{rates[name].value:.0f} lb/ac" in picture.summary
    assert "not a local trial" in picture.summary and picture.columns[1:] == (
        "quadratic plateau, bu/ac", "linear plateau, bu/ac",
    )  # fmt: skip


def test_a_response_of_their_own_is_drawn_from_what_lies_there() -> None:
    own = NITROGEN | {"slope": "0.40 bu/lb", "bend": "-0.0018", "applied": "30 lb/ac"}
    answers = asked("topdress-nitrogen", own, WINTER)
    (picture,) = answers.drawn(0)
    paying = answers.call(0).quantities["rate_that_pays"].value
    assert f"up to {paying:.0f} lb/ac" in picture.title and picture.columns[1:] == ("quadratic plateau, bu/ac",)
    gained = {row[0]: float(row[1]) for row in picture.rows}
    assert gained["0"] == 0.0
    assert gained["40"] == pytest.approx(0.40 * 70 - 0.0018 * 70**2 - (0.40 * 30 - 0.0018 * 30**2), abs=0.06)


def test_enough_nitrogen_at_hand_draws_nothing() -> None:
    assert asked("topdress-nitrogen", NITROGEN | {"profile_nitrogen": "300 lb/ac"}, WINTER).drawn(0) == ()


def test_the_working_response_drawn_is_the_one_paid_by() -> None:
    put = np.arange(0.0, 141.0, 7.0)
    for fit in response.working(50.0, 120.0, 45.0):
        wanted = response.supply_response(45.0 + put, 120.0, 50.0, fit.form)
        assert np.allclose(fit.predict(put), wanted, atol=1e-9)
    assert response.working(50.0, 120.0, 120.0) == [] and response.working(float("nan"), 120.0, 5.0) == []


def test_nothing_is_drawn_beside_a_hazard_or_without_evidence() -> None:
    answers = asked("cull-cows", CULLS | {"fit_to_travel": "no"})
    assert answers.call(0).verdict == "stop" and answers.drawn(0) == ()
    lacking = asked("topdress-nitrogen", WHEAT, WINTER)
    assert lacking.call(0).verdict == "look" and lacking.drawn(0) == ()


def test_no_grid_without_gain() -> None:
    titles = [p.title for p in asked("cull-cows", CULLS | {"gain": "0 lb/day"}).drawn(0)]
    assert len(titles) == 1 and titles[0].startswith("Feeding the cull cows pays at no day")
