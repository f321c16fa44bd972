"""The one rule: invariants that hold for any problem, and the precedence of docs/design.md row by row."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sideoats.call import ACT, LOOK, STOP, WAIT
from sideoats.facts import load
from sideoats.problem import Barred, Choice, Hazard, Look, Problem, labelled
from sideoats.ruling import Attitude, attitude_of, certainty_equivalents, order, rule

FACTS = load()
CALM = Attitude(0.0, 500_000.0)
DAYS = (0, 3, 7, 14)
OPTIONS = (
    *(Choice(f"treat-{d}", labelled("treat"), day=d, trouble="pass") for d in DAYS),
    Choice("never", labelled("never"), passive=True),
)


def problem(gain_today: float, *, spread: float = 10.0, places: int = 1, seed: int = 1, **more) -> Problem:
    """What treating gains shrinks by a twentieth a day; it is uncertain, with exactly the stated mean."""
    rng = np.random.default_rng(seed)
    loss = rng.normal(gain_today, spread, (places, 400))
    loss += gain_today - loss.mean(axis=1, keepdims=True)
    gain = np.stack([loss * (1 - d / 20) for d in DAYS] + [np.zeros_like(loss)], axis=2)
    return Problem("test", OPTIONS, "never", "USD/ac", gain, **more)


def ruled(given: Problem, attitude: Attitude = CALM, size: float = 160.0):
    return rule(given, attitude, FACTS, np.full(given.gain.shape[0], size))


def rows(*flags: bool) -> np.ndarray:
    return np.array(flags, dtype=bool)


def test_act_when_the_best_needs_doing_now():
    found = ruled(problem(20.0))
    assert found.verdict[0] == ACT and found.act_by[0] == 0
    assert found.gain[0] == pytest.approx(20.0)
    assert found.cost_of_waiting[0] == pytest.approx(20.0 - 20.0 * 13 / 20)


def test_wait_when_the_gain_does_not_pay_for_the_trouble():
    assert ruled(problem(0.5)).verdict[0] == WAIT
    assert ruled(problem(-5.0)).verdict[0] == WAIT


def test_the_last_day_within_tolerance():
    assert ruled(problem(20.0, tolerance=3.5)).act_by[0] == 3


def test_the_whole_gain_is_lost_where_nothing_survives_the_wait():
    options = (OPTIONS[0], replace(OPTIONS[-1], passive=True))
    given = problem(20.0)
    narrow = Problem("test", options, "never", "USD/ac", given.gain[:, :, [0, 4]])
    assert ruled(narrow).cost_of_waiting[0] == pytest.approx(20.0)


def test_a_hazard_over_its_line_stops_whatever_the_money():
    hazard = Hazard("test", over=rows(True), act_within=2)
    found = ruled(problem(1e6, hazards=(hazard,)))
    assert found.verdict[0] == STOP and found.act_by[0] == 2 and found.hazard[0] == 0


def test_a_look_that_tells_the_day_is_worth_what_the_question_says():
    """Whether treating pays is beyond doubt, so a look settles nothing there; which day is best it may still tell."""
    sure = problem(20.0, spread=0.0)
    look = Look(sure.gain[:, :, 0], np.array([0.5]), np.array([2]))
    assert ruled(replace(sure, looks=(look,))).verdict[0] == ACT
    for worth, verdict in ((0.4, ACT), (1.2, ACT), (2.0, LOOK)):  # it holds up the act: a pass's trouble is 1 USD/ac
        found = ruled(replace(sure, looks=(replace(look, worth=np.array([worth])),)))
        assert found.verdict[0] == verdict, worth


def test_silence_never_clears_a_hazard():
    hazard = Hazard("test", over=rows(False), doubts={"hay_nitrate.result": rows(True)}, look_within=1)
    for gain in (-50.0, 1e6):
        found = ruled(problem(gain, hazards=(hazard,)))
        assert found.verdict[0] == LOOK and found.look_by[0] == 1
    cleared = replace(hazard, doubts={"hay_nitrate.result": rows(False)})
    assert ruled(problem(-50.0, hazards=(cleared,))).verdict[0] == WAIT


def test_a_hazard_that_does_not_apply_is_silent():
    hazard = Hazard("test", over=rows(True), doubts={"a.b": rows(True)}, applies=rows(False))
    assert ruled(problem(-50.0, hazards=(hazard,))).verdict[0] == WAIT


def test_what_the_money_needs_is_asked_for():
    found = ruled(problem(50.0, needs={"quote.price": rows(True)}))
    assert found.verdict[0] == LOOK and found.look_by[0] >= 0 and found.gain[0] == 0.0


def test_a_look_that_tells_much_and_costs_little_comes_before_a_coin_toss():
    given = problem(1.5, spread=40.0)
    signal = given.gain[:, :, 0]
    look = Look(signal, cost=np.array([0.2]), within=np.array([2]))
    assert ruled(replace(given, looks=(look,))).verdict[0] == LOOK
    dear = replace(look, cost=np.array([100.0]))
    assert ruled(replace(given, looks=(dear,))).verdict[0] == ACT
    blind = replace(look, signal=np.random.default_rng(9).normal(size=signal.shape))
    assert ruled(replace(given, looks=(blind,))).verdict[0] == ACT


def test_a_look_that_would_make_the_act_too_late_is_not_taken():
    given = problem(20.0, spread=40.0)
    look = Look(given.gain[:, :, 0], cost=np.array([0.2]), within=np.array([7]), delay=15)
    found = ruled(replace(given, looks=(look,)))
    assert found.verdict[0] == ACT


def test_a_look_is_never_due_after_the_last_good_day():
    given = problem(3.0, spread=60.0)
    look = Look(given.gain[:, :, 0], cost=np.array([0.0]), within=np.array([6]))
    found = ruled(replace(given, looks=(look,)))
    assert found.verdict[0] == LOOK and found.look_by[0] == 0


def test_a_bar_rules_out_what_pays_best():
    bar = Barred(np.array([[True, True, True, True, False]]), labelled("interval"))
    found = ruled(problem(20.0, bars=(bar,)))
    assert found.best[0] == 4 and found.verdict[0] == WAIT


def test_aversion_turns_a_gamble_down_and_tells_what_the_risk_costs():
    given = problem(6.0, spread=120.0)
    assert ruled(given, CALM).verdict[0] == ACT
    averse = ruled(given, Attitude(4.0, 100_000.0))
    assert averse.verdict[0] == WAIT
    some = ruled(given, Attitude(0.5, 500_000.0))
    assert some.risk_cost[0] > 0 and some.verdict[0] == ACT


def test_an_option_that_offsets_the_farm_s_own_luck_is_worth_more():
    luck = np.random.default_rng(5).normal(0, 100, (1, 4000))
    hedge = np.stack([-luck, np.zeros_like(luck)], axis=2)
    alone = certainty_equivalents(hedge, np.array([0.001]))
    beside = certainty_equivalents(hedge, np.array([0.001]), luck)
    assert alone[0, 0] < 0 < beside[0, 0]


def test_certainty_equivalent_of_a_normal_gain():
    """mean - a var / 2, exact for a normal outcome (Pratt 1964; reference page money_more.md, K-1)."""
    gain = np.random.default_rng(6).normal(12.0, 30.0, (1, 400_000))
    made = np.stack([gain, np.zeros_like(gain)], axis=2)
    assert certainty_equivalents(made, np.array([0.002]))[0, 0] == pytest.approx(12 - 0.002 * 900 / 2, abs=0.15)


@settings(max_examples=60, deadline=None)
@given(st.floats(-60, 60), st.floats(0.1, 80), st.floats(0, 40), st.floats(0, 4), st.integers(0, 10**6))
def test_a_dearer_treatment_never_pays_better_nor_turns_wait_into_act(gain, spread, dearer, aversion, seed):
    cheap = problem(gain, spread=spread, seed=seed)
    cost = np.array([dearer, dearer, dearer, dearer, 0.0])
    dear = replace(cheap, gain=cheap.gain - cost)
    attitude = Attitude(aversion, 500_000.0)
    a, b = ruled(cheap, attitude), ruled(dear, attitude)
    assert b.gain[0] <= a.gain[0] + 1e-9
    assert not (a.verdict[0] == WAIT and b.verdict[0] == ACT)
    if a.best[0] == b.best[0] != 4:  # one for one, where the best does not change
        assert a.gain[0] - b.gain[0] == pytest.approx(dearer, abs=1e-6)


@settings(max_examples=60, deadline=None)
@given(st.floats(-60, 60), st.floats(0.1, 80), st.floats(0, 4), st.integers(0, 10**6))
def test_dates_and_worths_are_sound(gain, spread, aversion, seed):
    given = problem(gain, spread=spread, seed=seed)
    look = Look(given.gain[:, :, 0], cost=np.array([0.5]), within=np.array([3]))
    found = ruled(replace(given, looks=(look,), recheck=np.array([5])), Attitude(aversion, 500_000.0))
    verdict = found.verdict[0]
    assert (found.act_by[0] >= 0) == (verdict == ACT)
    assert found.look_by[0] >= 0 or verdict == ACT
    assert found.worth_of_a_look[0] >= 0 and found.cost_of_waiting[0] >= 0
    assert found.risk_cost[0] >= -1e-9


def test_a_place_does_not_depend_on_its_neighbours():
    many = problem(4.0, spread=30.0, places=7)
    whole = ruled(many, Attitude(2.0, 500_000.0))
    for i in range(7):
        one = ruled(replace(many, gain=many.gain[i : i + 1]), Attitude(2.0, 500_000.0))
        assert one.verdict[0] == whole.verdict[i] and one.gain[0] == whole.gain[i]


def test_gains_must_be_counted_from_the_baseline():
    given = problem(5.0)
    with pytest.raises(ValueError, match="baseline"):
        replace(given, gain=given.gain + 1.0)


def test_the_week_puts_hazards_first_then_money_then_the_nearest_day():
    assert order(["wait", "act", "stop", "look", "act"], [0, 50, 0, 80, 50], [3, 4, 0, 2, 1]) == [2, 3, 4, 1, 0]


def test_the_attitude_is_a_fact_and_can_be_overruled():
    assert attitude_of(FACTS).relative == FACTS.value("decide/attitude.relative_aversion")
    assert attitude_of(FACTS, 0.0).absolute(np.array([160.0]))[0] == 0.0


@pytest.mark.parametrize(
    ("gain", "missing", "said"),
    [(20.0, False, "act"), (-20.0, False, "test.little.wait"), (-20.0, True, "test.uncounted.need")],
)
def test_a_head_named_after_a_verdict_stands_only_there(gain, missing, said, monkeypatch):
    monkeypatch.setattr("sideoats.replies.slots", lambda _code: frozenset())  # no catalogue has these sentences
    from sideoats.asking import table_of
    from sideoats.outlook import make_outlook
    from sideoats.question import Context, Question, find
    from sideoats.replies import Replies

    heads = ((rows(True), "test.little.wait"), (rows(True), "test.uncounted.need"))
    given = problem(gain, heads=heads, needs={"counts": rows(missing)})
    context = Context(date(2026, 8, 10), FACTS, make_outlook(date(2026, 8, 10), facts=FACTS, draws=20))
    asked = find("sorghum-aphid")
    table = table_of(asked, [{f.name: f.default for f in asked.inputs}])
    question = Question(name="test", room="test", inputs=(), pose=lambda _table, _context: given)
    replies = Replies(table, context, question, given, ruled(given))
    assert replies._headline(0, int(replies.verdict[0]), replies._missing(0)).code.endswith(said)


def test_where_nothing_can_be_left_as_it_is_the_best_act_is_done():
    options = (Choice("sell", labelled("sell"), day=0, trouble="sale"), Choice("hold", labelled("hold"), passive=True))
    gain = np.zeros((1, 50, 2))
    closed = Barred(rows(False, True)[None, :], labelled("closed"))
    found = ruled(Problem("test", options, "sell", "USD/bu", gain, bars=(closed,)))
    assert found.verdict[0] == ACT and found.best[0] == found.leads[0] == 0


def test_a_grower_s_own_attitude_and_size_count_for_his_place_alone():
    given = problem(6.0, spread=120.0, places=2)
    found = ruled(replace(given, aversion=np.array([np.nan, 4.0]), net_worth=np.array([np.nan, 100_000.0])))
    assert found.verdict.tolist() == [ACT, WAIT]
    small = ruled(replace(given, size=np.array([1.0, np.nan])), Attitude(4.0, 100_000.0))
    assert small.verdict.tolist() == [ACT, WAIT]


def test_an_act_that_stays_open_loses_what_its_days_cost_and_no_more():
    options = (Choice("sell", labelled("sell"), day=0), Choice("hold", labelled("hold"), passive=True))
    gain = np.stack([np.zeros((1, 50)), np.full((1, 50), -0.09)], axis=2)
    whole = Problem("test", options, "sell", "USD/bu", gain, tolerance=0.01)
    assert ruled(whole).cost_of_waiting[0] == pytest.approx(0.09) and ruled(whole).act_by[0] == 0
    found = ruled(replace(whole, a_day=np.array([0.003])))
    assert found.cost_of_waiting[0] == pytest.approx(0.021) and found.act_by[0] == 3


@pytest.mark.parametrize(("held", "toss"), [(0.005, True), (-0.01, True), (0.10, False)])
def test_a_gain_under_the_trouble_of_a_sale_is_a_toss_up(held, toss):
    options = (Choice("sell", labelled("sell"), day=0, trouble="sale"), Choice("hold", labelled("hold"), passive=True))
    gain = np.stack([np.zeros((1, 50)), np.full((1, 50), held)], axis=2)
    found = ruled(Problem("test", options, "sell", "USD/bu", gain))
    assert found.verdict[0] == WAIT and bool(found.toss[0]) is toss
    assert not ruled(problem(-5.0)).toss[0]  # left alone is its own baseline


# --- what the grower set himself to meet ------------------------------------------------------------------------------

CLASSES = (
    Choice("feed", labelled("feed"), passive=True),
    Choice("sell", labelled("sell"), trouble="sale"),
    Choice("class", labelled("class"), trouble="sale"),
)


def unpriced(feed: float, other: float, **more) -> Problem:
    """Nobody knows what feeding on or another class pays; `feed` and `other` say how often they make the class."""
    gain = np.zeros((1, 50, 3))
    gain[:, :, (0, 2)] = np.nan
    return Problem("test", CLASSES, "sell", "USD/head", gain, aims=np.array([[feed, 0.0, other]]), **more)


@pytest.mark.parametrize(
    ("feed", "other", "verdict", "leads"), [(0.0, 1.0, ACT, 2), (0.6, 1.0, WAIT, 0), (1, 0, WAIT, 0)]
)
def test_where_money_is_not_known_what_meets_the_aim_clearly_more_often_is_done(feed, other, verdict, leads):
    found = ruled(unpriced(feed, other))
    assert (found.verdict[0], found.leads[0]) == (verdict, leads)
    assert (found.gain[0], found.cost_of_waiting[0], found.risk_cost[0], found.toss[0]) == (0.0, 0.0, 0.0, False)


def test_what_the_aim_wants_waits_where_a_week_costs_nothing():
    assert ruled(unpriced(0.0, 1.0, delay=np.zeros((1, 3)))).verdict[0] == WAIT
    assert ruled(unpriced(0.0, 1.0, delay=np.full((1, 3), np.nan))).verdict[0] == ACT


def test_a_barred_choice_meets_no_aim():
    shut = (Barred(np.array([False, False, True]), labelled("shut")),)
    assert ruled(unpriced(0.0, 1.0, bars=shut)).verdict[0] == WAIT


def test_known_money_decides_whatever_the_aim():
    given = replace(unpriced(0.0, 1.0), gain=np.tile([30.0, 0.0, 20.0], (1, 50, 1)))
    assert ruled(given).verdict[0] == WAIT and ruled(given).leads[0] == 0


def test_a_look_of_unknown_worth_is_taken_where_no_act_is_delayed():
    look = (Look(np.zeros((1, 1)), np.ones(1), np.array([4]), worth=np.array([np.nan])),)
    found = ruled(unpriced(1.0, 0.0, looks=look))
    assert (found.verdict[0], found.look_by[0], found.worth_of_a_look[0]) == (LOOK, 4, 0.0)
    assert ruled(unpriced(0.0, 1.0, looks=look)).verdict[0] == ACT
    assert ruled(problem(20.0, looks=look)).verdict[0] == ACT


def test_no_hazard_is_lifted_by_an_aim():
    hazard = (Hazard("test", rows(True)),)
    assert ruled(unpriced(0.0, 1.0, hazards=hazard)).verdict[0] == STOP


# --- acts of unlike trouble -------------------------------------------------------------------------------------------

GRAIN = (
    Choice("sell", labelled("sell"), trouble="sale"),
    Choice("store", labelled("store"), trouble="sale"),
    Choice("lock", labelled("lock"), trouble="lock"),
)


@pytest.mark.parametrize(("lock", "leads"), [(0.30, 1), (0.32, 1), (0.34, 2), (0.60, 2)])
def test_an_act_of_more_trouble_must_beat_one_of_less_by_the_difference(lock, leads):
    """Locking takes 5 cents of trouble, a sale 2: a lock that is worth 2 cents more than storing is left alone."""
    gain = np.tile([0.0, 0.30, lock], (1, 50, 1))
    assert ruled(Problem("test", GRAIN, "sell", "USD/bu", gain)).leads[0] == leads
