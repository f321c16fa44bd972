"""May it be fed: a danger closes ways whatever they pay, silence clears nothing, and every stop says by when."""

from __future__ import annotations

import numpy as np
import pytest

from sideoats.call import ACT, LOOK, STOP, WAIT
from sideoats.facts import load
from sideoats.families.may_it_be_fed import Case, Danger, Way, doubted, problem_of
from sideoats.ruling import Attitude, rule
from sideoats.words import say

FACTS = load()
WHY = say("hay-nitrate.why.dry")


def rows(*flags: bool) -> np.ndarray:
    return np.array(flags, dtype=bool)


def case(dangers, *, price=110.0, begins=(np.nan,), within=(7,), clears=None, closed=()):
    n = len(begins)
    ways = (
        Way("straight", np.full((n, 5), price), passive=True, closed=closed),
        Way("grind", np.full((n, 5), price - 20.0)),
        Way("hold", np.zeros((n, 5)), passive=True),
    )
    return Case(
        "hay-nitrate", "USD/ton", ways, "hold", tuple(dangers), np.array(begins), np.array(within), clears=clears
    )  # fmt: skip


def ruled(given: Case):
    problem = problem_of(given)
    return problem, rule(problem, Attitude(2.0, 500_000.0), FACTS, np.full(len(given.begins), 100.0))


@pytest.mark.parametrize("price", [0.0, 110.0, 1e6])
def test_a_danger_over_its_line_stops_and_closes_its_ways_at_any_price(price):
    danger = Danger("alone", rows(True), ("straight", "grind"), WHY)
    problem, ruling = ruled(case([danger], price=price))
    assert ruling.verdict[0] == STOP and problem.barred[0].tolist() == [True, True, False]
    assert ruling.act_by[0] == 0  # nobody says when it is fed: today


@pytest.mark.parametrize("price", [0.0, 110.0, 1e6])
def test_what_is_not_cleared_is_a_look_at_any_price(price):
    _, ruling = ruled(case([doubted("sample", "hay_nitrate.cores", rows(True), "straight", until=WHY)], price=price))
    assert ruling.verdict[0] == LOOK and ruling.look_by[0] == 7


def test_what_is_done_instead_and_the_look_come_before_the_first_mouthful():
    danger = Danger("alone", rows(True, True), ("straight",), WHY)
    _, stop = ruled(case([danger], begins=(10.0, -3.0), within=(7, 7)))
    assert stop.act_by.tolist() == [10, 0]
    _, look = ruled(case([doubted("old", "place.baled", rows(True, True))], begins=(3.0, 30.0), within=(7, 7)))
    assert look.look_by.tolist() == [3, 7]


def test_nothing_in_the_way_waits_and_a_way_closed_for_another_reason_is_an_act():
    assert ruled(case([]))[1].verdict[0] == WAIT
    problem, ruling = ruled(case([], closed=((rows(True), WHY),), begins=(12.0,)))
    assert ruling.verdict[0] == ACT and problem.options[ruling.best[0]].key == "grind" and ruling.act_by[0] == 12


def test_clearing_a_doubt_is_worth_what_it_opens_times_the_chance_that_it_does():
    held = doubted("sample", "hay_nitrate.cores", rows(True), "straight", until=WHY)
    _, ruling = ruled(case([held], clears=np.array([0.5])))
    assert ruling.worth_of_a_look[0] == pytest.approx(0.5 * 20.0)


def test_keeping_animals_off_is_never_closed():
    with pytest.raises(ValueError, match="never hold"):
        problem_of(case([Danger("alone", rows(True), ("hold",), WHY)]))


def test_what_stands_may_be_tested_again_and_says_when():
    again = Danger("alone", rows(True, True), ("straight",), WHY, again=np.array([12, -1]))
    _, ruling = ruled(case([again], begins=(np.nan, np.nan), within=(7, 7)))
    assert ruling.verdict.tolist() == [STOP, STOP] and ruling.look_by.tolist() == [12, -1]
