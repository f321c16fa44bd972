"""Treat by count as an engine: what another pest than the aphid may bring to it."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from sideoats.asking import table_of
from sideoats.call import ACT, LOOK, WAIT
from sideoats.facts import load
from sideoats.families import stopping
from sideoats.families.counted import Counted
from sideoats.families.label import Interval
from sideoats.families.treat_by_count import problem_of
from sideoats.families.treating import DAYS, Case, Way
from sideoats.outlook import make_outlook
from sideoats.problem import Choice, labelled
from sideoats.question import Context, find
from sideoats.ruling import Attitude, rule
from sideoats.words import Term, say

ON, FACTS = date(2026, 5, 4), load()
CALM = Attitude(0.0, 500_000.0)
DRAWS = 400


def context() -> Context:
    return Context(ON, FACTS, make_outlook(ON, facts=FACTS, draws=DRAWS))


def case(
    mean: float, *, cost: float = 10.0, per_pest: float = 8.0, harvest: float = np.nan, n: float = 30, **more
) -> Case:
    """Larvae that feed evenly for ten days, each worth so much a unit; a threshold of two a stem."""
    here = context()
    scores = here.outlook.normal("pest count", ("a",))
    one = np.array([1.0])
    counted = Counted(one * mean, one * n, scores, one * 0.8, 0.8, one, scores).against(one, FACTS)
    progress = np.minimum(np.arange(DAYS)[:, None, None] / 10, 1.0)
    pays = one * cost / (0.9 * per_pest)
    saving = stopping.straight(one * 0.9 * per_pest, pays, one * np.inf, one * cost)
    interval = Interval(one * harvest, one * 7, np.array([True]), FACTS["insects/treatment.interval.alfalfa"])
    return Case(
        "pest", counted, "larvae/stem", "leaf",
        stake=counted.density * per_pest, done=progress, prevented=np.full((1, 1, 1), 0.9),
        cost=one * cost, saving=saving, interval=interval, worth=one * 300,
        stage=Term("bud"), **more,
    )  # fmt: skip


def ruled(given: Case):
    asked = find("sorghum-aphid")
    table = table_of(asked, [{f.name: f.default for f in asked.inputs}], keys=["a"])
    problem = problem_of(table, context(), given)
    return problem, rule(problem, CALM, FACTS, np.array([160.0]))


def test_a_pest_that_feeds_steadily_is_weighed_by_the_same_rule():
    problem, found = ruled(case(6.0))
    assert found.verdict[0] == ACT and problem.baseline == "never"
    assert found.gain[0] == pytest.approx(0.9 * case(6.0).stake.mean() - 10, rel=1e-6)
    assert ruled(case(0.2))[1].verdict[0] == WAIT
    assert ruled(case(1.3))[1].verdict[0] == LOOK
    lost = ruled(case(6.0))[1].gain[0] - ruled(case(6.0, cost=13.0))[1].gain[0]
    assert lost == pytest.approx(3.0)


def test_another_way_out_is_an_option_beside_the_days():
    cut = Choice("cut", labelled("treat-today"), day=0, trouble="pass")
    gain = np.full((1, DRAWS), 60.0)
    way = Way(cut, gain, np.array([False]), say("treat.barred.entry"))
    problem, found = ruled(case(6.0, ways=(way,)))
    assert problem.options[found.best[0]].key == "cut" and found.verdict[0] == ACT
    shut = replace(way, closed=np.array([True]))
    problem, found = ruled(case(6.0, ways=(shut,)))
    assert problem.options[found.best[0]].key == "treat-day-0"


@pytest.mark.parametrize(("harvest", "act_by"), [(20, 0), (9, 0), (7, 0), (6, -1), (-3, -1)])
def test_the_interval_closes_days_and_lifts_for_no_money(harvest, act_by):
    problem, found = ruled(case(60.0, harvest=harvest))
    assert found.act_by[0] == act_by
    assert problem.barred[0, :DAYS].tolist() == [harvest - day < 7 for day in range(DAYS)]
    assert not problem.barred[0, -1]


def test_people_at_work_close_the_days_before_and_none_after():
    given = case(6.0)
    entry = replace(given.interval, work=np.array([2.0]), entry=np.array([2.0]))
    problem, _ = ruled(replace(given, interval=entry))
    assert np.flatnonzero(problem.barred[0]).tolist() == [1, 2]


def test_nothing_is_looked_for_again_once_nothing_is_left_to_save():
    _, found = ruled(case(6.0, over=np.array([True])))
    assert found.verdict[0] == WAIT and found.look_by[0] == -1 and found.gain[0] == 0


@pytest.mark.parametrize("n", [5, 20, 60, 200])
def test_the_verdict_changes_at_the_stop_lines(n):
    """One posterior for verdict, look and card: leave it at the lower line, treat at the upper, neither between."""
    found = []
    for total in range(0, 6 * n, max(1, n // 10)):
        problem, result = ruled(case(total / n, n=n))
        lines = problem.ruled(result)
        below, above = (lines[name][0][0] for name in ("stop_line_below", "stop_line_treat"))
        verdict = int(result.verdict[0])
        assert verdict == (WAIT if total <= below else ACT) or below < total < above, total
        if below < total < above:
            assert verdict == LOOK or (verdict == WAIT and 0 < problem.gain[0, :, 0].mean() <= 1.0), total
        found.append(verdict)
    assert found[-1] == ACT and (LOOK in found or n > 100)


def test_a_larger_field_makes_the_same_look_cheaper_by_the_acre():
    problem, _ = ruled(case(1.4))
    assert 0 < problem.looks[0].cost[0] < 1


@pytest.mark.parametrize("k", [0.3, 2.0, 50.0])
def test_what_a_mean_exceeds_a_level_by_is_the_same_for_one_place_as_among_many(k: float) -> None:
    rng = np.random.default_rng(3)
    total, units = rng.uniform(0.1, 900.0, 400), rng.integers(2, 400, 400).astype(float)
    first, second = total + 0.6, units * k + 1.5
    level = total / units * np.exp(rng.normal(0.0, 0.4, 400))
    level[:3] = (0.0, -1.0, np.nan)
    spread = np.full(400, k)
    with np.errstate(invalid="ignore"):
        many = stopping._beyond(first, second, spread, level)
        alone = [stopping._beyond(*(v[i : i + 1] for v in (first, second, spread, level)))[0] for i in range(400)]
    assert np.allclose(alone, many, rtol=1e-11, atol=1e-12, equal_nan=True)
