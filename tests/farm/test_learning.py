"""Learning: a biased season's ranges and chances are mended, an honest one's are left alone; nothing is typed."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest

from sideoats.decide.calibration import STATED, Moved, Widened, moved, widened
from sideoats.demo.district import TODAY
from sideoats.replay.kept import settle_kept
from sideoats.replay.learning import BY, learned
from sideoats.replay.settle import Settled
from sideoats.week import run_week
from sideoats.week.kept import keep_calls
from sideoats.week.scoring import brier, coverage

Z80 = 1.2815515594457413


def season(rng: np.random.Generator, n: int, bias: float, spread: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Stated 80 % ranges of normal forecasts, and outcomes that are off by `bias` sd and `spread` times as wide."""
    middle, sd = rng.normal(0, 30, n), rng.uniform(2, 20, n)
    came = middle + sd * (bias + spread * rng.standard_normal(n))
    return middle - Z80 * sd, middle + Z80 * sd, came


@pytest.mark.parametrize(("bias", "spread"), [(0.6, 1.0), (-0.8, 1.4), (0.0, 1.7), (0.4, 0.6)])
def test_a_biased_season_recovers_its_coverage(bias: float, spread: float) -> None:
    """Taught by 400 calls, the next 20,000 of the same kind are held within three points of 80 %, on average."""
    rng, found = np.random.default_rng(7), []
    for _ in range(20):
        how = widened(*season(rng, 400, bias, spread))
        low, high, came = season(rng, 20_000, bias, spread)
        found.append(coverage(*how.apply(low, high), came).share)
    low, high, came = season(rng, 20_000, bias, spread)
    assert abs(coverage(low, high, came).share - STATED) > 0.03  # the raw ranges were off
    assert abs(float(np.mean(found)) - STATED) < 0.03
    assert max(abs(x - STATED) for x in found) < 0.06


@pytest.mark.parametrize("n", [10, 40, 150, 400])
def test_an_honest_season_is_not_harmed(n: int) -> None:
    rng, shares, wider = np.random.default_rng(8), [], []
    for _ in range(60):
        how = widened(*season(rng, n, 0.0, 1.0))
        low, high, came = season(rng, 4_000, 0.0, 1.0)
        shares.append(coverage(*how.apply(low, high), came).share)
        wider.append(how.factor)
    assert abs(float(np.mean(shares)) - STATED) < 0.03
    assert abs(float(np.mean(wider)) - 1.0) < 0.05


def test_biased_chances_come_true_again_and_honest_ones_stay() -> None:
    rng = np.random.default_rng(9)

    def told(n: int, shift: float, slope: float) -> tuple[np.ndarray, np.ndarray]:
        stated = rng.uniform(0.02, 0.98, n)
        true = Moved(shift, slope).apply(stated)
        return stated, (rng.random(n) < true).astype(float)

    stated, came = told(500, -0.8, 0.6)
    fresh, then = told(50_000, -0.8, 0.6)
    mended = moved(stated, came).apply(fresh)
    assert brier(mended, then) < brier(fresh, then) - 0.01
    assert abs(mended.mean() - then.mean()) < 0.03
    honest = [moved(*told(200, 0.0, 1.0)) for _ in range(40)]
    fresh, then = told(50_000, 0.0, 1.0)
    harm = [brier(h.apply(fresh), then) - brier(fresh, then) for h in honest]
    assert max(harm) < 0.01 and float(np.mean(harm)) < 0.003


def test_without_outcomes_nothing_is_changed() -> None:
    low, high = np.array([1.0, 2.0]), np.array([3.0, 8.0])
    assert widened([], [], []).apply(low, high)[0].tolist() == low.tolist()
    assert Widened().apply(low, high)[1].tolist() == high.tolist()
    assert moved([], []).apply([0.2, 0.7]).tolist() == pytest.approx([0.2, 0.7])


def row(question: str, day: int, span: tuple[float, float, float], adviser: str = "a") -> Settled:
    on = date(2020, 1, 1) + timedelta(days=day)
    return Settled(question, on, "p", f"{question}{day}", "act", "USD/ac", {"tool": 1.0}, {"tool": "x"}, span,
                   {"chance": (0.3, float(day % 3 == 0))}, horizon=day % 40, adviser=adviser)  # fmt: skip


def test_groups_by_question_horizon_season_and_adviser() -> None:
    rng = np.random.default_rng(3)
    rows = [row(q, d, (-1.0, 1.0, float(rng.normal(0, 0.8)))) for q in ("one", "two") for d in range(120)]
    for by in BY:
        found = learned(rows, by)
        assert sum(g.count for g in found) == len(rows)
        assert all(0 <= g.held <= 1 for g in found)
    assert {g.group for g in learned(rows, "horizon")} >= {("one", "now"), ("two", "later")}


def test_kept_calls_settle_themselves(ledger: Path) -> None:
    from sideoats.ledger import open_ledger

    with open_ledger(ledger) as opened:
        for on in (date(2025, 7, 7), date(2025, 7, 14), date(2025, 9, 8)):
            week = run_week(opened, on, questions=["rain-deficit"], draws=40)
            keep_calls(opened, week.calls, observer="ana")
        rows = settle_kept(opened, TODAY, draws=40)
        assert settle_kept(opened, date(2025, 7, 8), draws=40) == []  # what came is not known yet
    assert rows and {r.adviser for r in rows} == {"ana"}
    assert {r.on for r in rows} == {date(2025, 7, 7), date(2025, 9, 8)}  # a week later it is the same decision
    assert any(r.chances for r in rows)
    for r in rows:
        assert all(0 < stated < 1 and came in (0.0, 1.0) for stated, came in r.chances.values())


def test_a_record_is_told_beside_the_range_and_never_for_it() -> None:
    from dataclasses import replace

    from sideoats import facts as fact_files
    from sideoats.asking import call_for
    from sideoats.decide.calibration import widening
    from sideoats.replies import HELD

    given = {
        "price": "5.50 USD/bu", "storage": "0.04 USD/bu/month", "interest": "8 %", "bushels": "10000",
        "quotes": "2026-12-14 5.80; 2027-03-14 5.95", "moisture": "12 %", "temperature": "60 degF", "aversion": "0",
        "hedge_cost": "0.9 USD/bu",
    }  # fmt: skip
    facts, on = fact_files.load(), date(2026, 9, 14)
    record = Widened(0.1, 1.3, 100, 64)
    assert widening(record.text()) == record and widening("8 %") is None
    taught = replace(facts, settings={**facts.settings, f"{HELD}bin-hold": record.text()})
    few = replace(facts, settings={**facts.settings, f"{HELD}bin-hold": Widened(0.1, 1.3, 12, 8).text()})
    plain, told, silent = (call_for("bin-hold", given, on=on, facts=f, draws=200) for f in (facts, taught, few))
    for part in ("options", "verdict", "quantities", "act_by", "look_by", "headline"):
        assert plain.contract()[part] == told.contract()[part]  # the raw stays
    assert any("64 of 100" in line for line in told.because)
    assert plain.because == silent.because
